"""What the sun does on one plot: classes, seats, walls for bees and corners for ferns, by hand."""

import dataclasses
import math
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from patchnet.core.errors import WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.read import build_neighbourhood, read_neighbourhood
from patchnet.sun.at_plot import plot_sun, plots_sun
from patchnet.sun.course import Course, Place
from patchnet.sun.light import spots_on
from patchnet.sun.position import solar_noon, solar_position
from patchnet.sun.shade import sun_hours
from patchnet.sun.shadows import Walls
from patchnet.sun.sunny_walls import compass

KNOW = load_knowledge()
DEMO = Path(__file__).resolve().parents[2] / "data_demo"
# Transverse Mercator on the Greenwich meridian: on it the y axis is true north.
NORTH_UP = "+proj=tmerc +lat_0={} +lon_0=0 +k=1 +x_0=0 +y_0=0 +datum=WGS84 +units=m"
LONG = 400


def hood_of(plot, buildings, *, barriers=(), latitude=51.5, kind="garden_back"):
    crs = NORTH_UP.format(latitude)
    outlines = gpd.GeoDataFrame({"id": ["p"], "kind": [kind]}, geometry=[plot], crs=crs)
    houses = gpd.GeoDataFrame(
        {"height": pd.Series([one[1] for one in buildings], dtype=float)},
        geometry=[one[0] for one in buildings],
        crs=crs,
    )
    lines = None
    if barriers:
        lines = gpd.GeoDataFrame(
            {"kind": [one[1] for one in barriers], "height": [one[2] for one in barriers]},
            geometry=[shapely.LineString(one[0]) for one in barriers],
            crs=crs,
        )
    return build_neighbourhood(outlines, buildings=houses, barriers=lines, knowledge=KNOW)


def sun_of(*args, **options):
    return plot_sun(hood_of(*args, **options), "p", knowledge=KNOW)


GARDEN = shapely.box(0, 0, 8, 12)
NORTH_HOUSE = (shapely.box(-LONG, 12, LONG, 20), 6)
SOUTH_HOUSE = (shapely.box(-LONG, -8, LONG, 0), 9)


@pytest.mark.parametrize(("height", "bearing"), [(6, 180), (1.8, 210), (12, 100)])
def test_horizon_of_a_wall_by_trigonometry(height, bearing):
    """A long wall d m to the south rises h / d straight on, h cos(b - 180) / d at bearing b."""
    wall = Walls.of(np.array([shapely.box(-5000, -9, 5000, -4)], object), np.array([float(height)]))
    one = np.array([1.0])
    day = Course(np.array([6]), one, bearing * one, one, one)
    rise = wall.horizon(np.array([[0.0, 0.0], [0.0, 2.0]]), day)[:, 0]
    across = height * math.cos(math.radians(bearing - 180))
    assert rise == pytest.approx([across / 4, across / 6], rel=1e-5)
    # From inside the light's way back nothing stands in the way.
    north = Course(np.array([6]), one, 0 * one, one, one)
    assert wall.horizon(np.array([[0.0, 0.0]]), north)[0, 0] == 0


def test_party_walls_hide_nothing_more():
    """A terrace of five: of each party wall only the higher house's side can show, if any does."""
    houses = [shapely.box(6 * at, 0, 6 * at + 6, 8) for at in range(5)]
    all_walls = Walls.of(np.array(houses, object), np.array([6.0, 6, 9, 6, 6]))
    walls = all_walls.without_party_walls()
    # 4 party walls, 8 sides: the two between equals go wholly, of the two beside the high house
    # the low sides.
    assert len(all_walls) - len(walls) == 4 + 2
    place = Place(51.5, 0.0, 0.0)
    year = Course.of(place, [3, 6, 12], KNOW)
    x, y = np.meshgrid(np.arange(-20, 50, 3.7), np.array([-9.0, -2, 9, 15, 30]))
    spots = np.stack([x.ravel(), y.ravel()], axis=1)
    np.testing.assert_array_equal(walls.horizon(spots, year), all_walls.horizon(spots, year))
    # And what turns its back on some spots together cannot hide the sun from any.
    behind = spots[(spots[:, 1] > 8) & (spots[:, 1] < 20) & (np.abs(spots[:, 0] - 15) < 6)]
    fewer = walls.towards(behind, year)
    assert len(fewer) < len(walls)
    seen, all_seen = fewer.horizon(behind, year), walls.horizon(behind, year)
    np.testing.assert_array_equal(seen, all_seen)
    assert not len(Walls.of(np.empty(0, object), np.empty(0)).without_party_walls())


