"""--sun, --heights and --bare-earth of the map command."""

from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine

from patchnet.commands import main as command_line
from patchnet.knowledge import load_knowledge
from patchnet.read import read_neighbourhood

DEMO = Path(__file__).resolve().parents[2] / "data_demo"


@pytest.fixture
def run(capsys):
    """Exit status and what was said."""

    def ran(*words):
        order = ["map", str(DEMO), "--group", "mason_bee", "--region", "Wales", *map(str, words)]
        status = command_line._run(order)
        return status, capsys.readouterr().err

    return ran


@pytest.fixture(scope="module")
def heights(tmp_path_factory):
    """Flat ground with a block 8 m high in the south, over the whole demo and 20 m round it."""
    plots = read_neighbourhood(DEMO, knowledge=load_knowledge()).plots
    left, low, right, high = plots.total_bounds + np.array([-20, -20, 20, 20])
    values = np.zeros((int(high - low), int(right - left)), np.float32)
    values[-15:-5] = 8
    path = tmp_path_factory.mktemp("heights") / "dsm.tif"
    with rasterio.open(
        path, "w", driver="GTiff", count=1, dtype="float32", height=values.shape[0],
        width=values.shape[1], crs=plots.crs.to_wkt(), transform=Affine(1, 0, left, 0, -1, high),
    ) as raster:  # fmt: skip
        raster.write(values, 1)
    return path


def test_sun_from_heights_of_buildings(run, tmp_path):
    assert run("--sun", "-o", tmp_path / "map.html") == (0, "")
    page = (tmp_path / "map.html").read_text(encoding="utf-8")
    assert 'value="sun"' in page
    assert '"measured":false' in page


def test_sun_from_measured_heights(run, tmp_path, heights):
    assert run("--heights", heights, "-o", tmp_path / "map.html") == (0, "")
    assert '"measured":true' in (tmp_path / "map.html").read_text(encoding="utf-8")


def test_what_is_missing_or_at_odds(run, tmp_path, heights):
    page = tmp_path / "map.html"
    status, said = run("--bare-earth", heights, "-o", page)
    assert status == 2
    assert "--heights" in said
    status, said = run("--heights", tmp_path / "none.tif", "-o", page)
    assert status == 3
    assert "cannot be read" in said
    assert not page.exists()
