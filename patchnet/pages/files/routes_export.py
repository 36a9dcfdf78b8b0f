"""Links, corridors and their bands as layers for a GIS."""

from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely

from patchnet.assess.find_routes import Routes
from patchnet.core.errors import WrongUse
from patchnet.core.files import ensure_may_write
from patchnet.core.texts import _
from patchnet.movement.corridors import Corridor
from patchnet.movement.surface import CostSurface
from patchnet.pages.files.export import Form, export_form, write_layers

__all__ = ["band_shape", "band_table", "routes_form", "write_routes"]


def band_shape(way: Corridor, surface: CostSurface) -> shapely.MultiPolygon:
    """The band of a corridor as an area: the outline of its cells (empty where it has none)."""
    from rasterio.features import shapes as outlines

    found = outlines(way.band.astype("uint8"), mask=way.band, transform=surface.transform)
    return shapely.MultiPolygon([shapely.geometry.shape(outline) for outline, _ in found])


def band_table(routes: Routes) -> gpd.GeoDataFrame:
    """Bands of ways hardly costlier than the cheapest, as areas.

    Parameters
    ----------
    routes
        Ways of one group.

    Returns
    -------
    GeoDataFrame
        Columns from_plot, to_plot, cost_m, length_m (metres), plots, geometry.
    """
    surface = routes.surface
    rows = [
        (
            way.plot_a, way.plot_b, way.cost, way.length_m, "; ".join(way.plots),
            band_shape(way, surface),
        )
        for way in routes.corridors
        if way.band.any()
    ]  # fmt: skip
    columns = ["from_plot", "to_plot", "cost_m", "length_m", "plots", "geometry"]
    return gpd.GeoDataFrame(
        pd.DataFrame(rows, columns=columns),
        geometry="geometry",
        crs=routes.assessment.neighbourhood.plots.crs,
    )


def write_routes(routes: Routes, path: Path | str, *, overwrite: bool = False) -> Path:
    """Write ways for a GIS, whole or not at all, and return the path.

    They show how gardens can be entered: for the group, not for publishing.

    Parameters
    ----------
    routes
        From `patchnet.find_routes`.
    path
        ``.gpkg`` (links, breaks, corridors and their bands) or ``.geojson`` (the links; the one
        way where two plots were asked about).
    overwrite
        Also replace a file that patchnet did not make.

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    WrongUse
        If the ending is another.
    CannotWrite
        If the file cannot be written.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["frog"], cell_m=2)
    >>> way = patchnet.find_routes(answer, "frog", between=("M15B", "M17B"))
    >>> patchnet.write_routes(way, "way.geojson").name
    'way.geojson'
    """
    form = routes_form(path)
    ensure_may_write(path, overwrite=overwrite)
    makers: dict[str, Callable[[], gpd.GeoDataFrame]] = {
        "links": routes.links, "breaks": routes.breaks, "corridors": routes.table,
        "bands": lambda: band_table(routes),
    }  # fmt: skip
    alone = "links" if routes.between is None else "corridors"
    wanted = tuple(makers) if form == "gpkg" else (alone,)
    write_layers(
        {name: makers[name]() for name in wanted},
        path,
        form=form,
        credit_lines=routes.assessment.neighbourhood.credits,
    )
    return Path(path)


def routes_form(path: Path | str) -> Form:
    """Which format a file name asks for.

    Parameters
    ----------
    path
        Name of the file to be written.

    Raises
    ------
    WrongUse
        If the ending is neither .gpkg nor .geojson.
    """
    form = export_form(path, ("one",))
    if form in ("graphml", "csv"):
        raise WrongUse(_("Routes are written as .gpkg or .geojson."))
    return form
