"""Hours of sun between houses: courts worked on paper, a second route, and what is not known."""

import dataclasses
import math

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.core.errors import WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.read import build_neighbourhood
from patchnet.sun.course import Course, place_of
from patchnet.sun.light import SUN_CLASSES
from patchnet.sun.position import solar_noon, solar_position
from patchnet.sun.shade import sun_hours
from patchnet.sun.shadows import Walls

KNOW = load_knowledge()
# Transverse Mercator on the Greenwich meridian: on it the y axis is true north.
NORTH_UP = "+proj=tmerc +lat_0=51.5 +lon_0=0 +k=1 +x_0=0 +y_0=0 +datum=WGS84 +units=m"


def hood_of(plots, buildings, *, crs=NORTH_UP, ids=None):
    """A neighbourhood of (shape) plots and (shape, height) buildings."""
    ids = ids or [f"p{at}" for at in range(len(plots))]
    outlines = gpd.GeoDataFrame({"id": ids}, geometry=list(plots), crs=crs)
    houses = gpd.GeoDataFrame(
        {"height": [height for _, height in buildings]},
        geometry=[shape for shape, _ in buildings],
        crs=crs,
    )
    return build_neighbourhood(outlines, buildings=houses, knowledge=KNOW)


def with_settings(**values):
    changed = {
        key: dataclasses.replace(KNOW.settings[key], value=value) for key, value in values.items()
    }
    return dataclasses.replace(KNOW, settings={**KNOW.settings, **changed})


def shadow_of(shape, height, bearing, altitude):
    """The ground that a building keeps from the sun, as a polygon: its walls moved by the light.

    What of a shadow lies outside the footprint is the union of the parallelograms that the walls
    facing away from the sun sweep, each height / tan(altitude) long.
    """
    walls = Walls.of(np.array([shape], dtype=object), np.array([float(height)]))
    turn = np.radians(bearing)
    away = -np.array([np.sin(turn), np.cos(turn)])
    along = walls.end - walls.start
    far = along[:, 1] * away[0] - along[:, 0] * away[1] > 1e-9
    reach = (height / np.tan(np.radians(altitude))) * away
    start, end = walls.start[far], walls.end[far]
    pieces = shapely.polygons(np.stack([start, end, end + reach, start + reach], axis=1))
    return shapely.union_all(pieces)


def test_shadow_length_is_height_over_tangent():
    """6 m house, sun due south at 38.55 degrees: 6 / tan 38.55 = 6 / 0.7967 = 7.53 m northwards.

    London at noon on 20 March; the shadow is 10 m wide as the house.
    """
    shadow = shadow_of(shapely.box(0, 0, 10, 8), 6, 180, 38.55)
    assert shadow.bounds == pytest.approx((0, 8, 10, 15.53), abs=0.005)
    assert shadow.area == pytest.approx(75.3, abs=0.05)
    long = shadow_of(shapely.box(0, 0, 10, 8), 6, 270, 45)  # sun in the west: 6 m eastwards
    assert long.bounds == pytest.approx((10, 0, 16, 8))


@given(st.floats(0, 360), st.floats(5, 85), st.floats(1, 30))
@settings(deadline=None)
def test_shadow_against_sweeping_the_whole_footprint(bearing, altitude, height):
    """A second route: the union of hulls of triangles and their moved copies."""
    yard = shapely.box(0, 0, 12, 10).difference(shapely.box(4, 4, 7, 7))  # round a yard
    angled = shapely.Polygon([(15, 0), (25, 0), (25, 3), (18, 3), (18, 9), (15, 9)])
    both = shapely.MultiPolygon([yard, angled])
    away = math.radians(bearing + 180)
    length = height / math.tan(math.radians(altitude))
    moved = (length * math.sin(away), length * math.cos(away))
    triangles = [
        one
        for one in shapely.get_parts(shapely.delaunay_triangles(both.segmentize(0.5)))
        if both.buffer(1e-9).contains(one)
    ]
    swept = shapely.union_all([
        shapely.convex_hull(
            shapely.union(one, shapely.affinity.translate(one, *moved))
        )
        for one in triangles
    ])  # fmt: skip
    mine = shapely.union(shadow_of(both, height, bearing, altitude), both)
    assert mine.symmetric_difference(swept).area < 1e-6 * mine.area + 1e-6


