"""Lengths of all best routes, and what one more resting place changes.

With resting places k = 1 ... s taken in one after the other, the shortest route between any
two plots is D_ij = min(D_ij, D_ik + D_kj) after each (Floyd 1962, Communications of the ACM
5:345, doi:10.1145/367766.368168). So one more resting place is one more such step, and no route
has to be found again. Resting places that touch are taken in as one.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.reach import clusters_of
from patchnet.core.compiled import use_compiled
from patchnet.movement.distance import Pairs
from patchnet.network.routes import cut_length

__all__ = ["NO_ROUTE", "RouteLengths", "route_lengths"]

Lengths = NDArray[np.int32]

NO_ROUTE = np.int32(2**30 - 1)
"""Length, in mm, of a route that there is not: twice it is still a whole number of 32 bits."""

_COMPILE_FROM = 20_000_000  # sums to look at, about 0.1 s plain


@dataclass(frozen=True, eq=False)
class RouteLengths:
    """Lengths of all best routes between n plots, in whole millimetres, 0 from each to itself.

    Stops that touch are as far from everything as each other, so lengths stand once for each
    cluster of them, and for each other plot: along terraces that is little of what all pairs take.

    Attributes
    ----------
    between
        Shape (c, c), symmetric; `NO_ROUTE` where there is none.
    cluster
        Shape (n,): the cluster of each plot, 0 to c - 1.
    """

    between: Lengths
    cluster: NDArray[np.intp]

    def whole(self) -> Lengths:
        """Shape (n, n), whole millimetres: all of them."""
        found: Lengths = self.between[np.ix_(self.cluster, self.cluster)]
        return found

    def of_pairs(self, one: NDArray[np.intp], other: NDArray[np.intp]) -> Lengths:
        """Shape (m,), whole millimetres: routes between the plots of m pairs."""
        found: Lengths = self.between[self.cluster[one], self.cluster[other]]
        return found

    def chances(self, d50_m: float, least: float) -> NDArray[np.float64]:
        """Chance of each route between clusters: 1/2 after `d50_m`, 0 where it is below `least`.

        Parameters
        ----------
        d50_m
            Distance that half of those who set out get, metres.
        least
            Least chance that counts, 0-1.

        Returns
        -------
        array
            Shape (c, c), 0-1.
        """
        linked = self.between <= min(cut_length(d50_m, least), int(NO_ROUTE) - 1)
        chances = np.zeros(self.between.shape)
        chances[linked] = np.exp(-np.log(2) / d50_m / 1000 * self.between[linked])
        return chances

    def with_stop(self, stop: int) -> "RouteLengths":
        """Return the lengths with one more plot to rest on.

        Parameters
        ----------
        stop
            Position of a plot that was none.

        Examples
        --------
        >>> moves = Pairs(np.array([0, 1], "i4"), np.array([1, 2], "i4"), np.full(2, 50_000))
        >>> before = route_lengths(moves, np.array([True, False, True]), hop_m=60)
        >>> int(before.with_stop(1).whole()[0, 2])
        100000
        """
        at, between = self.cluster[stop], self.between
        return replace(self, between=np.minimum(between, between[:, at, None] + between[at]))


def route_lengths(
    moves: Pairs, stops: NDArray[np.bool_], *, hop_m: float, compiled: bool | None = None
) -> RouteLengths:
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
    RouteLengths
        Of all pairs of plots.

    Examples
    --------
    Three plots in a row, 50 m between them, hops of 60 m. Only the middle one can be a stop:

    >>> moves = Pairs(np.array([0, 1], "i4"), np.array([1, 2], "i4"), np.array([50_000, 50_000]))
    >>> route_lengths(moves, np.array([True, True, True]), hop_m=60).whole()[0].tolist()
    [0, 50000, 100000]
    >>> apart = route_lengths(moves, np.array([True, False, True]), hop_m=60).whole()
    >>> bool(apart[0, 2] == NO_ROUTE)
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
    return RouteLengths(lengths, cluster)
