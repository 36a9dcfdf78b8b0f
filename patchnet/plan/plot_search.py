"""The search for what is best on one plot: what fits is judged, alone and together, and chosen."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment, PlotAnswer
from patchnet.assess.fences import fence_gaps
from patchnet.assess.links_in_draws import gap_over_draws
from patchnet.assess.over_draws import draws_of
from patchnet.assess.supply import anchor_places, supply_of
from patchnet.assess.what_if import Trials
from patchnet.assess.what_if_plot import PlotTrials
from patchnet.core.language_forms import in_sentence
from patchnet.core.texts import _
from patchnet.plan.candidates import candidates_for, fitted
from patchnet.plan.facts import PlotFacts
from patchnet.plan.in_draws import (
    ChangesInDraws,
    Gaps,
    Row,
    clear_lead,
    judge_in_draws,
    pool_of_sets,
    sets_of_the_best,
)
from patchnet.plan.joint_worth import Currency, amounts_at, common_currency
from patchnet.plan.no_place import with_place
from patchnet.plan.plot_plan import Candidate, RuledOut
from patchnet.plan.roles import has_living, is_feeding, is_living
from patchnet.plan.set_search import JudgedSets, judge_sets
from patchnet.plan.space import Space, space_of
from patchnet.plan.variety import plot_shares
from patchnet.plan.waiting import in_time
from patchnet.sun.surface_heights import SurfaceHeights

__all__ = ["PlotSearch", "Shared", "Taken"]

Array = NDArray[np.float64]
_LITTLE = 1e-3  # of the least gain worth naming: less is nothing
_PART = 0.05  # of a small gain for what somebody cares for: less is not worth naming beside it
_GAPS = 3  # gaps in the plot's fences that are looked at for each animal


@dataclass(frozen=True)
class Taken:
    """How draws are taken, see `plan_plot`."""

    draws: int
    seed: int = 0
    cautious: float | None = None
    processes: int | None = 1
    progress: Callable[[Iterable[Row]], Iterable[Row]] | None = None


class Shared:
    """What the plans of all plots of a neighbourhood share: above all the judge of additions.

    Parameters
    ----------
    assessment, taken, heights
        As in `patchnet.Adviser`.
    """

    def __init__(
        self,
        assessment: Assessment,
        taken: Taken | None = None,
        heights: SurfaceHeights | None = None,
    ) -> None:
        self.assessment = assessment
        self.taken = taken
        self.heights = heights
        self.trials = Trials(assessment)
        self.currency = common_currency(assessment)

    @cached_property
    def shares(self) -> Mapping[str, int]:
        """Which share of the street's kinds of plant each plot has, see `plan.variety`."""
        return plot_shares(self.assessment.neighbourhood, self.assessment.knowledge)


