"""The same least-cost growth without a compiler: scipy's shortest paths, ties put in order."""

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

__all__ = ["grow_plain", "touching_plain", "trace_plain"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Grid32 = NDArray[np.float32]
Cells = NDArray[np.int32]
Bytes = NDArray[np.uint8]
Flags = NDArray[np.bool_]

_SOURCE = 8


def _prices(
    cell: Ints, place: Cells, cost: Grid32, key: Ints, extra: Floats, offset: Ints, half: Floats
) -> Floats:
    """What the step from each cell in each direction costs; inf where it is closed.

    Parameters
    ----------
    cell
        Shape (m,): numbers of cells, none of them on the border.
    place
        Shape (cells,): where among `cell` each one is, -1 nowhere.
    cost, key, extra, offset, half
        As in `grow_plain`.

    Returns
    -------
    array
        Shape (8, m), cost metres.
    """
    prices = np.empty((8, len(cell)))
    own = cost[cell].astype(np.float64)
    for d, step in enumerate(offset.tolist()):
        np.add(own, cost[cell + step], out=prices[d])
        prices[d] *= half[d]
    first, direction = np.divmod(key, 4)
    for back in (0, 4):
        at = place[first + offset[direction] if back else first]
        there = np.flatnonzero(at >= 0)
        prices[direction[there] + back, at[there]] += extra[there]
    return prices


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
    taking_part = np.isfinite(cost)
    # From the inside of a source no step leads out of it.
    taking_part[sources[source[sources + offset[:, None]].all(axis=0)]] = False
    cell = np.flatnonzero(taking_part)
    place = np.full(len(cost), -1, np.int32)
    place[cell] = np.arange(len(cell), dtype=np.int32)
    prices = _prices(cell, place, cost, key, extra, offset, half)
    at_rim = np.flatnonzero(source[cell])
    dist[cell] = dijkstra(
        _graph(prices, cell, place, offset), indices=at_rim, min_only=True, limit=limit
    )
    reached = np.flatnonzero(np.isfinite(dist[cell]) & ~source[cell])
    before = cell[reached] + offset[:, None]
    choices = dist[before] + prices[:, reached] == dist[cell[reached]]
    _settle_ties(choices, place, cell, reached, owner, came, offset)


def _graph(prices: Floats, cell: Ints, place: Cells, offset: Ints) -> "csr_array":
    """Return the open steps as a graph of places; its columns ascend in every row."""
    order = np.argsort(offset)
    to = np.empty((len(cell), 8), np.int32)
    price = np.empty((len(cell), 8))
    for column, d in enumerate(order.tolist()):
        to[:, column] = place[cell + offset[d]]
        price[:, column] = prices[d]
    open_ = np.isfinite(price)
    open_ &= to >= 0
    start = np.zeros(len(cell) + 1, np.int32)
    np.cumsum(open_.sum(axis=1), out=start[1:])
    return csr_array((price[open_], to[open_], start), shape=(len(cell), len(cell)))


def _settle_ties(
    choices: Flags, place: Cells, cell: Ints, reached: Ints,
    owner: Cells, came: Bytes, offset: Ints,
) -> None:  # fmt: skip
    """Of several ways that cost the same take the lowest source, then the lowest direction.

    Choosing changes owners downstream, so it is repeated until nothing changes; owners only
    ever fall, so it ends.

    Parameters
    ----------
    choices
        Shape (8, reached): whether a cheapest way comes from there.
    place, cell
        As in `_prices`.
    reached
        Places among `cell` of those that were reached.
    owner, came, offset
        As in `grow_plain`.
    """
    direction = choices.argmax(axis=0)
    label = owner[cell]
    sources = label[label > 0]
    while True:
        came[cell[reached]] = direction
        if not len(sources) or sources.min() == sources.max():
            owner[cell[reached]] = sources[:1]  # there is nobody else
            return
        owner[cell] = _owners(label, reached, place[cell[reached] + offset[direction]])
        rivals = np.where(choices, owner[cell[reached] + offset[:, None]], np.iinfo(np.int32).max)
        better = rivals.argmin(axis=0)
        if (better == direction).all():
            return
        direction = better


def _owners(label: Cells, reached: Ints, before: Cells) -> Cells:
    """Owner of every place, by following where it came from, twice as far each time."""
    to = np.arange(len(label), dtype=np.int32)
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
    owned = np.flatnonzero(owner)
    other = owner[owned + offset[:4, None]]
    own = owner[owned]
    border = (other > 0) & (other != own)
    cell = owned[border.any(axis=0)]
    place = np.full(len(cost), -1, np.int32)
    place[cell] = np.arange(len(cell), dtype=np.int32)
    prices = _prices(cell, place, cost, key, extra, offset, half)
    number, direction = np.nonzero(border[:, place[owned] >= 0].T & np.isfinite(prices[:4].T))
    first = cell[number]
    total = dist[first] + prices[direction, number] + dist[first + offset[direction]]
    return first, direction.astype(np.uint8), total


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
