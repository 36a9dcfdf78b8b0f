"""Lengths of all best routes, and what one more resting place changes.

With resting places k = 1 ... s taken in one after the other, the shortest route between any
two plots is D_ij = min(D_ij, D_ik + D_kj) after each (Floyd 1962, Communications of the ACM
5:345, doi:10.1145/367766.368168). So one more resting place is one more such step, and no route
has to be found again. Resting places that touch are taken in as one.
"""

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.reach import clusters_of
from patchnet.core.compiled import use_compiled
from patchnet.movement.distance import Pairs

__all__ = ["NO_ROUTE", "route_lengths", "with_stop"]

Lengths = NDArray[np.int32]

NO_ROUTE = np.int32(2**30 - 1)
"""Length, in mm, of a route that there is not: twice it is still a whole number of 32 bits."""

_COMPILE_FROM = 20_000_000  # sums to look at, about 0.1 s plain


def route_lengths(
    moves: Pairs, stops: NDArray[np.bool_], *, hop_m: float, compiled: bool | None = None
) -> Lengths:
    """Shortest route between any two plots, resting only on stops, in whole millimetres.

    Parameters
    ----------
    moves
        What single moves between plots cost.
    stops
        Shape (n,), True where the group can rest. A route may begin and end anywhere.
    hop_m
        Widest distance crossed in one move, metres.
    compiled
        True, False, or None: by size. Both give the same lengths.

    Returns
    -------
    ndarray
        Shape (n, n), symmetric, 0 on the diagonal; `NO_ROUTE` where there is none.

    Examples
    --------
    Three plots in a row, 50 m between them, hops of 60 m. Only the middle one can be a stop:

    >>> moves = Pairs(np.array([0, 1], "i4"), np.array([1, 2], "i4"), np.array([50_000, 50_000]))
    >>> route_lengths(moves, np.array([True, True, True]), hop_m=60)[0].tolist()
    [0, 50000, 100000]
    >>> bool(route_lengths(moves, np.array([True, False, True]), hop_m=60)[0, 2] == NO_ROUTE)
    True
    """
    near = moves.length_mm <= round(hop_m * 1000)
    short = Pairs(moves.i[near], moves.j[near], moves.length_mm[near])
    count, cluster = clusters_of(short, stops)
    lengths = np.full((count, count), NO_ROUTE, dtype=np.int32)
    i, j = cluster[short.i], cluster[short.j]
    np.minimum.at(lengths, (i, j), short.length_mm.astype(np.int32))
    np.minimum(lengths, lengths.T.copy(), out=lengths)
    np.fill_diagonal(lengths, 0)
    through = np.unique(cluster[stops])
    if use_compiled(compiled=compiled, worthwhile=len(through) * count**2 > _COMPILE_FROM):
        from patchnet.assess.what_if_kernels import take_in_stops  # noqa: PLC0415 - imports numba

        take_in_stops(lengths, through)
    else:
        for stop in through.tolist():
            np.minimum(lengths, lengths[:, stop, None] + lengths[stop], out=lengths)
    return lengths if count == len(stops) else lengths[np.ix_(cluster, cluster)]


def with_stop(lengths: Lengths, stop: int) -> Lengths:
    """Return the lengths with one more plot (its position) to rest on.

    Parameters
    ----------
    lengths
        Shape (n, n), whole millimetres, as from `route_lengths`.
    stop
        Position of the plot, 0 to n - 1.

    Returns
    -------
    array
        Shape (n, n), whole millimetres.

    Examples
    --------
    >>> moves = Pairs(np.array([0, 1], "i4"), np.array([1, 2], "i4"), np.array([50_000, 50_000]))
    >>> before = route_lengths(moves, np.array([True, False, True]), hop_m=60)
    >>> int(with_stop(before, 1)[0, 2])
    100000
    """
    more: Lengths = np.minimum(lengths, lengths[:, stop, None] + lengths[stop])
    return more
