"""Inputs of a base map opened: OpenStreetMap extracts, and any vector file that GDAL reads.

What a file is, is told by its first bytes (see `open_file`): formats that can point to other
files or to the network are not opened.
"""

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio

from patchnet.core.errors import CannotRead
from patchnet.core.open_file import SUFFIXES, Layer, open_layers, trouble
from patchnet.core.reader_child import read_in_child
from patchnet.core.texts import _
from patchnet.read.from_file import local_path
from patchnet.read.layers import unpacked

__all__ = ["OSM_CREDIT", "OSM_KEYS", "open_input", "osm_table"]

OSM_CREDIT = "\N{COPYRIGHT SIGN} OpenStreetMap contributors, ODbL 1.0"
OSM_KEYS = frozenset(
    ("building", "highway", "natural", "landuse", "leisure", "barrier", "amenity", "man_made")
)
"""Keys of OpenStreetMap by which a table is recognised as coming from it."""

_PBF = b"OSMHeader"  # the type of a .pbf's first block stands in its first bytes
_XML = b"<?xml"
_OSM_LAYERS = {"points": "node", "lines": "way", "multipolygons": "relation"}
_NO_TAGS = frozenset(
    ("geometry", "osm_id", "osm_way_id", "z_order", "other_tags", "tags", "id", "@id", "type",
     "full_id", "osm_type", "relations", "meta", "tainted", "fid")
)  # fmt: skip
# Read by GDAL as they are: each stands alone and points nowhere.
_ALONE = {
    ".gml": {"WRITE_GFS": "NO"},  # else a file appears beside the user's
    ".xml": {"WRITE_GFS": "NO"},
    ".kml": {},
    ".tab": {},
    ".mif": {},
    ".dxf": {},
}
_READ = (*SUFFIXES, *_ALONE, ".osm", ".pbf")

Box = tuple[float, float, float, float]


def open_input(path: Path | str, *, box: Box | None = None) -> list[Layer]:
    """Open every layer of one file, zip or folder.

    A table from OpenStreetMap comes with the columns ``osm`` (``way/123``), ``tags`` (dict)
    and geometry.

    Parameters
    ----------
    path
        ``.osm``, ``.osm.pbf``, GeoPackage, GeoJSON, Shapefile, FlatGeobuf, GeoParquet, GML, KML,
        MapInfo, DXF, a zip or a folder of such files.
    box
        West, south, east, north in degrees: of an OpenStreetMap extract only what meets it.

    Raises
    ------
    CannotRead
        If it is missing, damaged, or of a kind that is not read.
    """
    with unpacked(local_path(path)) as place:
        if place.is_dir():
            found = [layer for file in _files(place) for layer in read_in_child(_open, file, box)]
        else:
            found = read_in_child(_open, place, box)
    if not found:
        raise CannotRead(_("In {path} there is no layer that can be read.").format(path=path))
    return found


def _files(folder: Path) -> list[Path]:
    with trouble(folder):
        files = sorted(file for file in folder.iterdir() if file.is_file())
    return [file for file in files if file.suffix.casefold() in _READ]


def _open(path: Path, box: Box | None) -> list[Layer]:
    suffix = path.suffix.casefold()
    head = b""
    if path.is_file():
        with trouble(path), path.open("rb") as file:
            head = file.read(200)
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    if _PBF in head[:40] or (start.startswith((_XML, b"<osm")) and b"<osm" in head):
        return _osm_extract(path, box)
    if suffix in {".osm", ".pbf"} and head:
        raise CannotRead(_("{path} is damaged, or no OpenStreetMap extract.").format(path=path))
    if suffix in _ALONE and head:
        return _alone(path, _ALONE[suffix])
    return [_with_tags(layer) for layer in open_layers(path)]


def _osm_extract(path: Path, box: Box | None) -> list[Layer]:
    tables = []
    for name, kind in _OSM_LAYERS.items():
        with trouble(path):
            # A ring that is cut off at the edge of the extract is dropped, not fatal.
            table = pyogrio.read_dataframe(
                path, layer=name, TAGS_FORMAT="JSON", on_invalid="ignore", bbox=box
            )
        tables.append(osm_table(table, kind))
    whole = pd.concat(tables, ignore_index=True)
    if not len(whole):
        raise CannotRead(
            _("{path} holds nothing{words}.").format(
                path=path, words=_(" inside the box") if box else ""
            )
        )
    table = gpd.GeoDataFrame(whole, geometry="geometry", crs="EPSG:4326")
    return [Layer("osm", path.name, table, says_crs=True, credits=(OSM_CREDIT,))]


