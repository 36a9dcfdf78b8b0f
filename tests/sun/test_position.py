"""The sun's place: a published worked example, a full ephemeris, and trigonometry."""

import math

import ephem
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patchnet.core.errors import WrongUse
from patchnet.sun.position import solar_noon, solar_position

# Reda, I. & Andreas, A. 2004. Solar position algorithm for solar radiation applications. Solar
# Energy 76:577-589 (NREL/TP-560-34302), worked example: 17 October 2003, 12:30:30, UTC-7.
SPA_TIME = "2003-10-17T19:30:30"
SPA_PLACE = (39.742476, -105.1786)
SPA_ZENITH, SPA_AZIMUTH = 50.11162, 194.34024
SPA_GEOMETRIC_ZENITH = 50.12795  # without refraction: 90 - 39.872046
TILT = 23.44  # degrees: the sun's declination at the solstices


def seconds(year):
    return int(np.datetime64(f"{year}-01-02T00:00:00", "s").astype(int))


def towards(altitude, azimuth):
    """Direction as a vector (east, north, up) of length 1, angles in radians."""
    return np.array([
        math.cos(altitude) * math.sin(azimuth),
        math.cos(altitude) * math.cos(azimuth),
        math.sin(altitude),
    ])  # fmt: skip


def test_published_worked_example():
    sun = solar_position(SPA_TIME, *SPA_PLACE)
    assert 90 - sun.altitude == pytest.approx(SPA_ZENITH, abs=0.016)
    assert sun.azimuth == pytest.approx(SPA_AZIMUTH, abs=0.016)
    bare = solar_position(SPA_TIME, *SPA_PLACE, refraction=False)
    assert 90 - bare.altitude == pytest.approx(SPA_GEOMETRIC_ZENITH, abs=0.016)
    assert bare.azimuth == sun.azimuth


@given(
    st.integers(seconds(1901), seconds(2099)),
    st.floats(-90, 90),
    st.floats(-180, 180),
)
def test_direction_against_an_ephemeris(second, latitude, longitude):
    """ephem (theory VSOP87, from memory) without air, parallax included: within 0.02 degrees."""
    moment = np.datetime64(second, "s")
    there = ephem.Observer()
    there.lat, there.lon, there.pressure = math.radians(latitude), math.radians(longitude), 0
    there.date = str(moment).replace("-", "/").replace("T", " ")
    oracle = ephem.Sun(there)
    sun = solar_position(moment, latitude, longitude, refraction=False)
    mine = towards(math.radians(sun.altitude), math.radians(sun.azimuth))
    chord = np.linalg.norm(mine - towards(float(oracle.alt), float(oracle.az)))
    assert math.degrees(2 * math.asin(chord / 2)) < 0.02
    assert 0 <= sun.azimuth < 360


@given(st.integers(seconds(2000), seconds(2050)), st.floats(-66, 66))
def test_refraction_against_an_ephemeris(second, latitude):
    """At 1013 mb and 15 C, sun at least 1 degree up: within 0.03 degrees (another formula)."""
    moment = np.datetime64(second, "s")
    there = ephem.Observer()
    there.lat, there.lon, there.pressure, there.temp = math.radians(latitude), 0.0, 1013.25, 15
    there.date = str(moment).replace("-", "/").replace("T", " ")
    oracle = math.degrees(ephem.Sun(there).alt)
    sun = solar_position(moment, latitude, 0.0)
    if oracle > 1:
        assert sun.altitude == pytest.approx(oracle, abs=0.03)
    assert sun.altitude < 90.01
    assert sun.altitude >= solar_position(moment, latitude, 0.0, refraction=False).altitude - 1e-9


@pytest.mark.parametrize(
    ("day", "declination"),
    [("2025-06-21", TILT), ("2025-12-21", -TILT), ("2025-03-20", 0.0)],
)
@pytest.mark.parametrize(("latitude", "longitude"), [(51.5, -0.12), (55.95, -3.2), (-36.8, 174.7)])
def test_noon_altitude_is_colatitude_plus_declination(day, declination, latitude, longitude):
    """90 - |latitude - declination|; 0.25 degrees for the sun's way since the very moment."""
    noon = solar_noon(np.datetime64(day), longitude)
    sun = solar_position(noon, latitude, longitude, refraction=False)
    assert sun.altitude == pytest.approx(90 - abs(latitude - declination), abs=0.25)
    south_or_north = 180.0 if latitude > declination else 0.0
    assert (sun.azimuth - south_or_north + 180) % 360 - 180 == pytest.approx(0, abs=0.02)


