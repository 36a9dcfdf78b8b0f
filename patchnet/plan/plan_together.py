"""What should a whole street add, so that neighbours do different jobs? One plan for all plots."""

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assess import assess_amounts
from patchnet.assess.assessment import Assessment
from patchnet.assess.draws import BATCH
from patchnet.assess.over_draws import draws_of, over_draws
from patchnet.assess.spread import spread_of
from patchnet.assess.what_if import Trials
from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.texts import N_, _
from patchnet.plan.facts import PlotFacts
from patchnet.plan.joint_worth import Currency, common_currency
from patchnet.plan.plot_plan import Candidate
from patchnet.plan.plot_sets import Members, PlotSet, PlotSets, plan_sets
from patchnet.plan.street_gaps import ChosenGap, choose_gaps
from patchnet.plan.street_houses import house_names, houses_of, meant_plots, parts_of, taking_part
from patchnet.plan.street_in_draws import Change, DrawnStreet, StreetInDraws
from patchnet.plan.street_plan import (
    AnimalTogether,
    BoughtTogether,
    House,
    HouseJob,
    StreetDoubt,
    StreetGap,
    StreetPart,
    StreetPlan,
)
from patchnet.plan.street_rules import StreetRules
from patchnet.plan.street_search import Found, StreetSearch
from patchnet.sun.at_plot import plot_sun

__all__ = ["plan_together"]

Array = NDArray[np.float64]
Progress = Callable[[Iterable[Any], str], Iterable[Any]]
_STEPS = (1, 2, 3, 5, 8, 10, 15, 20, 30, 40, 50, 75, 100, 150, 200, 300, 400, 500, 750, 1000)
_BREAKS = 3  # of each animal, the plots about so many breaks are tried in pairs
_PAIRS = 12  # pairs of plots at most
_NEAR_M = 15.0  # a plot so near to a crossing could be a stop in it
_LEAST_DRAWS = 5


