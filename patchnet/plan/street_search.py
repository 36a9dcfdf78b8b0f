"""The search for a street's plan: old values while they lead, then exchanges, on the mean of draws.

Sharing makes most gains shrink while a plan grows, so what a move won when it was last judged is
mostly more than it wins now: the plots that promised most are judged anew, and what still leads
all others is taken. But a need that is met or a break that is closed makes gains grow. So these are
no bounds, and afterwards every plot is judged anew, again and again, with one thing exchanged for
another; pairs of plots that close a break together are tried as one move. It begins both with that
plan and with every plot's own best set, and never ends below either.
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
from patchnet.plan.street_gaps import best_open
from patchnet.plan.street_in_draws import Change, StreetInDraws
from patchnet.plan.street_rules import StreetRules

__all__ = ["Found", "StreetSearch"]

Array = NDArray[np.float64]
Choice = dict[str, Members]
_TIE = 1e-9
_FIRST = 7  # of so many best single things of a plot all pairs and threes are judged
_SETS = 12  # sets that are tried on a plot that has nothing yet
_NEXT = 12  # things that are tried beside what a plot has
_SWAPS = 5  # things that each thing is exchanged for
_OWN = 4  # sets that were best alone, tried in an exchange
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
    alone: dict[str, dict[Members, float]] = field(default_factory=dict)
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
        begun = self._grown()
        plans = {"own": own, "grown": begun}
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

    # what each plot wins by itself --------------------------------------------------------

    def _judge_alone(self) -> None:
        """Judge every single thing, and the pairs and threes of the best, on the street as is."""
        free = self.free
        for batch in self._batches(free, _("each plot by itself")):
            moves = [(plot, self._changes(plot, self.sets[plot].singles)) for plot in batch]
            won = self.street.won(moves, most=self.few, today=True, exact=self.small)
            for plot, rows in zip(batch, won, strict=True):
                means = rows[..., 0].mean(axis=0).tolist()
                self.alone[plot] = dict(zip(self.sets[plot].singles, means, strict=True))
                self.last[plot] = {one[0]: worth for one, worth in self.alone[plot].items()}
            more = {plot: self._several(plot) for plot in batch}
            moves = [(plot, self._changes(plot, more[plot])) for plot in batch]
            won = self.street.won(moves, most=self.few, today=True, exact=self.small)
            for plot, rows in zip(batch, won, strict=True):
                if more[plot]:
                    means = rows[..., 0].mean(axis=0).tolist()
                    self.alone[plot] |= dict(zip(more[plot], means, strict=True))

    def _several(self, plot: str) -> list[Members]:
        sets = self.sets[plot]
        first = len(sets.candidates) if self.small else _FIRST
        ranked = sorted(sets.singles, key=lambda one: (-self.alone[plot][one], one))[:first]
        things = sorted(one[0] for one in ranked)
        found = []
        for size in range(2, sets.size + 1):
            found += [one for one in combinations(things, size) if sets.of(one) is not None]
        return found

    def _own(self) -> Choice:
        """Each plot's own best set, as far as money, hours and jobs go: the best rate first."""
        best = {plot: max(self._ranked(plot)[:1], default=()) for plot in self.free}
        rates = []
        for plot, members in best.items():
            worth = self.alone[plot].get(members, 0.0)
            if members and worth > _TIE:
                price = self.rules.price(self.rules.takes(self._set(plot, members)))
                rates.append((-worth / max(price, _TIE), plot))
        chosen: Choice = dict.fromkeys(self.free, ()) | dict(self.fixed)
        for __, plot in sorted(rates):
            self._if_allowed(chosen, plot, best[plot])
        return chosen

    def _ranked(self, plot: str) -> list[Members]:
        """Sets judged by themselves, the best first; of those alike the one with fewer things."""
        alone = self.alone[plot]
        sound = (one for one in alone if self.sets[plot].sound(one))
        top = sorted(sound, key=lambda one: (-alone[one], len(one), one))
        if top and alone[top[0]] <= _TIE:
            return []
        return top

    # growing ------------------------------------------------------------------------------

    def _grown(self) -> Choice:
        """Take what leads, plot by plot, judging anew only what promised most."""
        self._go_to(dict.fromkeys(self.free, ()) | dict(self.fixed))
        promise = {plot: self._best_alone(plot) for plot in self.free}
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

    def _best_alone(self, plot: str) -> float:
        return max(
            (
                worth / max(self.rules.price(self.rules.takes(self._set(plot, one))), _TIE)
                for one, worth in self.alone[plot].items()
            ),
            default=0.0,
        )

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
            several = [one for one in self._ranked(plot) if len(one) > 1]
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
            # The first pass moves most; some of the draws are enough for it.
            some = 2 * self.few if self.few is not None and count == 1 else None
            margin = self._pass(count, asked, some)
            self._pair_moves()
            after = self._worth(self.chosen, now, self.gaps)
            won = float(after.mean() - value.mean())
            if won <= 0:
                self._go_to(*kept)
                margin = {}
                if some is None:
                    return value, count, True
                continue
            value = after
            if some is not None:
                continue
            if won < _ENDED * float(value.mean()) and not self.small:
                return value, count, True
        return value, _PASSES, False

    def _pass(self, count: int, asked: Sequence[str], most: int | None) -> dict[str, float]:
        """Ask plots for something better, in the first `most` draws of each run.

        What is given back is how much the best of it won, or lost least.
        """
        margin: dict[str, float] = {}
        for batch in self._batches(asked, _("exchanges, pass {n}").format(n=count)):
            moves = [(plot, self.others(plot)) for plot in batch]
            won = self.street.won(
                [(plot, self._changes(plot, others)) for plot, others in moves],
                most=most,
                exact=self.small,
            )
            found = []
            for (plot, others), rows in zip(moves, won, strict=True):
                if others:
                    means = rows[..., 0].mean(axis=0)
                    found.append((float(means.max()), plot, others[int(means.argmax())]))
                    margin[plot] = float(means.max())
            taken: Choice = {}
            for worth, plot, members in sorted(found, key=lambda one: (-one[0], one[1])):
                if worth > _TIE and self._if_allowed(self.chosen, plot, members):
                    taken[plot] = members
            self._place(taken)
        return margin

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
        found = [*fewer, *self._ranked(plot)[:_OWN]]
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
        if all(limit is None for limit in self.rules.limits):
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
