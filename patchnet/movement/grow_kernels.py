"""Compiled least-cost growth over a padded grid: in buckets, or a heap for costs of any range.

Every bucket is narrower than the cheapest step, so that a cell taken from the lowest bucket can
no longer be improved by another cell of the same bucket: the result is exact, to the last bit.
For the same reason nothing is added to a bucket that is being emptied, so the cells that come
next are known and can be fetched in time; waiting for them would be half of the work.
Cells are numbered over the padded grid, whose border is closed, so no step leaves it.
"""

from collections.abc import Callable
from typing import Any, cast

import numpy as np
from llvmlite import ir
from numba.core import types
from numba.extending import intrinsic
from numpy.typing import NDArray

from patchnet.core.compiled import kernel, kernel_part
from patchnet.movement.barrier_steps import DIRECTIONS

__all__ = ["grow_buckets", "grow_heap", "grow_on", "touching", "trace"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Cells = NDArray[np.int32]
Bytes = NDArray[np.uint8]
Records = Any  # cells as `CELL`; numba reads their fields as attributes, which numpy does not
At = np.uint64

_SOURCE = 8  # where a cell came from, if it is a source
_UNREACHED = 255
_NONE = np.iinfo(np.int32).max
_TO_READ, _KEEP, _DATA = 0, 3, 1  # LLVM language reference, llvm.prefetch
_INT = ir.IntType(32)
_POINTER = ir.IntType(8).as_pointer()


def _fetch(_typing: Any, array: Any, at: Any) -> Any:  # noqa: ANN401 - types of a compiler
    """Ask the processor for a cell before it is needed: a hint that changes no result."""

    def generate(context: Any, builder: Any, signature: Any, values: Any) -> Any:  # noqa: ANN401
        kind = signature.args[0]
        data = context.make_array(kind)(context, builder, values[0]).data
        place = builder.bitcast(builder.gep(data, [values[1]]), _POINTER)
        hint = builder.module.declare_intrinsic(
            "llvm.prefetch", [_POINTER], ir.FunctionType(ir.VoidType(), [_POINTER, *[_INT] * 3])
        )
        builder.call(hint, [place, _INT(_TO_READ), _INT(_KEEP), _INT(_DATA)])
        return context.get_dummy_value()

    return types.void(array, at), generate


fetch = cast(Callable[[Any, Any], None], intrinsic(_fetch))
"""``fetch(array, at)`` asks for ``array[at]`` of a contiguous array of one dimension.

The place is not checked; one outside the array is no error, and brings nothing.
"""
_POOL = 1 << 16
_ONWARD = 5
_SOON = 16  # steps between asking for a cell and looking at it


def _onward() -> Bytes:
    """Directions worth a look from a cell, by the direction that it was reached from.

    The neighbours less than a right angle from there are neighbours of the cell before, too, and
    nearer from it, by 1.2 times this cell's cost times its side at least: far more than rounding
    can do. Row 8 is for sources. Always from one side to the other, as the processor learns
    which of them are worth it.
    """
    around = np.argsort([np.arctan2(down, right) for down, right in DIRECTIONS])
    onward = np.zeros((_SOURCE + 1, 8), np.uint8)
    for at, back in enumerate(around):
        onward[back, :_ONWARD] = np.roll(around, -at - 2)[:_ONWARD]
    onward[_SOURCE] = np.arange(8)
    return onward


_DIRECTIONS = _onward()


@kernel_part
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


@kernel_part
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


@kernel_part
def _on_rim(cell: int, cells: Records, owner: Cells, offset: Ints) -> bool:
    for d in range(8):
        there = cell + offset[d]
        if owner[there] == 0 and cells[there].cost < np.inf:
            return True
    return False


@kernel_part
def _seeds(cells: Records, owner: Cells, offset: Ints) -> Ints:
    """Cells of sources from which a step leads out; `owner` as it is before the growth."""
    count = 0
    for cell in range(len(cells)):
        if owner[cell] > 0 and _on_rim(cell, cells, owner, offset):
            count += 1
    seeds = np.empty(count, np.int64)
    count = 0
    for cell in range(len(cells)):
        if owner[cell] > 0 and _on_rim(cell, cells, owner, offset):
            seeds[count] = cell
            count += 1
    return seeds


@kernel_part
def _pour(  # noqa: C901, PLR0912, PLR0915 - calls inside this loop cost more than a step
    cells: Records, owner: Cells,
    key: Ints, extra: Floats, offset: Ints, half: Floats, go: Ints, weight: Floats, onward: Bytes,
    width: float, limit: float, head: Cells, pool: Cells, state: Ints,
    again: bool,  # noqa: FBT001 - kernels are called by position
) -> bool:  # fmt: skip
    """Empty bucket after bucket; return False where the entries no longer fit.

    `again`: the cells were grown before, so that what is reached need not wait anywhere; and
    where only the source has changed that is handed on.

    Buckets are linked lists of entries: `head` the first of each, `pool` the cell of an entry
    and the entry behind it; `state` is the first free entry, the number used so far, the number
    waiting and the present level. `onward` is `_DIRECTIONS`; `go` and `weight` are `offset` and
    `half` in that order.
    Places in arrays are unsigned, so that no look is taken at negative ones.
    """
    columns = offset[1]
    free, used, waiting, level = state[0], state[1], state[2], state[3]
    inverse = 1.0 / width
    mask = len(head) - 1
    size = len(pool)
    while waiting > 0 and used + 8 <= size:
        slot = At(level & mask)
        entry = int(head[slot])
        if entry < 0:
            level += 1
            continue
        cell = int(pool[At(entry), 0])
        behind = int(pool[At(entry), 1])
        head[slot] = behind
        pool[At(entry), 1] = free
        free = entry
        waiting -= 1
        if behind >= 0:
            fetch(owner, At(pool[At(behind), 0]))
            behind = int(pool[At(behind), 1])
            if behind >= 0:
                coming = int(pool[At(behind), 0])
                fetch(cells, At(coming - columns))
                fetch(cells, At(coming))
                fetch(cells, At(coming + columns))
        here = cells[At(cell)].dist
        if int(here * inverse) != level:
            continue  # it was reached more cheaply, and dealt with, before
        cells[At(cell)].waits = 0
        turn = int(cells[At(cell)].came)
        count = 8
        if turn == _SOURCE:
            own = owner[At(cell)]
        else:
            before = At(cell + offset[At(turn)])
            own = owner[before]
            owner[At(cell)] = own
            if cells[before].flags:
                turn = _SOURCE  # barriers: the cell before may not have reached the neighbours
            else:
                count = _ONWARD
        own_cost = np.float64(cells[At(cell)].cost)
        flag = cells[At(cell)].flags
        for k in range(count):
            there = cell + go[At(turn), At(k)]
            old = cells[At(there)].dist
            price = weight[At(turn), At(k)] * (own_cost + np.float64(cells[At(there)].cost))
            d = int(onward[At(turn), At(k)])
            if flag and (flag >> d) & 1:
                price = _step(cell, there, d, cells, half, key, extra)
            new = here + price
            # One branch: which of these fails cannot be foretold. (Inside a source price is 0.)
            if not ((new <= old) & (new <= limit) & (old > here)):
                continue
            back = (d + 4) & 7
            if new == old:
                # Of ways that cost the same the lower source counts, then the lower direction.
                other = cells[At(there)].came
                rival = owner[At(there + offset[At(other)])]
                better = own < rival or (own == rival and back < other)
                if better:
                    cells[At(there)].came = back
                if not again or not (better or (other == back and owner[At(there)] != own)):
                    continue
            cells[At(there)].dist = new
            cells[At(there)].came = back
            place = int(new * inverse)
            waits = not again or cells[At(there)].waits
            if waits and old < np.inf and int(old * inverse) == place:
                continue  # it waits there already
            cells[At(there)].waits = 1
            if free >= 0:
                entry = free
                free = int(pool[At(entry), 1])
            else:
                entry = used
                used += 1
            slot = At(place & mask)
            pool[At(entry), 0] = there
            pool[At(entry), 1] = head[slot]
            head[slot] = entry
            waiting += 1
    state[0], state[1], state[2], state[3] = free, used, waiting, level
    return bool(waiting == 0)


@kernel_part
def _poured(
    cells: Records, owner: Cells,
    key: Ints, extra: Floats, offset: Ints, half: Floats,
    width: float, count: int, limit: float, seeds: Ints,
    again: bool,  # noqa: FBT001 - as above
) -> None:  # fmt: skip
    """Put the seeds into their buckets and empty all of these."""
    onward = _DIRECTIONS.copy()
    go = np.empty(_DIRECTIONS.shape, np.int64)
    weight = np.empty(_DIRECTIONS.shape, np.float64)
    for turn in range(len(_DIRECTIONS)):
        for k in range(8):
            go[turn, k] = offset[_DIRECTIONS[turn, k]]
            weight[turn, k] = half[_DIRECTIONS[turn, k]]
    pool = np.empty((len(seeds) + _POOL, 2), np.int32)
    head = np.full(count, -1, np.int32)
    inverse = 1.0 / width
    lowest = np.inf
    for entry in range(len(seeds)):
        far = cells[seeds[entry]].dist
        lowest = min(lowest, far)
        slot = int(far * inverse) & (count - 1)
        pool[entry, 0] = seeds[entry]
        pool[entry, 1] = head[slot]
        head[slot] = entry
    begin = int(lowest * inverse) if len(seeds) else 0
    state = np.array([-1, len(seeds), len(seeds), begin])
    # The list grows out here: inside the loop it must stand still to be quick.
    while not _pour(
        cells, owner, key, extra, offset, half, go, weight, onward, width, limit,
        head, pool, state, again,
    ):  # fmt: skip
        pool = np.concatenate((pool, np.empty_like(pool)))


@kernel
def grow_buckets(
    cells: Records, owner: Cells,
    key: Ints, extra: Floats, offset: Ints, half: Floats,
    width: float, count: int, limit: float,
) -> None:  # fmt: skip
    """Grow in place; `count` buckets (a power of two) of `width` cost metres.

    Parameters
    ----------
    cells
        Shape (cells,), as `CELL`; distances and directions are written.
    owner
        Shape (cells,): label of the source, 0 none; written.
    key, extra
        Shape (b,): steps with a barrier (cell x 4 + direction 0-3, sorted) and what it costs,
        cost metres (inf: closed).
    offset
        Shape (8,): from a cell's number to that of its neighbour in each direction.
    half
        Shape (8,), metres: half the distance to it.
    width
        Of a bucket, cost metres: less than the cheapest step.
    count
        Buckets, a power of two.
    limit
        Cost metres beyond which nothing is looked for.
    """
    seeds = _seeds(cells, owner, offset)
    _poured(cells, owner, key, extra, offset, half, width, count, limit, seeds, False)


@kernel
def grow_on(
    cells: Records, owner: Cells,
    key: Ints, extra: Floats, offset: Ints, half: Floats,
    width: float, count: int, limit: float, rim: Ints,
) -> None:  # fmt: skip
    """Grow on in place from cells that have their distance, over ground that was grown before.

    Parameters
    ----------
    cells, owner, key, extra, offset, half, width, limit
        As in `grow_buckets`, after it.
    count
        Buckets, a power of two: for all distances up to the limit, since the seeds lie anywhere.
    rim
        Shape (r,), cells: those of them that were reached are the seeds, and so are the reached
        ones among their neighbours.
    """
    seeds = np.empty(9 * len(rim), np.int64)
    found = 0
    for place in range(len(rim)):
        for d in range(9):
            there = rim[place] + (offset[d] if d < 8 else 0)
            if cells[there].dist < np.inf and not cells[there].waits:
                cells[there].waits = 1
                seeds[found] = there
                found += 1
    if found:
        some = seeds[:found].copy()
        _poured(cells, owner, key, extra, offset, half, width, count, limit, some, True)


@kernel
def grow_heap(  # noqa: C901, PLR0912, PLR0915 - as grow_buckets
    cells: Records, owner: Cells,
    key: Ints, extra: Floats, offset: Ints, half: Floats, limit: float,
) -> None:  # fmt: skip
    """Grow in place with a binary heap, for costs of any range.

    Parameters
    ----------
    cells, owner, key, extra, offset, half
        Shapes and units as in `grow_buckets`.
    limit
        Cost metres beyond which nothing is looked for.
    """
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


@kernel_part
def _borders(owner: Cells, offset: Ints) -> tuple[Ints, Bytes]:
    """Neighbours that belong to two sources: first cell, direction 0-3."""
    east, south, south_east, south_west = offset[0], offset[1], offset[2], offset[3]
    end = len(owner) - south_east
    count = 0
    for cell in range(south, end):
        own = owner[At(cell)]
        for other in (
            owner[At(cell + east)], owner[At(cell + south)],
            owner[At(cell + south_east)], owner[At(cell + south_west)],
        ):  # fmt: skip
            count += int((own > 0) & (other > 0) & (own != other))
    first = np.empty(count, np.int64)
    directions = np.empty(count, np.uint8)
    found = 0
    for cell in range(south, end):
        own = owner[At(cell)]
        unlike = own ^ owner[At(cell + east)]
        unlike |= own ^ owner[At(cell + south)]
        unlike |= own ^ owner[At(cell + south_east)]
        unlike |= own ^ owner[At(cell + south_west)]
        if unlike == 0 or own == 0:
            continue  # nearly all of them
        for d in range(4):
            other = owner[At(cell + offset[d])]
            if other > 0 and other != own:
                first[At(found)] = cell
                directions[At(found)] = d
                found += 1
    return first, directions


@kernel
def touching(
    cells: Records, owner: Cells,
    key: Ints, extra: Floats, offset: Ints, half: Floats,
) -> tuple[Ints, Bytes, Floats]:  # fmt: skip
    """Steps between two territories: first cell, direction 0-3, cost from source to source.

    Parameters
    ----------
    cells, owner, key, extra, offset, half
        Shapes and units as in `grow_buckets`, after the growth.

    Returns
    -------
    cell, direction, cost
        Shape (steps,) each, sorted by cell; costs in cost metres.
    """
    first, directions = _borders(owner, offset)
    totals = np.empty(len(first), np.float64)
    kept = 0
    for step in range(len(first)):
        if step + _SOON < len(first):
            coming = first[step + _SOON]
            fetch(cells, At(coming))
            fetch(cells, At(coming + offset[1]))
        cell, d = first[step], directions[step]
        there = cell + offset[d]
        total = (
            cells[cell].dist + _step(cell, there, d, cells, half, key, extra) + cells[there].dist
        )
        first[kept], directions[kept], totals[kept] = cell, d, total
        kept += int(total < np.inf)
    return first[:kept].copy(), directions[:kept].copy(), totals[:kept].copy()


@kernel
def trace(start: Ints, came: Bytes, offset: Ints) -> tuple[Ints, Ints]:
    """Cells on the way from each start back to its source, start first; and where each begins.

    Parameters
    ----------
    start
        Shape (n,): numbers of cells that were reached.
    came
        Shape (cells,): direction that each was reached from, 8 in a source.
    offset
        Shape (8,): from a cell's number to that of its neighbour in each direction.

    Returns
    -------
    cells, ends
        Way w is ``cells[ends[w]:ends[w + 1]]``; shape (n + 1,) of `ends`.
    """
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
