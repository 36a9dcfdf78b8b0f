"""Numbers of a raster at the centres of cells: a raster that lies turned, worked out on paper."""

import numpy as np
import pyproj
import pytest
from rasterio.io import MemoryFile
from rasterio.transform import Affine

from patchnet.core.raster_cells import at_centres, cell_side

PLACE = "+proj=utm +zone=33 +ellps=WGS84 +no_defs +units="
METRES = pyproj.CRS(f"{PLACE}m")
# Rows run east in steps of 2 m from x = 100, columns run south in steps of 3 m from y = 200.
TURNED = Affine(0, 2, 100, -3, 0, 200)
NUMBERS = np.array([[1, 2, 3], [4, 5, 6], [7, 8, 9], [10, 11, 99]], dtype=np.float32)


@pytest.fixture
def raster():
    with MemoryFile() as memory:
        with memory.open(
            driver="GTiff", height=4, width=3, count=2, dtype="float32", crs=METRES.to_wkt(),
            transform=TURNED, nodata=99,
        ) as made:  # fmt: skip
            made.write(NUMBERS, 1)
            made.write(NUMBERS * 10, 2)
        with memory.open() as made:
            yield made


def test_every_cell_has_the_number_under_its_centre(raster):
    """Cells of 1 m: the raster covers x from 100 to 108 and y from 191 to 200.

    The first cell's centre is (99.5, 200.5): one column west and one row north of it. Row k of
    the cells lies at y = 200.5 - k, so in the raster's column (k - 1) // 3, its column j at
    x = 99.5 + j, so in the raster's row (j - 1) // 2.
    """
    found = at_centres(raster, METRES, (99, 201), 1, (11, 10))
    assert np.isnan(found[[0, 10]]).all()
    assert np.isnan(found[:, [0, 9]]).all()
    for k in range(1, 10):
        expected = np.repeat(NUMBERS[:, (k - 1) // 3], 2)
        np.testing.assert_array_equal(found[k, 1:9], np.where(expected == 99, np.nan, expected))


def test_bands_are_counted_from_one(raster):
    (cell,) = at_centres(raster, METRES, (100, 200), 1, (1, 1), band=2).ravel()
    assert cell == 10


def test_no_cell_on_the_raster(raster):
    assert np.isnan(at_centres(raster, METRES, (500, 200), 1, (3, 3))).all()


def test_more_rows_than_are_looked_up_at_once(raster):
    """1,100 rows of 1 cm from the top: 300 in each column of the raster, the last 200 below it."""
    found = at_centres(raster, METRES, (100, 200), 0.01, (1100, 1)).ravel()
    np.testing.assert_array_equal(found[:900], np.repeat([1.0, 2, 3], 300))
    assert np.isnan(found[900:]).all()


def test_the_side_of_a_cell_is_that_of_a_square_as_large(raster):
    """2 m by 3 m: the root of 6."""
    assert cell_side(raster, METRES, 104, 195) == pytest.approx(6**0.5)


def test_a_side_in_the_units_of_another_system(raster):
    """The same grid in kilometres: a thousandth."""
    kilometres = pyproj.CRS(f"{PLACE}km")
    assert cell_side(raster, kilometres, 0.104, 0.195) == pytest.approx(6**0.5 / 1000, rel=1e-6)