def _alone(path: Path, options: dict[str, str]) -> list[Layer]:
    found = []
    with trouble(path):
        names = [str(name) for name, __ in pyogrio.list_layers(path)]
        for name in names:
            table = pyogrio.read_dataframe(path, layer=name, on_invalid="ignore", **options)
            if isinstance(table, gpd.GeoDataFrame):
                where = (
                    path.name
                    if len(names) == 1
                    else _("{path_name}, layer {name}").format(path_name=path.name, name=name)
                )
                found.append(Layer(name, where, table, says_crs=table.crs is not None))
    return found


def _with_tags(layer: Layer) -> Layer:
    """Give a table from OpenStreetMap its tags as one column."""
    table = layer.table
    if not isinstance(table, gpd.GeoDataFrame):
        return layer
    names = {str(name).casefold() for name in table.columns}
    marked = names & {"@id", "full_id", "osm_id", "osm_way_id", "other_tags"}
    keys = names & OSM_KEYS
    if not ("tags" in names or (marked and keys) or len(keys) > 1):
        return layer
    credit = layer.credits or (OSM_CREDIT,)
    found = gpd.GeoDataFrame(osm_table(table, "way"), geometry="geometry", crs=table.crs)
    return Layer("osm", layer.where, found, layer.says_crs, credit, layer.encoding)


def osm_table(table: gpd.GeoDataFrame, kind: str) -> pd.DataFrame:
    """Return ``geometry``, ``osm`` and ``tags`` of a table with tags in whatever columns.

    Parameters
    ----------
    table
        As GDAL reads it: tags in columns, in ``other_tags`` or in ``tags``.
    kind
        node, way or relation: what its ids are of, where they do not say.
    """
    tags: list[dict[str, str]] = [{} for _ in range(len(table))]
    geometry = table.geometry.name
    for name in table.columns:
        plain = str(name).casefold()
        if name == geometry or plain in _NO_TAGS or plain.startswith("@"):
            continue
        for at, cell in enumerate(table[name].tolist()):
            if isinstance(cell, str) and cell:
                tags[at][str(name)] = cell
            elif isinstance(cell, (int, float)) and not isinstance(cell, bool) and cell == cell:  # noqa: PLR0124 - NaN
                tags[at][str(name)] = f"{cell:g}"
    for name in ("tags", "other_tags"):
        if name in table.columns:
            for at, cell in enumerate(table[name].tolist()):
                tags[at].update(_pairs(cell))
    shapes = np.array(table.geometry.to_numpy(), dtype=object)
    return pd.DataFrame({"osm": _ids(table, kind), "tags": tags, "geometry": shapes})


def _pairs(cell: Any) -> dict[str, str]:  # noqa: ANN401 - whatever the file has there
    """Read tags from a dict, from JSON, or from PostgreSQL's hstore notation."""
    if isinstance(cell, str):
        try:
            cell = json.loads(cell if cell.lstrip().startswith("{") else _hstore(cell))
        except ValueError:
            return {}
    if not isinstance(cell, dict):
        return {}
    return {str(key): str(value) for key, value in cell.items() if value is not None}


def _hstore(text: str) -> str:
    return "{" + text.replace('"=>"', '":"') + "}"


def _ids(table: pd.DataFrame, kind: str) -> list[str]:
    columns = {str(name).casefold(): name for name in table.columns}
    for name in ("@id", "full_id", "osm_id", "id"):
        if name not in columns:
            continue
        cells: Iterable[object] = table[columns[name]].tolist()
        if name == "osm_id" and "osm_way_id" in columns:
            ways: Sequence[object] = table[columns["osm_way_id"]].tolist()
            return [
                f"relation/{_bare(own)}" if _bare(own) else f"way/{_bare(way)}"
                for own, way in zip(cells, ways, strict=True)
            ]
        return [text if "/" in (text := _bare(cell)) else f"{kind}/{text}" for cell in cells]
    return [""] * len(table)


def _bare(cell: object) -> str:
    if cell is None or cell != cell:  # noqa: PLR0124 - NaN
        return ""
    return f"{cell:.0f}" if isinstance(cell, float) else str(cell)
