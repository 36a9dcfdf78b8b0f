"""Compiled edge-to-edge distances: a grid of bounding boxes, then segment against segment."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.core.compiled import in_threads, kernel

__all__ = ["Lengths", "blocks"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
At = np.uint64  # a place in an array; unsigned, so that no look is taken at negative places

_BLOCK = 512


class _Outlines(NamedTuple):
    """Segments of all rings, one row each; a ring's vertices are its segments' starts."""

    start: Ints  # (n + 1,): segments of polygon g are start[g]:start[g + 1]
    x: Floats
    y: Floats
    dx: Floats
    dy: Floats
    inverse: Floats  # 1 / length^2, 0 for a repeated vertex
    shell_start: Ints  # (n + 1,)
    shell: Ints  # first segment of each outer ring
    box: Floats  # (n, 4): west, south, east, north


class _Grid(NamedTuple):
    """Which bounding boxes touch which cell of a square grid."""

    cell: float
    columns: int
    rows: int
    start: Ints  # (cells + 1,)
    member: NDArray[np.int32]


def blocks(
    shapes: NDArray[np.object_], reach: float, sources: int
) -> Iterator[tuple[Ints, Ints, Floats]]:
    """Pairs i < j sorted by (i, j) with their distance, a block of sources at a time.

    Parameters
    ----------
    shapes
        Shape (n,): polygons, metres.
    reach
        Longest distance wanted, metres.
    sources
        Only the pairs of which i is one of so many first.

    Yields
    ------
    i, j
        Shape (block,): positions of the two.
    metres
        Shape (block,): from edge to edge.
    """
    outlines = _outlines(shapes)
    grid = _grid(outlines.box, reach)

    def work(first: int) -> tuple[Ints, Ints, Floats]:
        last = min(first + _BLOCK, sources)
        ends = np.zeros(last - first + 1, dtype=np.int64)
        np.cumsum(_count(first, last, reach, outlines.box, grid), out=ends[1:])
        j = np.empty(ends[-1], dtype=np.int64)
        metres = np.empty(ends[-1])
        _fill(first, last, reach, outlines, grid, ends, j, metres)
        i = np.repeat(np.arange(first, last), np.diff(ends))
        return i, j, metres

    yield from in_threads(work, range(0, sources, _BLOCK))


class Lengths:
    """Distances of chosen pairs of some polygons.

    Parameters
    ----------
    shapes
        Shape (n,): polygons, metres.
    """

    def __init__(self, shapes: NDArray[np.object_]) -> None:
        self._outlines = _outlines(shapes)

    def metres(self, i: Ints, j: Ints) -> Floats:
        """Shape (k,): metres from edge to edge of the polygons i and j, shape (k,) each."""
        found = np.empty(len(i))
        _fill_lengths(i, j, self._outlines, found)
        return found


def _outlines(shapes: NDArray[np.object_]) -> _Outlines:
    # An offset near the data keeps squares of coordinates small, so that no digit is lost.
    box = shapely.bounds(shapes)
    corner = box[:, :2].min(axis=0)
    _, points, offsets = shapely.to_ragged_array(shapes, include_z=False)
    ring, polygon = (np.asarray(offset, dtype=np.int64) for offset in offsets[:2])
    part = (
        np.asarray(offsets[2], dtype=np.int64) if len(offsets) == 3 else np.arange(len(shapes) + 1)
    )
    points = points - corner
    closing = np.zeros(len(points), dtype=bool)
    closing[ring[1:] - 1] = True  # the repeated last point of a ring starts no segment
    before = np.r_[0, np.cumsum(~closing)]  # segments before each point
    delta = np.diff(points, axis=0, append=points[-1:])[~closing]
    begin = points[~closing]
    square = (delta**2).sum(axis=1)
    return _Outlines(
        start=before[ring[polygon[part]]],
        x=np.ascontiguousarray(begin[:, 0]),
        y=np.ascontiguousarray(begin[:, 1]),
        dx=np.ascontiguousarray(delta[:, 0]),
        dy=np.ascontiguousarray(delta[:, 1]),
        inverse=np.divide(1.0, square, out=np.zeros_like(square), where=square > 0),
        shell_start=part,
        shell=before[ring[polygon[:-1]]],
        box=np.ascontiguousarray(box - np.r_[corner, corner]),
    )


def _grid(box: Floats, reach: float) -> _Grid:
    width, height = box[:, 2].max(), box[:, 3].max()
    extent = np.mean(np.maximum(box[:, 2] - box[:, 0], box[:, 3] - box[:, 1]))
    most = 4 * len(box)  # about so many cells, however far apart the plots lie
    cell = float(max(reach / 2, extent, np.sqrt(width * height / most), max(width, height) / most))
    columns, rows = int(width / cell) + 1, int(height / cell) + 1
    span = np.floor(box / cell).astype(np.int64)
    start = np.zeros(columns * rows + 1, dtype=np.int64)
    _count_members(span, columns, start)
    np.cumsum(start, out=start)
    member = np.empty(start[-1], dtype=np.int32)
    _fill_members(span, columns, start.copy(), member)
    return _Grid(cell, columns, rows, start, member)


@kernel
def _count_members(span: Ints, columns: int, start: Ints) -> None:
    for g in range(len(span)):
        for row in range(span[g, 1], span[g, 3] + 1):
            for column in range(span[g, 0], span[g, 2] + 1):
                start[row * columns + column + 1] += 1


@kernel
def _fill_members(span: Ints, columns: int, at: Ints, member: NDArray[np.int32]) -> None:
    for g in range(len(span)):
        for row in range(span[g, 1], span[g, 3] + 1):
            for column in range(span[g, 0], span[g, 2] + 1):
                here = row * columns + column
                member[at[here]] = g
                at[here] += 1


@kernel
def _near(i: int, reach: float, box: Floats, grid: _Grid, out: Ints) -> int:
    """Write the later plots whose box lies within reach of box i to `out`; return how many."""
    west, south = box[i, 0] - reach, box[i, 1] - reach
    east, north = box[i, 2] + reach, box[i, 3] + reach
    first_column = max(0, int(np.floor(west / grid.cell)))
    last_column = min(grid.columns - 1, int(np.floor(east / grid.cell)))
    first_row = max(0, int(np.floor(south / grid.cell)))
    last_row = min(grid.rows - 1, int(np.floor(north / grid.cell)))
    found = 0
    for row in range(first_row, last_row + 1):
        for column in range(first_column, last_column + 1):
            here = row * grid.columns + column
            for at in range(grid.start[here], grid.start[here + 1]):
                j = grid.member[at]
                if j <= i:
                    continue
                if box[j, 0] > east or box[j, 2] < west or box[j, 1] > north or box[j, 3] < south:
                    continue
                # A box in several cells is taken in one only: where the overlap begins.
                if max(first_column, int(np.floor(box[j, 0] / grid.cell))) != column:
                    continue
                if max(first_row, int(np.floor(box[j, 1] / grid.cell))) != row:
                    continue
                across = max(0.0, box[j, 0] - box[i, 2], box[i, 0] - box[j, 2])
                along = max(0.0, box[j, 1] - box[i, 3], box[i, 1] - box[j, 3])
                if across * across + along * along <= reach * reach:
                    if len(out) > 0:
                        out[found] = j
                    found += 1
    return found


@kernel
def _count(first: int, last: int, reach: float, box: Floats, grid: _Grid) -> Ints:
    count = np.zeros(last - first, dtype=np.int64)
    nothing = np.empty(0, dtype=np.int64)
    for i in range(first, last):
        count[i - first] = _near(i, reach, box, grid, nothing)
    return count


@kernel
def _fill(
    first: int,
    last: int,
    reach: float,
    outlines: _Outlines,
    grid: _Grid,
    ends: Ints,
    out_j: Ints,
    out_metres: Floats,
) -> None:
    # Taken apart once: handing a tuple of arrays on costs more than a whole distance.
    box, start, inverse = outlines.box, outlines.start, outlines.inverse
    x, y, dx, dy = outlines.x, outlines.y, outlines.dx, outlines.dy
    shell_start, shell = outlines.shell_start, outlines.shell
    for i in range(first, last):
        begin, end = ends[i - first], ends[i - first + 1]
        if begin == end:
            continue
        row = out_j[begin:end]
        _near(i, reach, box, grid, row)
        row.sort()
        for at in range(begin, end):
            out_metres[at] = _apart(
                i, out_j[at], box, start, inverse, x, y, dx, dy, shell_start, shell
            )


@kernel
def _fill_lengths(i: Ints, j: Ints, outlines: _Outlines, out_metres: Floats) -> None:
    box, start, inverse = outlines.box, outlines.start, outlines.inverse
    x, y, dx, dy = outlines.x, outlines.y, outlines.dx, outlines.dy
    shell_start, shell = outlines.shell_start, outlines.shell
    for at in range(len(i)):
        out_metres[at] = _apart(i[at], j[at], box, start, inverse, x, y, dx, dy, shell_start, shell)


@kernel
def _apart(
    i: int,
    j: int,
    box: Floats,
    start: Ints,
    inverse: Floats,
    x: Floats,
    y: Floats,
    dx: Floats,
    dy: Floats,
    shell_start: Ints,
    shell: Ints,
) -> float:
    """Metres from edge to edge; 0 where they overlap or one lies in the other."""
    a0, a1 = np.uint64(start[i]), np.uint64(start[i + 1])
    b0, b1 = np.uint64(start[j]), np.uint64(start[j + 1])
    if (
        box[i, 0] <= box[j, 2]
        and box[j, 0] <= box[i, 2]
        and box[i, 1] <= box[j, 3]
        and box[j, 1] <= box[i, 3]
        and (
            _cross(a0, a1, b0, b1, x, y, dx, dy)
            or _holds(a0, a1, shell[shell_start[j] : shell_start[j + 1]], x, y, dx, dy)
            or _holds(b0, b1, shell[shell_start[i] : shell_start[i + 1]], x, y, dx, dy)
        )
    ):
        return 0.0
    square = _to_segments(a0, a1, b0, b1, x, y, dx, dy, inverse, box[j], np.inf)
    square = _to_segments(b0, b1, a0, a1, x, y, dx, dy, inverse, box[i], square)
    return float(np.sqrt(square))


@kernel
def _to_segments(
    a0: At,
    a1: At,
    b0: At,
    b1: At,
    x: Floats,
    y: Floats,
    dx: Floats,
    dy: Floats,
    inverse: Floats,
    box: Floats,
    best: float,
) -> float:
    """Least squared distance from a vertex of a to a segment of b, or `best` if that is less.

    `box` is the bounding box of b. Plain comparisons, as min() and max() also look for NaN.
    """
    west, south, east, north = box[0], box[1], box[2], box[3]
    for vertex in range(a0, a1):
        px, py = x[vertex], y[vertex]
        across = west - px if px < west else (px - east if px > east else 0.0)
        along = south - py if py < south else (py - north if py > north else 0.0)
        if across * across + along * along >= best:
            continue
        for s in range(b0, b1):
            rx, ry = px - x[s], py - y[s]
            share = (rx * dx[s] + ry * dy[s]) * inverse[s]
            share = 0.0 if share < 0.0 else (1.0 if share > 1.0 else share)  # noqa: FURB136 - see above
            rx -= share * dx[s]
            ry -= share * dy[s]
            square = rx * rx + ry * ry
            best = square if square < best else best  # noqa: FURB136 - see above
    return best


@kernel
def _cross(a0: At, a1: At, b0: At, b1: At, x: Floats, y: Floats, dx: Floats, dy: Floats) -> bool:
    """Whether an edge of a passes right through an edge of b."""
    for s in range(a0, a1):
        for t in range(b0, b1):
            rx, ry = x[t] - x[s], y[t] - y[s]
            before = dx[s] * ry - dy[s] * rx
            after = dx[s] * (ry + dy[t]) - dy[s] * (rx + dx[t])
            if before * after >= 0:
                continue
            before = dy[t] * rx - dx[t] * ry
            after = dx[t] * (dy[s] - ry) - dy[t] * (dx[s] - rx)
            if before * after < 0:
                return True
    return False


@kernel
def _holds(a0: At, a1: At, parts: Ints, x: Floats, y: Floats, dx: Floats, dy: Floats) -> bool:
    """Whether a part, none of whose edges cross those of a, lies inside a (no hole of it)."""
    for part in parts:
        px, py = x[part], y[part]
        inside = False
        for s in range(a0, a1):
            if (y[s] > py) != (y[s] + dy[s] > py) and px < x[s] + (py - y[s]) / dy[s] * dx[s]:
                inside = not inside
        if inside:
            return True
    return False
