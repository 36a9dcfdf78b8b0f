"""The most that a link could win, from the routes of its two ends alone.

Over a link of cost c the way from i, about a, to j, about b, is D_ia + c + D_jb long, and today it
is no longer than D_ia + D_aj, nor than D_ib + D_bj. So the sum of what the chances rise by is at
most a product of sums over i and over j, less another such product.
"""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.core.compiled import in_threads
from patchnet.network.one_more_link import HELD, GrowingNetwork, closer, in_mm

__all__ = ["LinkBounds", "link_bounds"]

Array = NDArray[np.float64]
Places = NDArray[np.intp]
_SLACK = 1e-12  # of a bound's products: what rounding can hide in their difference


class LinkBounds(NamedTuple):
    """The most that each of m links could win, from the routes of its two ends.

    Attributes
    ----------
    most
        Shape (m,): no link raises the numerator by more.
    about_a, about_b
        Shape (m,), homes: who gets to its end b sooner over a, as a reaches them, and who to a
        over b.
    today
        Shape (m,): chance of arriving at the one end from the other without it.
    """

    most: Array
    about_a: Array
    about_b: Array
    today: Array


def link_bounds(network: GrowingNetwork, a: Places, b: Places, cost: Array) -> LinkBounds:
    """Bound what links could win, each by itself.

    Parameters
    ----------
    network
        n patches.
    a, b
        Shape (m,): the two patches that each link joins, a != b.
    cost
        Shape (m,): its length, cost metres.

    Returns
    -------
    LinkBounds
        Four arrays of shape (m,).
    """
    found = np.empty((4, len(cost)))

    def bounded(some: Places) -> None:
        found[:, some] = _of_some(network, a[some], b[some], in_mm(cost[some]))

    for __ in in_threads(bounded, _blocks(network.part, a, b)):
        pass
    return LinkBounds(*found)


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


def _of_some(network: GrowingNetwork, a: Places, b: Places, mm: Array) -> LinkBounds:
    ends, place = np.unique(np.concatenate([a, b]), return_inverse=True)
    found = network.routes(ends)
    homes = np.exp(-network.k_per_mm * found.mm) * network.homes[found.ends]
    # Two ways that are no longer than half the cut make one that is not cut.
    half = np.where(found.mm <= network.cut_mm / 2, homes, 0.0)
    at_a, at_b = place[: len(a)], place[len(a) :]
    by_a, by_b = closer(found.mm[at_a], found.mm[at_b], mm[:, None], network.cut_mm)

    def summed(homes: Array, at: Places, where: NDArray[np.bool_]) -> Array:
        of_links: Array = np.einsum("ij,ij->i", homes[at], where)
        return of_links

    link = np.exp(-network.k_per_mm * mm)
    about_a, about_b = summed(homes, at_a, by_a), summed(homes, at_b, by_b)
    new = link * about_a * about_b
    ways = np.maximum(
        summed(half, at_a, by_a) * summed(half, at_a, by_b),
        summed(half, at_b, by_a) * summed(half, at_b, by_b),
    )
    today = np.exp(-network.k_per_mm * found.mm[at_a, np.searchsorted(found.ends, b)])
    return LinkBounds(2 * (new * (1 + _SLACK) - ways), about_a, about_b, today)
