"""What should this plot add? The whole answer for one plot and one householder."""

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment, FenceGap, PlotAnswer
from patchnet.assess.fences import fence_gaps
from patchnet.assess.links_in_draws import gap_over_draws
from patchnet.assess.over_draws import draws_of
from patchnet.assess.plot import plot_answer
from patchnet.assess.supply import anchor_places, supply_of
from patchnet.assess.what_if import Trials
from patchnet.assess.what_if_plot import PlotTrials
from patchnet.core.errors import WrongUse
from patchnet.core.language_forms import in_sentence
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.plan.candidates import candidates_for, fitted, taking_up_of
from patchnet.plan.doubts import light_words, plan_warnings
from patchnet.plan.facts import Light, PlotFacts
from patchnet.plan.gains import Linked, gains_of
from patchnet.plan.in_draws import (
    ChangesInDraws,
    Gaps,
    Row,
    clear_lead,
    judge_in_draws,
    pool_of_sets,
)
from patchnet.plan.joint_worth import Currency, amounts_at, common_currency
from patchnet.plan.no_place import seen_on, with_place
from patchnet.plan.placed import Places
from patchnet.plan.placing import places_for
from patchnet.plan.planting import choose_planting
from patchnet.plan.planting_aims import planting_wishes
from patchnet.plan.planting_fits import Where
from patchnet.plan.plot_plan import (
    Addition,
    Candidate,
    NeedGain,
    Planting,
    PlotPlan,
    RuledOut,
    Suggestion,
    WouldChange,
)
from patchnet.plan.questions import questions
from patchnet.plan.read_facts import facts_in_file, read_facts
from patchnet.plan.reasons import reasons_for
from patchnet.plan.roles import has_living, is_feeding, is_living, role
from patchnet.plan.safety import cautions_there
from patchnet.plan.set_search import JudgedSets, judge_sets
from patchnet.plan.space import Space, space_of
from patchnet.plan.stages import plan_stages
from patchnet.plan.variety import plot_shares
from patchnet.plan.waiting import in_time
from patchnet.plan.wishes import set_to_eat, wished
from patchnet.sun.at_plot import plot_sun
from patchnet.sun.surface_heights import SurfaceHeights

__all__ = ["Adviser", "Taken", "month_meant", "plan_plot", "taken_over"]

Array = NDArray[np.float64]
_NAMED = 3  # plots named for a need, as on a plot's card
_LITTLE = 1e-3  # of the least gain worth naming: less is nothing
_PART = 0.05  # of a small gain for what somebody cares for: less is not worth naming beside it
_GAPS = 3  # gaps in the plot's fences that are looked at for each animal


def plan_plot(
    assessment: Assessment,
    plot: str,
    *,
    facts: PlotFacts | Mapping[str, object] | Path | str | None = None,
    month: int | None = None,
    heights: SurfaceHeights | None = None,
    draws: int = 0,
    seed: int = 0,
    cautious: bool = False,
    processes: int | None = 1,
    progress: Callable[[Iterable[Row]], Iterable[Row]] | None = None,
) -> PlotPlan:
    """Say what a plot should add: what neighbours lack, what fits, what to plant and when.

    Light is worked out from what stands about, unless it is said. For many plots of one
    neighbourhood make one `Adviser`.

    Parameters
    ----------
    assessment
        The neighbourhood as it is today.
    plot
        Id of the plot.
    facts
        What the householder says, all of it optional: `PlotFacts`, a mapping such as
        ``{"tenure": "rent", "free_m2": 6, "keep": "play lawn"}`` (see `read_facts`), or a TOML
        file of the same names.
    month
        The month it is now, 1-12; None: this month.
    heights
        Measured heights of all that stands, from `patchnet.read_surface_heights`.
    draws, seed
        How many draws of all that is not sure to choose over, at most, and their seed (see
        `patchnet.doubt_of`); 0: with the figures in use alone, and nothing is said of doubt.
    cautious
        Choose by what is won even in the worse draws (``settings/draws_cautious``), not by the
        mean.
    processes, progress
        As in `patchnet.doubt_of`.

    Returns
    -------
    PlotPlan
        What to add (`best`), where (`places`), what to plant (`planting`), in which order
        (`stages`), and why not other things (`ruled_out`, `would_change`).

    Raises
    ------
    WrongUse
        If there is no such plot (the nearest spellings are offered), or no such month, or a
        cautious choice is wanted without draws.
    DataFaults
        If anything in `facts` cannot be read or contradicts itself: all of it at once.
    CannotRead
        If a file of facts cannot be read.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["mason_bee"])
    >>> plan = patchnet.plan_plot(answer, "M15B", facts={"tenure": "rent"}, month=5)
    >>> len(plan.best.additions) <= 3
    True
    """
    knowledge = assessment.knowledge
    month = month_meant(month)
    assessment.neighbourhood.row_of(plot)
    if isinstance(facts, Path | str):
        facts = read_facts(facts_in_file(facts), knowledge, where=str(facts))
    elif isinstance(facts, Mapping):
        facts = read_facts(facts, knowledge, where="facts")
    taken = taken_over(
        knowledge, draws, seed, cautious=cautious, processes=processes, progress=progress
    )
    return Adviser(assessment, taken, heights).whole(plot, facts, month=month)


