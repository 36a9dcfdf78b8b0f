"""A street found by its name in an OpenStreetMap extract of any size, so that nobody needs degrees.

Several passes, none of which holds more than names and the nodes of the streets in question: names
(streets, addresses, places), then places of the nodes, then the part of the file round the one
street (its own file, see `kept_part`).
"""

import time
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import osmium
import shapely
from numpy.typing import NDArray

from patchnet.base.gather import METRES_A_DEGREE
from patchnet.core.errors import CannotRead, WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.folding import folded
from patchnet.core.reader_child import read_in_child
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.street.one_name import streets_of_one_name

__all__ = ["Box", "Found", "find_street", "places_of", "scan_seconds"]

Box = tuple[float, float, float, float]
_PLACES = ("city", "town", "village", "suburb", "quarter", "neighbourhood", "hamlet")
_NO_STREET = ("footway", "path", "steps", "cycleway", "bridleway", "proposed", "construction")
_LISTED = 12
_SAMPLE = 4_000_000  # bytes of a file by which its speed of reading is told
_PASSES = 2.0  # what all passes come to, in passes over every node as the sample is one


@dataclass(frozen=True)
class Found:
    """One street in an extract.

    Attributes
    ----------
    name
        As most of its roads or addresses spell it.
    place
        The town, village or quarter that it is in; empty where the extract names none near.
    box
        West, south, east, north in degrees: its roads and addressed houses.
    houses
        How many addresses name it.
    """

    name: str
    place: str
    box: Box
    houses: int


class _Seen:
    """What a pass over all names found of the street that was asked for.

    Attributes
    ----------
    ways
        Name and node ids of each road.
    houses
        Street, town and first node of each building with an address there.
    points
        Street, town, longitude and latitude of each address drawn as a point.
    places
        Name, longitude and latitude of towns, villages and quarters.
    names
        How often each name of a street stands in the file.
    """

    def __init__(self, wanted: Collection[str]) -> None:
        self.wanted = wanted
        self.ways: list[tuple[str, list[int]]] = []
        self.houses: list[tuple[str, str, int]] = []
        self.points: list[tuple[str, str, float, float]] = []
        self.places: list[tuple[str, float, float]] = []
        self.names: Counter[str] = Counter()
        self._folded: dict[str, str] = {}

    def fold(self, name: str) -> str:
        """Return what is compared of a name; each is worked out once."""
        if name not in self._folded:
            self._folded[name] = folded(name)
        return self._folded[name]

    def node(self, node: osmium.osm.Node) -> None:
        """Note an address or a place."""
        tags = dict(node.tags)
        street = self._street(tags)
        if tags.get("place") in _PLACES and "name" in tags:
            self.places.append((tags["name"], node.lon, node.lat))
        if street and self.fold(street) in self.wanted:
            self.points.append((street, tags.get("addr:city", ""), node.lon, node.lat))

    def way(self, way: osmium.osm.Way) -> None:
        """Note a road, or a building with an address."""
        tags = dict(way.tags)
        street = self._street(tags)
        if street and self.fold(street) in self.wanted:
            self.houses.append((street, tags.get("addr:city", ""), way.nodes[0].ref))
        name = tags.get("name", "") if "highway" in tags else ""
        if name:
            self.names[name] += 1
            if self.fold(name) in self.wanted and tags["highway"] not in _NO_STREET:
                self.ways.append((name, [node.ref for node in way.nodes]))

    def only(self, folded: str) -> None:
        """Keep what is of one name."""
        self.ways = [row for row in self.ways if self.fold(row[0]) == folded]
        self.houses = [row for row in self.houses if self.fold(row[0]) == folded]
        self.points = [row for row in self.points if self.fold(row[0]) == folded]

    def _street(self, tags: Mapping[str, str]) -> str:
        street = tags.get("addr:street", "") or tags.get("addr:place", "")
        if street:
            self.names[street] += 1
        return str(street)


def scan_seconds(path: Path) -> float:
    """Return about how long it takes to go through a file for the first time, in seconds.

    Told by reading its first megabytes, so that it holds for this machine.

    Parameters
    ----------
    path
        An OpenStreetMap extract.
    """
    size = path.stat().st_size
    return 0.0 if size <= _SAMPLE else read_in_child(_scan_here, path, size)


def _scan_here(path: Path, size: int) -> float:
    with path.open("rb") as file:
        head = file.read(_SAMPLE)
    began = time.perf_counter()
    try:
        for __, ___ in places_of(osmium.io.FileBuffer(head, "pbf")):
            pass
    except RuntimeError:
        pass  # the sample ends in the middle of a block
    return (time.perf_counter() - began) * _PASSES * size / len(head)


def places_of(
    file: "Path | osmium.io.FileBuffer",
) -> Iterator[tuple[int, osmium.osm.Location]]:
    """Give id and place of every node of an extract."""
    for node in osmium.FileProcessor(file, osmium.osm.NODE):
        if isinstance(node, osmium.osm.Node):
            yield node.id, node.location


def find_street(path: Path, asked: str, knowledge: Knowledge) -> Found:
    """Find the one street that is meant.

    Parameters
    ----------
    path
        ``.osm.pbf`` or ``.osm``.
    asked
        Its name, also with its place: ``Elm Road`` or ``Elm Road, Oxford``.
    knowledge
        For ``base_same_street_m``.

    Raises
    ------
    CannotRead
        If the file is damaged.
    WrongUse
        If there is no such street, or several: they are listed with their places.
    """
    same_street_m = knowledge.setting("base_same_street_m")
    return read_in_child(_find_here, path, asked, same_street_m)


