"""Which steps between neighbouring cells cross a barrier, and where a gap lets one through.

A barrier is a line without width and stays one: it is not painted into cells but closes every
step from centre to centre that it crosses, straight or diagonal. So it never leaks between
diagonal cells and never fills the passage beside it. A step crosses a line through one of four
families of grid lines (rows, columns and the two diagonals); each is looked up where the
barrier cuts it, exactly.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["DIRECTIONS", "Crossings", "Segments", "Steps", "crossings", "gather_steps"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DIRECTIONS = ((0, 1), (1, 0), (1, 1), (1, -1), (0, -1), (-1, 0), (-1, -1), (-1, 1))
"""(rows, columns) of the eight steps: east, south, south-east, south-west, then their opposites.
A step is kept under its first four directions only."""

# A barrier drawn exactly through a row of centres would be on neither side of them. It is moved
# by less than a millionth of a cell, by the same for all, along no direction of the grid.
_NUDGE_X, _NUDGE_Y = 6.18034e-7, 3.14159e-7


@dataclass(frozen=True, eq=False)
class Segments:
    """Straight pieces of barriers, n of them.

    Attributes
    ----------
    x0, y0, x1, y1
        Ends, in the coordinates of the ground.
    start
        Metres along the barrier at which the piece begins.
    barrier
        Which barrier it belongs to; -1: the outline of a building.
    """

    x0: Floats
    y0: Floats
    x1: Floats
    y1: Floats
    start: Floats
    barrier: NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Crossings:
    """Every crossing of a step and a barrier, sorted by step, then barrier.

    Attributes
    ----------
    key
        The step: 4 x (number of its first cell) + its direction (0-3).
    barrier
        The barrier, -1 for a building.
    along
        Metres along the barrier.
    """

    key: Ints
    barrier: NDArray[np.int32]
    along: Floats


@dataclass(frozen=True, eq=False)
class Steps:
    """Steps that a barrier makes costlier or closes, m of them.

    Attributes
    ----------
    key
        Shape (m,), sorted: 4 x (number of the first cell) + direction (0-3); cells are
        numbered row by row.
    extra
        Shape (m,): cost metres that crossing adds; inf where it is closed. Of several barriers
        on one step the costliest counts, because a fence is often drawn from both sides.
    opened
        Shape (m,): cost metres that crossing adds if one gap is made there; inf for buildings.
    gap
        Shape (m,): True where a gap is.
    start, barrier
        Barriers on step s are ``barrier[start[s]:start[s + 1]]``, rows of the table of
        barriers; -1 is a building.
    """

    key: Ints
    extra: Floats
    opened: Floats
    gap: NDArray[np.bool_]
    start: Ints
    barrier: NDArray[np.int32]

    @classmethod
    def none(cls) -> "Steps":
        """No barrier anywhere."""
        return gather_steps(
            Crossings(np.empty(0, np.int64), np.empty(0, np.int32), np.empty(0)),
            np.empty(0),
            np.empty(0),
            np.empty(0, np.bool_),
        )

    def flags(self, shape: tuple[int, int]) -> NDArray[np.uint8]:
        """Bit d of a cell is set where its step in direction d is among these, padded by one.

        Shape (rows + 2, columns + 2).
        """
        rows, columns = shape
        flags = np.zeros((rows + 2, columns + 2), np.uint8)
        row, column = np.divmod(self.key // 4, columns)
        direction = self.key % 4
        for at, (down, right) in enumerate(DIRECTIONS[:4]):
            here = direction == at
            r, c = row[here] + 1, column[here] + 1
            flags[r, c] |= np.uint8(1 << at)
            flags[r + down, c + right] |= np.uint8(1 << (at + 4))
        return flags

    def padded_key(self, shape: tuple[int, int]) -> Ints:
        """Keys with cells numbered in a grid that has one more cell on every side."""
        row, column = np.divmod(self.key // 4, shape[1])
        return ((row + 1) * (shape[1] + 2) + column + 1) * 4 + self.key % 4


def crossings(
    segments: Segments, west: float, north: float, cell_m: float, shape: tuple[int, int]
) -> Crossings:
    """Find every step between neighbouring centres that a barrier crosses.

    Parameters
    ----------
    segments
        Pieces of barriers; parts outside the grid cross nothing.
    west, north
        Outer corner of the first cell, metres.
    cell_m, shape
        Side of a cell in metres; rows and columns.
    """
    # In units of cells, with whole numbers at the centres.
    x0, x1 = ((x - west) / cell_m - 0.5 + _NUDGE_X for x in (segments.x0, segments.x1))
    y0, y1 = ((north - y) / cell_m - 0.5 + _NUDGE_Y for y in (segments.y0, segments.y1))
    length = np.hypot(segments.x1 - segments.x0, segments.y1 - segments.y0)
    found = []
    for direction, (from_, to) in enumerate(
        ((y0, y1), (x0, x1), (x0 - y0, x1 - y1), (x0 + y0, x1 + y1))
    ):
        which, line = _lines_cut(from_, to, shape)
        share = (line - from_[which]) / (to - from_)[which]
        x = x0[which] + share * (x1 - x0)[which]
        y = y0[which] + share * (y1 - y0)[which]
        if direction == 0:
            row, column = line, np.floor(x).astype(np.int64)
        elif direction == 1:
            row, column = np.floor(y).astype(np.int64), line
        elif direction == 2:
            column = np.floor(x).astype(np.int64)
            row = column - line
        else:
            column = np.floor(x).astype(np.int64) + 1
            row = line - column
        down, right = DIRECTIONS[direction]
        inside = (row >= 0) & (row + down < shape[0]) & (column >= 0) & (column < shape[1])
        inside &= (column + right >= 0) & (column + right < shape[1])
        key = (row * shape[1] + column) * 4 + direction
        along = segments.start[which] + share * length[which]
        found.append((key[inside], segments.barrier[which][inside], along[inside]))
    key, barrier, along = (np.concatenate(parts) for parts in zip(*found, strict=True))
    order = np.lexsort((along, barrier, key))
    return Crossings(key[order], barrier[order], along[order])


def gather_steps(found: Crossings, extra: Floats, opened: Floats, gap: NDArray[np.bool_]) -> Steps:
    """Gather crossings to steps: of several on one step the costliest counts.

    Parameters
    ----------
    found
        Crossings, sorted by step.
    extra, opened, gap
        Shape (c,), for each crossing: its cost and its cost with a gap made there, cost metres;
        whether a gap is there.
    """
    key, first = np.unique(found.key, return_index=True)
    start = np.r_[first, len(found.key)].astype(np.int64)
    if not len(key):
        return Steps(key, np.empty(0), np.empty(0), np.empty(0, np.bool_), start, found.barrier)
    return Steps(
        key=key,
        extra=np.maximum.reduceat(extra, first),
        opened=np.maximum.reduceat(opened, first),
        gap=np.logical_or.reduceat(gap, first),
        start=start,
        barrier=found.barrier,
    )


def _lines_cut(from_: Floats, to: Floats, shape: tuple[int, int]) -> tuple[Ints, Ints]:
    """Whole numbers between the two ends of each piece: its number, and the whole number."""
    reach = sum(shape)
    low = np.clip(np.ceil(np.minimum(from_, to)), -reach, reach).astype(np.int64)
    high = np.clip(np.ceil(np.maximum(from_, to)), -reach, reach).astype(np.int64)
    count = high - low
    which = np.repeat(np.arange(len(count)), count)
    line = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count) + low[which]
    return which, line
