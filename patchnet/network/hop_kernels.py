"""Compiled breadth-first search: sums over numbers of links."""

import numpy as np
from numpy.typing import NDArray

from patchnet.core.compiled import kernel
from patchnet.network.adjacency import Ints, Places

__all__ = ["hop_sums"]

Floats = NDArray[np.float64]


@kernel
def hop_sums(first: int, last: int, start: Ints, end: Places, homes: Floats) -> tuple[float, float]:
    """IIC terms of the sources first:last, and their sums of 1 / links to all others.

    Parameters
    ----------
    first, last
        Sources that this call sums over.
    start, end
        Shapes (n + 1,) and (2 m,): the links of each patch, as in `adjacency`.
    homes
        Shape (n,).

    Returns
    -------
    iic, harary
        Homes squared; 1 / links.
    """
    n = len(start) - 1
    seen = np.full(n, -1)  # the source that a node was last reached from
    queue = np.empty(n, dtype=np.int32)
    iic, harary = 0.0, 0.0
    for source in range(first, last):
        seen[source] = source
        queue[0] = source
        begin, size = 0, 1
        hops = 0
        total = 0.0
        while begin < size:
            ring = size  # nodes begin:ring are `hops` links away
            amount = 0.0
            for at in range(begin, ring):
                node = queue[at]
                amount += homes[node]
                for link in range(start[node], start[node + 1]):
                    other = end[link]
                    if seen[other] != source:
                        seen[other] = source
                        queue[size] = other
                        size += 1
            total += amount / (1 + hops)
            if hops > 0:
                harary += (ring - begin) / hops
            begin = ring
            hops += 1
        iic += homes[source] * total
    return iic, harary
