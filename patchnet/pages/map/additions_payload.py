"""What could be added to each plot, for the form on its card: columns and words for the script."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from patchnet.core.texts import N_, Words
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.candidate_words import asked_first, place_words, takes
from patchnet.pages.kit.encode import two_digit_codes, whole_codes
from patchnet.pages.kit.numbers import currency
from patchnet.pages.kit.plan_words import DEFER
from patchnet.plan.additions import PlotAdditions, SingleAddition, needs_soil
from patchnet.plan.candidates import hours_of, money_of
from patchnet.plan.plot_plan import Candidate

__all__ = ["ADDITIONS_WORDS", "additions_payload"]

_GROUPS = 3  # places for groups in a row of text; 4095 where there are fewer
_NO_GROUP = 4095

ADDITIONS_WORDS: Words[str, object] = Words(
    {
        "card_additions": N_("What could be added here"),
        "additions_form": N_("Say what you know of this plot"),
        "additions_kept": (
            N_(
                "All optional. Your answers stay on this page, for the next plot too: change them "
                "where it differs."
            )
        ),
        "additions_clear": N_("Clear answers"),
        "said_light": N_("Sun in summer"),
        "said_lights": {"sun": N_("Full sun"), "part": N_("Half shade"), "shade": N_("Shade")},
        "said_worked_out": N_("{light} (worked out)"),
        "said_tenure": N_("Own or rent"),
        "said_tenures": {"own": N_("We own it"), "rent": N_("We rent it")},
        "said_children": N_("Do children under six live here, visit, or come in from the street?"),
        "said_pots": N_("Must everything stand in pots?"),
        "said_yes_no": {"yes": N_("Yes"), "no": N_("No")},
        "said_free": N_("Ground that may be changed, m²"),
        "said_hours": N_("Hours a month for it"),
        "said_money": N_("Money for the first year, {unit}"),
        "said_nothing": N_("Not said"),
        "said_line": N_("Worked out for: {answers}."),
        "said_children_yes": N_("small children come here"),
        "said_children_no": N_("no small children"),
        "said_pots_yes": N_("pots only"),
        "said_amounts": {
            "free": N_("{n} m² to change"),
            "hours": N_("{n} hours a month"),
            "money": N_("{n} {unit}"),
        },
        "said_no_number": N_("Write a number, 0 or more."),
        "additions_order": (
            N_(
                "Each thing by itself, the one worth most first, as it will stand in some years. "
                "A home more counts the more the fewer an animal has, so a thing for a scarce one "
                "can stand first."
            )
        ),
        "additions_empty": N_("Nothing that suits what you said would win anything here."),
        "additions_nothing": N_("Nothing that fits on this plot would win anything."),
        "addition_amount": N_("{name}, {amount}"),
        "addition_many": N_("{n} of them"),
        "addition_serves": N_("For {groups}."),
        "addition_wins": N_("Wins {won} linked homes by itself."),
        "addition_own": N_("Only for whoever owns the plot: it stays when you leave."),
        "addition_ground": N_("{n} m² of ground"),
        "addition_length": N_("{n} m of length"),
        "additions_left_out": N_("Left out: {reasons}."),
        "additions_reasons": {
            "children": N_("{n} because of small children"),
            "light": N_("{n} for the light"),
            "tenure": N_("{n} that only an owner should make"),
            "pots": N_("{n} that cannot stand in pots"),
            "ground": N_("{n} for want of ground"),
            "hours": N_("{n} for want of time"),
            "money": N_("{n} for want of money"),
        },
        "additions_more": N_("{n} more things fit and are worth less here."),
        "additions_more_one": N_("1 more thing fits and is worth less here."),
        "additions_pond_title": N_("Not before one question is answered"),
        "additions_pond": (
            N_(
                "{things} could win something here too. First answer above: do children under six "
                "live here, visit, or come in from the street?"
            )
        ),
        "additions_pair_title": N_("Worth more together"),
        "additions_pair": (
            N_(
                "{one} and {other}: {together} linked homes together, {apart} if each is reckoned "
                "alone."
            )
        ),
        "additions_ground_more": (
            N_(
                "The map knows of {n} m² here that may be changed; what would need more is not in "
                "this list."
            )
        ),
        "additions_taken_up": (
            N_(
                "Of the ground counted here, {n} m² is paved or under plastic grass today and "
                "would be taken up first. If you rent, ask the owner. Look for pipes and cables "
                "before you dig, and keep the ground sloping away from the house."
            )
        ),
        "additions_sets": (
            N_(
                "Things chosen together, to fit side by side, can do more than the best single "
                "ones: ask your group for the card of this plot, with plants, a calendar and a "
                "plan over the years."
            )
        ),
        "additions_defer": DEFER,
        "said_additions_one": N_("{n} thing listed: {things}."),
        "said_additions": N_("{n} things listed: {things}."),
    }
)
"""Words for the script."""


def additions_payload(
    additions: Mapping[str, PlotAdditions],
    *,
    plots: pd.Index,
    features: Sequence[str],
    knowledge: Knowledge,
) -> dict[str, Any]:
    """Return what could be added to each plot as the columns that the page's script reads.

    Each plot is one line of text: its single things one after the other, then, after a full
    stop, its pairs. A single thing is written as two characters for its feature and its number
    of sizes (4 x feature + sizes), three groups of two characters, and for each size amount,
    linked homes and common currency; a pair as its two places in the list, its ground, linked
    homes and currency.

    Parameters
    ----------
    additions
        By plot id; plots that are not in it get an empty line.
    plots
        Ids of the plots in the order of the page.
    features
        Keys of the features in the order of the page.
    """
    feature_at = {key: at for at, key in enumerate(features)}
    singles = [one for each in additions.values() for one in each.singles]
    groups = sorted({key for one in singles for key in one.groups})
    group_at = {key: at for at, key in enumerate(groups)}
    held = [additions.get(str(plot)) for plot in plots]
    samples = {one.candidate.feature: one.candidate for one in singles}
    return {
        "groups": [knowledge.groups[key].name for key in groups],
        "kinds": {
            str(feature_at[key]): _kind(candidate, knowledge)
            for key, candidate in sorted(samples.items(), key=lambda pair: feature_at[pair[0]])
        },
        "least": knowledge.setting("plan_gain_least"),
        "unit": currency(knowledge),
        "plots": ["" if one is None else _line(one, feature_at, group_at) for one in held],
        "soil": "".join("1" if one is None or one.soil else "0" for one in held),
        "ground": two_digit_codes([0.0 if one is None else one.ground_m2 for one in held]),
        "hard": two_digit_codes([0.0 if one is None else one.hard_m2 for one in held]),
        "planted": two_digit_codes([0.0 if one is None else one.planted_m2 for one in held]),
        "taken_up": two_digit_codes([0.0 if one is None else one.taken_up_m2 for one in held]),
    }


def _kind(candidate: Candidate, knowledge: Knowledge) -> dict[str, Any]:
    """All about a feature that is the same on every plot."""
    feature, siting = knowledge.features[candidate.feature], knowledge.sitings[candidate.feature]
    # Ground and length differ from plot to plot; the page itself asks about children, and whose
    # consent a thing needs stands among its cautions.
    asks = ("landlord",) if siting.tenancy == "ask" else ()
    bare = replace(candidate, ground_m2=0.0, length_m=0.0, asks=asks)
    return {
        "place": candidate.place,
        "where": place_words(candidate),
        "lights": list(siting.lights),
        "own": siting.tenancy == "own",
        "soil": needs_soil(feature, siting),
        "water": feature.open_water,
        "ground": feature.ground.value,
        "length": siting.length.value,
        "hours": hours_of(feature, knowledge),
        "money": money_of(feature, knowledge),
        "takes": takes(bare, knowledge),
        "ask": " ".join(asked_first(bare)),
    }


def _line(one: PlotAdditions, feature_at: Mapping[str, int], group_at: Mapping[str, int]) -> str:
    singles = "".join(_single(each, feature_at, group_at) for each in one.singles)
    pairs = "".join(
        whole_codes(pair.members) + two_digit_codes([pair.ground_m2, pair.linked_homes, pair.worth])
        for pair in one.pairs
    )
    return f"{singles}.{pairs}" if pairs else singles


def _single(one: SingleAddition, feature_at: Mapping[str, int], group_at: Mapping[str, int]) -> str:
    groups = [group_at[key] for key in one.groups][:_GROUPS]
    groups += [_NO_GROUP] * (_GROUPS - len(groups))
    head = whole_codes([4 * feature_at[one.candidate.feature] + len(one.sizes), *groups])
    return head + "".join(
        two_digit_codes([size.amount, max(size.linked_homes, 0.0), max(size.worth, 0.0)])
        for size in one.sizes
    )
