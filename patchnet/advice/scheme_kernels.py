"""Kernels of the scheme search: one more stop in a matrix of best routes.

With P the chances along best routes, a new stop v with links of chance p(v, u) reaches i with
p(v, i) = max over u of p(v, u) P(u, i), and afterwards P'(i, j) = max(P(i, j), p(v, i) p(v, j)):
a best route meets a new stop at most once.
"""

import numpy as np
from numpy.typing import NDArray

from patchnet.movement.compiling import kernel

__all__ = [
    "able_sites",
    "further",
    "improves",
    "over_sites",
    "reach_of_stop",
    "take_in",
    "won_by_stop",
]

Array = NDArray[np.float64]
Ints = NDArray[np.int32]
Marks = NDArray[np.int64]


@kernel
def reach_of_stop(chances: Array, neighbours: Ints, links: Array, least: float) -> Array:
    """Shape (n,): chance from a new stop to every patch, below `least` taken as none.

    Parameters
    ----------
    chances
        Shape (n, n), best routes today; rows of sites that are no stop yet are nought.
    neighbours, links
        Positions and chances of the patches one move away.
    """
    n = chances.shape[0]
    out = np.zeros(n)
    for at in range(neighbours.size):
        u, p = neighbours[at], links[at]
        for i in range(n):
            through = p * chances[u, i]
            out[i] = max(out[i], through)
    for i in range(n):
        if out[i] < least:
            out[i] = 0.0
    return out


@kernel
def improves(chances: Array, neighbours: Ints, links: Array, slack: float) -> bool:
    """Whether a new stop makes any best route better: one between two of its neighbours must be."""
    for first in range(neighbours.size):
        for second in range(first):
            u, w = neighbours[first], neighbours[second]
            if links[first] * links[second] > chances[u, w] * (1 + slack):
                return True
    return False


@kernel
def won_by_stop(chances: Array, reached: Array, homes: Array, least: float) -> float:
    """Sum over pairs of homes x homes x what a new stop adds to their best chance.

    Routes less likely than `least` count as none, as in the network's measures.
    """
    n = reached.size
    places = np.empty(n, np.int64)
    count = 0
    for i in range(n):
        if reached[i] > 0.0 and homes[i] > 0.0:
            places[count] = i
            count += 1
    total = 0.0
    for at in range(count):
        i = places[at]
        row = 0.0
        for other in range(at):
            j = places[other]
            through = reached[i] * reached[j]
            if through >= least and through > chances[i, j]:
                row += homes[j] * (through - chances[i, j])
        total += homes[i] * row
    return 2.0 * total


@kernel
def take_in(chances: Array, reached: Array, place: int, least: float) -> None:
    """Make a new stop part of the best routes, in place."""
    n = reached.size
    for i in range(n):
        if reached[i] > 0.0:
            for j in range(n):
                through = reached[i] * reached[j]
                if through >= least and through > chances[i, j]:
                    chances[i, j] = through
    for i in range(n):
        chances[place, i] = reached[i]
        chances[i, place] = reached[i]
    chances[place, place] = 1.0


@kernel
def able_sites(
    before: Array, after: Array, to_sites: Array, marks: Marks
) -> tuple[Marks, Marks, Marks]:
    """Pairs whose best chance can rise, and a mark of the sites that could bring it about.

    A site could where the best route over it, with everything built, is better than today's.
    The mark is the exclusive or of the sites' own marks.

    Parameters
    ----------
    before, after
        Shape (h, h): best chances today, and with every site built.
    to_sites
        Shape (h, s): best chances to the sites with every site built.
    marks
        Shape (s,).

    Returns
    -------
    tuple
        First and second of each pair, and its mark.
    """
    holders, sites = to_sites.shape
    count = 0
    for i in range(holders):
        for j in range(i):
            if after[i, j] > before[i, j] * (1 + 1e-12):
                count += 1
    first, second = np.empty(count, np.int64), np.empty(count, np.int64)
    mark = np.empty(count, np.int64)
    at = 0
    for i in range(holders):
        for j in range(i):
            if after[i, j] > before[i, j] * (1 + 1e-12):
                own = np.int64(0)
                for site in range(sites):
                    if to_sites[i, site] * to_sites[j, site] > before[i, j]:
                        own ^= marks[site]
                first[at], second[at], mark[at] = i, j, own
                at += 1
    return first, second, mark


@kernel
def further(so_far: Array, between: Array, out: Array) -> bool:
    """Best chances to sites over one site more: out(i, v) = max(so_far(i, v), over any u).

    Parameters
    ----------
    so_far
        Shape (h, s): best chances from patches to sites with some number of sites.
    between
        Shape (s, s): best chances between sites over no other site.
    out
        Shape (h, s): the result.

    Returns
    -------
    bool
        Whether anything got better.
    """
    holders, sites = so_far.shape
    better = False
    for i in range(holders):
        for v in range(sites):
            out[i, v] = so_far[i, v]
        for u in range(sites):
            start = so_far[i, u]
            if start > 0.0:
                for v in range(sites):
                    through = start * between[u, v]
                    if through > out[i, v]:
                        out[i, v] = through
                        better = True
    return better


@kernel
def over_sites(
    before: Array,
    to_last: Array,
    from_last: Array,
    first: Marks,
    second: Marks,
    least: float,
    out: Array,
) -> None:
    """What each pair's best chance rises by over routes whose last site is any of the sites.

    Parameters
    ----------
    before
        Shape (h, h): best chances today.
    to_last
        Shape (h, s): best chances to the last site.
    from_last
        Shape (h, s): best chances from it over no other site.
    first, second
        The pairs.
    least
        Chance below which a route counts as none.
    out
        Shape (pairs,): the rise.
    """
    sites = to_last.shape[1]
    for at in range(first.size):
        i, j = first[at], second[at]
        best = before[i, j]
        for v in range(sites):
            through = to_last[i, v] * from_last[j, v]
            best = max(best, through)
        out[at] = best - before[i, j] if best >= least else 0.0
