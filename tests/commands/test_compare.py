"""patchnet compare on two small files."""

import csv
import io
import json

import geopandas as gpd
import pyogrio
import pytest
import shapely


def street(path, features, ids=("1", "2")):
    plots = gpd.GeoDataFrame(
        {"id": list(ids), "kind": "garden_back", "features": features, "seen": "all"},
        geometry=[
            shapely.box(400_000 + 12 * at, 300_000, 400_012 + 12 * at, 300_020)
            for at in range(len(ids))
        ],
        crs="EPSG:27700",
    )
    pyogrio.write_dataframe(plots, path, layer="plots", driver="GPKG")
    return path


@pytest.fixture
def two(tmp_path):
    return (
        street(tmp_path / "y2025.gpkg", ["lawn_short 90", "shrub 12; pond 4"]),
        street(tmp_path / "y2026.gpkg", ["lawn_short 70; flower_border 20", "shrub 12"]),
    )


ONLY = ("--group", "mason_bee", "--group", "newt", "--straight")


def test_words(run, two):
    status, out, _ = run("compare", *two, *ONLY)
    assert status == 0
    assert "From y2025 to y2026" in out
    assert "1: flower border is new." in out
    assert "2: wildlife pond, no fish is gone." in out


def test_json_and_csv_agree(run, two):
    _, out, _ = run("compare", *two, *ONLY, "--format", "json")
    told = json.loads(out)
    _, table, _ = run("compare", *two, *ONLY, "--format", "csv")
    rows = list(csv.DictReader(io.StringIO(table)))
    moved = {(p["plot"], g): h for p in told["plots"] for g, h in p["homes"].items()}
    for row in rows:
        expected = moved.get((row["plot"], row["group"]), 0.0)
        assert float(row["homes_change"]) == pytest.approx(expected, rel=1e-5)
    assert {(row["plot"], row["group"]) for row in rows} >= set(moved)


def test_page_is_written_and_a_foreign_file_kept(run, two, tmp_path):
    status, _, err = run("compare", *two, *ONLY, "--page", "change.html")
    assert status == 0
    assert "Wrote change.html" in err
    assert "For whom" in (tmp_path / "change.html").read_text()
    (tmp_path / "mine.html").write_text("mine")
    status, _, err = run("compare", *two, *ONLY, "--page", "mine.html")
    assert status == 3
    assert (tmp_path / "mine.html").read_text() == "mine"


def test_a_change_of_next_to_nothing_has_no_map(run, tmp_path):
    """A pond of 8 and one of 8.0005 m2 differ by less than the thousandth part that is told."""
    ponds = [street(tmp_path / f"y{at}.gpkg", ["pond 8", f"pond {8 + at / 2000}"]) for at in (0, 1)]
    status, _, _ = run("compare", *ponds, "--group", "newt", "--straight", "--page", "page.html")
    page = (tmp_path / "page.html").read_text()
    assert status == 0
    assert "hardly any" in page
    assert "<svg" not in page
    assert "Hardly any change, and no map" in page


def test_nothing_in_common(run, two, tmp_path):
    other = street(tmp_path / "other.gpkg", ["pond 4"], ids=("x",))
    status, _, err = run("compare", two[0], other, *ONLY)
    assert status == 2
    assert "share no plot" in err


def test_a_file_that_is_not_there(run, two):
    status, _, err = run("compare", two[0], "nowhere.gpkg", *ONLY)
    assert status == 3
    assert "nowhere.gpkg" in err
