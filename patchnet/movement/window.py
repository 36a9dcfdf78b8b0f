"""The part of the ground in which ways between two patches can run, if they may cost so much."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from patchnet.movement.barrier_steps import DIRECTIONS, Steps
from patchnet.movement.surface import CostSurface

__all__ = ["cut_out", "window_between"]

_SPARE = 2  # cells: half steps at both ends cost nothing, and rounding

Window = tuple[slice, slice]


def window_between(surface: CostSurface, labels: tuple[int, int], most: float) -> Window:
    """Return the rows and columns that ways between two plots lie in, if they cost at most so.

    No metre costs less than the best ground here, so a cell further from the two plots than
    that, taken together, lies on no such way.

    Parameters
    ----------
    labels
        The two plots.
    most
        Cost metres.
    """
    best = float(surface.cost.min())
    reach = most / (best * surface.cell_m) + _SPARE
    rows, columns = zip(*(_extent(surface.labels == label, reach) for label in labels), strict=True)
    return _within(rows, reach), _within(columns, reach)


def _extent(own: NDArray[np.bool_], reach: float) -> tuple[NDArray[np.float64], ...]:
    """How many rows and how many columns off each row and column is from a plot's."""
    away = []
    for axis in (0, 1):
        line = np.flatnonzero(own.any(axis=1 - axis))
        at = np.arange(own.shape[axis], dtype=np.float64)
        far = np.maximum(np.maximum(line[0] - at, at - line[-1]), 0)
        away.append(np.minimum(far, reach + 1))
    return tuple(away)


def _within(away: tuple[NDArray[np.float64], ...], reach: float) -> slice:
    inside = np.flatnonzero(away[0] + away[1] <= reach)
    return slice(int(inside[0]), int(inside[-1]) + 1) if len(inside) else slice(0, 1)


def cut_out(surface: CostSurface, window: Window) -> CostSurface:
    """Return a part of the ground as a surface of its own; its cells are views.

    Parameters
    ----------
    surface
        The whole.
    window
        Rows and columns of it.
    """
    rows, columns = window
    grid = surface.grid
    return replace(
        surface,
        cost=surface.cost[window],
        labels=surface.labels[window],
        steps=_cut_steps(surface.steps, grid.shape[1], window),
        grid=replace(
            grid,
            west=grid.west + columns.start * grid.cell_m,
            north=grid.north - rows.start * grid.cell_m,
            shape=(rows.stop - rows.start, columns.stop - columns.start),
        ),
    )


def _cut_steps(steps: Steps, width: int, window: Window) -> Steps:
    rows, columns = window
    cell, direction = np.divmod(steps.key, 4)
    row, column = np.divmod(cell, width)
    down, right = np.array(DIRECTIONS[:4]).T[:, direction]
    keep = (row >= rows.start) & (row + down < rows.stop)
    keep &= (column >= columns.start) & (column < columns.stop)
    keep &= (column + right >= columns.start) & (column + right < columns.stop)
    wide = columns.stop - columns.start
    key = ((row - rows.start) * wide + column - columns.start) * 4 + direction
    counts = np.diff(steps.start)
    return Steps(
        key=key[keep],
        extra=steps.extra[keep],
        opened=steps.opened[keep],
        gap=steps.gap[keep],
        start=np.r_[0, np.cumsum(counts[keep])],
        barrier=steps.barrier[np.repeat(keep, counts)],
    )
