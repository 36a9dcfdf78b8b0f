"""Which cells belong to which plot; every plot has at least one."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.movement.barriers import Lines
from patchnet.movement.ground_grid import Grid

__all__ = ["PlotCells", "label_plots"]

_AROUND = 3  # cells looked at in every direction for a plot that has none

Cell = tuple[int, int]


@dataclass(frozen=True, eq=False)
class PlotCells:
    """The cells of each plot.

    Attributes
    ----------
    labels
        Shape of the grid: 0 no plot, k the k-th plot.
    given
        The open cell (row, column) given to a plot that had none, by label.
    closed
        Cells of plots that are shut off, which are to be closed if they are not.
    shut
        Labels of the plots that could be entered but have no open ground to be entered by: all
        their cells are closed.
    """

    labels: NDArray[np.int32]
    given: dict[int, Cell]
    closed: tuple[Cell, ...]
    shut: tuple[int, ...]


def label_plots(
    plots: gpd.GeoDataFrame,
    grid: Grid,
    passable: NDArray[np.bool_],
    enterable: NDArray[np.bool_],
    barriers: Lines,
) -> PlotCells:
    """Label the cells of each plot.

    A plot has the cells whose centre lies in it; of overlapping plots the smaller keeps them.
    A plot left without a cell that can be entered (smaller than a cell, or built over) is given
    the nearest one to its middle, as long as that is not the last cell of another plot and no
    closed barrier stands between; one on this side of every barrier comes first. Where there is
    none the plot is shut off: it keeps its own cells, or takes one, and nothing gets to it.

    Parameters
    ----------
    plots
        n outlines, in the CRS of the grid.
    grid
        Where the cells lie.
    passable
        Shape of the grid: cells that can be entered.
    enterable
        Shape (n,): plots that can be entered at all (a balcony cannot).
    barriers
        The barriers, and which of them are closed.

    Raises
    ------
    WrongUse
        If so many small plots lie together that not each can have a cell.
    """
    from rasterio.features import rasterize

    shapes = np.asarray(plots.geometry.array, dtype=object)
    order = np.argsort(-shapely.area(shapes), kind="stable")
    labels = np.zeros(grid.shape, np.int32)
    rasterize(
        [(shapes[at], int(at) + 1) for at in order],
        out=labels,
        transform=grid.transform,
    )
    count = np.bincount(labels.ravel(), minlength=len(shapes) + 1)
    open_count = np.bincount(labels[passable], minlength=len(shapes) + 1)
    given: dict[int, Cell] = {}
    taken: set[Cell] = set()
    shut: list[int] = []
    for at in order[::-1]:
        label = int(at) + 1
        if (open_count if enterable[at] else count)[label] > 0:
            continue
        near = _near(shapes[at], grid, (labels, passable), (count, open_count), taken)
        cell = _nearest_open(shapes[at], near, grid, passable, barriers) if enterable[at] else None
        if cell is not None:
            given[label] = cell
        else:
            if enterable[at]:
                shut.append(label)
            if count[label] > 0:
                continue
            cell = min(near, key=lambda one: (bool(passable[one]), near[one], one), default=None)
        if cell is None:
            raise WrongUse(
                _(
                    "In cells of {cell_m:g} m the plot '{index}' has no cell of its own: too many "
                    "small plots lie together. Try cells of {cell_m_2:g} m."
                ).format(cell_m=grid.cell_m, index=plots.index[at], cell_m_2=grid.cell_m / 2)
            )
        before = labels[cell]
        count[before] -= 1
        open_count[before] -= passable[cell]
        labels[cell] = label
        count[label] += 1
        open_count[label] += passable[cell]
        taken.add(cell)
    closed = tuple(sorted(taken - set(given.values())))
    return PlotCells(labels, given, closed, tuple(sorted(shut)))


def _near(
    shape: shapely.Geometry,
    grid: Grid,
    cells: tuple[NDArray[np.int32], NDArray[np.bool_]],
    counts: tuple[NDArray[np.int64], NDArray[np.int64]],
    taken: set[Cell],
) -> dict[Cell, float]:
    """Cells around the middle of a plot that it may take, with their distance squared."""
    labels, passable = cells
    count, open_count = counts
    centre = shape.representative_point()
    column = int((centre.x - grid.west) // grid.cell_m)
    row = int((grid.north - centre.y) // grid.cell_m)
    near: dict[Cell, float] = {}
    for r in range(max(row - _AROUND, 0), min(row + _AROUND + 1, grid.shape[0])):
        for c in range(max(column - _AROUND, 0), min(column + _AROUND + 1, grid.shape[1])):
            there = labels[r, c]
            last = there > 0 and (
                count[there] < 2 or (bool(passable[r, c]) and open_count[there] < 2)
            )
            if last or (r, c) in taken:
                continue
            x, y = _centre(grid, (r, c))
            near[r, c] = (x - centre.x) ** 2 + (y - centre.y) ** 2
    return near


def _nearest_open(
    shape: shapely.Geometry,
    near: dict[Cell, float],
    grid: Grid,
    passable: NDArray[np.bool_],
    barriers: Lines,
) -> Cell | None:
    """The nearest open cell that no closed barrier parts from the middle of the plot."""
    cells = [cell for cell in near if passable[cell]]
    if not cells:
        return None
    middle = shape.representative_point().coords[0]
    straight = shapely.linestrings([[middle, _centre(grid, cell)] for cell in cells])
    over, barrier = barriers.tree.query(straight, predicate="intersects")
    crossed = np.bincount(over, minlength=len(cells)) > 0
    parted = np.bincount(over[barriers.closed[barrier]], minlength=len(cells)) > 0
    able = [at for at in range(len(cells)) if not parted[at]]
    best = min(able, key=lambda at: (bool(crossed[at]), near[cells[at]], cells[at]), default=None)
    return None if best is None else cells[best]


def _centre(grid: Grid, cell: Cell) -> tuple[float, float]:
    row, column = cell
    return grid.west + (column + 0.5) * grid.cell_m, grid.north - (row + 0.5) * grid.cell_m
