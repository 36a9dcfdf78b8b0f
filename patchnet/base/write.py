"""A base map written as one GeoPackage, layer by layer with its credits."""

from collections.abc import Iterator
from pathlib import Path

import geopandas as gpd

from patchnet.base.make import BaseMap
from patchnet.core.geopackage import OutLayer, write_geopackage
from patchnet.core.street_store import replacing

__all__ = ["BASE_LAYERS", "write_base"]

BASE_LAYERS = ("plots", "features", "barriers", "buildings", "roads", "footways")
_TYPES = {"plots": "MultiPolygon", "buildings": "MultiPolygon"}


def write_base(base: BaseMap, path: Path | str) -> None:
    """Write a base map as GeoPackage, whole or not at all.

    Layers are those of a neighbourhood (`BASE_LAYERS`; an empty one is left out), a table
    ``left_out`` of houses without a plot (street, door, osm, reason) and a table ``credits``.
    Each layer carries its own lines of attribution as metadata too, so that what is
    from OpenStreetMap stays apart from what a survey adds.

    Parameters
    ----------
    base
        From `patchnet.make_base`.
    path
        The GeoPackage.

    Raises
    ------
    CannotWrite
        If the file cannot be written.

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> base = patchnet.make_base(["demo/buildings.geojson", "demo/roads.geojson"])
    >>> patchnet.write_base(base, "base.gpkg")
    >>> len(patchnet.read_neighbourhood("base.gpkg").plots) == len(base.plots)
    True
    """
    with replacing(path) as draft:
        write_geopackage(draft, _layers(base))


def _layers(base: BaseMap) -> Iterator[OutLayer]:
    for name in BASE_LAYERS:
        table: gpd.GeoDataFrame = getattr(base, name)
        if len(table):
            own = tuple(base.credits[base.credits["layer"] == name]["attribution"])
            yield OutLayer(name, table, credits=own, geometry_type=_TYPES.get(name))
    left_out = base.houses[base.houses["plots"] == ""].drop(columns="plots")
    for name, plain in (("left_out", left_out), ("credits", base.credits)):
        if len(plain):
            yield OutLayer(name, plain.reset_index(drop=True))
