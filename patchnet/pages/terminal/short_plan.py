"""A plot's plan on one screen: what to do, why, what to mind; the rest is told on asking."""

from dataclasses import dataclass

from patchnet.core.language_forms import in_sentence, listed
from patchnet.core.texts import _, counted, ngettext
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.candidate_words import asked_first, cost_words, stage_words, thing
from patchnet.pages.kit.doubt_words import often_words, range_words
from patchnet.pages.kit.numbers import figure, month_spans
from patchnet.pages.kit.placing_words import kept_words, not_put_words, place_notes, put_words
from patchnet.pages.kit.plan_words import (
    gap_often_words,
    homes_words,
    kind_words,
    nearest_words,
    there_words,
)
from patchnet.pages.kit.reason_words import reason_words, reasons_words
from patchnet.pages.kit.taking_up_words import taken_up_first
from patchnet.pages.kit.text_table import paragraph
from patchnet.plan.plot_plan import Addition, PlotPlan, Suggestion
from patchnet.plan.watching import watch_list

__all__ = ["plan_title", "short_plan", "watching_words"]

_WORDS = 300  # on one screen; what it says least by is left out first, never a caution


@dataclass(frozen=True)
class _Length:
    """How much is told: plants and things of neighbours named, why, and what places lack."""

    plants: int
    plentiful: int
    animals: bool = True
    notes: bool = True
    free: bool = True


_LENGTHS = (
    _Length(4, 3),
    _Length(3, 2),
    _Length(3, 0),
    _Length(3, 0, notes=False),
    _Length(2, 0, animals=False, notes=False),
    _Length(2, 0, animals=False, notes=False, free=False),
    _Length(0, 0, animals=False, notes=False, free=False),
)


def plan_title(plan: PlotPlan, knowledge: Knowledge) -> str:
    """The heading of a plan.

    Parameters
    ----------
    plan
        The plan.
    knowledge
        For the kind of the plot.
    """
    return _("What plot {plot} should add ({kind}, {area_m2} m²)").format(
        plot=plan.plot, kind=kind_words(plan, knowledge), area_m2=figure(plan.answer.area_m2)
    )


def watching_words(plan: PlotPlan, knowledge: Knowledge) -> str:
    """What to look for in a year of watching first.

    Parameters
    ----------
    plan
        The plan.
    knowledge
        For what there is to look for.
    """
    lines = [
        _("A YEAR OF WATCHING FIRST: do what is free now, the rest in a year"),
        *(
            paragraph(
                _("{months}: {words}").format(months=month_spans(one.months), words=one.words),
                indent="  ",
                then="    ",
            )
            for one in watch_list(plan, knowledge)
        ),
        paragraph(
            _("Then say what you saw and ask again: the answer may be another."), indent="  "
        ),
    ]
    return "\n".join(lines)


def short_plan(plan: PlotPlan, knowledge: Knowledge, *, watch: bool = False) -> str:
    """The plan in 300 words at most, unless its cautions alone take more.

    Parameters
    ----------
    plan
        The plan.
    knowledge
        For names and warnings.
    watch
        Also what to look for in a year of watching first.
    """
    watching = watching_words(plan, knowledge) if watch else ""
    for length in _LENGTHS:
        text = _told(plan, knowledge, length, watching)
        if len(text.split()) - len(watching.split()) <= _WORDS:
            break
    return text


def _told(plan: PlotPlan, knowledge: Knowledge, length: _Length, watching: str) -> str:
    """The plan at one length."""
    parts = [plan_title(plan, knowledge)]
    parts += [paragraph(words) for words in plan.street]
    parts += [paragraph(words) for words in there_words(plan, knowledge, brief=True)]
    best = plan.best
    if best is None:
        parts.append(
            paragraph(_("Keep what is there and go on caring for it: nothing that fits here would "
                        "make room for more wildlife."))
        )  # fmt: skip
    else:
        parts += [paragraph(line, then="   ") for line in _before(best, plan, knowledge)]
        first = taken_up_first(best, plan.facts, knowledge)
        said = {words for one in first for words in (*one.asks, *one.brief)}
        parts += [
            _one((order, addition), best, plan, knowledge, said, animals=length.animals)
            for order, addition in enumerate(best.additions, 1)
        ]
        parts.append(paragraph(_together(best)))
    parts += [paragraph(line) for line in _further(plan, knowledge, length)]
    parts.append(watching)
    parts.append(
        paragraph(
            _("--all tells steps, full cautions, figures and what was ruled out. Local rules, your "
              "tenancy and the law come first.")
        )
    )  # fmt: skip
    return "\n\n".join(part for part in parts if part) + "\n"


