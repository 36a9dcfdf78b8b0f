"""Surfaces and currents written as GeoTIFF, for any GIS."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from patchnet.core.files import no_room, write_aside
from patchnet.movement.barrier_steps import DIRECTIONS
from patchnet.movement.ground_grid import Grid
from patchnet.movement.surface import CostSurface

__all__ = ["barrier_map", "write_bands", "write_geotiff"]

_NODATA = -1.0


def write_geotiff(
    surface: CostSurface, path: Path | str, *, credit_lines: Sequence[str] = ()
) -> None:
    """Write a cost surface as a GeoTIFF of three bands.

    Band 1: cost per metre, in metres of the best ground; -1 (no data): nothing gets through.
    Band 2: number of the plot, counted from 1 in the order of the plots; -1: none.
    Band 3: barriers: the most that a step from the cell to a neighbour costs extra, in cost
    metres; 0: no barrier; -1: a closed one.

    Parameters
    ----------
    surface
        Such as ``routes.surface``.
    path
        The file.
    credit_lines
        Whose data it was made from, such as a neighbourhood's ``credits``.

    Raises
    ------
    CannotWrite
        If the file cannot be written.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["frog"], cell_m=2)
    >>> patchnet.write_geotiff(patchnet.find_routes(answer, "frog", most=1).surface, "cost.tif")
    """
    cost = np.where(np.isfinite(surface.cost), surface.cost, np.float32(_NODATA))
    plots = np.where(surface.labels > 0, surface.labels, -1).astype(np.float32)
    write_bands(
        path,
        surface.grid,
        {
            "cost per metre": cost,
            "plot": plots,
            "barrier": barrier_map(surface),
        },
        credit_lines=credit_lines,
    )


def barrier_map(surface: CostSurface) -> NDArray[np.float32]:
    """Where the barriers are: the costliest crossing between a cell and a neighbour.

    Parameters
    ----------
    surface
        With its steps.

    Returns
    -------
    array
        Shape of the grid: cost metres; 0 no barrier, -1 closed.
    """
    rows, columns = surface.cost.shape
    most = np.zeros(rows * columns)
    cell, direction = np.divmod(surface.steps.key, 4)
    offset = np.array([down * columns + right for down, right in DIRECTIONS[:4]])
    for place in (cell, cell + offset[direction]):
        np.maximum.at(most, place, surface.steps.extra)
    shown: NDArray[np.float32] = np.where(np.isfinite(most), most, _NODATA).astype(np.float32)
    return shown.reshape(rows, columns)


def write_bands(
    path: Path | str,
    grid: Grid,
    bands: dict[str, NDArray[np.float32]],
    *,
    nodata: float = _NODATA,
    credit_lines: Sequence[str] = (),
) -> None:
    """Write arrays on a grid as the bands of one GeoTIFF, each with its name.

    Parameters
    ----------
    path
        The file.
    grid
        Where the arrays lie, such as ``routes.surface.grid``.
    bands
        Name -> array of the shape of the grid.
    nodata
        Number that stands for no data.
    credit_lines
        Whose data it was made from; kept in the tag Copyright (TIFF 6.0, section 8), which is
        ASCII, and as they are in the tag ``rightsHolder`` of GDAL's own.

    Raises
    ------
    CannotWrite
        If the file cannot be written.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["frog"], cell_m=2)
    >>> way = patchnet.find_routes(answer, "frog", between=("M15B", "M17B"))
    >>> patchnet.write_bands("flow.tif", way.surface.grid, {"current": way.current()})
    """
    import rasterio

    with write_aside(path) as draft:
        try:
            _write(draft, grid, bands, nodata, credit_lines)
            # What could not be written when the file was closed is told by reading alone.
            with rasterio.open(draft) as back:
                for number in back.indexes:
                    back.read(number)
        except rasterio.errors.RasterioError as error:
            raise no_room(path) from error


def _write(
    draft: Path,
    grid: Grid,
    bands: dict[str, NDArray[np.float32]],
    nodata: float,
    credit_lines: Sequence[str],
) -> None:
    import rasterio

    with rasterio.open(
        draft,
        "w",
        driver="GTiff",
        width=grid.shape[1],
        height=grid.shape[0],
        count=len(bands),
        dtype="float32",
        crs=grid.crs.to_wkt(),
        transform=grid.transform,
        nodata=nodata,
        compress="deflate",
        predictor=3,
        tiled=True,
    ) as file:
        for number, (name, band) in enumerate(bands.items(), 1):
            file.write(np.asarray(band, np.float32), number)
            file.set_band_description(number, name)
        if credit_lines:
            said = "; ".join(credit_lines)
            plain = said.replace("\N{COPYRIGHT SIGN}", "(c)").encode("ascii", "replace").decode()
            file.update_tags(rightsHolder=said, TIFFTAG_COPYRIGHT=plain)
