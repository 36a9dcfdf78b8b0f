"""Where the sun stands: altitude and azimuth from the formulas that NOAA publishes.

NOAA Global Monitoring Laboratory, "Solar Calculation Details" (the spreadsheets of its solar
calculator), after Meeus, J. 1991. Astronomical Algorithms. Willmann-Bell.
"""

from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from patchnet.core.errors import WrongUse
from patchnet.core.texts import _

__all__ = ["SunPosition", "solar_noon", "solar_position"]

# The years NOAA gives for its spreadsheets.
_YEARS = (1901, 2099)
_J2000 = np.datetime64("2000-01-01T12:00:00", "ms")
_DAY = np.timedelta64(86_400_000, "ms")


class SunPosition(NamedTuple):
    """Where the sun stands, each of the shape of the times asked for.

    Attributes
    ----------
    altitude
        Degrees above the horizon, negative below.
    azimuth
        Degrees clockwise from true north, 0 to 360.
    """

    altitude: NDArray[np.float64]
    azimuth: NDArray[np.float64]


class _Orbit(NamedTuple):
    declination: NDArray[np.float64]  # radians
    equation_of_time: NDArray[np.float64]  # minutes: sundial before clock


def solar_position(
    times: ArrayLike | pd.DatetimeIndex,
    latitude: float,
    longitude: float,
    *,
    refraction: bool = True,
) -> SunPosition:
    """Return altitude and azimuth of the sun's centre.

    Parameters
    ----------
    times
        Any shape; times in UTC (those of another time zone are turned into it), in the years
        1901 to 2099, for which NOAA states its spreadsheets.
    latitude, longitude
        Of the place in degrees, north and east positive (-90 to 90, -180 to 180).
    refraction
        Whether the air's bending of light is added to the altitude, by NOAA's approximation for
        the standard atmosphere at sea level: about 0.02 degrees at 40, 0.48 at 0.

    Returns
    -------
    SunPosition
        Altitude and azimuth in degrees. Without refraction the direction is within 0.02
        degrees of a full ephemeris, of which the sun's parallax, left out here, is 0.0024; in
        the worked example of Reda, I. & Andreas, A. 2004. Solar position algorithm for solar
        radiation applications. Solar Energy 76:577-589 it is within 0.016.

    Raises
    ------
    WrongUse
        If the place is not on the globe, or a time is missing or outside those years.
    """
    moments = _utc(times)
    if not (abs(latitude) <= 90 and abs(longitude) <= 180):
        raise WrongUse(
            _(
                "There is no place at latitude {latitude}, longitude {longitude}: latitude goes "
                "from -90 to 90 degrees, longitude from -180 to 180."
            ).format(latitude=latitude, longitude=longitude)
        )
    declination, equation = _orbit(moments)
    minutes = (moments - moments.astype("datetime64[D]")) / np.timedelta64(60_000, "ms")
    # Hour angle: how far the sun is past the meridian, 15 degrees an hour.
    hour_angle = np.radians((minutes + equation + 4 * longitude) / 4 - 180)
    phi = np.radians(latitude)
    sine = np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.cos(
        hour_angle
    )
    altitude = np.degrees(np.arcsin(np.clip(sine, -1, 1)))
    # The same angle as NOAA's, by arctan2: no case is needed for morning and afternoon.
    azimuth = np.degrees(
        np.arctan2(
            np.sin(hour_angle) * np.cos(declination),
            np.cos(hour_angle) * np.sin(phi) * np.cos(declination)
            - np.sin(declination) * np.cos(phi),
        )
    )
    if refraction:
        altitude = altitude + _refraction(altitude)
    return SunPosition(altitude, (azimuth + 180) % 360)


def solar_noon(day: np.datetime64, longitude: float) -> np.datetime64:
    """Return when the sun crosses the meridian on a day, in UTC to the millisecond.

    Parameters
    ----------
    day
        The date at the place.
    longitude
        Degrees, east positive.

    Raises
    ------
    WrongUse
        If the day is outside the years of `solar_position`.
    """
    midday = day.astype("datetime64[D]") + np.timedelta64(
        round((720 - 4 * longitude) * 60_000), "ms"
    )
    equation = _orbit(_utc(midday)).equation_of_time
    noon: np.datetime64 = midday - np.timedelta64(round(float(equation) * 60_000), "ms")
    return noon


def _utc(times: ArrayLike | pd.DatetimeIndex) -> NDArray[np.datetime64]:
    if isinstance(times, pd.DatetimeIndex) and times.tz is not None:
        times = times.tz_convert("UTC").tz_localize(None)
    moments = np.asarray(times, dtype="datetime64[ms]")
    years = moments.astype("datetime64[Y]").astype(np.int64) + 1970
    if np.isnat(moments).any() or np.any((years < _YEARS[0]) | (years > _YEARS[1])):
        raise WrongUse(
            _("The sun is worked out for times in the years {year} to {year_2}.").format(
                year=_YEARS[0], year_2=_YEARS[1]
            )
        )
    return moments


def _orbit(moments: NDArray[np.datetime64]) -> _Orbit:
    """Return declination and equation of time, in the order of NOAA's spreadsheet."""
    century = (moments - _J2000) / _DAY / 36525
    longitude = np.radians((280.46646 + century * (36000.76983 + century * 0.0003032)) % 360)
    anomaly = np.radians(357.52911 + century * (35999.05029 - 0.0001537 * century))
    eccentricity = 0.016708634 - century * (0.000042037 + 0.0000001267 * century)
    centre = (
        np.sin(anomaly) * (1.914602 - century * (0.004817 + 0.000014 * century))
        + np.sin(2 * anomaly) * (0.019993 - 0.000101 * century)
        + np.sin(3 * anomaly) * 0.000289
    )
    node = np.radians(125.04 - 1934.136 * century)
    apparent = longitude + np.radians(centre - 0.00569 - 0.00478 * np.sin(node))
    seconds = 21.448 - century * (46.815 + century * (0.00059 - century * 0.001813))
    tilt = np.radians(23 + (26 + seconds / 60) / 60 + 0.00256 * np.cos(node))
    y = np.tan(tilt / 2) ** 2
    equation = 4 * np.degrees(
        y * np.sin(2 * longitude)
        - 2 * eccentricity * np.sin(anomaly)
        + 4 * eccentricity * y * np.sin(anomaly) * np.cos(2 * longitude)
        - y**2 * np.sin(4 * longitude) / 2
        - 1.25 * eccentricity**2 * np.sin(2 * anomaly)
    )
    return _Orbit(np.arcsin(np.sin(tilt) * np.sin(apparent)), equation)


def _refraction(altitude: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return NOAA's approximate refraction in degrees for geometric altitudes in degrees."""
    # Each case is worked out only where it holds, so that tan never meets 0.
    tan = np.tan(np.radians(np.where(np.abs(altitude) < 0.5, 0.5, altitude)))
    with np.errstate(over="ignore"):
        high = 58.1 / tan - 0.07 / tan**3 + 0.000086 / tan**5
    low = 1735 + altitude * (-518.2 + altitude * (103.4 + altitude * (-12.79 + altitude * 0.711)))
    seconds = np.select(
        [altitude > 85, altitude > 5, altitude > -0.575], [0.0, high, low], -20.774 / tan
    )
    return np.asarray(seconds / 3600)
