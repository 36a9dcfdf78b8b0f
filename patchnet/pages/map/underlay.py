"""A picture of one's own under the gardens: an aerial photograph, or an old map."""

import base64
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from patchnet.core.crs_change import change_of
from patchnet.core.errors import CannotRead
from patchnet.core.reader_child import read_in_child
from patchnet.core.texts import _
from patchnet.read.neighbourhood import Neighbourhood

if TYPE_CHECKING:
    from rasterio.io import DatasetReader

__all__ = ["underlay"]

_WEB = "EPSG:3857"
_MOST_PIXELS = 1100
_MARGIN = 0.08  # of the longer side, all round
_QUALITY = 78
_PLAIN = (238, 241, 230)  # where the picture has nothing, as the page's ground
_ENDS = (2, 98)  # percentiles that become black and white where numbers are no colours

Box = tuple[float, float, float, float]


def underlay(path: Path | str, neighbourhood: Neighbourhood) -> dict[str, object]:
    """Read a raster picture under a neighbourhood, small enough for the page.

    Parameters
    ----------
    path
        Any raster that GDAL reads and that knows its coordinate system: three or more bands of
        colours, one band with a palette, or one band of numbers.
    neighbourhood
        Where it is to lie.

    Returns
    -------
    dict
        ``picture``, a JPEG as an address, and ``corners``, south-west and north-east, degrees.

    Raises
    ------
    CannotRead
        If it cannot be read, knows no coordinate system, or lies elsewhere.
    """
    plots = neighbourhood.plots
    to_web = change_of(plots.crs, _WEB)
    west, south, east, north = to_web.transform_bounds(*plots.total_bounds)
    margin = _MARGIN * max(east - west, north - south)
    box = (west - margin, south - margin, east + margin, north + margin)
    wide, high = box[2] - box[0], box[3] - box[1]
    scale = _MOST_PIXELS / max(wide, high)
    size = (max(1, round(high * scale)), max(1, round(wide * scale)))
    picture = read_in_child(_warped, Path(path), box, size)
    to_degrees = change_of(_WEB, "EPSG:4326")
    lon, lat = to_degrees.transform([box[0], box[2]], [box[1], box[3]])
    content = base64.b64encode(picture).decode("ascii")
    return {
        "picture": f"data:image/jpeg;base64,{content}",
        "corners": [[round(lat[0], 7), round(lon[0], 7)], [round(lat[1], 7), round(lon[1], 7)]],
    }


def _warped(path: Path, box: Box, size: tuple[int, int]) -> bytes:
    import rasterio
    from rasterio.enums import Resampling
    from rasterio.errors import RasterioError
    from rasterio.io import MemoryFile
    from rasterio.transform import Affine
    from rasterio.vrt import WarpedVRT

    high, wide = size
    west, south, east, north = box
    cells = Affine((east - west) / wide, 0, west, 0, (south - north) / high, north)
    try:
        with rasterio.open(path) as raster:
            if raster.crs is None:
                raise CannotRead(
                    _(
                        "{path} does not say where it lies: give a picture with its coordinate "
                        "system, such as a GeoTIFF."
                    ).format(path=path)
                )
            colours = _palette(raster)
            way = Resampling.nearest if colours is not None else Resampling.bilinear
            with WarpedVRT(
                raster, crs=_WEB, transform=cells, width=wide, height=high,
                resampling=way, add_alpha=raster.nodata is None and not _has_alpha(raster),
            ) as laid:  # fmt: skip
                there = laid.dataset_mask() > 0
                bands = laid.read([1, 2, 3] if raster.count >= 3 else [1])
    except RasterioError as error:
        raise CannotRead(
            _("{path} cannot be read as a picture: {error}").format(path=path, error=error)
        ) from error
    if not there.any():
        raise CannotRead(
            _("{path} shows nothing where the plots are: it is of another place.").format(path=path)
        )
    shown = colours[:, bands[0]] if colours is not None else _as_bytes(bands, there)
    shown[:, ~there] = np.array(_PLAIN, np.uint8)[:, None]
    with MemoryFile() as file:
        with file.open(
            driver="JPEG", width=wide, height=high, count=3, dtype="uint8", quality=_QUALITY
        ) as made:
            made.write(shown)
        return bytes(file.read())


def _has_alpha(raster: "DatasetReader") -> bool:
    from rasterio.enums import ColorInterp

    return ColorInterp.alpha in raster.colorinterp


def _palette(raster: "DatasetReader") -> NDArray[np.uint8] | None:
    """Shape (3, 256): colours of a band that has a palette; None where it has none."""
    if raster.count != 1:
        return None
    try:
        palette = raster.colormap(1)
    except ValueError:
        return None
    colours = np.zeros((3, 256), np.uint8)
    for number, colour in palette.items():
        if number < colours.shape[1]:
            colours[:, number] = colour[:3]
    return colours


def _as_bytes(bands: NDArray[np.generic], there: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Shape (3, rows, columns): numbers that are no bytes are stretched, one band becomes grey."""
    if bands.dtype != np.uint8:
        numbers = np.nan_to_num(bands.astype(np.float64))
        low, high = np.percentile(numbers[:, there], _ENDS)
        bands = np.clip((numbers - low) / max(high - low, 1e-9) * 255, 0, 255).astype(np.uint8)
    return np.array(np.broadcast_to(bands, (3, *bands.shape[1:])), dtype=np.uint8)
