"""Which one more link wins most, and which after it: exact, and local to the link's two ends.

Links are tried in the order of the most that each could win (`patchnet.network.link_bounds`), until
none that is left can win more than the best so far.
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.network.link_bounds import link_bounds
from patchnet.network.one_more_link import GrowingNetwork

__all__ = ["MoreLink", "best_link", "more_links"]

Array = NDArray[np.float64]
Places = NDArray[np.intp]
_ALIKE = 1e-9  # relative: of links that win alike to rounding, the first of the candidates
_AT_ONCE = 64  # candidates tried together at most: they share the routes that they ask for


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
    network: GrowingNetwork, *, a: Places, b: Places, cost: Array, most: int
) -> Iterator[MoreLink]:
    """Take, one after the other, the link that wins most, and put it into the network.

    The numerator is the sum over all pairs of homes_i exp(-k D_ij) homes_j, of routes that are
    likely enough.

    Parameters
    ----------
    network
        Of n patches; the links that are taken are added to it.
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

    >>> import pandas as pd
    >>> from patchnet.network.patch_graph import PatchGraph
    >>> none, far = np.zeros(0, np.int32), np.zeros(0, np.int64)
    >>> three = PatchGraph(pd.RangeIndex(3), np.ones(3), none, none, far, 10.0)
    >>> apart = GrowingNetwork(three, 3**0.5, p_cut=0.0001)
    >>> links = {"a": np.array([0, 1]), "b": np.array([1, 2]), "cost": np.array([100.0, 10.0])}
    >>> first = next(more_links(apart, **links, most=1))
    >>> first.at, round(first.won, 6)
    (1, 0.267949)
    """
    bound = np.zeros(len(cost))
    again = np.arange(len(cost))
    for __ in range(most):
        bound[again] = link_bounds(network, a[again], b[again], cost[again]).most
        best = best_link(network, a, b, cost, bound)
        if best < 0:
            return
        ends, length = (int(a[best]), int(b[best])), float(cost[best])
        before = network.length_m(*ends)
        moved = np.zeros(len(network.homes), dtype=bool)
        moved[np.concatenate(network.nearer(*ends, length))] = True
        yield MoreLink(best, before, length, network.add(*ends, length))
        # A link moves the ways of patches about it alone: elsewhere bounds stay what they are, and
        # what was won is the most that can be won still.
        again = np.flatnonzero(moved[a] | moved[b])


def best_link(network: GrowingNetwork, a: Places, b: Places, cost: Array, bound: Array) -> int:
    """Place of the link that wins most by itself; of those that win alike to rounding the first.

    Parameters
    ----------
    network
        Of n patches.
    a, b
        Shape (m,): the two patches that each candidate joins, a != b.
    cost
        Shape (m,): its length, cost metres.
    bound
        Shape (m,): no link raises the numerator by more. Of those that are tried it sinks to what
        they raise it by.

    Returns
    -------
    int
        -1 where none wins anything.
    """
    order = np.argsort(-bound, kind="stable")
    rises = np.zeros(len(cost))
    most, first, size = 0.0, 0, 1
    while first < len(order):
        some = order[first : first + size]
        some = some[(bound[some] > 0) & (bound[some] >= most * (1 - _ALIKE))]
        if not len(some):
            break
        rises[some] = network.rises(a[some], b[some], cost[some])
        bound[some] = np.minimum(bound[some], rises[some] * (1 + _ALIKE))
        most = max(most, float(rises[some].max()))
        first, size = first + len(some), min(2 * size, _AT_ONCE)
    return int(np.argmax(rises >= most * (1 - _ALIKE))) if most > 0 else -1