@pytest.mark.parametrize(("day", "declination"), [("2025-06-21", TILT), ("2025-12-21", -TILT)])
def test_day_length_at_the_solstices(day, declination):
    """51.5 N: cos H = -tan 51.5 tan 23.44 = -0.5451, H = 123.03 degrees, day 2 H / 15 = 16.40 h.

    In December H = 56.97 degrees and the day 7.60 h. Counted here minute by minute.
    """
    hour_angle = math.acos(-math.tan(math.radians(51.5)) * math.tan(math.radians(declination)))
    length = 2 * math.degrees(hour_angle) / 15
    assert length == pytest.approx(16.40 if declination > 0 else 7.60, abs=0.01)
    times = np.datetime64(day) + np.arange(1440).astype("timedelta64[m]")
    sun = solar_position(times, 51.5, 0.0, refraction=False)
    assert np.count_nonzero(sun.altitude > 0) / 60 == pytest.approx(length, abs=0.03)


def test_published_sunrise():
    """SPA report: at 35 N, 0 E on 2 January 1994 the sun rises at 07:08:12 and sets at 16:59:55.

    The centre is then 0.8333 degrees below the horizon without air. In the report's third
    example, 35 S on 4 December 2004, 04:38:57 and 19:02:02.
    """
    for day, latitude, rise, set_ in (
        ("1994-01-02", 35.0, "07:08:12", "16:59:55"),
        ("2004-12-04", -35.0, "04:38:57", "19:02:02"),
    ):
        for clock in (rise, set_):
            sun = solar_position(f"{day}T{clock}", latitude, 0.0, refraction=False)
            assert sun.altitude == pytest.approx(-0.8333, abs=0.02)


def test_many_times_and_time_zones():
    utc = pd.date_range("2025-05-01", periods=6, freq="4h", tz="UTC")
    here = solar_position(utc.tz_convert("Europe/London"), 53.48, -2.24)
    grid = solar_position(utc.tz_localize(None).to_numpy().reshape(2, 3), 53.48, -2.24)
    assert here.altitude.shape == (6,)
    assert grid.azimuth.shape == (2, 3)
    np.testing.assert_array_equal(here.altitude, grid.altitude.ravel())
    single = [float(solar_position(t.tz_localize(None), 53.48, -2.24).azimuth) for t in utc]
    np.testing.assert_array_equal(here.azimuth, single)


def test_noon_is_the_highest_and_sundials_run_ahead_in_november():
    """3 November: the sun is 16.4 minutes before the clock (equation of time, from memory)."""
    noon = solar_noon(np.datetime64("2025-11-03"), 0.0)
    early = (np.datetime64("2025-11-03T12:00") - noon) / np.timedelta64(1, "m")
    assert early == pytest.approx(16.4, abs=0.1)
    around = noon + np.arange(-30, 31).astype("timedelta64[m]")
    assert np.argmax(solar_position(around, 51.5, 0.0).altitude) == 30
    far_east = solar_noon(np.datetime64("2025-11-03"), 150.0)
    assert (noon - far_east) / np.timedelta64(1, "h") == pytest.approx(10, abs=0.01)


@pytest.mark.parametrize(
    ("latitude", "longitude"), [(91, 0), (0, 181), (math.nan, 0), (0, math.nan)]
)
def test_no_such_place(latitude, longitude):
    with pytest.raises(WrongUse, match="There is no place"):
        solar_position("2025-06-21T12:00", latitude, longitude)


@pytest.mark.parametrize("time", ["1900-12-31T23:59", "2100-01-01T00:00", "NaT"])
def test_no_such_time(time):
    with pytest.raises(WrongUse, match="1901 to 2099"):
        solar_position(time, 51.5, 0.0)
