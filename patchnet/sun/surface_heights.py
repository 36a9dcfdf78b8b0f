"""Measured heights of everything (roofs, trees, ground) from a GeoTIFF, and the horizon there."""

import warnings
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pyproj
from numpy.typing import NDArray

from patchnet.core.errors import CannotRead, DataFaults
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import Fault
from patchnet.core.raster_cells import at_centres, cell_side
from patchnet.core.reader_child import read_in_child
from patchnet.core.shown import Shown
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.sun.course import Course

if TYPE_CHECKING:
    from rasterio.io import DatasetReader

__all__ = ["SurfaceHeights", "read_surface_heights"]

# More cells than this are not held: 300 m of street with its margin have 10 million at the finest.
_CELLS_MOST = 16_000_000


@dataclass(frozen=True, eq=False, repr=False)
class SurfaceHeights(Shown):
    """Heights on a grid in the coordinate system of the plots.

    Attributes
    ----------
    top
        Shape (rows, columns), float32: height of what stands there, metres above any level;
        NaN no data.
    ground
        Same shape and level: height of the bare earth.
    west, north
        Corner of the first cell, metres.
    cell_m
        Side of a cell, metres.
    guessed
        Whether the bare earth is guessed: the lowest of the surface nearby.
    faults
        Warnings that did not stop the work.
    """

    top: NDArray[np.float32]
    ground: NDArray[np.float32]
    west: float
    north: float
    cell_m: float
    guessed: bool = True
    faults: tuple[Fault, ...] = ()

    def covers(self, spots: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Return whether there are data at each spot, shape (n, 2)."""
        row, column, inside = self._cells(spots[:, 0], spots[:, 1])
        known: NDArray[np.bool_] = (
            inside & np.isfinite(self.top[row, column]) & np.isfinite(self.ground[row, column])
        )
        return known

    def bare_earth(self, spots: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the height of the ground at each spot, shape (n, 2); NaN where not known."""
        row, column, inside = self._cells(spots[:, 0], spots[:, 1])
        return np.where(inside, self.ground[row, column], np.nan).astype(np.float64)

    def horizon(
        self,
        spots: NDArray[np.float64],
        days: Course,
        *,
        above_m: float = 0.0,
    ) -> NDArray[np.float32]:
        """Return how steeply the surface rises around each spot, see `Walls.horizon`.

        From each spot steps of one cell go out in every direction, as far as the highest cell
        of all could still hide the lowest sun. A cell rises as steeply as its top stands above
        the bare earth at the spot. Cells without data, and spots without, rise nowhere.
        """
        found = np.zeros((len(spots), len(days.directions)), np.float32)
        if not self._has_data:
            return found
        row, column, inside = self._cells(spots[:, 0], spots[:, 1])
        eye = np.where(inside, self.ground[row, column], np.nan) + np.float32(above_m)
        known = np.isfinite(eye)
        if not known.any():
            return found
        x, y, eye = spots[known, 0], spots[known, 1], eye[known]
        tallest = float(self._tallest - eye.min())
        widest = float(np.hypot(*self.top.shape)) * self.cell_m
        rises = np.zeros((int(known.sum()), len(days.directions)), np.float32)
        for direction, turn in enumerate(days.directions):
            slope = days.lowest[direction]
            reach = min(widest, tallest / slope if slope > 0 else widest)
            steps = self.cell_m * np.arange(1, max(0, int(reach / self.cell_m)) + 1)
            if not len(steps):
                continue
            row, column, inside = self._cells(
                x[:, None] + steps * np.sin(turn), y[:, None] + steps * np.cos(turn)
            )
            rise = (self.top[row, column] - eye[:, None]) / steps.astype(np.float32)
            rise[~inside | np.isnan(rise)] = 0
            rises[:, direction] = np.maximum(rise.max(axis=1), 0)
        found[known] = rises
        return found

    # Asked of many plots, and a raster has millions of cells: gone through once.
    @cached_property
    def _has_data(self) -> bool:
        return bool(np.isfinite(self.top).any())

    @cached_property
    def _tallest(self) -> "np.floating[Any]":
        tallest: np.floating[Any] = np.nanmax(self.top)
        return tallest

    def _cells(
        self, x: NDArray[np.float64], y: NDArray[np.float64]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
        """Return row and column of the cells, and whether they are on the grid (else 0, 0)."""
        row = np.floor((self.north - y) / self.cell_m).astype(np.int64)
        column = np.floor((x - self.west) / self.cell_m).astype(np.int64)
        rows, columns = self.top.shape
        inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
        return np.where(inside, row, 0), np.where(inside, column, 0), inside


def read_surface_heights(
    path: Path | str,
    plots: gpd.GeoDataFrame,
    knowledge: Knowledge | None = None,
    *,
    bare_earth: Path | str | None = None,
) -> SurfaceHeights:
    """Read heights measured from the air, as many surveys give them away, around the plots.

    Each cell takes the height at its centre, so that walls stay upright; no data stay no data.
    Without a bare earth the ground is taken as the lowest of the surface within
    ``surface_ground_m`` of the settings, which is too high under wide trees.

    Parameters
    ----------
    path
        GeoTIFF or another raster of heights in metres above any level, of all that stands (a
        digital surface model). Its first band is read.
    plots
        Outlines in metres; the raster is brought to their coordinate system.
    knowledge
        For the margin read round the plots, and what heights are believed.
    bare_earth
        Raster of the ground without what stands on it (a digital terrain model), same level.

    Returns
    -------
    SurfaceHeights
        Heights on a grid of square cells, metres; what is in doubt is in `faults`.

    Raises
    ------
    CannotRead
        If a file is missing or is not a raster.
    DataFaults
        If a raster has no place on the map, does not overlap the plots, holds no data there, or
        impossible heights: every fault of both files at once.

    Examples
    --------
    >>> import numpy, patchnet, rasterio
    >>> street = patchnet.read_demo()
    >>> west, south, east, north = street.plots.total_bounds
    >>> place = rasterio.Affine(5, 0, west - 50, 0, -5, north + 50)
    >>> with rasterio.open(
    ...     "dsm.tif", "w", driver="GTiff", width=90, height=70, count=1, dtype="float32",
    ...     crs=street.plots.crs.to_wkt(), transform=place,
    ... ) as raster:
    ...     raster.write(numpy.full((1, 70, 90), 12, "float32"))
    >>> patchnet.read_surface_heights("dsm.tif", street.plots).cell_m
    5.0
    """
    knowledge = knowledge or load_knowledge()
    faults = FaultList()
    margin = knowledge.setting("surface_margin_sun_m")
    left, low, right, high = plots.total_bounds + np.array([-1, -1, 1, 1]) * margin
    top, cell = _read(Path(path), plots, (left, low, right, high), None, knowledge, faults)
    shape = None if top is None else ((top.shape[0], top.shape[1]), cell)
    earth = None
    if bare_earth is not None:
        box = (left, low, right, high)
        earth, _ = _read(Path(bare_earth), plots, box, shape, knowledge, faults)
    if top is None or (bare_earth is not None and earth is None):
        raise DataFaults(faults.faults)
    if earth is None:
        from scipy.ndimage import minimum_filter

        across = 2 * round(knowledge.setting("surface_ground_m") / cell) + 1
        filled = np.where(np.isnan(top), np.float32(np.inf), top)
        earth = minimum_filter(filled, size=across, mode="nearest").astype(np.float32)
        earth[~np.isfinite(earth)] = np.nan
    _believe(top, earth, Path(path), knowledge, faults)
    if faults.errors:
        raise DataFaults(faults.faults)
    return SurfaceHeights(
        top, earth, float(left), float(high), cell, bare_earth is None, faults.faults
    )


def _read(
    path: Path,
    plots: gpd.GeoDataFrame,
    box: tuple[float, float, float, float],
    like: tuple[tuple[int, int], float] | None,
    knowledge: Knowledge,
    faults: FaultList,
) -> tuple[NDArray[np.float32] | None, float]:
    """Return heights within a box and the side of their cells; None where there are faults."""
    # Only the outlines go to the reader's process, and only faults and heights come back.
    values, cell, said = read_in_child(_read_here, path, plots[["geometry"]], box, like, knowledge)
    faults.extend(said)
    return values, cell


def _read_here(
    path: Path,
    plots: gpd.GeoDataFrame,
    box: tuple[float, float, float, float],
    like: tuple[tuple[int, int], float] | None,
    knowledge: Knowledge,
) -> tuple[NDArray[np.float32] | None, float, tuple[Fault, ...]]:
    faults = FaultList()
    values, cell = _heights(path, plots, box, like, knowledge, faults)
    return values, cell, faults.faults


def _heights(
    path: Path,
    plots: gpd.GeoDataFrame,
    box: tuple[float, float, float, float],
    like: tuple[tuple[int, int], float] | None,
    knowledge: Knowledge,
    faults: FaultList,
) -> tuple[NDArray[np.float32] | None, float]:
    import rasterio
    from rasterio.errors import NotGeoreferencedWarning, RasterioError

    try:
        with warnings.catch_warnings():
            # Said below as a fault of the user's file.
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            with rasterio.open(path) as raster:
                if raster.crs is None or raster.transform.is_identity:
                    faults.error(
                        path.name,
                        _("The raster does not say where it lies (coordinate system or corner)."),
                        _("Save it with its georeference, as a GeoTIFF."),
                    )
                    return None, 0.0
                if np.dtype(raster.dtypes[0]).kind not in "iuf":
                    faults.error(
                        path.name, _("The raster holds no heights."), _("Give heights in metres.")
                    )
                    return None, 0.0
                values, cell = _gridded(raster, plots, box, like, knowledge)
    except (RasterioError, OSError) as error:
        raise CannotRead(
            _(
                "{path} cannot be read as a raster: it is missing, damaged, or of another kind."
            ).format(path=path)
        ) from error
    inner = _inner(values, box, plots, cell)
    if np.isnan(inner).all():
        faults.error(
            path.name,
            _("The raster holds no data where the plots are."),
            _("Look whether it is of the right place and coordinate system."),
        )
        return None, cell
    return values, cell


def _gridded(
    raster: "DatasetReader",
    plots: gpd.GeoDataFrame,
    box: tuple[float, float, float, float],
    like: tuple[tuple[int, int], float] | None,
    knowledge: Knowledge,
) -> tuple[NDArray[np.float32], float]:
    """Return the heights at the centres of cells in the plots' coordinate system."""
    left, low, right, high = box
    crs = pyproj.CRS.from_user_input(plots.crs)
    if like is not None:
        shape, cell = like
    else:
        side = cell_side(raster, crs, (left + right) / 2, (low + high) / 2)
        # Cells are square; so large an area that they would not fit takes larger ones.
        cell = max(
            knowledge.setting("surface_cell_min_m"),
            side if np.isfinite(side) else 0.0,
            float(np.sqrt((high - low) * (right - left) / _CELLS_MOST)),
        )
        shape = int(np.ceil((high - low) / cell)), int(np.ceil((right - left) / cell))
    values = at_centres(raster, crs, (left, high), cell, shape)
    return values.astype(np.float32), cell


def _inner(
    values: NDArray[np.float32],
    box: tuple[float, float, float, float],
    plots: gpd.GeoDataFrame,
    cell: float,
) -> NDArray[np.float32]:
    """Return the part of the grid that the plots' box lies on."""
    left, low, right, high = plots.total_bounds
    rows = slice(int((box[3] - high) / cell), int((box[3] - low) / cell) + 1)
    columns = slice(int((left - box[0]) / cell), int((right - box[0]) / cell) + 1)
    return values[rows, columns]


def _believe(
    top: NDArray[np.float32],
    earth: NDArray[np.float32],
    path: Path,
    knowledge: Knowledge,
    faults: FaultList,
) -> None:
    """Report impossible heights: an error where many; a few count as cells without data."""
    most = knowledge.setting("building_height_max_m")
    deep = knowledge.setting("surface_below_m")
    with np.errstate(invalid="ignore"):
        above = top - earth
        odd = (above > most) | (above < -deep)
    known = np.isfinite(above)
    if not known.any():
        faults.error(
            path.name,
            _("Surface and bare earth have no data in common."),
            _("Give two rasters of the same place."),
        )
        return
    share = float(odd[known].mean())
    if share > knowledge.setting("surface_odd_share"):
        faults.error(
            path.name,
            _(
                "{share:.0%} of the heights are impossible: more than {most:g} m above the "
                "ground, or more than {deep:g} m below it."
            ).format(share=share, most=most, deep=deep),
            _(
                "Look whether the heights are in metres, whether both rasters count from the same "
                "level, and whether cells without data are marked."
            ),
        )
    elif odd.any():
        faults.warn(
            path.name,
            _("{total} cells with impossible heights were treated as having no data.").format(
                total=int(odd.sum())
            ),
            _("Nothing needs to be done; it is birds, masts or faults of the survey."),
        )
        top[odd] = np.nan
