"""The numbers of a raster at the centres of cells in another coordinate system."""

from typing import TYPE_CHECKING

import numpy as np
import pyproj
from numpy.typing import NDArray

from patchnet.core.crs_change import change_of

if TYPE_CHECKING:
    from rasterio.io import DatasetReader

__all__ = ["at_centres", "cell_side"]

_ROWS = 512  # of cells that are looked up at once


def cell_side(raster: "DatasetReader", crs: pyproj.CRS, x: float, y: float) -> float:
    """Return how long the side of the raster's cell is at a place, in units of `crs`.

    That of a square as large, where the cell is no square there.

    Parameters
    ----------
    raster
        An open raster with a CRS.
    crs
        CRS of the place.
    x, y
        The place, in units of `crs`.
    """
    from_raster = change_of(pyproj.CRS.from_wkt(raster.crs.to_wkt()), crs)
    there = from_raster.transform(x, y, direction="INVERSE")
    step = raster.transform
    (here_x, east_x, south_x), (here_y, east_y, south_y) = from_raster.transform(
        there[0] + np.array([0, step.a, step.b]), there[1] + np.array([0, step.d, step.e])
    )
    area = (east_x - here_x) * (south_y - here_y) - (east_y - here_y) * (south_x - here_x)
    return float(np.sqrt(abs(area)))


def at_centres(
    raster: "DatasetReader",
    crs: pyproj.CRS,
    corner: tuple[float, float],
    cell_m: float,
    shape: tuple[int, int],
    *,
    band: int = 1,
) -> NDArray[np.float64]:
    """Return the number of a band at the centre of every cell, without smoothing.

    Parameters
    ----------
    raster
        Open, with its place on the map.
    crs
        Coordinate system of the cells.
    corner
        West and north edge of the first cell, in units of `crs`.
    cell_m
        Side of a cell, likewise.
    shape
        Rows and columns.
    band
        Which band, counted from 1.

    Returns
    -------
    array
        Of that shape; NaN beyond the raster and where it holds no data. Only the part of the
        raster that is needed is read.
    """
    from rasterio.windows import Window

    values = np.full(shape, np.nan)
    to = change_of(crs, pyproj.CRS.from_wkt(raster.crs.to_wkt()))
    back = ~raster.transform
    x = corner[0] + (np.arange(shape[1]) + 0.5) * cell_m
    for first in range(0, shape[0], _ROWS):
        rows = slice(first, min(first + _ROWS, shape[0]))
        y = corner[1] - (np.arange(rows.start, rows.stop) + 0.5) * cell_m
        there_x, there_y = to.transform(*np.meshgrid(x, y))
        with np.errstate(invalid="ignore"):
            column = np.floor(back.a * there_x + back.b * there_y + back.c)
            row = np.floor(back.d * there_x + back.e * there_y + back.f)
        inside = (row >= 0) & (row < raster.height) & (column >= 0) & (column < raster.width)
        if not inside.any():
            continue
        r, c = row[inside].astype(np.int64), column[inside].astype(np.int64)
        window = Window(c.min(), r.min(), np.ptp(c) + 1, np.ptp(r) + 1)
        found = raster.read(band, window=window).astype(np.float64)
        found[(raster.read_masks(band, window=window) == 0) | ~np.isfinite(found)] = np.nan
        values[rows][inside] = found[r - r.min(), c - c.min()]
    return values
