"""Links, corridors and their bands as layers for a GIS."""

from collections.abc import Sequence
from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely
from rasterio.features import shapes as outlines

from patchnet.assess.assessment import Assessment
from patchnet.assess.ways import walking_ground
from patchnet.movement.corridors import Corridor
from patchnet.movement.surface import CostSurface
from patchnet.pages.files.export import Form, break_table, link_table, write_layers

__all__ = ["band_shape", "band_table", "corridor_table", "write_routes"]


def band_shape(way: Corridor, surface: CostSurface) -> shapely.MultiPolygon:
    """The band of a corridor as an area: the outline of its cells (empty where it has none)."""
    found = outlines(way.band.astype("uint8"), mask=way.band, transform=surface.transform)
    return shapely.MultiPolygon([shapely.geometry.shape(outline) for outline, _ in found])


def corridor_table(assessment: Assessment, corridors: Sequence[Corridor]) -> gpd.GeoDataFrame:
    """Cheapest ways as lines: from_plot, to_plot, cost_m, length_m, plots."""
    return _table(assessment, [way for way in corridors if way.line is not None], None)


def band_table(
    assessment: Assessment, group: str, corridors: Sequence[Corridor]
) -> gpd.GeoDataFrame:
    """Bands of ways hardly dearer than the cheapest, as areas, with the columns of the lines."""
    surface = walking_ground(assessment, group).surface
    return _table(assessment, [way for way in corridors if way.band.any()], surface)


def _table(
    assessment: Assessment, corridors: Sequence[Corridor], surface: CostSurface | None
) -> gpd.GeoDataFrame:
    rows = [
        (
            way.plot_a,
            way.plot_b,
            way.cost,
            way.length_m,
            "; ".join(way.plots),
            way.line if surface is None else band_shape(way, surface),
        )
        for way in corridors
    ]
    columns = ["from_plot", "to_plot", "cost_m", "length_m", "plots", "geometry"]
    return gpd.GeoDataFrame(
        pd.DataFrame(rows, columns=columns),
        geometry="geometry",
        crs=assessment.neighbourhood.plots.crs,
    )


def write_routes(
    assessment: Assessment,
    group: str,
    corridors: Sequence[Corridor],
    path: Path | str,
    *,
    form: Form,
    lines: str = "links",
) -> None:
    """Write links, breaks, corridors and bands (GeoPackage), or one of them (GeoJSON).

    Parameters
    ----------
    lines
        The layer of a GeoJSON file: ``"links"`` or ``"corridors"``.

    Raises
    ------
    CannotWrite
        If the file cannot be written.
    """
    makers = {
        "links": lambda: link_table(assessment, all_links=True),
        "breaks": lambda: break_table(assessment),
        "corridors": lambda: corridor_table(assessment, corridors),
        "bands": lambda: band_table(assessment, group, corridors),
    }
    wanted = tuple(makers) if form == "gpkg" else (lines,)
    write_layers(
        {name: makers[name]() for name in wanted},
        path,
        form=form,
        credit_lines=assessment.neighbourhood.credits,
    )
