"""A box placed along the kerb at one station of a street."""

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.street import PlanterSize
from patchnet.street.cross_sections import at_stations
from patchnet.street.measured import Measured
from patchnet.street.objects import kerb_points
from patchnet.street.site import Floats, Side, Street, StreetSide

__all__ = ["Place", "place_at"]

_ROUNDS = 8  # of moving the box until it is as far from the kerb as it should be
_CLOSE_M = 1e-5
_STEP_M = 0.1  # a kerb that leaves the straight line by more steps in or out beside the box


@dataclass(frozen=True, eq=False)
class Place:
    """One box at one station.

    Attributes
    ----------
    side, chainage_m, size
        Which side, chainage of its middle, which planter.
    box, grown
        Outline of the box, and with its plants full grown.
    centre, along, out
        Its middle; unit vectors along the kerb and away from the road; each of shape (2,).
    offset_m, wanted_m
        Kerb to its near face at the nearest, and what the rule asks.
    wanted_for
        What asks for it: ``kerb``, or the kind of thing (``parking``).
    footway_m, drawn_m
        Narrowest footway along the box, as stated or drawn, and as drawn; NaN unknown.
    measured
        Whether the width is a stated one all along.
    stretch
        From where to where along the road line the full-grown planter reaches.
    guessed
        Whether the footway along it was guessed somewhere: nobody saw it.
    taped
        What was measured here with a tape; None: nothing.
    """

    side: Side
    chainage_m: float
    size: PlanterSize
    box: shapely.Polygon
    grown: shapely.Polygon
    centre: NDArray[np.float64]
    along: NDArray[np.float64]
    out: NDArray[np.float64]
    offset_m: float
    wanted_m: float
    wanted_for: str
    footway_m: float
    drawn_m: float
    measured: bool
    stretch: tuple[float, float]
    guessed: bool = False
    taped: Measured | None = None

    @property
    def far_m(self) -> float:
        """How far out from the centre the full-grown planter reaches."""
        return self.size.width_m / 2 + self.size.spread_m


def place_at(
    street: Street,
    side: Side,
    chainage: float,
    size: PlanterSize,
    *,
    knowledge: Knowledge,
    taped: Measured | None = None,
) -> Place | None:
    """Place a box along the kerb, or return None where there is no footway or the kerb steps.

    Parameters
    ----------
    street
        The street.
    side
        ``"left"`` or ``"right"`` of its line.
    chainage
        Middle of the box, metres along the line.
    size
        Of the box.
    knowledge
        For the set-backs from the kerb.
    taped
        What was measured here with a tape: its width of the footway counts before the map's.
    """
    one = street.side(side)
    half = size.length_m / 2
    start, stop = chainage - half, chainage + half
    if start < 0 or stop > street.length_m:
        return None
    inside = _between(one, start, stop)
    if not inside.any() or not one.open[inside].all():
        return None
    ends = kerb_points(street.line, one, np.array([start, stop]))
    reach = ends[1] - ends[0]
    length = float(np.hypot(*reach))
    if length < half:  # the kerb folds up: the inside of a sharp bend
        return None
    way: Floats = reach / length
    beside = kerb_points(street.line, one, one.chainage[inside])
    if np.abs((beside - ends[0]) @ np.array([-way[1], way[0]])).max() > _STEP_M:
        return None
    out: Floats = np.array([-way[1], way[0]]) if side == "left" else np.array([way[1], -way[0]])
    wanted, wanted_for = _wanted(street, one, start, stop, knowledge)
    beyond = float(np.nanmax((one.near - one.kerb)[inside]))
    target = max(wanted, beyond)
    foot = ends.mean(axis=0)
    kerb = _kerb_near(street, one, start - size.length_m, stop + size.length_m)
    away = target
    for _ in range(_ROUNDS):
        face = shapely.LineString([foot + away * out - half * way, foot + away * out + half * way])
        offset = _signed(face, kerb, foot, out)
        if abs(offset - target) < _CLOSE_M:
            break
        away += target - offset
    middle = foot + (away + size.width_m / 2) * out
    box = _rectangle(middle, way, out, half, size.width_m / 2)
    # In the crook of a bend the other leg of the road may be nearer than the kerb beside it.
    offset = min(offset, float(box.distance(street.carriageway)))
    spread = size.spread_m
    stretch = (start - spread, stop + spread)
    footway, drawn, measured = _widths(one, stretch)
    if taped is not None and taped.footway_m is not None:
        footway, drawn, measured = taped.footway_m, np.nan, True
    return Place(
        side=side,
        chainage_m=chainage,
        size=size,
        box=box,
        grown=_rectangle(middle, way, out, half + spread, size.width_m / 2 + spread),
        centre=middle,
        along=way,
        out=out,
        offset_m=offset,
        wanted_m=wanted,
        wanted_for=wanted_for,
        footway_m=footway,
        drawn_m=drawn,
        measured=measured,
        stretch=stretch,
        guessed=bool(one.guessed[_between(one, *stretch)].any()),
        taped=taped,
    )


