"""From grounds, houses and streets to the pieces that become plots."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.base.facing import Facing
from patchnet.base.front_back import building_line, split_garden, usable_ground
from patchnet.base.gathered import Gathered
from patchnet.base.houses import Standing
from patchnet.base.numbering import Unit
from patchnet.base.sides import PublicRoads, sides
from patchnet.base.street_space import StreetSpace
from patchnet.base.streets import Streets
from patchnet.core.fault_list import FaultList
from patchnet.core.folding import folded
from patchnet.core.texts import _, counted
from patchnet.knowledge.records import Knowledge
from patchnet.read.doors import fold_number

__all__ = ["Piece", "ground_pieces", "street_pieces"]

Shapes = NDArray[np.object_]


@dataclass(frozen=True, eq=False)
class Piece:
    """One numbered unit with what is told of it.

    Attributes
    ----------
    unit
        Outlines of its parts, street and door.
    kinds
        Kind of each part.
    origin
        Key of `BASIS`.
    noun
        What it is called where it has no door number.
    parcel
        Id in the cadastre.
    split_basis
        How front and back were told.
    note
        What to look at before the survey.
    homes
        Positions of the buildings that people live in on it.
    also
        Addresses of those buildings in other streets, ``Mill Lane 4``.
    """

    unit: Unit
    kinds: Mapping[str, str]
    origin: str
    noun: str = "plot"
    parcel: str = ""
    split_basis: str = ""
    note: str = ""
    homes: tuple[int, ...] = ()
    also: tuple[str, ...] = ()


class _Own(NamedTuple):
    """The parts of one plot."""

    parts: dict[str, shapely.Geometry]
    words: str


def ground_pieces(
    table: gpd.GeoDataFrame,
    standing: Standing,
    facing: Facing,
    streets: Streets,
    buildings: gpd.GeoDataFrame,
    knowledge: Knowledge,
    faults: FaultList,
) -> list[Piece]:
    """Take the buildings out of each ground and split gardens into front and back.

    Parameters
    ----------
    table
        Grounds (see `Grounds`).
    standing, facing
        The house on each, and the street it faces.
    streets
        Roads by their street.
    buildings
        Table of buildings.
    knowledge
        For the settings.
    faults
        List that faults are added to: grounds of which nothing is left.
    """
    part_kinds = {
        "F": knowledge.plot_kind_for("front"),
        "B": knowledge.plot_kind_for("back"),
        "": knowledge.plot_kind_for("whole"),
    }
    unnamed, verge = knowledge.plot_kind_for("unnamed"), knowledge.plot_kind_for("strip")
    uses = buildings["use"].tolist()
    public = PublicRoads(streets.lines, streets.kind, streets.bridge)
    full = 0
    pieces = []
    for at, shape in enumerate(table.geometry):
        built = standing.built[at]
        open_ground = shape if built is None else shapely.difference(shape, built)
        row = table.iloc[at]
        main = int(standing.main[at])
        origin = str(row["origin"])
        derived = origin == "derived"
        garden = open_ground
        if built is not None or derived:
            garden = usable_ground(open_ground, knowledge, derived=derived)
        if garden is None:
            full += 1
            continue
        homes = tuple(np.sort(standing.homes[at]).tolist())
        road, street = int(facing.road[at]), int(facing.street[at])
        point = _counts_at(facing.toward[at], road, street, garden, streets)
        if origin == "area":
            kind = str(row["kind"])
            near = road >= 0 and shape.distance(streets.lines[road]) <= knowledge.setting(
                "base_street_reach_m"
            )
            kind = unnamed if kind == verge and not near else kind
            unit = Unit({"": garden}, street, point, "V" if kind == verge else "G")
            noun = "verge" if kind == verge else "green"
            pieces.append(Piece(unit, {"": kind}, origin, noun, homes=homes))
            continue
        use = uses[main] if main >= 0 else ""
        kind = unnamed if not use else part_kinds[""] if use == "house" else use
        own, kinds = _Own({"": garden}, ""), {"": kind}
        if kind == part_kinds[""]:
            own = _front_and_back(at, garden, standing, facing, knowledge, derived=derived)
            kinds = {part: part_kinds[part] for part in own.parts}
        parts = own.parts
        if derived and main >= 0:
            house = buildings.geometry.iloc[main]
            parts = {part: _on_its_side(one, house, public) for part, one in parts.items()}
        pieces.append(
            Piece(
                Unit(parts, street, point, door=_door(homes, street, buildings, streets)), kinds,
                origin, parcel=str(row["parcel"]), split_basis=own.words,
                note=_row_note(homes, buildings), homes=homes,
                also=_also(homes, street, buildings, streets),
            )
        )  # fmt: skip
    if full:
        faults.warn(
            "plots",
            _("{grounds} wholly built over: there is no plot.").format(grounds=_grounds(full)),
            _("Add a plot by hand where there is a yard, balcony or window box."),
        )
    return pieces


def _counts_at(
    toward: NDArray[np.float64], road: int, street: int, garden: shapely.Geometry, streets: Streets
) -> NDArray[np.float64]:
    """Return where along its street a plot counts; a point of its own where it has no street."""
    spot = shapely.point_on_surface(garden)
    if street < 0:
        point: NDArray[np.float64] = shapely.get_coordinates(spot)[0]
        return point
    if road >= 0 and streets.street[road] == street:
        return toward
    pieces = streets.courses[street].pieces
    nearest = pieces[int(np.argmin(shapely.distance(pieces, spot)))]
    place: NDArray[np.float64] = shapely.get_coordinates(shapely.shortest_line(spot, nearest))[1]
    return place


def _door(homes: Sequence[int], street: int, buildings: gpd.GeoDataFrame, streets: Streets) -> str:
    """Return the door numbers of a plot in its own street, in the order in which people count."""
    doors = [door for home in homes for door in buildings["doors"].iloc[home] if door.number]
    name = streets.folded[street] if street >= 0 else ""
    here = [door for door in doors if folded(door.street) in {name, ""} or not name]
    numbers: dict[str, str] = {}
    for door in here:
        numbers.setdefault(fold_number(door.number), door.number)
    return "; ".join(sorted(numbers.values(), key=_counted))


def _also(
    homes: Sequence[int], street: int, buildings: gpd.GeoDataFrame, streets: Streets
) -> tuple[str, ...]:
    """Return the addresses in other streets: a corner house has two, a court may have many."""
    doors = [door for home in homes for door in buildings["doors"].iloc[home] if door.number]
    name = streets.folded[street] if street >= 0 else ""
    others: dict[tuple[str, str], str] = {}
    for door in doors:
        place = folded(door.street)
        if place not in {name, ""}:
            others.setdefault((place, fold_number(door.number)), f"{door.street} {door.number}")
    return tuple(others[key] for key in sorted(others, key=lambda one: (one[0], _counted(one[1]))))


def _counted(number: str) -> tuple[int, str]:
    found = re.match(r"\d+", number)
    return (int(found[0]) if found else 0, number)


def _row_note(homes: Sequence[int], buildings: gpd.GeoDataFrame) -> str:
    rows = buildings["row"].to_numpy(dtype=bool)[list(homes)]
    spread = any(
        re.fullmatch(r"\d+\w?\s*[-\N{EN DASH}]\s*\d+\w?", door.number)
        for home in homes for door in buildings["doors"].iloc[home]
    )  # fmt: skip
    if rows.any() and len(homes) == 1:
        return _("a row of houses drawn as one: ask how many gardens it has")
    return _("several houses drawn as one: ask how many gardens there are") if spread else ""


def _on_its_side(
    shape: shapely.Geometry, house: shapely.Geometry, public: PublicRoads
) -> shapely.Geometry:
    """Return what of a guessed garden lies on the same side of public roads as its house."""
    pieces = sides(shape, public)
    if len(pieces) == 1:
        return shape
    return pieces[int(np.argmin(shapely.distance(np.array(pieces, dtype=object), house)))]


def _front_and_back(
    at: int,
    garden: shapely.Geometry,
    standing: Standing,
    facing: Facing,
    knowledge: Knowledge,
    *,
    derived: bool,
) -> _Own:
    """Return front and back, or the whole where they cannot be told, and how it was told."""
    if standing.count[at] > 1:
        return _Own({"": garden}, f"not split: {standing.count[at]} houses on one plot")
    if facing.road[at] < 0:
        words = f"; {facing.basis[at]}" if facing.basis[at] else ""
        return _Own({"": garden}, f"not split: no street in sight{words}")
    front, offset = building_line(standing.house[at], facing.toward[at], knowledge)
    before, behind = split_garden(garden, front, offset)
    basis = facing.basis[at]
    parts = {
        part: kept
        for part, shape in (("F", before), ("B", behind))
        if (kept := usable_ground(shape, knowledge, derived=derived)) is not None
    }
    if not parts:
        return _Own({"": garden}, basis)
    if "F" not in parts:
        basis += "; the house stands on the street, no front garden"
    return _Own(parts, basis)


def street_pieces(
    space: StreetSpace,
    inputs: Gathered,
    drawn: Sequence[shapely.Geometry],
    streets: Streets,
    knowledge: Knowledge,
) -> list[Piece]:
    """Return verges, pits of street trees and planters in the street.

    Parameters
    ----------
    space
        Footways and verges.
    inputs
        For mapped trees and planters.
    drawn
        Plots that there are already.
    streets
        Roads by their street.
    knowledge
        For the settings.
    """
    strip, pit, box = (knowledge.plot_kind_for(part) for part in ("strip", "pit", "box"))
    pieces = [
        _street_piece(shape, int(street), streets, "V", strip, "verge", "verge")
        for shape, street in zip(space.verges.geometry, space.verges["street"], strict=True)
    ]
    taken = np.array([*drawn, *space.verges.geometry], dtype=object)
    table = inputs.features
    shapes = table.geometry.to_numpy()
    kinds = table["feature"].to_numpy(dtype=object)
    points = shapely.get_dimensions(shapes) == 0
    if not len(table) or not len(streets.lines):
        return pieces
    boxed = knowledge.plot_kinds[box].implies
    wanted = (points & np.isin(kinds, knowledge.features_with("in_a_pit"))) | (
        (kinds == boxed) & (shapely.get_dimensions(shapes) != 1)
    )
    lines = shapely.STRtree(streets.lines)
    reach = knowledge.setting("base_street_reach_m")
    at, road = lines.query_nearest(shapes[wanted], max_distance=reach, all_matches=False)
    which = np.flatnonzero(wanted)[at]
    used = [shapely.STRtree(taken)] if len(taken) else []
    own: list[shapely.Geometry] = []
    for one, line in zip(which.tolist(), road.tolist(), strict=True):
        planter = kinds[one] == boxed
        side = knowledge.setting("base_planter_m" if planter else "base_tree_pit_m")
        shape = shapes[one]
        drawn_as_area = not points[one]
        if not drawn_as_area:
            shape = shape.buffer(side / 2, cap_style="square")
        if any(len(tree.query(shape, predicate="intersects")) for tree in used):
            continue
        if own and shapely.intersects(np.array(own[-200:], dtype=object), shape).any():
            continue
        own.append(shape)
        street = int(streets.street[line])
        origin = ("planter" if drawn_as_area else "planter_point") if planter else "pit"
        sort, kind, noun = ("P", box, "planter") if planter else ("T", pit, "tree pit")
        pieces.append(_street_piece(shape, street, streets, sort, kind, origin, noun))
    return pieces


def _street_piece(
    shape: shapely.Geometry,
    street: int,
    streets: Streets,
    sort: str,
    kind: str,
    origin: str,
    noun: str,
) -> Piece:
    middle = shapely.point_on_surface(shape)
    course = streets.courses[street].pieces
    piece = course[int(np.argmin(shapely.distance(course, middle)))]
    point = shapely.get_coordinates(piece.interpolate(piece.project(middle)))[0]
    return Piece(Unit({"": shape}, street, point, sort), {"": kind}, origin, noun)


def _grounds(count: int) -> str:
    return counted(count, "ground is", "grounds are", said=f"{count:,}")
