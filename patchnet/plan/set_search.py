"""Which few things together win most: sets that fit are ranked, the first are judged exactly.

Ranking many sets takes the quick form of sharing (`PlotTrials.ranked`); the best of them, and
whatever is shown of any set, is judged exactly. Where there are very many threes, only those are
ranked that promise most by what their pairs win.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, islice
from math import comb

import numpy as np
from numpy.typing import NDArray

from patchnet.plan.in_draws import ChangesInDraws
from patchnet.plan.plot_plan import Candidate, SetDoubt
from patchnet.plan.set_promise import promised_by_pairs

__all__ = ["JudgedSets", "Ranking", "judge_sets"]

Array = NDArray[np.float64]
Fitted = tuple[tuple[Candidate, ...], Mapping[str, float]]
_TIE = 1e-9  # scores this close are alike: then fewer things and less work decide


class Ranking:
    """Sets that fit with what each wins, nearly; more can be added.

    Parameters
    ----------
    candidates
        What sets are made of.
    fit, ranked_after, worth
        As in `judge_sets`.

    Attributes
    ----------
    sets
        Each as ascending positions among the candidates.
    fitted
        Per set the candidates at the amounts that fit together, and the change they make.
    linked
        Per set linked homes, shape (G,).
    gain
        Per set the change of the joint worth.
    """

    def __init__(
        self,
        candidates: Sequence[Candidate],
        fit: Callable[[Sequence[Candidate]], Fitted | None],
        ranked_after: Callable[[Sequence[Mapping[str, float]]], Array],
        worth: Callable[[Array], Array],
    ) -> None:
        self.candidates = tuple(candidates)
        self.fit, self.ranked_after, self.worth = fit, ranked_after, worth
        self.sets: list[tuple[int, ...]] = []
        self.fitted: list[Fitted] = []
        self.linked: list[Array] = []
        self.gain: list[float] = []
        self._tried: set[tuple[int, ...]] = set()

    def add(self, sets: Iterable[tuple[int, ...]]) -> None:
        """Rank sets too, where that was not done yet and they fit.

        Parameters
        ----------
        sets
            Each as ascending positions among the candidates.
        """
        new = [members for members in dict.fromkeys(sets) if members not in self._tried]
        self._tried.update(new)
        fits = [self.fit([self.candidates[k] for k in members]) for members in new]
        fitted = [one for one in fits if one is not None]
        if fitted:
            linked = self.ranked_after([change for _, change in fitted])
            self.sets += [one for one, fit in zip(new, fits, strict=True) if fit is not None]
            self.fitted += fitted
            self.linked += list(linked)
            self.gain += self.worth(linked).tolist()

    def holds(self, members: Iterable[int], of: Callable[[Sequence[Candidate]], bool]) -> bool:
        """Whether something is true of a set, given by positions among the candidates."""
        return of([self.candidates[k] for k in members])


@dataclass(frozen=True, eq=False)
class JudgedSets:
    """Sets of candidates with what each wins: nearly for all, exactly for those that are asked for.

    Attributes
    ----------
    ranking
        The sets that were ranked.
    promising
        Shape (T, 3): sets of three that may not be ranked yet, those that promise most first.
    looked_at
        How many of the promising ones are ranked before one is chosen.
    linked_after, worth
        Changes of amounts to linked homes exactly; linked homes to change of the joint worth.
    finalists
        How many of the first in the ranking are judged exactly before one of them is chosen: the
        fewest, and the most where one of the next could still be the best.
    exact
        Whether every set that fits was ranked.
    bound
        The most that any set not ranked can win, joint worth (0 where all were).
    now
        Shape (G,): linked homes today.
    drawn, column
        Some of the sets judged in every draw, and the column that a place has there; None where
        nothing was drawn. Then the choice is among these, and means are what is told.
    """

    ranking: Ranking
    promising: NDArray[np.intp]
    looked_at: int
    linked_after: Callable[[Sequence[Mapping[str, float]]], Array]
    worth: Callable[[Array], Array]
    finalists: tuple[int, int]
    exact: bool
    bound: float
    now: Array
    drawn: ChangesInDraws | None = None
    column: Mapping[int, int] = field(default_factory=dict)
    _sure: dict[int, Array] = field(default_factory=dict)

    @property
    def candidates(self) -> tuple[Candidate, ...]:
        """What sets are made of."""
        return self.ranking.candidates

    @property
    def sets(self) -> Sequence[tuple[int, ...]]:
        """The sets that were ranked, see `Ranking`."""
        return self.ranking.sets

    @property
    def fitted(self) -> Sequence[Fitted]:
        """What each set comes to, see `Ranking`."""
        return self.ranking.fitted

    @property
    def gain(self) -> Sequence[float]:
        """Change of the joint worth by each set, nearly."""
        return self.ranking.gain

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
        if self.drawn is None:
            self.look_at(keep, holds)
        able = [at for at, members in enumerate(self.sets) if all(keep[k] for k in members)]
        if holds is not None:
            able = [at for at in able if self.ranking.holds(self.sets[at], holds)]
        if self.drawn is not None:
            able = [at for at in able if at in self.column]
        if not able:
            return None
        if self.drawn is not None:
            return self._lightest({at: float(self.drawn.score[self.column[at]]) for at in able})

        def order(at: int) -> tuple[float, int, tuple[int, ...]]:
            return -self.gain[at], len(self.sets[at]), self.sets[at]

        fewest, most = self.finalists
        first = sorted(able, key=order)[:most]
        # Of sets that rank alike none is left behind.
        last = self.gain[first[-1]] - _TIE
        first += [at for at in able if self.gain[at] >= last and at not in set(first)]
        self._judge(first[:fewest])
        count = min(fewest, len(first))
        while count < len(first) and self._may_be_best(first[count], first[:count]):
            self._judge([first[count]])
            count += 1
        return self._lightest({at: self.gain_with(at) for at in first[:count]})

    def _may_be_best(self, at: int, judged: Sequence[int]) -> bool:
        """Whether the next in the ranking could win more than those that were judged.

        How far off the ranking is differs among these by some factor. No more is allowed for than
        that the next is better than the best ranked too low of them by the same factor again.
        """
        won = np.array([self.gain_with(one) for one in judged])
        ranked = np.array([self.gain[one] for one in judged])
        if (won <= 0).any() or (ranked <= 0).any():
            return True
        off = won / ranked
        return bool(self.gain[at] * off.max() ** 2 / off.min() >= won.max() - _TIE)

    def look_at(
        self,
        keep: NDArray[np.bool_] | None = None,
        holds: Callable[[Sequence[Candidate]], bool] | None = None,
    ) -> None:
        """Rank those sets that promise most among the ones that are asked about.

        Parameters
        ----------
        keep
            Shape (m,): True for candidates that sets may be made of; None: all.
        holds
            Only sets of which it is true; None: all.
        """
        threes = self.promising
        if keep is not None:
            threes = threes[keep[threes].all(axis=1)]
        able: Iterable[tuple[int, ...]] = map(tuple, threes.tolist())
        if holds is not None:
            able = (one for one in able if self.ranking.holds(one, holds))
        self.ranking.add(islice(able, self.looked_at))

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
    finalists: tuple[int, int],
    worth: Callable[[Array], Array],
    now: Array,
    ceiling: Callable[[], Array],
    size: int,
    most: int,
    looked_at: int,
) -> JudgedSets:
    """Judge sets of up to `size` candidates, three at most.

    Where no more than `most` sets can be made, all that fit are ranked. Otherwise all single
    things and pairs are, and of the threes those that promise most by what their pairs win
    (`promised_by_pairs`), `looked_at` for each choice that is made. No set can win more than what
    the linked homes would come to if every home that there is room for were held and linked
    (`ceiling`): that is the bound.

    Parameters
    ----------
    fit
        Makes a set fit together, or says None.
    ranked_after, linked_after
        Changes of amounts, S of them, to linked homes after each, shape (S, groups): nearly, for
        the ranking, and exactly.
    finalists, looked_at
        See `JudgedSets`.
    worth
        Linked homes, shape (S, groups), to the change of the joint worth, shape (S,).
    now
        Shape (groups,): linked homes today.
    ceiling
        Shape (groups,): linked homes that no set can pass (asked for only where needed).
    size
        Most things in a set, 1-3.
    most
        Most sets that are ranked one by one.
    """
    m = len(candidates)
    exact = sum(comb(m, k) for k in range(1, size + 1)) <= most
    ranking = Ranking(candidates, fit, ranked_after, worth)
    for count in range(1, (size if exact else min(size, 2)) + 1):
        ranking.add(combinations(range(m), count))
    promising = np.empty((0, 3), dtype=np.intp)
    if not exact and size > 2 and ranking.sets:
        threes, linked = promised_by_pairs(ranking.sets, np.array(ranking.linked), m)
        promising = threes[np.argsort(-worth(linked), kind="stable")]
    judged = JudgedSets(
        ranking=ranking,
        promising=promising,
        looked_at=looked_at,
        linked_after=linked_after,
        worth=worth,
        finalists=finalists,
        exact=exact,
        bound=0.0 if exact else float(worth(ceiling()[None, :])[0]),
        now=now,
    )
    judged.look_at()
    return judged
