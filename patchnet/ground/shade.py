"""Hours of direct sun on each plot, month by month, from the heights of the buildings."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray

from patchnet.errors import WrongUse
from patchnet.ground.neighbourhood import Neighbourhood
from patchnet.ground.shadows import Walls
from patchnet.ground.sun import solar_noon, solar_position
from patchnet.knowledge.records import Knowledge

__all__ = ["SUN_CLASSES", "SunHours", "sun_hours"]

SUN_CLASSES = ("full sun", "part shade", "shade")

# Halfway between leap years: the sun's declination on a date is within 0.25 degrees of this.
_YEAR = 2026
# Less ground than this (m2) outside buildings is drawing tolerance, not ground.
_NO_GROUND_M2 = 1e-6
# How far outlines of shadows go on past a plot (metres).
_OVER_M = 0.01
_MINUTE = np.timedelta64(60_000, "ms")


@dataclass(frozen=True, eq=False)
class SunHours:
    """Direct sun on the open ground of each plot; NaN is not known, never "no shade".

    Attributes
    ----------
    hours
        Index: that of the plots; columns: months (1-12). Mean over the plot's ground of the
        hours of direct sun on the day of the month that the settings name.
    morning, afternoon
        The same before and after the sun crosses the meridian; they add up to `hours`.
    classes
        Index: that of the plots; columns ``full sun``, ``part shade``, ``shade``: shares of
        the plot's ground, by the hours at midsummer. Each row adds up to 1.
    open_hours
        Month -> hours where nothing stands in the way: sun above the least altitude.
    uncounted
        Number of buildings within `shadow_range_m` of each plot that have no height. Where
        there are any, hours are what the plot gets at most.
    midsummer
        Month of the classes: 6, or 12 south of the equator.
    shadow_range_m
        Length of the longest shadow that was counted; NaN where no building has a height.
    latitude, longitude
        Of the place whose sun was taken, degrees.
    """

    hours: pd.DataFrame
    morning: pd.DataFrame
    afternoon: pd.DataFrame
    classes: pd.DataFrame
    open_hours: pd.Series
    uncounted: pd.Series
    midsummer: int
    shadow_range_m: float
    latitude: float
    longitude: float

    @property
    def known(self) -> pd.Series:
        """Whether anything is known of the sun on each plot."""
        return self.classes["full sun"].notna()


class _Place(NamedTuple):
    latitude: float
    longitude: float
    north: float  # bearing of true north in the map, degrees clockwise from the y axis


class _Moment(NamedTuple):
    bearing: float  # of the sun in the map, degrees clockwise from the y axis
    altitude: float  # degrees
    hours: float  # that the moment stands for
    morning: bool


def sun_hours(
    neighbourhood: Neighbourhood,
    knowledge: Knowledge,
    *,
    months: Sequence[int] = tuple(range(1, 13)),
) -> SunHours:
    """Work out the hours of direct sun on each plot.

    The ground is taken as level and buildings as upright with level tops; their shadows are
    exact polygons, cut with each plot's ground (the plot without buildings) at every time step.
    Trees, walls and hills are not counted, nor is cloud.

    Parameters
    ----------
    neighbourhood
        With ``height_m`` of buildings.
    knowledge
        For the time step, least altitude of the sun, day, and the hours of the classes.
    months
        Months to work out, 1-12; the classes are always those of midsummer.

    Returns
    -------
    SunHours
        A plot is not known (NaN) if no building with a height stands within the longest shadow
        of any, or if buildings cover it.

    Raises
    ------
    WrongUse
        If a month does not exist, or the plots have no coordinate system.
    """
    wanted = _checked(months)
    plots = neighbourhood.plots
    place = _place(plots)
    midsummer = 6 if place.latitude >= 0 else 12
    footprints = np.asarray(neighbourhood.buildings.geometry.array, dtype=object)
    heights = _heights(neighbourhood.buildings)
    ground = _ground(np.asarray(plots.geometry.array, dtype=object), footprints)
    least = knowledge.setting("sun_altitude_min_deg")
    known, uncounted, longest = _within_reach(ground, footprints, heights, least)
    tall = ~np.isnan(heights)
    walls = Walls.of(footprints[tall], heights[tall])
    at = np.flatnonzero(known)
    halves = {True: np.full((len(plots), len(wanted)), np.nan)}
    halves[False] = halves[True].copy()
    classes = np.full((len(plots), len(SUN_CLASSES)), np.nan)
    open_hours = np.zeros(len(wanted))
    for month in dict.fromkeys((*wanted, midsummer)):
        moments = list(_moments(place, month, knowledge))
        lit, darks = _lit(ground[at], walls, moments, keep=month == midsummer)
        if month in wanted:
            column = wanted.index(month)
            open_hours[column] = sum(moment.hours for moment in moments)
            for half, filled in halves.items():
                steps = [step for step, moment in enumerate(moments) if moment.morning == half]
                spans = np.array([moments[step].hours for step in steps])
                filled[at, column] = spans @ lit[steps]
        if month == midsummer:
            for plot, dark in zip(at, darks, strict=True):
                classes[plot] = _class_shares(ground[plot], dark, moments, knowledge)

    def table(values: NDArray[np.float64]) -> pd.DataFrame:
        return pd.DataFrame(values, index=plots.index, columns=list(wanted))

    return SunHours(
        hours=table(halves[True] + halves[False]),
        morning=table(halves[True]),
        afternoon=table(halves[False]),
        classes=pd.DataFrame(classes, index=plots.index, columns=list(SUN_CLASSES)),
        open_hours=pd.Series(open_hours, index=list(wanted)),
        uncounted=pd.Series(uncounted, index=plots.index),
        midsummer=midsummer,
        shadow_range_m=longest,
        latitude=place.latitude,
        longitude=place.longitude,
    )


def _checked(months: Sequence[int]) -> tuple[int, ...]:
    wanted = tuple(dict.fromkeys(months))
    wrong = [month for month in wanted if month not in range(1, 13)]
    if wrong or not wanted:
        raise WrongUse(f"Months are 1 to 12, not {', '.join(map(str, wrong)) or 'none'}.")
    return wanted


def _place(plots: gpd.GeoDataFrame) -> _Place:
    """Return the middle of the plots and where true north lies there."""
    if plots.crs is None:
        raise WrongUse("The plots have no coordinate system, so the sun's place is not known.")
    left, low, right, high = plots.total_bounds
    x, y = (left + right) / 2, (low + high) / 2
    globe = pyproj.Transformer.from_crs(plots.crs, "EPSG:4326", always_xy=True)
    longitude, latitude = globe.transform(x, y)
    # A step towards the nearer of equator and far pole stays on the globe.
    step = 0.001 if latitude < 0 else -0.001
    to_x, to_y = globe.transform(longitude, latitude + step, direction="INVERSE")
    sign = np.sign(step)
    north = np.degrees(np.arctan2(sign * (to_x - x), sign * (to_y - y)))
    return _Place(float(latitude), float(longitude), float(north))


def _heights(buildings: gpd.GeoDataFrame) -> NDArray[np.float64]:
    if "height_m" not in buildings.columns:
        return np.full(len(buildings), np.nan)
    return np.asarray(buildings["height_m"], dtype=float)


def _ground(plots: NDArray[np.object_], footprints: NDArray[np.object_]) -> NDArray[np.object_]:
    """Return each plot without the buildings on it."""
    ground = plots.copy()
    touched, by = shapely.STRtree(footprints).query(plots, predicate="intersects")
    for plot in np.unique(touched):
        built = shapely.union_all(footprints[by[touched == plot]])
        ground[plot] = _areas(shapely.difference(plots[plot], built))
    return ground


def _areas(shape: shapely.Geometry) -> shapely.Geometry:
    """Return what of a shape has an area: edges that only touch leave lines and points."""
    if shape.geom_type in {"Polygon", "MultiPolygon"}:
        return shape
    parts = shapely.get_parts(shape)
    return shapely.union_all(parts[shapely.get_dimensions(parts) == 2])


def _within_reach(
    ground: NDArray[np.object_],
    footprints: NDArray[np.object_],
    heights: NDArray[np.float64],
    least: float,
) -> tuple[NDArray[np.bool_], NDArray[np.int64], float]:
    """Return for each plot whether it is known, buildings without height near it; and how near."""
    tall = ~np.isnan(heights)
    none = np.zeros(len(ground), dtype=np.int64)
    if not tall.any():
        return none.astype(bool), none, np.nan
    # Where the sun counts down to the horizon shadows have no end, and every building is near.
    longest = float(heights[tall].max() / np.tan(np.radians(least))) if least > 0 else np.inf
    real = shapely.area(ground) > _NO_GROUND_M2
    if np.isinf(longest):
        return real, none + np.count_nonzero(~tall), longest
    plot, building = shapely.STRtree(footprints).query(
        ground, predicate="dwithin", distance=longest
    )
    count = np.bincount(plot[tall[building]], minlength=len(ground))
    uncounted = np.bincount(plot[~tall[building]], minlength=len(ground))
    return (count > 0) & real, uncounted, longest


def _moments(place: _Place, month: int, knowledge: Knowledge) -> Iterator[_Moment]:
    """Yield the middles of equal time steps, from sunrise to noon and from noon to sunset."""
    day = np.datetime64(f"{_YEAR}-{month:02}-{int(knowledge.setting('sun_day')):02}")
    noon = solar_noon(day, place.longitude)
    least = knowledge.setting("sun_altitude_min_deg")
    step = knowledge.setting("sun_step_min")
    for morning in (True, False):
        side = -1 if morning else 1
        minutes = np.arange(721)
        sun = solar_position(noon + side * minutes * _MINUTE, place.latitude, place.longitude)
        length = _until(minutes, sun.altitude, least)
        count = int(np.ceil(length / step))
        if not count:
            continue
        middles = (np.arange(count) + 0.5) * (length / count)
        if morning:
            middles = middles[::-1]
        offsets = np.round(side * middles * 60_000).astype(np.int64).astype("timedelta64[ms]")
        sun = solar_position(noon + offsets, place.latitude, place.longitude)
        for altitude, azimuth in zip(sun.altitude, sun.azimuth, strict=True):
            yield _Moment(
                float(azimuth) + place.north, float(altitude), length / count / 60, morning
            )


def _until(minutes: NDArray[np.int64], altitude: NDArray[np.float64], least: float) -> float:
    """Return how many minutes from noon the sun stays above the least altitude."""
    below = np.flatnonzero(altitude <= least)
    if not len(below):
        return float(minutes[-1])
    first = below[0]
    if first == 0:
        return 0.0
    above, under = altitude[first - 1], altitude[first]
    return float(minutes[first - 1] + (above - least) / (above - under))


def _lit(
    ground: NDArray[np.object_], walls: Walls, moments: Sequence[_Moment], *, keep: bool
) -> tuple[NDArray[np.float64], list[list[tuple[int, shapely.Geometry]]]]:
    """Return shares of ground in the sun, shape (moments, plots), and if asked the shadows.

    The shadows are a list for each plot of (moment, all that is in shade round about it).
    """
    shares = np.ones((len(moments), len(ground)))
    darks: list[list[tuple[int, shapely.Geometry]]] = [[] for _ in ground]
    tree = shapely.STRtree(ground)
    area = shapely.area(ground)
    for step, moment in enumerate(moments):
        pieces = walls.shadows(moment.bearing, moment.altitude)
        piece, plot = tree.query(pieces, predicate="intersects")
        if not len(piece):
            continue
        order = np.argsort(plot, kind="stable")
        piece, plot = piece[order], plot[order]
        hit, first = np.unique(plot, return_index=True)
        for at, group in zip(hit, np.split(piece, first[1:]), strict=True):
            shadow = pieces[group[0]] if len(group) == 1 else shapely.union_all(pieces[group])
            dark = _areas(shapely.intersection(ground[at], shadow))
            shares[step, at] = max(0.0, 1 - dark.area / area[at])
            if keep and dark.area > 0:
                darks[at].append((step, shadow))
    return shares, darks


def _class_shares(
    ground: shapely.Geometry,
    darks: Sequence[tuple[int, shapely.Geometry]],
    moments: Sequence[_Moment],
    knowledge: Knowledge,
) -> NDArray[np.float64]:
    """Return shares of a plot's ground in full sun, part shade and shade.

    The outlines of all shadows of the day part the ground into faces, each of which has the
    same hours throughout.
    """
    spans = np.array([moment.hours for moment in moments])
    most = float(spans.sum())  # hours of the sunniest spot there may be; then of the least sunny
    least = most - float(spans[[step for step, _ in darks]].sum())
    full_h, part_h = knowledge.setting("sun_full_h"), knowledge.setting("sun_part_h")
    if least > full_h:
        return np.array([1.0, 0.0, 0.0])
    left, low, right, high = ground.bounds
    # Outlines go on past the plot's edge, so that none stops a rounding short of it.
    edges = shapely.clip_by_rect(
        shapely.boundary([dark for _, dark in darks]),
        left - _OVER_M,
        low - _OVER_M,
        right + _OVER_M,
        high + _OVER_M,
    )
    parts = shapely.get_parts(np.append(edges, ground.boundary))
    crossed = shapely.union(shapely.multilinestrings(parts), shapely.LineString())
    with np.errstate(invalid="ignore"):  # rings without area have no direction
        faces = shapely.get_parts(shapely.polygonize(shapely.get_parts(crossed)))
    inner = shapely.point_on_surface(faces)
    shapely.prepare(ground)
    inside = shapely.contains_properly(ground, inner)
    faces, inner = faces[inside], inner[inside]
    hours = np.full(len(faces), most)
    for step, dark in darks:
        shapely.prepare(dark)
        hours[shapely.contains_properly(dark, inner)] -= spans[step]
    full = hours > full_h
    part = ~full & (hours >= part_h)
    area = shapely.area(faces)
    classes = np.array([area[one].sum() for one in (full, part, ~full & ~part)])
    return np.asarray(classes / area.sum())
