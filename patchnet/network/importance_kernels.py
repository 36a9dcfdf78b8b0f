"""Compiled kernel: what every source loses when a patch, or a link, is taken out.

One tree of best routes a source. Taking a patch k out lengthens only the routes that all pass
k: those of the patches below k in the dominator tree (Lengauer and Tarjan 1979, ACM
Transactions on Programming Languages and Systems 1:121-141). Patches are numbered so that
those below k follow it in one run; they are then routed again from all the others.
"""

import numpy as np
from numpy.typing import NDArray

from patchnet.core.compiled import kernel, kernel_part
from patchnet.network.adjacency import Ints, Places
from patchnet.network.kernels import pop, push

__all__ = ["losses", "settle"]

Floats = NDArray[np.float64]
Spans = NDArray[np.uint64]
Ends = NDArray[np.uint32]
_FAR = np.int64(2**61)


@kernel
def losses(
    sources: Ints,
    start: Ints,
    end: Places,
    weight: Ints,
    link: Places,
    homes: Floats,
    cut: int,
    shift: int,
    bits: int,
    decay: float,
    of_patch: Floats,
    of_link: Floats,
    reached: Floats,
) -> None:
    """Add a_s x sum of a_t (p*_st - p*_st without it), for each patch or link, to the outputs.

    `weight` is positive, its bits above `shift` are the length; `cut` is a weight as well. An
    output of size 0 is not wanted. Routes from or to a patch taken out are not counted here.

    Parameters
    ----------
    sources
        Shape (s,): patches that routes start from.
    start, end
        Shapes (n + 1,) and (2 m,): the links of each patch, as in `adjacency`.
    weight
        Shape (2 m,): lengths in whole millimetres above bit `shift`.
    link
        Shape (2 m,): number of each link.
    homes
        Shape (n,).
    cut
        Longest route, as `weight`.
    shift, bits
        Bits below a length; bits that hold a patch's number.
    decay
        A chance is exp(-decay x length), per millimetre.
    of_patch, of_link
        Shapes (n,) and (m,), or (0,): homes squared, added to.
    reached
        Shape (n,): sum of a_t p*_st of each source, its own homes among them; written.
    """
    n = len(start) - 1
    distance = np.full(n, _FAR)
    heap = np.empty(len(end) + 1, dtype=np.int64)
    settled = np.empty(n, dtype=np.int32)
    number = np.full(n, -1, dtype=np.int32)
    above = np.empty(n, dtype=np.int32)
    # From here on patches stand in the order of the dominator tree.
    node_at = np.empty(n, dtype=np.int32)
    below = np.empty(n, dtype=np.int32)  # end of the run of patches below
    near = np.empty(n, dtype=np.int64)
    chance = np.empty(n)
    # Unsigned, so that no look is taken at negative places.
    first = np.empty(n, dtype=np.uint64)  # links of each patch, least slack first
    last = np.empty(n, dtype=np.uint64)
    other = np.empty(len(end), dtype=np.uint32)
    slack = np.empty(len(end), dtype=np.int64)  # how much longer it is to come by this link
    longer = np.zeros(n, dtype=np.int64)  # by how much a route has become longer
    for source in sources:
        count = settle(source, start, end, weight, cut, bits, distance, heap, settled)
        _dominators(count, settled, start, end, weight, distance, number, above)
        _order(count, settled, above, number, node_at, below)
        arriving = 0.0
        for place in range(count):
            node = node_at[place]
            near[place] = distance[node]
            chance[place] = homes[node] * np.exp(-decay * (near[place] >> shift))
            arriving += chance[place]
        reached[source] = arriving
        _slacks(count, node_at, start, end, weight, number, near, first, last, other, slack)
        for place in range(1, count):
            node, stop = node_at[place], below[place]
            if len(of_patch) > 0 and stop > place + 1:
                longer[place] = _FAR
                _reroute(place + 1, stop, first, last, other, slack, longer)
                longer[place] = 0
                of_patch[node] += homes[source] * _lost(
                    place + 1, stop, cut, shift, decay, near, chance, longer
                )
            begin = np.int64(first[place])
            if len(of_link) > 0 and (np.int64(last[place]) == begin + 1 or slack[begin + 1] > 0):
                # The one best route comes by the first link, which is closed. The way back
                # needs no closing: it ends at a patch that is not affected.
                first[place] = np.uint64(begin + 1)
                _reroute(place, stop, first, last, other, slack, longer)
                first[place] = np.uint64(begin)
                gone = _link_between(node, node_at[other[begin]], start, end, link)
                of_link[gone] += homes[source] * _lost(
                    place, stop, cut, shift, decay, near, chance, longer
                )
        for place in range(count):
            distance[node_at[place]] = _FAR
            number[node_at[place]] = -1


