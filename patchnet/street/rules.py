"""Every street rule asked of one box: width, sight, corners, and what stands in the street."""

from collections.abc import Callable, Iterable
from typing import TypeAlias

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.street.box_place import Place
from patchnet.street.findings import finding, metres
from patchnet.street.near_things import near_findings
from patchnet.street.overturning import wind_finding
from patchnet.street.roots import root_findings
from patchnet.street.site import Finding, Street, Verdict
from patchnet.street.taped_things import side_road_finding, taped_findings
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
        said: Verdict = rule.verdict
        end = _(" Ask the authority.") if said == "ask" else ""
        if area.least is not None and place.grown.intersection(area.least).area <= _TOUCH_M2:
            said = "measure"
            end = _(" The speed was assumed, and at a lower one it would stand clear: find out.")
        found.append(
            finding(
                area.rule,
                said,
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
    if not street.junctions_known and place.taped and place.taped.side_road_m is not None:
        found.append(side_road_finding(street, place, knowledge=knowledge))
    elif not street.junctions_known:
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
    return near_findings(street, place, knowledge=knowledge)


@street_test
def _on_the_spot(street: Street, place: Place, knowledge: Knowledge) -> list[Finding]:
    """Return what somebody found who looked for everything, or that nobody did."""
    if place.taped is not None and place.taped.things is not None:
        return taped_findings(street, place, knowledge=knowledge)
    if street.is_looked_at(place.side, *place.stretch):
        return []
    words = _(
        "Nobody has said that everything in the street was looked for here: look on the spot for "
        "doors, drives, gullies, covers, trees and the like."
    )
    return [Finding("street_objects", "measure", None, None, "", "assumed", words, "")]


@street_test
def _roots(street: Street, place: Place, knowledge: Knowledge) -> list[Finding]:
    return root_findings(street, place, knowledge=knowledge)


@street_test
def _fast_road(street: Street, place: Place, knowledge: Knowledge) -> list[Finding]:
    """Beside a fast road a box stands farther back: it must not become a missile."""
    if street.speed_mph <= knowledge.street_rule("speed_most_mph"):
        return []
    rule = "speed_offset_m"
    limit = knowledge.street_rule(rule)
    apart = round(float(place.box.distance(street.carriageway)), _CENTIMETRES)
    verdict: Verdict = "fits" if apart >= limit else "no"
    if verdict == "no" and street.speed_basis == "assumed":
        verdict = "measure"
    words = _(
        "{apart} from the carriageway of a road for {speed:.0f} mph: {limit} is asked."
    ).format(apart=metres(apart), speed=street.speed_mph, limit=metres(limit))
    return [finding("fast_road", verdict, apart, limit, street.speed_basis, knowledge, rule, words)]


@street_test
def _wind(street: Street, place: Place, knowledge: Knowledge) -> list[Finding]:
    del street
    return [wind_finding(place.size, knowledge=knowledge)]


@street_test
def _fire(street: Street, place: Place, knowledge: Knowledge) -> list[Finding]:
    return [fire_finding(street, place, knowledge=knowledge)]


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
