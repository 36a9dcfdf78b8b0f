"""A reach too wide for its pairs to be held: who reaches whom, in bunches, straight from outlines.

Within a kilometre of a garden lie fifteen thousand others, and nearly the same ones lie within a
kilometre of its neighbour. So plots are put in an order in which neighbours stand together, and cut
into bunches of 1, 2, 4 ... plots. Two bunches of which any two places are near enough are one block
of ones, without looking at a single pair; two that lie too far apart are none. Only where neither
is so are outlines measured. What is left for a row are a few hundred blocks instead of fifteen
thousand ones. A product adds up bunches, then blocks, then hands down to the rows.

The matrix is symmetric: who is reached reaches back (a route leads both ways, and a straight line
too). So a run of its rows is enough to multiply by it and by its transpose.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, Protocol

import numpy as np
import scipy.sparse as sp
import shapely
from numpy.typing import NDArray

from patchnet.assess.blocks import Blocks, along_a_curve, joined
from patchnet.assess.reach import RouteGraph
from patchnet.core.compiled import use_compiled
from patchnet.movement.distance import Lengths

__all__ = ["BunchedReach", "Bunches", "RowsHeld", "blocks_in_bunches", "reached_from"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int64]
Places = NDArray[np.intp]

_LEVELS = 5
_SIDE = 2**_LEVELS  # plots in the largest bunch
_ROUTED = 8 * _SIDE  # rows whose routes are looked for together
_COMPILE_FROM = 20_000  # plots: from about there compiling pays off
_SURE_M = 1e-5  # bounds closer to the reach than that are measured


class RowsHeld(Protocol):
    """Rows of a reach that lie somewhere, such as in files; see `Bunches.rows_of_ones`."""

    def __call__(self) -> Iterable[Mapping[str, NDArray[np.int64]]]:
        """Return all runs of rows; each plot is in one of them."""


class _Led(NamedTuple):
    """Where routes lead from a run of rows: see `RouteGraph.near_lengths`; rows from the first."""

    lengths: Array
    column: Places
    order: Places
    first: int

    def to(self, count: int, places: Places) -> Flags:
        """Shape (count, places): True where a route leads from a row to a place on the curve."""
        column = self.column[self.order[places]]
        lengths = self.lengths[self.first : self.first + count]
        led: Flags = np.isfinite(lengths[:, column]) & (column >= 0)
        return led


@dataclass(frozen=True, eq=False)
class Bunches:
    """n plots along a curve, and where each bunch of them lies.

    Attributes
    ----------
    shapes
        Shape (n,): outlines, metres, by the plots' numbers.
    compiled
        Whether outlines are measured by a compiled kernel; None: by the number of plots.
    """

    shapes: NDArray[np.object_]
    compiled: bool | None = None

    @property
    def size(self) -> int:
        """Number of plots."""
        return len(self.shapes)

    @cached_property
    def order(self) -> Places:
        """Shape (n,): numbers of the plots along the curve."""
        box = shapely.bounds(self.shapes)
        return along_a_curve((box[:, 0] + box[:, 2]) / 2, (box[:, 1] + box[:, 3]) / 2)

    @cached_property
    def place(self) -> Places:
        """Shape (n,): place of each plot along the curve."""
        place = np.empty(self.size, dtype=np.intp)
        place[self.order] = np.arange(self.size)
        return place

    @cached_property
    def _boxes(self) -> tuple[Array, Array]:
        """Box of each plot along the curve, and a point in it twice, as a box: shape (n, 4)."""
        shapes = self.shapes[self.order]
        spot = shapely.get_coordinates(shapely.point_on_surface(shapes))
        return shapely.bounds(shapes), np.column_stack([spot, spot])

    @cached_property
    def _around(self) -> tuple[Array, Array]:
        """The same for bunches of `_SIDE`: no two plots are nearer, no two spots farther apart."""
        box, spot = self._boxes
        return _around_runs(box), _around_runs(spot)

    @cached_property
    def _lengths(self) -> Lengths:
        wanted = use_compiled(compiled=self.compiled, worthwhile=self.size > _COMPILE_FROM)
        return Lengths(self.shapes[self.order], compiled=wanted)

    def rows_of_ones(
        self, plots: Places, reach_mm: int, routes: RouteGraph | None = None
    ) -> dict[str, NDArray[np.int64]]:
        """Find what some plots reach.

        Parameters
        ----------
        plots
            Shape (k,): numbers of the plots whose rows are wanted.
        reach_mm
            Longest straight line, mm.
        routes
            Moves; what no route of that length reaches is left out. None: straight lines decide.

        Returns
        -------
        dict
            ``rows``, shape (k,): the plots along the curve. ``starts``, shape (row bunches + 1,),
            and ``bunches``, shape (blocks,): for each bunch of these rows the bunches of all plots
            that it reaches whole. Bunches are numbered level by level (see `_first_of`).
        """
        rows = np.sort(self.place[plots])
        found_rows, found_cols = [np.empty(0, np.int64)], [np.empty(0, np.int64)]
        first_row, first_col = _first_of(len(rows)), _first_of(self.size)
        led: _Led | None = None
        for begin in range(0, len(rows), _SIDE):
            here = rows[begin : begin + _SIDE]
            if routes is not None and begin % _ROUTED == 0:
                run = self.order[rows[begin : begin + _ROUTED]]
                led = _Led(*routes.near_lengths(run, reach_mm), self.order, 0)
            if led is not None:
                led = led._replace(first=begin % _ROUTED)
            for level, up, across in self._blocks(here, reach_mm, led):
                found_rows.append(first_row[level] + (begin >> level) + up)
                found_cols.append(first_col[level] + across)
        row, col = np.concatenate(found_rows), np.concatenate(found_cols)
        order = np.lexsort((col, row))
        starts = np.zeros(first_row[-1] + 1, dtype=np.int64)
        np.cumsum(np.bincount(row, minlength=int(first_row[-1])), out=starts[1:])
        return {
            "rows": self.order[rows].astype(np.int64),
            "starts": starts,
            "bunches": col[order].astype(np.int32),
        }

    def _blocks(
        self, rows: Places, reach_mm: int, led: "_Led | None"
    ) -> list[tuple[int, NDArray[np.int64], NDArray[np.int64]]]:
        """Blocks of one bunch of rows: level, bunch of rows in it, bunch of all plots."""
        (box, spot), (boxes, spots) = self._boxes, self._around
        # What rounds to the reach is within it (see `patchnet.movement.distance`).
        reach = (reach_mm + 0.5) / 1000
        mine = _around_runs(box[rows])[0], _around_runs(spot[rows])[0]
        near = np.flatnonzero(_nearest(mine[0], boxes) <= reach + _SURE_M)
        sure = _farthest(mine[1], spots[near]) <= reach - _SURE_M
        if led is not None:
            cols = np.minimum((near[sure][:, None] * _SIDE + np.arange(_SIDE)), self.size - 1)
            ways = led.to(len(rows), cols.ravel())
            sure[sure] = ways.reshape(len(rows), -1, _SIDE).all(axis=(0, 2))
        full, mixed = near[sure], near[~sure]
        found = [(_LEVELS, np.zeros(len(full), np.int64), full.astype(np.int64))]
        if not len(mixed):
            return found
        cols = (mixed[:, None] * _SIDE + np.arange(_SIDE)).ravel()
        there = (
            cols < self.size
        )  # the last bunch may be cut short: what is not there is no hindrance
        cols = np.minimum(cols, self.size - 1)
        one = np.ones((_SIDE, len(cols)), dtype=bool)
        ones = self._within(rows, cols[there], reach, reach_mm)
        if led is not None:
            ones &= led.to(len(rows), cols[there])
        one[: len(rows), there] = ones
        for level in range(_LEVELS + 1):
            high, wide = one.shape[0], one.shape[1]
            if level < _LEVELS:
                whole = np.asarray(one.reshape(high // 2, 2, wide // 2, 2).all(axis=(1, 3)))
                kept = one & ~whole.repeat(2, axis=0).repeat(2, axis=1)
            else:
                whole = kept = one
            up, at = np.nonzero(kept)
            side = _SIDE >> level
            across = mixed[at // side] * side + at % side
            real = (up << level < len(rows)) & (across << level < self.size)
            found.append((level, up[real].astype(np.int64), across[real].astype(np.int64)))
            one = whole
        return found

    def _within(self, rows: Places, cols: Places, reach: float, reach_mm: int) -> Flags:
        """Shape (rows, cols): True where the straight line is no longer than the reach."""
        box, spot = self._boxes
        ones = _farthest(spot[rows][:, None], spot[cols][None]) <= reach - _SURE_M
        near = _nearest(box[rows][:, None], box[cols][None]) <= reach + _SURE_M
        one, other = np.nonzero(near & ~ones)
        far = self._lengths.mm(rows[one].astype(np.int64), cols[other].astype(np.int64))
        ones[one, other] = far <= reach_mm
        return ones


class BunchedReach:
    """A reach (n, n) that multiplies as a matrix would; its rows are taken run by run.

    Parameters
    ----------
    bunches
        The n plots.
    held
        Where the rows lie.
    listed
        Whether single rows are ever listed; in a city these lists would be too long to keep.
    """

    def __init__(self, bunches: Bunches, held: RowsHeld, *, listed: bool = True) -> None:
        self.bunches = bunches
        self.held = held
        self._listed = listed
        self.shape = (bunches.size, bunches.size)

    @property
    def T(self) -> "BunchedReach":  # noqa: N802 - as arrays call it
        """The transposed matrix, which is the same."""
        return self

    def __matmul__(self, values: Array) -> Array:
        """Return the matrix times `values`, shape (n,) or (n, k)."""
        flat = np.asarray(values, dtype=np.float64).reshape(self.shape[0], -1)
        sums = _added_up(flat[self.bunches.order])
        out = np.zeros_like(flat)
        for run in self.held():
            starts, bunches, rows = run["starts"], run["bunches"], run["rows"]
            matrix = sp.csr_array(
                (np.ones(len(bunches)), bunches, starts), shape=(len(starts) - 1, len(sums))
            )
            out[rows] = _handed_down(matrix @ sums, len(rows))
        return out.reshape(values.shape)

    def row(self, plot: int) -> Places:
        """Positions of the plots that one plot reaches, ascending; none where rows are not listed.

        Parameters
        ----------
        plot
            Its position.
        """
        levels = np.arange(_LEVELS + 1)
        first = _first_of(self.shape[0])
        for run in self.held() if self._listed else ():
            at = np.flatnonzero(run["rows"] == plot)
            if not len(at):
                continue
            own = _first_of(len(run["rows"]))[:-1] + (at[0] >> levels)
            starts = run["starts"]
            found = np.concatenate([run["bunches"][starts[k] : starts[k + 1]] for k in own])
            level = np.searchsorted(first, found, side="right") - 1
            count = 1 << level
            ends = np.cumsum(count)
            places = np.repeat((found - first[level] << level) - (ends - count), count)
            places += np.arange(len(places))
            return np.sort(self.bunches.order[places[places < self.shape[0]]])
        return np.empty(0, dtype=np.intp)


def reached_from(matrix: "sp.csr_array | Array | BunchedReach", plot: int) -> Places:
    """Positions of the plots that one plot reaches, ascending.

    Parameters
    ----------
    matrix
        Shape (n, n): 1 where the column's plot is within reach of the row's.
    plot
        Its position.

    Returns
    -------
    array
        Shape (reached,), positions.
    """
    if isinstance(matrix, BunchedReach):
        return matrix.row(plot)
    if isinstance(matrix, np.ndarray):
        return np.flatnonzero(matrix[plot])
    reached = matrix.indices[matrix.indptr[plot] : matrix.indptr[plot + 1]]
    return np.sort(reached).astype(np.intp)


def blocks_in_bunches(reach: BunchedReach) -> Blocks:
    """Return a reach as the net of blocks that flows are sent over.

    Parameters
    ----------
    reach
        Of n plots.

    Returns
    -------
    Blocks
        With the bunches that the rows were taken in; it gives the same flows as any other cut.
    """
    bunches, size = reach.bunches, reach.shape[0]
    across_first = _first_of(size)
    # Bunches of columns: a plot's own knot first, then those of each level; a bunch leads down.
    col_knot = np.r_[size + bunches.order, 2 * size + np.arange(across_first[-1] - size)]
    knots = 2 * size + int(across_first[-1]) - size
    child, parent = _tree(size)
    tails, heads = [col_knot[parent]], [col_knot[child]]
    col_in = _in_bunches(size)
    members: list[tuple[Ints, Ints]] = []
    over: list[tuple[Ints, Ints]] = []
    for run in reach.held():
        rows, starts = run["rows"], run["starts"]
        row_knot = np.r_[rows, knots + np.arange(len(starts) - 1 - len(rows))]
        knots += len(starts) - 1 - len(rows)
        child, parent = _tree(len(rows))
        tails.append(row_knot[child])
        heads.append(row_knot[parent])
        row_in = _in_bunches(len(rows))
        members.append((rows[row_in[0]], row_knot[row_in[1]]))
        over.append((np.repeat(row_knot, np.diff(starts)), col_knot[run["bunches"]]))
    whole = joined(over)
    return Blocks(
        size=size,
        knots=knots,
        tail=np.concatenate([*tails, whole[0]]),
        head=np.concatenate([*heads, whole[1]]),
        in_bunch=(
            joined(members),
            (bunches.order[col_in[0]].astype(np.int64), col_knot[col_in[1]]),
        ),
        whole=whole,
    )


def _tree(size: int) -> tuple[Ints, Ints]:
    """Number of each bunch but the largest, and of the next larger one that it is in."""
    first = _first_of(size)
    child = np.arange(first[_LEVELS])
    level = np.searchsorted(first, child, side="right") - 1
    return child, first[level + 1] + (child - first[level] >> 1)


def _in_bunches(size: int) -> tuple[Ints, Ints]:
    """Places and the number of each bunch that they are in, level by level."""
    first, places = _first_of(size), np.arange(size)
    numbers = [first[level] + (places >> level) for level in range(_LEVELS + 1)]
    return np.tile(places, _LEVELS + 1), np.concatenate(numbers)


def _first_of(size: int) -> NDArray[np.int64]:
    """Number of the first bunch of each level among `size` plots, and how many there are."""
    counts = [-(-size >> level) for level in range(_LEVELS + 1)]
    return np.cumsum([0, *counts])


def _added_up(values: Array) -> Array:
    """Sums over the bunches of each level, one level after the other."""
    levels = [values]
    for _ in range(_LEVELS):
        below = levels[-1]
        sums = below[::2].copy()
        sums[: len(below) // 2] += below[1::2]
        levels.append(sums)
    return np.concatenate(levels)


def _handed_down(by_bunch: Array, size: int) -> Array:
    """For each row what all bunches that it is in have."""
    first = _first_of(size)
    sums = by_bunch[first[_LEVELS] : first[_LEVELS + 1]]
    for level in range(_LEVELS - 1, -1, -1):
        own = by_bunch[first[level] : first[level + 1]]
        sums = own + np.repeat(sums, 2, axis=0)[: len(own)]
    return sums


def _around_runs(box: Array) -> Array:
    """Boxes round runs of `_SIDE` boxes."""
    starts = np.arange(0, len(box), _SIDE)
    low = np.minimum.reduceat(box[:, :2], starts, axis=0)
    high = np.maximum.reduceat(box[:, 2:], starts, axis=0)
    return np.hstack([low, high])


def _nearest(one: Array, other: Array) -> Array:
    """Metres between boxes (..., 4), where they are nearest."""
    gap = np.maximum(other[..., :2] - one[..., 2:], one[..., :2] - other[..., 2:])
    gap = np.maximum(gap, 0.0)
    return np.hypot(gap[..., 0], gap[..., 1])


def _farthest(one: Array, other: Array) -> Array:
    """Metres between boxes (..., 4), where they are farthest apart."""
    span = np.maximum(other[..., 2:] - one[..., :2], one[..., 2:] - other[..., :2])
    return np.hypot(span[..., 0], span[..., 1])
