"""Kernels of the scheme search: one more stop in a matrix of best routes.

With P the chances along best routes, a new stop v with links of chance p(v, u) reaches i with
p(v, i) = max over u of p(v, u) P(u, i), and afterwards P'(i, j) = max(P(i, j), p(v, i) p(v, j)):
a best route meets a new stop at most once.
"""

import numpy as np
from numpy.typing import NDArray

from patchnet.movement.compiling import kernel

__all__ = ["improves", "reach_of_stop", "take_in", "won_by_stop"]

Array = NDArray[np.float64]
Ints = NDArray[np.int32]


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
