"""Pictures of the ground, against a reader of PNG and against pyproj's own web-map projection."""

import io

import numpy as np
import pytest
from PIL import Image
from pyproj import CRS, Transformer

from patchnet.movement.ground_grid import Grid
from patchnet.pages.map.pictures import (
    NOWHERE,
    block_means,
    dotted,
    level_picture,
    most_common,
    png,
)


def test_a_picture_reads_back_in_its_colours():
    classes = np.array([[0, 1, NOWHERE], [2, 0, 1]], np.uint8)
    drawn = Image.open(io.BytesIO(png(classes, ["#ff0000", "#00ff00", "#0000ff"])))
    drawn.verify()
    seen = np.array(
        Image.open(io.BytesIO(png(classes, ["#ff0000", "#00ff00", "#0000ff"]))).convert("RGBA")
    )
    assert seen[0].tolist()[:2] == [[255, 0, 0, 255], [0, 255, 0, 255]]
    assert seen[0, 2, 3] == 0
    assert seen[1].tolist() == [[0, 0, 255, 255], [255, 0, 0, 255], [0, 255, 0, 255]]


def test_blocks_worked_on_paper():
    """3 x 3 cells in blocks of 2 x 2. Top left: 0, 0, 1, 1, a draw, which the higher takes.
    Top right: 2 alone. Bottom left: 3 and what is not drawn. Bottom right: nothing drawn."""
    cells = np.array([[0, 0, 2], [1, 1, 2], [3, NOWHERE, NOWHERE]], np.uint8)
    blocks, side = most_common(cells, pixels=2)
    assert side == 2
    assert blocks.tolist() == [[1, 2], [3, NOWHERE]]
    means, side = block_means(np.array([[1, 2, 8], [3, 2, 0]], np.float32), pixels=2)
    # (1 + 2 + 3 + 2) / 4 and, with two cells beyond the edge, (8 + 0) / 4.
    assert (means.tolist(), side) == ([[2.0, 2.0]], 2)


def test_dots_are_every_second_pixel_of_one_class():
    assert dotted(np.zeros((2, 3), np.uint8), 0).tolist() == [
        [0, NOWHERE, 0],
        [NOWHERE, 0, NOWHERE],
    ]
    assert dotted(np.ones((2, 3), np.uint8), 0).tolist() == [[1, 1, 1], [1, 1, 1]]


@pytest.mark.parametrize("code", [5514, 27700, 32760])
def test_the_picture_lies_where_the_ground_is(code):
    """Every cell's centre, put onto the web map by EPSG:3857, has its own class there.

    EPSG:5514 is turned against north by several degrees, 32760 lies south of the equator.
    """
    west, north = {5514: (-744_000, -1_041_000), 27700: (451_000, 206_000)}.get(
        code, (300_000, 5_400_000)
    )
    rng = np.random.default_rng(3)
    grid = Grid(west, north, (60, 90), 2.0, CRS.from_epsg(code))
    # Blocks of 10 x 10 cells, so that a cell inside one lies well off its edges.
    classes = np.kron(rng.integers(0, 4, (6, 9)), np.ones((10, 10), int)).astype(np.uint8)
    level = level_picture(classes, grid)
    assert max(level.classes.shape) <= 400
    to_map = Transformer.from_crs(CRS.from_epsg(code), "EPSG:3857", always_xy=True)
    corner = Transformer.from_crs("EPSG:4326", "EPSG:3857", always_xy=True)
    left, bottom = corner.transform(level.west, level.south)
    right, top = corner.transform(level.east, level.north)
    rows, columns = level.classes.shape
    assert (right - left) / columns == pytest.approx((top - bottom) / rows, rel=1e-6)
    for row in range(60):
        for column in range(90):
            if not (2 <= row % 10 <= 7 and 2 <= column % 10 <= 7):
                continue
            x, y = to_map.transform(west + (column + 0.5) * 2, north - (row + 0.5) * 2)
            at = int((top - y) / (top - bottom) * rows), int((x - left) / (right - left) * columns)
            assert level.classes[at] == classes[row, column]
