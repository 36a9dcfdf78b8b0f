"""The grid of square cells that the ground is painted on, and whether it fits into memory."""

import math
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS

from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge

__all__ = ["Grid", "cell_for", "ensure_fits", "lay_grid", "plot_widths"]

_ROUND_CELLS = (0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 7.5, 10.0)
_CELLS_INDEXED = 2**31 - 1  # cells are numbered with 32 bits
_GB = 1e9


@dataclass(frozen=True, slots=True)
class Grid:
    """Square cells, north up; the first row is the northernmost.

    Attributes
    ----------
    west, north
        Coordinates of the outer corner of the first cell, metres.
    shape
        Rows and columns.
    cell_m
        Side of a cell, metres.
    crs
        The projected CRS, in metres.
    """

    west: float
    north: float
    shape: tuple[int, int]
    cell_m: float
    crs: CRS

    @property
    def transform(self) -> Affine:
        """From (column, row) to coordinates, as GeoTIFF and rasterio take it."""
        return Affine(self.cell_m, 0.0, self.west, 0.0, -self.cell_m, self.north)

    @property
    def cells(self) -> int:
        """How many cells there are."""
        return self.shape[0] * self.shape[1]


def lay_grid(plots: gpd.GeoDataFrame, knowledge: Knowledge, cell_m: float | None) -> Grid:
    """Lay a grid over the plots and a margin around them.

    Unless it is given, the side of a cell is half the width of the narrow plots (nineteen in
    twenty are wider; width is twice the area over the outline), within the least and greatest
    of the settings, and larger where there would be more cells than the settings want.

    Parameters
    ----------
    plots
        Outlines in a CRS of metres.
    knowledge
        For the settings of the surface.
    cell_m
        Side of a cell, metres; None: chosen as above.

    Raises
    ------
    WrongUse
        If there are no plots, the side is not a positive number, or the grid would not fit
        into the memory that the settings allow: the message names the side that would fit.
    """
    if plots.empty:
        raise WrongUse(_("There are no plots, so there is no ground to move over."))
    if cell_m is not None and not (math.isfinite(cell_m) and cell_m > 0):
        raise WrongUse(
            _("The side of a cell must be a number of metres above 0, not {cell_m}.").format(
                cell_m=cell_m
            )
        )
    margin = knowledge.setting("surface_margin_m")
    west, south, east, north = plots.total_bounds + np.array([-margin, -margin, margin, margin])
    wide, high = east - west, north - south
    cell = cell_m
    if cell is None:
        cell = cell_for(plot_widths(plots), wide * high, knowledge)
    # Outer edges on whole multiples of the cell: two surfaces of one place match.
    first, last = math.floor(west / cell), math.ceil(east / cell)
    bottom, top = math.floor(south / cell), math.ceil(north / cell)
    grid = Grid(first * cell, top * cell, (top - bottom, last - first), cell, CRS(plots.crs))
    ensure_fits(grid, knowledge, "growth_bytes_per_cell", _("The ground"))
    return grid


def ensure_fits(grid: Grid, knowledge: Knowledge, setting: str, what: str) -> None:
    """Make sure, before memory is taken, that there will be enough.

    Parameters
    ----------
    setting
        The setting that says how many bytes a cell takes.
    what
        What would take the memory, to begin a sentence with.

    Raises
    ------
    WrongUse
        If it would take more than the setting ``ground_memory_gb``.
    """
    wanted = grid.cells * knowledge.setting(setting)
    allowed = min(
        knowledge.setting("ground_memory_gb") * _GB, _CELLS_INDEXED * knowledge.setting(setting)
    )
    if wanted <= allowed:
        return
    fits = grid.cell_m * math.sqrt(wanted / allowed)
    step = 10.0 ** (math.floor(math.log10(fits)) - 1)
    fits = math.ceil(fits * 1.01 / step) * step
    raise WrongUse(
        _(
            "{what} in cells of {cell_m:g} m has {cells:,} cells and would take {wanted:.1f} GB; "
            "{allowed:.1f} GB are allowed. Cells of {fits:g} m would fit."
        ).format(
            what=what,
            cell_m=grid.cell_m,
            cells=grid.cells,
            wanted=wanted / _GB,
            allowed=allowed / _GB,
            fits=fits,
        )
    )


def plot_widths(plots: gpd.GeoDataFrame) -> NDArray[np.float64]:
    """Width of each plot, metres: twice its area over its outline.

    Parameters
    ----------
    plots
        Outlines in a CRS of metres.

    Returns
    -------
    array
        Shape (n,), metres.
    """
    return np.asarray(2 * plots.geometry.area / plots.geometry.length, dtype=np.float64)


def cell_for(widths: NDArray[np.float64], area: float, knowledge: Knowledge) -> float:
    """Return the side of a cell that suits some plots, metres (see `lay_grid`).

    Parameters
    ----------
    widths
        Shape (n,): of the plots, metres.
    area
        Of the ground that is to be painted, m2.
    knowledge
        For the settings of the surface.
    """
    width = np.quantile(widths, 0.05)
    least, most = (knowledge.setting(f"ground_cell_{end}_m") for end in ("min", "max"))
    wanted = float(np.clip(width / 2, least, most))
    few = math.sqrt(area / knowledge.setting("ground_cells_max"))
    if few > wanted:
        return next((cell for cell in _ROUND_CELLS if cell >= few), math.ceil(few))
    return max((cell for cell in _ROUND_CELLS if cell <= wanted), default=least)
