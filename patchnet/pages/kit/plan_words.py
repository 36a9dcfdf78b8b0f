"""The words of a plot's plan, shared by the terminal, the card and the files."""

from collections.abc import Iterable

from patchnet.assess.assessment import FenceGap
from patchnet.core.language_forms import in_sentence, listed
from patchnet.core.texts import N_, Words, _, counted, ngettext
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.candidate_words import amount_words, asked_words, thing
from patchnet.pages.kit.doubt_words import drawn_words, range_words, times_in_ten
from patchnet.pages.kit.numbers import figure, metres, month_spans
from patchnet.pages.kit.planting_words import hazard_words
from patchnet.plan.plot_plan import (
    Addition,
    Candidate,
    PlantingLine,
    PlotPlan,
    Suggestion,
    Wished,
)

__all__ = [
    "CARD_INDEX",
    "CHOSEN",
    "DEFER",
    "INDEX",
    "ORDER",
    "STAGE_NAMES",
    "beside_words",
    "best_words",
    "competition_words",
    "exact_words",
    "fills",
    "gap_often_words",
    "homes_words",
    "in_a_sentence",
    "kind_words",
    "nearest_words",
    "need_name",
    "one_more_words",
    "plant_notes",
    "serves",
    "set_doubt_words",
    "sure_sorts_words",
    "there_words",
    "wish_words",
    "would_change_words",
]

INDEX = N_(
    "Homes are an index of room for wildlife, not a forecast of animals. What is added counts as "
    "it will stand in some years, and boxes only as often as such boxes are used. Most figures "
    "are our own working assumptions: 'patchnet source KEY' says where each comes from."
)
CARD_INDEX = N_(
    "Homes are an index of room for wildlife, not a forecast of animals; what is added counts as "
    "it will stand in some years. Most figures are our own working assumptions."
)
CHOSEN = N_(
    "Every kind of animal counts equally, so a little more for a scarce one can matter more than "
    "a lot more for a common one."
)
ORDER = N_(
    "What is planted, watered or opened comes first, then boxes; of these what is worth most comes "
    "first."
)
DEFER = N_(
    "This is general advice. Local rules, your tenancy and the law come first. For licensed work, "
    "ask somebody who holds the licence."
)
STAGE_NAMES: Words[str, str] = Words(
    {
        "weekend": N_("This weekend"),
        "season": N_("This season"),
        "next_year": N_("Next year"),
        "when_owned": N_("When you own it"),
    }
)
_SORTS: Words[str, str] = Words(
    {
        "flowers": N_("flowers"),
        "grass": N_("grass left to grow"),
        "woody": N_("a bush, hedge or tree"),
        "water": N_("water"),
        "decay": N_("dead wood and leaves"),
        "soil": N_("bare soil or stones"),
        "box": N_("a box to nest or sleep in"),
        "feeding": N_("food put out for birds"),
        "habit": N_("leaving things be"),
    }
)
_SERVED_SAID = 3
_SHARE_SAID = 0.005  # of today's homes; less is no more than a rounding of it


def one_more_words(more: Candidate | None, knowledge: Knowledge) -> str:
    """Which bed, pot or box is planted though it is none of the jobs; empty where there is none.

    Parameters
    ----------
    more
        `PlotPlan.planting_with`.
    knowledge
        For its name.
    """
    if more is None:
        return ""
    return _("For flowers in the hungry months, add one more thing: {thing}.").format(
        thing=thing(more, knowledge)
    )


def serves(addition: Addition, suggestion: Suggestion, knowledge: Knowledge) -> str:
    """The animals it helps, with the homes each gains, and how much more that is than today."""
    before = {gain.group: gain.linked_before for gain in suggestion.groups}
    parts = []
    for key, won in addition.groups:
        name, more = in_sentence(knowledge.groups[key].name), f"+{figure(won)}"
        share = won / before[key] if before.get(key, 0.0) > 0 else 0.0
        if share >= _SHARE_SAID:
            words = _("{more}, {n} in 100 more") if share < 1 else _("{more}, {n} times as many")
            more = words.format(more=more, n=figure(100 * share if share < 1 else 1 + share))
        parts.append(f"{name} ({more})")
    return ", ".join(parts)


