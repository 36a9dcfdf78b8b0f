"""The same least-cost growth without a compiler: scipy's shortest paths, ties put in order."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

__all__ = ["grow_plain", "touching_plain", "trace_plain"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Grid32 = NDArray[np.float32]
Cells = NDArray[np.int32]
Bytes = NDArray[np.uint8]

_SOURCE = 8


def steps_of(
    cost: Grid32, key: Ints, extra: Floats, offset: Ints, half: Floats
) -> Iterator[tuple[int, Ints, Ints, Floats]]:
    """Steps that can be taken, by direction 0-3: direction, first cell, second cell, cost."""
    open_ = np.isfinite(cost)
    inner = np.flatnonzero(open_)
    for d in range(4):
        cell = inner[open_[inner + offset[d]]]
        there = cell + offset[d]
        price = half[d] * (cost[cell].astype(np.float64) + cost[there])
        at = np.searchsorted(key, cell * 4 + d)
        if len(key):
            hit = key[np.minimum(at, len(key) - 1)] == cell * 4 + d
            price[hit] += extra[at[hit]]
        keep = np.isfinite(price)
        yield d, cell[keep], there[keep], price[keep]


def grow_plain(
    cost: Grid32, dist: Floats, owner: Cells, came: Bytes,
    key: Ints, extra: Floats, offset: Ints, half: Floats, limit: float,
) -> None:  # fmt: skip
    """Grow in place: the costs first, then from where each cell was reached.

    Parameters
    ----------
    cost
        Shape (cells,): cost per metre.
    dist
        Shape (cells,), cost metres: written.
    owner
        Shape (cells,): label of the source, 0 none; written.
    came
        Shape (cells,): direction it was reached from, 8 in a source; written.
    key, extra
        Shape (b,): steps with a barrier (cell x 4 + direction 0-3, sorted) and what it costs,
        cost metres (inf: closed).
    offset
        Shape (8,): from a cell's number to that of its neighbour in each direction.
    half
        Shape (8,), metres: half the distance to it.
    limit
        Cost metres beyond which nothing is looked for.
    """
    source = came == _SOURCE
    sources = np.flatnonzero(source)
    if not len(sources):
        return
    steps = list(steps_of(cost, key, extra, offset, half))
    first, second, price = (np.concatenate([step[part] for step in steps]) for part in (1, 2, 3))
    between = ~(source[first] & source[second])  # inside a source moving is free
    first, second, price = first[between], second[between], price[between]
    graph = coo_array(
        (np.r_[price, price], (np.r_[first, second], np.r_[second, first])),
        shape=(len(cost), len(cost)),
    ).tocsr()
    dist[:] = dijkstra(graph, indices=sources, min_only=True, limit=limit)
    tight = np.zeros((8, len(cost)), np.bool_)
    for d, cell, there, price in steps:
        for to, back, direction in ((there, cell, d + 4), (cell, there, d)):
            new = dist[back] + price
            hit = (new == dist[to]) & np.isfinite(new) & ~source[to]
            tight[direction][to[hit]] = True
    _settle_ties(tight, dist, owner, came, offset)


def _settle_ties(
    tight: NDArray[np.bool_], dist: Floats, owner: Cells, came: Bytes, offset: Ints
) -> None:
    """Of several ways that cost the same take the lowest source, then the lowest direction.

    Choosing changes owners downstream, so it is repeated until nothing changes; owners only
    ever fall, so it ends.
    """
    reached = np.flatnonzero(np.isfinite(dist) & (came != _SOURCE))
    choices = tight[:, reached]
    direction = choices.argmax(axis=0)
    label = owner.copy()
    while True:
        came[reached] = direction
        owner[:] = _owners(label, reached, reached + offset[direction], len(dist))
        rivals = np.where(choices, owner[reached + offset[:, None]], np.iinfo(np.int32).max)
        better = rivals.argmin(axis=0)
        if (better == direction).all():
            return
        direction = better


def _owners(label: Cells, reached: Ints, before: Ints, size: int) -> Cells:
    """Owner of every cell, by following where it came from, twice as far each time."""
    to = np.arange(size)
    to[reached] = before
    while True:
        further = to[to]
        if (further == to).all():
            return label[to]
        to = further


def touching_plain(
    cost: Grid32, dist: Floats, owner: Cells,
    key: Ints, extra: Floats, offset: Ints, half: Floats,
) -> tuple[Ints, Bytes, Floats]:  # fmt: skip
    """Steps between two territories: first cell, direction 0-3, cost from source to source.

    Parameters
    ----------
    cost, dist, owner, key, extra, offset, half
        Shapes and units as in `grow_plain`, after the growth.

    Returns
    -------
    cell, direction, cost
        Shape (steps,) each, sorted by cell; costs in cost metres.
    """
    found = []
    for d, cell, there, price in steps_of(cost, key, extra, offset, half):
        between = (owner[cell] > 0) & (owner[there] > 0) & (owner[cell] != owner[there])
        total = dist[cell[between]] + price[between] + dist[there[between]]
        found.append((cell[between], np.full(len(total), d, np.uint8), total))
    cells, directions, totals = (np.concatenate(part) for part in zip(*found, strict=True))
    order = np.lexsort((directions, cells))
    return cells[order], directions[order], totals[order]


def trace_plain(start: Ints, came: Bytes, offset: Ints) -> tuple[Ints, Ints]:
    """Cells on the way from each start back to its source, start first; where each begins.

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
    ways = []
    for first in start:
        cell = int(first)
        way = [cell]
        while came[cell] != _SOURCE:
            cell += int(offset[came[cell]])
            way.append(cell)
        ways.append(way)
    ends = np.cumsum([0, *map(len, ways)])
    return np.array([cell for way in ways for cell in way], np.int64), ends.astype(np.int64)