@kernel
def settle(
    source: int,
    start: Ints,
    end: Places,
    weight: Ints,
    cut: int,
    bits: int,
    distance: Ints,
    heap: Ints,
    settled: Places,
) -> int:
    """Best routes from a source up to `cut`: fill `distance`, list the patches reached.

    A key on the heap is the distance and, in its last `bits` bits, the node.

    Parameters
    ----------
    source
        Patch that routes start from.
    start, end
        Shapes (n + 1,) and (2 m,): the links of each patch, as in `adjacency`.
    weight
        Shape (2 m,), above 0, any unit.
    cut
        Longest route, as `weight`.
    bits
        Bits that hold a patch's number.
    distance
        Shape (n,), as `weight`: as far away as can be before, and written.
    heap
        Shape (2 m + 1,): room to work in.
    settled
        Shape (n,): the patches reached in turn; written.
    """
    mask = (1 << bits) - 1
    distance[source] = 0
    size = push(heap, 0, source)
    count = 0
    while size > 0:
        key = heap[0]
        size = pop(heap, size)
        here, node = key >> bits, key & mask
        if here > distance[node]:
            continue
        settled[count] = node
        count += 1
        for at in range(start[node], start[node + 1]):
            there = here + weight[at]
            if there > cut:
                break
            other = end[at]
            if there < distance[other]:
                distance[other] = there
                size = push(heap, size, (there << bits) | other)
    return count


@kernel_part
def _dominators(
    count: int,
    settled: Places,
    start: Ints,
    end: Places,
    weight: Ints,
    distance: Ints,
    number: Places,
    above: Places,
) -> None:
    """Find the nearest patch that all best routes to each patch pass; both by settled order.

    As in Cooper, Harvey and Kennedy 2001 ("A simple, fast dominance algorithm"); one pass does,
    since best routes have no circles.
    """
    number[settled[0]] = 0
    above[0] = 0
    for place in range(1, count):
        node = settled[place]
        number[node] = place
        common = -1
        for at in range(start[node], start[node + 1]):
            if distance[end[at]] + weight[at] != distance[node]:
                continue
            by_here = number[end[at]]
            if common < 0:
                common = by_here
            while common != by_here:
                if common > by_here:
                    common = above[common]
                else:
                    by_here = above[by_here]
        above[place] = common


@kernel_part
def _order(
    count: int, settled: Places, above: Places, number: Places, node_at: Places, below: Places
) -> None:
    """Number the patches so that those below each in the tree follow it in one run."""
    size = np.ones(count, dtype=np.int32)
    for place in range(count - 1, 0, -1):
        size[above[place]] += size[place]
    free = np.empty(count, dtype=np.int32)  # the next number for a patch below
    for place in range(count):
        here = 0
        if place > 0:
            here = free[above[place]]
            free[above[place]] += size[place]
        free[place] = here + 1
        node_at[here] = settled[place]
        below[here] = here + size[place]
        number[settled[place]] = here


@kernel_part
def _slacks(
    count: int,
    node_at: Places,
    start: Ints,
    end: Places,
    weight: Ints,
    number: Places,
    near: Ints,
    first: Spans,
    last: Spans,
    other: Ends,
    slack: Ints,
) -> None:
    """List the links of each patch by how much longer it is to come by them."""
    edges = 0
    for place in range(count):
        node = node_at[place]
        row = edges
        first[place] = row
        for at in range(start[node], start[node + 1]):
            to = number[end[at]]
            if to < 0:
                continue
            spare = near[to] + weight[at] - near[place]
            here = edges
            while here > row and slack[here - 1] > spare:
                slack[here], other[here] = slack[here - 1], other[here - 1]
                here -= 1
            slack[here], other[here] = spare, to
            edges += 1
        last[place] = edges


@kernel_part
def _reroute(
    begin: int, stop: int, first: Spans, last: Spans, other: Ends, slack: Ints, longer: Ints
) -> None:
    """Find by how much the route to each patch in begin:stop becomes longer.

    `longer` is 0 for all others. Sweeps over the patches, there and back, until nothing
    changes (Yen 1970, Quarterly of Applied Mathematics 27:526-530). Most routes become longer
    by as much as the one before them, so two sweeps nearly always do, and few links have so
    little slack that they need looking at; a heap takes longer.
    """
    longer[begin:stop] = _FAR
    forward = True
    changed = True
    while changed:
        changed = False
        for turn in range(stop - begin):
            place = np.uint64(begin + turn if forward else stop - 1 - turn)
            before = longer[place]
            best = before
            for at in range(first[place], last[place]):
                if slack[at] >= best:
                    break
                by_here = longer[other[at]] + slack[at]
                best = by_here if by_here < best else best  # noqa: FURB136 - min() is slower here
            if best < before:
                longer[place] = best
                changed = True
        forward = not forward


@kernel_part
def _lost(
    begin: int,
    stop: int,
    cut: int,
    shift: int,
    decay: float,
    near: Ints,
    chance: Floats,
    longer: Ints,
) -> float:
    """Sum up what the patches in begin:stop lose by longer routes; set `longer` back to 0."""
    lost, before, share = 0.0, np.int64(0), 0.0
    for place in range(begin, stop):
        if chance[place] > 0:
            there = near[place] + longer[place]
            if there > cut:
                lost += chance[place]
            else:
                length = (there >> shift) - (near[place] >> shift)
                if length != before:  # most become longer by as much as the one before them
                    before, share = length, -np.expm1(-decay * length)
                lost += chance[place] * share
        longer[place] = 0
    return lost


@kernel_part
def _link_between(a: int, b: int, start: Ints, end: Places, link: Places) -> int:
    for at in range(start[a], start[a + 1]):
        if end[at] == b:
            return int(link[at])
    return -1
