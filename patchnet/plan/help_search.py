"""The single additions that win most, over all plots, found by looking closely at a few."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.what_if import Trials
from patchnet.assess.what_if_plot import PlotTrials
from patchnet.assess.worth import worth_gained
from patchnet.knowledge.records import Knowledge
from patchnet.plan.candidates import candidates_for, fitted
from patchnet.plan.facts import PlotFacts
from patchnet.plan.help_estimate import estimated_worth
from patchnet.plan.joint_worth import amounts_at, common_currency
from patchnet.plan.plot_plan import Candidate
from patchnet.plan.roles import is_living
from patchnet.plan.space import space_of
from patchnet.plan.waiting import in_time

__all__ = [
    "HALF",
    "Additions",
    "Answering",
    "Found",
    "additions_that_help",
    "best_additions",
    "living_features",
]

Array = NDArray[np.float64]
HALF = 0.5
"""Share of what a break would win from which on a thing is taken to close it."""
_ON_PLOT = 3  # of different sorts, for one plot
_LOOKED = 6  # plots of each sort at which it is seen what fits, for each that is judged


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """One addition, counted with those before it.

    Attributes
    ----------
    plot
        Id of the plot.
    candidate
        What is added there.
    change
        What changes on the plot, feature to amount in its unit; negative: it gives way.
    worth
        What it wins in the joint worth; None where it was only estimated.
    linked
        Shape (G,): linked homes that each animal wins; None where it was only estimated.
    """

    plot: str
    candidate: Candidate
    change: Mapping[str, float]
    worth: float | None = None
    linked: Array | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Additions:
    """What was found in one search.

    Attributes
    ----------
    found
        The additions worth most, as from `best_additions`.
    on_plots
        Plot id to what is estimated to win most there of what fits, each of another sort, best
        first; no plot on which nothing wins anything, and none where there are too many plots
        (``settings/help_most_plots``).
    """

    found: tuple[Found, ...]
    on_plots: Mapping[str, tuple[Found, ...]]


@dataclass(frozen=True, slots=True)
class Answering:
    """What is an answer to something that is short.

    Attributes
    ----------
    features
        Keys of those that give it.
    animals
        Keys of the animals that it holds back: what is chosen is to help these.
    """

    features: frozenset[str]
    animals: frozenset[str]


def living_features(knowledge: Knowledge) -> tuple[str, ...]:
    """Return the features that are planted, watered or opened and can be added, by their keys.

    Parameters
    ----------
    knowledge
        For their sorts.
    """
    return tuple(
        key
        for key, one in knowledge.features.items()
        if one.addable
        and "way_through" not in one.traits
        and key in knowledge.sitings
        and is_living(key, knowledge)
    )


def best_additions(
    assessment: Assessment, plots: Collection[str], *, most: int, closely: bool = True
) -> tuple[Found, ...]:
    """Return the additions worth most, one after the other, each of another sort.

    What each thing would win everywhere is estimated (`estimated_worth`). Where that says most
    (``settings/help_plots`` plots; on a street of ``settings/help_all_plots`` everywhere) all
    things are ranked in the quick form, and the best ones judged exactly.

    Parameters
    ----------
    assessment
        The street.
    plots
        Ids of those at which something may be added.
    most
        How many at most.
    closely
        False: nothing is judged, the estimate decides, and no figure is told.

    Returns
    -------
    tuple of Found
        The one that wins most first; of what was judged, only what wins something worth naming
        (``settings/plan_gain_least``).
    """
    return additions_that_help(assessment, plots, most=most, closely=closely).found


def additions_that_help(
    assessment: Assessment,
    plots: Collection[str],
    *,
    most: int,
    closely: bool = True,
    answering: Answering | None = None,
) -> Additions:
    """Return the additions worth most, and what each plot might begin with.

    Parameters
    ----------
    assessment, plots, most, closely
        As for `best_additions`.
    answering
        What one of them is to give: where none does so far, the last is the best of these, if any
        wins something.
    """
    search = _Search(assessment, plots)
    found: list[Found] = []
    while len(found) < most:
        one = None
        given = {each.candidate.feature for each in found}
        if answering and len(found) == most - 1 and not given & answering.features:
            one = search.next(found, closely=closely, answering=answering)
        if one is None:
            one = search.next(found, closely=closely)
        if one is None:
            break
        found.append(one)
    return Additions(tuple(found), search.first_on_plots() if closely else {})


class _Search:
    def __init__(self, assessment: Assessment, plots: Collection[str]) -> None:
        self.assessment = assessment
        self.knowledge = assessment.knowledge
        self.plots = tuple(str(plot) for plot in assessment.neighbourhood.plots.index)
        self.rows = [row for row, plot in enumerate(self.plots) if plot in plots]
        self.features = living_features(self.knowledge)
        self.currency = common_currency(assessment)
        self.trials = Trials(assessment)
        # Where a stop changes the ways over the ground these are found anew, which takes most of
        # the time: on a larger street animals that walk are ranked by the estimate.
        self.few = len(self.rows) <= self.knowledge.setting("help_all_plots")
        self.walking = () if self.few else tuple(
            key for key, one in assessment.groups.items() if one.ground is not None
        )  # fmt: skip
        self.ranking = self.trials
        if self.walking:
            quick = [key for key in assessment.groups if key not in self.walking]
            self.ranking = Trials(assessment, groups=quick)
        self._kept: dict[str, Mapping[str, tuple[Candidate, Mapping[str, float]]]] = {}

    def next(
        self, found: Sequence[Found], *, closely: bool, answering: "Answering | None" = None
    ) -> Found | None:
        """The best addition after those found, of another sort: for all, or as an answer."""
        sorts = {self.knowledge.features[one.candidate.feature].sort for one in found}
        able = [
            at
            for at, key in enumerate(self.features)
            if self.knowledge.features[key].sort not in sorts
            and (answering is None or key in answering.features)
        ]
        animals = None if answering is None else answering.animals
        if not able or not self.rows:
            return None
        estimate = estimated_worth(
            self.assessment, self.features, closed=self._closed(found), groups=animals
        )
        spots = self._spots(estimate, able, {one.plot for one in found})
        if not spots:
            return None
        if not closely:
            best = spots[0]
            return Found(best[0], *self._offered(best[0])[best[1]])
        looked = tuple(self.plots[row] for row in self.rows)
        if not self.few:
            most = round(self.knowledge.setting("help_plots"))
            looked = tuple(dict.fromkeys(plot for plot, _ in spots))[:most]
        return self._judged(looked, able, found, animals)

    def _closed(self, found: Sequence[Found]) -> frozenset[str]:
        """Animals whose best break an earlier thing has closed: its plot lies across it."""
        linked = [one.linked for one in found if one.linked is not None]
        if not linked:
            return frozenset()
        won = np.max(linked, axis=0)
        return frozenset(
            key
            for (key, answer), more in zip(self.assessment.groups.items(), won, strict=True)
            if answer.breaks and more >= HALF * max(one.homes_won for one in answer.breaks) > 0
        )

    def _offered(self, plot: str) -> Mapping[str, tuple[Candidate, Mapping[str, float]]]:
        """What fits on a plot by itself, and what changes with it."""
        if plot not in self._kept:
            hood = self.assessment.neighbourhood
            facts = PlotFacts()
            space = space_of(
                hood, plot, facts, self.knowledge, amounts=amounts_at(self.assessment, plot)
            )
            kind = str(hood.plots["kind"].loc[plot])
            offered, _ = candidates_for(self.knowledge, facts, space, kind=kind)
            made = {}
            for one in offered:
                fits = fitted([one], space, self.knowledge, facts)
                if fits is not None:
                    made[one.feature] = (fits[0][0], fits[1])
            self._kept[plot] = made
        return self._kept[plot]

    def _spots(
        self, estimate: Array, able: Sequence[int], taken: Collection[str]
    ) -> list[tuple[str, str]]:
        """Plots and things, the most promising of each sort that fits, best first."""
        spots: dict[tuple[str, str], float] = {}
        sorts: dict[str, list[int]] = {}
        for at in able:
            sorts.setdefault(self.knowledge.features[self.features[at]].sort, []).append(at)
        for columns in sorts.values():
            rows = [row for row in self.rows if self.plots[row] not in taken]
            worth = estimate[np.ix_(rows, columns)]
            order = np.argsort(-worth.max(axis=1, initial=-np.inf), kind="stable")
            best: tuple[float, str, str] | None = None
            for place in order[:_LOOKED].tolist():
                plot = self.plots[rows[place]]
                for column, at in enumerate(columns):
                    key = self.features[at]
                    if key not in self._offered(plot):
                        continue
                    fits = self._offered(plot)[key][0].amount
                    part = min(fits / self.knowledge.features[key].typical.value, 1.0)
                    worth_here = float(worth[place, column]) * part
                    if worth_here > 0 and (best is None or worth_here > best[0]):
                        best = worth_here, plot, key
            if best is not None:
                spots[best[1:]] = best[0]
        return sorted(spots, key=lambda spot: -spots[spot])

    def _judged(
        self,
        looked: Sequence[str],
        able: Sequence[int],
        found: Sequence[Found],
        animals: Collection[str] | None,
    ) -> Found | None:
        changed = {one.plot: in_time(one.change, self.knowledge) for one in found}
        trials, ranking = self.trials.committed(changed), self.ranking.committed(changed)
        keys = {self.features[at] for at in able}
        closed = self._closed(found)
        beside = np.zeros((len(self.plots), len(self.features)))
        walking = [key for key in self.walking if animals is None or key in animals]
        if walking:
            beside = estimated_worth(self.assessment, self.features, closed=closed, groups=walking)
        quick: dict[str, PlotTrials] = {}
        ranked: list[tuple[float, str, str]] = []
        for plot in looked:
            if any(plot == one.plot for one in found):
                continue
            things = [key for key in self._offered(plot) if key in keys]
            quick[plot] = ranking.at(plot)
            linked = quick[plot].ranked([self._change(plot, key) for key in things])
            worth = self._worth(linked, ranking, animals)
            row = beside[self.plots.index(plot)]
            ranked += [
                (float(one + row[self.features.index(key)]), plot, key)
                for one, key in zip(worth, things, strict=True)
            ]
        ranked.sort(key=lambda one: -one[0])
        # What ranks nearly alike is judged too: the quick form is right to some parts in a hundred.
        near = self.knowledge.setting("help_near_share")
        best: Found | None = None
        most = 0.0
        exact: dict[str, PlotTrials] = {}
        finalists = [one for one in ranked if one[0] >= (1.0 - near) * ranked[0][0]]
        for _, plot, key in finalists[: round(self.knowledge.setting("help_finalists"))]:
            if plot not in exact:
                exact[plot] = quick[plot] if trials is ranking else trials.at(plot)
            linked = exact[plot].linked_homes([self._change(plot, key)])
            won = float(self._worth(linked, trials, animals)[0])
            if won > most:
                most = won
                best = Found(
                    plot, *self._offered(plot)[key],
                    worth=float(self._worth(linked, trials)[0]), linked=linked[0] - trials.now,
                )  # fmt: skip
        least = self.knowledge.setting("plan_gain_least")
        if best is None or best.linked is None:
            return None
        counted = [
            more
            for key, more in zip(trials.groups, best.linked.tolist(), strict=True)
            if animals is None or key in animals
        ]
        return best if max(counted) >= least else None

    def first_on_plots(self) -> dict[str, tuple[Found, ...]]:
        """Return what each plot might begin with."""
        estimate = estimated_worth(self.assessment, self.features)
        first = {}
        for row in self.rows:
            plot = self.plots[row]
            offered = self._offered(plot)
            worth = {}
            for at, key in enumerate(self.features):
                if key in offered:
                    usual = self.knowledge.features[key].typical.value
                    part = min(offered[key][0].amount / usual, 1.0)
                    worth[key] = float(estimate[row, at]) * part
            kept: dict[str, str] = {}
            for key in sorted(worth, key=lambda one: -worth[one]):
                if worth[key] > 0:
                    kept.setdefault(self.knowledge.features[key].sort, key)
            if kept:
                keys = list(kept.values())[:_ON_PLOT]
                first[plot] = tuple(Found(plot, *offered[key]) for key in keys)
        return first

    def _worth(
        self, linked: Array, trials: Trials, animals: Collection[str] | None = None
    ) -> Array:
        """What linked homes are worth: for all animals, or for some."""
        weight = self.currency.weight[[self.currency.groups.index(key) for key in trials.groups]]
        if animals is not None:
            weight = weight * [key in animals for key in trials.groups]
        return np.asarray(worth_gained(linked, trials.now, self.currency.first) @ weight)

    def _change(self, plot: str, key: str) -> dict[str, float]:
        return in_time(self._offered(plot)[key][1], self.knowledge)
