"""The sun's course over a place on one day of each month, as a table of moments."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from patchnet.core.crs_change import change_of
from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.sun.position import solar_noon, solar_position

__all__ = ["Course", "Place", "month_of_midsummer", "place_of"]

# Halfway between leap years: the sun's declination on a date is within 0.25 degrees of this.
_YEAR = 2026
_MINUTE = np.timedelta64(60_000, "ms")


@dataclass(frozen=True)
class Place:
    """Where the plots lie on the globe.

    Attributes
    ----------
    latitude, longitude
        Degrees, north and east positive.
    north
        Bearing of true north in the map, degrees clockwise from the y axis.
    """

    latitude: float
    longitude: float
    north: float


@dataclass(frozen=True, eq=False)
class Course:
    """Moments that a day's sun is taken at, for some months.

    Attributes
    ----------
    month
        Shape (m,): 1-12.
    altitude
        Shape (m,): degrees, above the least altitude of the settings.
    bearing
        Shape (m,): of the sun in the map, degrees clockwise from the y axis.
    hours
        Shape (m,): how long each moment stands for.
    after_noon
        Shape (m,): hours after the sun crosses the meridian; negative before.
    """

    month: NDArray[np.int64]
    altitude: NDArray[np.float64]
    bearing: NDArray[np.float64]
    hours: NDArray[np.float64]
    after_noon: NDArray[np.float64]

    @classmethod
    def of(cls, place: Place, months: Sequence[int], knowledge: Knowledge) -> "Course":
        """Return the middles of equal time steps, from sunrise to noon and from noon to sunset.

        Sunrise and sunset are when the sun passes the least altitude of the settings, the step
        is the longest one of the settings or less, so that steps fill each half of the day.
        """
        parts = [_half(place, month, side, knowledge) for month in months for side in (-1, 1)]
        columns = [np.concatenate(column) for column in zip(*parts, strict=True)]
        return cls(columns[0].astype(np.int64), *columns[1:])

    @cached_property
    def slope(self) -> NDArray[np.float64]:
        """Shape (m,): tangent of the altitude; what rises more steeply than this hides the sun."""
        return np.asarray(np.tan(np.radians(self.altitude)))

    @cached_property
    def directions(self) -> NDArray[np.float64]:
        """Shape (d,): the different bearings, radians from 0 to 2 pi, rising."""
        return np.unique(np.radians(self.bearing % 360))

    @cached_property
    def direction(self) -> NDArray[np.int64]:
        """Shape (m,): which of the `directions` each moment's sun is in."""
        return np.searchsorted(self.directions, np.radians(self.bearing % 360))

    @cached_property
    def lowest(self) -> NDArray[np.float64]:
        """Shape (d,): least slope of the sun in each direction."""
        lowest = np.full(len(self.directions), np.inf)
        np.minimum.at(lowest, self.direction, self.slope)
        return lowest

    def between(
        self, start: NDArray[np.float64], span: NDArray[np.float64]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return the first of the directions clockwise from `start`, and how many lie in `span`.

        Both in radians, of one shape; a span counts up to a whole turn.
        """
        turn = 2 * np.pi
        low = start % turn
        twice = np.concatenate([self.directions, self.directions + turn])
        first = np.searchsorted(twice, low)
        past = np.searchsorted(twice, low + np.minimum(span, turn), side="right")
        count = np.minimum(past - first, len(self.directions))
        return first % max(len(self.directions), 1), count

    @cached_property
    def lowest_over(self) -> NDArray[np.float64]:
        """Shape (d, d + 1): the least of `lowest` over so many directions on from each one.

        By (first direction, how many); inf over none.
        """
        count = len(self.directions)
        onward = (np.arange(count)[:, None] + np.arange(count)) % max(count, 1)
        least = np.minimum.accumulate(self.lowest[onward], axis=1)
        return np.concatenate([np.full((count, 1), np.inf), least], axis=1)


def place_of(plots: gpd.GeoDataFrame) -> Place:
    """Return the middle of the plots and where true north lies there.

    Parameters
    ----------
    plots
        Outlines in metres, with a CRS.

    Raises
    ------
    WrongUse
        If the plots have no coordinate system.
    """
    if plots.crs is None:
        raise WrongUse(_("The plots have no coordinate system, so the sun's place is not known."))
    left, low, right, high = plots.total_bounds
    x, y = (left + right) / 2, (low + high) / 2
    globe = change_of(plots.crs, "EPSG:4326")
    longitude, latitude = globe.transform(x, y)
    # A step towards the nearer of equator and far pole stays on the globe.
    step = 0.001 if latitude < 0 else -0.001
    to_x, to_y = globe.transform(longitude, latitude + step, direction="INVERSE")
    sign = np.sign(step)
    north = np.degrees(np.arctan2(sign * (to_x - x), sign * (to_y - y)))
    return Place(float(latitude), float(longitude), float(north))


def month_of_midsummer(place: Place) -> int:
    """Return 6, or 12 south of the equator.

    Parameters
    ----------
    place
        With its latitude, degrees, north positive.
    """
    return 6 if place.latitude >= 0 else 12


def _half(
    place: Place, month: int, side: int, knowledge: Knowledge
) -> tuple[NDArray[np.float64], ...]:
    """Return the columns of one half of a day: before noon (side -1) or after it (1)."""
    day = np.datetime64(f"{_YEAR}-{month:02}-{int(knowledge.setting('sun_day')):02}")
    noon = solar_noon(day, place.longitude)
    minutes = np.arange(721)
    sun = solar_position(noon + side * minutes * _MINUTE, place.latitude, place.longitude)
    length = _until(minutes, sun.altitude, knowledge.setting("sun_altitude_min_deg"))
    count = int(np.ceil(length / knowledge.setting("sun_step_min")))
    middles = (np.arange(count) + 0.5) * (length / max(count, 1))
    offsets = np.round(side * middles * 60_000).astype(np.int64).astype("timedelta64[ms]")
    sun = solar_position(noon + offsets, place.latitude, place.longitude)
    return (
        np.full(count, float(month)),
        sun.altitude,
        sun.azimuth + place.north,
        np.full(count, length / max(count, 1) / 60),
        side * middles / 60,
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