def test_published_shadow_lengths():
    """Shadow of 1 m at London's noon: 1.25 m on 20 March, 0.53 in June, 3.72 in December.

    1 / tan of the noon altitudes 38.55, 61.94 and 15.06 degrees, which pvlib's NREL SPA gives for
    51.5 N (computed with another library when the tables were gathered).
    """
    for day, length in (("2025-03-20", 1.25), ("2025-06-21", 0.53), ("2025-12-21", 3.72)):
        noon = solar_noon(np.datetime64(day), 0.0)
        sun = solar_position(noon, 51.5, 0.0, refraction=False)
        assert 1 / math.tan(math.radians(sun.altitude)) == pytest.approx(length, abs=0.01)


def test_thresholds_of_the_classes():
    """Full sun: more than 6 hours at midsummer; partial shade 3 to 6; less is shade.

    Royal Horticultural Society, as quoted by garden writers (sources.csv, rhs_sun).
    """
    assert KNOW.setting("sun_full_h") == 6
    assert KNOW.setting("sun_part_h") == 3
    assert "rhs_sun" in KNOW.settings["sun_full_h"].sources


def test_south_facing_garden_against_the_house():
    """The garden lies south of a long house: all sun until the sun passes east-west.

    At 51.5 N on 21 June the sun is south of the east-west line from 7.2 to 16.8 sun time
    (cos H = tan 23.44 / tan 51.5 = 0.345, H = 69.8 degrees = 4.65 h each side of noon), so the
    wall that faces south has 9.3 h of sun, and in March all the sun there is.
    """
    sun = sun_of(GARDEN, [NORTH_HOUSE])
    assert sun.known
    assert sun.why_not == ""
    assert sun.cls == "sun"
    assert sun.seat == "both"
    assert len(sun.hours) == 12
    assert sun.hours[2] == pytest.approx(sun.open_hours[2], abs=0.2)
    assert sun.sunny_wall.words == "south-facing house wall"
    at = (sun.sunny_wall.place.x, sun.sunny_wall.place.y)
    assert 0 < at[0] < 8
    assert at[1] == pytest.approx(11.85, abs=0.01)
    # Mean of the days from March to June: 10.9 h (sun above 5 degrees) falling to 9.3 h.
    assert sun.sunny_wall.hours == pytest.approx(10.3, abs=0.6)
    assert sun.morning_hours + sun.afternoon_hours == pytest.approx(sun.hours[5])


def test_garden_behind_the_house_is_in_shade():
    """House of 9 m to the south: 9 / tan 61.94 = 4.8 m of shadow at noon in June, 33 in December.

    Behind one of 25 m and in a garden 4 m deep the sun comes only while it stands north of the
    east-west line, 9.3 h less than all day (see above), and a little after: at a slope across of
    25 cos(azimuth) / tan(altitude) = 4 m, about 25 minutes later.
    """
    sun = sun_of(shapely.box(0, 0, 8, 4), [(SOUTH_HOUSE[0], 25)])
    assert sun.hours[11] == 0
    assert sun.hours[5] == pytest.approx(sun.open_hours[5] - 9.3 + 0.4, abs=0.3)
    assert sun.sunny_wall is None
    both = sun_of(
        shapely.box(0, 0, 8, 4), [(SOUTH_HOUSE[0], 25), (shapely.box(-LONG, 4, LONG, 12), 25)]
    )
    assert both.cls == "shade"
    assert both.shares[2] > 0.9


