"""Ground that must stay free to be seen over: at junctions, driveways and crossings.

A triangle from the eye of whoever waits to the kerb as far away as a driver on that road needs
to stop, swept along the kerb so that it holds round a bend too.
"""

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.ops import substring

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.street.road_line import along
from patchnet.street.site import Basis, SightArea

__all__ = ["Road", "junction_areas", "swept"]

_STEP_M = 1.0  # along the kerb

Floats = NDArray[np.float64]


class Road(NamedTuple):
    """One road as a line with its name, half width and speed."""

    name: str
    line: shapely.LineString
    half_m: float
    speed_mph: float
    speed_basis: Basis


class _Arm(NamedTuple):
    """One way out of a junction: a line that starts there, and the road it is part of."""

    road: Road
    line: shapely.LineString
    way: Floats


def swept(eye: Floats, kerb: Floats) -> shapely.Geometry:
    """Return the ground between an eye, shape (2,), and a run of kerb, shape (n, 2).

    Parameters
    ----------
    eye
        Shape (2,): x and y, metres.
    kerb
        Shape (n, 2): x and y in turn, metres.
    """
    triangles = [shapely.Polygon([eye, one, two]) for one, two in pairwise(kerb)]
    sound = [triangle for triangle in triangles if triangle.is_valid and triangle.area > 0]
    return shapely.union_all(sound)


def junction_areas(
    own: Road, others: Sequence[Road], reach_m: dict[str, float], *, knowledge: Knowledge
) -> tuple[list[SightArea], list[str]]:
    """Return the sight areas where other roads meet one, and what to say of them.

    Parameters
    ----------
    own
        The road that is planted along.
    others
        Every other road; parts of one road bear the same name.
    reach_m
        Stopping sight distance by name of road.
    knowledge
        For how far back a waiting driver's eye is.

    Notes
    -----
    A road that ends at the junction gives way to one that goes through. Where two go through
    nobody knows which gives way: areas are drawn for both, and it is said.
    """
    areas: list[SightArea] = []
    notes: list[str] = []
    back = knowledge.street_rule("junction_x_m")
    snap, bend = knowledge.setting("street_snap_m"), knowledge.setting("street_bend_deg")
    for point, meeting in _junctions(own, others, snap):
        roads = (own, *meeting)
        arms = [arm for road in roads for arm in _arms(road, point, roads, snap)]
        minors, unsure = _minors(arms, bend)
        if unsure:
            named = _(" and ").join(dict.fromkeys(arm.road.name or "a road" for arm in arms))
            notes.append(
                _(
                    "The map does not say who gives way where {named} meet: sight areas were "
                    "drawn for every arm."
                ).format(named=named)
            )
        for minor, majors in minors:
            area = _area(minor, majors, back, reach_m[majors[0].road.name])
            if area is not None:
                areas.append(area)
    return areas, list(dict.fromkeys(notes))


def _junctions(
    own: Road, others: Sequence[Road], snap: float
) -> list[tuple[shapely.Point, list[Road]]]:
    found: list[tuple[shapely.Point, list[Road]]] = []
    for other in others:
        for point in _meeting(own, other, snap):
            near = next((f for f in found if f[0].distance(point) < own.half_m), None)
            if near is None:
                found.append((point, [other]))
            elif other not in near[1]:
                near[1].append(other)
    found += [(point, []) for point in _crosses_itself(own.line)]
    return found


def _meeting(own: Road, other: Road, snap: float) -> list[shapely.Point]:
    points = [
        part if part.geom_type == "Point" else part.centroid
        for part in shapely.get_parts(shapely.intersection(own.line, other.line))
    ]
    for line, onto, half in (
        (other.line, own.line, own.half_m),
        (own.line, other.line, other.half_m),
    ):
        for end in (line.interpolate(0.0), line.interpolate(line.length)):
            gap = end.distance(onto)
            if 0 < gap <= half + snap and all(end.distance(p) > half + snap for p in points):
                points.append(own.line.interpolate(own.line.project(end)))
    return points


def _crosses_itself(line: shapely.LineString) -> list[shapely.Point]:
    if line.is_simple or line.is_ring:
        return []
    corners = shapely.get_coordinates(line)
    segments = shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1))
    tree = shapely.STRtree(segments)
    pairs = tree.query(segments, predicate="intersects").T
    ring = len(segments) - 1 if line.is_closed else -1
    return [
        shapely.intersection(segments[one], segments[two]).centroid
        for one, two in pairs
        if two - one > 1 and not (one == 0 and two == ring)
    ]


