"""Which house has which address: from its own tags, points, areas, entrances, interpolation lines.

The address decides which street a house belongs to and what it is called, so that each one that
the map tells of is given to a house, or named with the reason why not.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.core.folding import folded
from patchnet.core.texts import N_, _
from patchnet.knowledge.records import Knowledge
from patchnet.read.doors import door_numbers, fold_number

__all__ = ["Door", "Left", "doors_of", "is_address", "with_doors"]

Shapes = NDArray[np.object_]
_STREET, _PLACE, _NUMBER, _RULE = (
    "addr:street", "addr:place", "addr:housenumber", "addr:interpolation",
)  # fmt: skip
_STEP = {"odd": 2, "even": 2, "all": 1}
_SAME_POINT = 0.05  # metres: the end of an interpolation line and the address that it begins at
_NOT_HOUSE = ("outbuilding", "none")
OWN, POINT, AREA, BETWEEN = "own", "point", "area", "interpolated"
NO_HOUSE = N_("no house is drawn there")


class Door(NamedTuple):
    """One address: street and number, where it stands (NaN: anywhere on its house), how known."""

    street: str
    number: str
    x: float = np.nan
    y: float = np.nan
    basis: str = OWN


@dataclass(frozen=True)
class Left:
    """An address that no house was found for, and why."""

    door: Door
    osm: str
    reason: str


def doors_of(tags: Mapping[str, str]) -> tuple[Door, ...]:
    """Return the addresses in the tags of one thing; a place stands for a street without name.

    >>> doors_of({"addr:street": "Elm Road", "addr:housenumber": "2;4"})[1][:2]
    ('Elm Road', '4')
    """
    street = (tags.get(_STREET, "") or tags.get(_PLACE, "")).strip()
    numbers = door_numbers(tags.get(_NUMBER, ""))
    if numbers:
        return tuple(Door(street, number) for number in numbers)
    return (Door(street, ""),) if street else ()


def is_address(tags: Mapping[str, str]) -> bool:
    """Whether tags of something that is no building tell an address that houses may have."""
    return _NUMBER in tags or _RULE in tags or (_STREET in tags and "entrance" in tags)


def with_doors(
    buildings: gpd.GeoDataFrame, addresses: gpd.GeoDataFrame, knowledge: Knowledge
) -> tuple[gpd.GeoDataFrame, tuple[Left, ...]]:
    """Return the buildings with every address that is theirs, and the addresses of none.

    In this order: what a building says itself; points on it (an entrance may lie
    ``base_shared_edge_m`` beside its wall); an area round it; a point in its garden, no further
    than ``base_address_reach_m``; what an interpolation line counts out between its ends, where
    such a house has no address yet (a guess).

    Parameters
    ----------
    buildings
        Table of buildings; ``doors`` has what they say themselves.
    addresses
        Points, areas and lines with ``doors``, ``rule`` of an interpolation, ``osm``.
    knowledge
        For the settings.
    """
    giving = _Giving(buildings, knowledge)
    shapes = addresses.geometry.to_numpy()
    kind = shapely.get_dimensions(shapes)
    rules = addresses["rule"].tolist()
    doors = addresses["doors"].tolist()
    osm = addresses["osm"].tolist()
    points = [at for at in np.flatnonzero(kind == 0).tolist() if not rules[at]]
    rest = giving.on_buildings(points, shapes, doors)
    areas = [at for at in np.flatnonzero(kind == 2).tolist() if not rules[at]]
    rest += giving.in_areas(areas, shapes, doors)
    rest = giving.near_buildings(rest, shapes, doors)
    for at in np.flatnonzero(kind == 1).tolist():
        if rules[at]:
            numbered = {
                at: (xy[0], doors[at])
                for at in points
                if len(xy := shapely.get_coordinates(shapes[at])) and doors[at]
            }
            giving.along(shapes[at], rules[at], numbered)
    left = tuple(
        Left(door._replace(x=spot.x, y=spot.y), osm[at], _(NO_HOUSE))
        for at in rest
        if not (spot := shapely.centroid(shapes[at])).is_empty
        for door in doors[at]
        if door.number
    )
    made = buildings.assign(doors=_cells(giving.doors))
    sure = made["sure"].to_numpy(dtype=bool) | np.array([bool(one) for one in giving.doors], bool)
    return made.assign(sure=sure), left


def _cells(doors: list[list[Door]]) -> Shapes:
    cells = np.empty(len(doors), dtype=object)
    for at, own in enumerate(doors):
        cells[at] = tuple(own)
    return cells


class _Giving:
    """Addresses given out so far, one list a building."""

    def __init__(self, buildings: gpd.GeoDataFrame, knowledge: Knowledge) -> None:
        self.shapes: Shapes = buildings.geometry.to_numpy()
        self.doors = [list(own) for own in buildings["doors"]]
        self.tree = shapely.STRtree(self.shapes)
        self.lived = ~np.isin(buildings["use"].to_numpy(dtype=object), _NOT_HOUSE)
        self.touch = knowledge.setting("base_shared_edge_m")
        self.reach = knowledge.setting("base_address_reach_m")

    def give(self, building: int, doors: tuple[Door, ...], x: float, y: float, basis: str) -> None:
        """Add addresses; one that the building has by its tags only gets a place."""
        own = self.doors[building]
        streets = {door.street for door in own if door.street}
        for door in doors:
            street = door.street or (streets.copy().pop() if len(streets) == 1 else "")
            new = Door(street, door.number, x, y, basis)
            same = next((k for k, one in enumerate(own) if _same(one, new)), None)
            if same is None:
                bare = [k for k, one in enumerate(own) if not one.number and one.street == street]
                if bare and new.number:
                    own[bare[0]] = new
                else:
                    own.append(new)
            elif np.isnan(own[same].x):
                own[same] = own[same]._replace(x=x, y=y)

    def on_buildings(
        self, points: list[int], shapes: Shapes, doors: list[tuple[Door, ...]]
    ) -> list[int]:
        """Give points to the buildings that they lie on; return those that lie on none."""
        if not points or not len(self.shapes):
            return points
        at, building = self.tree.query(shapes[points], predicate="dwithin", distance=self.touch)
        found: dict[int, list[int]] = {}
        for point, one in sorted(zip(at.tolist(), building.tolist(), strict=True)):
            found.setdefault(points[point], []).append(one)
        for point, near in found.items():
            lived = [one for one in near if self.lived[one]] or near
            away = shapely.distance(self.shapes[lived], shapes[point])
            x, y = shapely.get_coordinates(shapes[point])[0]
            self.give(lived[int(np.argmin(away))], doors[point], x, y, POINT)
        return [point for point in points if point not in found]

    def in_areas(
        self, areas: list[int], shapes: Shapes, doors: list[tuple[Door, ...]]
    ) -> list[int]:
        """Give the address of an area to the largest house in it that has none."""
        rest = []
        for at in areas:
            inside = self.tree.query(shapes[at], predicate="intersects")
            inside = inside[self.lived[inside]]
            share = shapely.area(shapely.intersection(self.shapes[inside], shapes[at]))
            inside = inside[share > shapely.area(self.shapes[inside]) / 2]
            free = [one for one in np.sort(inside).tolist() if not self.doors[one]]
            if free:
                largest = free[int(np.argmax(shapely.area(self.shapes[free])))]
                self.give(largest, doors[at], np.nan, np.nan, AREA)
            elif not any(_has(self.doors[one], doors[at]) for one in inside.tolist()):
                rest.append(at)
        return rest

    def near_buildings(
        self, points: list[int], shapes: Shapes, doors: list[tuple[Door, ...]]
    ) -> list[int]:
        """Give points in gardens to the nearest house without an address, the closest first."""
        free = [k for k in np.flatnonzero(self.lived).tolist() if not self.doors[k]]
        if not points or not free:
            return points
        at, near = shapely.STRtree(self.shapes[free]).query(
            shapes[points], predicate="dwithin", distance=self.reach
        )
        house = np.array(free)[near]
        away = shapely.distance(shapes[points][at], self.shapes[house])
        given: set[int] = set()
        taken: set[int] = set()
        for k in np.lexsort((house, at, away)).tolist():
            point, one = points[int(at[k])], int(house[k])
            if point in given or one in taken:
                continue
            x, y = shapely.get_coordinates(shapely.centroid(shapes[point]))[0]
            self.give(one, doors[point], x, y, POINT)
            given.add(point)
            taken.add(one)
        return [point for point in points if point not in given]

    def along(
        self,
        line: shapely.LineString,
        rule: str,
        numbered: Mapping[int, tuple[NDArray[np.float64], tuple[Door, ...]]],
    ) -> None:
        """Give houses along an interpolation line the numbers between those at its corners."""
        corners = shapely.get_coordinates(line)
        if not numbered or len(corners) < 2:
            return
        places = np.array([xy for xy, _ in numbered.values()])
        known = [doors for _, doors in numbered.values()]
        stops: list[tuple[float, Door]] = []
        for xy in corners:
            away = np.hypot(*(places - xy).T)
            nearest = int(np.argmin(away))
            if away[nearest] <= _SAME_POINT:
                stops.append((float(line.project(shapely.Point(xy))), known[nearest][0]))
        for (start, first), (end, last) in pairwise(stops):
            numbers = list(_between(first.number, last.number, rule))
            if not numbers or end <= start:
                continue
            along = start + (end - start) * np.arange(1, len(numbers) + 1) / (len(numbers) + 1)
            street = first.street or last.street
            self._count_out(line, (start, end), along, [Door(street, n) for n in numbers])

    def _count_out(
        self,
        line: shapely.LineString,
        span: tuple[float, float],
        along: NDArray[np.float64],
        doors: list[Door],
    ) -> None:
        near = self.tree.query(line, predicate="dwithin", distance=self.reach)
        free = [k for k in np.sort(near).tolist() if self.lived[k] and not self.doors[k]]
        middle = shapely.line_locate_point(line, shapely.centroid(self.shapes[free]))
        within = (middle > span[0]) & (middle < span[1])
        homes = np.array(free, dtype=np.intp)[within]
        middle = middle[within]
        if len(homes) == len(doors):
            pairs = list(
                zip(np.argsort(middle, kind="stable").tolist(), range(len(doors)), strict=True)
            )
        else:
            away = np.abs(middle[:, None] - along[None, :])
            step = abs(float(along[1] - along[0])) if len(along) > 1 else span[1] - span[0]
            pairs, used, done = [], set(), set()
            for flat in np.argsort(away, axis=None, kind="stable").tolist():
                one, number = divmod(flat, len(doors))
                if one in used or number in done or away[one, number] > step:
                    continue
                pairs.append((one, number))
                used.add(one)
                done.add(number)
        for one, number in pairs:
            point = shapely.line_interpolate_point(line, along[number])
            self.give(int(homes[one]), (doors[number],), point.x, point.y, BETWEEN)


def _same(one: Door, other: Door) -> bool:
    streets = {folded(one.street), folded(other.street)} - {""}
    return fold_number(one.number) == fold_number(other.number) and len(streets) < 2


def _has(own: list[Door], doors: tuple[Door, ...]) -> bool:
    return all(any(_same(one, door) for one in own) for door in doors)


def _between(first: str, last: str, rule: str) -> Iterator[str]:
    """Numbers between two, by the rule of an interpolation line (odd, even, all, or a step)."""
    step = _STEP.get(rule, int(rule) if rule.isdigit() else 0)
    if not (first.isdigit() and last.isdigit() and step > 0):
        return
    low, high = int(first), int(last)
    way = step if high >= low else -step
    yield from (str(number) for number in range(low + way, high, way))