def test_court_between_two_houses():
    """Two walls 200 m long, 6 m high, 10 m apart, running east and west; the court between.

    At noon on 21 June at 51.5 N the sun stands at 61.94 degrees in the south: the southern house
    throws 6 / tan 61.94 = 3.20 m, so 32 % of the court is in shade. At another time the shadow
    reaches 6 cos(azimuth - 180) / tan(altitude) northwards, and the sun beyond due east or
    west is kept off by the northern house. Ends matter little: 200 m against 10.
    """
    court = shapely.box(-20, 0, 20, 10)
    hood = hood_of(
        [court], [(shapely.box(-200, -8, 200, 0), 6), (shapely.box(-200, 10, 200, 18), 6)]
    )
    noon = solar_noon(np.datetime64("2026-06-21"), 0.0)
    shaded = shapely.intersection(court, shadow_of(shapely.box(-200, -8, 200, 0), 6, 180, 61.94))
    assert shaded.area / court.area == pytest.approx(0.320, abs=0.001)
    minutes = (np.arange(-720, 720) + 0.5) * 60
    sun = solar_position(noon + minutes.astype("timedelta64[s]"), 51.5, 0.0)
    up = sun.altitude > 5
    across = -6 * np.cos(np.radians(sun.azimuth[up])) / np.tan(np.radians(sun.altitude[up]))
    lit = 1 - np.minimum(np.abs(across), 10) / 10
    found = sun_hours(hood, with_settings(sun_step_min=5, sun_spots=2000), months=[6])
    assert found.hours.loc["p0", 6] == pytest.approx(lit.sum() / 60, abs=0.03)
    assert found.open_hours[6] == pytest.approx(up.sum() / 60, abs=0.03)
    # By the same symmetry mornings are as sunny as afternoons.
    assert found.morning.loc["p0", 6] == pytest.approx(found.afternoon.loc["p0", 6], abs=0.02)


@pytest.mark.parametrize("height", [9, 16])
def test_class_shares_of_the_court_by_counting_points(height):
    """A second route for the shares: hours of points 0.1 m apart across the same court."""
    hood = hood_of(
        [shapely.box(-5, 0, 5, 10)],
        [(shapely.box(-300, -8, 300, 0), height), (shapely.box(-300, 10, 300, 18), height)],
    )
    found = sun_hours(hood, with_settings(sun_step_min=5, sun_spots=2000), months=[6])
    noon = solar_noon(np.datetime64("2026-06-21"), 0.0)
    minutes = (np.arange(-720, 720) + 0.5) * 60
    sun = solar_position(noon + minutes.astype("timedelta64[s]"), 51.5, 0.0)
    up = sun.altitude > 5
    across = -height * np.cos(np.radians(sun.azimuth[up])) / np.tan(np.radians(sun.altitude[up]))
    y = np.arange(0.05, 10, 0.1)[:, None]
    hours = ((y > across) & (y < 10 + across)).sum(axis=1) / 60
    shares = [(hours > 6).mean(), ((hours >= 3) & (hours <= 6)).mean(), (hours < 3).mean()]
    assert list(found.classes.columns) == list(SUN_CLASSES)
    np.testing.assert_allclose(found.classes.loc["p0"], shares, atol=0.03)
    assert sorted(shares)[1] > 0.1  # at least two classes


def test_class_shares_where_no_spot_is_in_shade_for_long():
    """A tower block on the eastern edge takes the morning, a low row 8 m off the last hours.

    Half the midsummer day is 7.5 h; the row's shadow comes in for at most 2.5 h, so the ground is
    in part shade near the row and in full sun away from it. Again counted by points.
    """
    hood = hood_of(
        [shapely.box(0, -5, 10, 5)],
        [(shapely.box(10, -900, 18, 900), 60), (shapely.box(-16, -300, -8, 300), 4)],
    )
    found = sun_hours(hood, with_settings(sun_step_min=5, sun_spots=2000), months=[6])
    noon = solar_noon(np.datetime64("2026-06-21"), 0.0)
    minutes = (np.arange(-720, 720) + 0.5) * 60
    sun = solar_position(noon + minutes.astype("timedelta64[s]"), 51.5, 0.0)
    up = sun.altitude > 5
    east = -np.sin(np.radians(sun.azimuth[up])) / np.tan(np.radians(sun.altitude[up]))
    x = np.arange(0.05, 10, 0.1)[:, None]
    hours = ((x < 10 + np.minimum(60 * east, 0)) & (x > -8 + 4 * east)).sum(axis=1) / 60
    shares = [(hours > 6).mean(), ((hours >= 3) & (hours <= 6)).mean(), (hours < 3).mean()]
    np.testing.assert_allclose(found.classes.loc["p0"], shares, atol=0.04)
    assert min(shares[:2]) > 0.1
    assert shares[2] == 0


def test_east_wall_takes_the_morning():
    """A very long house on the eastern edge shades before noon only, and never after."""
    hood = hood_of([shapely.box(0, -5, 10, 5)], [(shapely.box(10, -400, 18, 400), 8)])
    found = sun_hours(hood, KNOW, months=[3])
    assert found.afternoon.loc["p0", 3] == pytest.approx(found.open_hours[3] / 2, abs=0.02)
    assert found.morning.loc["p0", 3] < 0.8 * found.afternoon.loc["p0", 3]
    np.testing.assert_allclose(found.morning + found.afternoon, found.hours)


