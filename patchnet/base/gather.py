"""Inputs of a base map brought together: one system in metres, shapes mended, cut to the place."""

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray

from patchnet.base.addresses import Door, Left, with_doors
from patchnet.base.from_osm import sort_osm, with_heights
from patchnet.base.gathered import COLUMNS, Gathered, areas_only, frame, lines_only
from patchnet.base.houses import with_sheds
from patchnet.base.matched_tags import metres_of, speed_of
from patchnet.base.parcels import clean_parcels
from patchnet.base.roles import ROLES, Role, credits_of
from patchnet.base.terraces import split_by_doors
from patchnet.core.cells import texts
from patchnet.core.crs_change import change_of
from patchnet.core.fault_list import FaultList, Place
from patchnet.core.folding import folded
from patchnet.core.open_file import Layer
from patchnet.core.texts import N_, _
from patchnet.knowledge.records import Knowledge
from patchnet.read.columns import ROLES as COLUMN_WORDS
from patchnet.read.columns import column_names
from patchnet.read.crs import check_crs, to_metres
from patchnet.read.doors import door_numbers
from patchnet.read.layers import SourceLayer

__all__ = ["METRES_A_DEGREE", "cut_to", "gather", "grown"]

Shapes = NDArray[np.object_]
METRES_A_DEGREE = 111_320.0  # of latitude, by the mean circumference of the earth
OUTSIDE = N_("it stands outside the box")
_PARCEL_IDS = ("inspireid", "nationalcadastralreference", *COLUMN_WORDS["id"])
_STREET_NAMES = (
    "street name",
    "road name",
    "name",
    "name 1",
    "name1",
    "street",
    "road",
    "label",
    "title",
)
_NUMBERS = (
    "house number", "housenumber", "addr housenumber", "addr:housenumber", "door number", "door",
)  # fmt: skip
_SPEEDS = ("maxspeed", "speed limit", "speed", "speed kmh")


def gather(
    inputs: Mapping[Role, Sequence[Layer]],
    *,
    said_crs: pyproj.CRS | None,
    box: tuple[float, float, float, float] | None,
    credit_lines: Sequence[str],
    knowledge: Knowledge,
    faults: FaultList,
) -> Gathered | None:
    """Bring the inputs together.

    Parameters
    ----------
    inputs
        Layers by role.
    said_crs
        System of layers that name none.
    box
        West, south, east, north in degrees: the place, where the user said it.
    credit_lines
        The user's own lines, for layers that bring none.
    knowledge
        For words and settings.
    faults
        List that faults are added to.

    Returns
    -------
    Gathered or None
        None where nothing can be placed; the faults say why.
    """
    flat = [(role, layer) for role in ROLES for layer in inputs.get(role, ())]
    placed = _in_metres(flat, said_crs, knowledge, faults)
    if placed is None:
        return None
    shapes, crs, source_crs = placed
    tables: dict[str, list[gpd.GeoDataFrame]] = {kind: [] for kind in COLUMNS}
    lines: dict[str, list[str]] = {kind: [] for kind in COLUMNS}
    given = {role for role, __ in flat}
    for at, (role, layer) in enumerate(flat):
        if at not in shapes:
            continue
        made = _tables(role, layer, shapes[at], crs, knowledge, faults)
        for kind, table in made.items():
            if role == "osm" and kind in given:
                continue  # the user's own layer stands for OpenStreetMap's; the two are not mixed
            tables[kind].append(table)
            if len(table):
                own = credits_of(layer, role)
                if not own and not credit_lines:
                    faults.warn(
                        layer.where, _("Nothing says whose data these are."),
                        _("Give the line of attribution its owner asks for: --credit TEXT."),
                    )  # fmt: skip
                lines[kind] += own or credit_lines
    whole = {kind: _joined(kind, ones, crs) for kind, ones in tables.items()}
    whole["buildings"], left = with_doors(whole["buildings"], whole["addresses"], knowledge)
    place = _place(whole, box, crs, knowledge.setting("base_margin_m"))
    if place is not None:
        if box:
            left = _outside(whole["buildings"], place) + _inside(left, place)
        around = place.buffer(knowledge.setting("base_halo_m") if box else 0, join_style="mitre")
        whole = {kind: cut_to(kind, table, around) for kind, table in whole.items()}
    _check_place(whole, flat, knowledge, faults)
    whole["buildings"] = split_by_doors(with_sheds(whole["buildings"], knowledge), knowledge)
    whole["parcels"] = clean_parcels(whole["parcels"], whole["roads"], knowledge, faults)
    return Gathered(
        **whole,
        crs=crs,
        source_crs=source_crs,
        credits={kind: tuple(dict.fromkeys(ones)) for kind, ones in lines.items()},
        left=left,
        place=place if box else None,
    )


