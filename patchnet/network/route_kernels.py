"""Compiled sums over best routes, from sixteen patches at once.

Neighbours have nearly the same routes. So sixteen of them are looked at side by side: every patch
has sixteen distances, one from each, and a link is asked about all of them in one go. A patch waits
in a queue of buckets (Dial 1969, Communications of the ACM 12:632-633) until the last of those that
have come to it is due; where another comes nearer later it is looked at again, so that in the end
all are right (label correcting; Meyer & Sanders 2003, Journal of Algorithms 49:114-152). On streets
one patch in fifteen is looked at twice.
"""

import numpy as np
from numpy.typing import NDArray

from patchnet.core.compiled import inlined_part, kernel
from patchnet.core.lane_kernels import LANES, lower_lanes, most_below
from patchnet.network.adjacency import Ints, Places

__all__ = ["BITS", "TOGETHER", "route_sums"]

Floats = NDArray[np.float64]
BITS = 11
"""Chances are looked up by the whole 2,048ths of a distance in millimetres, and by its rest."""
TOGETHER = 2 * LANES
"""Patches that routes start from at once."""
_REST = (1 << BITS) - 1
_SLOTS = 4096  # buckets at once, a power of two; what is due later waits in the last


@kernel
def route_sums(
    sources: Ints,
    start: Ints,
    end: Places,
    length: Floats,
    homes: Floats,
    cut: float,
    width: float,
    high: Floats,
    low: Floats,
    flow: Floats,
    reached: Floats,
) -> None:
    """Sum a_j p_ij, and a_j, over all j no further than `cut` from each source.

    Parameters
    ----------
    sources
        Shape (s,): patches that routes start from, neighbours one after the other.
    start, end
        Shapes (n + 1,) and (2 m,): the links of each patch, shortest first, as in `adjacency`.
    length
        Shape (2 m,), whole millimetres.
    homes
        Shape (n,).
    cut
        Longest route, millimetres.
    width
        Of a bucket, millimetres.
    high, low
        Shape (h,) and (2^BITS,): chance of arriving after so many times 2^BITS millimetres, and
        after so many millimetres; beyond `high` it is nothing.
    flow, reached
        Shape (s,), homes: written.
    """
    n = len(start) - 1
    distance = np.full(n * TOGETHER, np.inf)
    head, due = np.full(_SLOTS, -1, np.int32), np.full(n, -1, np.int64)
    before, after = np.empty(n, np.int32), np.empty(n, np.int32)
    seen, known = np.empty(n, np.int32), np.zeros(n, np.bool_)
    for first in range(0, len(sources), TOGETHER):
        count = _reach(
            sources[first : first + TOGETHER], start, end, length, cut, width,
            distance, head, due, before, after, seen, known,
        )  # fmt: skip
        last = min(first + TOGETHER, len(sources))
        flow[first:last] = 0.0
        reached[first:last] = 0.0
        for place in range(count):
            node = seen[place]
            known[node] = False
            _add(first, node * TOGETHER, homes[node], distance, high, low, flow, reached)


@inlined_part
def _reach(
    sources: Ints,
    start: Ints,
    end: Places,
    length: Floats,
    cut: float,
    width: float,
    distance: Floats,
    head: Places,
    due: Ints,
    before: Places,
    after: Places,
    seen: Places,
    known: NDArray[np.bool_],
) -> int:
    """Write all distances from some sources; return how many patches were `seen`."""
    count = waiting = now = 0
    for lane in range(len(sources)):
        node = sources[lane]
        distance[node * TOGETHER + lane] = 0.0
        known[node] = True
        seen[count] = node
        count += 1
        waiting += _wait(node, 0, head, due, before, after)
    while waiting > 0:
        node = head[now & (_SLOTS - 1)]
        if node < 0:
            now += 1
            continue
        _leave(node, head, due, before, after)
        waiting -= 1
        here = node * TOGETHER
        least = np.inf
        for lane in range(TOGETHER):
            least = min(least, distance[here + lane])
        for link in range(start[node], start[node + 1]):
            if least + length[link] > cut:
                break
            other = end[link]
            there = other * TOGETHER
            if not _lowered(distance, there, here, length[link], cut):
                continue
            if not known[other]:
                known[other] = True
                seen[count] = other
                count += 1
            last = int(_last(distance, there) / width)
            last = min(max(last, now), now + _SLOTS - 1)
            waiting += _wait(other, last, head, due, before, after)
    return count


@inlined_part
def _lowered(distance: Floats, there: int, here: int, length: float, cut: float) -> bool:
    one = lower_lanes(distance, there, distance, here, length, cut)
    other = lower_lanes(distance, there + LANES, distance, here + LANES, length, cut)
    return one | other


@inlined_part
def _last(distance: Floats, at: int) -> float:
    """The largest of the distances of a patch that is known so far."""
    return max(most_below(distance, at, np.inf), most_below(distance, at + LANES, np.inf))


@inlined_part
def _wait(node: int, last: int, head: Places, due: Ints, before: Places, after: Places) -> int:
    """Put a patch into a bucket, out of where it is; return by how many more wait."""
    new = 1
    if due[node] >= 0:
        if due[node] == last:
            return 0
        _leave(node, head, due, before, after)
        new = 0
    slot = last & (_SLOTS - 1)
    first = head[slot]
    before[node], after[node] = -1, first
    if first >= 0:
        before[first] = node
    head[slot] = node
    due[node] = last
    return new


@inlined_part
def _leave(node: int, head: Places, due: Ints, before: Places, after: Places) -> None:
    if before[node] >= 0:
        after[before[node]] = after[node]
    else:
        head[due[node] & (_SLOTS - 1)] = after[node]
    if after[node] >= 0:
        before[after[node]] = before[node]
    due[node] = -1


@inlined_part
def _add(
    first: int,
    here: int,
    homes: float,
    distance: Floats,
    high: Floats,
    low: Floats,
    flow: Floats,
    reached: Floats,
) -> None:
    """Add the homes of one patch to the sums, and forget its distances."""
    for lane in range(TOGETHER):
        far = distance[here + lane]
        if far < np.inf:
            distance[here + lane] = np.inf
            if homes > 0:
                whole = int(far)
                if whole >> BITS < len(high):
                    flow[first + lane] += homes * (high[whole >> BITS] * low[whole & _REST])
                reached[first + lane] += homes
