"""Lines straight across a street, one a station: where kerb, footway and its back edge lie."""

from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.base_map import GUESSED
from patchnet.street.road_line import RoadLine, along
from patchnet.street.site import SIDES, Basis, Floats, Side, StreetSide

__all__ = ["Footways", "at_stations", "footways_of", "half_width", "outward", "street_sides"]

_STEP_M = 0.5  # between stations; corners of the footways have stations of their own
_BESIDE_M = 0.01  # a corner is looked at this much before and after it
_LOOK_M = 30.0  # how far a line across looks
_SLIVER_M = 0.02  # gaps and strips narrower than this are drawing errors
_INTO_M = 0.5  # behind the kerb, where the footway is looked up
_OVER_LINE_M = 0.05  # a footway that starts nearer the road's middle crosses the road


class Footways(NamedTuple):
    """Footways near a road: ground to walk on, rows with area, bare lines, and what was guessed."""

    walkable: shapely.Geometry
    areas: gpd.GeoDataFrame
    bare: gpd.GeoDataFrame
    guessed: shapely.Geometry
    overlap_m2: float


@dataclass
class _Found:
    """What has been found along one side so far; NaN is not known."""

    near: Floats
    back: Floats
    stated: Floats
    bare: NDArray[np.bool_]
    guessed: NDArray[np.bool_]


def footways_of(
    footways: gpd.GeoDataFrame, buildings: shapely.Geometry, line: shapely.LineString, reach: float
) -> Footways:
    """Return the footways within reach of a road, lines with a width as areas.

    Parameters
    ----------
    footways
        Lines or areas, with ``width_m`` (NaN: not known). What is guessed by its ``basis`` is no
        ground to stand on, for nobody saw it.
    buildings
        All of them as one shape.
    line
        Of the road.
    reach
        Metres from it.
    """
    close = footways[shapely.dwithin(footways.geometry.to_numpy(), line, reach)]
    is_guessed = np.zeros(len(close), dtype=bool)
    if "basis" in close:
        is_guessed |= close["basis"].str.casefold().str.startswith(GUESSED).to_numpy(dtype=bool)
    guessed = shapely.union_all(close.geometry.to_numpy()[is_guessed])
    close = close[~is_guessed]
    shapes = close.geometry.to_numpy()
    drawn = shapely.get_dimensions(shapes) == 2
    wide = ~drawn & np.isfinite(close["width_m"].to_numpy(dtype=float))
    half = close["width_m"].to_numpy(dtype=float)[wide] / 2
    shapes = shapes.copy()
    shapes[wide] = shapely.buffer(shapes[wide], half, cap_style="flat", join_style="mitre")
    areas = close[drawn | wide].set_geometry(list(shapes[drawn | wide]), crs=footways.crs)
    ground = shapely.union_all(areas.geometry.to_numpy())
    overlap = float(areas.geometry.area.sum() - ground.area)
    bare = close[~drawn & ~wide]
    return Footways(ground.difference(buildings), areas, bare, guessed, overlap)


def half_width(road: RoadLine, chainage: Floats) -> Floats:
    """Return half the stated width between kerbs at each station, NaN where nobody said it.

    Parameters
    ----------
    road
        With its stated widths.
    chainage
        Shape (n,), metres along it.

    Returns
    -------
    array
        Shape (n,), metres.
    """
    half = np.full(len(chainage), np.nan)
    for start, stop, width, __ in road.stretches:
        half[(chainage >= start) & (chainage <= stop)] = width / 2
    return half


def outward(line: shapely.LineString, chainage: Floats, side: Side) -> tuple[Floats, Floats]:
    """Return the points on the line and the directions straight away from it on one side.

    Parameters
    ----------
    line
        Of the road.
    chainage
        Shape (n,), metres along it.
    side
        Which side.

    Returns
    -------
    points, ways
        Shape (n, 2) each: metres; unit vectors.
    """
    points, ways = along(line, chainage)
    normal = np.column_stack([-ways[:, 1], ways[:, 0]])
    return points, normal if side == "left" else -normal


def street_sides(
    road: RoadLine, footways: Footways, *, knowledge: Knowledge
) -> tuple[StreetSide, StreetSide, list[str], list[str]]:
    """Cut across the street at every station.

    Parameters
    ----------
    road
        Its line, with widths between kerbs.
    footways
        Those within reach of it.
    knowledge
        For the settings and usual widths.

    Returns
    -------
    tuple
        Left side, right side, what to say on the plan, what is odd on the map.
    """
    stations = _stations(road.line, footways)
    notes: list[str] = []
    odd: list[str] = []
    half = half_width(road, stations)
    within = np.where(
        np.isfinite(half), half, knowledge.street_rule("carriageway_default_m") / 2
    ) + knowledge.street_rule("footway_reach_m")
    cuts = [_cut(side, road, footways, stations, within) for side in SIDES]
    # Where the two drawn kerbs are as far apart as the road is said to be wide, they are the
    # kerbs, wherever between them its line was drawn.
    apart = np.abs(cuts[0].near + cuts[1].near - 2 * half)
    agreed = np.nan_to_num(apart, nan=np.inf) <= knowledge.street_rule("width_disagree_m")
    left, right = (
        _side(side, road, cut, stations, agreed, (notes, odd), knowledge)
        for side, cut in zip(SIDES, cuts, strict=True)
    )
    return left, right, notes, odd


