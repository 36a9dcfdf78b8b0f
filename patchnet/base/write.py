"""A base map written as one GeoPackage, layer by layer with its credits."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import geopandas as gpd
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError

from patchnet.base.make import BaseMap
from patchnet.core.errors import CannotWrite
from patchnet.core.files import write_aside

__all__ = ["BASE_LAYERS", "fixed_date", "write_base"]

BASE_LAYERS = ("plots", "features", "barriers", "buildings", "roads", "footways")
_TYPES = {"plots": "MultiPolygon", "buildings": "MultiPolygon"}
_DATE = "OGR_CURRENT_DATE"
_SAME_DATE = "2000-01-01T00:00:00Z"  # of no meaning: the same input gives the same bytes


def write_base(base: BaseMap, path: Path | str) -> None:
    """Write a base map as GeoPackage, whole or not at all.

    Layers are those of a neighbourhood (`BASE_LAYERS`; an empty one is left out) and a table
    ``credits``. Each layer carries its own lines of attribution as metadata too, so that what is
    from OpenStreetMap stays apart from what a survey adds.

    Raises
    ------
    CannotWrite
        If the file cannot be written.
    """
    with write_aside(path) as draft, fixed_date():
        try:
            for name in BASE_LAYERS:
                table: gpd.GeoDataFrame = getattr(base, name)
                if len(table):
                    own = base.credits[base.credits["layer"] == name]["attribution"]
                    _write(table, draft, name, "; ".join(own))
            if len(base.credits):
                pyogrio.write_dataframe(
                    base.credits, draft, layer="credits", driver="GPKG", append=draft.exists()
                )
        except (DataSourceError, DataLayerError) as error:
            raise CannotWrite(f"{path} cannot be written: {error}") from error


def _write(table: gpd.GeoDataFrame, path: Path, name: str, credit_lines: str) -> None:
    many = name in _TYPES
    if many:
        parts = [
            shapely.MultiPolygon([shape]) if shape.geom_type == "Polygon" else shape
            for shape in table.geometry
        ]
        table = table.set_geometry(parts, crs=table.crs)
    kinds = set(table.geom_type)
    pyogrio.write_dataframe(
        table,
        path,
        driver="GPKG",
        layer=name,
        append=path.exists(),
        geometry_type=_TYPES.get(name) or (kinds.pop() if len(kinds) == 1 else "Unknown"),
        layer_metadata={"credits": credit_lines} if credit_lines else None,
    )


@contextmanager
def fixed_date() -> Iterator[None]:
    """Let GDAL write one date into every GeoPackage: the same input gives the same bytes."""
    before = pyogrio.get_gdal_config_option(_DATE)
    pyogrio.set_gdal_config_options({_DATE: _SAME_DATE})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({_DATE: before})