def _arms(road: Road, point: shapely.Point, meeting: Sequence[Road], snap: float) -> list[_Arm]:
    """Return the ways out of a junction along one road; stubs within the junction are none."""
    widest = max((other.half_m for other in meeting if other is not road), default=road.half_m)
    corners = shapely.get_coordinates(road.line)
    segments = shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1))
    starts = np.concatenate([[0.0], np.cumsum(shapely.length(segments))])
    near = [
        float(starts[at] + segments[at].project(point))
        for at in np.flatnonzero(shapely.dwithin(segments, point, widest + snap))
    ]
    passes: list[float] = []
    for place in sorted(near):
        if not passes or place - passes[-1] > 4 * (widest + snap):
            passes.append(place)
    if len(passes) <= 1:
        passes = [road.line.project(point)]
    arms = []
    for place in passes:
        for stop in (0.0, road.line.length):
            if abs(stop - place) > widest + snap:
                line = substring(road.line, place, stop)
                ahead = shapely.get_coordinates(
                    line.interpolate([0.0, min(line.length, 2 * (widest + snap))])
                )
                way = ahead[1] - ahead[0]
                arms.append(_Arm(road, line, way / np.hypot(*way)))
    return arms


def _minors(arms: list[_Arm], bend: float) -> tuple[list[tuple[_Arm, list[_Arm]]], bool]:
    """Pair each arm that gives way with the two arms of the road it gives way to."""
    if len(arms) < 3:
        return [], False
    through, ending = _through(arms, bend)
    if not through:
        return [], False
    if ending and len(through) == 1:
        return [(arm, list(through[0])) for arm in ending], False
    pairs = [(arm, list(pair)) for arm in ending for pair in through]
    pairs += [
        (arm, list(pair)) for own in through for arm in own for pair in through if pair is not own
    ]
    return pairs, True


def _through(arms: list[_Arm], bend: float) -> tuple[list[tuple[_Arm, _Arm]], list[_Arm]]:
    """Pair the arms that run on into each other: the same name first, then the straightest."""
    left = list(arms)
    pairs: list[tuple[_Arm, _Arm]] = []
    for same_name in (True, False):
        while True:
            choices = [
                (_turn(one, two), at, other)
                for at, one in enumerate(left)
                for other, two in enumerate(left)
                if at < other and (one.road.name == two.road.name) is same_name
                and (same_name or _turn(one, two) < bend)
            ]  # fmt: skip
            if not choices or (not same_name and pairs):
                break
            _, at, other = min(choices)
            pairs.append((left[at], left[other]))
            left = [arm for place, arm in enumerate(left) if place not in (at, other)]
    return pairs, left


def _turn(one: _Arm, two: _Arm) -> float:
    """Degrees by which somebody turns who comes in on one arm and goes out on the other."""
    return float(np.degrees(np.arccos(np.clip(-(one.way @ two.way), -1.0, 1.0))))


def _area(minor: _Arm, majors: list[_Arm], back: float, reach: float) -> SightArea | None:
    major = majors[0].road
    inside = shapely.intersection(minor.line, major.line.buffer(major.half_m)).length
    eye = shapely.get_coordinates(minor.line.interpolate(min(inside + back, minor.line.length)))[0]
    parts = []
    for arm in majors:
        stations = np.linspace(0.0, min(reach, arm.line.length), max(2, int(reach / _STEP_M) + 1))
        points, ways = along(arm.line, stations)
        normal = np.column_stack([-ways[:, 1], ways[:, 0]])
        # The kerb on the side that the waiting driver is on.
        hand = np.sign(arm.way[0] * minor.way[1] - arm.way[1] * minor.way[0]) or 1.0
        parts.append(swept(eye, points + hand * major.half_m * normal))
    polygon = shapely.union_all(parts)
    if polygon.is_empty:
        return None
    names = minor.road.name or _("a side road"), major.name or _("the road")
    label = _("where {name} meets {name_2}").format(name=names[0], name_2=names[1])
    return SightArea("sight_junction", label, polygon, round(reach, 1), major.speed_basis)
