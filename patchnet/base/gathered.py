"""Everything a base map is made from, by what it is, in one coordinate system in metres."""

from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray

from patchnet.base.addresses import Left
from patchnet.read.repair import mended, polygons_of

__all__ = ["COLUMNS", "Gathered", "areas_only", "frame", "lines_only"]

COLUMNS: dict[str, dict[str, type]] = {
    "parcels": {"parcel": str, "where": str, "row": int},
    "buildings": {"name": str, "height_m": float, "use": str, "sure": bool, "row": bool,
                  "doors": tuple, "osm": str},
    "addresses": {"doors": tuple, "rule": str, "osm": str},
    "roads": {"name": str, "kind": str, "width_m": float, "speed_kmh": float, "walked": str,
              "bridge": bool, "osm": str},
    "footways": {"name": str, "width_m": float, "osm": str},
    "areas": {"kind": str, "name": str, "osm": str},
    "features": {"feature": str, "sure": bool, "osm": str},
    "barriers": {"kind": str, "height_m": float, "osm": str},
}  # fmt: skip
"""Columns of each table beside its geometry."""


@dataclass(frozen=True, eq=False)
class Gathered:
    """Inputs by what they are; every table has the columns of `COLUMNS` and a geometry.

    Attributes
    ----------
    parcels
        Polygons of a cadastre, without overlaps.
    buildings
        Polygons; ``use`` is house, outbuilding or the kind of plot that its ground is; ``doors``
        has their addresses (see `addresses.Door`); ``row`` says that one is a whole terrace.
    addresses
        Points, areas and interpolation lines that tell addresses beside the buildings.
    left
        Addresses that no house was found for, or whose house lies outside the place.
    roads
        Lines; ``kind`` is street, lane, drive or highway; ``walked`` says which sides have a
        footway (both, left, right, no, or empty: not said); a ``bridge`` leaves the ground under
        it as it is.
    footways
        Lines or polygons.
    areas
        Polygons of parks, school grounds and the like.
    features, barriers
        What else OpenStreetMap maps.
    crs, source_crs
        The one system of all of them, and the one the main input came in.
    credits
        Table -> lines of attribution of what it is made from.
    place
        What the user asked for. The tables reach somewhat beyond, so that the outermost plots
        have neighbours too; None where all is wanted.
    """

    parcels: gpd.GeoDataFrame
    buildings: gpd.GeoDataFrame
    addresses: gpd.GeoDataFrame
    roads: gpd.GeoDataFrame
    footways: gpd.GeoDataFrame
    areas: gpd.GeoDataFrame
    features: gpd.GeoDataFrame
    barriers: gpd.GeoDataFrame
    crs: pyproj.CRS
    source_crs: str
    credits: dict[str, tuple[str, ...]] = field(default_factory=dict)
    left: tuple[Left, ...] = ()
    place: shapely.Polygon | None = None


def frame(kind: str, rows: list[dict[str, object]], crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """Return rows as the table of that kind, its columns typed also where it is empty."""
    columns = COLUMNS[kind]
    table = pd.DataFrame(rows, columns=[*columns, "geometry"])
    for name, dtype in columns.items():
        table[name] = table[name].astype(object if dtype in {str, tuple} else dtype)
    return gpd.GeoDataFrame(table, geometry="geometry", crs=crs)


def areas_only(shape: shapely.Geometry | None) -> shapely.Geometry | None:
    """Return the valid areas of a geometry, or None where it encloses none."""
    if not _usable(shape):
        return None
    valid = mended(shape)
    return None if valid is None else polygons_of(valid)


def lines_only(shape: shapely.Geometry | None) -> shapely.Geometry | None:
    """Return a line (of an area its outline) without Z, or None."""
    if not _usable(shape):
        return None
    flat = shapely.force_2d(shape)
    if shapely.get_dimensions(flat) == 2:
        valid = areas_only(flat)
        return None if valid is None else valid.boundary
    return flat if shapely.get_dimensions(flat) == 1 and flat.length > 0 else None


def _usable(shape: shapely.Geometry | None) -> bool:
    if shape is None or shape.is_empty:
        return False
    corners: NDArray[np.float64] = shapely.get_coordinates(shape)
    return bool(np.isfinite(corners).all())
