"""The search for a street's plan: each plot answers the others, again and again, over the draws.

It begins with every plot's own best set, and never ends below that. Plot by plot all sets of the
things that are best *beside what the others do* are ranked in some of the draws, and the best of
them judged in every draw; what wins most is taken. Pairs of plots that close a break together are
tried as one move, and so are gaps in fences. It ends when a pass over the plots wins next to
nothing.

Where money, hours or jobs are short (and where so little can be chosen from that all is tried)
it also begins with a plan that is grown: what wins most for what it takes first. Sharing makes most
gains shrink while that grows, so what a move won when it was last judged is mostly more than it
wins now: only what promised most is judged anew, and taken if it still leads. But a need that is
met or a break that is closed makes gains grow, so these are no bounds: exchanges follow.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations
from math import comb
from typing import Any

import numpy as np
from numpy.typing import NDArray

from patchnet.core.texts import _
from patchnet.plan.plot_sets import Members, PlotSet, PlotSets
from patchnet.plan.street_alone import PlotsAlone
from patchnet.plan.street_gaps import best_open
from patchnet.plan.street_in_draws import Change, StreetInDraws
from patchnet.plan.street_rules import StreetRules

__all__ = ["Found", "StreetSearch"]

Array = NDArray[np.float64]
Choice = dict[str, Members]
_TIE = 1e-9
_SETS = 12  # sets that are tried on a plot that has nothing yet
_NEXT = 12  # things that are tried beside what a plot has
_SWAPS = 5  # things that each thing is exchanged for
_OWN = 4  # sets that were best alone, tried in an exchange
_ANSWER = 6  # of so many things that are best beside the rest all sets are ranked for a plot
_FINALISTS = 6  # of these the first so many are judged in every draw
_AT_ONCE = 8  # plots that are judged at once on a large street
_A_BATCH = 16  # of so many plots one is judged at a time
_SMALL = 12  # where up to so many plots have
_SMALL_SETS = 1000  # up to so many sets, everything is tried, and filled exactly
_ENDED = 0.005  # a pass that wins less than this part of the whole is the last
_PASSES = 3
_PAIR = 4  # sets of the first plot of a pair that are tried with those of the second


@dataclass(frozen=True)
class Found:
    """What a search found.

    Attributes
    ----------
    chosen
        Plot to its things, positions among its candidates; plots with nothing too.
    own
        The same, each plot its own best set, with nothing done elsewhere.
    gaps
        Keys of the gaps in fences that `chosen` opens.
    worth, own_worth
        Shape (D,): joint worth won by either, exactly.
    judged
        How many moves were judged.
    passes
        How many passes of exchange were made, and whether the last one still moved much.
    settled
        Whether the last pass won less than half a hundredth of the whole.
    """

    chosen: Mapping[str, Members]
    own: Mapping[str, Members]
    gaps: frozenset[int]
    worth: Array
    own_worth: Array
    judged: int
    passes: int
    settled: bool


@dataclass
class StreetSearch:
    """Searches a plan for the plots of a street.

    Attributes
    ----------
    street
        The street in its draws.
    sets
        What each plot that takes part can take.
    rules
        What the plan must keep to.
    fixed
        Plots whose things are settled.
    pairs
        Pairs of plots that could close a break together.
    gaps_of
        Gaps in fences that there could be beside a choice of things, by their keys.
    most_gaps
        Most gaps.
    few
        How many draws of each run are enough to rank by.
    told
        Is told what is being done: words, and how many plots of how many.
    """

    street: StreetInDraws
    sets: Mapping[str, PlotSets]
    rules: StreetRules
    fixed: Mapping[str, Members] = field(default_factory=dict)
    pairs: Sequence[tuple[str, str]] = ()
    gaps_of: Callable[[Mapping[str, Members]], Sequence[int]] | None = None
    most_gaps: int = 0
    few: int | None = None
    told: Callable[[Iterable[Any], str], Iterable[Any]] | None = None
    last: dict[str, dict[int, float]] = field(default_factory=dict)
    chosen: Choice = field(default_factory=dict)
    gaps: frozenset[int] = frozenset()
    able_gaps: tuple[int, ...] = ()

    @property
    def free(self) -> list[str]:
        """Plots that are planned for, in the order of the ids."""
        return sorted(plot for plot in self.rules.plots if plot not in self.fixed)

    @cached_property
    def small(self) -> bool:
        """Whether so little can be chosen from that everything is tried."""
        counts = (
            comb(len(self.sets[plot].candidates), size)
            for plot in self.free
            for size in range(1, self.sets[plot].size + 1)
        )
        return len(self.free) <= _SMALL and sum(counts) <= _SMALL_SETS

    def search(self, starts: Sequence[Mapping[str, Members]] = ()) -> Found:
        """Search; `starts` are plans to begin exchanges from as well."""
        now = self.street.now()
        self._judge_alone()
        own = self._own()
        plans = {"own": own}
        # Where money, hours or jobs are short, what wins most for what it takes goes first.
        if self.small or self._limited:
            plans["grown"] = self._grown()
        plans |= {f"given {at}": dict(one) for at, one in enumerate(starts)}
        worth = {name: self._worth(plan, now) for name, plan in plans.items()}
        order = sorted(plans, key=lambda name: (-float(worth[name].mean()), name))
        if self.gaps_of is not None:
            self.able_gaps = tuple(sorted(self.gaps_of(plans[order[0]])))
        best, passes, settled = (plans[order[0]], frozenset[int]()), 0, True
        top = worth[order[0]]
        for name in order if self.small else order[:1]:
            self._go_to(plans[name])
            value, count, ended = self._exchanged(now, worth[name])
            passes = max(passes, count)
            if name == order[0] or float(value.mean()) > float(top.mean()) + _TIE:
                best, top, settled = (dict(self.chosen), self.gaps), value, ended
        self._go_to(*best)
        chosen, gaps = dict(best[0]), best[1]
        return Found(chosen, own, gaps, top, worth["own"], self.street.judged, passes, settled)

    # beginnings ---------------------------------------------------------------------------

    @cached_property
    def by_itself(self) -> PlotsAlone:
        """What each plot wins by itself."""
        return PlotsAlone(self.street, self.sets, self.rules, self.few, self.small)

    @property
    def alone(self) -> Mapping[str, Mapping[Members, float]]:
        """Joint worth of the sets of each plot that is planned for, on the street as it is."""
        return self.by_itself.worth

    def _judge_alone(self) -> None:
        self.by_itself.judge(self.free, self._batches)
        for plot, worth in self.alone.items():
            self.last[plot] = {one[0]: each for one, each in worth.items() if len(one) == 1}

    def _own(self) -> Choice:
        """Each plot's own best set, as far as money, hours and jobs go: the best rate first."""
        chosen: Choice = dict.fromkeys(self.free, ()) | dict(self.fixed)
        for plot, best in self.by_itself.own_sets(self.free):
            self._if_allowed(chosen, plot, best)
        return chosen

    # growing ------------------------------------------------------------------------------

    def _grown(self) -> Choice:
        """Take what leads, plot by plot, judging anew only what promised most."""
        self._go_to(dict.fromkeys(self.free, ()) | dict(self.fixed))
        promise = {plot: self.by_itself.best_rate(plot) for plot in self.free}
        for batch in self._until_none(promise):
            moves = [(plot, self._more(plot)) for plot in batch]
            fresh: dict[str, tuple[float, Members]] = {}
            won = self.street.won(
                [(plot, self._changes(plot, more)) for plot, more in moves],
                most=self.few,
                exact=self.small,
            )
            for (plot, more), rows in zip(moves, won, strict=True):
                fresh[plot] = self._best_of(plot, more, rows)
            others = max((rate for plot, rate in promise.items() if plot not in fresh), default=0.0)
            for plot, (rate, __) in fresh.items():
                promise[plot] = rate
            lead = max(others, _TIE)
            taken: Choice = {}
            for plot in sorted(fresh, key=lambda one: (-fresh[one][0], one)):
                rate, members = fresh[plot]
                if rate < lead or rate <= _TIE:
                    continue
                if self._if_allowed(self.chosen, plot, members):
                    taken[plot] = members
                else:
                    promise[plot] = 0.0
            self._place(taken)
            for plot in [one for one, rate in promise.items() if rate <= _TIE]:
                del promise[plot]
        return dict(self.chosen)

    def _until_none(self, promise: dict[str, float]) -> Iterable[list[str]]:
        while promise:
            order = sorted(promise, key=lambda plot: (-promise[plot], plot))
            yield order[: self._at_once]

    def _more(self, plot: str) -> list[Members]:
        """Sets with more than a plot has: one thing more; whole sets where it has nothing."""
        has = self.chosen[plot]
        if len(has) >= self.sets[plot].size:
            return []
        one_more = self.sets[plot].beside(has)
        if not self.small:
            one_more = sorted(
                one_more, key=lambda one: -max(self._promise(plot, k) for k in set(one) - set(has))
            )[:_NEXT]
        if not has:
            several = [one for one in self.by_itself.ranked(plot) if len(one) > 1]
            one_more += several if self.small else several[:_SETS]
        return [one for one in one_more if self._allowed(plot, one)]

    def _promise(self, plot: str, thing: int) -> float:
        return self.last[plot].get(thing, 0.0)

    def _best_of(self, plot: str, sets: Sequence[Members], rows: Array) -> tuple[float, Members]:
        """The set that wins most for what it takes more, and how much that is."""
        has = self.chosen[plot]
        best: tuple[float, Members] = (0.0, has)
        before = self.rules.takes(self._set(plot, has))
        for members, worth in zip(sets, rows[..., 0].mean(axis=0).tolist(), strict=True):
            new = set(members) - set(has)
            if len(new) == 1 and len(members) == len(has) + 1:
                self.last[plot][new.pop()] = worth
            after = self.rules.takes(self._set(plot, members))
            more = [b - a for a, b in zip(before, after, strict=True)]
            rate = worth / max(self.rules.price(more), _TIE)
            if rate > best[0] + _TIE:
                best = rate, members
        return best

    # exchanges ----------------------------------------------------------------------------

    def _exchanged(self, now: Array, value: Array) -> tuple[Array, int, bool]:
        """Exchange until a pass wins next to nothing; what it comes to, passes, whether so."""
        margin: dict[str, float] = {}
        for count in range(1, _PASSES + 1):
            kept = dict(self.chosen), self.gaps
            self._gap_moves()
            # What was far from giving way in one pass is not asked again in the next.
            asked = self.free
            if margin and not self.small:
                asked = sorted(margin, key=lambda plot: (-margin[plot], plot))
                asked = sorted(asked[: -(-len(asked) // 2)])
            margin = self._pass(count, asked)
            self._pair_moves()
            after = self._worth(self.chosen, now, self.gaps)
            won = float(after.mean() - value.mean())
            if won <= 0:
                self._go_to(*kept)
                return value, count, True
            value = after
            if won < _ENDED * float(value.mean()) and not self.small:
                return value, count, True
        return value, _PASSES, False

    def _pass(self, count: int, asked: Sequence[str]) -> dict[str, float]:
        """Ask plots for something better beside the rest; how much it won, or lost least."""
        margin: dict[str, float] = {}
        for batch in self._batches(asked, _("exchanges, pass {n}").format(n=count)):
            moves = [(plot, others) for plot, others in self._answers(batch).items() if others]
            won = self.street.won(
                [(plot, self._changes(plot, others)) for plot, others in moves], exact=self.small
            )
            found = []
            for (plot, others), rows in zip(moves, won, strict=True):
                means = rows[..., 0].mean(axis=0)
                found.append((float(means.max()), plot, others[int(means.argmax())]))
                margin[plot] = float(means.max())
            taken: Choice = {}
            for worth, plot, members in sorted(found, key=lambda one: (-one[0], one[1])):
                if worth > _TIE and self._if_allowed(self.chosen, plot, members):
                    taken[plot] = members
            self._place(taken)
        return margin

    def _answers(self, plots: Sequence[str]) -> dict[str, list[Members]]:
        """What is judged in every draw in place of what plots have: ranked in some of them."""
        if self.small:
            return {plot: self.others(plot) for plot in plots}
        singles = {plot: self.sets[plot].singles for plot in plots if self.sets[plot].singles}
        for plot, worth in self._ranked_in_some(singles).items():
            self.last[plot] = {one[0]: each for one, each in worth.items()}
        able = {plot: self._beside_the_rest(plot) for plot in singles}
        found: dict[str, list[Members]] = {}
        for plot, worth in self._ranked_in_some(able).items():
            found[plot] = sorted(worth, key=lambda one: (-worth[one], len(one), one))[:_FINALISTS]
        return found

    def _ranked_in_some(
        self, asked: Mapping[str, Sequence[Members]]
    ) -> dict[str, dict[Members, float]]:
        """What sets win in place of what each plot has, in some of the draws."""
        moves = [(plot, self._changes(plot, sets)) for plot, sets in asked.items()]
        won = self.street.won(moves, most=self.few)
        return {
            plot: dict(zip(asked[plot], rows[..., 0].mean(axis=0).tolist(), strict=True))
            for (plot, __), rows in zip(moves, won, strict=True)
        }

    def _beside_the_rest(self, plot: str) -> list[Members]:
        """Sets of the things that are best beside the rest, of what it has, and of its own best."""
        has, sets = self.chosen[plot], self.sets[plot]
        ranked = sorted(self.last[plot], key=lambda k: (-self._promise(plot, k), k))
        things = sorted({*ranked[:_ANSWER], *has})
        found = [
            one
            for size in range(sets.size + 1)
            for one in combinations(things, size)
            if sets.of(one) is not None
        ]
        able = dict.fromkeys([*found, *self.by_itself.ranked(plot)[:_OWN]])
        return [one for one in able if one != has and self._allowed(plot, one)]

    def others(self, plot: str) -> list[Members]:
        """Sets to put in place of what a plot has: one thing out, one in, or both."""
        has, sets = self.chosen[plot], self.sets[plot]
        if self.small:
            every = [(), *self.alone[plot]]
            return [one for one in every if one != has and self._allowed(plot, one)]
        ranked = sorted(
            (k for k in range(len(sets.candidates)) if k not in has),
            key=lambda k: (-self._promise(plot, k), k),
        )
        fewer = [tuple(k for k in has if k != out) for out in has]
        found = [*fewer, *self.by_itself.ranked(plot)[:_OWN]]
        found += [
            tuple(sorted((*rest, k)))
            for rest in (*fewer, *([has] if len(has) < sets.size else []))
            for k in ranked[:_SWAPS]
        ]
        able = dict.fromkeys(one for one in found if one != has and sets.of(one) is not None)
        return [one for one in able if self._allowed(plot, one)]

    def _pair_moves(self) -> None:
        """Change two plots at once: those about a break; all pairs where there are few plots."""
        pairs = list(combinations(self.free, 2)) if self.small else list(self.pairs)
        for first, second in pairs:
            if first in self.fixed or second in self.fixed:
                continue
            best: tuple[float, Members, Members] = (_TIE, (), ())
            seconds = self._pair_sets(second)
            firsts = self._pair_sets(first)
            if not firsts or not seconds:
                continue
            [alone] = self.street.won(
                [(first, self._changes(first, firsts))], most=self.few, exact=self.small
            )
            for members, worth in zip(firsts, alone[..., 0].mean(axis=0).tolist(), strict=True):
                change = self._set(first, members).change
                [rows] = self.street.won(
                    [(second, self._changes(second, seconds))],
                    beside={first: change},
                    most=self.few,
                    exact=self.small,
                )
                for other, more in zip(seconds, rows[..., 0].mean(axis=0).tolist(), strict=True):
                    if worth + more > best[0] + _TIE:
                        trial = self.chosen | {first: members, second: other}
                        if self.rules.allows(self._sets_of(trial)):
                            best = worth + more, members, other
            if best[0] > _TIE:
                before = self._mean_of({})
                if self._mean_of({first: best[1], second: best[2]}) > before + _TIE:
                    self.chosen |= {first: best[1], second: best[2]}
                    self._place({first: best[1], second: best[2]})

    def _gap_moves(self) -> None:
        """Open gaps in fences, or close them; where little can be chosen, with a set of a plot."""
        if not self.able_gaps or not self.most_gaps:
            return
        better = best_open(
            self.street, self.able_gaps, self.gaps, most=self.most_gaps, draws=self.few,
            exact=self.small,
        )  # fmt: skip
        self._open(better)
        for key in self.able_gaps if self.small else ():
            if key in self.gaps or len(self.gaps) >= self.most_gaps:
                continue
            before, kept = self.street.linked([{}])[:, 0], self.gaps
            self._open(kept | {key})
            gap = self.street.gained(self.street.linked([{}])[:, 0], before).mean()
            moves = [(plot, self.others(plot)) for plot in self.free]
            won = self.street.won(
                [(plot, self._changes(plot, others)) for plot, others in moves], exact=True
            )
            best = max(
                (float(worth + gap), plot, members)
                for (plot, others), rows in zip(moves, won, strict=True)
                for members, worth in zip(others, rows[..., 0].mean(axis=0), strict=True)
            )
            if best[0] > _TIE:
                self.chosen |= {best[1]: best[2]}
                self._place({best[1]: best[2]})
            else:
                self._open(kept)

    def _open(self, gaps: frozenset[int]) -> None:
        if gaps != self.gaps:
            self.street.open(gaps)
            self.gaps = gaps

    def _pair_sets(self, plot: str) -> list[Members]:
        if self.small:
            return self.others(plot)
        has = self.chosen[plot]
        fitting = [one for one in self.others(plot) if len(one) >= len(has)]
        return fitting[: _PAIR + _SWAPS]

    def _mean_of(self, choice: Mapping[str, Members]) -> float:
        """Mean joint worth of the plan with some plots changed, over all draws, exactly."""
        plan = {plot: self._set(plot, members).change for plot, members in choice.items()}
        linked = self.street.linked([plan])[:, 0]
        return float(self.street.gained(linked, self.street.now()).mean())

    # small helpers ------------------------------------------------------------------------

    @property
    def _limited(self) -> bool:
        return any(limit is not None for limit in self.rules.limits)

    @property
    def _at_once(self) -> int:
        return max(1, min(_AT_ONCE, len(self.free) // _A_BATCH))

    def _batches(self, plots: Sequence[str], words: str) -> Iterable[Sequence[str]]:
        """Plots that are judged at once; they lie apart in the order of the ids."""
        step = max(1, -(-len(plots) // self._at_once))
        batches: list[Sequence[str]] = [plots[first::step] for first in range(step)]
        return batches if self.told is None else self.told(batches, words)

    def _set(self, plot: str, members: Members) -> PlotSet:
        found = self.sets[plot].of(members)
        if found is None:
            raise AssertionError((plot, members))
        return found

    def _sets_of(self, choice: Mapping[str, Members]) -> dict[str, PlotSet]:
        return {plot: self._set(plot, members) for plot, members in choice.items()}

    def _changes(self, plot: str, sets: Sequence[Members]) -> list[Change]:
        return [self._set(plot, members).change for members in sets]

    def _allowed(self, plot: str, members: Members) -> bool:
        if self.sets[plot].of(members) is None or not self.sets[plot].sound(members):
            return False
        if not self._limited:
            return True
        return self.rules.allows(self._sets_of(self.chosen | {plot: members}))

    def _if_allowed(self, choice: Choice, plot: str, members: Members) -> bool:
        """Put a plot's set into a choice where the limits allow it."""
        trial = choice | {plot: members}
        if not self.rules.allows(self._sets_of(trial)):
            return False
        choice[plot] = members
        return True

    def _place(self, choice: Mapping[str, Members]) -> None:
        self.street.place({plot: self._set(plot, one).change for plot, one in choice.items()})

    def _go_to(self, choice: Mapping[str, Members], gaps: frozenset[int] = frozenset()) -> None:
        self._open(gaps)
        other = {plot: one for plot, one in choice.items() if self.chosen.get(plot) != one}
        self.chosen = dict(choice)
        self._place(other)

    def _worth(
        self, choice: Mapping[str, Members], now: Array, gaps: frozenset[int] = frozenset()
    ) -> Array:
        """Shape (D,): joint worth won by a plan, exactly; the plan is in place afterwards."""
        self._go_to(choice, gaps)
        return self.street.gained(self.street.linked([{}])[:, 0], now)