def fills(addition: Addition, suggestion: Suggestion, knowledge: Knowledge) -> list[str]:
    """What it gives each animal and where, and the hungry months that the set ends.

    Animals that gain most come first.
    """
    lines = []
    rank = {key: at for at, (key, __) in enumerate(addition.groups)}
    given = knowledge.given_by(addition.candidate.feature)
    for served, place in rank.items():
        anchors = [anchor.resource for anchor in knowledge.groups[served].anchors]
        names = [knowledge.resources[each].name for each in anchors if each in given]
        if names:
            lines.append(
                (
                    place,
                    _("a home for the {group_name} ({name})").format(
                        group_name=in_sentence(knowledge.groups[served].name), name=names[0]
                    ),
                )
            )
    gains = {(gain.group, gain.need): gain for gain in suggestion.needs}
    for key in addition.needs:
        gain = gains[key]
        group, need = knowledge.groups[key[0]], need_name(key[0], key[1], knowledge)
        plots = ", ".join(plot for plot, __ in gain.plots)
        more = gain.plots_count - len(gain.plots)
        where = (
            _("{plots} and {more} more plots").format(plots=plots, more=more) if more > 0 else plots
        )
        line = _("{need} for the {group_name} at {where}").format(
            need=need, group_name=in_sentence(group.name), where=where
        )
        if gain.hungry_months_closed:
            line += _("; no longer short in {hungry_months_closed}").format(
                hungry_months_closed=month_spans(gain.hungry_months_closed)
            )
        lines.append((rank.get(key[0], len(rank)), line))
    return [line for __, line in sorted(lines, key=lambda pair: pair[0])]


def need_name(group: str, need: str, knowledge: Knowledge) -> str:
    """A need in plain words."""
    return next(each.name for each in knowledge.groups[group].needs if each.key == need)


def gap_often_words(gap: FenceGap) -> str:
    """How often a gap in a fence wins anything; nothing where no draws were taken.

    Parameters
    ----------
    gap
        The gap.
    """
    if gap.often is None:
        return ""
    return " " + _("It wins anything at all {often}.").format(often=times_in_ten(gap.often))


def homes_words(homes: float, more: str = "") -> str:
    """Homes with their unit.

    Parameters
    ----------
    homes
        Homes.
    more
        Word before the unit; empty for none.

    Examples
    --------
    >>> homes_words(1), homes_words(0.28, "more")
    ('1 home', '0.28 more homes')
    """
    words = figure(homes)
    count = 1 if words == "1" else 2
    return counted(count, "more home", said=words) if more else counted(count, "home", said=words)


def competition_words(best: Suggestion, knowledge: Knowledge) -> str:
    """Say for whom homes won here are homes lost nearby; empty where there is no such animal.

    New homes eat from what others live on: the whole may gain little.
    """
    least = knowledge.setting("plan_gain_least")
    losing = [gain for gain in best.groups if gain.homes_around <= -least]
    if not losing:
        return ""
    parts = listed(
        [
            _("{homes_around} for the {group_name}").format(
                homes_around=figure(-gain.homes_around),
                group_name=in_sentence(knowledge.groups[gain.group].name),
            )
            for gain in losing
        ]
    )
    return _(
        "Competition: homes here would share food and shelter with plots round about, which then "
        "hold fewer: {parts}. That is taken off already."
    ).format(parts=parts)


def there_words(plan: PlotPlan, knowledge: Knowledge, *, brief: bool = False) -> list[str]:
    """Cautions about what is there already.

    Parameters
    ----------
    plan
        The plan.
    knowledge
        For names and words.
    brief
        As short as there is.
    """
    lines = []
    for feature, key in plan.there:
        caution = knowledge.cautions[key]
        name = in_sentence(knowledge.features[feature].name.split(" (")[0])
        lines.append(
            _("There already: {thing}. {caution}").format(
                thing=name, caution=caution.brief if brief else caution.words
            )
        )
    return lines


