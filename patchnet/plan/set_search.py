"""Which few things together win most: every set that fits is judged, or the rest is bounded."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import comb

import numpy as np
from numpy.typing import NDArray

from patchnet.plan.plot_plan import Candidate

__all__ = ["JudgedSets", "judge_sets"]

Array = NDArray[np.float64]
Fitted = tuple[tuple[Candidate, ...], Mapping[str, float]]
_TIE = 1e-9  # scores this close are alike: then fewer things and less work decide


@dataclass(frozen=True, eq=False)
class JudgedSets:
    """Sets of candidates with what each wins.

    Attributes
    ----------
    candidates
        The candidates, m of them.
    sets
        S sets, each as ascending positions among the candidates.
    fitted
        Per set the candidates at the amounts that fit together, and the change they make.
    linked
        Shape (S, G): linked homes after each set.
    gain
        Shape (S,): change of the joint worth.
    exact
        Whether every set that fits was judged.
    bound
        The most that any set not judged can win, joint worth (0 where all were).
    """

    candidates: tuple[Candidate, ...]
    sets: tuple[tuple[int, ...], ...]
    fitted: tuple[Fitted, ...]
    linked: Array
    gain: Array
    exact: bool
    bound: float

    def best(self, allowed: Callable[[Candidate], bool] | None = None) -> int | None:
        """Place of the best set made only of allowed candidates; None where none wins.

        Of sets that win alike the one with fewer things, then less upkeep, then less money,
        then the order of the tables.
        """
        keep = np.array([allowed is None or allowed(one) for one in self.candidates], dtype=bool)
        able = [at for at, members in enumerate(self.sets) if all(keep[k] for k in members)]
        if not able:
            return None
        top = max(float(self.gain[at]) for at in able)
        if top <= _TIE:
            return None
        alike = [at for at in able if self.gain[at] >= top - _TIE]
        return min(alike, key=self._burden)

    def _burden(self, at: int) -> tuple[float, ...]:
        chosen = [self.candidates[k] for k in self.sets[at]]
        hours, cost = (sum(getattr(one, part) for one in chosen) for part in _BURDENS)
        return (len(chosen), hours, cost, *self.sets[at])


_BURDENS = ("hours_month", "cost")


def judge_sets(
    candidates: Sequence[Candidate],
    *,
    fit: Callable[[Sequence[Candidate]], Fitted | None],
    linked_after: Callable[[Sequence[Mapping[str, float]]], Array],
    worth: Callable[[Array], Array],
    ceiling: Callable[[], Array],
    size: int,
    most: int,
) -> JudgedSets:
    """Judge sets of up to `size` candidates.

    Where no more than `most` sets can be made, all that fit are judged: the answer is exact.
    Otherwise all single things and pairs are, and the best pairs are grown by one more thing
    each until `most` sets are spent. No set can win more than what the linked homes would come
    to if every home that there is room for were held and linked (`ceiling`): that is the bound.

    Parameters
    ----------
    fit
        Makes a set fit together, or says None.
    linked_after
        Changes of amounts, S of them, to linked homes after each, shape (S, groups).
    worth
        Linked homes, shape (S, groups), to the change of the joint worth, shape (S,).
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
    linked = linked_after([change for _, change in fitted])
    gain = worth(linked)
    bound = 0.0
    if not exact:
        bound = float(worth(ceiling()[None, :])[0])
        further = _promising(sets, gain, m, size, most - len(sets))
        more, more_fitted = _fitting(further, candidates, fit)
        if more:
            more_linked = linked_after([change for _, change in more_fitted])
            sets, fitted = sets + more, fitted + more_fitted
            linked = np.concatenate([linked, more_linked])
            gain = np.concatenate([gain, worth(more_linked)])
    return JudgedSets(tuple(candidates), tuple(sets), tuple(fitted), linked, gain, exact, bound)


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
