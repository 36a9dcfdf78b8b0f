"""Measured heights: shade against trigonometry and walls, what is read, what is refused."""

import dataclasses
import math

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from affine import Affine

from patchnet.core.errors import CannotRead, DataFaults
from patchnet.knowledge import load_knowledge
from patchnet.read import build_neighbourhood
from patchnet.sun.at_plot import plot_sun
from patchnet.sun.course import Course
from patchnet.sun.shade import sun_hours
from patchnet.sun.shadows import Walls
from patchnet.sun.surface_heights import SurfaceHeights, read_surface_heights

KNOW = load_knowledge()
# Transverse Mercator on the Greenwich meridian: on it the y axis is true north.
NORTH_UP = "+proj=tmerc +lat_0=51.5 +lon_0=0 +k=1 +x_0=0 +y_0=0 +datum=WGS84 +units=m"
WEST, NORTH, SIDE = -120, 120, 240


def sun_at(bearing, altitude):
    """One moment that stands for one hour."""
    one = np.array([1.0])
    return Course(np.array([6]), altitude * one, bearing * one, one, one)


def surface_of(shape, height, *, cell=0.5, slope=0.0):
    """A block on ground that rises northwards by `slope` metres a metre."""
    count = round(SIDE / cell)
    at = (np.arange(count) + 0.5) * cell
    x, y = np.meshgrid(WEST + at, NORTH - at)
    ground = (slope * y).astype(np.float32)
    top = ground + np.where(shapely.contains_xy(shape, x, y), height, 0).astype(np.float32)
    return SurfaceHeights(top, ground, WEST, NORTH, cell, guessed=False)


def hood_of(plots, buildings=(), *, crs=NORTH_UP):
    outlines = gpd.GeoDataFrame(
        {"id": [f"p{at}" for at in range(len(plots))]}, geometry=list(plots), crs=crs
    )
    houses = gpd.GeoDataFrame(
        {"height": pd.Series([one[1] for one in buildings], dtype=float)},
        geometry=[one[0] for one in buildings],
        crs=crs,
    )
    layer = houses if len(buildings) else None
    return build_neighbourhood(outlines, buildings=layer, knowledge=KNOW)


def write(path, values, *, crs=NORTH_UP, nodata=None, cell=1.0, west=WEST, north=NORTH):
    values = np.asarray(values)
    with rasterio.open(
        path, "w", driver="GTiff", height=values.shape[0], width=values.shape[1], count=1,
        dtype=values.dtype, crs=crs, nodata=nodata,
        transform=Affine(cell, 0, west, 0, -cell, north),
    ) as raster:  # fmt: skip
        raster.write(values, 1)
    return path


def level(height=0.0):
    return np.full((SIDE, SIDE), height, np.float32)


PLOTS = [shapely.box(-10, 0, 10, 20)]


def read(path, plots=PLOTS, **options):
    table = gpd.GeoDataFrame(geometry=plots, crs=NORTH_UP)
    return read_surface_heights(path, table, KNOW, **options)


@pytest.mark.parametrize(
    ("bearing", "altitude"), [(180, 38.55), (180, 15.06), (135, 30), (250, 20)]
)
def test_shadow_of_a_wall_by_trigonometry(bearing, altitude):
    """A wall 6 m high throws 6 / tan(altitude); across a long wall that times cos(bearing - 180).

    London at noon: 6 / tan 38.55 = 7.53 m on 20 March, 6 / tan 15.06 = 22.3 m on 21 December.
    """
    wall = shapely.box(-100, -4, 100, 0)
    reach = 6 / math.tan(math.radians(altitude)) * math.cos(math.radians(bearing - 180))
    y = np.arange(0.25, 40, 0.5)
    spots = np.stack([np.zeros_like(y), y], axis=1)
    day = sun_at(bearing, altitude)
    horizon = surface_of(wall, 6).horizon(spots, day)[:, 0]
    dark = y[horizon >= day.slope[0]]
    assert dark.max() == pytest.approx(reach, abs=0.75)  # a cell, and half of one
    assert len(dark) == pytest.approx(reach / 0.5, abs=1.5)  # without gaps