def _between(side: StreetSide, start: float, stop: float) -> NDArray[np.bool_]:
    found: NDArray[np.bool_] = (side.chainage >= start) & (side.chainage <= stop)
    return found


def _rectangle(
    middle: Floats, way: Floats, out: Floats, half_length: float, half_width: float
) -> shapely.Polygon:
    corners = [
        middle + a * half_length * way + b * half_width * out
        for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    ]
    return shapely.orient_polygons(shapely.Polygon(corners))


def _wanted(
    street: Street, side: StreetSide, start: float, stop: float, knowledge: Knowledge
) -> tuple[float, str]:
    """Return the distance from the kerb that the rule asks for here, and why."""
    wanted = [(knowledge.street_rule("kerb_offset_m"), "kerb")]
    for thing in street.objects:
        apart = max(thing.span[0] - stop, start - thing.span[1])
        if thing.kind.test == "kerb" and side.side in thing.sides and apart < 0:
            rule = knowledge.street_rule(f"kerb_offset_{thing.kind.key}_m")
            wanted.append((rule, thing.kind.key))
    return max(wanted, key=lambda one: one[0])


def _kerb_near(street: Street, side: StreetSide, start: float, stop: float) -> shapely.LineString:
    ends = np.clip([start, stop], 0.0, street.length_m)
    between = side.chainage[_between(side, *ends) & np.isfinite(side.kerb)]
    return shapely.LineString(
        kerb_points(street.line, side, np.unique(np.concatenate([ends, between])))
    )


def _signed(face: shapely.LineString, kerb: shapely.LineString, foot: Floats, out: Floats) -> float:
    """Distance from the kerb to the near face; negative where the kerb reaches past it."""
    if not face.intersects(kerb):
        middle = shapely.get_coordinates(face).mean(axis=0)
        sign = 1.0 if (middle - foot) @ out >= 0 else -1.0
        return sign * float(face.distance(kerb))
    ends = shapely.get_coordinates(face)
    return min(-float(shapely.Point(end).distance(kerb)) for end in ends) or -_CLOSE_M


def _widths(side: StreetSide, stretch: tuple[float, float]) -> tuple[float, float, bool]:
    """Narrowest footway along a stretch: to go by, as drawn, and whether it is a stated one."""
    here = _between(side, *stretch)
    ends = np.array(stretch)
    known = np.concatenate([side.footway[here], at_stations(side, ends, side.footway)])
    drawn = np.concatenate([side.drawn[here], at_stations(side, ends, side.drawn)])
    if (side.open & np.isnan(side.footway))[here].any() or not np.isfinite(known).any():
        return np.nan, np.nan, False
    # The narrowest of each: where a passage opens at the back the drawn width is no width.
    return float(np.nanmin(known)), float(np.nanmin(drawn)), bool(side.measured[here].all())
