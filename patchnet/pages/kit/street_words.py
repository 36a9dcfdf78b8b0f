"""The words of a street's plan, shared by the terminal, the sheet, the card and the map."""

from collections.abc import Iterable, Mapping
from typing import Any

from shapely import Point

from patchnet.core.language_forms import in_sentence, number
from patchnet.core.texts import N_, Words, _, counted, ngettext
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.candidate_words import amount_words, hours_words, money_words, thing
from patchnet.pages.kit.doubt_words import range_words
from patchnet.pages.kit.numbers import figure
from patchnet.pages.kit.placing_words import position_words, where_sentence
from patchnet.pages.kit.plan_words import homes_words, need_name
from patchnet.plan.placed import Placed
from patchnet.plan.street_plan import BoughtTogether, House, HouseJob, StreetGap, StreetPlan
from patchnet.plan.street_plan_file import EarlierPlan

__all__ = [
    "LOOK",
    "OWN_EYES",
    "answered",
    "bought_words",
    "bound_words",
    "curve_words",
    "doubt_words",
    "gap_words",
    "house_words",
    "instead_words",
    "job_where_words",
    "job_words",
    "part_told",
    "scarce_words",
    "share_words",
    "street_said",
    "street_told",
    "takes_words",
    "told_words",
    "won_words",
]

LOOK = N_("Places are worked out from the map: look at the ground before you dig.")
OWN_EYES = N_(
    "For the people of the street only, not for publishing: it says what each house would do."
)
_SMALL = 0.01  # shares below are called next to nothing
ANSWERS: Words[str, str] = Words(
    {"open": N_("to be asked"), "yes": N_("said yes"), "no": N_("said no")}
)


def share_words(share: float) -> str:
    """A share of the whole, in parts of a hundred.

    Parameters
    ----------
    share
        0-1.

    Examples
    --------
    >>> share_words(0.034), share_words(0.001)
    ('3 in 100', 'less than 1 in 100')
    """
    if share < _SMALL:
        return _("less than 1 in 100")
    return _("{n} in 100").format(n=number(100 * share, ".0f"))


def won_words(plan: StreetPlan) -> str:
    """What the street wins together."""
    homes = sum(one.after - one.before for one in plan.animals)
    words = _("Done together, this makes room for {homes}, over all animals.").format(
        homes=homes_words(homes, "more")
    )
    if plan.doubt is not None:
        words = _("Done together, this makes room for {homes}, over all animals ({range}).").format(
            homes=homes_words(plan.doubt.homes.mean, "more"), range=range_words(plan.doubt.homes)
        )
    return words


def doubt_words(plan: StreetPlan) -> str:
    """How it compares with every plot's own best things, and in how many draws."""
    if plan.own_worth <= 0:
        return ""
    if plan.doubt is None:
        times = plan.worth / plan.own_worth
        if times < 1 + _SMALL:
            return _(
                "Here that is no more than if each plot did what is best for it alone: the jobs "
                "do not get in each other's way."
            )
        return _(
            "That is worth {n} times as much as if each plot did what is best for it alone."
        ).format(n=figure(times))
    return _(
        "We tried it {draws} times with figures it was not chosen by: it was worth {n} times as "
        "much as each plot's own best things done together (the middle of all), and more in {k} "
        "of {draws}."
    ).format(
        draws=plan.doubt.draws,
        n=figure(plan.doubt.ratio),
        k=round(plan.doubt.better * plan.doubt.draws),
    )


def bound_words(plan: StreetPlan) -> str:
    """How far from the best it can be, and how it was searched."""
    searched = ngettext(
        "Searched, not proved best: {n} move was judged.",
        "Searched, not proved best: {n} moves were judged.",
        plan.judged,
    ).format(n=number(plan.judged, ","))
    if plan.share_of_bound <= 0:
        return searched
    return _(
        "{searched} No choice of things on these plots can be worth more than a limit that we "
        "worked out; this plan reaches {share} of it."
    ).format(searched=searched, share=share_words(plan.share_of_bound))


def house_words(house: House) -> str:
    """What a house wins alone, and what the street loses without it."""
    return _("Alone: {alone}. If your neighbours do theirs, your part is {part}: {share}.").format(
        alone=homes_words(house.alone, "more"),
        part=homes_words(house.part),
        share=_("{share} of what the street wins").format(share=share_words(house.share)),
    )


def instead_words(job: HouseJob, knowledge: Knowledge) -> str:
    """What to do in place of a job, and what the street loses by it."""
    name = in_sentence(knowledge.features[job.candidate.feature].name)
    others = [in_sentence(knowledge.features[key].name) for key in job.instead]
    if not others:
        return _("If not {name}: the street loses {share}.").format(
            name=name, share=share_words(job.loses)
        )
    return _("If not {name}, then {others}: the street loses {share}.").format(
        name=name, others=_(" and ").join(others), share=share_words(job.loses)
    )


def bought_words(one: BoughtTogether, knowledge: Knowledge) -> str:
    """One thing for several houses: how much in all."""
    amount = amount_words(one.feature, one.amount, knowledge)
    houses = counted(len(one.houses), "house")
    name = knowledge.features[one.feature].name
    told = f"{name}, {amount}" if amount else name
    return _("{told} for {houses}: {names}").format(
        told=told, houses=houses, names="; ".join(one.houses)
    )


