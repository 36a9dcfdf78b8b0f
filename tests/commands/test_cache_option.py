"""The same question again is answered at once and alike; anything else is worked out."""

import shutil
import sqlite3
from datetime import UTC, datetime
from importlib import resources

import geopandas as gpd
import pyogrio
import pytest
import shapely

from patchnet.commands import asked, plan_asked
from patchnet.core import cache


@pytest.fixture
def street(tmp_path, monkeypatch):
    """Two gardens, and a file whose warnings are said while it is read."""
    monkeypatch.delenv("PATCHNET_NO_CACHE")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "home"))
    monkeypatch.setattr(cache, "_WORTH_S", 0.0)
    path = tmp_path / "street.gpkg"
    write(path, "lawn_short 90; paving 20")
    return path


def write(path, features):
    path.unlink(missing_ok=True)
    plots = gpd.GeoDataFrame(
        {
            "id": ["1", "2"],
            "label": ["14 Rope Walk", "16 Rope Walk"],
            "kind": ["garden_back", "garden_back"],
            "features": [features, "shrub 12; pond 4; leaf_pile 2"],
        },
        geometry=[
            shapely.box(400_000, 300_000, 400_012, 300_020),
            shapely.box(400_011.9, 300_000, 400_024, 300_020),
        ],
        crs="EPSG:27700",
    )
    pyogrio.write_dataframe(plots, path, layer="plots", driver="GPKG")


ONE = ("--group", "newt", "--straight", "--month", "10")


def never(*_, **__):
    raise AssertionError("worked out again")


def never_as(name):
    """What is kept is named after what works it out."""

    def stand_in(*_, **__):
        never()

    stand_in.__qualname__ = name
    return stand_in


def kept(street):
    return {one.name for one in cache.cache_folder(street).glob("*.kept")}


def test_the_same_question_again(run, street, monkeypatch):
    first = run("advise", street, "14 Rope Walk", *ONE)
    assert first[0] == 0
    assert "14 Rope Walk" in first[1] or "1" in first[1]
    assert first[2].strip()  # which plot is meant, where the animals live
    with monkeypatch.context() as again:
        again.setattr(plan_asked, "_plan", never)
        assert run("advise", street, "14 Rope Walk", *ONE) == first
        status, whole, _ = run("advise", street, "14 Rope Walk", *ONE, "--all")
        assert status == 0
        assert len(whole) > len(first[1])
    anew = run("advise", street, "14 Rope Walk", *ONE, "--no-cache")
    assert anew == first


def test_a_card_is_drawn_from_what_is_kept(run, street, monkeypatch, tmp_path):
    assert run("advise", street, "1", *ONE, "--card", "first.html", "--no-cache")[0] == 0
    assert run("advise", street, "1", *ONE)[0] == 0
    monkeypatch.setattr(asked, "assess", never)
    monkeypatch.setattr("patchnet.plan.plan_plot.plan_plot", never_as("plan_plot"))
    status, _, said = run("advise", street, "1", *ONE, "--card", "second.html")
    assert status == 0, said
    first, second = ((tmp_path / one).read_text() for one in ("first.html", "second.html"))
    assert first == second
    # The file has noted the card, so its bytes are others: what stands in it is not.
    assert run("advise", street, "1", *ONE)[0] == 0


@pytest.mark.parametrize(
    "other",
    [
        ("2", *ONE),
        ("1", *ONE[:-1], "9"),
        ("1", *ONE, "--free", "3"),
        ("1", *ONE, "--region", "wales"),
        ("1", *ONE, "--draws", "3"),
        ("1", "--group", "wren", *ONE[2:]),
        ("1", "--group", "newt", "--month", "10"),
    ],
)
def test_another_question_is_another_answer(run, street, other):
    assert run("advise", street, "1", *ONE)[0] == 0
    before = kept(street)
    cached = run("advise", street, *other)
    assert cached[0] == 0
    assert kept(street) > before
    assert run("advise", street, *other, "--no-cache") == cached


def test_another_day_may_be_another_answer(run, street, monkeypatch):
    first = run("advise", street, "1", *ONE)

    class Later(datetime):
        @classmethod
        def now(cls, tz=UTC):
            return datetime(2031, 6, 1, tzinfo=tz)

    before = kept(street)
    monkeypatch.setattr(plan_asked, "datetime", Later)
    monkeypatch.setattr(asked, "assess", never)  # the street itself has not changed
    assert run("advise", street, "1", *ONE) == first
    assert len(kept(street) - before) == 1


def test_what_changed_is_worked_out(run, street):
    first = run("advise", street, "1", *ONE)
    write(street, "pond 6; shrub 20; log_pile 2; lawn_short 40")
    second = run("advise", street, "1", *ONE)
    assert second[1] != first[1]
    assert run("advise", street, "1", *ONE, "--no-cache") == second