def plant_notes(line: PlantingLine) -> list[str]:
    """What to know about a plant: its hazard, its note, the soil it needs in a pot."""
    deep = (
        _("needs {depth_m:.0f} cm of soil").format(depth_m=line.depth_m * 100)
        if line.depth_m
        else ""
    )
    return [words for words in (hazard_words(line), line.note, deep) if words]


def sure_sorts_words(best: Suggestion, knowledge: Knowledge) -> str:
    """Which sorts of things are among the best whatever turns out; empty where none is."""
    sorts = () if best.doubt is None else best.doubt.sorts
    least = knowledge.setting("headline_share")
    sure = [_SORTS[sort] for sort, share in sorts if share >= least and sort in _SORTS]
    if not sure:
        return ""
    return _("Surest is {sorts}.").format(sorts=listed(sure))


def set_doubt_words(best: Suggestion, knowledge: Knowledge) -> str:
    """How sure a set is; empty where nothing was drawn."""
    doubt = best.doubt
    if doubt is None:
        return ""
    part = figure(100 * doubt.share)
    words = [
        drawn_words(doubt.draws),
        _("The homes named here are the mean of these; all together they lay {range}.").format(
            range=range_words(doubt.won)
        ),
        ngettext(
            "Of what could have been won each time it wins {part} in 100 on average.",
            "Of what could have been won each time they win {part} in 100 on average.",
            len(best.additions),
        ).format(part=part),
        _("Nothing else does better in the worse of these times.")
        if doubt.cautious
        else _("Nothing else does better on the whole."),
    ]
    if doubt.harm >= 1 - knowledge.setting("sure_in"):
        words.append(
            _("But {often} other animals lose more than these win.").format(
                often=times_in_ten(doubt.harm)
            )
        )
    return " ".join(words)


def exact_words(plan: PlotPlan) -> str:
    """How many combinations were compared."""
    if plan.best is not None and plan.best.doubt is not None:
        return _(
            "{searched:,} combinations were compared; the best of them, and every single thing, "
            "each time anew."
        ).format(searched=plan.searched)
    if plan.exact and plan.searched == 1:
        return _("Nothing else fits.")
    if plan.exact:
        return _(
            "All {searched:,} combinations of up to three things were compared, and the best of "
            "them worked out exactly."
        ).format(searched=plan.searched)
    return _(
        "Every thing by itself, every pair and the threes that promise most were compared, "
        "{searched:,} in all. On the same scale none of the others could reach more than {bound}; "
        "this one reaches {score}."
    ).format(
        searched=plan.searched,
        bound=figure(plan.bound),
        score=figure(plan.best.score if plan.best else 0.0),
    )


def would_change_words(plan: PlotPlan, knowledge: Knowledge) -> list[str]:
    """What would change the answer, one line each."""
    lines = []
    for change in plan.would_change:
        names = listed([knowledge.sitings[key].said for key in change.features])
        lines.append(f"{change.words[0].upper()}{change.words[1:]}: {names or _('nothing fits')}.")
    return lines