def test_the_same_shade_as_walls_within_a_cell():
    """Where walls say shade and every cell within one of it agrees, so does the raster."""
    shape = shapely.Polygon([(0, 0), (12, 2), (11, 9), (4, 8), (3, 14), (-3, 13)])
    spots = np.stack(np.meshgrid(np.arange(-30, 40, 1.3), np.arange(-30, 40, 1.3)), -1).reshape(
        -1, 2
    )
    spots = spots[~shapely.contains_xy(shape.buffer(1), *spots.T)]
    walls = Walls.of(np.array([shape], dtype=object), np.array([7.0]))
    surface = surface_of(shape, 7)
    for bearing, altitude in ((100, 20), (180, 40), (222, 12), (300, 8)):
        day = sun_at(bearing, altitude)
        dark = walls.horizon(spots, day)[:, 0] >= day.slope
        measured = surface.horizon(spots, day)[:, 0] >= day.slope
        shadow = shape_of_shadow(shape, 7, bearing, altitude)
        edge = shapely.distance(shapely.boundary(shadow), shapely.points(spots)) < 0.75
        inside = shapely.contains_xy(shadow, *spots.T)
        assert np.array_equal(dark[~edge], inside[~edge])
        assert np.array_equal(measured[~edge], inside[~edge])
        assert dark[~edge].any()


def shape_of_shadow(shape, height, bearing, altitude):
    length, turn = height / math.tan(math.radians(altitude)), math.radians(bearing)
    steps = np.linspace(0, 1, 400)[1:] * length
    moved = [
        shapely.affinity.translate(shape, -step * math.sin(turn), -step * math.cos(turn))
        for step in steps
    ]
    return shapely.union_all([shape, *moved])


def test_hours_as_from_stated_heights():
    """The same court from building heights and from a surface that shows the same houses."""
    south, north = shapely.box(-100, -8, 100, 0), shapely.box(-100, 12, 100, 20)
    court = [shapely.box(-8, 0, 8, 12)]
    told = sun_hours(hood_of(court, [(south, 6), (north, 8)]), KNOW, months=[3, 6])
    seen = surface_of(south, 6, cell=0.25)
    other = surface_of(north, 8, cell=0.25)
    both = dataclasses.replace(seen, top=np.maximum(seen.top, other.top))
    # Without any height in the file; and with wrong ones, which the measured ones stand above.
    for heights in ((None, None), (30, 30)):
        hood = hood_of(court, [(south, heights[0]), (north, heights[1])])
        found = sun_hours(hood, KNOW, months=[3, 6], surface=both)
        np.testing.assert_allclose(found.hours, told.hours, atol=0.25)
        assert found.known.all()
        assert (found.uncounted == 0).all()


def test_a_slope_by_hand():
    """Ground that rises northwards 0.2 m a metre: a 6 m wall 30 m to the south stands 0 m above it.

    At y = 15 the ground is 3 m higher than at the wall, whose top then rises 3 m over 15 m: 0.2.
    """
    surface = surface_of(shapely.box(-100, -2, 100, 0), 6, slope=0.2)
    spots = np.array([[0.0, 15.0], [0.0, 30.0]])
    rise = surface.horizon(spots, sun_at(180, 5))[:, 0]
    assert rise[0] == pytest.approx(0.2, abs=0.02)
    assert rise[1] == pytest.approx(0.0, abs=0.02)
    # Northwards the slope itself rises, 0.2 at every distance.
    assert surface.horizon(spots, sun_at(0, 5))[:, 0] == pytest.approx(0.2, abs=0.02)


def test_a_tree_shades_what_is_under_and_behind_it():
    tree = shapely.Point(0, 0).buffer(4)
    surface = surface_of(tree, 10)
    spots = np.array([[0.0, 0.0], [0.0, 9.0], [0.0, -9.0], [0.0, 30.0]])
    day = sun_at(180, 45)
    assert list(surface.horizon(spots, day)[:, 0] >= day.slope) == [True, True, False, False]


def test_reads_to_the_plots_coordinate_system_and_keeps_empty_cells(tmp_path):
    heights = level(50)
    heights[100:110, 110:130] = 58  # a block 8 m high, y 10 to 20, x -10 to 10
    heights[:20] = -9999
    path = write(tmp_path / "dsm.tif", heights, nodata=-9999)
    earth = write(tmp_path / "dtm.tif", level(50))
    found = read(path, bare_earth=earth)
    assert found.cell_m == 1
    assert not found.guessed
    assert found.faults == ()
    inner = np.array([[0.0, 15.0], [0.0, 5.0], [0.0, 110.0], [0.0, 900.0]])
    assert list(found.covers(inner)) == [True, True, False, False]
    row = int(found.north - 15)
    assert found.top[row, int(0 - found.west)] == 58
    guessed = read(path)
    assert guessed.guessed
    assert np.nanmin(guessed.ground) == 50
    # A raster turned by 30 degrees about the origin.
    turned = tmp_path / "turned.tif"
    cos, sin = math.cos(math.radians(30)), math.sin(math.radians(30))
    with rasterio.open(
        turned, "w", driver="GTiff", count=1, dtype="float32", height=SIDE, width=SIDE,
        crs=NORTH_UP, nodata=-9999,
        transform=Affine(cos, sin, WEST * cos - NORTH * sin, sin, -cos, WEST * sin + NORTH * cos),
    ) as raster:  # fmt: skip
        raster.write(heights, 1)
    back = read(turned, bare_earth=earth)
    assert back.cell_m == pytest.approx(1)
    assert int((back.top == 58).sum()) == pytest.approx(200, abs=15)
    there = np.array([[-15 * sin, 15 * cos], [-115 * sin, 115 * cos]])  # the block; no data
    assert list(back.covers(there)) == [True, False]
    assert back.top[int(back.north - there[0, 1]), int(there[0, 0] - back.west)] == 58


