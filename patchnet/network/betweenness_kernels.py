"""Compiled kernel: traffic through each patch on best routes, ties shared."""

import numpy as np
from numpy.typing import NDArray

from patchnet.core.compiled import kernel
from patchnet.network.adjacency import Ints, Places
from patchnet.network.importance_kernels import settle

__all__ = ["traffic"]

Floats = NDArray[np.float64]
_FAR = np.int64(2**62)


@kernel
def traffic(
    sources: Ints,
    start: Ints,
    end: Places,
    weight: Ints,
    homes: Floats,
    cut: int,
    shift: int,
    bits: int,
    decay: float,
    through: Floats,
) -> None:
    """Add a_s x sum of a_t p*_st over the best routes through each patch (Brandes 2001).

    Numbers of equal routes grow without bound, so their logarithms are kept.

    Parameters
    ----------
    sources
        Shape (s,): patches that routes start from.
    start, end
        Shapes (n + 1,) and (2 m,): the links of each patch, as in `adjacency`.
    weight
        Shape (2 m,): lengths in whole millimetres above bit `shift`, a 1 below it for 0.
    homes
        Shape (n,).
    cut
        Longest route, as `weight`.
    shift, bits
        Bits below a length; bits that hold a patch's number.
    decay
        A chance is exp(-decay x length), per millimetre.
    through
        Shape (n,), homes squared: added to.
    """
    n = len(start) - 1
    distance = np.full(n, _FAR)
    heap = np.empty(len(end) + 1, dtype=np.int64)
    settled = np.empty(n, dtype=np.int32)
    routes = np.empty(n)  # natural logarithm of their number
    passing = np.empty(n)
    for source in sources:
        count = settle(source, start, end, weight, cut, bits, distance, heap, settled)
        routes[source] = 0.0
        passing[source] = 0.0
        for place in range(1, count):
            node = settled[place]
            passing[node] = 0.0
            most, among = -np.inf, 0.0
            for at in range(start[node], start[node + 1]):
                other = end[at]
                if distance[other] + weight[at] != distance[node]:
                    continue
                if routes[other] > most:
                    among = among * np.exp(most - routes[other]) + 1.0
                    most = routes[other]
                else:
                    among += np.exp(routes[other] - most)
            routes[node] = most + np.log(among)
        for place in range(count - 1, 0, -1):
            node = settled[place]
            arriving = homes[node] * np.exp(-decay * (distance[node] >> shift))
            for at in range(start[node], start[node + 1]):
                other = end[at]
                if distance[other] + weight[at] == distance[node]:
                    share = np.exp(routes[other] - routes[node])
                    passing[other] += share * (arriving + passing[node])
            through[node] += homes[source] * passing[node]
        for place in range(count):
            distance[settled[place]] = _FAR
