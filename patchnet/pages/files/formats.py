"""The formats that tables are written in, each a function under its ending.

A format is a function of this file with `file_format` over it: `export_form`, `write_layers` and
every command that writes layers take it from there.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeAlias

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely

from patchnet.core.cells import harmless
from patchnet.core.files import no_room
from patchnet.core.geopackage import OutLayer, fill_geopackage

__all__ = ["FORMATS", "RIGHTS_HOLDER", "Credits", "Format", "Layers", "endings", "file_format"]

Layers: TypeAlias = Mapping[str, gpd.GeoDataFrame]
"""Tables by the name of their layer, in metres of the neighbourhood."""


RIGHTS_HOLDER = "rightsHolder"
"""What lines of attribution are called in a table (a term of Dublin Core and Darwin Core)."""


@dataclass(frozen=True)
class Credits:
    """What a file says of itself: who is to be credited; what was left out, by term."""

    lines: tuple[str, ...]
    told: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Format:
    """One format.

    Parameters
    ----------
    key
        Its name.
    endings
        Endings of file names that ask for it.
    several
        Whether a file holds every layer; if not, `write` is given one.
    write
        Writes layers to a path at which nothing stands yet.
    """

    key: str
    endings: tuple[str, ...]
    several: bool
    write: Callable[[Path, Layers, Credits], None]


FORMATS: dict[str, Format] = {}
"""Every format by its key."""


def file_format(
    key: str, *names: str, several: bool = False
) -> Callable[[Callable[[Path, Layers, Credits], None]], Callable[[Path, Layers, Credits], None]]:
    """Make a function a format; see `Format`."""

    def register(
        write: Callable[[Path, Layers, Credits], None],
    ) -> Callable[[Path, Layers, Credits], None]:
        FORMATS[key] = Format(key, names, several, write)
        return write

    return register


def endings() -> dict[str, str]:
    """Return the key of the format that each ending of a file name asks for."""
    return {ending: one.key for one in FORMATS.values() for ending in one.endings}


@file_format("gpkg", ".gpkg", several=True)
def _gpkg(path: Path, layers: Layers, credit: Credits) -> None:
    """Every layer as a GeoPackage (OGC 12-128), in the plots' CRS."""
    fill_geopackage(
        path,
        [
            OutLayer(name, table, credit.lines, credit.told, _geometry_type(table))
            for name, table in layers.items()
        ],
        named=path.name,
    )


@file_format("geojson", ".geojson", ".json")
def _geojson(path: Path, layers: Layers, credit: Credits) -> None:
    """One layer through GDAL, in WGS 84.

    It has its credits as a list beside the features, a foreign member in the sense of RFC 7946,
    section 6.1, and reads them back from there.
    """
    ((name, table),) = layers.items()
    try:
        pyogrio.write_dataframe(
            table.to_crs("OGC:CRS84"),
            path,
            driver="GeoJSON",
            layer=name,
            geometry_type=_geometry_type(table),
            RFC7946="YES",
            COORDINATE_PRECISION="7",
            DESCRIPTION="; ".join([*credit.lines, *credit.told.values()]),
            **_beside_features(credit.lines),
        )
    except (
        pyogrio.errors.DataSourceError,
        pyogrio.errors.DataLayerError,
        pyogrio.errors.FeatureError,
    ) as error:
        raise no_room(path.name) from error


def _beside_features(credit_lines: tuple[str, ...]) -> dict[str, str]:
    """Options that make GDAL write the credits as a member of the collection."""
    if not credit_lines:
        return {}
    return {
        "NATIVE_DATA": json.dumps({"credits": list(credit_lines)}),
        "NATIVE_MEDIA_TYPE": "application/vnd.geo+json",
    }


@file_format("csv", ".csv")
def _csv(path: Path, layers: Layers, credit: Credits) -> None:
    """RFC 4180: comma, CRLF, quotes doubled, a header; shapes as text in WGS 84.

    The columns of the shape are those of Darwin Core (footprintWKT, footprintSRS).
    """
    (table,) = layers.values()
    world = table.to_crs("OGC:CRS84")
    plain = pd.DataFrame(world.drop(columns="geometry")).assign(
        footprintWKT=shapely.to_wkt(world.geometry.to_numpy(), rounding_precision=7),
        footprintSRS="OGC:CRS84",
    )
    if credit.lines:
        plain[RIGHTS_HOLDER] = "; ".join(credit.lines)
    plain = plain.apply(lambda column: column.map(_safe))
    plain.to_csv(path, index=False, lineterminator="\r\n", encoding="utf-8")


def _safe(cell: object) -> object:
    """Return a cell that no spreadsheet runs as a formula."""
    return harmless(cell) if isinstance(cell, str) else cell


def _geometry_type(table: gpd.GeoDataFrame) -> str:
    """One type for the layer: the multi type where any geometry is multipart."""
    kinds = set(shapely.get_type_id(table.geometry.to_numpy()).tolist())
    if kinds <= {int(shapely.GeometryType.LINESTRING)}:
        return "LineString"
    return "MultiPolygon" if int(shapely.GeometryType.MULTIPOLYGON) in kinds else "Polygon"
