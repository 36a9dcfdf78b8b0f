"""What is told of a street's plan once it is found: houses, parts, what is bought together."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.spread import spread_of
from patchnet.assess.what_if import Trials
from patchnet.plan.joint_worth import Currency
from patchnet.plan.plot_sets import PlotSet
from patchnet.plan.street_houses import house_names, houses_of, parts_of
from patchnet.plan.street_in_draws import Change, DrawnStreet, SomeDraws
from patchnet.plan.street_plan import (
    AnimalTogether,
    BoughtTogether,
    House,
    HouseJob,
    StreetGap,
    StreetPart,
    StreetPlan,
)
from patchnet.plan.street_plots import Making, with_done
from patchnet.plan.street_search import Found, StreetSearch
from patchnet.plan.street_variety import effective_jobs

__all__ = ["Told"]

Array = NDArray[np.float64]
_STEPS = (1, 2, 3, 5, 8, 10, 15, 20, 30, 40, 50, 75, 100, 150, 200, 300, 400, 500, 750, 1000)


@dataclass
class Told:
    """Works out what is told of a plan that was found."""

    making: Making
    search: StreetSearch
    found: Found
    currency: Currency
    settled: Sequence[str]
    few: SomeDraws | None

    def plan(self, draws: int) -> StreetPlan:
        """Put all that is told together; `draws`: how many it was chosen by."""
        making, found = self.making, self.found
        assessment = making.assessment
        chosen = {plot: making.set_of(plot, one) for plot, one in found.chosen.items()}
        changes = {plot: dict(chosen[plot].change) for plot in making.plots}
        own = {plot: dict(making.set_of(plot, found.own[plot]).change) for plot in making.plots}
        planned = with_done(assessment, changes)
        worth = float(found.worth.mean())
        bound, bound_of = self._bound()
        houses = self._houses(chosen)
        order = sorted(
            (at for at, one in enumerate(houses) if one.jobs),
            key=lambda at: (-(houses[at].alone + houses[at].part), houses[at].plots),
        )
        kinds = Counter(job.candidate.feature for one in houses for job in one.jobs)
        place = {at: number for number, at in enumerate(order, 1)}
        houses = [replace(one, order=place.get(at, 0)) for at, one in enumerate(houses)]
        return StreetPlan(
            name=assessment.neighbourhood.name,
            houses=tuple(houses),
            changes=changes,
            own=own,
            gaps=self._gaps(worth),
            animals=self._animals(planned),
            now={key: one.measures.eca for key, one in assessment.groups.items()},
            linked=self._linked(planned, changes),
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
            effective=effective_jobs(kinds.values()),
            judged=self.search.street.judged,
            settled=found.settled,
            refused=making.refused,
            fair=making.fair,
            assessment=assessment,
        )

    def _gaps(self, worth: float) -> tuple[StreetGap, ...]:
        """Each gap with what would be lost without it, that of most worth first."""
        gaps = self.found.gaps
        if not gaps:
            return ()
        keys = sorted(gaps)
        won, homes = self.search.street.won_by_gaps(
            [gaps - {key} for key in keys], few=self.few, exact=True
        )
        found = []
        for key, each, by_animal in zip(
            keys, won.mean(axis=0).tolist(), -homes.mean(axis=0), strict=True
        ):
            animal = self.currency.groups[int(np.argmax(by_animal))]
            share = -each / worth if worth > 0 else 0.0
            gap = self.making.gaps[key]
            found.append(StreetGap(animal, gap, float(by_animal.sum()), share))
        return tuple(sorted(found, key=lambda one: (-one.share, one.gap.key)))

    def _linked(self, planned: Assessment, changes: Mapping[str, Change]) -> dict[str, float]:
        """Linked homes with the plan, with the figures in use."""
        if not self.found.gaps:
            return {key: one.measures.eca for key, one in planned.groups.items()}
        trials = Trials(self.making.assessment)
        street = DrawnStreet(trials, trials, self.currency.weight, self.currency.first)
        street.open(self.found.gaps)
        return dict(zip(trials.groups, street.with_plan(changes).now.tolist(), strict=True))

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
            few=self.few,
            gaps=self.search.able_gaps,
        )
        linked = street.linked([{}], few=self.few)[:, 0]
        return float(bound.mean()), float(street.gained(linked, street.now(self.few)).mean())

    def _houses(self, chosen: Mapping[str, PlotSet]) -> list[House]:
        making = self.making
        hood = making.assessment.neighbourhood
        houses = houses_of(hood, making.plots)
        names = house_names(hood, houses)
        worth = float(self.found.worth.mean())
        busy = [plots for plots in houses if any(chosen[plot].things for plot in plots)]
        judged = self._in_place_of(chosen)
        jobs = self._jobs(chosen, judged, worth)
        alone, parts = self._parts_of(busy, chosen, judged)
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

    def _in_place_of(self, chosen: Mapping[str, PlotSet]) -> dict[str, Array]:
        """Of each plot with jobs, shape (D, 1 + others, 2): worth and homes won in their place.

        First by nothing, then by each of its other sets; what is settled has none.
        """
        search, making = self.search, self.making
        moves = []
        for plot, own in chosen.items():
            if own.things:
                others = [] if plot in search.fixed else search.others(plot)
                changes = [making.set_of(plot, one).change for one in others]
                moves.append((plot, [{}, *changes]))
        won = search.street.won(moves, few=self.few)
        return {plot: rows for (plot, _), rows in zip(moves, won, strict=True)}

    def _parts_of(
        self,
        houses: Sequence[tuple[str, ...]],
        chosen: Mapping[str, PlotSet],
        judged: Mapping[str, Array],
    ) -> tuple[dict[tuple[str, ...], tuple[float, float]], ...]:
        """Worth and homes of each house: alone, and what is lost without it."""
        street = self.search.street
        busy = {plots: [plot for plot in plots if chosen[plot].things] for plots in houses}
        firsts = [plots[0] for plots in busy.values()]
        won = street.won(
            [(plot, [chosen[plot].change]) for plot in firsts], few=self.few, today=True
        )
        begun = dict(zip(firsts, won, strict=True))
        alone: dict[tuple[str, ...], tuple[float, float]] = {}
        parts: dict[tuple[str, ...], tuple[float, float]] = {}
        for house, plots in busy.items():
            for today, first, kept in ((True, begun, alone), (False, judged, parts)):
                sums = first[plots[0]][:, 0].mean(axis=0)
                beside: dict[str, Change] = {}
                for before, plot in pairwise(plots):
                    beside[before] = chosen[before].change if today else {}
                    change: Change = chosen[plot].change if today else {}
                    [rows] = street.won(
                        [(plot, [change])], beside=beside, few=self.few, today=today
                    )
                    sums = sums + rows[:, 0].mean(axis=0)
                sums = sums if today else -sums
                kept[house] = float(sums[0]), float(sums[1])
        return alone, parts

    def _jobs(
        self, chosen: Mapping[str, PlotSet], judged: Mapping[str, Array], worth: float
    ) -> dict[str, tuple[HouseJob, ...]]:
        """The jobs of each plot, with what would cost least in place of each."""
        making, fixed = self.making, self.search.fixed
        found: dict[str, tuple[HouseJob, ...]] = {}
        places_of = making.places(chosen)
        for plot in judged:
            own, members = chosen[plot], self.found.chosen[plot]
            others = [] if plot in fixed else self.search.others(plot)
            won = judged[plot][:, 1:, 0].mean(axis=0)
            places = places_of[plot]
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
                placed = places.of(thing.feature)
                jobs.append(HouseJob(plot, thing, loses, instead, placed))
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
        linked = street.linked(plans, few=self.few, today=True, gaps=self.found.gaps)
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