def month_meant(month: int | None) -> int:
    """Return the month, 1-12; this one where None.

    Parameters
    ----------
    month
        1-12, or None.

    Raises
    ------
    WrongUse
        If there is no such month.
    """
    if month is None:
        return dt.datetime.now(tz=dt.UTC).month
    if month not in range(1, 13):
        raise WrongUse(_("Months are 1 to 12, not {month}.").format(month=month))
    return month


@dataclass(frozen=True)
class Taken:
    """How draws are taken, see `plan_plot`."""

    draws: int
    seed: int = 0
    cautious: float | None = None
    processes: int | None = 1
    progress: Callable[[Iterable[Row]], Iterable[Row]] | None = None


def taken_over(
    knowledge: Knowledge,
    draws: int,
    seed: int,
    *,
    cautious: bool,
    processes: int | None = 1,
    progress: Callable[[Iterable[Row]], Iterable[Row]] | None = None,
) -> Taken | None:
    """Return how draws are taken, see `plan_plot`; None where none are.

    Parameters
    ----------
    knowledge
        For the settings.
    draws, seed, cautious, processes, progress
        As in `plan_plot`.

    Raises
    ------
    WrongUse
        If a cautious choice is wanted without draws.
    """
    if cautious and not draws:
        raise WrongUse(_("A cautious choice needs draws: it looks at the worse ones."))
    low = knowledge.setting("draws_cautious") if cautious else None
    return Taken(draws, seed, low, processes, progress) if draws else None