def test_the_north_side_of_a_house_has_less_sun_but_south_of_the_equator_more():
    plots = [shapely.box(0, 10, 10, 15), shapely.box(0, -5, 10, 0)]
    house = [(shapely.box(0, 0, 10, 10), 7)]
    north = sun_hours(hood_of(plots, house), KNOW)
    assert (north.hours.loc["p0"] < north.hours.loc["p1"]).all()
    assert north.midsummer == 6
    # A terrace's shadow at noon on 21 December is 7 / tan 15.06 = 26 m long: the 5 m lie in it.
    terrace = hood_of(plots, [(shapely.box(-200, 0, 200, 10), 7)])
    assert sun_hours(terrace, KNOW, months=[12]).hours.loc["p0", 12] == pytest.approx(0, abs=1e-9)
    down = NORTH_UP.replace("51.5", "-36.8")
    south = sun_hours(hood_of(plots, house, crs=down), KNOW)
    # In high summer the sun rises and sets south of east and west there, and reaches both sides.
    winter = range(3, 10)
    assert (south.hours.loc["p0", winter] > south.hours.loc["p1", winter]).all()
    assert south.midsummer == 12
    assert south.latitude == pytest.approx(-36.8, abs=0.001)


def test_without_heights_it_is_not_known():
    plots, shape = [shapely.box(0, 10, 10, 15)], shapely.box(0, 0, 10, 10)
    nothing = hood_of(plots, [(shapely.box(50, 50, 55, 55), 6)])
    empty = dataclasses.replace(nothing, buildings=nothing.buildings.iloc[:0])
    bare = dataclasses.replace(nothing, buildings=nothing.buildings.drop(columns="height_m"))
    for hood in (hood_of(plots, [(shape, None)]), empty, bare):
        found = sun_hours(hood, KNOW, months=[6])
        assert found.hours.isna().all(axis=None)
        assert found.morning.isna().all(axis=None)
        assert found.classes.isna().all(axis=None)
        assert not found.known.any()
        assert math.isnan(found.shadow_range_m)
        assert found.open_hours[6] > 14


def test_too_far_off_to_know_and_buildings_left_uncounted():
    """6 m over tan 5 degrees: 68.6 m. A plot 69 m off is not known, one 68 m off is."""
    house = shapely.box(0, 0, 10, 10)
    plots = [
        shapely.box(78, 0, 88, 10),
        shapely.box(79, 20, 89, 30),
        house,
        shapely.box(0, 20, 5, 25),
    ]
    hood = hood_of(plots, [(house, 6), (shapely.box(0, 30, 10, 40), None)])
    found = sun_hours(hood, KNOW, months=[6])
    assert found.shadow_range_m == pytest.approx(68.6, abs=0.05)
    assert list(found.known) == [True, False, False, True]  # p2 lies under the house
    assert list(found.hours[6].isna()) == [False, True, True, False]
    assert found.uncounted["p3"] == 1
    assert found.least.loc["p3", 6] < found.hours.loc["p3", 6]
    assert found.least.loc["p0", 6] <= found.hours.loc["p0", 6]
    assert found.uncounted.dtype.kind == "i"


def scattered():
    plots = [shapely.box(20 * at, 0, 20 * at + 18, 25) for at in range(4)]
    houses = [
        (shapely.box(20 * at + 2, 8, 20 * at + 12, 16), height)
        for at, height in enumerate((6, 9, 3.5, 12))
    ]
    return plots, houses


@pytest.mark.parametrize("month", [3, 6, 12])
def test_spots_against_exact_shadows(month):
    """A second route: at each step the polygons of all shadows are cut with the plot's ground."""
    plots, houses = scattered()
    plots.append(shapely.Polygon([(2, 0), (30, -20), (60, -4), (60, 0), (25, -9)]))  # odd shape
    hood = hood_of(plots, houses)
    found = sun_hours(hood, KNOW, months=[month])
    place = place_of(hood.plots)
    day = Course.of(place, [month], KNOW)
    ground = [
        shapely.difference(plot, shapely.union_all([one for one, _ in houses])) for plot in plots
    ]
    exact = np.zeros(len(plots))
    for altitude, bearing, hours in zip(day.altitude, day.bearing, day.hours, strict=True):
        dark = shapely.union_all([shadow_of(*house, bearing, altitude) for house in houses])
        exact += hours * (
            1 - shapely.area(shapely.intersection(ground, dark)) / shapely.area(ground)
        )
    np.testing.assert_allclose(found.hours[month], exact, atol=0.2)
    close = sun_hours(hood, with_settings(sun_spots=3000), months=[month])
    np.testing.assert_allclose(close.hours[month], exact, atol=0.03)


