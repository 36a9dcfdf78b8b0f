"""Compiled least-cost growth over a padded grid: in buckets, or a heap for costs of any range.

Every bucket is narrower than the cheapest step, so that a cell taken from the lowest bucket can
no longer be improved by another cell of the same bucket: the result is exact, to the last bit.
Cells are numbered over the padded grid, whose border is closed, so no step leaves it.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from patchnet.movement.compiling import kernel

__all__ = ["grow_buckets", "grow_heap", "touching", "trace"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Cells = NDArray[np.int32]
Bytes = NDArray[np.uint8]
Records = Any  # cells as `CELL`; numba reads their fields as attributes, which numpy does not
At = np.uint64

_SOURCE = 8  # where a cell came from, if it is a source
_UNREACHED = 255
_NONE = np.iinfo(np.int32).max
_POOL = 1 << 16


@kernel
def _extra(key: Ints, extra: Floats, at: int) -> float:
    low = 0
    high = len(key)
    while low < high:
        middle = (low + high) // 2
        if key[middle] < at:
            low = middle + 1
        else:
            high = middle
    if low < len(key) and key[low] == at:
        return float(extra[low])
    return 0.0


@kernel
def _step(
    cell: int, there: int, d: int, cells: Records, half: Floats,
    key: Ints, extra: Floats,
) -> float:  # fmt: skip
    price = half[d] * (np.float64(cells[cell].cost) + np.float64(cells[there].cost))
    if (cells[cell].flags >> d) & 1:
        if d < 4:
            price += _extra(key, extra, cell * 4 + d)
        else:
            price += _extra(key, extra, there * 4 + d - 4)
    return float(price)


@kernel
def _on_rim(cell: int, cells: Records, owner: Cells, offset: Ints) -> bool:
    for d in range(8):
        there = cell + offset[d]
        if owner[there] == 0 and cells[there].cost < np.inf:
            return True
    return False


@kernel
def _seeds(cells: Records, owner: Cells, offset: Ints) -> Ints:
    """Cells of sources from which a step leads out."""
    count = 0
    for cell in range(len(cells)):
        if cells[cell].came == _SOURCE and _on_rim(cell, cells, owner, offset):
            count += 1
    seeds = np.empty(count, np.int64)
    count = 0
    for cell in range(len(cells)):
        if cells[cell].came == _SOURCE and _on_rim(cell, cells, owner, offset):
            seeds[count] = cell
            count += 1
    return seeds


@kernel
def _pour(  # noqa: C901, PLR0915 - calls inside this loop cost more than a step
    cells: Records, owner: Cells,
    key: Ints, extra: Floats, offset: Ints, half: Floats,
    width: float, limit: float, head: Cells, item: Cells, after: Cells, state: Ints,
) -> bool:  # fmt: skip
    """Empty bucket after bucket; return False where the entries no longer fit.

    Buckets are linked lists of entries: `head` the first of each, `item` the cell of an entry,
    `after` the entry behind it; `state` is the first free entry, the number used so far, the
    number waiting and the present level. Places in arrays are unsigned, so that no look is
    taken at negative ones.
    """
    columns = offset[1]
    go = (
        1, columns, columns + 1, columns - 1, -1, -columns, -columns - 1, -columns + 1,
    )  # fmt: skip
    straight, diagonal = half[0], half[2]
    free, used, waiting, level = state[0], state[1], state[2], state[3]
    inverse = 1.0 / width
    mask = len(head) - 1
    while waiting > 0 and used + 8 <= len(item):
        slot = At(level & mask)
        entry = int(head[slot])
        if entry < 0:
            level += 1
            continue
        head[slot] = after[At(entry)]
        after[At(entry)] = free
        free = entry
        waiting -= 1
        cell = int(item[At(entry)])
        here = cells[At(cell)].dist
        if int(here * inverse) != level:
            continue  # it was reached more cheaply, and dealt with, before
        if cells[At(cell)].came != _SOURCE:
            owner[At(cell)] = owner[At(cell + go[cells[At(cell)].came])]
        own_cost = np.float64(cells[At(cell)].cost)
        flag = cells[At(cell)].flags
        for d in range(8):
            there = cell + go[d]
            old = cells[At(there)].dist
            if old <= here:
                continue  # settled: spares a look at its cost
            price = (straight if d & 2 == 0 else diagonal) * (
                own_cost + np.float64(cells[At(there)].cost)
            )
            if flag and (flag >> d) & 1:
                price = _step(cell, there, d, cells, half, key, extra)
            new = here + price
            if new > old or not new <= limit:
                continue
            back = (d + 4) & 7
            if new == old:
                # Of ways that cost the same the lower source counts, then the lower direction.
                other = cells[At(there)].came
                rival = owner[At(there + go[other])]
                if owner[At(cell)] < rival or (owner[At(cell)] == rival and back < other):
                    cells[At(there)].came = back
                continue
            cells[At(there)].dist = new
            cells[At(there)].came = back
            if free >= 0:
                entry = free
                free = int(after[At(entry)])
            else:
                entry = used
                used += 1
            slot = At(int(new * inverse) & mask)
            item[At(entry)] = there
            after[At(entry)] = head[slot]
            head[slot] = entry
            waiting += 1
    state[0], state[1], state[2], state[3] = free, used, waiting, level
    return bool(waiting == 0)


@kernel
def grow_buckets(
    cells: Records, owner: Cells,
    key: Ints, extra: Floats, offset: Ints, half: Floats,
    width: float, count: int, limit: float,
) -> None:  # fmt: skip
    """Grow in place; `count` buckets (a power of two) of `width` cost metres."""
    seeds = _seeds(cells, owner, offset)
    size = len(seeds) + _POOL
    item = np.empty(size, np.int32)
    after = np.empty(size, np.int32)
    head = np.full(count, -1, np.int32)
    for entry in range(len(seeds)):
        item[entry] = seeds[entry]
        after[entry] = head[0]
        head[0] = entry
    state = np.array([-1, len(seeds), len(seeds), 0])
    # The lists grow out here: inside the loop they must stand still to be quick.
    while not _pour(
        cells, owner, key, extra, offset, half, width, limit,
        head, item, after, state,
    ):  # fmt: skip
        item = np.concatenate((item, np.empty_like(item)))
        after = np.concatenate((after, np.empty_like(after)))


@kernel
def grow_heap(  # noqa: C901, PLR0912, PLR0915 - as grow_buckets
    cells: Records, owner: Cells,
    key: Ints, extra: Floats, offset: Ints, half: Floats, limit: float,
) -> None:  # fmt: skip
    """Grow in place with a binary heap, for costs of any range."""
    heap = np.empty(_POOL, np.float64)
    item = np.empty(_POOL, np.int32)
    size = 0
    for seed in range(len(cells)):
        if cells[seed].came == _SOURCE and _on_rim(seed, cells, owner, offset):
            if size == len(heap):
                heap = np.concatenate((heap, np.empty_like(heap)))
                item = np.concatenate((item, np.empty_like(item)))
            heap[size] = 0.0
            item[size] = seed
            size += 1
    while size > 0:
        here = heap[0]
        cell = int(item[0])
        size -= 1
        last, last_item = heap[size], item[size]
        at = 0
        while True:
            child = 2 * at + 1
            if child >= size:
                break
            if child + 1 < size and heap[child + 1] < heap[child]:
                child += 1
            if heap[child] >= last:
                break
            heap[at] = heap[child]
            item[at] = item[child]
            at = child
        heap[at] = last
        item[at] = last_item
        source = cells[cell].came == _SOURCE
        if not (source or cells[cell].came == _UNREACHED):
            continue
        first = _NONE
        back = 0
        for d in range(8):
            there = cell + offset[d]
            old = cells[there].dist
            price = _step(cell, there, d, cells, half, key, extra)
            if old < here:
                if old + price == here and owner[there] < first:
                    first = owner[there]
                    back = d
                continue
            new = here + price
            if new < old and new <= limit:
                cells[there].dist = new
                if size == len(heap):
                    heap = np.concatenate((heap, np.empty_like(heap)))
                    item = np.concatenate((item, np.empty_like(item)))
                at = size
                size += 1
                while at > 0 and heap[(at - 1) // 2] > new:
                    heap[at] = heap[(at - 1) // 2]
                    item[at] = item[(at - 1) // 2]
                    at = (at - 1) // 2
                heap[at] = new
                item[at] = there
        if not source:
            owner[cell] = first
            cells[cell].came = back


@kernel
def touching(
    cells: Records, owner: Cells,
    key: Ints, extra: Floats, offset: Ints, half: Floats,
) -> tuple[Ints, Bytes, Floats]:  # fmt: skip
    """Steps between two territories: first cell, direction 0-3, cost from source to source."""
    size = _POOL
    first = np.empty(size, np.int64)
    directions = np.empty(size, np.uint8)
    totals = np.empty(size, np.float64)
    found = 0
    for cell in range(len(cells)):
        own = owner[cell]
        if own == 0:
            continue
        for d in range(4):
            there = cell + offset[d]
            if owner[there] == own or owner[there] == 0:
                continue
            total = (
                cells[cell].dist
                + _step(cell, there, d, cells, half, key, extra)
                + cells[there].dist
            )
            if not total < np.inf:
                continue
            if found == size:
                size *= 2
                first = np.concatenate((first, np.empty_like(first)))
                directions = np.concatenate((directions, np.empty_like(directions)))
                totals = np.concatenate((totals, np.empty_like(totals)))
            first[found] = cell
            directions[found] = d
            totals[found] = total
            found += 1
    return first[:found].copy(), directions[:found].copy(), totals[:found].copy()


@kernel
def trace(start: Ints, came: Bytes, offset: Ints) -> tuple[Ints, Ints]:
    """Cells on the way from each start back to its source, start first; and where each begins."""
    ends = np.zeros(len(start) + 1, np.int64)
    for way in range(len(start)):
        cell = start[way]
        count = 1
        while came[cell] != _SOURCE:
            cell += offset[came[cell]]
            count += 1
        ends[way + 1] = ends[way] + count
    cells = np.empty(ends[-1], np.int64)
    for way in range(len(start)):
        cell = start[way]
        at = ends[way]
        cells[at] = cell
        while came[cell] != _SOURCE:
            cell += offset[came[cell]]
            at += 1
            cells[at] = cell
    return cells, ends