def _find_here(path: Path, asked: str, same_street_m: float) -> Found:
    seen, place = _names(path, asked)
    found = _streets(path, seen, same_street_m)
    elsewhere = ", ".join(sorted({one.place for one in found if one.place})) if place else ""
    if place:
        found = [one for one in found if folded(one.place) == place]
    if len(found) == 1:
        return found[0]
    if found:
        listed = "".join(
            _("\n  {name}, {place}: {houses} addressed houses, --bbox={box}").format(
                name=one.name,
                place=one.place or _("no place named"),
                houses=one.houses,
                box=",".join(f"{edge:.5f}" for edge in one.box),
            )
            for one in found[:_LISTED]
        )
        more = (
            _("\n  and {n_found} more").format(n_found=len(found) - _LISTED)
            if len(found) > _LISTED
            else ""
        )
        raise WrongUse(
            _(
                "There are {n_found} streets called {asked!r} in {path_name}. Say the place with "
                "the name (--street '{found_name}, {place}'), or its box:{listed}{more}"
            ).format(
                n_found=len(found),
                asked=asked,
                path_name=path.name,
                found_name=found[0].name,
                place=found[0].place or "PLACE",
                listed=listed,
                more=more,
            )
        )
    hint = nearest_hint(asked, list(seen.names))
    if elsewhere:
        hint = _(" One of that name lies in: {elsewhere}.").format(elsewhere=elsewhere)
    raise WrongUse(
        _("There is no street called {asked!r} in {path_name}.{hint}").format(
            asked=asked, path_name=path.name, hint=hint
        )
    )


def _names(path: Path, asked: str) -> tuple[_Seen, str]:
    """Go through all names once; return what is called as asked, and the place that was asked."""
    whole = folded(asked)
    head, __, tail = asked.rpartition(",")
    wanted = {whole: ""} | ({folded(head): folded(tail)} if head.strip() else {})
    seen = _Seen(wanted)
    keys = osmium.filter.KeyFilter("highway", "addr:street", "addr:place", "place")
    kinds = osmium.osm.NODE | osmium.osm.WAY
    try:
        for thing in osmium.FileProcessor(path, kinds).with_filter(keys):
            if isinstance(thing, osmium.osm.Node):
                seen.node(thing)
            elif isinstance(thing, osmium.osm.Way):
                seen.way(thing)
    except RuntimeError as error:
        raise CannotRead(
            _("{path_name} is damaged, or no OpenStreetMap extract.").format(path_name=path.name)
        ) from error
    every = {seen.fold(row[0]) for rows in (seen.ways, seen.houses, seen.points) for row in rows}
    name = whole if whole in every or len(wanted) == 1 else folded(head)
    seen.only(name)
    return seen, wanted[name]


def _streets(path: Path, seen: _Seen, apart: float) -> list[Found]:
    """Put roads and houses of one name together to streets, each with its place."""
    refs = {ref for _, nodes in seen.ways for ref in nodes} | {ref for _, _, ref in seen.houses}
    where: dict[int, tuple[float, float]] = {}
    if refs:
        wanted = osmium.filter.IdFilter(sorted(refs))
        for node in osmium.FileProcessor(path, osmium.osm.NODE).with_filter(wanted):
            if isinstance(node, osmium.osm.Node):
                where[node.id] = (node.lon, node.lat)
    rows: list[tuple[str, str, bool, NDArray[np.float64]]] = []
    for name, nodes in seen.ways:
        xy = [where[ref] for ref in nodes if ref in where]
        if xy:
            rows.append((name, "", False, np.array(xy)))
    rows += [
        (name, city, True, np.array([where[ref]]))
        for name, city, ref in seen.houses
        if ref in where
    ]
    rows += [(name, city, True, np.array([[x, y]])) for name, city, x, y in seen.points]
    if not rows:
        return []
    scale = _scale(float(np.mean([xy[:, 1].mean() for _, _, _, xy in rows])))
    shapes = [
        shapely.LineString(xy * scale) if len(xy) > 1 else shapely.Point(xy[0] * scale)
        for _, _, _, xy in rows
    ]
    member = streets_of_one_name(shapes, apart)
    found = [
        _one_street([rows[at] for at in np.flatnonzero(member == k)], seen.places, scale)
        for k in np.unique(member)
    ]
    return sorted(found, key=lambda one: (-one.houses, one.place, one.box))


def _one_street(
    rows: Sequence[tuple[str, str, bool, NDArray[np.float64]]],
    places: Sequence[tuple[str, float, float]],
    scale: NDArray[np.float64],
) -> Found:
    xy = np.vstack([one for _, _, _, one in rows])
    west, south = xy.min(axis=0).tolist()
    east, north = xy.max(axis=0).tolist()
    names = Counter(name for name, *_ in rows)
    cities = Counter(city for _, city, *_ in rows if city)
    place = cities.most_common(1)[0][0] if cities else ""
    if not place and places:
        away = np.hypot(*((np.array([one[1:] for one in places]) - xy.mean(axis=0)) * scale).T)
        place = places[int(np.argmin(away))][0]
    houses = sum(is_house for _, _, is_house, _ in rows)
    return Found(names.most_common(1)[0][0], place, (west, south, east, north), houses)


def _scale(latitude: float) -> NDArray[np.float64]:
    """Metres a degree of longitude and of latitude."""
    return np.array([METRES_A_DEGREE * np.cos(np.radians(latitude)), METRES_A_DEGREE])