def test_order_of_plots_and_repeats():
    plots, houses = scattered()
    found = sun_hours(hood_of(plots, houses), KNOW, months=[12, 3])
    assert list(found.hours.columns) == [12, 3]
    back = sun_hours(hood_of(plots[::-1], houses[::-1], ids=["p3", "p2", "p1", "p0"]), KNOW,
                     months=[3, 12])  # fmt: skip
    assert list(back.hours.index) == ["p3", "p2", "p1", "p0"]
    pd.testing.assert_frame_equal(back.hours.loc[found.hours.index, [12, 3]], found.hours,
                                  check_index_type=False)  # fmt: skip
    np.testing.assert_allclose(back.classes.loc[found.classes.index], found.classes, atol=1e-9)
    np.testing.assert_allclose(found.classes.sum(axis=1), 1)
    assert (found.hours.to_numpy() <= found.open_hours.to_numpy() + 1e-9).all()
    assert (found.hours.to_numpy() >= 0).all()


def test_moving_the_map_and_turning_it():
    """Other false origins move nothing; in UTM near the zone's edge the map is turned 2.3 degrees.

    sin 51.5 x 3 degrees = 2.35; the sun is turned with it, so the hours stay.
    """
    plots, houses = scattered()
    fine = with_settings(sun_spots=10_000)
    here = sun_hours(hood_of(plots, houses), fine, months=[3])
    moved = NORTH_UP.replace("+x_0=0 +y_0=0", "+x_0=5000 +y_0=-3000")
    there = hood_of(
        [shapely.affinity.translate(one, 5000, -3000) for one in plots],
        [(shapely.affinity.translate(one, 5000, -3000), height) for one, height in houses],
        crs=moved,
    )
    np.testing.assert_allclose(sun_hours(there, fine, months=[3]).hours, here.hours, atol=1e-6)

    def in_utm(shapes):
        return list(gpd.GeoSeries(shapes, crs=NORTH_UP).to_crs("EPSG:32631"))

    walls = in_utm([one for one, _ in houses])
    utm = hood_of(
        in_utm(plots),
        list(zip(walls, [height for _, height in houses], strict=True)),
        crs="EPSG:32631",
    )
    left, _, right, _ = utm.plots.total_bounds
    assert (right - left) > 78.5  # it is turned
    np.testing.assert_allclose(sun_hours(utm, fine, months=[3]).hours, here.hours, atol=0.01)


def test_higher_houses_and_finer_steps():
    plots, houses = scattered()
    low = sun_hours(hood_of(plots, houses), KNOW, months=[9])
    high = sun_hours(
        hood_of(plots, [(one, 2 * height) for one, height in houses]), KNOW, months=[9]
    )
    assert (high.hours <= low.hours + 1e-9).all(axis=None)
    assert (high.classes["full sun"] <= low.classes["full sun"] + 1e-9).all()
    fine = sun_hours(hood_of(plots, houses), with_settings(sun_step_min=9), months=[9])
    np.testing.assert_allclose(fine.hours, low.hours, atol=0.05)


def test_inputs_stay_and_the_sun_may_count_down_to_the_horizon():
    plots, houses = scattered()
    hood = hood_of(plots, houses)
    before = hood.plots.copy(), hood.buildings.copy()
    found = sun_hours(hood, with_settings(sun_altitude_min_deg=0), months=[12])
    pd.testing.assert_frame_equal(pd.DataFrame(hood.plots), pd.DataFrame(before[0]))
    pd.testing.assert_frame_equal(pd.DataFrame(hood.buildings), pd.DataFrame(before[1]))
    assert found.open_hours[12] == pytest.approx(7.8, abs=0.1)
    assert found.known.all()


def test_polar_night_and_day():
    """Tromso (69.65 N): no sun in December, all day in June."""
    plots, houses = scattered()
    found = sun_hours(
        hood_of(plots, houses, crs=NORTH_UP.replace("51.5", "69.65")),
        with_settings(sun_altitude_min_deg=0.5),
        months=[6, 12],
    )
    assert found.open_hours[6] == pytest.approx(24)
    assert found.open_hours[12] == 0
    assert (found.hours[12] == 0).all()


@pytest.mark.parametrize("months", [[0], [13], [], ["June"]])
def test_no_such_month(months):
    plots, houses = scattered()
    with pytest.raises(WrongUse, match="Months are 1 to 12"):
        sun_hours(hood_of(plots, houses), KNOW, months=months)


def test_no_coordinate_system():
    hood = hood_of(*scattered())
    lost = dataclasses.replace(hood, plots=hood.plots.set_crs(None, allow_override=True))
    with pytest.raises(WrongUse, match="no coordinate system"):
        sun_hours(lost, KNOW)