class Adviser:
    """Answers "what should this plot add?" for any plot of one assessed neighbourhood.

    What all plots share, the judge of additions, is worked out once.

    Parameters
    ----------
    assessment
        The neighbourhood as it is today.
    taken
        How draws are taken; None: none are.
    heights
        Measured heights of all that stands, or None.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["mason_bee"])
    >>> adviser = patchnet.Adviser(answer)
    >>> [adviser.plan(plot, month=5).plot for plot in ("M15B", "M17B")]
    ['M15B', 'M17B']
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

    def plan(
        self, plot: str, facts: PlotFacts | None = None, *, month: int, light: Light | None = None
    ) -> PlotPlan:
        """Answer for one plot.

        Parameters
        ----------
        plot
            Id of the plot.
        facts
            What the householder says; nothing where None.
        month
            The month it is now, 1-12: what can be done this season.
        light
            Light as worked out from the buildings; what the householder says of it goes first.

        Raises
        ------
        WrongUse
            If there is no such plot.
        """
        answer = plot_answer(self.assessment, plot)
        facts = PlotFacts() if facts is None else facts
        doubt = light_words(facts.light, light)
        light_said = facts.light is not None
        if not light_said and light is not None:
            facts = replace(facts, light=light)
        return _Plan(self, answer, facts, month, doubt, light_said=light_said).made()

    def whole(self, plot: str, facts: PlotFacts | None = None, *, month: int) -> PlotPlan:
        """Answer for one plot with its sun, and with where things go: all that a card tells.

        Parameters
        ----------
        plot, facts, month
            As in `plan`.

        Raises
        ------
        WrongUse
            If there is no such plot.
        """
        hood, knowledge = self.assessment.neighbourhood, self.assessment.knowledge
        sun = plot_sun(hood, plot, knowledge=knowledge, surface=self.heights)
        plan = self.plan(plot, facts, month=month, light=sun.cls)
        places = self.places(plan)
        if facts is not None and facts.light is not None and facts.light != sun.cls:
            places = places.without_sun()
        return replace(plan, sun=sun, places=places)

    def places(self, plan: PlotPlan) -> Places:
        """Where what a plan adds goes on its plot.

        Parameters
        ----------
        plan
            One that was made here.
        """
        return places_for(
            self.assessment.neighbourhood,
            plan.plot,
            [] if plan.best is None else [one.candidate for one in plan.best.additions],
            facts=plan.facts,
            knowledge=self.assessment.knowledge,
            has=seen_on(self.assessment.neighbourhood, plan.plot),
            gives_way=() if plan.best is None else plan.best.gives_way,
            stages=[stage.additions for stage in plan.stages],
            surface=self.heights,
        )

    def options(self, plot: str, facts: PlotFacts | None = None) -> tuple[Mapping[str, float], ...]:
        """Return the changes that a plan for a plot chooses from when it is made over draws.

        Parameters
        ----------
        plot
            Id of the plot.
        facts
            What the householder says; nothing where None.

        Returns
        -------
        tuple
            Of each set of things that is worth judging in every draw the change that it makes:
            feature to amount more, in its own unit.
        """
        answer = plot_answer(self.assessment, plot)
        plan = _Plan(self, answer, PlotFacts() if facts is None else facts, 1, ())
        judged = plan.judged(plan.offered()[0])
        return tuple(judged.fitted[at][1] for at in plan.pool(judged))


class _Plan:
    """One plan while it is being made."""

    def __init__(
        self,
        adviser: Adviser,
        answer: PlotAnswer,
        facts: PlotFacts,
        month: int,
        doubt: Sequence[str],
        *,
        light_said: bool = False,
    ) -> None:
        self.light_said = light_said
        self.adviser, self.answer, self.facts, self.month = adviser, answer, facts, month
        self.doubt = list(doubt)
        self.assessment = adviser.assessment
        self.knowledge = adviser.assessment.knowledge
        self.least = self.knowledge.setting("plan_gain_least")
        self.judged_before: dict[frozenset[tuple[str, float]], Array] = {}
        self.trials: PlotTrials = adviser.trials.at(answer.plot)
        self.currency: Currency = adviser.currency.voting(facts.groups)
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
            surface=self.adviser.heights,
        )

    def made(self) -> PlotPlan:
        offered, ruled_out = self.offered()
        judged = self.judged_for_the_cared_for(offered)
        gaps = self.gaps()
        if self.adviser.taken is not None and judged.sets:
            judged, gaps = self.over_draws(judged, gaps, self.adviser.taken)
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
            month=self.month,
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

    # the search ---------------------------------------------------------------------------

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
        self.currency = self.adviser.currency
        return self.judged(offered)

    def pool(self, judged: JudgedSets) -> list[int]:
        """Places of the sets that are worth judging in every draw."""
        return pool_of_sets(
            judged.sets,
            judged.gain,
            first=round(self.knowledge.setting("draws_sets")),
            singles=round(self.knowledge.setting("draws_singles")),
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

    def joined(
        self, chosen: Sequence[Candidate]
    ) -> tuple[tuple[Candidate, ...], Mapping[str, float]] | None:
        """Candidates made to fit together, and the change they make; None where they cannot."""
        return fitted(chosen, self.space, self.knowledge, self.facts)

    def to_eat(self, judged: JudgedSets, best: int | None) -> Suggestion | None:
        """Return the best set with something to eat, where that is wanted and the best has none."""
        at = set_to_eat(judged, best, self.knowledge) if self.facts.edible else None
        return None if at is None else self.suggestion(judged, at)

    def judged(self, offered: Sequence[Candidate]) -> JudgedSets:
        return judge_sets(
            offered,
            fit=self.joined,
            ranked_after=self.ranked_after,
            linked_after=self.linked_after,
            finalists=round(self.knowledge.setting("plan_finalists")),
            worth=self.currency.worth,
            now=self.currency.now,
            ceiling=lambda: self.ceiling(offered),
            size=round(self.knowledge.setting("plan_set_size")),
            most=round(self.knowledge.setting("plan_sets_max")),
        )

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

    def suggestion(self, judged: JudgedSets, at: int) -> Suggestion:
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

    # what stands round it -----------------------------------------------------------------

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
                share=self.adviser.shares[self.answer.plot],
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

    def gaps(self) -> Gaps:
        """A few gaps in this plot's fences, for each group that walks."""
        return tuple(
            (key, gap)
            for key, answer in self.assessment.groups.items()
            if answer.ground is not None
            for gap in fence_gaps(self.assessment, key, most=_GAPS, plot=self.answer.plot)
        )

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

    def features_of(self, judged: JudgedSets, at: int) -> tuple[str, ...]:
        return tuple(judged.candidates[k].feature for k in judged.sets[at])
