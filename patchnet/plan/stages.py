"""A plan over years: each stage is the best next step given those before."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from patchnet.knowledge.records import Knowledge
from patchnet.plan.candidates import candidates_for, fitted, taking_up_of
from patchnet.plan.facts import PlotFacts
from patchnet.plan.joint_worth import Currency
from patchnet.plan.plot_plan import Candidate, Stage
from patchnet.plan.space import Space

__all__ = ["STAGES", "added", "plan_stages"]

Array = NDArray[np.float64]
_Judge = Callable[[Sequence[Mapping[str, float]]], Array]
_OF_THE_BEST = ("season", "next_year")
STAGES = ("weekend", "season", "next_year", "when_owned")


def plan_stages(
    knowledge: Knowledge,
    facts: PlotFacts,
    space: Space,
    *,
    kind: str,
    month: int,
    ranked_after: _Judge,
    linked_after: _Judge,
    currency: Currency,
    chosen: Sequence[Candidate] = (),
) -> tuple[Stage, ...]:
    """Plan stage by stage, from what costs nothing this weekend to what an owner can do.

    The best set is made this season as far as its months allow, and its rest next year. Beside it,
    and where there is none, each stage takes the few things that win most, given that everything of
    the stages before is there; a stage in which nothing wins anything is left out. Upkeep is summed
    over the stages and stays within the hours; money counts for each stage alone.

    Parameters
    ----------
    kind
        Kind of the plot.
    month
        The month it is now, 1-12.
    ranked_after, linked_after
        Changes to linked homes, shape (S, groups): nearly, to rank them, and exactly.
    chosen
        The best set.
    """
    done: list[Candidate] = []
    change: Mapping[str, float] = {}
    stages: list[Stage] = []
    for when in STAGES:
        if when == "when_owned" and facts.tenure != "rent":
            continue
        taken = {one.feature for one in done}
        # Nothing that takes days to take up is taken up on a weekend.
        room = space.keeping(knowledge.taking_up) if when == "weekend" else space
        able = _able(knowledge, facts, room, kind, when, month, taken)
        left = {one.feature for one in chosen} - taken
        if when in _OF_THE_BEST and left:
            meant = {one.feature: one for one in chosen}
            mine = [
                min(one, meant[one.feature], key=lambda each: each.amount)
                for one in able
                if one.feature in left
            ]
            step = _all_of(mine, room, knowledge, facts, change, linked_after, currency)
        else:
            step = _best_step(
                able, room, knowledge, facts, change, (ranked_after, linked_after), currency
            )
        if step is None:
            continue
        new, new_change, linked, worth = step
        sitings = [knowledge.sitings[one.feature] for one in new]
        more_hours, more_cost = taking_up_of(new_change, knowledge)
        stages.append(
            Stage(
                when=when,
                additions=new,
                linked_homes=float((linked - currency.now).sum()),
                score=worth,
                hours=float(sum(siting.making_hours.value for siting in sitings)) + more_hours,
                cost=float(sum(one.cost for one in new)) + more_cost,
                change=added(change, new_change),
            )
        )
        done += new
        change = stages[-1].change
        space = space.after(new, new_change)
        facts = _time_left(facts, new)
        currency = replace(currency, now=linked)
    return tuple(stages)


def _all_of(
    wanted: Sequence[Candidate],
    space: Space,
    knowledge: Knowledge,
    facts: PlotFacts,
    before: Mapping[str, float],
    linked_after: _Judge,
    currency: Currency,
) -> tuple[tuple[Candidate, ...], Mapping[str, float], Array, float] | None:
    """As many of some things as fit on top of `before`, the first of them first."""
    for count in range(len(wanted), 0, -1):
        for some in combinations(wanted, count):
            result = fitted(some, space, knowledge, facts)
            if result is not None:
                linked = linked_after([added(before, result[1])])
                return *result, linked[0], float(currency.worth(linked)[0])
    return None


def _time_left(facts: PlotFacts, new: Sequence[Candidate]) -> PlotFacts:
    if facts.hours_month is None:
        return facts
    return replace(facts, hours_month=facts.hours_month - sum(one.hours_month for one in new))


def _able(
    knowledge: Knowledge,
    facts: PlotFacts,
    space: Space,
    kind: str,
    when: str,
    month: int,
    taken: Collection[str],
) -> list[Candidate]:
    """Candidates that the stage allows."""
    if when == "when_owned":
        facts = replace(facts, tenure="own")
    offered, _ = candidates_for(knowledge, facts, space, kind=kind)
    span = round(knowledge.setting("season_months"))
    ahead = {(month - 1 + step) % 12 + 1 for step in range(span)}
    able = []
    for one in offered:
        feature, siting = knowledge.features[one.feature], knowledge.sitings[one.feature]
        this_weekend = (
            feature.free
            and feature.cost == "none"
            and month in one.months
            and siting.making_hours.value <= knowledge.setting("weekend_hours")
            and feature.years_to_work.value <= knowledge.setting("weekend_years")
        )
        fits_stage = {
            "weekend": this_weekend,
            "season": bool(set(one.months) & ahead),
            "next_year": True,
            "when_owned": siting.tenancy == "own",
        }[when]
        if fits_stage and one.feature not in taken:
            able.append(one)
    return able


def _best_step(
    able: Sequence[Candidate],
    space: Space,
    knowledge: Knowledge,
    facts: PlotFacts,
    before: Mapping[str, float],
    judges: tuple[_Judge, _Judge],
    currency: Currency,
) -> tuple[tuple[Candidate, ...], Mapping[str, float], Array, float] | None:
    """The few things that win most on top of `before`: they, their change, linked homes, worth.

    `judges` rank changes and judge them exactly.
    """
    trials = []
    for count in range(1, round(knowledge.setting("stage_things")) + 1):
        for chosen in combinations(able, count):
            result = fitted(chosen, space, knowledge, facts)
            if result is not None:
                trials.append(result)
    if not trials:
        return None
    ranked_after, linked_after = judges
    changes = [added(before, change) for _, change in trials]
    first = np.argsort(-currency.worth(ranked_after(changes)), kind="stable")
    first = np.sort(first[: round(knowledge.setting("plan_finalists"))])
    trials = [trials[at] for at in first]
    linked = linked_after([changes[at] for at in first])
    worth = currency.worth(linked)
    won = (linked - currency.now).sum(axis=1)
    good = np.flatnonzero((worth > 0) & (won >= knowledge.setting("plan_gain_least")))
    if good.size == 0:
        return None
    best = int(good[int(np.argmax(worth[good]))])
    # Of two things, one that wins next to nothing on top of the other is not worth the work.
    for at in good:
        alone, pair = trials[at][0], trials[best][0]
        little = np.abs(linked[best] - linked[at]).max() < knowledge.setting("plan_gain_least")
        if len(alone) < len(pair) and little and _features(alone) < _features(pair):
            best = int(at)
            break
    return *trials[best], linked[best], float(worth[best])


def _features(chosen: Sequence[Candidate]) -> frozenset[str]:
    return frozenset(one.feature for one in chosen)


def added(one: Mapping[str, float], other: Mapping[str, float]) -> dict[str, float]:
    """Two changes of amounts one after the other.

    Parameters
    ----------
    one, other
        Feature -> amount more, in its unit (m2, m, count).

    Returns
    -------
    dict
        The same, both together, in the same units.
    """
    return {key: one.get(key, 0.0) + other.get(key, 0.0) for key in {**one, **other}}
