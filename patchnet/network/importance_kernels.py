"""Compiled kernel: what every source loses when a patch, or a link, is taken out.

One tree of best routes a source. Taking a patch k out lengthens only the routes all of whose
last steps hang on k: they are found by counting, for each patch, the neighbours through which
its best route can come, and are then routed again from the patches that are not affected.
"""

import numpy as np
from numpy.typing import NDArray

from patchnet.movement.compiling import kernel
from patchnet.network.adjacency import Ints, Places
from patchnet.network.kernels import pop, push

__all__ = ["losses", "settle"]

Floats = NDArray[np.float64]
_FAR = np.int64(2**62)


@kernel
def losses(  # noqa: C901, PLR0912, PLR0915 - one pass over arrays that are made once
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
) -> None:
    """Add a_s x sum of a_t (p*_st - p*_st without it), for each patch or link, to the outputs.

    `weight` is positive, its bits above `shift` are the length; `cut` is a weight as well. An
    output of size 0 is not wanted. Routes from or to a patch taken out are not counted here.
    """
    n = len(start) - 1
    distance = np.full(n, _FAR)
    heap = np.empty(len(end) + 1, dtype=np.int64)
    # From here on patches are numbered by the order in which the source reaches them.
    settled = np.empty(n, dtype=np.int32)
    number = np.full(n, -1, dtype=np.int32)
    near = np.empty(n, dtype=np.int64)
    chance = np.empty(n)
    first = np.empty(n + 1, dtype=np.int64)
    other = np.empty(len(end), dtype=np.int32)
    step = np.empty(len(end), dtype=np.int64)
    first_child = np.empty(n + 1, dtype=np.int64)
    child = np.empty(len(end), dtype=np.int32)  # whose best route comes from here
    ways = np.zeros(n, dtype=np.int32)  # from how many patches a best route comes
    came = np.empty(n, dtype=np.int64)  # place of such a link, at the child's end
    affected = np.empty(n, dtype=np.int32)
    mark = np.zeros(n, dtype=np.int32)
    fresh = np.full(n, _FAR)
    for source in sources:
        count = settle(source, start, end, weight, cut, bits, distance, heap, settled)
        for place in range(count):
            number[settled[place]] = place
            near[place] = distance[settled[place]]
            length = near[place] >> shift
            chance[place] = homes[settled[place]] * np.exp(-decay * length)
        edges, children = 0, 0
        for place in range(count):
            node = settled[place]
            first[place], first_child[place] = edges, children
            for at in range(start[node], start[node + 1]):
                to = number[end[at]]
                if to < 0:
                    continue
                other[edges], step[edges] = to, weight[at]
                if near[place] + weight[at] == near[to]:
                    child[children] = to
                    children += 1
                    ways[to] += 1
                elif near[to] + weight[at] == near[place]:
                    came[place] = edges
                edges += 1
        first[count], first_child[count] = edges, children
        for place in range(1, count):
            node = settled[place]
            if len(of_patch) > 0:
                found = _hang_on(place, first_child, child, ways, affected, 0)
                if found > 0:
                    mark[place] = 1
                    fresh[place] = _FAR
                    _reroute(found, first, other, step, near, affected, mark, fresh)
                    mark[place] = 0
                    of_patch[node] += homes[source] * _lost(
                        found, cut, shift, decay, near, chance, affected, fresh
                    )
                _restore(place, found, first_child, child, ways, affected)
            if len(of_link) > 0 and ways[place] == 1:
                affected[0] = place
                found = _hang_on(place, first_child, child, ways, affected, 1)
                one_way = came[place]
                # The way back needs no closing: it ends at a patch that is not affected.
                kept = step[one_way]
                step[one_way] = _FAR
                _reroute(found, first, other, step, near, affected, mark, fresh)
                step[one_way] = kept
                cause = _link_between(node, settled[other[one_way]], start, end, link)
                of_link[cause] += homes[source] * _lost(
                    found, cut, shift, decay, near, chance, affected, fresh
                )
                for at in range(1, found):
                    affected[at - 1] = affected[at]
                _restore(place, found - 1, first_child, child, ways, affected)
        for place in range(count):
            distance[settled[place]] = _FAR
            number[settled[place]] = -1
            ways[place] = 0


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


@kernel
def _hang_on(
    place: int, first_child: Ints, child: Places, ways: Places, affected: Places, found: int
) -> int:
    """List the patches all of whose best routes pass `place`; `ways` is counted down."""
    here = place
    done = found
    while True:
        for at in range(first_child[here], first_child[here + 1]):
            ways[child[at]] -= 1
            if ways[child[at]] == 0:
                affected[found] = child[at]
                found += 1
        if done == found:
            return found
        here = affected[done]
        done += 1


@kernel
def _restore(
    place: int, found: int, first_child: Ints, child: Places, ways: Places, affected: Places
) -> None:
    """Undo the counting down of `_hang_on`."""
    for at in range(first_child[place], first_child[place + 1]):
        ways[child[at]] += 1
    for done in range(found):
        here = affected[done]
        for at in range(first_child[here], first_child[here + 1]):
            ways[child[at]] += 1


@kernel
def _reroute(
    found: int,
    first: Ints,
    other: Places,
    step: Ints,
    near: Ints,
    affected: Places,
    mark: Places,
    fresh: Ints,
) -> None:
    """Find the new distance of each patch affected.

    Sweeps over the patches, nearest first, then back, until nothing changes (Yen 1970,
    Quarterly of Applied Mathematics 27:526-530). Most patches shift with the one before them,
    so two sweeps nearly always do; a heap takes longer.
    """
    for at in range(found):
        mark[affected[at]] = 1
        fresh[affected[at]] = _FAR
    forward = True
    changed = True
    while changed:
        changed = False
        for turn in range(found):
            place = affected[turn] if forward else affected[found - 1 - turn]
            best = fresh[place]
            for at in range(first[place], first[place + 1]):
                to = other[at]
                there = (fresh[to] if mark[to] == 1 else near[to]) + step[at]
                best = there if there < best else best  # noqa: FURB136 - min() is slower here
            if best < fresh[place]:
                fresh[place] = best
                changed = True
        forward = not forward
    for at in range(found):
        mark[affected[at]] = 0


@kernel
def _lost(
    found: int,
    cut: int,
    shift: int,
    decay: float,
    near: Ints,
    chance: Floats,
    affected: Places,
    fresh: Ints,
) -> float:
    """Sum up what the patches affected lose by their new distances."""
    lost, shift_before, share = 0.0, np.int64(0), 0.0
    for at in range(found):
        place = affected[at]
        if chance[place] > 0:
            if fresh[place] > cut:
                lost += chance[place]
                continue
            longer = (fresh[place] >> shift) - (near[place] >> shift)
            if longer != shift_before:  # most shift by as much as the one before them
                shift_before, share = longer, -np.expm1(-decay * longer)
            lost += chance[place] * share
    return lost


@kernel
def _link_between(a: int, b: int, start: Ints, end: Places, link: Places) -> int:
    for at in range(start[a], start[a + 1]):
        if end[at] == b:
            return int(link[at])
    return -1
