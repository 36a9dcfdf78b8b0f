"""patchnet map --additions: worked out on small maps, never on a page to be published."""

import json
import re
from types import SimpleNamespace

import geopandas as gpd
import pytest
import shapely

from patchnet.commands import asked as carried_out
from patchnet.commands import main as command_line


@pytest.fixture(scope="module")
def street(tmp_path_factory):
    """Two gardens of 10 x 10 m; every household agreed to be shown."""
    path = tmp_path_factory.mktemp("street") / "street.gpkg"
    table = {
        "id": ["1", "2"],
        "kind": "garden_back",
        "features": ["lawn_short 60; paving 20", "shrub 6; lawn_short 40"],
        "seen": "all",
        "consent": "public",
    }
    shapes = [shapely.box(400_000 + 20 * at, 300_000, 400_010 + 20 * at, 300_010) for at in (0, 1)]
    gpd.GeoDataFrame(table, geometry=shapes, crs="EPSG:27700").to_file(
        path, layer="plots", driver="GPKG"
    )
    return path


@pytest.fixture
def drawn(street, tmp_path, capsys):
    def draw(*words):
        path = tmp_path / "street.html"
        order = ["map", str(street), "--group", "mason_bee", "-o", str(path), "--overwrite", *words]
        status = command_line._run(order)
        err = capsys.readouterr().err
        if status:
            return status, err, None
        page = path.read_text(encoding="utf-8")
        found = re.search(r'<script type="application/json" id="payload">(.*?)</script>', page)
        return status, err, json.loads(found[1])["additions"]

    return draw


def test_a_small_map_carries_them_without_being_asked(drawn):
    status, _, additions = drawn()
    assert status == 0
    assert len(additions["plots"]) == 2
    assert all(additions["plots"])
    assert drawn("--no-additions")[2] is None


def test_a_page_to_be_published_carries_none(drawn):
    assert drawn("--public")[2] is None
    status, err, _ = drawn("--public", "--additions")
    assert status == 2
    assert "leave out one of the two" in err


def test_a_larger_map_waits_to_be_asked(monkeypatch):
    asked = []
    monkeypatch.setattr(carried_out, "possible_additions", lambda *_, **__: asked.append(1) or {})
    table = SimpleNamespace(setting={"page_additions_plots": 100}.__getitem__)
    for plots, additions, expected in (
        (100, None, {}), (101, None, None), (101, True, {}), (100, False, None),
    ):  # fmt: skip
        street = SimpleNamespace(knowledge=table, neighbourhood=SimpleNamespace(plots=range(plots)))
        found = carried_out.additions_asked(street, additions=additions, public=False)
        assert found == expected
    assert len(asked) == 2