def _before(best: Suggestion, plan: PlotPlan, knowledge: Knowledge) -> list[str]:
    """What is taken up first."""
    return [
        _("First: {title}: {takes}. {care}").format(
            title=first.title, takes=first.takes, care=" ".join((*first.asks, *first.brief))
        )
        for first in taken_up_first(best, plan.facts, knowledge)
    ]


def _one(
    numbered: tuple[int, Addition],
    best: Suggestion,
    plan: PlotPlan,
    knowledge: Knowledge,
    said: set[str],
    *,
    animals: bool,
) -> str:
    """One thing: what, where, why, how sure, what to mind; what was `said` is not said again."""
    order, addition = numbered
    one = addition.candidate
    takes = "; ".join(
        words
        for words in (
            cost_words(knowledge.features[one.feature].cost, knowledge),
            month_spans(one.months) if one.months else "",
        )
        if words
    )
    head = _("{order}. {thing}: {place} ({takes}).").format(
        order=order,
        thing=thing(one, knowledge),
        place=put_words(one, plan, knowledge, every=False),
        takes=takes,
    )
    why = (
        reasons_words(addition, best, knowledge)
        if animals
        else reason_words(addition.reasons[0], knowledge)
    )
    lines = [head, not_put_words(one, plan), why]
    if addition.often is not None:
        lines.append(often_words(addition.often, sure=knowledge.setting("sure_in")))
    care = [
        knowledge.cautions[key].brief
        for key in dict.fromkeys(one.cautions)
        if knowledge.cautions[key].about not in one.asks  # the question says it already
    ]
    mind = [words for words in (*asked_first(one), *care) if words not in said]
    said.update(mind)
    lines.append(" ".join(mind))
    return "\n".join(
        paragraph(line, indent="" if at == 0 else "   ", then="   ")
        for at, line in enumerate(lines)
        if line
    )


def _together(best: Suggestion) -> str:
    words = ngettext(
        "It makes room for {homes}",
        "Together they make room for {homes}",
        len(best.additions),
    ).format(homes=homes_words(best.linked_homes, "more"))
    if best.doubt is None:
        return f"{words}."
    return _("{words} ({range}).").format(words=words, range=range_words(best.doubt.won))


def _further(plan: PlotPlan, knowledge: Knowledge, length: _Length) -> list[str]:
    """What is free, what to plant, what the neighbours have, a gap to open."""
    lines = []
    chosen = () if plan.best is None else plan.best.additions
    named = {one.candidate.feature for one in chosen}
    now = next((stage for stage in plan.stages if stage.when == "weekend"), None)
    free = [] if now is None or now.cost else [x for x in now.additions if x.feature not in named]
    if free and length.free:
        lines.append(
            _("For nothing, this weekend: {things}.").format(things=stage_words(free, knowledge))
        )
    planted = plan.planting.lines
    if planted and length.plants:
        plants = [
            f"{one.number} {knowledge.plants[one.plant].name}" for one in planted[: length.plants]
        ]
        more = len(planted) - len(plants)
        plants += [counted(more, "more kind")] if more > 0 else []
        lines.append(_("Plant {plants}.").format(plants=listed(plants)))
    if plan.gaps:
        key, gap = plan.gaps[0]
        sides = listed([side or _("open ground") for side in gap.plots])
        lines.append(
            _("For the {animal}: a gap in the {kind} between {sides}, if the neighbour agrees.")
            .format(animal=in_sentence(knowledge.groups[key].name), kind=gap.kinds[0], sides=sides)
            + gap_often_words(gap)
        )  # fmt: skip
    if plan.places is not None:
        lines += kept_words(plan.places, knowledge, every=False)
        lines += place_notes(plan.places, every=False)[:1] if length.notes else []
    there = []
    for feature, nearest, __ in plan.plentiful[: length.plentiful]:
        name = in_sentence(knowledge.features[feature].name.split(" (")[0])
        there.append(f"{name} ({nearest_words(nearest[:1])})")
    if there:
        lines.append(
            _("Neighbours have these, so you need not: {things}.").format(things=listed(there))
        )
    return lines