def plan_together(
    assessment: Assessment,
    *,
    plots: Iterable[str] | None = None,
    facts: Mapping[str, PlotFacts] | None = None,
    budget: float | None = None,
    hours: float | None = None,
    jobs: int | None = None,
    fair: bool = False,
    earlier: StreetPlan | Mapping[str, Sequence[str]] | None = None,
    yes: Iterable[str] = (),
    no: Iterable[str] = (),
    draws: int = 0,
    seed: int = 0,
    processes: int | None = 1,
    progress: Progress | None = None,
) -> StreetPlan:
    """Choose what each plot of a street adds, so that together they win most.

    A plot's own plan asks what it should add while nobody else does anything: then neighbours are
    told the same cure, and it is shared. Here every thing is judged beside all others.

    Parameters
    ----------
    assessment
        The street as it is today.
    plots
        Ids, labels or door numbers of those that take part; None: all whose household said yes,
        or all where none was asked. The rest stays as it is.
    facts
        What the people of each plot say, by id (money and hours a plot among it).
    budget, hours, jobs
        Most money in the first year, hours of upkeep a month, and things, over the whole street.
    fair
        Share money, hours and jobs out among the parts of the street by their plots.
    earlier
        A plan made before, or the features of each plot: where the search begins too.
    yes, no
        Plots that accepted their things of the earlier plan, which stay; and plots that refused,
        which are taken out. The others are planned anew.
    draws
        In how many draws of all that is not sure the plan is judged at the end (see
        `patchnet.doubt_of`); it is chosen by the mean of ``settings/together_draws`` others. 0:
        with the figures in use alone.
    seed, processes
        As in `patchnet.doubt_of`.
    progress
        Wraps what is worked through, with words for it, such as a progress bar.

    Returns
    -------
    StreetPlan
        The jobs of each house and what they win, its bound, and what is still scarce.

    Raises
    ------
    WrongUse
        If there is no such plot (the nearest spellings are offered), nobody takes part, a plot has
        accepted that has no earlier things or cannot have them any more, or a limit is below 0.

    Notes
    -----
    Lazy evaluation as Minoux (1978, Optimization Techniques 7:234-243), where the gain need not be
    submodular; then exchanges. The bound is a linear programme (`patchnet.plan.street_bound`).

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["mason_bee"])
    >>> plan = patchnet.plan_together(answer, plots=["M15B", "M17B"])
    >>> len(plan.jobs) <= 6 and plan.worth >= plan.own_worth
    True
    """
    hood = assessment.neighbourhood
    for limit in (budget, hours, jobs):
        if limit is not None and limit < 0:
            raise WrongUse(_("A limit of the street must be 0 or more, not {n:g}.").format(n=limit))
    before = _earlier(earlier)
    settled = meant_plots(hood, yes)
    refused = tuple(meant_plots(hood, no))
    chosen_plots = taking_part(hood, plots, refused)
    lost = [plot for plot in settled if plot not in chosen_plots]
    if lost:
        raise WrongUse(
            _("These cannot both have said yes and take no part: {plots}.").format(
                plots=", ".join(lost)
            )
        )
    said = {} if facts is None else dict(facts)
    for plot in said:
        hood.row_of(plot)
    making = _Making(assessment, chosen_plots, said, refused, fair=fair, seed=seed)
    parts = parts_of(hood, chosen_plots, round(assessment.knowledge.setting("together_part")))
    making.parts = dict(parts)
    rules = StreetRules(chosen_plots, budget, hours, jobs, parts if fair else {})
    fixed = making.members({plot: before.get(plot, ()) for plot in settled}, strict=True)
    for plot in settled:
        if plot not in before:
            raise WrongUse(
                _("{plot} said yes, but has nothing in an earlier plan: give it.").format(plot=plot)
            )
    starts = []
    if before:
        known = {plot: before.get(plot, ()) for plot in chosen_plots}
        starts = [making.members(known, strict=False)]
    if not rules.allows({plot: making.set_of(plot, one) for plot, one in fixed.items()}):
        raise WrongUse(_("What was accepted takes more than the street has: raise the limit."))
    count = _choosing_draws(assessment, draws)
    uncertain = draws_of(assessment, count, seed) if count else None
    currency = common_currency(assessment)
    with StreetInDraws(
        assessment,
        uncertain,
        weight=currency.weight,
        first=currency.first,
        numbers=range(max(count, 1)),
        processes=processes,
    ) as street:
        few = 1 if count > _LEAST_DRAWS else None
        search = StreetSearch(
            street,
            making.sets,
            rules,
            fixed,
            pairs=_pairs(assessment, chosen_plots),
            few=few,
            told=progress,
        )
        found = search.search(starts)
        told = _Told(making, search, found, currency, settled, few)
        plan = told.plan(count)
    if draws:
        plan = replace(
            plan, doubt=_in_fresh_draws(assessment, plan, currency, draws, processes, progress)
        )
    return plan


def _earlier(
    earlier: StreetPlan | Mapping[str, Sequence[str]] | None,
) -> dict[str, tuple[str, ...]]:
    """Features of each plot in a plan made before."""
    if earlier is None:
        return {}
    if not isinstance(earlier, StreetPlan):
        return {plot: tuple(features) for plot, features in earlier.items()}
    found: dict[str, list[str]] = {plot: [] for house in earlier.houses for plot in house.plots}
    for job in earlier.jobs:
        found[job.plot].append(job.candidate.feature)
    return {plot: tuple(features) for plot, features in found.items()}


def _choosing_draws(assessment: Assessment, draws: int) -> int:
    """How many draws a plan is chosen by: fewer on a large street, none where none are wanted."""
    if not draws:
        return 0
    setting = assessment.knowledge.setting
    count = round(setting("together_draws"))
    many = len(assessment.neighbourhood.plots) / setting("together_plots")
    fewer = max(_LEAST_DRAWS, math.floor(count / many**2)) if many > 1 else count
    return min(fewer, draws)


