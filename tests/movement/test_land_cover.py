"""A user's own land-cover raster: any CRS, rotated, without data, and every fault of it."""

import math

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import Transformer
from shapely import box

from patchnet.core.errors import CannotRead, DataFaults, WrongUse
from patchnet.core.fault_list import FaultList
from patchnet.movement.land_cover import LandCover, read_class_costs, read_land_cover
from patchnet.movement.surface import cost_surface

WEST, NORTH = 530_000.0, 180_000.0
COSTS = {1: 1.0, 2: 5.0, 3: math.inf}


def write(path, array, *, crs="EPSG:27700", transform=None, nodata=None, dtype="uint8"):
    array = np.atleast_3d(np.asarray(array).T).T
    with rasterio.open(
        path, "w", driver="GTiff", width=array.shape[2], height=array.shape[1],
        count=array.shape[0], dtype=dtype, crs=crs, nodata=nodata,
        transform=transform or Affine(1, 0, WEST - 40, 0, -1, NORTH + 40),
    ) as file:  # fmt: skip
        file.write(array.astype(dtype))
    return path


def ground(scene, know, cover, group="hedgehog", cell=1.0, **kwargs):
    plots = {"a": (box(WEST, NORTH - 10, WEST + 10, NORTH), "garden")}
    return cost_surface(
        scene(plots, **kwargs), know.groups[group], know, cell_m=cell, landcover=cover
    )


def halves(rows=90, columns=90):
    """Class 1 to the west of WEST + 5, class 2 to the east."""
    array = np.ones((rows, columns), int)
    array[:, 45:] = 2
    return array


def test_classes_are_read_where_they_lie(scene, know, tmp_path):
    path = write(tmp_path / "cover.tif", halves())
    surface = ground(scene, know, LandCover(path, COSTS))
    middle = int(5 + know.setting("surface_margin_m"))
    assert (surface.cost[:, :middle] == 1).all()
    assert (surface.cost[:, middle:] == 5).all()


def test_another_crs_lies_where_it_should(scene, know, tmp_path):
    """Degrees: the border between the classes runs along a meridian through WEST + 5, NORTH.

    Over the 50 m of ground a meridian and a grid line of the national grid part by less than a
    cell (their angle is below two degrees here).
    """
    to = Transformer.from_crs("EPSG:27700", "EPSG:4326", always_xy=True)
    lon, lat = to.transform(WEST + 5, NORTH)
    step = 1e-5
    array = np.ones((400, 400), int)
    array[:, 200:] = 2
    path = write(
        tmp_path / "degrees.tif", array, crs="EPSG:4326",
        transform=Affine(step, 0, lon - 200 * step, 0, -step, lat + 200 * step),
    )  # fmt: skip
    surface = ground(scene, know, LandCover(path, COSTS))
    middle = int(5 + know.setting("surface_margin_m"))
    assert (surface.cost[:, : middle - 2] == 1).all()
    assert (surface.cost[:, middle + 2 :] == 5).all()


def test_a_rotated_raster_lies_where_it_should(scene, know, tmp_path):
    """Turned by 30 degrees about WEST + 5, NORTH - 5: class 2 is what lies to its right."""
    turn = math.radians(30)
    cos, sin = math.cos(turn), math.sin(turn)
    # Cell (200, 200) at the centre of turning; columns run along (cos, sin).
    c = WEST + 5 - 100 * cos - 100 * sin
    f = NORTH - 5 - 100 * sin + 100 * cos
    transform = Affine(0.5 * cos, 0.5 * sin, c, 0.5 * sin, -0.5 * cos, f)
    array = np.ones((400, 400), int)
    array[:, 200:] = 2
    path = write(tmp_path / "turned.tif", array, transform=transform)
    surface = ground(scene, know, LandCover(path, COSTS))
    rows, columns = surface.cost.shape
    x = surface.grid.west + np.arange(columns) + 0.5 - (WEST + 5)
    y = surface.grid.north - np.arange(rows) - 0.5 - (NORTH - 5)
    right = x[None, :] * cos + y[:, None] * sin
    assert (surface.cost[right > 1] == 5).all()
    assert (surface.cost[right < -1] == 1).all()