class PlotSearch:
    """Looks for what is best for one plot: judges what fits, and chooses.

    Parameters
    ----------
    shared
        What all plots share.
    answer
        How the plot stands today.
    facts
        What the householder says.
    doubt
        Sentences about light that is not sure; more are added to `doubt`.
    light_said
        Whether the householder said the light.
    """

    def __init__(
        self,
        shared: Shared,
        answer: PlotAnswer,
        facts: PlotFacts,
        doubt: Sequence[str] = (),
        *,
        light_said: bool = False,
    ) -> None:
        self.light_said = light_said
        self.shared, self.answer, self.facts = shared, answer, facts
        self.doubt = list(doubt)
        self.assessment = shared.assessment
        self.knowledge = shared.assessment.knowledge
        self.least = self.knowledge.setting("plan_gain_least")
        self.judged_before: dict[frozenset[tuple[str, float]], Array] = {}
        self.trials: PlotTrials = shared.trials.at(answer.plot)
        self.currency: Currency = shared.currency.voting(facts.groups)
        self.space: Space = space_of(
            self.assessment.neighbourhood,
            answer.plot,
            facts,
            self.knowledge,
            amounts=amounts_at(self.assessment, answer.plot),
        )

    def offered(self) -> tuple[tuple[Candidate, ...], tuple[RuledOut, ...]]:
        """What fits by itself and has a place, and what is ruled out."""
        return with_place(
            candidates_for(self.knowledge, self.facts, self.space, kind=self.answer.kind),
            self.assessment.neighbourhood,
            self.answer.plot,
            self.knowledge,
            light_said=self.light_said,
            surface=self.shared.heights,
        )

    def judged_for_the_cared_for(self, offered: Sequence[Candidate]) -> JudgedSets:
        """Judge for the groups cared for; for all groups where nothing wins those anything."""
        judged = self.judged(offered)
        cared_for = self.facts.groups
        if not cared_for:
            return judged
        at = judged.best()
        voting = np.isin(self.currency.groups, cared_for)
        linked = judged.before if at is None else judged.linked_with(at)
        won = float((linked - judged.before)[voting].sum())
        names = ", ".join(in_sentence(self.knowledge.groups[key].name) for key in cared_for)
        if won >= self.least:
            return judged
        if won > _LITTLE * self.least:
            # The best there is, and how little that is.
            self.least = min(self.least, _PART * won)
            self.doubt.insert(
                0,
                _("What fits here would help these only a little: {names}.").format(names=names),
            )
            return judged
        self.doubt.insert(
            0,
            _(
                "Nothing that fits here would help these much: {names}. So this answer counts all "
                "animals."
            ).format(names=names),
        )
        self.currency = self.shared.currency
        return self.judged(offered)

    def judged(self, offered: Sequence[Candidate]) -> JudgedSets:
        """Every set of what is offered that fits together, judged."""
        return judge_sets(
            offered,
            fit=self.joined,
            ranked_after=self.ranked_after,
            linked_after=self.linked_after,
            finalists=(
                round(self.knowledge.setting("plan_finalists_least")),
                round(self.knowledge.setting("plan_finalists")),
            ),
            worth=self.currency.worth,
            now=self.currency.now,
            ceiling=lambda: self.ceiling(offered),
            size=round(self.knowledge.setting("plan_set_size")),
            most=round(self.knowledge.setting("plan_sets_max")),
            looked_at=round(self.knowledge.setting("plan_threes")),
        )

    def in_time(self, change: Mapping[str, float]) -> dict[str, float]:
        """The change as it counts some years ahead."""
        return in_time(change, self.knowledge)

    def linked_after(self, changes: Sequence[Mapping[str, float]]) -> Array:
        """Linked homes after each change, (S, groups); what was judged before is remembered."""
        keys = [frozenset(change.items()) for change in changes]
        new = list(dict.fromkeys(key for key in keys if key not in self.judged_before))
        if new:
            changes_new = [self.in_time(dict(key)) for key in new]
            rows = np.asarray(self.trials.linked_homes(changes_new), dtype=float)
            self.judged_before.update(zip(new, rows, strict=True))
        groups = len(self.currency.groups)
        return np.array([self.judged_before[key] for key in keys]).reshape(-1, groups)

    def ranked_after(self, changes: Sequence[Mapping[str, float]]) -> Array:
        """Linked homes after each change, (S, groups), nearly: to rank them."""
        return np.asarray(self.trials.ranked([self.in_time(each) for each in changes]), dtype=float)

    def joined(
        self, chosen: Sequence[Candidate]
    ) -> tuple[tuple[Candidate, ...], Mapping[str, float]] | None:
        """Candidates made to fit together, and the change they make; None where they cannot."""
        return fitted(chosen, self.space, self.knowledge, self.facts)

    def ceiling(self, offered: Sequence[Candidate]) -> Array:
        """Linked homes that no set can pass: every home there is, or would be, room for."""
        knowledge, features = self.knowledge, self.assessment.neighbourhood.answers.features
        row = np.array([self.space.has.get(key, 0.0) for key in features])
        more = {one.feature: one.amount for one in offered}
        extra = np.array([more.get(key, 0.0) for key in features])
        amounts = (row + extra)[None, :]
        supply = supply_of(amounts, knowledge)
        here = self.assessment.neighbourhood.plots.index.get_loc(self.answer.plot)
        limits = []
        for answer in self.assessment.groups.values():
            # No more than if every place were used as much as where all needs are met.
            most = answer.places[:, 3:].copy()
            most[here] = np.maximum(
                most[here], anchor_places(amounts, supply, knowledge, answer.group)[0, 3]
            )
            room = most if answer.pool is None else answer.pool.thinned(most)
            limits.append(float(room.sum()))
        return np.array(limits)

    def pool(self, judged: JudgedSets) -> list[int]:
        """Places of the sets that are worth judging in every draw."""
        singles = round(self.knowledge.setting("draws_singles"))
        judged.ranking.add(sets_of_the_best(judged.sets, np.array(judged.gain), singles=singles))
        return pool_of_sets(
            judged.sets,
            np.array(judged.gain),
            first=round(self.knowledge.setting("draws_sets")),
            singles=singles,
        )

    def over_draws(self, judged: JudgedSets, gaps: Gaps, taken: Taken) -> tuple[JudgedSets, Gaps]:
        """Judge the best of the sets, and the gaps in fences, in every draw."""
        setting = self.knowledge.setting
        pool = self.pool(judged)
        uncertain = draws_of(self.assessment, taken.draws, taken.seed)

        def enough(so_far: ChangesInDraws) -> bool:
            if so_far.count < setting("draws_least"):
                return False
            first = {*judged.sets[pool[int(so_far.score.argmax())]]}
            rivals = [at for at, place in enumerate(pool) if not first & {*judged.sets[place]}]
            return clear_lead(so_far, rivals, surely=setting("draws_lead"))

        found = judge_in_draws(
            uncertain,
            self.answer.plot,
            [judged.fitted[at][1] for at in pool],
            weight=self.currency.weight,
            first=self.currency.first,
            cautious=taken.cautious,
            gaps=gaps,
            enough=enough,
            processes=taken.processes,
            progress=taken.progress,
        )
        drawn = replace(
            judged,
            drawn=found,
            column={place: at for at, place in enumerate(pool)},
        )
        opened = tuple(
            (key, gap_over_draws(gap, won))
            for (key, gap), won in zip(gaps, found.gaps.T, strict=True)
        )
        return drawn, opened

    def gaps(self) -> Gaps:
        """A few gaps in this plot's fences, for each group that walks."""
        return tuple(
            (key, gap)
            for key, answer in self.assessment.groups.items()
            if answer.ground is not None
            for gap in fence_gaps(self.assessment, key, most=_GAPS, plot=self.answer.plot)
        )

    def chosen(
        self, judged: JudgedSets, allowed: Callable[[Candidate], bool] | None = None
    ) -> int | None:
        """Place of the set to choose: with something planted, watered or opened, if any fits.

        Food is put out only where nothing else would help (see `patchnet.plan.roles`).
        """

        def lasting(one: Candidate) -> bool:
            return not is_feeding(one.feature, self.knowledge) and (allowed is None or allowed(one))

        at = judged.best(lasting, lambda some: has_living(some, self.knowledge))
        at = judged.best(lasting) if at is None else at
        return judged.best(allowed) if at is None else at

    def worth_naming(self, judged: JudgedSets, at: int | None) -> int | None:
        """Leave out of a set, one by one, what wins next to nothing on top of the rest.

        Only for the groups that have a say: what harms them, or helps others alone, is left out.
        The last thing that is planted, watered or opened stays as long as it wins anything.
        """
        place = {members: k for k, members in enumerate(judged.sets)}
        while at is not None:
            members = judged.sets[at]
            living = [is_living(judged.candidates[k].feature, self.knowledge) for k in members]
            rests = [place.get(tuple(m for m in members if m != each)) for each in members]
            before = [judged.before if k is None else judged.linked_with(k) for k in rests]
            voting = self.currency.weight > 0
            won = np.array([(judged.linked_with(at) - linked)[voting].max() for linked in before])
            least = np.full(len(won), self.least)
            if sum(living) == 1 and len(members) > 1:
                least[living.index(True)] = 0.0
            if (won >= least).all():
                return at
            at = rests[int(np.argmin(won - least))]
        return None

    def features_of(self, judged: JudgedSets, at: int) -> tuple[str, ...]:
        """Keys of the things in a set."""
        return tuple(judged.candidates[k].feature for k in judged.sets[at])