def _pairs(assessment: Assessment, plots: Sequence[str]) -> list[tuple[str, str]]:
    """Pairs of plots that could close a listed break together: those along its crossing."""
    able = set(plots)
    found: dict[tuple[str, str], None] = {}
    shapes = assessment.neighbourhood.plots.geometry
    ranked = sorted(
        (one for answer in assessment.groups.values() for one in answer.breaks[:_BREAKS]),
        key=lambda one: (-one.homes_won, one.from_plot, one.to_plot),
    )
    for one in ranked:
        near = shapes.index[shapes.distance(one.line) <= _NEAR_M]
        ends = dict.fromkeys([*one.plots_on_the_way, one.from_plot, one.to_plot, *map(str, near)])
        about = sorted(plot for plot in ends if plot in able)[:4]
        for at, first in enumerate(about):
            for second in about[at + 1 :]:
                found.setdefault((first, second), None)
    return list(found)[:_PAIRS]


@dataclass
class _Making:
    """What is known of the plots that take part."""

    assessment: Assessment
    plots: tuple[str, ...]
    facts: Mapping[str, PlotFacts]
    refused: tuple[str, ...]
    fair: bool
    seed: int

    def __post_init__(self) -> None:
        self.parts: dict[str, str] = {}
        hood, knowledge = self.assessment.neighbourhood, self.assessment.knowledge
        self.sets: dict[str, PlotSets] = {}
        for plot in self.plots:
            said = self.facts.get(plot, PlotFacts())
            if said.light is None:
                light = plot_sun(hood, plot, knowledge=knowledge).cls
                said = said if light is None else replace(said, light=light)
            self.sets[plot] = plan_sets(self.assessment, plot, said)

    def set_of(self, plot: str, members: Members) -> PlotSet:
        found = self.sets[plot].of(members)
        if found is None:
            raise AssertionError((plot, members))
        return found

    def members(self, features: Mapping[str, Sequence[str]], *, strict: bool) -> dict[str, Members]:
        """Find things by their features; what cannot be had any more is a fault, or left out."""
        found: dict[str, Members] = {}
        for plot, keys in features.items():
            sets = self.sets[plot]
            members = sets.meant(keys)
            if members is None or sets.of(members) is None:
                if strict:
                    raise WrongUse(_lacking(plot, keys, sets))
                members = ()
            found[plot] = members
        return found


def _lacking(plot: str, keys: Sequence[str], sets: PlotSets) -> str:
    offered = [one.feature for one in sets.candidates]
    missing = [key for key in keys if key not in offered]
    if missing:
        hint = nearest_hint(missing[0], offered)
        return _("{plot} cannot have {thing!r} any more.{hint}").format(
            plot=plot, thing=missing[0], hint=hint
        )
    return _("{plot} cannot have all of these together: {things}.").format(
        plot=plot, things=", ".join(keys)
    )


