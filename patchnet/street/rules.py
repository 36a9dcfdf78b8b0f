"""Every street rule asked of one box: width, sight, corners, and what stands in the street."""

from collections.abc import Callable, Iterable
from typing import TypeAlias

import shapely

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.street.box_place import Place
from patchnet.street.findings import finding, metres, source_of
from patchnet.street.objects import strip
from patchnet.street.site import Basis, Finding, Street, StreetObject, Verdict
from patchnet.street.width_rules import (
    Width,
    clear_finding,
    fire_finding,
    footway_finding,
    kerb_finding,
)

__all__ = ["STREET_TESTS", "StreetTest", "findings_of", "street_test"]

_TOUCH_M2 = 1e-6
_CENTIMETRES = 2


StreetTest: TypeAlias = Callable[[Street, Place, Knowledge], Iterable[Finding]]
"""What one rule says of a box at a place in a street: nothing, or findings."""
STREET_TESTS: list[StreetTest] = []
"""Every rule beside those on widths, in the order in which a report tells them."""


def street_test(test: StreetTest) -> StreetTest:
    """Make a function one of the rules that every box is held against.

    Parameters
    ----------
    test
        Takes street, place and knowledge; gives findings.
    """
    STREET_TESTS.append(test)
    return test


def findings_of(
    street: Street, place: Place, *, knowledge: Knowledge
) -> tuple[tuple[Finding, ...], Width]:
    """Return what every rule says of a box, and the clear width it leaves.

    Parameters
    ----------
    street
        The street.
    place
        The box in it.
    knowledge
        For the rules.
    """
    clear, width = clear_finding(
        street, place, asked=_at_bus_stop(street, place, knowledge), knowledge=knowledge
    )
    found = [
        footway_finding(street, place, knowledge=knowledge),
        clear,
        kerb_finding(street, place, knowledge=knowledge),
    ]
    for test in STREET_TESTS:
        found += test(street, place, knowledge)
    if not street.objects_known:
        found.append(
            Finding(
                "street_objects", "measure", None, None, "", "assumed",
                _("Nobody has mapped what else is in the street (driveways, crossings, bus stops, "
                "covers, hydrants, columns, doors, trees): look on the spot."), "",
            )
        )  # fmt: skip
    return tuple(found), width


@street_test
def _carriageways(street: Street, place: Place, knowledge: Knowledge) -> list[Finding]:
    found = []
    if place.box.intersection(street.carriageway).area > _TOUCH_M2:
        found.append(
            finding(
                "carriageway", "no", 0.0, None, "from the map", knowledge, "kerb_offset_m",
                _("The planter would stand in the carriageway."),
            )
        )  # fmt: skip
    limit = knowledge.street_rule("corner_clear_m")
    if not street.other_carriageways.is_empty:
        apart = round(float(place.box.distance(street.other_carriageways)), _CENTIMETRES)
        if apart < limit:
            found.append(
                finding(
                    "corner",
                    "no",
                    apart,
                    limit,
                    "from the map",
                    knowledge,
                    "corner_clear_m",
                    _(
                        "{apart} from the carriageway of another road: the corner stays free for "
                        "{limit}."
                    ).format(apart=metres(apart), limit=metres(limit)),
                )
            )
    return found


@street_test
def _sight(street: Street, place: Place, knowledge: Knowledge) -> list[Finding]:
    found = []
    for area in street.sight_areas:
        if place.grown.intersection(area.polygon).area <= _TOUCH_M2:
            continue
        rule = knowledge.sight_rules[area.rule]
        end = _(" Ask the authority.") if rule.verdict == "ask" else ""
        found.append(
            finding(
                area.rule,
                rule.verdict,
                0.0,
                area.reach_m,
                area.basis,
                knowledge,
                rule.set_back,
                _(
                    "The planter would stand in what {watcher} must see over {label}, {reach_m} "
                    "along the kerb.{end}"
                ).format(
                    watcher=rule.watcher, label=area.label, reach_m=metres(area.reach_m), end=end
                ),
            )
        )
    if not street.junctions_known:
        found.append(
            finding(
                "sight_junction", "measure", None, None, "assumed", knowledge, "junction_x_m",
                _("No other road is on the map, so nobody knows what must be seen at junctions."),
            )
        )  # fmt: skip
    elif not any(one.rule == "sight_junction" for one in found):
        found.append(
            finding(
                "sight_junction", "fits", None, None, "from the map", knowledge, "junction_x_m",
                _("Clear of the sight areas of every junction on the map."),
            )
        )  # fmt: skip
    return found


