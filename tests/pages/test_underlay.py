"""A picture of one's own under the gardens: in its place, in its colours, or a clear refusal."""

import base64
import io

import numpy as np
import pytest
import rasterio
from rasterio.io import MemoryFile
from rasterio.transform import Affine

from patchnet.core.errors import CannotRead
from patchnet.pages.map.map_page import map_page
from patchnet.pages.map.underlay import underlay


def picture(path, box, bands, crs="EPSG:27700", *, palette=None, nodata=None, dtype="uint8"):
    high, wide = bands.shape[1:]
    west, south, east, north = box
    cells = Affine((east - west) / wide, 0, west, 0, (south - north) / high, north)
    with rasterio.open(
        path, "w", driver="GTiff", width=wide, height=high, count=len(bands), dtype=dtype,
        crs=crs, transform=cells, nodata=nodata,
    ) as made:  # fmt: skip
        made.write(bands)
        if palette:
            made.write_colormap(1, palette)
    return path


def seen(found):
    """The picture as numbers, shape (3, rows, columns)."""
    content = base64.b64decode(found["picture"].split(",")[1])
    with MemoryFile(io.BytesIO(content)) as file, file.open() as shown:
        return shown.read()


pytestmark = pytest.mark.filterwarnings(
    "ignore::rasterio.errors.NotGeoreferencedWarning"  # of the small picture itself
)


@pytest.fixture
def hood(make):
    return make(24, groups=("mason_bee",)).neighbourhood


def around(hood, part=1.0):
    """A box of three times the plots' size round their middle; `part` of it from the west."""
    west, south, east, north = hood.plots.total_bounds
    wide, high = east - west, north - south
    return (west - wide, south - high, west - wide + 3 * wide * part, north + high)


def test_it_lies_where_it_is(hood, tmp_path):
    """West of the plots' middle red, east of it blue: so it is told, to a pixel or two."""
    west, _, east, _ = hood.plots.total_bounds
    bands = np.zeros((3, 300, 600), np.uint8)
    bands[0, :, :300] = 200
    bands[2, :, 300:] = 200
    found = underlay(picture(tmp_path / "a.tif", around(hood), bands), hood)
    shown = seen(found).astype(int)
    middle = shown[:, shown.shape[1] // 2]
    crossing = int(np.argmax(middle[2] > middle[0]))
    assert crossing == pytest.approx(shown.shape[2] / 2, abs=4)
    (south, left), (north, right) = found["corners"]
    degrees = hood.plots.to_crs(4326).total_bounds
    assert left < degrees[0] < degrees[2] < right
    assert south < degrees[1] < degrees[3] < north
    assert east > west


def test_palettes_and_numbers_become_colours(hood, tmp_path):
    """One band with a palette; one of heights, black at the lowest and white at the highest."""
    one = np.full((1, 40, 40), 7, np.uint8)
    found = underlay(
        picture(tmp_path / "p.tif", around(hood), one, palette={7: (10, 200, 30, 255)}), hood
    )
    assert np.abs(seen(found).mean(axis=(1, 2)) - [10, 200, 30]).max() < 4
    slope = np.linspace(100, 300, 400, dtype=np.float32)[None, None, :].repeat(40, axis=1)
    grey = seen(underlay(picture(tmp_path / "h.tif", around(hood), slope, dtype="float32"), hood))
    assert grey[:, :, :20].mean() < 40
    assert grey[:, :, -20:].mean() > 215


def test_where_it_has_nothing_the_ground_is_plain(hood, tmp_path):
    bands = np.full((3, 100, 100), 90, np.uint8)
    found = underlay(picture(tmp_path / "half.tif", around(hood, 0.5), bands), hood)
    shown = seen(found)
    assert np.abs(shown[:, :, -5:].mean(axis=(1, 2)) - [238, 241, 230]).max() < 6
    assert np.abs(shown[:, :, 5:9].mean() - 90) < 4


def test_what_cannot_lie_there_is_refused(hood, tmp_path):
    bands = np.full((3, 10, 10), 90, np.uint8)
    far = (0, 0, 100, 100)
    with pytest.raises(CannotRead, match="of another place"):
        underlay(picture(tmp_path / "far.tif", far, bands), hood)
    with pytest.raises(CannotRead, match="does not say where it lies"):
        underlay(picture(tmp_path / "no.tif", around(hood), bands, crs=None), hood)
    (tmp_path / "text.tif").write_text("no picture")
    with pytest.raises(CannotRead):
        underlay(tmp_path / "text.tif", hood)


@pytest.mark.browser
def test_a_button_shows_it(make, open_page, tmp_path):
    made = make(24, groups=("mason_bee",))
    path = picture(
        tmp_path / "a.tif", around(made.neighbourhood), np.full((3, 50, 50), 99, np.uint8)
    )
    opened = open_page(map_page(made, underlay=path), at="")
    tab = opened.page
    assert tab.locator("#map_street img").count() == 0
    tab.click("#under-picture")
    assert tab.get_attribute("#under-picture", "aria-pressed") == "true"
    assert tab.locator("#map_street img").get_attribute("alt")
    shapes = tab.locator("#map_street path[fill-opacity='0.45']")
    assert shapes.count() > 0
    tab.click("#under-picture")
    assert tab.locator("#map_street img").count() == 0
    assert shapes.count() == 0
    assert opened.complaints == []
    assert opened.fetched == []
