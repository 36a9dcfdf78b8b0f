"""The plan of one plot from what was found best: gains, reasons, plants, steps, and what else."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import FenceGap
from patchnet.plan.candidates import fitted, taking_up_of
from patchnet.plan.doubts import plan_warnings
from patchnet.plan.gains import Linked, gains_of
from patchnet.plan.in_draws import Gaps
from patchnet.plan.no_place import seen_on
from patchnet.plan.planting import choose_planting
from patchnet.plan.planting_aims import planting_wishes
from patchnet.plan.planting_fits import Where
from patchnet.plan.plot_plan import (
    Addition,
    Candidate,
    NeedGain,
    Planting,
    PlotPlan,
    Suggestion,
    WouldChange,
)
from patchnet.plan.plot_search import PlotSearch
from patchnet.plan.questions import questions
from patchnet.plan.reasons import reasons_for
from patchnet.plan.roles import role
from patchnet.plan.safety import cautions_there
from patchnet.plan.set_search import JudgedSets
from patchnet.plan.stages import plan_stages
from patchnet.plan.wishes import set_to_eat, wished

__all__ = ["PlanMaking"]

Array = NDArray[np.float64]
_NAMED = 3  # plots named for a need, as on a plot's card


class PlanMaking(PlotSearch):
    """One plan while it is being made, see `PlotSearch`."""

    def made(self, *, month: int) -> PlotPlan:
        """The whole plan, as in the given month (1-12)."""
        offered, ruled_out = self.offered()
        judged = self.judged_for_the_cared_for(offered)
        gaps = self.gaps()
        if self.shared.taken is not None and judged.sets:
            judged, gaps = self.over_draws(judged, gaps, self.shared.taken)
        best = self.worth_naming(judged, self.chosen(judged))
        suggestion = None if best is None else self.suggestion(judged, best)
        runner_up = None
        if suggestion is not None:
            first = suggestion.additions[0].candidate.feature
            other = self.worth_naming(judged, self.chosen(judged, lambda one: one.feature != first))
            runner_up = None if other is None else self.suggestion(judged, other)
        stages = plan_stages(
            self.knowledge,
            self.facts,
            self.space,
            kind=self.answer.kind,
            month=month,
            ranked_after=self.ranked_after,
            linked_after=self.linked_after,
            currency=self.currency,
            chosen=() if best is None else judged.fitted[best][0],
        )
        if judged.drawn is not None:  # stages are not judged in the draws
            stages = tuple(replace(stage, linked_homes=None) for stage in stages)
        planting, extra = self.planting(judged, best)
        return PlotPlan(
            plot=self.answer.plot,
            facts=self.facts,
            answer=self.answer,
            best=suggestion,
            wished=wished(judged, best, ruled_out, self.facts, self.joined, self.linked_after),
            to_eat=self.to_eat(judged, best),
            runner_up=runner_up,
            exact=judged.exact,
            searched=len(judged.sets),
            bound=judged.bound,
            plentiful=self.plentiful(judged),
            ruled_out=ruled_out,
            would_change=self.would_change(judged, suggestion),
            gaps=self.worth_opening(gaps),
            planting=planting,
            planting_with=extra,
            stages=stages,
            warnings=(
                *plan_warnings(self.assessment, self.answer, self.facts, self.space, offered),
                *self.doubt,
            ),
            there=cautions_there(self.knowledge, self.facts, self.answer.has),
            assessment=self.assessment,
        )

    def to_eat(self, judged: JudgedSets, best: int | None) -> Suggestion | None:
        """Return the best set with something to eat, where that is wanted and the best has none."""
        at = set_to_eat(judged, best, self.knowledge) if self.facts.edible else None
        return None if at is None else self.suggestion(judged, at)

    def suggestion(self, judged: JudgedSets, at: int) -> Suggestion:
        """Tell of one set what each thing in it wins, for whom, and why it is named."""
        chosen, change = judged.fitted[at]
        place = {members: k for k, members in enumerate(judged.sets)}
        members = judged.sets[at]
        before, after, gain = judged.before, judged.linked_with(at), judged.gain_with(at)
        parts = replace(self.currency, now=before).parts(after)
        shares = dict(zip(self.currency.groups, parts.tolist(), strict=True))
        groups, needs = gains_of(
            self.assessment,
            self.answer.plot,
            self.trials.outcome(self.in_time(change)),
            shares,
            most=_NAMED,
            linked=self.linked_in_draws(judged, at),
        )
        additions = []
        for k, one in zip(members, chosen, strict=True):
            rest = place.get(tuple(m for m in members if m != k))
            without = before if rest is None else judged.linked_with(rest)
            alone = judged.linked_with(place[(k,)]) - before
            additions.append(
                Addition(
                    candidate=one,
                    alone=float(alone.sum()),
                    given_the_others=float((after - without).sum()),
                    worth=gain - (0.0 if rest is None else judged.gain_with(rest)),
                    groups=self.served(after - without),
                    needs=self.filled(one.feature, needs),
                    often=judged.often(k),
                )
            )
        row = self.assessment.neighbourhood.row_of(self.answer.plot)
        additions = [
            replace(
                one,
                reasons=reasons_for(
                    self.assessment, self.answer, one, needs, self.assessment.amounts[row]
                ),
            )
            for one in additions
        ]
        additions.sort(key=lambda one: (role(one.candidate.feature, self.knowledge), -one.worth))
        return Suggestion(
            additions=tuple(additions),
            gives_way={key: -amount for key, amount in change.items() if amount < 0},
            score=gain,
            linked_homes=float((after - before).sum()),
            groups=groups,
            needs=needs,
            doubt=judged.doubt(at, lambda one: self.knowledge.features[one.feature].sort),
        )

    def linked_in_draws(self, judged: JudgedSets, at: int) -> dict[str, Linked] | None:
        """Linked homes of each group over the draws; None where nothing was drawn."""
        if judged.drawn is None or at not in judged.column:
            return None
        column = judged.column[at]
        rows = zip(
            self.currency.groups,
            judged.drawn.now_mean.tolist(),
            judged.drawn.after_mean[column].tolist(),
            judged.drawn.won_by(column)[:, 1:].tolist(),
            strict=True,
        )
        return {key: Linked(before, after, *ends) for key, before, after, ends in rows}

    def served(self, won: Array) -> tuple[tuple[str, float], ...]:
        """Groups that win linked homes worth naming, most first."""
        least = self.least
        pairs = zip(self.currency.groups, won.tolist(), strict=True)
        return tuple(
            sorted(((key, gain) for key, gain in pairs if gain >= least), key=lambda pair: -pair[1])
        )

    def filled(self, feature: str, needs: Sequence[NeedGain]) -> tuple[tuple[str, str], ...]:
        """Needs met better, of which the feature gives something."""
        given = self.knowledge.given_by(feature)
        resource = {
            (key, need.key): need.resource
            for key, group in self.knowledge.groups.items()
            for need in group.needs
        }
        return tuple(
            (gain.group, gain.need)
            for gain in needs
            if gain.plots_count and resource[gain.group, gain.need] in given
        )

    def planting(self, judged: JudgedSets, best: int | None) -> tuple[Planting, Candidate | None]:
        """Plants for what is added, or else for gaps in what is there.

        Where hungry months stay without flowers, one more bed, pot or box that fits beside the
        best set is tried, the most useful first; it is returned too if it helps.
        """
        places = self.knowledge.planting_places
        chosen = () if best is None else judged.fitted[best][0]
        change = {} if best is None else judged.fitted[best][1]
        new = {one.feature: one.amount for one in chosen if one.feature in places}
        beds = set(self.knowledge.features_with("bed"))
        if self.facts.pots_only:  # what grows in the ground there is not what is asked about
            beds = {key for key in beds if self.knowledge.features[key].container}
        # Nobody plants a bed anew that is full: what is there takes what fits between.
        share = 0.0 if new else self.knowledge.setting("planting_gap_share")
        there = {key: amount * share for key, amount in self.seen().items() if key in beds}
        money = None if self.facts.budget is None else self.money_left(chosen, change)
        planting = self.chosen_plants(new or there, money)
        lacking = (*planting.uncovered, *planting.no_room)
        extra = None
        for one in self.beds(judged, chosen) if lacking else ():
            trial = self.chosen_plants({**(new or there), one.feature: one.amount}, money)
            if len((*trial.uncovered, *trial.no_room)) < len(lacking):
                planting, extra = trial, one
                break
        return replace(planting, gap_share=share), extra

    def seen(self) -> dict[str, float]:
        """What is known to be there: nothing is planted into a basket that nobody saw."""
        return seen_on(self.assessment.neighbourhood, self.answer.plot)

    def money_left(self, chosen: Sequence[Candidate], change: Mapping[str, float]) -> float:
        """What the budget leaves for plants: all but what else is bought and taken up."""
        others = sum(
            one.cost for one in chosen if one.feature not in self.knowledge.planting_places
        )
        left = (self.facts.budget or 0.0) - others - taking_up_of(change, self.knowledge)[1]
        return max(left, 0.0)

    def chosen_plants(self, places: Mapping[str, float], money: float | None) -> Planting:
        """Choose plants for beds, pots and boxes (m2 or count each), with what money is left."""
        hungry, wants = planting_wishes(self.assessment, self.answer)
        kind, knowledge = self.answer.kind, self.knowledge
        return choose_planting(
            knowledge,
            self.facts,
            hungry=hungry,
            features=places,
            wants=wants,
            light=self.facts.light,
            country=self.assessment.neighbourhood.country,
            where=Where(
                street=knowledge.plot_is(kind, "in_street"),
                passers_by=knowledge.plot_is(kind, "passers_by"),
                has=frozenset(self.seen()) | frozenset(places),
                share=self.shared.shares[self.answer.plot],
                money=money,
            ),
        )

    def beds(self, judged: JudgedSets, chosen: Sequence[Candidate]) -> list[Candidate]:
        """Beds, pots and boxes that fit beside what is chosen, the most useful first."""
        taken = {one.feature for one in chosen}
        alone = [
            (float(judged.gain[at]), judged.candidates[members[0]])
            for at, members in enumerate(judged.sets)
            if len(members) == 1
        ]
        beds = set(self.knowledge.features_with("bed"))
        found = []
        for __, one in sorted(alone, key=lambda pair: -pair[0]):
            if one.feature in beds and one.feature not in taken:
                together = fitted([*chosen, one], self.space, self.knowledge, self.facts)
                if together is not None:
                    found.append(together[0][-1])
        return found

    def plentiful(
        self, judged: JudgedSets
    ) -> tuple[tuple[str, tuple[tuple[str, float], ...], int], ...]:
        """Features that several neighbours have and of which more would win next to nothing."""
        alone = {
            judged.candidates[members[0]].feature: float(judged.gain[at])
            for at, members in enumerate(judged.sets)
            if len(members) == 1
        }
        top = max(alone.values(), default=0.0)
        little = self.knowledge.setting("plentiful_share") * top
        least = self.knowledge.setting("plentiful_plots")
        found = [
            (near.feature, near.nearest, near.plots)
            for near in self.answer.near
            if near.plots >= least and alone.get(near.feature, np.inf) <= little
        ]
        found.sort(key=lambda entry: (-entry[2], entry[1][0][1]))
        return tuple(found)

    def worth_opening(self, gaps: Gaps) -> Gaps:
        """The one that wins most for each group, if it is worth naming; that of most homes first.

        Those after the first of a group count what is won with those before open, or over the
        draws by themselves.
        """
        best: dict[str, FenceGap] = {}
        for key, gap in gaps:
            if key not in best or gap.homes_won > best[key].homes_won:
                best[key] = gap
        least = self.knowledge.setting("plan_gain_least")
        found = [(key, gap) for key, gap in best.items() if gap.homes_won >= least]
        return tuple(sorted(found, key=lambda entry: -entry[1].homes_won))

    def would_change(
        self, judged: JudgedSets, suggestion: Suggestion | None
    ) -> tuple[WouldChange, ...]:
        """Facts nobody said that would bring out another set."""
        if suggestion is None:
            return ()
        now = {one.candidate.feature for one in suggestion.additions}
        found = []
        for fact, words, allowed in questions(self.facts, self.knowledge, self.answer.kind):
            at = self.worth_naming(judged, self.chosen(judged, allowed))
            features = () if at is None else self.features_of(judged, at)
            if set(features) != now:
                found.append(WouldChange(fact, words, features))
        return tuple(found)
