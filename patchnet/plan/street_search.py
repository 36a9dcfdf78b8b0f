"""The search for a street's plan: what leads is taken, then each plot answers the others.

It begins with every plot's own best set; where plots are few, or money, hours or jobs are short,
with a plan that is grown too (`patchnet.plan.street_growth`): what wins most for what it takes
first.
Sharing makes most gains shrink while that grows, so what a move won when it was last judged is
mostly more than it wins now: only what promised most is judged anew, and taken if it still leads.
But a need that is met or a break that is closed makes gains grow, so these are no bounds.

Then, plot by plot, all sets of the things that are best *beside what the others do* are ranked in
some of the draws, and the best of them judged in every draw; what wins most is taken. Pairs of
plots that close a break together are tried as one move, and so are gaps in fences. It ends when a
pass over the plots wins next to nothing, and never below the own sets.
"""

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from patchnet.core.texts import _
from patchnet.plan.plot_sets import Members
from patchnet.plan.street_choice import Choice
from patchnet.plan.street_gaps import best_open
from patchnet.plan.street_growth import StreetGrowth
from patchnet.plan.street_in_draws import SomeDraws
from patchnet.plan.street_variety import JobVariety

__all__ = ["Found", "StreetSearch"]

Array = NDArray[np.float64]
Judged = dict[str, dict[Members, Array]]
_TIE = 1e-9
_SWAPS = 5  # things that each thing is exchanged for
_OWN = 4  # sets that were best alone, tried in an exchange
_GROWN = 60  # beyond so many plots nothing is grown: on 46 it won 0.3 % more in half as long again
_ANSWER = 5  # of so many things that are best beside the rest all sets are ranked for a plot
_FINALISTS = 6  # of these the first so many are judged in every draw
# Draws in which the first of those that were ranked are judged, until one surely leads: on the
# demo all twenty won 0.7 % more in other draws than these eight, and took a fifth longer.
_LAPS = (SomeDraws(last=1), SomeDraws(first=1, last=2))
_FEWEST = 4  # draws after which one may be sure
_UNSURE = 0.16  # probability with which what loses on the mean over some draws may yet win
_SURE = 0.025  # probability of error with which one is taken that leads over some draws
_ENDED = 0.01  # a pass that wins less than this part of the whole is the last
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
        Whether the last pass won less than a hundredth of the whole.
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
class StreetSearch(StreetGrowth):
    """Searches a plan for the plots of a street.

    Attributes
    ----------
    pairs
        Pairs of plots that could close a break together.
    gaps_of
        Gaps in fences that there could be beside a choice of things, by their keys.
    able_gaps, gap_promise
        Gaps that could be opened, and what each won when it was last judged, joint worth.
    most_gaps
        Most gaps.
    variety
        Share of what the own sets win together that is given for jobs e times as various (see
        `JobVariety`); not where everything is tried.
    """

    pairs: Sequence[tuple[str, str]] = ()
    gaps_of: Callable[[Mapping[str, Members]], Sequence[int]] | None = None
    most_gaps: int = 0
    able_gaps: tuple[int, ...] = ()
    gap_promise: dict[int, float] = field(default_factory=dict)
    variety: float = 0.0
    _variety_weight: float = 0.0

    def search(self, starts: Sequence[Mapping[str, Members]] = ()) -> Found:
        """Search; `starts` are plans to begin exchanges from as well."""
        now = self.street.now()
        self._judge_alone()
        own = self._own()
        plans = {"own": own}
        if self.small or self._limited or len(self.free) <= _GROWN:
            plans["grown"] = self._grown()
        plans |= {f"given {at}": dict(one) for at, one in enumerate(starts)}
        worth = {name: self._worth(plan, now) for name, plan in plans.items()}
        if not self.small:
            self._variety_weight = self.variety * max(0.0, float(worth["own"].mean()))
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
        if float(top.mean()) < float(worth["own"].mean()):  # given away for variety
            best, top = (own, frozenset[int]()), worth["own"]
        self._go_to(*best)
        chosen, gaps = dict(best[0]), best[1]
        return Found(chosen, own, gaps, top, worth["own"], self.street.judged, passes, settled)

    # exchanges ----------------------------------------------------------------------------

    def _exchanged(self, now: Array, value: Array) -> tuple[Array, int, bool]:
        """Exchange until a pass wins next to nothing; what it comes to, passes, whether so."""
        margin: dict[str, float] = {}
        gaps_moved = pairs_moved = True
        held = self._with_variety(value)
        for count in range(1, _PASSES + 1):
            kept = dict(self.chosen), self.gaps
            # Gaps are judged again beside the first answers; after that only what moves is.
            if self.small or count <= 2 or gaps_moved:
                gaps_moved = self._gap_moves()
            # What was far from giving way in one pass is not asked again in the next.
            asked = self.free
            if margin and not self.small:
                asked = sorted(margin, key=lambda plot: (-margin[plot], plot))
                asked = sorted(asked[: -(-len(asked) // 2)])
            margin = self._pass(count, asked)
            if self.small or pairs_moved:
                pairs_moved = self._pair_moves()
            after = self._worth(self.chosen, now, self.gaps)
            won = self._with_variety(after) - held
            if won <= 0:
                self._go_to(*kept)
                return value, count, True
            value, held = after, held + won
            if won < _ENDED * float(value.mean()) and not self.small:
                return value, count, True
        return value, _PASSES, False

    def _pass(self, count: int, asked: Sequence[str]) -> dict[str, float]:
        """Ask plots for something better beside the rest; how much it won, or lost least."""
        margin: dict[str, float] = {}
        for batch in self._batches(asked, _("exchanges, pass {n}").format(n=count)):
            found = []
            for plot, won in self._answers(batch, afresh=count == 1).items():
                best = _first_of(won)[0]
                found.append((won[best], plot, best))
                margin[plot] = won[best]
            taken: Choice = {}
            before = self._jobs()
            for worth, plot, members in sorted(found, key=lambda one: (-one[0], one[1])):
                # What another plot of the batch has taken just now is no longer rare.
                less, more = (
                    self._variety_of(plot, members, jobs) for jobs in (before, self._jobs())
                )
                if worth - less + more > _TIE and self._if_allowed(self.chosen, plot, members):
                    taken[plot] = members
            self._place(taken)
        return margin

    def _answers(self, plots: Sequence[str], *, afresh: bool) -> dict[str, dict[Members, float]]:
        """Mean joint worth won by sets in place of what plots have.

        All are ranked in some of the draws; the first of them, but for those that lose in each of
        these draws, are judged in every draw. `afresh`: what is best beside the rest is found
        again, and not taken from the pass before.
        """
        if self.small:
            every = self._judged({plot: self.others(plot) for plot in plots}, None)
            return _means(every)
        if afresh:
            singles = {plot: self.sets[plot].singles for plot in plots}
            for plot, each in _means(self._judged(singles, self.few)).items():
                self.last[plot] = {one[0]: worth for one, worth in each.items()}
        able = {plot: self._beside_the_rest(plot) for plot in plots if self.last[plot]}
        ranked = self._judged(able, self.few)
        found = _means(ranked)
        if self.few is None:
            return found
        finalists: Judged = {}
        for plot, each in found.items():
            first = [one for one in _first_of(each)[:_FINALISTS] if (ranked[plot][one] > 0).any()]
            if first:
                finalists[plot] = {one: ranked[plot][one] for one in first}
        return found | _means(self._raced(finalists))

    def _raced(self, ranked: Mapping[str, Mapping[Members, Array]]) -> Judged:
        """What sets win in each draw; in some of them alone where these leave little doubt.

        A race as Maron & Moore (1997, Artificial Intelligence Review 11:193-225), in a few laps;
        `ranked`: what they won in the draws that they were ranked by, the first of some runs.
        """
        won = {plot: dict(each) for plot, each in ranked.items()}
        onward = {plot: list(each) for plot, each in won.items()}
        for at, lap in enumerate(_LAPS):
            draws = lap._replace(skipped=self.few.runs or 0) if self.few and not at else lap
            for plot, each in self._judged(onward, draws).items():
                won[plot] |= {one: np.append(won[plot][one], rows) for one, rows in each.items()}
            onward = {
                plot: _in_doubt({one: won[plot][one] for one in sets})
                for plot, sets in onward.items()
            }
        return won

    def _judged(self, asked: Mapping[str, Sequence[Members]], few: SomeDraws | None) -> Judged:
        """Shape (D,): what sets win in each draw in place of what each plot has, with variety."""
        jobs = self._jobs()
        able = {plot: sets for plot, sets in asked.items() if sets}
        moves = [(plot, self._changes(plot, sets)) for plot, sets in able.items()]
        won = self.street.won(moves, few=few, exact=self.small)
        return {
            plot: {
                one: each + self._variety_of(plot, one, jobs)
                for one, each in zip(sets, rows[..., 0].T, strict=True)
            }
            for (plot, sets), rows in zip(able.items(), won, strict=True)
        }

    def _jobs(self) -> JobVariety:
        every = (key for plot, members in self.chosen.items() for key in self._kinds(plot, members))
        return JobVariety(Counter(every), self._variety_weight)

    def _kinds(self, plot: str, members: Members) -> list[str]:
        return [self.sets[plot].candidates[k].feature for k in members]

    def _variety_of(self, plot: str, members: Members, jobs: JobVariety) -> float:
        """What a set in place of the plot's own adds to the jobs' variety, as joint worth."""
        return jobs.more(self._kinds(plot, self.chosen[plot]), self._kinds(plot, members))

    def _with_variety(self, worth: Array) -> float:
        """Joint worth of the plan in the mean, with what its variety is held worth."""
        return float(worth.mean()) + self._jobs().worth

    def _beside_the_rest(self, plot: str) -> list[Members]:
        """All sets of what is best beside the rest, swaps of what it has, and its own best."""
        has, sets = self.chosen[plot], self.sets[plot]
        ranked = sorted(self.last[plot], key=lambda k: (-self._promise(plot, k), k))
        best = sorted(ranked[:_ANSWER])
        found = [one for size in range(sets.size + 1) for one in combinations(best, size)]
        fewer = [tuple(k for k in has if k != out) for out in has]
        found += [*fewer, *self.by_itself.ranked(plot)[:_OWN]]
        found += [tuple(sorted({*rest, k})) for rest in fewer for k in best]
        able = (one for one in dict.fromkeys(found) if one != has and sets.of(one) is not None)
        return [one for one in able if self._allowed(plot, one)]

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

    def _pair_moves(self) -> bool:
        """Change two plots at once: those about a break; all pairs where there are few plots.

        Returns whether any changed.
        """
        moved = False
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
                [(first, self._changes(first, firsts))], few=self.few, exact=self.small
            )
            for members, worth in zip(firsts, alone[..., 0].mean(axis=0).tolist(), strict=True):
                change = self._set(first, members).change
                [rows] = self.street.won(
                    [(second, self._changes(second, seconds))],
                    beside={first: change},
                    few=self.few,
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
                    moved = True
        return moved

    def _gap_moves(self) -> bool:
        """Open gaps in fences, or close them; where little can be chosen, with a set of a plot.

        Returns whether any changed.
        """
        if not self.able_gaps or not self.most_gaps:
            return False
        gaps = self.gaps
        better = best_open(
            self.street, self.able_gaps, self.gaps, most=self.most_gaps, draws=self.few,
            exact=self.small, promise=self.gap_promise,
        )  # fmt: skip
        self._open(better)
        for key in self.able_gaps if self.small else ():
            if key in self.gaps or len(self.gaps) >= self.most_gaps:
                continue
            before: Array = self.street.linked([{}])[:, 0]
            kept = self.gaps
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
        return self.gaps != gaps

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


def _in_doubt(won: Mapping[Members, Array]) -> list[Members]:
    """Sets that may yet turn out best, from what they win in some draws; none where one surely is.

    Compared draw by draw: what all draws have in common is no doubt.
    """
    if not won:
        return []
    first = _first_of({one: float(rows.mean()) for one, rows in won.items()})[0]
    if len(won[first]) < _FEWEST:
        return list(won)
    able = [one for one, rows in won.items() if _bounds(rows, _UNSURE)[1] > 0]
    others = [won[first] - won[one] for one in able if one != first]
    sure = all(_bounds(rows, _SURE)[0] > 0 for rows in (won[first], *others))
    return [] if sure else able


def _bounds(rows: Array, error: float) -> tuple[float, float]:
    """What the mean of all draws lies above, and below, but for an error (Student's t)."""
    wide = rows.std(ddof=1) / math.sqrt(len(rows)) * float(stdtrit(len(rows) - 1, 1 - error))
    return float(rows.mean() - wide), float(rows.mean() + wide)


def _first_of(won: Mapping[Members, float]) -> list[Members]:
    """Sets by what they win, the most first; of those alike the one with fewer things."""
    return sorted(won, key=lambda one: (-won[one], len(one), one))


def _means(won: Mapping[str, Mapping[Members, Array]]) -> dict[str, dict[Members, float]]:
    """Means over the draws."""
    return {
        plot: {members: float(rows.mean()) for members, rows in each.items()}
        for plot, each in won.items()
    }
