"""Pictures of the ground: classes of cells as a small PNG that lies level on the map."""

import base64
import math
import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from patchnet.core.crs_change import change_of
from patchnet.movement.ground_grid import Grid

__all__ = [
    "NOWHERE",
    "LevelPicture",
    "block_means",
    "block_side",
    "dotted",
    "level_picture",
    "most_common",
    "png",
]

MOST_PIXELS = 400
NOWHERE = 255  # the class of what is not drawn

Classes = NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class LevelPicture:
    """A picture whose sides run along meridians and parallels, as a web map draws it.

    Attributes
    ----------
    classes
        Shape (rows, columns), north up; rows are evenly spaced in web-map height.
    south, west, north, east
        Its edges, degrees.
    """

    classes: Classes
    south: float
    west: float
    north: float
    east: float

    def for_page(self, colours: Sequence[str]) -> dict[str, object]:
        """Return what the page needs: the address of the picture and its corners."""
        content = base64.b64encode(png(self.classes, colours)).decode("ascii")
        corners = [[self.south, self.west], [self.north, self.east]]
        return {"picture": f"data:image/png;base64,{content}", "corners": corners}


def most_common(classes: Classes, *, pixels: int = MOST_PIXELS) -> tuple[Classes, int]:
    """Join cells to square blocks so that no side has more than `pixels` of them.

    A block is the class most of its cells have (of equally many, the highest).

    Parameters
    ----------
    classes
        Shape (rows, columns); `NOWHERE`: not drawn.

    Returns
    -------
    classes, side
        The blocks, and how many cells a side of one has.
    """
    side = block_side(classes.shape, pixels=pixels)
    blocks = _blocks(classes, side, NOWHERE)
    best = np.full((blocks.shape[0], blocks.shape[2]), NOWHERE, np.uint8)
    count = np.zeros(best.shape, np.int64)
    for one in np.unique(classes[classes != NOWHERE]).tolist():
        here = (blocks == one).sum(axis=(1, 3))
        wins = (here > 0) & (here >= count)
        best[wins] = one
        count[wins] = here[wins]
    return best, side