@pytest.mark.parametrize("nodata", [0, None])
def test_where_there_is_no_data_the_map_counts(scene, know, tmp_path, nodata):
    """Whole numbers with 0 for no data; and a raster that only covers a part."""
    array = halves()
    if nodata == 0:
        array[:45] = 0
        path = write(tmp_path / "holes.tif", array, nodata=0)
    else:
        path = write(
            tmp_path / "part.tif", array[45:], transform=Affine(1, 0, WEST - 40, 0, -1, NORTH - 5)
        )
    surface = ground(scene, know, LandCover(path, COSTS))
    middle = int(5 + know.setting("surface_margin_m"))
    plain = ground(scene, know, None)
    np.testing.assert_array_equal(surface.cost[:middle], plain.cost[:middle])
    assert set(np.unique(surface.cost[middle:])) == {1, 5}


def test_classes_with_a_meaning_for_nought(scene, know, tmp_path):
    """Without a value for no data, 0 is a class like any other."""
    path = write(tmp_path / "nought.tif", halves() - 1)
    surface = ground(scene, know, LandCover(path, {0: 3.0, 1: 4.0}))
    assert set(np.unique(surface.cost)) == {3, 4}


def test_all_one_class_and_closed_classes(scene, know, tmp_path):
    path = write(tmp_path / "one.tif", np.full((90, 90), 2))
    assert (ground(scene, know, LandCover(path, COSTS)).cost == 5).all()
    path = write(tmp_path / "closed.tif", np.where(halves() == 2, 3, 1))
    surface = ground(scene, know, LandCover(path, COSTS))
    assert np.isinf(surface.cost).any()
    assert np.isfinite(surface.cost[surface.labels == 1]).any()


def test_a_pond_and_a_house_lie_on_top(scene, know, tmp_path):
    path = write(tmp_path / "cover.tif", halves())
    house = box(WEST + 12, NORTH - 8, WEST + 16, NORTH)
    surface = ground(
        scene, know, LandCover(path, COSTS), buildings=[house],
        features=[(box(WEST + 1, NORTH - 4, WEST + 4, NORTH - 1), "pond")],
    )  # fmt: skip
    assert np.isinf(surface.cost).sum() == 32
    assert (surface.cost == 20).sum() == 9


def test_a_second_band(scene, know, tmp_path):
    path = write(tmp_path / "bands.tif", np.stack([halves(), np.full((90, 90), 2)]))
    assert (ground(scene, know, LandCover(path, COSTS, band=2)).cost == 5).all()
    with pytest.raises(WrongUse, match="no band 3"):
        ground(scene, know, LandCover(path, COSTS, band=3))


def fault_of(scene, know, path, costs=None):
    with pytest.raises(DataFaults) as caught:
        ground(scene, know, LandCover(path, costs or COSTS))
    (fault,) = caught.value.faults
    assert fault.where == str(path)
    return fault.what


def test_faults(scene, know, tmp_path):
    far = write(tmp_path / "far.tif", halves(), transform=Affine(1, 0, 0, 0, -1, 90))
    assert "no data where the plots are" in fault_of(scene, know, far)
    empty = write(tmp_path / "empty.tif", np.zeros((90, 90)), nodata=0)
    assert "no data where the plots are" in fault_of(scene, know, empty)
    nowhere = write(tmp_path / "nowhere.tif", halves(), crs=None)
    assert "does not say where it lies" in fault_of(scene, know, nowhere)
    shares = write(tmp_path / "shares.tif", halves() * 0.3, dtype="float32")
    assert "not whole" in fault_of(scene, know, shares)
    path = write(tmp_path / "cover.tif", np.arange(8100).reshape(90, 90), dtype="int32")
    what = fault_of(scene, know, path)
    assert what.startswith("There is no cost for these classes: ")
    assert what.endswith(", ....")


