"""OpenStreetMap's things sorted by the open table of tags."""

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray

from patchnet.base.addresses import doors_of, is_address
from patchnet.base.gathered import areas_only, frame, lines_only
from patchnet.base.matched_tags import match_tags, metres_of, speed_of, walked_sides
from patchnet.core.fault_list import FaultList
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge, OsmTag
from patchnet.read.base_map import read_named
from patchnet.read.columns import Columns

__all__ = ["sort_osm", "with_heights"]

_DRAWN = {0: "point", 1: "line", 2: "area"}
_NO_HOUSE = "outbuilding"
_ROW = "terrace"

Rows = list[dict[str, object]]


def sort_osm(
    table: pd.DataFrame,
    shapes: NDArray[np.object_],
    *,
    crs: pyproj.CRS,
    where: str,
    knowledge: Knowledge,
    faults: FaultList,
) -> dict[str, gpd.GeoDataFrame]:
    """Return buildings, addresses, roads, footways, areas, features and barriers.

    Parameters
    ----------
    table
        Columns ``osm`` and ``tags``.
    shapes
        Their geometries in metres, shape (rows,).
    crs
        System of `shapes`.
    where
        Name of the file.
    knowledge
        For the table of tags.
    faults
        List that faults are added to.

    Returns
    -------
    dict
        Name of the kind of input -> its table, columns as in `patchnet.base.gathered.COLUMNS`.
    """
    rows: dict[str, Rows] = {
        "buildings": [], "roads": [], "footways": [], "areas": [], "features": [], "barriers": [],
        "addresses": [],
    }  # fmt: skip
    levels: list[tuple[str, str]] = []
    dropped = 0
    for osm, tags, shape in zip(table["osm"], table["tags"], shapes, strict=True):
        drawn = _DRAWN.get(int(shapely.get_dimensions(shape)))
        if drawn is None or not tags:
            continue
        if is_address(tags) and "building" not in tags:
            _address(rows, osm, tags, shape)
        found = {role: match_tags(tags, role, drawn, knowledge)
                 for role in ("building", "road", "plot", "feature", "barrier")}  # fmt: skip
        if not any(found.values()):
            continue
        usable = areas_only(shape) if drawn == "area" else shape
        if usable is None or not np.isfinite(shapely.get_coordinates(usable)).all():
            dropped += 1
            continue
        usable = shapely.force_2d(usable)
        building = found["building"]
        if building is not None and building.becomes != "none":
            rows["buildings"].append(_building(osm, tags, usable, building, knowledge))
            levels.append((tags.get("height", ""), tags.get("building:levels", "")))
        _way(rows, osm, tags, usable, found["road"])
        _ground(rows, osm, tags, usable, found, knowledge)
    if dropped:
        faults.warn(
            where,
            _("{dropped} things have no shape that can be used: they were left out.").format(
                dropped=dropped
            ),
            _("This happens at the edge of an extract: take a slightly larger one."),
        )
    made = {kind: frame(kind, ones, crs) for kind, ones in rows.items()}
    made["buildings"] = with_heights(
        made["buildings"], levels, where=where, knowledge=knowledge, faults=faults
    )
    return made


def with_heights(
    buildings: gpd.GeoDataFrame,
    stated: Sequence[tuple[str, str]],
    *,
    where: str,
    knowledge: Knowledge,
    faults: FaultList,
) -> gpd.GeoDataFrame:
    """Return the buildings with ``height_m`` from what is stated: (height, storeys) of each.

    Parameters
    ----------
    buildings
        n outlines, in metres.
    stated
        Height and storeys of each of the n, as written; empty: not said.
    where
        Name of the file, for faults.
    knowledge
        For the height of a storey.
    faults
        Added to.
    """
    table = pd.DataFrame(list(stated), columns=["height", "storeys"], dtype=object)
    read = read_named(
        table,
        buildings.geometry.to_numpy(),
        Columns({"height": "height", "storeys": "storeys"}),
        where=where,
        crs=buildings.crs,
        areas_only=True,
        knowledge=knowledge,
        faults=faults,
    )
    return buildings.assign(height_m=read["height_m"].to_numpy(dtype=float))


def _building(
    osm: str, tags: Mapping[str, str], shape: shapely.Geometry, tag: OsmTag, knowledge: Knowledge
) -> dict[str, object]:
    use = tag.becomes
    doors = doors_of(tags)
    small = shape.area < knowledge.setting("base_outbuilding_max_m2")
    if not tag.sure and small and not doors:  # a front door makes a house of anything
        use = _NO_HOUSE
    return {
        "name": tags.get("name", ""), "height_m": np.nan, "use": use, "sure": tag.sure,
        "row": tags.get("building") == _ROW, "doors": doors, "osm": osm, "geometry": shape,
    }  # fmt: skip


def _way(
    rows: dict[str, Rows],
    osm: str,
    tags: Mapping[str, str],
    shape: shapely.Geometry,
    tag: OsmTag | None,
) -> None:
    if tag is None or tag.becomes == "none" or tags.get("tunnel", "no") not in {"no", ""}:
        return
    width = metres_of(tags.get("width", ""))
    width = width if width > 0 else np.nan
    name = tags.get("name", "")
    if tag.becomes == "footway":
        rows["footways"].append({"name": name, "width_m": width, "osm": osm, "geometry": shape})
        return
    rows["roads"].append(
        {
            "name": name, "kind": tag.becomes, "width_m": width,
            "speed_kmh": speed_of(tags.get("maxspeed", "")), "walked": walked_sides(tags),
            "bridge": tags.get("bridge", "no") not in {"no", ""}, "osm": osm, "geometry": shape,
        }
    )  # fmt: skip


def _address(
    rows: dict[str, Rows], osm: str, tags: Mapping[str, str], shape: shapely.Geometry
) -> None:
    if not np.isfinite(shapely.get_coordinates(shape)).all() or shape.is_empty:
        return
    rule = tags.get("addr:interpolation", "") if shapely.get_dimensions(shape) == 1 else ""
    doors = doors_of(tags)
    if rule or any(door.number for door in doors):
        rows["addresses"].append({"doors": doors, "rule": rule, "osm": osm, "geometry": shape})


def _ground(
    rows: dict[str, Rows],
    osm: str,
    tags: Mapping[str, str],
    shape: shapely.Geometry,
    found: Mapping[str, OsmTag | None],
    knowledge: Knowledge,
) -> None:
    plot, feature, barrier = found["plot"], found["feature"], found["barrier"]
    if plot is not None and found["building"] is None:
        rows["areas"].append(
            {"kind": plot.becomes, "name": tags.get("name", ""), "osm": osm, "geometry": shape}
        )
    if feature is not None:
        key = feature.becomes
        if feature.large is not None and _is_large(tags, knowledge):
            key = feature.large
        rows["features"].append(
            {"feature": key, "sure": feature.sure, "osm": osm, "geometry": shape}
        )
    line = lines_only(shape) if barrier is not None else None
    if barrier is not None and line is not None:
        height = metres_of(tags.get("height", ""))
        rows["barriers"].append(
            {"kind": barrier.becomes, "height_m": height, "osm": osm, "geometry": line}
        )


def _is_large(tags: Mapping[str, str], knowledge: Knowledge) -> bool:
    crown, height = metres_of(tags.get("diameter_crown", "")), metres_of(tags.get("height", ""))
    return bool(
        crown >= knowledge.setting("osm_tree_large_crown_m")
        or height >= knowledge.setting("osm_tree_large_height_m")
    )