@street_test
def _objects(street: Street, place: Place, knowledge: Knowledge) -> list[Finding]:
    """Return what the nearest thing of each kind asks, where one is near."""
    near = knowledge.street_rule("near_object_m")
    nearest: dict[str, tuple[float, StreetObject]] = {}
    for thing in street.objects:
        if thing.kind.test == "kerb":
            continue
        apart = _apart(street, place, thing)
        if apart is not None and (
            thing.kind.key not in nearest or apart < nearest[thing.kind.key][0]
        ):
            nearest[thing.kind.key] = (apart, thing)
    found = []
    for key, (apart, thing) in nearest.items():
        rule = f"clear_{key}_m"
        limit = knowledge.street_rule(rule)
        if apart > max(limit, near):
            continue
        close = apart < limit
        called = thing.name or _("the {kind_name}").format(kind_name=thing.kind.name)
        words = _("{where}; {limit} is asked.").format(
            where=_where(thing, called, apart), limit=metres(limit)
        )
        if close and thing.kind.verdict == "ask":
            words += _(" Ask the people it belongs to.")
        basis: Basis = "from the map" if thing.known_size else "assumed"
        verdict: Verdict = thing.kind.verdict if close else "fits"
        found.append(
            Finding(key, verdict, apart, limit, "m", basis, words, source_of(rule, knowledge))
        )
    return found


@street_test
def _fire(street: Street, place: Place, knowledge: Knowledge) -> list[Finding]:
    return [fire_finding(street, place, knowledge=knowledge)]


def _where(thing: StreetObject, called: str, apart: float) -> str:
    way = thing.kind.test == "way"
    if apart == 0:
        return _("It would stand {words} {of}").format(
            words=_("in the way") if way else _("on or against"), of=_of(called, way=way)
        )
    return _("{apart} from {words}{of}").format(
        apart=metres(apart), words=_("the way ") if way else "", of=_of(called, way=way)
    )


def _of(called: str, *, way: bool) -> str:
    return _("from {called} to the kerb").format(called=called) if way else called


def _apart(street: Street, place: Place, thing: StreetObject) -> float | None:
    """Return how far the box is from what a thing keeps free; None where it is not concerned."""
    if thing.kind.test == "around":
        taken = thing.shape
    elif place.side not in thing.sides:
        return None
    elif thing.kind.test == "way":
        middle = thing.shape.centroid
        kerb = street.line.interpolate(street.line.project(middle))
        half = (thing.span[1] - thing.span[0]) / 2
        taken = shapely.LineString([middle, kerb]).buffer(half, cap_style="flat")
    else:
        side = street.side(place.side)
        # As deep as the box reaches: farther back nothing of it could be in the way.
        depth = place.offset_m + place.size.width_m + place.size.spread_m
        taken = strip(street.line, side, thing.span, depth)
    if taken.is_empty:
        return None
    return round(float(place.box.distance(taken)), _CENTIMETRES)


def _at_bus_stop(street: Street, place: Place, knowledge: Knowledge) -> tuple[float, str] | None:
    """Return the width that must stay clear where the planter stands beside a bus at its stop."""
    zone = knowledge.street_rule("bus_stop_zone_m") / 2
    for thing in street.objects:
        if thing.kind.test != "bus_stop" or place.side not in thing.sides:
            continue
        middle = sum(thing.span) / 2
        start = min(thing.span[0], middle - zone)
        stop = max(thing.span[1], middle + zone)
        if place.stretch[0] < stop and place.stretch[1] > start:
            rule = "clear_width_bus_stop_m"
            return knowledge.street_rule(rule), rule
    return None
