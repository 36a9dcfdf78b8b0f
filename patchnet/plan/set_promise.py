"""What sets of three promise, from what their parts win by themselves and in pairs.

Nobody has to work out thousands of threes to find the few that win most: a third thing adds to a
pair about what it adds to either half of it, whichever is less (of two things that do the same a
second wins little, whatever else there is).
"""

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

__all__ = ["promised_by_pairs"]

Array = NDArray[np.float64]
Places = NDArray[np.intp]


def promised_by_pairs(
    sets: Sequence[tuple[int, ...]], linked: Array, count: int
) -> tuple[Places, Array]:
    """Estimate linked homes with three things from those with two and with one of them.

    Of things that each win less the more there is, L(abc) is at most L(ab) plus the lesser of
    L(ac) - L(a) and L(bc) - L(b) (that is what submodular means; Nemhauser, Wolsey & Fisher 1978,
    Mathematical Programming 14:265-294). The largest of the three ways to put the set together is
    taken, so that two things that only win together keep what they win.

    Parameters
    ----------
    sets
        Single things and pairs, S of them, as ascending places among the candidates.
    linked
        Shape (S, G): linked homes with each.
    count
        Number of candidates.

    Returns
    -------
    tuple
        Shape (T, 3): the sets of three whose things and pairs are all among `sets`; and shape
        (T, G): linked homes that each promises.

    Examples
    --------
    Two things that do the same, and one that does something else:

    >>> sets = [(0,), (1,), (2,), (0, 1), (0, 2), (1, 2)]
    >>> linked = np.array([[1.0], [1.0], [0.5], [1.0], [1.5], [1.5]])
    >>> promised_by_pairs(sets, linked, 3)
    (array([[0, 1, 2]]), array([[1.5]]))
    """
    at = np.full((count, count), -1, dtype=np.intp)
    for place, members in enumerate(sets):
        at[members[0], members[-1]] = place
    threes = np.array(list(combinations(range(count), 3)), dtype=np.intp).reshape(-1, 3)
    first, second, third = threes.T
    pairs = np.array([at[first, second], at[first, third], at[second, third]])
    known = (pairs >= 0).all(axis=0) & (at.diagonal()[threes] >= 0).all(axis=1)
    threes = threes[known]
    ab, ac, bc = linked[pairs[:, known]]
    a, b, c = linked[at.diagonal()[threes.T]]
    ways = (
        ab + np.minimum(ac - a, bc - b),
        ac + np.minimum(ab - a, bc - c),
        bc + np.minimum(ab - b, ac - c),
    )
    return threes, np.asarray(np.maximum.reduce(ways))