def grown(
    box: tuple[float, float, float, float], metres: float
) -> tuple[float, float, float, float]:
    """Return a box in degrees that reaches some metres further on each side.

    Parameters
    ----------
    box
        West, south, east, north in degrees.
    metres
        Metres further on each side.

    Returns
    -------
    tuple
        West, south, east, north in degrees, latitudes within -90 and 90.
    """
    west, south, east, north = box
    up = metres / METRES_A_DEGREE
    along = up / max(np.cos(np.radians(max(abs(south), abs(north)))), 0.01)
    return west - along, max(south - up, -90.0), east + along, min(north + up, 90.0)


def _in_metres(
    flat: Sequence[tuple[Role, Layer]],
    said: pyproj.CRS | None,
    knowledge: Knowledge,
    faults: FaultList,
) -> tuple[dict[int, Shapes], pyproj.CRS, str] | None:
    """Project every layer; the first parcels, else buildings, else roads choose the system."""
    order = {"parcels": 0, "buildings": 1, "osm": 2, "roads": 3}
    filled = [at for at, (___, layer) in enumerate(flat) if len(layer.table)]
    if not filled:
        for __, layer in flat:
            faults.error(layer.where, _("The layer has no row."), _("Name a file that has some."))
        return None
    first = min(filled, key=lambda at: (order[flat[at][0]], at))
    # 'plots' is the name of the layer that chooses.
    name = {at: "plots" if at == first else f"{flat[at][0]} {at}" for at in filled}
    mapped = {
        name[at]: SourceLayer(flat[at][1].where, flat[at][1].table, flat[at][1].says_crs)
        for at in filled
    }
    known = check_crs(mapped, said, knowledge, faults)
    if "plots" not in known:
        return None
    # That layers come in different systems is the rule here: it is not worth a warning.
    projected = to_metres(mapped, known, knowledge, FaultList())
    shapes = {at: projected.geometry[name[at]] for at in filled if name[at] in projected.geometry}
    return shapes, projected.crs, projected.source_crs


def _tables(
    role: Role,
    layer: Layer,
    shapes: Shapes,
    crs: pyproj.CRS,
    knowledge: Knowledge,
    faults: FaultList,
) -> dict[str, gpd.GeoDataFrame]:
    if role == "osm":
        return sort_osm(
            layer.table, shapes, crs=crs, where=layer.where, knowledge=knowledge, faults=faults
        )
    if role == "roads":
        return {"roads": _roads(layer, shapes, crs, faults)}
    outlines, good = _outlines(layer, shapes, faults)
    if role == "parcels":
        names = _column(layer.table, _PARCEL_IDS)
        rows: list[dict[str, object]] = [
            {"parcel": names[at], "where": layer.where, "row": at + 1, "geometry": outlines[at]}
            for at in good
        ]
        return {"parcels": frame("parcels", rows, crs)}
    return {"buildings": _buildings(layer, outlines, good, crs, knowledge, faults)}


def _buildings(
    layer: Layer,
    outlines: Shapes,
    good: Sequence[int],
    crs: pyproj.CRS,
    knowledge: Knowledge,
    faults: FaultList,
) -> gpd.GeoDataFrame:
    names = _column(layer.table, COLUMN_WORDS["label"])
    heights = _column(layer.table, COLUMN_WORDS["height"])
    storeys = _column(layer.table, COLUMN_WORDS["storeys"])
    streets = _column(layer.table, COLUMN_WORDS["street"])
    numbers = _column(layer.table, _NUMBERS)
    small = knowledge.setting("base_outbuilding_max_m2")
    table = frame(
        "buildings",
        [
            {
                "name": names[at], "height_m": np.nan,
                "use": "house" if outlines[at].area >= small or numbers[at] else "outbuilding",
                "sure": False, "row": False, "doors": _doors(streets[at], numbers[at]), "osm": "",
                "geometry": outlines[at],
            }
            for at in good
        ],
        crs,
    )  # fmt: skip
    stated = [(heights[at], storeys[at]) for at in good]
    return with_heights(table, stated, where=layer.where, knowledge=knowledge, faults=faults)