@dataclass
class _Told:
    """What is told of a plan that was found."""

    making: _Making
    search: StreetSearch
    found: Found
    currency: Currency
    settled: Sequence[str]
    few: int | None

    def plan(self, draws: int) -> StreetPlan:
        making, found = self.making, self.found
        assessment = making.assessment
        chosen = {plot: making.set_of(plot, one) for plot, one in found.chosen.items()}
        changes = {plot: dict(chosen[plot].change) for plot in making.plots}
        own = {plot: dict(making.set_of(plot, found.own[plot]).change) for plot in making.plots}
        planned = _planned(assessment, changes)
        weight = dict(zip(self.currency.groups, self.currency.weight.tolist(), strict=True))
        worth = float(found.worth.mean())
        gaps = choose_gaps(
            planned,
            set(making.plots),
            weight=weight,
            first=self.currency.first,
            most=round(assessment.knowledge.setting("together_gaps")),
        )
        bound, bound_of = self._bound()
        houses = self._houses(chosen)
        order = sorted(
            (at for at, one in enumerate(houses) if one.jobs),
            key=lambda at: (-(houses[at].alone + houses[at].part), houses[at].plots),
        )
        place = {at: number for number, at in enumerate(order, 1)}
        houses = [replace(one, order=place.get(at, 0)) for at, one in enumerate(houses)]
        return StreetPlan(
            name=assessment.neighbourhood.name,
            houses=tuple(houses),
            changes=changes,
            own=own,
            gaps=_told_gaps(gaps, worth),
            animals=self._animals(planned),
            now={key: one.measures.eca for key, one in assessment.groups.items()},
            linked={key: one.measures.eca for key, one in planned.groups.items()},
            worth=worth,
            own_worth=float(found.own_worth.mean()),
            promised=self._promised(),
            bound=bound,
            bound_of=bound_of,
            draws=draws,
            seed=making.seed,
            doubt=None,
            curve=self._curve([houses[at].plots for at in order], changes),
            parts=self._parts(planned, chosen),
            together=_bought_together(houses),
            effective=effective_jobs(job.candidate for one in houses for job in one.jobs),
            judged=self.search.street.judged,
            settled=found.settled,
            refused=making.refused,
            fair=making.fair,
            assessment=assessment,
        )

    def _promised(self) -> float:
        alone, fixed = self.search.alone, self.search.fixed
        return sum(
            alone[plot].get(one, 0.0)
            for plot, one in self.found.own.items()
            if one and plot not in fixed
        )

    def _bound(self) -> tuple[float, float]:
        """The bound in some draws, and what the plan wins in the same ones."""
        sets, street = self.making.sets, self.search.street
        singles = {
            plot: [self.making.set_of(plot, one) for one in each.singles]
            for plot, each in sets.items()
        }
        takes = np.array(
            [
                (sum(thing.cost for thing in one.things), one.hours, 1.0)
                for each in singles.values()
                for one in each
            ]
        ).reshape(-1, 3)
        bound = street.ceiling(
            {plot: [one.change for one in each] for plot, each in singles.items()},
            takes,
            self.search.rules.limits,
            {plot: each.size for plot, each in sets.items()},
            most=self.few,
        )
        linked = street.linked([{}], most=self.few)[:, 0]
        return float(bound.mean()), float(street.gained(linked, street.now(self.few)).mean())

    def _houses(self, chosen: Mapping[str, PlotSet]) -> list[House]:
        making = self.making
        hood = making.assessment.neighbourhood
        houses = houses_of(hood, making.plots)
        names = house_names(hood, houses)
        worth = float(self.found.worth.mean())
        busy = [plots for plots in houses if any(chosen[plot].things for plot in plots)]
        alone, parts = self._parts_of(busy, chosen)
        jobs = self._jobs(chosen, worth)
        return [
            House(
                name=names[plots],
                plots=plots,
                jobs=tuple(job for plot in plots for job in jobs.get(plot, ())),
                answer="yes" if all(plot in self.settled for plot in plots) else "open",
                alone=alone.get(plots, (0.0, 0.0))[1],
                part=parts.get(plots, (0.0, 0.0))[1],
                share=parts[plots][0] / worth if plots in parts and worth > 0 else 0.0,
                cost=sum(chosen[plot].cost for plot in plots),
                hours=sum(chosen[plot].hours for plot in plots),
                gives_way={
                    plot: {key: -more for key, more in chosen[plot].change.items() if more < 0}
                    for plot in plots
                    if any(more < 0 for more in chosen[plot].change.values())
                },
            )
            for plots in houses
        ]

    def _parts_of(
        self, houses: Sequence[tuple[str, ...]], chosen: Mapping[str, PlotSet]
    ) -> tuple[dict[tuple[str, ...], tuple[float, float]], ...]:
        """Worth and homes of each house: alone, and what is lost without it."""
        street = self.search.street
        alone: dict[tuple[str, ...], tuple[float, float]] = {}
        parts: dict[tuple[str, ...], tuple[float, float]] = {}
        for plots in houses:
            for today, kept in ((True, alone), (False, parts)):
                sums = np.zeros(2)
                beside: dict[str, Change] = {}
                for plot in plots:
                    change: Change = chosen[plot].change if today else {}
                    [rows] = street.won(
                        [(plot, [change])], beside=beside, most=self.few, today=today
                    )
                    sums += rows[:, 0].mean(axis=0)
                    beside = {**beside, plot: change}
                sums *= 1 if today else -1
                kept[plots] = float(sums[0]), float(sums[1])
        return alone, parts

    def _jobs(self, chosen: Mapping[str, PlotSet], worth: float) -> dict[str, tuple[HouseJob, ...]]:
        """The jobs of each plot, with what would cost least in place of each."""
        street, making = self.search.street, self.making
        found: dict[str, tuple[HouseJob, ...]] = {}
        for plot, own in chosen.items():
            if not own.things:
                continue
            members = self.found.chosen[plot]
            others = [] if plot in self.search.fixed else self.search.others(plot)
            rows = np.zeros((1, 0, 2))
            if others:
                changes = [making.set_of(plot, one).change for one in others]
                [rows] = street.won([(plot, changes)], most=self.few)
            won = rows[..., 0].mean(axis=0)
            jobs = []
            for thing, member in zip(own.things, members, strict=True):
                able = [at for at, one in enumerate(others) if member not in one]
                loses = 0.0
                instead: tuple[str, ...] = ()
                if able and worth > 0:
                    best = max(able, key=lambda at: (float(won[at]), -at))
                    loses = max(0.0, -float(won[best]) / worth)
                    new = [k for k in others[best] if k not in members]
                    instead = tuple(making.sets[plot].candidates[k].feature for k in new)
                jobs.append(HouseJob(plot, thing, loses, instead))
            found[plot] = tuple(sorted(jobs, key=lambda job: -job.loses))
        return found

    def _curve(
        self, order: Sequence[tuple[str, ...]], changes: Mapping[str, Change]
    ) -> tuple[tuple[int, float], ...]:
        counts = [count for count in _STEPS if count < len(order)] + [len(order)] * bool(order)
        plans = [
            {plot: changes[plot] for plots in order[:count] for plot in plots} for count in counts
        ]
        street = self.search.street
        linked = street.linked(plans, most=self.few, today=True)
        won = street.gained(linked, street.now(self.few)[:, None]).mean(axis=0)
        return tuple(zip(counts, won.tolist(), strict=True))

    def _animals(self, planned: Assessment) -> tuple[AnimalTogether, ...]:
        street = self.search.street
        before, after = street.now(), street.linked([{}])[:, 0]
        found = []
        for at, (key, answer) in enumerate(planned.groups.items()):
            needs = Counter(one.need for one in answer.shortage if one is not None)
            scarcest, short = needs.most_common(1)[0] if needs else ("", 0)
            found.append(
                AnimalTogether(
                    key,
                    float(before[:, at].mean()),
                    float(after[:, at].mean()),
                    spread_of(after[:, at] - before[:, at]),
                    scarcest,
                    short,
                )
            )
        return tuple(found)

    def _parts(self, planned: Assessment, chosen: Mapping[str, PlotSet]) -> tuple[StreetPart, ...]:
        assessment, making = self.making.assessment, self.making
        hood = assessment.neighbourhood
        every = [str(plot) for plot in hood.plots.index]
        size = round(assessment.knowledge.setting("together_part"))
        where = {**parts_of(hood, every, size), **(making.parts if making.fair else {})}
        more = sum(
            planned.groups[key].homes.to_numpy() - one.homes.to_numpy()
            for key, one in assessment.groups.items()
        )
        homes = dict(zip(every, np.asarray(more).tolist(), strict=True))
        return tuple(
            StreetPart(
                name,
                sum(where[plot] == name for plot in every),
                sum(where[plot] == name for plot in making.plots),
                sum(len(chosen[plot].things) for plot in making.plots if where[plot] == name),
                sum(homes[plot] for plot in every if where[plot] == name),
            )
            for name in dict.fromkeys(where[plot] for plot in every)
        )