def test_the_shady_corner_lies_between_two_houses():
    """Houses stand round the south-east corner only, so that is where sun is short."""
    houses = [(shapely.box(4, -8, 16, 0), 12), (shapely.box(8, 0, 16, 6), 12)]
    sun = sun_of(GARDEN, houses)
    assert sun.shady_corner.words == "south-east corner"
    assert sun.shady_corner.place.x > 5
    assert sun.shady_corner.place.y < 4
    assert sun.shady_corner.hours < sun.hours[5] - 1
    # All alike: nothing to tell apart.
    assert sun_of(shapely.box(0, 30, 8, 42), [SOUTH_HOUSE]).shady_corner is None


def test_court_between_two_houses_as_the_table_of_the_street_says():
    hood = hood_of(shapely.box(0, 0, 8, 10), [(shapely.box(-LONG, 10, LONG, 18), 6), SOUTH_HOUSE])
    sun = plot_sun(hood, "p", knowledge=KNOW)
    table = sun_hours(hood, KNOW)
    np.testing.assert_allclose(sun.hours, table.hours.loc["p"], atol=1e-9)
    np.testing.assert_allclose(sun.shares, table.classes.loc["p"], atol=1e-9)
    assert sun.morning_hours == pytest.approx(table.morning.loc["p", 6])
    np.testing.assert_allclose(sun.open_hours, table.open_hours)


@pytest.mark.parametrize(
    ("walls", "seat"),
    [
        ([shapely.box(8, -LONG, 16, LONG)], "evening"),
        ([shapely.box(-8, -LONG, 0, LONG)], "morning"),
        ([shapely.box(8, -LONG, 16, LONG), shapely.box(-8, -LONG, 0, LONG)], "neither"),
    ],
)
def test_seats(walls, seat):
    """Houses of 25 m along the east, the west, or both sides of a garden 8 m wide.

    Three hours from noon the sun's slope across a north-south street is tan(alt) / |sin(az)|; on
    21 June at 51.5 N altitude 45, azimuth 111 (from memory): 1.07, so 25 m shade 23 m of ground.
    """
    sun = sun_of(GARDEN, [(one, 25) for one in walls])
    assert sun.seat == seat
    if seat == "neither":
        assert sun.cls in {"part", "shade"}


def test_a_fence_shades_and_a_fence_can_be_the_sunny_wall():
    """A fence of 2 m on the south edge; in December at noon it throws 2 / tan 15.06 = 7.4 m."""
    far = [(shapely.box(-50, 40, -40, 50), 6)]
    bare = sun_of(GARDEN, far)
    south = ((-30, 0), (40, 0))
    fenced = sun_of(GARDEN, far, barriers=[(south, "fence", 2.0)])
    railed = sun_of(GARDEN, far, barriers=[(south, "railing", 2.0)])
    assert railed.hours == pytest.approx(bare.hours)
    assert fenced.hours[11] < 0.6 * bare.hours[11]
    assert fenced.sunny_wall is None  # its sunny side is the neighbour's
    north = sun_of(GARDEN, far, barriers=[(((40, 12), (-30, 12)), "fence", 2.0)])
    assert north.sunny_wall.words == "south-facing garden fence"
    assert north.hours[11] == pytest.approx(bare.hours[11])
    low = sun_of(GARDEN, far, barriers=[(((40, 12), (-30, 12)), "wall", 0.8)])
    assert low.sunny_wall is None  # nothing to hang a box on


def test_south_of_the_equator_the_sunny_wall_faces_north():
    sun = sun_of(GARDEN, [(SOUTH_HOUSE[0], 6)], latitude=-36.8)
    assert sun.midsummer == 12
    assert sun.sunny_wall.words == "north-facing house wall"
    assert sun.open_hours[11] > sun.open_hours[5]


