"""Rules on width: is there room on the footway, to walk past, from the kerb, between the kerbs."""

from typing import NamedTuple

import numpy as np
import shapely

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.street.box_place import Place
from patchnet.street.clear_width import BACK, ClearWidth, clear_width
from patchnet.street.cross_sections import at_stations, outward
from patchnet.street.findings import finding, metres, metres_left
from patchnet.street.site import Basis, Finding, Floats, Street, StreetSide, Verdict

__all__ = ["Width", "clear_finding", "fire_finding", "footway_finding", "kerb_finding"]

_EDGE_M = 0.02  # drawings are this true: a box over an edge by less is not over it
_MILLIMETRES = 3


class Width(NamedTuple):
    """Clear width, None where not known, and where it comes from."""

    clear_m: float | None
    basis: Basis


def footway_finding(street: Street, place: Place, *, knowledge: Knowledge) -> Finding:
    """Whether the box stands on the footway as it is drawn.

    Parameters
    ----------
    street
        The street.
    place
        The box in it.
    knowledge
        For the rule's source.
    """
    taped = np.isnan(place.drawn_m) and place.measured
    verge = 0.0 if taped else _verge(street, place)
    needs = place.offset_m + place.size.width_m
    if np.isnan(place.footway_m):
        full = needs + place.size.spread_m + knowledge.street_rule("clear_width_fits_m")
        full = round(full, _MILLIMETRES)
        return finding(
            "on_footway",
            "measure",
            None,
            full,
            "assumed",
            knowledge,
            "clear_width_fits_m",
            _(
                "Nobody has measured the footway here: measure it. From kerb to wall this planter "
                "needs {full} with the full walking width."
            ).format(full=metres(full)),
        )
    basis: Basis = "measured" if place.measured else "from the map"
    wide = round(place.footway_m, _MILLIMETRES)
    needs = round(needs - verge, _MILLIMETRES)
    narrow = place.footway_m < needs
    outside = not taped and place.box.difference(street.footway_ground).area > 0
    if outside or (taped and narrow):
        why = (
            _(
                "The footway is {wide} wide here, narrower than the planter where it must stand "
                "({needs})."
            ).format(wide=metres(wide), needs=metres(needs))
            if narrow
            else _("The planter would stand partly off the footway as it is drawn.")
        )
        return finding(
            "on_footway",
            "no",
            round(place.footway_m, _MILLIMETRES),
            needs,
            basis,
            knowledge,
            "kerb_offset_m",
            why,
        )
    return finding(
        "on_footway", "fits", wide, needs, basis, knowledge, "kerb_offset_m",
        _("The footway is {wide} wide here.").format(wide=metres(wide)),
    )  # fmt: skip


def _verge(street: Street, place: Place) -> float:
    """Width of what lies between kerb and footway (a verge) at the middle of the box."""
    side = street.side(place.side)
    at = np.array([place.chainage_m])
    gap = at_stations(side, at, side.near - side.kerb)[0]
    return 0.0 if np.isnan(gap) else float(gap)