def _planned(assessment: Assessment, changes: Mapping[str, Change]) -> Assessment:
    """The street with the plan's things in it, as they count in some years."""
    street = DrawnStreet(Trials(assessment), Trials(assessment), np.zeros(0), 1.0)
    amounts = assessment.amounts.copy()
    features = {key: at for at, key in enumerate(assessment.neighbourhood.answers.features)}
    for plot, change in changes.items():
        row = assessment.neighbourhood.row_of(plot)
        for key, more in street.counted(plot, change).items():
            amounts[row, features[key]] = max(0.0, amounts[row, features[key]] + more)
    return assess_amounts(assessment, amounts)


def _told_gaps(gaps: Sequence[ChosenGap], worth: float) -> tuple[StreetGap, ...]:
    return tuple(
        StreetGap(one.group, one.gap, one.homes, one.worth / worth if worth > 0 else 0.0)
        for one in gaps
    )


def _bought_together(houses: Sequence[House]) -> tuple[BoughtTogether, ...]:
    """Things that two houses or more add, that of most houses first."""
    found: dict[str, tuple[dict[str, None], float]] = {}
    for house in houses:
        for job in house.jobs:
            names, amount = found.get(job.candidate.feature, ({}, 0.0))
            names[house.name] = None
            found[job.candidate.feature] = names, amount + job.candidate.amount
    able = [
        BoughtTogether(key, tuple(names), amount)
        for key, (names, amount) in found.items()
        if len(names) > 1
    ]
    return tuple(sorted(able, key=lambda one: (-len(one.houses), one.feature)))