def at_stations(side: StreetSide, chainage: Floats, values: Floats) -> Floats:
    """Return values between stations; NaN where a station on either hand has none.

    Parameters
    ----------
    side
        With its s stations.
    chainage
        Shape (n,), metres along the line.
    values
        Shape (s,), any unit.

    Returns
    -------
    array
        Shape (n,), in the same unit.
    """
    return np.interp(chainage, side.chainage, values, left=np.nan, right=np.nan)


def _stations(line: shapely.LineString, footways: Footways) -> Floats:
    corners = shapely.points(shapely.get_coordinates(footways.walkable))
    close = corners[shapely.dwithin(corners, line, _LOOK_M)] if len(corners) else corners
    there = shapely.line_locate_point(line, close)
    count = max(2, int(np.ceil(line.length / _STEP_M)) + 1)
    every = np.concatenate(
        [np.linspace(0, line.length, count), there - _BESIDE_M, there + _BESIDE_M]
    )
    return np.unique(np.round(np.clip(every, 0.0, line.length), 3))


def _side(
    side: Side,
    road: RoadLine,
    found: _Found,
    stations: Floats,
    agreed: NDArray[np.bool_],
    said: tuple[list[str], list[str]],
    knowledge: Knowledge,
) -> StreetSide:
    differ = knowledge.street_rule("width_disagree_m")
    stated_half = half_width(road, stations)
    half = np.where(
        np.isfinite(stated_half), stated_half, knowledge.street_rule("carriageway_default_m") / 2
    )
    drawn = np.isfinite(found.near)
    mapped = bool(drawn.any() or found.bare.any() or found.guessed.any())
    centred = drawn & np.isfinite(stated_half) & ~agreed
    verge = centred & (found.near > half + differ)
    over = centred & (found.near < half - differ)
    kerb = np.where(drawn & ~verge, found.near, half)
    is_open = drawn | found.bare | found.guessed if mapped else np.ones(len(stations), dtype=bool)
    for start, stop in road.gaps:
        is_open &= (stations < start) | (stations > stop)
    kerb = np.where(is_open, kerb, np.nan)
    width = found.back - found.near
    stated = found.stated
    clash = np.isfinite(stated) & (np.abs(stated - width) > differ)
    measured = np.isfinite(stated) & ~(clash & (stated > width))
    footway = np.where(measured, stated, width)
    _say(
        side, road.name, said, mapped=mapped, guessed=found.guessed, over=over, clash=clash,
        stations=stations, mouth_m=knowledge.setting("street_mouth_m"),
    )  # fmt: skip
    points, away = outward(road.line, stations, side)
    return StreetSide(
        side=side,
        chainage=stations,
        kerb=kerb,
        near=np.where(drawn, found.near, kerb),
        back=np.where(is_open, found.back, np.nan),
        footway=np.where(is_open, footway, np.nan),
        drawn=np.where(is_open, width, np.nan),
        open=is_open,
        measured=measured & is_open,
        guessed=found.guessed,
        kerb_basis=_kerb_basis(drawn, stated_half),
        kerbs=_lines(points, away, kerb),
        backs=_lines(points, away, np.where(is_open, found.back, np.nan)),
    )


def _kerb_basis(drawn: NDArray[np.bool_], stated_half: Floats) -> Basis:
    return "from the map" if drawn.any() or np.isfinite(stated_half).any() else "assumed"


def _cut(
    side: Side, road: RoadLine, footways: Footways, stations: Floats, within: Floats
) -> _Found:
    points, away = outward(road.line, stations, side)
    rays = shapely.linestrings(np.stack([points, points + _LOOK_M * away], axis=1))
    count = len(stations)
    near, back, stated = np.full((3, count), np.nan)
    found = _Found(near, back, stated, *np.zeros((2, count), dtype=bool))
    shapely.prepare(footways.walkable)
    hits = shapely.intersection(rays, footways.walkable)
    for at, hit in enumerate(hits):
        span = _first_span(hit, points[at], away[at], within[at])
        if span is not None:
            found.near[at], found.back[at] = span
    _close_slivers(stations, found)
    found.stated[:] = _stated(footways.areas, points, away, found)
    bare = shapely.union_all(footways.bare.geometry.to_numpy())
    for marked, shape in ((found.bare, bare), (found.guessed, footways.guessed)):
        if shape.is_empty:
            continue
        meets = shapely.distance(shapely.points(points), shapely.intersection(rays, shape))
        first = np.nan_to_num(meets, nan=np.inf) < np.nan_to_num(found.near, nan=np.inf)
        marked[:] = first & (np.nan_to_num(meets, nan=np.inf) <= within)
        # What lies behind a bare line (a passage, a yard) is not this road's footway.
        for values in (found.near, found.back, found.stated):
            values[marked] = np.nan
    return found