def clear_finding(
    street: Street, place: Place, *, asked: tuple[float, str] | None, knowledge: Knowledge
) -> tuple[Finding, Width]:
    """What walking width is left at the worst point, and what the ladder says of it.

    Parameters
    ----------
    street, place
        The box with its plants full grown.
    asked
        A width in metres that must be kept here whatever the ladder says (at a bus stop), and
        its rule.
    knowledge
        The ladder.
    """
    known = not np.isnan(place.footway_m)
    taped = known and np.isnan(place.drawn_m)
    found = _taped_gap(place) if taped else _gap(street, place, known=known, knowledge=knowledge)
    if found is None:
        return _not_known(asked, knowledge), Width(None, "assumed")
    basis: Basis = "measured" if taped else "from the map"
    clear = found.width_m
    if not taped and place.measured and _(BACK) in found.between:
        clear, basis = max(0.0, clear + place.footway_m - place.drawn_m), "measured"
    clear = round(clear, _MILLIMETRES)
    fits, ask = (knowledge.street_rule(key) for key in ("clear_width_fits_m", "clear_width_ask_m"))
    between = _("between {between} and {between_2}").format(
        between=found.between[0], between_2=found.between[1]
    )
    if not known:
        # Walls and houses bound from above what nobody has measured, if the kerb is known.
        guess = place.guessed or street.side(place.side).kerb_basis == "assumed"
        if clear >= ask or guess:
            return _not_known(asked, knowledge), Width(None, "assumed")
        words = _("At most {clear} would be left to walk in, {between}.").format(
            clear=metres_left(clear), between=between
        )
        return (
            finding("clear_width", "no", clear, ask, basis, knowledge, "clear_width_ask_m", words),
            Width(clear, basis),
        )
    said = _("{clear} is left to walk in at the worst point, {between}").format(
        clear=metres_left(clear), between=between
    )
    if asked is not None and clear < asked[0]:
        words = _("{said}: {asked} must stay clear at a bus stop.").format(
            said=said, asked=metres(asked[0])
        )
        found_it = finding("clear_width", "no", clear, asked[0], basis, knowledge, asked[1], words)
    elif clear >= fits:
        limit, rule = asked or (fits, "clear_width_fits_m")
        found_it = finding("clear_width", "fits", clear, limit, basis, knowledge, rule, f"{said}.")
    elif clear >= ask:
        words = _(
            "{said}: {fits} is the rule, {ask} may do over a short length where no more can be "
            "had. Ask the authority."
        ).format(said=said, fits=metres(fits), ask=metres(ask))
        found_it = finding(
            "clear_width", "ask", clear, fits, basis, knowledge, "clear_width_fits_m", words
        )
    else:
        words = _("{said}: less than {ask}.").format(said=said, ask=metres(ask))
        found_it = finding(
            "clear_width", "no", clear, ask, basis, knowledge, "clear_width_ask_m", words
        )
    return found_it, Width(clear, basis)


def _not_known(asked: tuple[float, str] | None, knowledge: Knowledge) -> Finding:
    rule = "clear_width_fits_m"
    limit = knowledge.street_rule(rule)
    if asked is not None and asked[0] > limit:
        limit, rule = asked
    words = _(
        "What is left to walk in is not known: measure from the far side of the full-grown plants "
        "to whatever comes first behind them. It must be {limit}."
    ).format(limit=metres(limit))
    return finding("clear_width", "measure", None, limit, "assumed", knowledge, rule, words)


def _taped_gap(place: Place) -> ClearWidth:
    """Return what is left of a width that was measured from the kerb to the first thing behind."""
    taken = place.offset_m + place.size.width_m + place.size.spread_m
    return ClearWidth(max(0.0, place.footway_m - taken), (_("the plants"), _("what stands behind")))


def _gap(street: Street, place: Place, *, known: bool, knowledge: Knowledge) -> ClearWidth | None:
    ahead = knowledge.street_rule("look_ahead_m")
    start, stop = place.stretch[0] - ahead, place.stretch[1] + ahead
    way = _way_past(place, stop - start, knowledge)
    things = [
        (thing.name or _("the {kind_name}").format(kind_name=thing.kind.name), thing.shape)
        for thing in street.objects
        if thing.kind.solid and thing.shape.intersects(way)
    ]
    walls = street.barriers_inside if known else street.barriers
    things += [(_("the wall or fence"), part) for part in _parts(walls, way)]
    if known:
        back = _back(street, street.side(place.side), start, stop)
        return None if back is None else clear_width(place.grown, back, things)
    things += [(_("the building"), part) for part in _parts(street.buildings, way)]
    if not things:
        return None
    nearest = min(things, key=lambda thing: place.grown.distance(thing[1]))
    return ClearWidth(float(place.grown.distance(nearest[1])), (_("the plants"), nearest[0]))


def _way_past(place: Place, length: float, knowledge: Knowledge) -> shapely.Polygon:
    """Return the ground behind the planter, as deep as the widest way that any rule asks for."""
    widths = ("clear_width_fits_m", "clear_width_ask_m", "clear_width_bus_stop_m")
    low = place.far_m + _EDGE_M
    high = low + max(knowledge.street_rule(key) for key in widths)
    half = length / 2
    return shapely.Polygon(
        [
            place.centre + a * half * place.along + b * place.out
            for a, b in ((-1, low), (1, low), (1, high), (-1, high))
        ]
    )


