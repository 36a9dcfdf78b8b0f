"""Which few things together win most: every set that fits is ranked, the first are judged exactly.

Ranking many sets takes the quick form of sharing (`PlotTrials.ranked`); the best of them, and
whatever is shown of any set, is judged exactly.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray

from patchnet.plan.in_draws import ChangesInDraws
from patchnet.plan.plot_plan import Candidate, SetDoubt

__all__ = ["JudgedSets", "judge_sets"]

Array = NDArray[np.float64]
Fitted = tuple[tuple[Candidate, ...], Mapping[str, float]]
_TIE = 1e-9  # scores this close are alike: then fewer things and less work decide


@dataclass(frozen=True, eq=False)
class JudgedSets:
    """Sets of candidates with what each wins: nearly for all, exactly for those that are asked for.

    Attributes
    ----------
    candidates
        The candidates, m of them.
    sets
        S sets, each as ascending positions among the candidates.
    fitted
        Per set the candidates at the amounts that fit together, and the change they make.
    linked
        Shape (S, G): linked homes after each set, nearly.
    gain
        Shape (S,): change of the joint worth, nearly.
    linked_after, worth
        Changes of amounts to linked homes exactly; linked homes to change of the joint worth.
    finalists
        How many of the first in the ranking are judged exactly before one of them is chosen.
    exact
        Whether every set that fits was judged.
    bound
        The most that any set not judged can win, joint worth (0 where all were).
    now
        Shape (G,): linked homes today.
    drawn, column
        Some of the sets judged in every draw, and the column that a place has there; None where
        nothing was drawn. Then the choice is among these, and means are what is told.
    """

    candidates: tuple[Candidate, ...]
    sets: tuple[tuple[int, ...], ...]
    fitted: tuple[Fitted, ...]
    linked: Array
    gain: Array
    linked_after: Callable[[Sequence[Mapping[str, float]]], Array]
    worth: Callable[[Array], Array]
    finalists: int
    exact: bool
    bound: float
    now: Array
    drawn: ChangesInDraws | None = None
    column: Mapping[int, int] = field(default_factory=dict)
    _sure: dict[int, Array] = field(default_factory=dict)

    @property
    def before(self) -> Array:
        """Linked homes today, shape (G,): what `linked_with` is to be compared with."""
        return self.now if self.drawn is None else self.drawn.now_mean

    def linked_with(self, at: int) -> Array:
        """Linked homes after one set, shape (G,): exactly, or the mean over the draws."""
        if self.drawn is not None and at in self.column:
            return np.asarray(self.drawn.after_mean[self.column[at]])
        self._judge([at])
        return self.before + (self._sure[at] - self.now)

    def gain_with(self, at: int) -> float:
        """Change of the joint worth by one set, exactly, or the mean over the draws."""
        if self.drawn is not None and at in self.column:
            return float(self.drawn.worth[:, self.column[at]].mean())
        self._judge([at])
        return float(self.worth(self._sure[at][None])[0])

    def often(self, candidate: int) -> float | None:
        """Share of draws in which a candidate is part of the best set; None: nothing was drawn."""
        if self.drawn is None:
            return None
        part = [candidate in members for members in self.best_in_draws()]
        return float(np.mean(part)) if part else 0.0

    def best_in_draws(self) -> list[tuple[int, ...]]:
        """The best set of each draw in which anything wins."""
        if self.drawn is None:
            return []
        place = {column: at for at, column in self.column.items()}
        return [self.sets[place[int(column)]] for column in self.drawn.best]

    def sorts(self, sort_of: Callable[[Candidate], str]) -> tuple[tuple[str, float], ...]:
        """Share of draws in which the best set has a thing of each sort, the most often first.

        Parameters
        ----------
        sort_of
            Sort of a candidate.
        """
        best = self.best_in_draws()
        counts = Counter(
            sort for members in best for sort in {sort_of(self.candidates[k]) for k in members}
        )
        return tuple(
            (sort, count / len(best))
            for sort, count in sorted(counts.items(), key=lambda one: (-one[1], one[0]))
        )

    def doubt(self, at: int, sort_of: Callable[[Candidate], str]) -> SetDoubt | None:
        """How sure a set is; None where it was not drawn.

        Parameters
        ----------
        at
            Its place.
        sort_of
            Sort of a candidate.
        """
        if self.drawn is None or at not in self.column:
            return None
        column = self.column[at]
        return SetDoubt(
            draws=self.drawn.count,
            won=self.drawn.won(column),
            share=float(self.drawn.share[column]),
            harm=self.drawn.harm(column),
            cautious=self.drawn.cautious is not None,
            sorts=self.sorts(sort_of),
        )

    def _judge(self, places: Iterable[int]) -> None:
        new = [at for at in places if at not in self._sure]
        if new:
            rows = self.linked_after([self.fitted[at][1] for at in new])
            self._sure.update(zip(new, rows, strict=True))

    def best(
        self,
        allowed: Callable[[Candidate], bool] | None = None,
        holds: Callable[[Sequence[Candidate]], bool] | None = None,
    ) -> int | None:
        """Place of the best set made only of allowed candidates; None where none wins.

        With `holds` only of sets of which it is true.

        Over the draws it is the one with the largest mean share of what was possible (or the
        largest low end of it). With the figures in use the first of the ranking are judged exactly,
        and one of them is chosen.

        Of sets that win alike the one with fewer things, then less upkeep, then less money,
        then the order of the tables.
        """
        keep = np.array([allowed is None or allowed(one) for one in self.candidates], dtype=bool)
        able = [at for at, members in enumerate(self.sets) if all(keep[k] for k in members)]
        if holds is not None:
            able = [at for at in able if holds([self.candidates[k] for k in self.sets[at]])]
        if self.drawn is not None:
            able = [at for at in able if at in self.column]
        if not able:
            return None
        if self.drawn is not None:
            return self._lightest({at: float(self.drawn.score[self.column[at]]) for at in able})
        first = sorted(able, key=lambda at: (-float(self.gain[at]), at))[: self.finalists]
        # Of sets that rank alike none is left behind.
        last = float(self.gain[first[-1]]) - _TIE
        first += [at for at in able if self.gain[at] >= last and at not in set(first)]
        self._judge(first)
        return self._lightest({at: self.gain_with(at) for at in first})

    def _lightest(self, score: Mapping[int, float]) -> int | None:
        """Of the places that score most the one that is least work; None where none scores."""
        top = max(score.values())
        if top <= _TIE:
            return None
        return min((at for at in score if score[at] >= top - _TIE), key=self._burden)

    def _burden(self, at: int) -> tuple[float, ...]:
        chosen = [self.candidates[k] for k in self.sets[at]]
        hours, cost = (sum(getattr(one, part) for one in chosen) for part in _BURDENS)
        return (len(chosen), hours, cost, *self.sets[at])


_BURDENS = ("hours_month", "cost")


def judge_sets(
    candidates: Sequence[Candidate],
    *,
    fit: Callable[[Sequence[Candidate]], Fitted | None],
    ranked_after: Callable[[Sequence[Mapping[str, float]]], Array],
    linked_after: Callable[[Sequence[Mapping[str, float]]], Array],
    finalists: int,
    worth: Callable[[Array], Array],
    now: Array,
    ceiling: Callable[[], Array],
    size: int,
    most: int,
) -> JudgedSets:
    """Judge sets of up to `size` candidates.

    Where no more than `most` sets can be made, all that fit are ranked. Otherwise all single
    things and pairs are, and the best pairs are grown by one more thing each until `most` sets are
    spent. No set can win more than what the linked homes would come to if every home that there is
    room for were held and linked (`ceiling`): that is the bound.

    Parameters
    ----------
    fit
        Makes a set fit together, or says None.
    ranked_after, linked_after
        Changes of amounts, S of them, to linked homes after each, shape (S, groups): nearly, for
        the ranking, and exactly.
    finalists
        See `JudgedSets`.
    worth
        Linked homes, shape (S, groups), to the change of the joint worth, shape (S,).
    now
        Shape (groups,): linked homes today.
    ceiling
        Shape (groups,): linked homes that no set can pass (asked for only where needed).
    size
        Most things in a set.
    most
        Most sets judged one by one.
    """
    m = len(candidates)
    total = sum(comb(m, k) for k in range(1, size + 1))
    places: list[tuple[int, ...]] = []
    exact = total <= most
    for count in range(1, (size if exact else min(size, 2)) + 1):
        places += combinations(range(m), count)
    sets, fitted = _fitting(places, candidates, fit)
    linked = ranked_after([change for _, change in fitted])
    gain = worth(linked)
    bound = 0.0
    if not exact:
        bound = float(worth(ceiling()[None, :])[0])
        further = _promising(sets, gain, m, size, most - len(sets))
        more, more_fitted = _fitting(further, candidates, fit)
        if more:
            more_linked = ranked_after([change for _, change in more_fitted])
            sets, fitted = sets + more, fitted + more_fitted
            linked = np.concatenate([linked, more_linked])
            gain = np.concatenate([gain, worth(more_linked)])
    return JudgedSets(
        candidates=tuple(candidates),
        sets=tuple(sets),
        fitted=tuple(fitted),
        linked=linked,
        gain=gain,
        linked_after=linked_after,
        worth=worth,
        finalists=finalists,
        exact=exact,
        bound=bound,
        now=now,
    )


def _fitting(
    places: Sequence[tuple[int, ...]],
    candidates: Sequence[Candidate],
    fit: Callable[[Sequence[Candidate]], Fitted | None],
) -> tuple[list[tuple[int, ...]], list[Fitted]]:
    sets, fitted = [], []
    for members in places:
        result = fit([candidates[k] for k in members])
        if result is not None:
            sets.append(members)
            fitted.append(result)
    return sets, fitted


def _promising(
    sets: Sequence[tuple[int, ...]], gain: Array, m: int, size: int, most: int
) -> list[tuple[int, ...]]:
    """Sets of three grown from the best pairs, `most` of them at most."""
    found: dict[tuple[int, ...], None] = {}
    if size < 3:
        return []
    for at in np.argsort(-gain, kind="stable").tolist():
        if len(sets[at]) != 2:
            continue
        for extra in set(range(m)) - set(sets[at]):
            if len(found) >= most:
                return list(found)
            found.setdefault(tuple(sorted((*sets[at], extra))), None)
    return list(found)
