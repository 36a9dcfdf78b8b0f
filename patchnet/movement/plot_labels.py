"""Which cells belong to which plot; every plot has at least one."""

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize

from patchnet.errors import WrongUse
from patchnet.movement.ground_grid import Grid

__all__ = ["label_plots"]

_AROUND = 3  # cells looked at in every direction for a plot that has none


def label_plots(
    plots: gpd.GeoDataFrame,
    grid: Grid,
    passable: NDArray[np.bool_],
    enterable: NDArray[np.bool_],
) -> tuple[NDArray[np.int32], dict[int, tuple[int, int]]]:
    """Label the cells of each plot.

    A plot has the cells whose centre lies in it; of overlapping plots the smaller keeps them.
    A plot left without a cell that can be entered is given the one nearest to it, as long as
    that is not the last cell of another plot.

    Parameters
    ----------
    passable
        Shape of the grid: cells that can be entered.
    enterable
        Shape (n,): plots that can be entered at all (a balcony cannot).

    Returns
    -------
    labels
        Shape of the grid: 0 no plot, k the k-th plot.
    given
        The cell (row, column) given to each plot that had none, by label.

    Raises
    ------
    WrongUse
        If so many small plots lie together that not each can have a cell.
    """
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
    given: dict[int, tuple[int, int]] = {}
    taken: set[tuple[int, int]] = set()
    for at in order[::-1]:
        label = int(at) + 1
        if (open_count if enterable[at] else count)[label] > 0:
            continue
        cell = _nearest_free(shapes[at], grid, (labels, passable), (count, open_count), taken)
        if cell is None:
            raise WrongUse(
                f"In cells of {grid.cell_m:g} m the plot '{plots.index[at]}' has no cell of its "
                f"own: too many small plots lie together. Try cells of {grid.cell_m / 2:g} m."
            )
        before = labels[cell]
        count[before] -= 1
        open_count[before] -= passable[cell]
        labels[cell] = label
        count[label] += 1
        open_count[label] += passable[cell]
        taken.add(cell)
        given[label] = cell
    return labels, given


def _nearest_free(
    shape: shapely.Geometry,
    grid: Grid,
    cells: tuple[NDArray[np.int32], NDArray[np.bool_]],
    counts: tuple[NDArray[np.int64], NDArray[np.int64]],
    taken: set[tuple[int, int]],
) -> tuple[int, int] | None:
    labels, passable = cells
    count, open_count = counts
    centre = shape.representative_point()
    column = int((centre.x - grid.west) // grid.cell_m)
    row = int((grid.north - centre.y) // grid.cell_m)
    near: list[tuple[bool, float, int, int]] = []
    for r in range(max(row - _AROUND, 0), min(row + _AROUND + 1, grid.shape[0])):
        for c in range(max(column - _AROUND, 0), min(column + _AROUND + 1, grid.shape[1])):
            there = labels[r, c]
            last = there > 0 and (
                count[there] < 2 or (bool(passable[r, c]) and open_count[there] < 2)
            )
            if last or (r, c) in taken:
                continue
            x = grid.west + (c + 0.5) * grid.cell_m
            y = grid.north - (r + 0.5) * grid.cell_m
            away = (x - centre.x) ** 2 + (y - centre.y) ** 2
            near.append((not passable[r, c], away, r, c))
    return min(near)[2:] if near else None