def effective_jobs(things: Iterable[Candidate]) -> float:
    """Effective number of different jobs: exp of the entropy of their shares (Hill 1973).

    Parameters
    ----------
    things
        All jobs.

    Returns
    -------
    float
        A number without unit: k where k jobs are equally frequent; 0 where there are none.
    """
    counts = np.array(list(Counter(one.feature for one in things).values()), dtype=float)
    if not len(counts):
        return 0.0
    shares = counts / counts.sum()
    return float(np.exp(-(shares * np.log(shares)).sum()))


@dataclass(frozen=True)
class _Compared:
    """Two plans that are judged in each draw."""

    plan: Mapping[str, Change]
    own: Mapping[str, Change]
    weight: Array
    first: float


def _row(asked: _Compared, answer: Assessment) -> tuple[float, float, float]:
    trials = Trials(answer)
    street = DrawnStreet(trials, trials, asked.weight, asked.first)
    now = trials.now
    after, own = (street.with_plan(plan).now for plan in (asked.plan, asked.own))
    return (
        float((after - now).sum()),
        float(street.gained(after, now)),
        float(street.gained(own, now)),
    )


DRAWS_WORDS = N_("draws")


def _in_fresh_draws(
    assessment: Assessment,
    plan: StreetPlan,
    currency: Currency,
    draws: int,
    processes: int | None,
    progress: Progress | None,
) -> StreetDoubt:
    """Judge a plan in draws that it was not chosen by: those of later batches."""
    first = BATCH * -(-plan.draws // BATCH)
    uncertain = draws_of(assessment, first + draws, plan.seed)
    asked = _Compared(plan.changes, plan.own, currency.weight, currency.first)
    rows = over_draws(_row, asked, uncertain, range(first, first + draws), processes=processes)
    found = np.array(list(progress(rows, _(DRAWS_WORDS)) if progress else rows))
    homes, worth, own = found.T
    able = own > 0
    ratio = float(np.median(worth[able] / own[able])) if able.any() else 1.0
    return StreetDoubt(
        draws,
        spread_of(homes),
        spread_of(worth),
        spread_of(own),
        ratio,
        float((worth > own).mean()),
    )