def _doors(street: str, numbers: str) -> tuple[Door, ...]:
    found = tuple(Door(street, number) for number in door_numbers(numbers))
    return found or ((Door(street, ""),) if street else ())


def _roads(layer: Layer, shapes: Shapes, crs: pyproj.CRS, faults: FaultList) -> gpd.GeoDataFrame:
    names = _column(layer.table, _STREET_NAMES)
    widths = _column(layer.table, COLUMN_WORDS["width"])
    speeds = _column(layer.table, _SPEEDS)
    rows: list[dict[str, object]] = []
    dropped: list[tuple[Place, str]] = []
    for at, shape in enumerate(shapes):
        line = None if shape is None or shapely.get_dimensions(shape) != 1 else lines_only(shape)
        if line is None:
            dropped.append(((at + 1, None), _("The road is not drawn as a line: it was left out.")))
            continue
        width = metres_of(widths[at])
        rows += [
            {
                "name": names[at], "kind": "street", "width_m": width if width > 0 else np.nan,
                "speed_kmh": speed_of(speeds[at]), "walked": "", "bridge": False, "osm": "",
                "geometry": part,
            }
            for part in shapely.get_parts(line)
        ]  # fmt: skip
    faults.warn_rows(
        layer.where, dropped, together=_("{n} roads are not drawn as lines and were left out."),
        mend=_("Name a layer of the roads' middle lines."),
    )  # fmt: skip
    return frame("roads", rows, crs)


def _outlines(layer: Layer, shapes: Shapes, faults: FaultList) -> tuple[Shapes, list[int]]:
    out = np.empty(len(shapes), dtype=object)
    repaired: list[tuple[Place, str]] = []
    dropped: list[tuple[Place, str]] = []
    for at, shape in enumerate(shapes):
        out[at] = areas_only(shape)
        place = (at + 1, None)
        if out[at] is None:
            dropped.append(
                (place, _("The outline encloses no area or is a tangle: it was left out."))
            )
        elif not shape.is_valid:
            repaired.append((place, _("The outline crosses or touches itself; it was repaired.")))
    faults.warn_rows(
        layer.where, dropped, together=_("{n} outlines enclose no area and were left out."),
        mend=_("Draw them anew if they matter."),
    )  # fmt: skip
    faults.warn_rows(
        layer.where, repaired, together=_("{n} outlines cross or touch themselves: repaired."),
        mend=_("Look whether they are right on the map."),
    )  # fmt: skip
    return out, [at for at, shape in enumerate(out) if shape is not None]


def _column(table: pd.DataFrame, words: Sequence[str]) -> list[str]:
    """Return the cells of the first column that is called by one of some words, else blanks."""
    names: dict[str, str] = {}
    for name in column_names(table):
        names.setdefault(folded(name), name)
    found = next((names[word] for word in words if word in names), None)
    return [""] * len(table) if found is None else texts(table[found])


def _joined(kind: str, tables: list[gpd.GeoDataFrame], crs: pyproj.CRS) -> gpd.GeoDataFrame:
    filled = [table for table in tables if len(table)]
    if not filled:
        return frame(kind, [], crs)
    joined: gpd.GeoDataFrame = pd.concat(filled, ignore_index=True)
    if "osm" in joined.columns:  # extracts that overlap hold the same thing twice
        again = joined["osm"].duplicated() & (joined["osm"] != "")
        joined = joined[~again].reset_index(drop=True)
    return joined


def _place(
    whole: Mapping[str, gpd.GeoDataFrame],
    box: tuple[float, float, float, float] | None,
    crs: pyproj.CRS,
    margin: float,
) -> shapely.Polygon | None:
    """The place that is mapped: the user's box, else where buildings and parcels both are."""
    if box is not None:
        corners = shapely.segmentize(shapely.box(*box), (box[2] - box[0]) / 10 or 1.0)
        change = change_of("OGC:CRS84", crs).transform
        return shapely.box(*shapely.transform(corners, change, interleaved=False).bounds)
    boxes = [
        shapely.box(*whole[kind].total_bounds)
        for kind in ("buildings", "parcels")
        if len(whole[kind])
    ]
    both = shapely.intersection_all(boxes)
    if not boxes or both.is_empty:  # apart: told later
        return None
    return shapely.box(*both.bounds).buffer(margin, join_style="mitre")


