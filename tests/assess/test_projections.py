"""The same street in another projection: what may change, and by how much."""

import shutil
from pathlib import Path

import geopandas as gpd
import pytest

from patchnet import assess, read_neighbourhood

DEMO = Path(__file__).parents[2] / "data_demo"


def answers(folder, **options):
    hood = read_neighbourhood(folder)
    groups = assess(hood, **options).groups
    return hood, {key: one.measures.eca for key, one in groups.items()}


def in_projection(folder, crs):
    shutil.copytree(DEMO, folder)
    for file in folder.glob("*.geojson"):
        gpd.read_file(file).to_crs(crs).to_file(file, driver="GeoJSON")
    return folder


def test_over_straight_lines_only_the_scale_of_the_projection_counts(tmp_path):
    """Lengths are k times as long; what is drawn, and so supplies, at most k x k times as much.

    Homes are places times how many are in use. Places grow by k^2 at most, and so does what meets
    the needs that their use follows: k^4 together; distances lower that by k at most. Nothing may
    jump where a reach or a hop is a limit: that would be far more.
    """
    before, first = answers(DEMO, straight=True)
    after, second = answers(in_projection(tmp_path / "turned", 32630), straight=True)
    assert (before.plots.crs.to_epsg(), after.plots.crs.to_epsg()) == (32631, 32630)
    scale = after.plots["area_m2"].sum() / before.plots["area_m2"].sum() - 1
    assert 1e-3 < scale < 1e-2
    for group, eca in first.items():
        assert second[group] == pytest.approx(eca, rel=(1 + scale) ** 2 - 1), group


def test_over_the_ground_the_rows_of_cells_lie_another_way(tmp_path):
    """Zone 30 turns the street against the rows of cells, by 6 degrees x sin(51) = 5 degrees.

    A way over eight neighbours is 1 to 1.0824 times the straight line, by its angle to the rows
    (worked out in tests/movement/test_grow.py). So links move by up to 8.24 %, and an animal
    whose homes are joined by one link of length d by up to 2^(0.0824 d / d50): for the hedgehog's
    hop of 100 and d50 of 200 cost metres 2.9 %. That is the largest jump there can be; nothing
    else about a projection reaches an answer.
    """
    _, first = answers(DEMO, groups=["hedgehog"])
    _, second = answers(in_projection(tmp_path / "turned", 32630), groups=["hedgehog"])
    assert second["hedgehog"] == pytest.approx(first["hedgehog"], rel=2 ** (0.0824 * 0.5) - 1)
