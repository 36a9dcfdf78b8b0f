"""The jobs on a plot's card: what, when, where, why, what it takes, and what to mind."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from patchnet.core.language_forms import in_sentence, listed
from patchnet.core.texts import N_, Words, _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.candidate_words import (
    amount_words,
    asked_first,
    cost_words,
    thing,
    upkeep_words,
)
from patchnet.pages.kit.doubt_words import often_words
from patchnet.pages.kit.move_words import move_lines
from patchnet.pages.kit.numbers import MONTH_NAMES
from patchnet.pages.kit.placing_words import where_sentence
from patchnet.pages.kit.plan_words import STAGE_NAMES, homes_words, there_words
from patchnet.pages.kit.reason_words import (
    homes_given,
    named_reason,
    reason_words,
    reasons_words,
)
from patchnet.pages.kit.taking_up_words import taken_up_first
from patchnet.pages.sheets.moving import movable
from patchnet.plan.plot_plan import Addition, Candidate, PlotPlan, Suggestion

__all__ = ["Caution", "Job", "cautions_of_card", "heading_of", "jobs_of", "when_of"]

_SERVED = 2  # animals named for one job
# Of several reasons that which says most comes first; what neighbours do cannot be seen.
_BEST_REASON = ("nobody", "few", "joins", "months", "shared", "feeds", "some")
_NOT_OF_HABITS = frozenset({"nobody", "few", "some"})
_HEADS: Words[str, str] = Words(
    {
        "0": N_("Nothing new for us to do: keep what is there"),
        "1": N_("One job for us"),
        "2": N_("Two jobs for us"),
        "3": N_("Three jobs for us"),
        "1 garden": N_("One job for our garden"),
        "2 garden": N_("Two jobs for our garden"),
        "3 garden": N_("Three jobs for our garden"),
    }
)


@dataclass(frozen=True, slots=True)
class Job:
    """One numbered job.

    Attributes
    ----------
    name, said, when
        What is made, its name and as one says it, and when.
    where, by_hand
        Where it goes; its place among what can be moved by hand on the drawing, or None.
    why
        A sentence.
    small
        Cost, and for whom.
    takes
        What it wins and takes afterwards, how sure it is, and another way to make it.
    steps
        How it is made.
    """

    name: str
    said: str
    when: str
    where: str
    by_hand: int | None
    why: str
    small: str
    takes: tuple[str, ...]
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution, and the numbers of the jobs it belongs to; none: of what is there already."""

    words: str
    jobs: tuple[int, ...] = ()


def heading_of(plan: PlotPlan, knowledge: Knowledge) -> str:
    """How many jobs there are, and where.

    Parameters
    ----------
    plan
        The plan.
    knowledge
        For which kinds of plot are gardens.
    """
    count = 0 if plan.best is None else len(plan.best.additions)
    kind = plan.answer.kind
    garden = any(knowledge.plot_is(kind, trait) for trait in ("front", "back", "whole"))
    return _HEADS[f"{count} garden" if count and garden else str(count)]


def jobs_of(plan: PlotPlan, knowledge: Knowledge, names: Mapping[str, str]) -> list[Job]:
    """List the jobs of a plan in the order of its best set.

    Parameters
    ----------
    plan
        The plan.
    knowledge
        For names and words.
    names
        What plots are called.
    """
    if plan.best is None:
        return []
    jobs: list[Job] = []
    for addition in plan.best.additions:
        why = _why(addition, plan.best, knowledge, names, [one.why for one in jobs])
        jobs.append(_job(addition, plan, knowledge, why))
    return jobs


def _job(addition: Addition, plan: PlotPlan, knowledge: Knowledge, why: str) -> Job:
    one = addition.candidate
    best = plan.best
    assert best is not None  # noqa: S101 - `jobs_of` has looked
    moving = [each.thing for each in movable(plan.places)]
    by_hand = moving.index(one.feature) if one.feature in moving else None
    there = None if plan.places is None else plan.places.of(one.feature)
    served = [in_sentence(knowledge.groups[key].name) for key, __ in addition.groups[:_SERVED]]
    small = [cost_words(knowledge.features[one.feature].cost, knowledge)]
    if served:
        small.append(_("for {animals}").format(animals=listed(served)))
    takes = [
        _("Wins {homes}; {upkeep}.").format(
            homes=homes_words(addition.given_the_others),
            upkeep=upkeep_words(one.hours_month, knowledge),
        )
    ]
    if addition.often is not None:
        takes.append(often_words(addition.often, sure=knowledge.setting("sure_in")))
    takes += move_lines(one, knowledge, gives_way=best.gives_way)[:1]
    return Job(
        name=thing(one, knowledge),
        said=_said(one, knowledge),
        when=when_of(one, plan),
        where=where_sentence(one, there, knowledge, every=False),
        by_hand=by_hand,
        why=why,
        small=" · ".join(small),
        takes=tuple(takes),
        steps=tuple(step.words for step in knowledge.sitings[one.feature].steps),
    )