def _close_slivers(stations: Floats, found: _Found) -> None:
    """Bridge the hair between two footways that were drawn edge to edge."""
    known = np.flatnonzero(np.isfinite(found.near))
    for before, after in pairwise(known):
        if after - before > 1 and stations[after] - stations[before] <= 2 * (_SLIVER_M + _BESIDE_M):
            between = slice(before + 1, after)
            for values in (found.near, found.back):
                values[between] = np.interp(
                    stations[between], stations[[before, after]], values[[before, after]]
                )


def _first_span(
    hit: shapely.Geometry, point: Floats, away: Floats, within: float
) -> tuple[float, float] | None:
    """From where to where the first footway on the line across lies, or None."""
    spans = []
    for part in shapely.get_parts(hit):
        if not part.is_empty and shapely.get_dimensions(part) == 1:
            far = (shapely.get_coordinates(part) - point) @ away
            spans.append((float(far.min()), float(far.max())))
    spans.sort()
    joined: list[tuple[float, float]] = []
    for span in spans:
        if joined and span[0] - joined[-1][1] <= _SLIVER_M:
            joined[-1] = (joined[-1][0], max(joined[-1][1], span[1]))
        else:
            joined.append(span)
    if joined and joined[0][0] < _OVER_LINE_M:
        return None  # a path that crosses the road here
    wide = (span for span in joined if span[1] - span[0] > _SLIVER_M and span[0] <= within)
    return next(wide, None)


def _stated(areas: gpd.GeoDataFrame, points: Floats, away: Floats, found: _Found) -> Floats:
    """Return the least width that somebody stated for the footway at each station."""
    stated = np.full(len(points), np.nan)
    widths = areas["width_m"].to_numpy(dtype=float)
    drawn = np.flatnonzero(np.isfinite(found.near))
    if not len(areas) or not len(drawn) or not np.isfinite(widths).any():
        return stated
    # A little behind the kerb: the middle may lie in a passage that opens at the back.
    inside = found.near + np.minimum((found.back - found.near) / 2, _INTO_M)
    spots = points[drawn] + inside[drawn, None] * away[drawn]
    tree = shapely.STRtree(areas.geometry.to_numpy())
    for at, area in tree.query(shapely.points(spots), predicate="intersects").T:
        stated[drawn[at]] = np.fmin(stated[drawn[at]], widths[area])
    return stated


def _lines(points: Floats, away: Floats, far: Floats) -> tuple[shapely.LineString, ...]:
    """Return the points so far from the road line as lines, broken where there is none."""
    known = np.flatnonzero(np.isfinite(far))
    runs = np.split(known, np.flatnonzero(np.diff(known) > 1) + 1)
    spots = points + far[:, None] * away
    return tuple(shapely.LineString(spots[run]) for run in runs if len(run) > 1)


def _say(
    side: Side,
    name: str,
    said: tuple[list[str], list[str]],
    *,
    mapped: bool,
    guessed: NDArray[np.bool_],
    over: NDArray[np.bool_],
    clash: NDArray[np.bool_],
    stations: Floats,
    mouth_m: float,
) -> None:
    notes, odd = said
    if not mapped:
        notes.append(
            _(
                "No footway is on the map on the {side} of {name}: its kerb was taken from the "
                "width of the road, and every width there is to be measured."
            ).format(side=side, name=name)
        )
    for a, b in _runs(guessed, stations, mouth_m):
        notes.append(
            _(
                "On the {side} of {name} the footway was guessed when the map was made, from "
                "{a:.0f} to {b:.0f} m: every width there is to be measured."
            ).format(side=side, name=name, a=a, b=b)
        )
    for a, b in _runs(over, stations, mouth_m):
        odd.append(
            _(
                "On the {side} of {name} the footway is drawn over the carriageway as its width "
                "is stated, from {a:.0f} to {b:.0f} m: the drawn kerb was taken. Check the width "
                "of the road."
            ).format(side=side, name=name, a=a, b=b)
        )
    for a, b in _runs(clash, stations, mouth_m):
        odd.append(
            _(
                "On the {side} of {name} the stated width of the footway and the drawn one "
                "differ, from {a:.0f} to {b:.0f} m: the smaller was taken. Measure again."
            ).format(side=side, name=name, a=a, b=b)
        )


def _runs(marked: NDArray[np.bool_], stations: Floats, mouth_m: float) -> list[tuple[float, float]]:
    """Stretches of marked stations; the mouth of a passage or of a side road is too short."""
    at = np.flatnonzero(marked)
    runs = np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)
    ends = [(float(stations[run[0]]), float(stations[run[-1]])) for run in runs if len(run)]
    return [(a, b) for a, b in ends if b - a >= mouth_m]