def test_degrees_are_brought_to_metres(tmp_path):
    """Cells of 1e-5 degrees at 51.5 N are 1.11 m high and 0.69 m wide: 0.88 m as a square."""
    heights = np.zeros((400, 400), np.float32)
    heights[190:210, 190:210] = 9  # 20 cells each way about the origin: 22.2 by 13.9 m
    path = write(
        tmp_path / "dsm.tif", heights, crs="EPSG:4326", cell=1e-5, west=-2e-3, north=51.502
    )
    found = read(path)
    assert found.cell_m == pytest.approx(0.88, abs=0.01)
    assert (found.top == 9).sum() * found.cell_m**2 == pytest.approx(22.2 * 13.9, rel=0.06)
    rows, columns = np.nonzero(found.top == 9)
    assert found.north - (rows.mean() + 0.5) * found.cell_m == pytest.approx(0, abs=0.6)
    assert found.west + (columns.mean() + 0.5) * found.cell_m == pytest.approx(0, abs=0.6)


def test_unmarked_file_is_empty_beyond_its_edge(tmp_path):
    found = read(write(tmp_path / "dsm.tif", level(3)))
    assert list(found.covers(np.array([[0.0, 0.0], [0.0, 121.0]]))) == [True, False]


def test_a_plot_is_known_where_the_surface_covers_it(tmp_path):
    heights = level()
    heights[:, :100] = -9999  # no data west of x = -20
    surface = read(
        write(tmp_path / "dsm.tif", heights, nodata=-9999), [*PLOTS, shapely.box(-60, 0, -40, 20)]
    )
    hood = hood_of([*PLOTS, shapely.box(-60, 0, -40, 20)])
    found = sun_hours(hood, KNOW, months=[6], surface=surface)
    assert list(found.known) == [True, False]
    assert found.hours.loc["p0", 6] == pytest.approx(found.open_hours[6])
    assert "guessed" in " ".join(plot_sun(hood, "p0", knowledge=KNOW, surface=surface).notes)
    assert not plot_sun(hood, "p1", knowledge=KNOW, surface=surface).known


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"west": 5000}, "no data where the plots are"),
        ({"crs": None}, "does not say where it lies"),
        ({"values": level(-9999), "nodata": -9999}, "no data where the plots are"),
        ({"values": level(np.nan)}, "no data where the plots are"),
        ({"values": level().astype(np.complex64)}, "holds no heights"),
        (
            {"values": np.where(np.arange(SIDE) % 9, 0, 400).astype(np.float32) + level()},
            "400|200 m",
        ),
    ],
)
def test_faults(tmp_path, change, words):
    options = {"values": level(), **change}
    path = write(tmp_path / "dsm.tif", options.pop("values"), **options)
    with pytest.raises(DataFaults, match=words) as error:
        read(path)
    assert all(fault.mend for fault in error.value.faults)


def test_faults_of_both_files_at_once(tmp_path):
    away = write(tmp_path / "dsm.tif", level(), west=5000)
    lost = write(tmp_path / "dtm.tif", level(), crs=None)
    with pytest.raises(DataFaults) as error:
        read(away, bare_earth=lost)
    assert [fault.where for fault in error.value.faults] == ["dsm.tif", "dtm.tif"]


def test_levels_that_do_not_match_and_a_few_birds(tmp_path):
    dsm = write(tmp_path / "dsm.tif", level(0))
    with pytest.raises(DataFaults, match="same level"):
        read(dsm, bare_earth=write(tmp_path / "dtm.tif", level(50)))
    bird = level(0)
    bird[120, 120] = 900
    found = read(write(tmp_path / "bird.tif", bird), bare_earth=dsm)
    assert ["1 cells" in fault.what for fault in found.faults] == [True]
    assert np.nanmax(found.top) == 0


def test_no_raster(tmp_path):
    for path in (tmp_path / "none.tif", tmp_path / "words.tif"):
        if path.name == "words.tif":
            path.write_text("heights", encoding="utf-8")
        with pytest.raises(CannotRead, match="cannot be read"):
            read(path)