def _said(one: Candidate, knowledge: Knowledge) -> str:
    said = knowledge.sitings[one.feature].said
    amount = amount_words(one.feature, one.amount, knowledge)
    return _("{thing}, {amount}").format(thing=said, amount=amount) if amount else said


def _why(
    addition: Addition,
    best: Suggestion,
    knowledge: Knowledge,
    names: Mapping[str, str],
    told: Sequence[str],
) -> str:
    """The reason that says most and was not told of another job; else for whom it is a home."""
    habit = knowledge.features[addition.candidate.feature].sort == "habit"
    reasons = [one for one in addition.reasons if not (habit and one.kind in _NOT_OF_HABITS)]
    reasons.sort(key=lambda one: _BEST_REASON.index(one.kind))
    words = [reason_words(named_reason(one, names), knowledge) for one in reasons]
    words.append(homes_given(addition, knowledge))
    new = [one for one in words if one and one not in told]
    return new[0] if new else reasons_words(addition, best, knowledge)


def when_of(candidate: Candidate, plan: PlotPlan) -> str:
    """When a job is done: this weekend, or from which month to which.

    Parameters
    ----------
    candidate
        What is made.
    plan
        For the stage that it belongs to.
    """
    stage = next(
        (
            each.when
            for each in plan.stages
            if any(one.feature == candidate.feature for one in each.additions)
        ),
        "season",
    )
    if stage == "weekend":
        return STAGE_NAMES[stage]
    any_month = len(set(candidate.months)) == 12
    said = _("Any weekend") if any_month else _spans(candidate.months)
    if stage in ("next_year", "when_owned"):
        if any_month:
            return STAGE_NAMES[stage]
        return _("{stage}, {months}").format(stage=STAGE_NAMES[stage], months=said)
    return said


def _spans(months: Sequence[int]) -> str:
    """Months in full, from and to: ``March to May, September to November``."""
    there = set(months)
    parts = []
    for first in sorted(month for month in there if (month - 2) % 12 + 1 not in there):
        last = first
        while last % 12 + 1 in there:
            last = last % 12 + 1
        ends = MONTH_NAMES[first - 1], MONTH_NAMES[last - 1]
        parts.append(
            ends[0] if first == last else _("{first} to {last}").format(first=ends[0], last=ends[1])
        )
    return ", ".join(parts)


def cautions_of_card(plan: PlotPlan, knowledge: Knowledge) -> list[Caution]:
    """Every question and caution once, in brief, with the jobs it belongs to; questions first.

    Parameters
    ----------
    plan
        The plan.
    knowledge
        For the words.
    """
    asks: dict[str, list[int]] = {}
    minds: dict[str, list[int]] = {}
    if plan.best is not None:
        for number, addition in enumerate(plan.best.additions, 1):
            for words in asked_first(addition.candidate):
                asks.setdefault(words, []).append(number)
            for key in addition.candidate.cautions:
                minds.setdefault(knowledge.cautions[key].brief, []).append(number)
        for one in taken_up_first(plan.best, plan.facts, knowledge):
            for words in one.asks:
                asks.setdefault(words, [])
            for words in one.brief:
                minds.setdefault(words, [])
    for words in there_words(plan, knowledge, brief=True):
        minds.setdefault(words, [])
    # A card goes from hand to hand: that a roost is here is told to nobody, so it is said to all.
    for key in knowledge.cautions_about("unseen"):
        minds.setdefault(knowledge.cautions[key].brief, [])
    return [
        Caution(words, tuple(dict.fromkeys(jobs)))
        for words, jobs in [*asks.items(), *minds.items()]
    ]
