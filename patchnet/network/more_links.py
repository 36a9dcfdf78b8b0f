"""Which one more link wins most, and which after it: exact, and local to the link's two ends.

Links are tried in the order of the most that each could win, until none that is left can win more
than the best so far. That bound is found from the routes of its two ends alone. Over a link of cost
c the way from i, about a, to j, about b, is D_ia + c + D_jb long, and today it is no longer than
D_ia + D_aj, nor than D_ib + D_bj. So the sum of what the chances rise by is at most a product of
sums over i and over j, less another such product.
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.core.compiled import in_threads
from patchnet.network.one_more_link import HELD, GrowingNetwork, closer, in_mm

__all__ = ["MoreLink", "more_links"]

Array = NDArray[np.float64]
Places = NDArray[np.intp]
_ALIKE = 1e-9  # relative: of links that win alike to rounding, the first of the candidates
_SLACK = 1e-12  # of a bound's products: what rounding can hide in their difference
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
        bound[again] = _bounds(network, a[again], b[again], cost[again])
        best = _best(network, a, b, cost, bound)
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


def _best(network: GrowingNetwork, a: Places, b: Places, cost: Array, bound: Array) -> int:
    """Place of the link that wins most, -1 where none wins anything; of those tried, `bound` sinks.

    Of links that win alike to rounding it is the first.
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


def _bounds(network: GrowingNetwork, a: Places, b: Places, cost: Array) -> Array:
    """Shape (m,): no link raises the numerator by more."""
    found = np.empty(len(cost))

    def bounded(some: Places) -> None:
        found[some] = _bounds_of_some(network, a[some], b[some], cost[some])

    for __ in in_threads(bounded, _blocks(network.part, a, b)):
        pass
    return found


def _blocks(part: NDArray[np.int32], a: Places, b: Places) -> Iterator[Places]:
    """Share links out so that the routes of a block's ends can be held at once."""
    sizes = np.bincount(part).tolist()
    order = np.lexsort((b, a, part[a]))
    ends = part[a[order]].tolist(), part[b[order]].tolist()
    parts, first, width = set[int](), 0, 0
    for at, (one, other) in enumerate(zip(*ends, strict=True)):
        width += sum(sizes[number] for number in {one, other} - parts)
        if at > first and (at - first + 1) * width > HELD:
            yield order[first:at]
            parts, first = set(), at
            width = sum(sizes[number] for number in {one, other})
        parts |= {one, other}
    if len(order):
        yield order[first:]


def _bounds_of_some(network: GrowingNetwork, a: Places, b: Places, cost: Array) -> Array:
    ends, place = np.unique(np.concatenate([a, b]), return_inverse=True)
    found = network.routes(ends)
    homes = np.exp(-network.k_per_mm * found.mm) * network.homes[found.ends]
    # Two ways that are no longer than half the cut make one that is not cut.
    half = np.where(found.mm <= network.cut_mm / 2, homes, 0.0)
    at_a, at_b = place[: len(a)], place[len(a) :]
    by_a, by_b = closer(found.mm[at_a], found.mm[at_b], in_mm(cost)[:, None], network.cut_mm)

    def summed(homes: Array, at: Places, where: NDArray[np.bool_]) -> Array:
        of_links: Array = np.einsum("ij,ij->i", homes[at], where)
        return of_links

    link = np.exp(-network.k_per_mm * in_mm(cost))
    new = link * summed(homes, at_a, by_a) * summed(homes, at_b, by_b)
    today = np.maximum(
        summed(half, at_a, by_a) * summed(half, at_a, by_b),
        summed(half, at_b, by_a) * summed(half, at_b, by_b),
    )
    bounds: Array = 2 * (new * (1 + _SLACK) - today)
    return bounds