def gap_words(one: StreetGap, knowledge: Knowledge) -> str:
    """One gap in a fence: where, for whom, what it wins."""
    sides = _(" and ").join(plot or _("open ground") for plot in one.gap.plots)
    return _("{kind} between {sides}, for the {animal}: {homes}").format(
        kind=", ".join(_(kind) for kind in dict.fromkeys(one.gap.kinds)),
        sides=sides,
        animal=in_sentence(knowledge.groups[one.group].name),
        homes=homes_words(one.homes, "more"),
    )


def scarce_words(plan: StreetPlan, knowledge: Knowledge) -> list[str]:
    """What holds animals back once all is done, the one that most plots lack first."""
    ranked = sorted(
        (one for one in plan.animals if one.short), key=lambda one: (-one.short, one.group)
    )
    return [
        _("{animal}: {need} ({plots})").format(
            animal=knowledge.groups[one.group].name,
            need=need_name(one.group, one.scarcest, knowledge),
            plots=counted(one.short, "plot"),
        )
        for one in ranked
    ]


def curve_words(plan: StreetPlan) -> list[tuple[str, str]]:
    """How much of the whole the first so many houses bring."""
    whole = plan.curve[-1][1] if plan.curve else 0.0
    if whole <= 0:
        return []
    return [(counted(count, "house"), share_words(worth / whole)) for count, worth in plan.curve]


def street_said(plan: StreetPlan) -> str:
    """Who takes part and how many jobs there are."""
    busy = sum(bool(one.jobs) for one in plan.houses)
    return _("{houses} of {all} have something to do: {jobs}, {n} different ones.").format(
        houses=busy,
        all=counted(len(plan.houses), "house"),
        jobs=counted(len(plan.jobs), "job"),
        n=len({job.candidate.feature for job in plan.jobs}),
    )


def job_words(house: House, job: HouseJob, knowledge: Knowledge) -> str:
    """Name and amount of one job of a house, and the plot where it has several."""
    words = thing(job.candidate, knowledge)
    return f"{words} ({job.plot})" if len(house.plots) > 1 else words


def job_where_words(job: HouseJob, knowledge: Knowledge) -> str:
    """Where a job goes on its plot, as a sentence."""
    return where_sentence(job.candidate, job.placed, knowledge, every=False)


def told_words(house: Mapping[str, Any], plot: str, knowledge: Knowledge) -> list[str]:
    """What a plan that was read back says to one plot; nothing where it has nothing to do.

    Parameters
    ----------
    house
        As kept in the file (see `patchnet.plan.street_plan_file.plan_record`).
    plot
        Id of the plot.
    knowledge
        For the names.
    """
    jobs = house.get("jobs") or []
    own = [_job_told(job, knowledge) for job in jobs if job["plot"] == plot]
    own = [words for words in own if words]
    if not own:
        return []
    lines = [_("Your street counts on this plot for: {things}.").format(things="; ".join(own))]
    numbers = [house.get(key) for key in ("alone", "part", "share")]
    if all(isinstance(one, int | float) for one in numbers):
        alone, part, share = (float(str(one)) for one in numbers)
        lines.append(house_words(House("", (), (), alone=alone, part=part, share=share)))
    return lines


def street_told(
    kept: EarlierPlan, plots: Iterable[object], knowledge: Knowledge
) -> dict[str, tuple[str, ...]]:
    """What a plan that was read back says to each plot that has something to do.

    Parameters
    ----------
    kept
        The plan.
    plots
        Ids of the plots of the street: others are passed over.
    knowledge
        For the names.
    """
    told = {}
    for plot in map(str, plots):
        if plot in kept.told and plot not in kept.no:
            lines = told_words(kept.told[plot], plot, knowledge)
            if lines:
                told[plot] = tuple(lines)
    return told


def part_told(
    kept: EarlierPlan | None, plots: Iterable[object], knowledge: Knowledge
) -> dict[str, tuple[str, ...]]:
    """What a plan says to each plot, also to one that it counts on for nothing.

    Parameters
    ----------
    kept, plots, knowledge
        As in `street_told`; without a plan nothing is said.
    """
    if kept is None:
        return {}
    ids = [str(plot) for plot in plots]
    none = (_("Your street's plan counts on this plot for nothing."),)
    return dict.fromkeys(ids, none) | street_told(kept, ids, knowledge)


def _job_told(job: Mapping[str, Any], knowledge: Knowledge) -> str:
    key, amount = job["feature"], job.get("amount")
    if key not in knowledge.features:
        return ""
    name = knowledge.features[key].name
    words = amount_words(key, float(amount), knowledge) if isinstance(amount, int | float) else ""
    words = f"{name}, {words}" if words else name
    where = _where_told(job.get("where"))
    return _("{thing} ({where})").format(thing=words, where=where) if where else words


def _where_told(where: object) -> str:
    """Which wall, fence or part of the plot, as far as the file says it."""
    if not isinstance(where, dict) or where.get("geometry") is None:
        return ""
    part, wall, faces = (where.get(key) for key in ("part", "at_wall", "faces"))
    if not all(isinstance(one, str) for one in (part, wall, faces)):
        return ""
    there = Placed("", 0.0, Point(), part=str(part), at_wall=str(wall), faces=str(faces))
    return position_words(there, every=False)


def answered(house: House) -> str:
    """What the house said to the plan."""
    return ANSWERS[house.answer]


def takes_words(house: House, knowledge: Knowledge) -> str:
    """What the jobs of a house take: money and hours.

    Parameters
    ----------
    house
        The house.
    knowledge
        For the currency.
    """
    return _("It takes {money} in the first year, {hours} a month.").format(
        money=money_words(house.cost, knowledge), hours=hours_words(house.hours)
    )