def test_what_another_program_committed_to_its_log_counts(run, street):
    """The file's own bytes are the same until the log is brought in."""
    first = run("advise", street, "1", *ONE)
    there = sqlite3.connect(street)
    try:
        for each in ("IsEmpty", "MinX", "MaxX", "MinY", "MaxY"):  # what its triggers ask
            there.create_function(f"ST_{each}", 1, lambda _shape: 0)
        there.execute("PRAGMA journal_mode = WAL")
        there.execute("PRAGMA wal_autocheckpoint = 0")
        there.execute("UPDATE plots SET features = 'pond 6; shrub 20' WHERE id = '1'")
        there.commit()
        assert street.with_name("street.gpkg-wal").stat().st_size > 0
        assert run("advise", street, "1", *ONE)[1] != first[1]
    finally:
        there.close()


def test_own_tables_count(run, street, tmp_path):
    own = tmp_path / "own"
    own.mkdir()
    shipped = resources.files("patchnet.knowledge") / "tables" / "features.csv"
    heading, *rows = shipped.read_text(encoding="utf-8").splitlines()
    [pond] = [row for row in rows if row.startswith("pond,")]
    plain = run("advise", street, "1", *ONE, "--all", "--wish", "pond 3")
    told = []
    for name in ("Our pool", "Our puddle"):
        called = pond.replace('"Wildlife pond, no fish"', name)
        (own / "features.csv").write_text(f"{heading}\n{called}\n", encoding="utf-8")
        line = ("advise", street, "1", *ONE, "--all", "--wish", "pond 3", "--knowledge", own)
        told.append(run(*line))
        assert run(*line, "--no-cache") == told[-1]
        assert name in told[-1][1]
    assert len({plain, *told}) == 3


def test_files_of_several_parts_are_read_each_time(run, street, tmp_path, monkeypatch):
    """The cells of a shapefile stand in another file than its shapes."""
    shapes = gpd.read_file(street, layer="plots")
    shapes.to_file(tmp_path / "plots.shp")
    assert run("advise", "plots.shp", "1", *ONE)[0] == 0
    monkeypatch.setattr("patchnet.commands.asked.read_neighbourhood", never)
    assert "worked out again" in run("advise", "plots.shp", "1", *ONE)[2]


def test_a_folder_counts_with_all_its_files(run, street, tmp_path, monkeypatch):
    folder = tmp_path / "layers"
    folder.mkdir()
    shapes = gpd.read_file(street, layer="plots").drop(columns="features")
    shapes.to_file(folder / "plots.geojson", driver="GeoJSON")
    table = folder / "features.csv"
    table.write_text("id,feature,amount\n1,lawn_short,90\n2,pond,4\n")
    first = run("advise", "layers", "1", *ONE)
    assert first[0] == 0, first[2]
    with monkeypatch.context() as again:
        again.setattr(plan_asked, "_plan", never)
        assert run("advise", "layers", "1", *ONE) == first
    table.write_text("id,feature,amount\n1,lawn_short,20\n1,pond,5\n2,pond,4\n")
    assert run("advise", "layers", "1", *ONE)[1] != first[1]
    assert cache.cache_folder(folder).is_dir()
    assert sorted(one.name for one in folder.iterdir()) == ["features.csv", "plots.geojson"]


@pytest.mark.parametrize(
    "command",
    [
        "plot 1 --group newt --straight",
        "plot 1 --group newt --straight --draws 4",
        "why --group newt --straight --draws 50",
        "next --group newt --straight --draws 4",
        "next --plot 1 --group newt --straight --draws 4",
        "gaps --group newt --draws 4",
        "together --group newt --draws 4",
        "map -o m.html --group newt --straight",
    ],
)
def test_what_took_long_is_done_once(run, street, monkeypatch, command, tmp_path):
    name, *words = command.split()
    line = (name, street, *words)
    first = run(*line)
    assert first[0] == 0, first[2]
    page = tmp_path / "m.html"
    before = page.read_bytes() if page.exists() else None
    for work in ("asked.assess", "asked.doubt_of", "gaps.find_gaps", "why.deciding_figures",
                 "next.next_doors", "together.plan_together"):  # fmt: skip
        monkeypatch.setattr(f"patchnet.commands.{work}", never_as(work.partition(".")[2]))
    assert run(*line, *(("--overwrite",) if before else ())) == first
    assert before is None or page.read_bytes() == before


def test_no_cache_keeps_nothing(run, street):
    assert run("advise", street, "1", *ONE, "--no-cache")[0] == 0
    assert run("plot", street, "1", "--group", "newt", "--no-cache")[0] == 0
    assert not cache.cache_folder(street).exists()


def test_a_forgotten_household_is_not_kept_either(run, street):
    assert run("advise", street, "1", *ONE)[0] == 0
    assert kept(street)
    status, out, _ = run("forget", street, "1")
    assert status == 0
    assert "of cache" in out
    assert not cache.cache_folder(street).exists()


def test_a_street_handed_on_without_its_cache_or_with_anothers(run, street, tmp_path, monkeypatch):
    first = run("advise", street, "1", *ONE)
    other = tmp_path / "stick"
    other.mkdir()
    shutil.copy(street, other / "street.gpkg")
    shutil.copytree(cache.cache_folder(street), other / "street-cache")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "somebody else"))
    monkeypatch.chdir(other)
    again = run("advise", "street.gpkg", "1", *ONE)
    assert again[:2] == first[:2]
    assert (tmp_path / "somebody else" / "patchnet" / "cache-key").exists()
