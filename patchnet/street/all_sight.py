"""Every sight area along a street: junctions, bends, driveways, crossings, at its speed."""

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import shapely

from patchnet.core.errors import WrongUse
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.stopping_sight import Vehicle, stopping_sight_m
from patchnet.street.forward_sight import forward_areas
from patchnet.street.objects import access_areas
from patchnet.street.sight_areas import Road, junction_areas
from patchnet.street.site import SightArea, StreetObject, StreetSide

__all__ = ["AllSight", "all_sight"]


class AllSight(NamedTuple):
    """Stopping sight distance of the road, metres; all areas; what to say of junctions."""

    reach_m: float
    areas: list[SightArea]
    notes: list[str]


def all_sight(
    own: Road,
    others: Sequence[Road],
    sides: tuple[StreetSide, StreetSide],
    objects: tuple[StreetObject, ...],
    *,
    knowledge: Knowledge,
) -> AllSight:
    """Return what must be seen over along a road.

    Where a speed is assumed, each area also has what must be free at the least that it may be
    (`SightArea.least`).

    Parameters
    ----------
    own, others
        The road, and every other.
    sides, objects
        Its sides, and what stands in it.
    knowledge
        For stopping sight distances and how far back the eye is.
    """
    usual = _sight(own, others, sides, objects, knowledge)
    if all(road.speed_basis != "assumed" for road in (own, *others)):
        return usual
    least = knowledge.street_rules["speed_default_mph"].low
    slow = [
        road._replace(speed_mph=least) if road.speed_basis == "assumed" else road
        for road in (own, *others)
    ]
    surely: dict[str, list[shapely.Geometry]] = {}
    for area in _sight(slow[0], slow[1:], sides, objects, knowledge).areas:
        surely.setdefault(area.rule, []).append(area.polygon)
    areas = [
        replace(area, least=shapely.union_all(surely.get(area.rule, [])))
        if area.basis == "assumed"
        else area
        for area in usual.areas
    ]
    return usual._replace(areas=areas)


def _sight(
    own: Road,
    others: Sequence[Road],
    sides: tuple[StreetSide, StreetSide],
    objects: tuple[StreetObject, ...],
    knowledge: Knowledge,
) -> AllSight:
    vehicle: Vehicle = "light"
    if any(thing.kind.test == "bus_stop" for thing in objects):
        vehicle = "heavy"
    reach = stopping_sight_m(own.speed_mph, knowledge=knowledge, vehicle=vehicle)
    reaches = {other.name: _reach_of(other, knowledge) for other in others} | {own.name: reach}
    areas, notes = junction_areas(own, others, reaches, knowledge=knowledge)
    areas += forward_areas(own, reach, knowledge=knowledge)
    areas += access_areas(own.line, sides, objects, (reach, own.speed_basis), knowledge=knowledge)
    return AllSight(reach, areas, notes)


def _reach_of(road: Road, knowledge: Knowledge) -> float:
    try:
        return stopping_sight_m(road.speed_mph, knowledge=knowledge)
    except WrongUse:
        # Faster than the table: at least as far as the fastest that it knows.
        return max(figure.value for figure in knowledge.stopping_sight.values())