def _outside(buildings: gpd.GeoDataFrame, place: shapely.Polygon) -> tuple[Left, ...]:
    """Addresses of houses that reach into the place and stand outside it."""
    out = ~buildings.geometry.representative_point().intersects(place)
    kept = buildings[out & buildings.geometry.intersects(place)]
    return tuple(
        Left(door, osm, _(OUTSIDE))
        for doors, osm in zip(kept["doors"], kept["osm"], strict=True)
        for door in doors
        if door.number
    )


def _inside(left: tuple[Left, ...], place: shapely.Polygon) -> tuple[Left, ...]:
    return tuple(
        one for one in left
        if not np.isfinite(one.door.x) or place.covers(shapely.Point(one.door.x, one.door.y))
    )  # fmt: skip


def cut_to(kind: str, table: gpd.GeoDataFrame, place: shapely.Polygon) -> gpd.GeoDataFrame:
    """Cut to the place: what is a thing of its own stays whole, what runs on is cut.

    Parameters
    ----------
    kind
        Kind of input, such as ``"roads"``.
    table
        Its table, in the CRS of `place`.
    place
        Outline of what is kept.

    Returns
    -------
    GeoDataFrame
        Columns as in `table`, rows numbered anew.
    """
    kept = table[table.geometry.intersects(place)]
    if kind in {"parcels", "buildings", "addresses", "features", "barriers"}:
        inside = kept.geometry.representative_point().intersects(place)
        return kept[inside].reset_index(drop=True)
    cut = kept.geometry.intersection(place)
    kept = kept.set_geometry(cut)
    if kind == "areas":
        kept = kept.set_geometry([areas_only(shape) for shape in cut], crs=table.crs)
        kept = kept[kept.geometry.notna()]
    elif kind == "roads":
        kept = kept.explode(ignore_index=True)
        kept = kept[kept.geometry.geom_type == "LineString"]
    return kept[~kept.geometry.is_empty].reset_index(drop=True)


def _check_place(
    whole: Mapping[str, gpd.GeoDataFrame],
    flat: Sequence[tuple[Role, Layer]],
    knowledge: Knowledge,
    faults: FaultList,
) -> None:
    where = ", ".join(dict.fromkeys(layer.where for __, layer in flat))
    parcels, buildings, roads = (whole[kind] for kind in ("parcels", "buildings", "roads"))
    if not len(parcels) and not len(buildings):
        faults.error(
            where,
            _("There is no building and no parcel: no plot can be made of nothing."),
            _(
                "Give an extract that has buildings, or a layer of parcels or buildings; with "
                "--bbox, see that the box lies over them."
            ),
        )
        return
    if not len(buildings):
        faults.warn(
            where,
            _("There are no buildings: every parcel stays whole, house and garden together."),
            _("Give buildings as well, to tell gardens from houses and front from back."),
        )
    if not len(roads):
        faults.warn(
            where,
            _("There are no roads: plots have no street, no front and back, no walking order."),
            _("Give roads as well (an OpenStreetMap extract has them)."),
        )
    if len(parcels) and len(buildings):
        apart = shapely.box(*parcels.total_bounds).distance(shapely.box(*buildings.total_bounds))
        if apart > knowledge.setting("base_margin_m"):
            faults.error(
                where,
                _("Parcels and buildings lie {apart:,.2f} km apart.").format(apart=apart / 1000),
                _("Make sure that both are of the same place, and their coordinate systems right."),
            )
    west, south, east, north = (parcels if len(parcels) else buildings).total_bounds
    most = knowledge.setting("base_area_max_km2")
    size = (east - west) * (north - south) / 1e6
    if size > most:
        faults.error(
            where,
            _("This covers {size:,.0f} km2: far more than a neighbourhood.").format(size=size),
            _(
                "Say which part: --bbox WEST,SOUTH,EAST,NORTH in degrees (at most {most:g} km2)."
            ).format(most=most),
        )