def in_a_sentence(plan: PlotPlan, knowledge: Knowledge) -> str:
    """The answer as you would tell it at the kitchen table."""
    best = plan.best
    if best is None:
        return _("Keep what is there: nothing that fits here would make room for more wildlife.")
    names = listed([knowledge.sitings[one.candidate.feature].said for one in best.additions])
    least = knowledge.setting("plan_gain_least")
    helped = [
        _("the {group_name}").format(group_name=in_sentence(knowledge.groups[gain.group].name))
        for gain in best.groups
        if gain.share > 0 and gain.linked_after - gain.linked_before >= least
    ][:_SERVED_SAID]
    count = len(best.additions)
    if not helped:
        return ngettext(
            "Add {names}: it gives a little more room for wildlife.",
            "Add {names}: together they give a little more room for wildlife.",
            count,
        ).format(names=names)
    words = ngettext(
        "Add {names}: it gives more room to {helped}",
        "Add {names}: together they give more room to {helped}",
        count,
    ).format(names=names, helped=listed(helped))
    given = {key for one in best.additions for key in one.needs}
    for gain in best.needs:
        if gain.hungry_months_closed and (gain.group, gain.need) in given:
            need = need_name(gain.group, gain.need, knowledge)
            group = in_sentence(knowledge.groups[gain.group].name)
            months = month_spans(gain.hungry_months_closed)
            words += ngettext(
                ", and ends the shortage of {need} for the {group} in {months}",
                ", and end the shortage of {need} for the {group} in {months}",
                count,
            ).format(need=need, group=group, months=months)
            break
    return f"{words}. {sure_sorts_words(best, knowledge)}".strip()


def kind_words(plan: PlotPlan, knowledge: Knowledge) -> str:
    """Kind of plot in a few words, without the part in brackets."""
    return in_sentence(knowledge.plot_kinds[plan.answer.kind].name.split(" (")[0])


def best_words(plan: PlotPlan) -> str:
    """The heading over the best things."""
    count = 0 if plan.best is None else len(plan.best.additions)
    counts = {
        0: _("Nothing to add"),
        1: _("The best thing to add"),
        2: _("The two best things, together"),
    }
    return counts.get(count, _("The three best things, together"))


def nearest_words(nearest: Iterable[tuple[str, float]]) -> str:
    """The nearest plots with their distances.

    Parameters
    ----------
    nearest
        Id of a plot and its distance, metres.
    """
    return "; ".join(f"{plot}, {metres(away)}" for plot, away in nearest)


def wish_words(one: Wished, plan: PlotPlan, knowledge: Knowledge) -> str:
    """The answer to one wish; open water always comes with the question about small children."""
    words = _wish(one, plan, knowledge)
    water = knowledge.features[one.feature].open_water
    if water and not one.why_not and plan.facts.small_children is None:
        words = " ".join((words, *asked_words(["small_children"])))
    return words


def _wish(one: Wished, plan: PlotPlan, knowledge: Knowledge) -> str:
    name = knowledge.features[one.feature].name
    if one.why_not:
        return _("{name}: not here. {why_not}").format(name=name, why_not=one.why_not)
    amount = amount_words(one.feature, one.amount, knowledge)
    words = f"{name}, {amount}" if amount else name
    if one.asked is not None and figure(one.amount) != figure(one.asked):
        words += _(" (there is no room for {amount_words})").format(
            amount_words=amount_words(one.feature, one.asked, knowledge)
        )
    words += _(": by itself it would make room for {alone}").format(
        alone=homes_words(one.alone, "more")
    )
    if plan.best is None:
        return f"{words}."
    if one.in_best:
        more = one.alone if one.with_best is None else one.with_best
        return _("{words}; it is one of the best things to add, and brings {more} there.").format(
            words=words, more=figure(more)
        )
    if one.with_best is None:
        return _("{words}; it does not fit beside the best things.").format(words=words)
    if one.with_best < 0:
        lost = homes_words(-one.with_best)
        return _(
            "{words}; beside the best things it takes so much room that {lost} would be lost."
        ).format(words=words, lost=lost)
    return _("{words}, and for {with_best} more beside the best things.").format(
        words=words, with_best=figure(one.with_best)
    )


def beside_words(other: Suggestion, best: Suggestion) -> str:
    """How another set compares with the best one."""
    they = _("It makes") if len(other.additions) == 1 else _("Together they make")
    return _(
        "{they} room for {linked_homes}; with every kind of animal counting equally, that is "
        "worth {score} times as much as the best."
    ).format(
        they=they,
        linked_homes=homes_words(other.linked_homes, "more"),
        score=figure(other.score / best.score),
    )
