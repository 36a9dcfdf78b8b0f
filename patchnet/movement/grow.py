"""Least-cost growth: from all patches at once, the cheapest way to every cell.

A step from a cell to one of its eight neighbours costs the mean of the two cells' costs per
metre times the distance between their centres (1 or the square root of 2 times the side of a
cell), and what a barrier on it costs. The first half step out of a patch, which lies inside it,
costs nothing: distances are from edge to edge.

How exact it is: ways turn by 45 degrees only, so over even ground a way in the worst direction
(22.5 degrees off) is 8.2 % longer than the straight line (which is 7.6 % shorter than the way),
and on average over directions 5.5 %; smaller cells do not change that. Patches and obstacles are
drawn to half a cell, an error that goes as the cell gets smaller.
"""

from copy import copy
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.core.compiled import use_compiled
from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.movement import grow_plain
from patchnet.movement.barrier_steps import DIRECTIONS, Steps

__all__ = ["Growth", "Ways", "compiles", "grow"]

_SOURCE = 8
_UNREACHED = 255
_COMPILE_FROM = 300_000  # cells: about where the compiler's wait pays off
_BUCKETS_MOST = 1 << 20

CELL = np.dtype([("dist", "f8"), ("cost", "f4"), ("came", "u1"), ("flags", "u1"), ("waits", "u2")])
"""What is looked at together lies together: the growth waits for memory more than it counts."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Ways:
    """Ways from cell to cell, n of them.

    Attributes
    ----------
    start
        Way w is ``row[start[w]:start[w + 1]]``, and so with `column`.
    row, column
        Cells passed, both ends included.
    length_m
        Shape (n,): metres; half a step at an end that lies in a source is not counted.
    """

    start: Ints
    row: Ints
    column: Ints
    length_m: Floats

    def lines(self, west: float, north: float, cell_m: float) -> NDArray[np.object_]:
        """Return the ways as lines through the centres of their cells; shape (n,)."""
        x = west + (self.column + 0.5) * cell_m
        y = north - (self.row + 0.5) * cell_m
        if not len(x):
            return np.empty(0, dtype=object)
        counts = np.diff(self.start)
        alone = counts == 1  # a way of one cell is drawn as a line without length
        times = np.where(np.repeat(alone, counts), 2, 1)
        x, y = np.repeat(x, times), np.repeat(y, times)
        number = np.repeat(np.arange(len(counts)), np.where(alone, 2, counts))
        lines: NDArray[np.object_] = shapely.linestrings(x, y, indices=number)
        return lines


class Growth:
    """What growing from the sources found: costs, territories and ways.

    Attributes
    ----------
    cost
        Shape (rows, columns): cost metres from the nearest source; inf: not reached.
    owner
        Shape (rows, columns): label of that source; 0: not reached. Of sources that are
        equally near the one with the lower label.
    cell_m
        Side of a cell, metres.
    """

    def __init__(self, padded: "_Padded", *, compiled: bool) -> None:
        self._padded = padded
        self._compiled = compiled
        self.cell_m = padded.cell_m
        self.cost: Floats = padded.inner(padded.dist)
        self.owner: NDArray[np.int32] = padded.inner(padded.owner)
        for array in (self.cost, self.owner):
            array.flags.writeable = False

    @property
    def came(self) -> NDArray[np.uint8]:
        """Direction (of `DIRECTIONS`) in which each cell was reached from; 8 in a source.

        255 where nothing arrived.
        """
        came: NDArray[np.uint8] = self._padded.inner(self._padded.came)
        return came

    def turned(
        self, label: int, cells: Ints, cost: NDArray[np.float32], *, limit: float
    ) -> "Growth | None":
        """Return the growth in which one source more takes part, or one of them no longer does.

        Only the ground that it takes, or leaves to others, is grown again; the result is that of
        `grow` to the last bit.

        Parameters
        ----------
        label
            Of the source.
        cells
            Its cells that are not closed, numbers row by row.
        cost
            The surface that was grown over, cost per metre.
        limit
            As in `grow`, the same as then.

        Returns
        -------
        Growth or None
            None where it was not compiled, or distances need too many buckets: grow afresh.
        """
        if not self._compiled:
            return None
        p = self._padded.copied()
        at = p.pad(cells)
        most = min(float(limit), float(np.finfo(np.float64).max))
        # Those that it is grown on from lie anywhere, not next to each other as at the beginning.
        spread = most if np.isfinite(limit) else float(p.dist[p.owner > 0].max(initial=0.0))
        if len(at) and p.owner[at[0]] == label and p.came[at[0]] == _SOURCE:
            rim = p.left(label, at, cost.ravel()[cells])
        else:
            rim = p.taken(label, at)
        width, count = p.buckets(most, spread)
        if count > _BUCKETS_MOST:
            return None
        from patchnet.movement import grow_kernels  # noqa: PLC0415 - imports numba

        grow_kernels.grow_on(
            p.cells, p.owner, p.key, p.extra, p.offset, p.half, width, count, most, rim
        )
        return Growth(p, compiled=True)

    def touching(self) -> tuple[Ints, NDArray[np.uint8], Floats]:
        """Return the steps from one territory into another.

        Returns
        -------
        cell
            Number of the first cell, row by row.
        direction
            0-3: which neighbour the second cell is.
        cost
            Cost metres from source to source over this step.
        """
        p = self._padded
        if self._compiled:
            from patchnet.movement import grow_kernels  # noqa: PLC0415 - imports numba

            cell, direction, cost = grow_kernels.touching(
                p.cells, p.owner, p.key, p.extra, p.offset, p.half
            )
        else:
            cell, direction, cost = grow_plain.touching_plain(
                p.cost, p.dist, p.owner, p.key, p.extra, p.offset, p.half
            )
        return p.unpad(cell), direction, cost

    def ways(self, cell: Ints) -> Ways:
        """Trace the way from each cell back to its source.

        Parameters
        ----------
        cell
            Numbers of cells, row by row, each of them reached.
        """
        p = self._padded
        return p.ways(*self._traced(p.pad(np.asarray(cell, np.int64))))

    def crossings(self, cell: Ints, direction: NDArray[np.uint8]) -> Ways:
        """Trace the ways from source to source over given steps between territories."""
        p = self._padded
        first = p.pad(cell)
        one, one_ends = self._traced(first)
        two, two_ends = self._traced(first + p.offset[direction])
        # First half turned round (source first), then the second half.
        counts = np.diff(one_ends), np.diff(two_ends)
        ends = np.r_[0, np.cumsum(counts[0] + counts[1])]
        middle = ends[:-1] + counts[0]
        cells = np.empty(ends[-1], np.int64)
        place = np.repeat(middle - 1 + one_ends[:-1], counts[0])
        cells[place - np.arange(len(one))] = one
        place = np.repeat(middle - two_ends[:-1], counts[1])
        cells[place + np.arange(len(two))] = two
        return p.ways(cells, ends)

    def _traced(self, start: Ints) -> tuple[Ints, Ints]:
        """Padded cells on the way from each start back to its source; where each begins."""
        p = self._padded
        if (p.came[start] == _UNREACHED).any():
            raise WrongUse(_("There is no way to a cell that was not reached."))
        if self._compiled:
            from patchnet.movement import grow_kernels  # noqa: PLC0415 - imports numba

            cells, ends = grow_kernels.trace(start, p.came, p.offset)
        else:
            cells, ends = grow_plain.trace_plain(start, p.came, p.offset)
        return cells, ends


def compiles(cells: int, *, compiled: bool | None) -> bool:
    """Whether ground of so many cells is grown over by a compiled kernel.

    Parameters
    ----------
    cells
        How many.
    compiled
        As in `grow`.
    """
    return use_compiled(compiled=compiled, worthwhile=cells >= _COMPILE_FROM)


def grow(
    cost: NDArray[np.float32],
    sources: NDArray[np.int32],
    *,
    cell_m: float = 1.0,
    steps: Steps | None = None,
    limit: float = np.inf,
    compiled: bool | None = None,
) -> Growth:
    """Grow from all sources at once over a surface of cost, to eight neighbours.

    Parameters
    ----------
    cost
        Shape (rows, columns), above 0: cost per metre; inf: closed. Read as 32-bit floats.
    sources
        Same shape: 0 none, k > 0 a cell of source k. A source's cells that are closed are none.
    cell_m
        Side of a cell, metres.
    steps
        Steps that barriers close or make costlier.
    limit
        Cost metres beyond which nothing is looked for.
    compiled
        True: compiled kernel; False: scipy; None: by size. Both give the same to the last bit.

    Raises
    ------
    WrongUse
        If shapes differ, a cost is not above 0, or a label is negative.
    """
    _check(cost, sources, cell_m)
    padded = _Padded(cost, sources, cell_m, Steps.none() if steps is None else steps)
    p = padded
    if not compiles(cost.size, compiled=compiled):
        most = float(limit)
        grow_plain.grow_plain(
            p.cost, p.dist, p.owner, p.came, p.key, p.extra, p.offset, p.half, most
        )
        return Growth(padded, compiled=False)
    from patchnet.movement import grow_kernels  # noqa: PLC0415 - imports numba

    most = min(float(limit), float(np.finfo(np.float64).max))
    width, count = p.buckets(most)
    if count <= _BUCKETS_MOST:
        grow_kernels.grow_buckets(
            p.cells, p.owner, p.key, p.extra, p.offset, p.half,
            width, count, most,
        )  # fmt: skip
    else:
        grow_kernels.grow_heap(p.cells, p.owner, p.key, p.extra, p.offset, p.half, most)
    return Growth(padded, compiled=True)


def _check(cost: NDArray[np.float32], sources: NDArray[np.int32], cell_m: float) -> None:
    if cost.ndim != 2 or cost.shape != sources.shape:
        raise WrongUse(
            _("Costs and sources must be two arrays of rows and columns, equally large.")
        )
    if not (np.isfinite(cell_m) and cell_m > 0):
        raise WrongUse(
            _("The side of a cell must be a number of metres above 0, not {cell_m}.").format(
                cell_m=cell_m
            )
        )
    if cost.size and not cost.min() > 0:  # a NaN fails here too
        raise WrongUse(_("Every cost must be above 0 (inf where nothing gets through)."))
    if sources.size and sources.min() < 0:
        raise WrongUse(_("Labels of sources cannot be negative."))


class _Padded:
    """The arrays of a growth, with a closed border of one cell so that no step leaves them."""

    def __init__(
        self, cost: NDArray[np.float32], sources: NDArray[np.int32], cell_m: float, steps: Steps
    ) -> None:
        self.shape = cost.shape
        self.cell_m = cell_m
        rows, columns = (side + 2 for side in cost.shape)
        self.columns = columns
        self.offset = np.array([down * columns + right for down, right in DIRECTIONS])
        long = [float(np.hypot(down, right)) for down, right in DIRECTIONS]
        self.half = 0.5 * cell_m * np.array(long)
        passable = np.isfinite(cost)
        source = (sources > 0) & passable
        passable &= ~source
        self.least = float(np.where(passable, cost, np.inf).min(initial=np.inf))
        self.dearest = float(np.where(passable, cost, 0).max(initial=0))
        del passable
        self.cells = np.empty(rows * columns, CELL)
        self.cost, self.dist, self.came = (self.cells[name] for name in ("cost", "dist", "came"))
        self.owner = np.zeros(rows * columns, np.int32)
        blank = np.array([(np.inf, np.inf, _UNREACHED, 0, 0)], CELL)
        whole = f"V{CELL.itemsize}"  # copied whole, seven times as fast as field by field
        self.cells.view(whole)[:] = blank.view(whole)
        self.inner(self.cost)[:] = cost
        self.inner(self.cells)[source] = (0, 0, _SOURCE, 0, 0)
        self.inner(self.owner)[source] = sources[source]
        if len(steps.key):
            self.cells["flags"] = steps.flags(cost.shape).ravel()
        self.key = steps.padded_key(cost.shape)
        self.extra = steps.extra

    def inner(self, array: Any) -> Any:  # noqa: ANN401 - an array of any type, and a view of it
        """Return an array without the border (a view)."""
        return array.reshape(-1, self.columns)[1:-1, 1:-1]

    def pad(self, cell: Ints) -> Ints:
        """Renumber cells from the grid to the padded grid."""
        row, column = np.divmod(cell, self.shape[1])
        padded: Ints = (row + 1) * self.columns + column + 1
        return padded

    def unpad(self, cell: Ints) -> Ints:
        """Renumber cells from the padded grid to the grid."""
        row, column = np.divmod(cell, self.columns)
        plain: Ints = (row - 1) * self.shape[1] + column - 1
        return plain

    def ways(self, cells: Ints, ends: Ints) -> Ways:
        """Ways out of padded cell numbers, with their lengths."""
        row, column = np.divmod(cells, self.columns)
        step = np.hypot(np.diff(row), np.diff(column)) * self.cell_m
        outside = (self.came[cells] != _SOURCE).astype(np.float64)
        step *= 0.5 * (outside[1:] + outside[:-1])
        inside_way = np.ones(len(cells), np.bool_)
        inside_way[ends[1:-1]] = False  # the first cell of a way continues no step
        metres = np.r_[0, np.cumsum(np.where(inside_way[1:], step, 0))]
        length = metres[ends[1:] - 1] - metres[ends[:-1]]
        return Ways(ends, row - 1, column - 1, length)

    def copied(self) -> "_Padded":
        """Return the same to be grown on in."""
        other = copy(self)
        whole = f"V{CELL.itemsize}"  # as in the beginning
        other.cells, other.owner = self.cells.view(whole).copy().view(CELL), self.owner.copy()
        other.cost, other.dist, other.came = (
            other.cells[name] for name in ("cost", "dist", "came")
        )
        return other

    def taken(self, label: int, at: Ints) -> Ints:
        """Make cells a source; return them."""
        self.dist[at], self.cost[at], self.came[at], self.owner[at] = 0, 0, _SOURCE, label
        return at

    def left(self, label: int, at: Ints, prices: NDArray[np.float32]) -> Ints:
        """Make a source's cells ground again; return all cells that were its own."""
        own = np.flatnonzero(self.owner == label)
        self.dist[own], self.came[own], self.owner[own] = np.inf, _UNREACHED, 0
        self.cost[at] = prices
        self.least = min(self.least, float(prices.min()))
        self.dearest = max(self.dearest, float(prices.max()))
        return own

    def buckets(self, limit: float, spread: float = 0.0) -> tuple[float, int]:
        """Width of a bucket, just below the cheapest step, and how many are needed.

        No step is taken that costs more than the limit. `spread`: how far apart it begins.
        """
        if not np.isfinite(self.least):
            return 1.0, 1
        closed = np.isinf(self.extra)
        most = 2 * self.half.max() * self.dearest + self.extra[~closed].max(initial=0)
        most = min(max(most, spread), limit)
        width = 0.999 * self.half.min() * self.least
        count = most / width + 2
        return width, 1 << int(np.ceil(np.log2(count)))