@pytest.mark.parametrize(
    ("bearing", "words"),
    [
        (0, "north"),
        (22, "north"),
        (23, "north-east"),
        (359, "north"),
        (-90, "west"),
        (540, "south"),
    ],
)
def test_compass(bearing, words):
    assert compass(bearing) == words


def test_without_heights_it_says_what_to_map():
    sun = sun_of(GARDEN, [(NORTH_HOUSE[0], None)])
    assert not sun.known
    assert "height or storeys" in sun.why_not
    assert sun.hours == ()
    assert sun.cls is None
    assert math.isnan(sun.morning_hours)
    assert sun.sunny_wall is sun.shady_corner is sun.seat is None
    built = sun_of(GARDEN, [(GARDEN.buffer(1), 5)])
    assert not built.known
    assert "cover this plot" in built.why_not


def test_notes_say_what_was_not_counted():
    """A house of unknown height along the south: taken as high as the middle one of the others."""
    south = shapely.box(-LONG, -8, LONG, 0)
    others = [
        NORTH_HOUSE,
        (shapely.box(500, 500, 510, 510), 9),
        (shapely.box(510, 500, 520, 510), 4),
    ]
    lacking = sun_of(GARDEN, [*others, (south, None)])
    assert lacking.notes[0].startswith(
        "The height of 1 building near here is not on the map. If it"
    )
    assert "Trees and hills are not counted" in lacking.notes[-1]
    told = sun_of(GARDEN, [*others, (south, 6)])  # the middle one of 4, 6 and 9
    assert lacking.least_hours == pytest.approx(told.hours)
    assert lacking.hours[5] > lacking.least_hours[5] + 0.5
    assert told.least_hours == told.hours
    # One that changes nothing is not worth a word.
    behind = sun_of(GARDEN, [*others, (shapely.box(-LONG, 22, LONG, 30), None)])
    assert not any("height" in note for note in behind.notes)
    high = sun_of(GARDEN, [NORTH_HOUSE], kind="balcony")
    assert any("higher up" in note for note in high.notes)


def test_unknown_plot():
    with pytest.raises(WrongUse, match=r"There is no plot 'P'.*Did you mean p"):
        plot_sun(hood_of(GARDEN, [NORTH_HOUSE]), "P", knowledge=KNOW)


def test_spots_spread_evenly():
    """Each quarter of a square holds a quarter of the spots, and a slanting strip has some."""
    spots = spots_on(shapely.box(0, 0, 1, 1), 200)
    assert len(spots) == 200
    for low_x in (0, 0.5):
        for low_y in (0, 0.5):
            inside = ((spots >= (low_x, low_y)) & (spots < (low_x + 0.5, low_y + 0.5))).all(axis=1)
            assert inside.sum() == pytest.approx(50, abs=3)
    strip = shapely.LineString([(0, 0), (60, 45)]).buffer(0.2)
    assert 150 < len(spots_on(strip, 200)) < 260
    hair = shapely.Polygon([(0, 0), (1000, 1000), (1000, 1000.0001)])
    assert len(spots_on(hair, 200)) >= 1


def test_the_demo_street():
    """North of the street the backs face away from it, south of it towards the houses.

    Both terraces have 2 storeys (6 m). Gardens north of their house have less winter sun.
    """
    hood = read_neighbourhood(DEMO, knowledge=KNOW)
    found = plots_sun(hood, knowledge=KNOW, plots=["W17B", "W18B", "K3"])
    assert list(found) == ["W17B", "W18B", "K3"]
    assert all(sun.known for sun in found.values())
    assert found["W17B"].hours[11] < found["W18B"].hours[11]
    assert found["K3"].hours[5] > 14  # open grass
    assert "south" in found["W18B"].sunny_wall.words
    outline = hood.plots.geometry
    assert outline["W18B"].contains(found["W18B"].sunny_wall.place)
    assert outline["W17B"].contains(found["W17B"].shady_corner.place)
    again = plot_sun(hood, "W17B", knowledge=KNOW)
    assert again == found["W17B"]
    assert dataclasses.replace(again, plot="x") != again
