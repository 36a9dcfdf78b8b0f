"""Which one more link wins most, and which after it: exact, and local to the link's two ends.

A link of cost c between a and b makes a better way from i to j only over a, then b, or the other
way about. Over a first it can only do so where i is nearer to a and the link together than to b
(D_ia + c < D_ib), since otherwise the way there is today by b is as good; and where likewise
D_jb + c < D_ja. So what it wins is a sum over two small sets of patches, one round each end,
instead of over all pairs; and the two sets cannot share a patch.
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.core.compiled import in_threads

__all__ = ["MoreLink", "more_links"]

Array = NDArray[np.float64]
Places = NDArray[np.intp]
_ROUNDING = 1e-9  # of the numerator: less than that is no gain
_ALIKE = 1e-9  # relative: of links that win alike to rounding, the first of the candidates
_BLOCK = 500_000  # numbers held at once, of several arrays, when the candidates are bounded


class MoreLink(NamedTuple):
    """A link to be made, the earlier ones being there.

    Attributes
    ----------
    at
        Its place among the candidates.
    before, after
        Length of the best route between its ends without it (inf: none) and with it.
    won
        What the root of the numerator, linked homes, rises by.
    """

    at: int
    before: float
    after: float
    won: float


def more_links(
    lengths: Array, homes: Array, k_per_m: float, *, a: Places, b: Places, cost: Array, most: int
) -> Iterator[MoreLink]:
    """Take, one after the other, the link that wins most.

    The numerator is the sum over all pairs of homes_i exp(-k D_ij) homes_j.

    Parameters
    ----------
    lengths
        Shape (n, n), symmetric: best routes D between patches, metres; inf where there is none.
        Worked on in place: in a town it is what takes most memory.
    homes
        Shape (n,).
    k_per_m
        Decay of the chance of arriving, per metre.
    a, b
        Shape (m,): the two patches that each candidate joins, a != b.
    cost
        Shape (m,): its length, cost metres.
    most
        How many links at most; it ends before where none wins anything.

    Examples
    --------
    Three patches of one home, 100 m and 10 m from each other by the links to be had, half arriving
    after 10 m. The short link comes first: sqrt(3 + 2 x 0.5) - sqrt(3).

    >>> apart = np.where(np.eye(3, dtype=bool), 0.0, np.inf)
    >>> links = {"a": np.array([0, 1]), "b": np.array([1, 2]), "cost": np.array([100.0, 10.0])}
    >>> first = next(more_links(apart, np.ones(3), np.log(2) / 10, **links, most=1))
    >>> first.at, round(first.won, 6)
    (1, 0.267949)
    """
    chances = np.multiply(lengths, -k_per_m)
    np.exp(chances, out=chances)
    bound = _bounds(lengths, chances, homes, k_per_m, a, b, cost)
    for left in reversed(range(most)):
        numerator = float(homes @ (chances @ homes))
        best, gained = -1, _ROUNDING * max(numerator, _ROUNDING)
        for at in np.argsort(-bound, kind="stable").tolist():
            if bound[at] < gained * (1 - _ALIKE):
                break
            gain = _gain(lengths, chances, homes, k_per_m, int(a[at]), int(b[at]), float(cost[at]))
            alike = abs(gain - gained) <= _ALIKE * gained
            if (alike and at < best) or (gain > gained and not (alike and best >= 0)):
                best, gained = at, gain
        if best < 0:
            return
        first, second, length = int(a[best]), int(b[best]), float(cost[best])
        won = float(np.sqrt(numerator + gained) - np.sqrt(numerator))
        yield MoreLink(best, float(lengths[first, second]), length, won)
        if not left:
            return
        # A link moves the ways of patches about it alone: the others stay as they are.
        moved = _join(lengths, first, second, length)
        chances[moved] = np.exp(lengths[moved] * -k_per_m)
        again = np.flatnonzero(moved[a] | moved[b])
        bound[again] = _bounds(lengths, chances, homes, k_per_m, a[again], b[again], cost[again])


def _join(lengths: Array, first: int, second: int, length: float) -> NDArray[np.bool_]:
    """Put a link into the best routes, in place; shape (n,), True where any gets shorter."""
    to_first, to_second = lengths[first].copy(), lengths[second].copy()
    size = max(1, _BLOCK // max(1, len(lengths)))
    shorter = np.zeros(len(lengths), dtype=bool)
    for begin in range(0, len(lengths), size):
        rows = slice(begin, begin + size)
        # Either way about the same sum, in the same order: the matrix stays symmetric.
        for over in (
            to_first[rows, None] + length + to_second,
            to_first + length + to_second[rows, None],
        ):
            shorter[rows] |= (over < lengths[rows]).any(axis=1)
            np.minimum(lengths[rows], over, out=lengths[rows])
    return shorter


def _bounds(
    lengths: Array, chances: Array, homes: Array, k: float, a: Places, b: Places, cost: Array
) -> Array:
    """Shape (m,): no link wins more, were no pair joined today that it joins."""
    size = max(1, _BLOCK // max(1, len(homes)))

    def bounded(first: int) -> Array:
        part = slice(first, first + size)
        to_a, to_b, over = lengths[a[part]], lengths[b[part]], cost[part, None]
        by_a = np.where(to_a + over < to_b, chances[a[part]], 0.0) @ homes
        by_b = np.where(to_b + over < to_a, chances[b[part]], 0.0) @ homes
        return np.asarray(2 * np.exp(-k * cost[part]) * by_a * by_b)

    return np.concatenate([np.empty(0), *in_threads(bounded, range(0, len(cost), size))])


def _gain(
    lengths: Array, chances: Array, homes: Array, k: float, a: int, b: int, cost: float
) -> float:
    """What the numerator rises by with one link more."""
    to_a, to_b = lengths[a], lengths[b]
    first = np.flatnonzero((to_a + cost < to_b) & (homes > 0))
    second = np.flatnonzero((to_b + cost < to_a) & (homes > 0))
    over = to_a[first, None] + cost + to_b[None, second]
    rise = np.maximum(np.exp(-k * over) - chances[np.ix_(first, second)], 0.0)
    return float(2 * (homes[first] @ rise @ homes[second]))