def test_whole_numbers_kept_as_floats_are_classes(scene, know, tmp_path):
    array = halves().astype(float)
    array[:45] = np.nan
    path = write(tmp_path / "floats.tif", array, dtype="float32")
    assert {1, 5} <= set(np.unique(ground(scene, know, LandCover(path, COSTS)).cost))


def test_files_that_cannot_be_read(scene, know, tmp_path):
    with pytest.raises(CannotRead):
        ground(scene, know, LandCover(tmp_path / "none.tif", COSTS))
    (tmp_path / "text.tif").write_text("no raster")
    with pytest.raises(CannotRead):
        ground(scene, know, LandCover(tmp_path / "text.tif", COSTS))


def test_costs_below_nought(scene, know, tmp_path):
    path = write(tmp_path / "cover.tif", halves())
    with pytest.raises(WrongUse, match="class 2 must be above 0"):
        ground(scene, know, LandCover(path, {1: 1.0, 2: 0.0}))


def test_reading_straight_onto_a_grid_gives_nan_without_data(scene, know, tmp_path):
    path = write(tmp_path / "cover.tif", halves()[:45], nodata=0)
    surface = ground(scene, know, None)
    cost = read_land_cover(LandCover(path, COSTS), surface.grid)
    assert np.isnan(cost).any()
    assert np.isfinite(cost).any()


# the table of classes -------------------------------------------------------------------------


@pytest.mark.parametrize("text", [
    "class,cost,name\n1,1,lawn\n2, 5 ,road\n3,closed,house\n\n",
    "\ufeffClass;Cost\n1;1\n2;5\n3;impassable\n",
])  # fmt: skip
def test_a_table_of_classes(text, tmp_path):
    path = tmp_path / "classes.csv"
    path.write_text(text, encoding="utf-8")
    assert read_class_costs(path) == COSTS


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("kind,price\n1,2\n", "Missing column: class, cost."),
        ("class,price\n1,2\n", "Missing column: cost."),
        ("class,cost\n", "There are no classes."),
        ("class,cost\nlawn,2\n", "'lawn' with the cost '2'"),
        ("class,cost\n1,0\n", "'1' with the cost '0'"),
        ("class,cost\n1,nan\n", "'1' with the cost 'nan'"),
        ("class,cost\n1,2\n1,3\n", "stands there twice"),
        ("class,cost\n1\n", "'1' with the cost ''"),
    ],
)
def test_faults_in_a_table_of_classes(text, what, tmp_path):
    path = tmp_path / "classes.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DataFaults) as caught:
        read_class_costs(path)
    assert what in str(caught.value)


def test_all_faults_of_a_table_at_once(tmp_path):
    path = tmp_path / "classes.csv"
    path.write_text("class,cost\nx,1\n2,-1\n", encoding="utf-8")
    with pytest.raises(DataFaults) as caught:
        read_class_costs(path)
    assert [fault.row for fault in caught.value.faults] == [2, 3]


def test_a_table_that_cannot_be_read(tmp_path):
    with pytest.raises(CannotRead, match="no file"):
        read_class_costs(tmp_path / "none.csv")
    (tmp_path / "empty.csv").write_text("\n\n")
    with pytest.raises(CannotRead, match="is empty"):
        read_class_costs(tmp_path / "empty.csv")


def test_warnings_of_a_table_of_classes(tmp_path):
    (tmp_path / "latin.csv").write_bytes("class,cost,name\n1,2,été\n".encode("cp1252"))
    faults = FaultList()
    assert read_class_costs(tmp_path / "latin.csv", faults) == {1: 2.0}
    assert "Windows-1252" in faults.faults[0].what