def block_side(shape: tuple[int, ...], *, pixels: int = MOST_PIXELS // 2) -> int:
    """Return how many cells a side of a block has so that no side has more than `pixels` blocks.

    Parameters
    ----------
    shape
        Rows and columns of the cells.
    pixels
        Most blocks on a side.
    """
    return max(1, math.ceil(max(shape) / pixels))


def block_means(
    values: NDArray[np.float32], *, pixels: int = MOST_PIXELS // 2
) -> tuple[NDArray[np.float64], int]:
    """Average square blocks of cells so that no side has more than `pixels` of them.

    Parameters
    ----------
    values
        Shape (rows, columns), any unit.
    pixels
        Most blocks on a side.

    Returns
    -------
    means, side
        The blocks, shape (rows, columns) of them (what lies beyond the edge counts as 0), and how
        many cells a side has.
    """
    side = block_side(values.shape, pixels=pixels)
    return _blocks(values.astype(np.float64), side, 0).mean(axis=(1, 3)), side


def _blocks(cells: NDArray[Any], side: int, beyond: int) -> NDArray[Any]:
    """Shape (rows of blocks, side, columns of blocks, side)."""
    rows, columns = (-(-length // side) for length in cells.shape)
    padded = np.full((rows * side, columns * side), beyond, cells.dtype)
    padded[: cells.shape[0], : cells.shape[1]] = cells
    return padded.reshape(rows, side, columns, side)


def dotted(classes: Classes, one: int) -> Classes:
    """Leave out every second pixel of one class, as on a chessboard.

    Parameters
    ----------
    classes
        Shape (rows, columns): class of each pixel.
    one
        The class.

    Returns
    -------
    array
        Shape (rows, columns).
    """
    row, column = np.indices(classes.shape)
    out = classes.copy()
    out[(classes == one) & ((row + column) % 2 == 1)] = NOWHERE
    return out


def level_picture(classes: Classes, grid: Grid, side: int = 1) -> LevelPicture:
    """Turn a picture that is level in the neighbourhood's CRS into one level on a web map.

    Each new pixel takes the block in which its centre lies; outside the grid: `NOWHERE`.

    Parameters
    ----------
    classes
        Shape (rows, columns), north up, beginning at the grid's corner.
    grid
        Where the cells lie.
    side
        How many cells a side of a block has.
    """
    block = grid.cell_m * side
    east = grid.west + grid.shape[1] * grid.cell_m
    south = grid.north - grid.shape[0] * grid.cell_m
    ways = change_of(grid.crs, "EPSG:4326")
    along = np.linspace(0, 1, 21)
    xs = np.r_[grid.west + along * (east - grid.west), np.repeat([grid.west, east], 21)]
    ys = np.r_[np.repeat(south, 21), south + np.tile(along, 2) * (grid.north - south)]
    xs, ys = np.r_[xs, xs[:21]], np.r_[ys, np.repeat(grid.north, 21)]
    lon, lat = ways.transform(xs, ys)
    # Height on a web map in degrees: Mercator on a sphere.
    high = np.degrees(np.arcsinh(np.tan(np.radians(lat))))
    edges = np.array([lon.min(), high.min(), lon.max(), high.max()])
    wide, tall = edges[2] - edges[0], edges[3] - edges[1]
    pixel = max(wide, tall) / min(MOST_PIXELS, 2 * max(classes.shape))
    columns, rows = math.ceil(wide / pixel), math.ceil(tall / pixel)
    edges[2], edges[1] = edges[0] + columns * pixel, edges[3] - rows * pixel
    lon = edges[0] + (np.arange(columns) + 0.5) * pixel
    high = edges[3] - (np.arange(rows) + 0.5) * pixel
    at_lon, at_lat = np.meshgrid(lon, _latitude(high))
    x, y = ways.transform(at_lon, at_lat, direction="INVERSE")
    row = np.floor((grid.north - y) / block).astype(np.int64)
    column = np.floor((x - grid.west) / block).astype(np.int64)
    inside = (row >= 0) & (column >= 0) & (row < classes.shape[0]) & (column < classes.shape[1])
    out = np.full(row.shape, NOWHERE, np.uint8)
    out[inside] = classes[row[inside], column[inside]]
    bottom, top = _latitude(edges[[1, 3]]).round(9).tolist()
    left, right = edges[[0, 2]].round(9).tolist()
    return LevelPicture(out, bottom, left, top, right)


def _latitude(high: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.degrees(np.arctan(np.sinh(np.radians(high)))), dtype=np.float64)


def png(classes: Classes, colours: Sequence[str]) -> bytes:
    """Write a picture with one colour a class; `NOWHERE` is see-through.

    PNG: W3C Recommendation, third edition (indexed colour, bit depth 8, no filter).

    Parameters
    ----------
    classes
        Shape (rows, columns).
    colours
        ``#rrggbb`` of each class from 0.
    """
    palette = b"".join(bytes.fromhex(colour[1:]) for colour in colours) + b"\0\0\0"
    drawn = np.where(classes == NOWHERE, len(colours), classes).astype(np.uint8)
    rows, columns = drawn.shape
    lines = np.zeros((rows, columns + 1), np.uint8)  # each begins with its filter: none
    lines[:, 1:] = drawn
    header = struct.pack(">IIBBBBB", columns, rows, 8, 3, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(content))
        + name
        + content
        + struct.pack(">I", zlib.crc32(name + content))
        for name, content in (
            (b"IHDR", header),
            (b"PLTE", palette),
            (b"tRNS", b"\xff" * len(colours) + b"\0"),
            (b"IDAT", zlib.compress(lines.tobytes(), 9)),
            (b"IEND", b""),
        )
    )