def _parts(shape: shapely.Geometry, way: shapely.Polygon) -> list[shapely.Geometry]:
    """Return each piece of a shape that lies on the way past."""
    return [part for part in shapely.get_parts(shape.intersection(way)) if not part.is_empty]


def _back(street: Street, side: StreetSide, start: float, stop: float) -> shapely.Geometry | None:
    """Return the back edge of the footway beside and a little before and after the planter."""
    here = (side.chainage >= start) & (side.chainage <= stop) & np.isfinite(side.back)
    ends = np.clip([start, stop], side.chainage[0], side.chainage[-1])
    chainage = np.unique(np.concatenate([side.chainage[here], ends]))
    far: Floats = at_stations(side, chainage, side.back)
    good = np.isfinite(far)
    if good.sum() < 2:
        return None
    points, away = outward(street.line, chainage[good], side.side)
    return shapely.LineString(points + far[good, None] * away)


def kerb_finding(street: Street, place: Place, *, knowledge: Knowledge) -> Finding:
    """Whether the box is far enough from the kerb.

    Parameters
    ----------
    street
        The street.
    place
        The box in it.
    knowledge
        For the least distance, metres.
    """
    rule = "kerb_offset_m"
    if place.wanted_for != "kerb":
        rule = f"kerb_offset_{place.wanted_for}_m"
    basis = street.side(place.side).kerb_basis
    offset = round(place.offset_m, _MILLIMETRES)
    enough = offset >= place.wanted_m - _EDGE_M
    words = _("The box stands {offset} from the kerb; {wanted_m} is asked").format(
        offset=metres(offset), wanted_m=metres(place.wanted_m)
    )
    if place.wanted_for != "kerb":
        words += _(" beside {street_kind_name}").format(
            street_kind_name=knowledge.street_kinds[place.wanted_for].name
        )
    elif not street.objects_known:
        words += _(", more where cars are parked")
    verdict: Verdict = "fits" if enough else "no"
    return finding(
        "kerb_offset", verdict, offset, place.wanted_m, basis, knowledge, rule, f"{words}."
    )


def fire_finding(street: Street, place: Place, *, knowledge: Knowledge) -> Finding:
    """Whether a fire appliance gets through between the kerbs beside the planter.

    Parameters
    ----------
    street
        The street.
    place
        The box in it.
    knowledge
        For the width asked for, metres.
    """
    at = np.array([place.chainage_m])
    rule = "fire_route_m"
    limit = knowledge.street_rule(rule)
    taped = None if place.taped is None else place.taped.road_m
    stated = float(2 * _stated_half(street, at)) if taped is None else taped
    drawn = float(sum(at_stations(side, at, side.kerb)[0] for side in (street.left, street.right)))
    both = all(side.kerb_basis != "assumed" for side in (street.left, street.right))
    basis: Basis = "from the map" if taped is None else "measured"
    if taped is not None:
        width = taped
    elif np.isfinite(stated):
        width = min(stated, drawn) if np.isfinite(drawn) else stated
    elif np.isfinite(drawn) and both:
        width = drawn
    else:
        return finding(
            "fire_route",
            "measure",
            None,
            limit,
            "assumed",
            knowledge,
            rule,
            _(
                "The width between the kerbs is not known: measure it. A fire engine needs {limit}."
            ).format(limit=metres(limit)),
        )
    width = round(width, 2)
    if width >= limit:
        words = _("{width} between the kerbs: a fire engine gets past.").format(width=metres(width))
        return finding("fire_route", "fits", width, limit, basis, knowledge, rule, words)
    words = _(
        "Only {width} between the kerbs: a fire engine needs {limit} and may have to mount the "
        "footway. Ask the fire service."
    ).format(width=metres(width), limit=metres(limit))
    return finding("fire_route", "ask", width, limit, basis, knowledge, rule, words)


def _stated_half(street: Street, at: Floats) -> float:
    half = np.nan
    for start, stop, width in street.width_m:
        if start <= at[0] <= stop:
            half = width / 2
    return half
