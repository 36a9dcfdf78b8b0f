"""The command line as people use it: words in, words and files out, exit status documented."""

import contextlib
import io
import json
import re
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import networkx as nx
import pyogrio
import pytest
import shapely

from patchnet.commands import main as command_line
from patchnet.core.files import MADE_BY

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "data_demo"


@pytest.fixture(scope="module")
def tiny(tmp_path_factory):
    """Two plots and a verge, enough for every command to run in no time."""
    folder = tmp_path_factory.mktemp("tiny")
    plots = gpd.GeoDataFrame(
        {
            "id": ["1", "2", "v"],
            "kind": ["garden", "garden", "verge"],
            "features": [
                "pond 4; shrub 30",
                "shrub 20; log pile; no pond; tree 2?; no bog?",
                "long grass 20",
            ],
        },
        geometry=[
            shapely.box(400000, 300000, 400020, 300030),
            shapely.box(400020, 300000, 400040, 300030),
            shapely.box(400150, 300000, 400180, 300003),
        ],
        crs="EPSG:27700",
    )
    pyogrio.write_dataframe(plots, folder / "tiny.gpkg", layer="plots", driver="GPKG")
    return folder / "tiny.gpkg"


@pytest.fixture(scope="module")
def faulty(tmp_path_factory):
    folder = tmp_path_factory.mktemp("faulty")
    plots = gpd.GeoDataFrame(
        {"id": ["1", "2", "2"], "kind": "garden", "features": ["pnod 3", "pond 4000", "lawn"]},
        geometry=[
            shapely.box(400000, 300000, 400020, 300030),
            shapely.box(400020, 300000, 400040, 300030),
            shapely.box(400040, 300000, 400060, 300030),
        ],
        crs="EPSG:27700",
    )
    pyogrio.write_dataframe(plots, folder / "faulty.gpkg", layer="plots", driver="GPKG")
    return folder / "faulty.gpkg"


COMMANDS = ("demo", "map", "check", "plot", "export", "groups", "features", "source")


@pytest.mark.parametrize("command", COMMANDS)
def test_help_has_a_real_example(run, command):
    status, out, _ = run(command, "--help")
    assert status == 0
    assert re.search(rf"^ +patchnet {command}", out, re.MULTILINE)


def test_help_documents_exit_status(run):
    status, out, _ = run("--help")
    assert status == 0
    for number in range(5):
        assert re.search(rf"^ +{number}  ", out, re.MULTILINE)


def test_check_clean_file(run, tiny):
    status, out, _ = run("check", tiny)
    assert status == 0, out
    assert "ERRORS" not in out


def test_check_lists_every_fault_at_once(run, faulty):
    status, out, err = run("check", faulty)
    assert status == 1
    assert "pnod" in out
    assert "pond" in out
    assert "4000" in out.replace(",", "")
    assert "Traceback" not in out + err


def test_check_json(run, faulty):
    status, out, _ = run("check", faulty, "--format", "json")
    assert status == 1
    faults = json.loads(out)
    assert {"severity", "where", "row", "ident", "what", "mend"} == set(faults[0])
    assert all(fault["mend"] for fault in faults if fault["severity"] == "error")


def test_faults_stop_the_map_and_touch_nothing(run, faulty, tmp_path):
    page = tmp_path / "street.html"
    page.write_text(MADE_BY + "an earlier run")
    status, out, err = run("map", faulty, "-o", page)
    assert status == 1
    assert out == ""
    assert "pnod" in err
    assert page.read_text() == MADE_BY + "an earlier run"
    assert [path.name for path in tmp_path.iterdir()] == ["street.html"]


def test_map(run, tiny, tmp_path):
    status, out, _ = run("map", tiny, "-o", "street.html", "--group", "newt")
    assert status == 0
    assert out.strip() == "street.html"
    text = (tmp_path / "street.html").read_text()
    assert MADE_BY in text[:4096]
    # Its own page may be replaced, and comes out the same byte for byte.
    assert run("map", tiny, "-o", "street.html", "--group", "newt")[0] == 0
    assert (tmp_path / "street.html").read_text() == text


def test_somebody_elses_file_is_not_replaced(run, tiny, tmp_path):
    theirs = tmp_path / "street.html"
    theirs.write_text("mine")
    status, _, err = run("map", tiny, "-o", theirs)
    assert status == 3
    assert "--overwrite" in err
    assert theirs.read_text() == "mine"
    assert run("map", tiny, "-o", theirs, "--group", "newt", "--overwrite")[0] == 0


@pytest.mark.parametrize("output", ["no-such-folder/street.html", "."])
def test_output_that_cannot_be(run, tiny, output):
    status, _, err = run("map", tiny, "-o", output)
    assert status == 3
    assert err.startswith("Error: ")


def test_missing_file(run):
    status, out, err = run("check", "nowhere.gpkg")
    assert status == 3
    assert "nowhere.gpkg" in out + err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    "words",
    [
        ("map",),
        ("mapp",),
        ("map", "x.gpkg", "--no-such-option"),
        ("check", "x.gpkg", "--column", "id"),
        ("source", "groups/masonbee"),
    ],
)
def test_wrong_use(run, words):
    status, _, err = run(*words)
    assert status == 2
    assert err


def test_unknown_plot_and_group(run, tiny):
    status, _, err = run("plot", tiny, "11")
    assert status == 2
    assert "Did you mean" in err
    status, _, err = run("plot", tiny, "1", "--group", "neut")
    assert status == 2
    assert "newt" in err


def test_plot_text(run, tiny):
    status, out, _ = run("plot", tiny, "2", "--group", "newt")
    assert status == 0
    assert "Plot 2" in out
    assert re.search(r"pond.*1 plot +nearest: 1, next door", out)
    assert "index of room" in out


def test_plot_json(run, tiny):
    status, out, _ = run("plot", tiny, "1", "--format", "json")
    assert status == 0
    answer = json.loads(out)
    assert answer["plot"] == "1"
    assert {has["feature"]: has["amount"] for has in answer["has"]}["pond"] == 4
    assert len(answer["groups"]) == 18  # of 21; swift, toad and slow-worm are to be asked for


def test_lists(run):
    status, out, _ = run("groups")
    assert status == 0
    assert len(re.findall(r"^\w+: ", out, re.MULTILINE)) == 21
    status, out, _ = run("features")
    assert status == 0
    assert len(out.splitlines()) == 52 + 2
    status, out, _ = run("source", "groups/mason_bee/hop")
    assert status == 0
    assert "Hofmann" in out
    assert "150" in out


def test_export_geopackage_reopens_as_written(run, tiny, tmp_path):
    """Reopened by GDAL; a GeoPackage says so in its header (OGC 12-128r19, application_id)."""
    status, _, err = run("export", tiny, "-o", "out.gpkg")
    assert status == 0, err
    assert (tmp_path / "out.gpkg").read_bytes()[68:72] == b"GPKG"
    assert {name for name, _ in pyogrio.list_layers("out.gpkg")} == {"plots", "links", "breaks"}
    plots = pyogrio.read_dataframe("out.gpkg", layer="plots")
    assert plots["id"].tolist() == ["1", "2", "v"]
    assert plots.crs.to_epsg() == 27700
    assert plots["homes_newt"].notna().all()


def test_export_geopackage_keeps_to_the_standard(run, tiny):
    """OGC GeoPackage 12-128: clauses 1.1.1 (ids, integrity), 1.1.2 (reference systems), 1.1.3."""
    assert run("export", tiny, "-o", "out.gpkg")[0] == 0
    with contextlib.closing(sqlite3.connect("out.gpkg")) as base:
        assert base.execute("PRAGMA application_id").fetchone() == (0x47504B47,)
        assert base.execute("PRAGMA user_version").fetchone()[0] >= 10200
        assert base.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert base.execute("PRAGMA foreign_key_check").fetchall() == []
        systems = {row[0] for row in base.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")}
        assert {-1, 0, 4326, 27700} <= systems
        layers = base.execute("SELECT table_name, data_type, srs_id FROM gpkg_contents").fetchall()
        assert {name for name, kind, srs in layers if kind == "features" and srs == 27700} == {
            "plots", "links", "breaks",
        }  # fmt: skip


def test_export_reads_back_as_a_neighbourhood(run, tiny):
    """What was known, not known, and how much is there again."""
    assert run("export", tiny, "-o", "out.gpkg")[0] == 0
    _, before, _ = run("plot", tiny, "2", "--format", "json")
    _, after, _ = run("plot", "out.gpkg", "2", "--format", "json")
    assert json.loads(after)["has"] == json.loads(before)["has"]
    assert json.loads(after)["not_known"] == json.loads(before)["not_known"]


def test_export_says_what_was_cut(run, tiny):
    """Two touching gardens and a verge 110 m off: for the newt nothing lies beyond the cut."""
    status, _, err = run("export", tiny, "--group", "newt", "-o", "out.gpkg")
    assert status == 0
    assert "p = 0.0001" in err


def test_export_importance_adds_up(run, tiny):
    """Loss = own + flow + connector (Saura & Rubio 2010, Ecography 33:523-537)."""
    assert run("export", tiny, "--group", "newt", "--importance", "-o", "out.gpkg")[0] == 0
    plots = pyogrio.read_dataframe("out.gpkg", layer="plots")
    parts = plots[["own_newt", "flow_newt", "connector_newt"]].sum(axis=1)
    patch = plots["component_newt"] >= 0
    assert patch.any()
    assert parts[patch].to_numpy() == pytest.approx(plots["loss_newt"][patch].to_numpy())


def test_export_geojson_is_rfc_7946(run, tiny, tmp_path):
    """RFC 7946: WGS 84, no crs member, outer rings counter-clockwise (sections 4 and 3.1.6)."""
    assert run("export", tiny, "-o", "plots.geojson")[0] == 0
    text = json.loads((tmp_path / "plots.geojson").read_text())
    assert "crs" not in text
    for feature in text["features"]:
        ring = shapely.LinearRing(feature["geometry"]["coordinates"][0])
        assert ring.is_ccw
        assert -180 <= ring.bounds[0] <= 180
    assert run("export", tiny, "--layer", "breaks", "-o", "breaks.geojson")[0] == 0


def test_export_graphml_reopens_in_networkx(run, tiny):
    status, _, err = run("export", tiny, "--group", "newt", "-o", "newt.graphml")
    assert status == 0, err
    graph = nx.read_graphml("newt.graphml")
    assert graph.number_of_edges() >= 1
    assert all(0 < link["p"] <= 1 for _, _, link in graph.edges(data=True))
    assert all("homes" in node for _, node in graph.nodes(data=True))


def test_export_wrong_use(run, tiny):
    assert run("export", tiny, "-o", "out.xyz")[0] == 2
    assert run("export", tiny, "-o", "out.graphml")[0] == 2


@pytest.fixture(scope="module")
def demo_once(tmp_path_factory):
    """The demo, written once by its command; its folder, and what the command said."""
    base, said = tmp_path_factory.mktemp("demo"), io.StringIO()
    with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(said):
        patch.chdir(base)
        assert command_line._run(["demo", "-o", "here"]) == 0
    return base / "here", said.getvalue()


def test_demo(run, tmp_path, demo_once):
    folder, said = demo_once
    page = Path(said.strip())
    assert (folder.parent / page).exists()
    shutil.copytree(folder, tmp_path / "here")
    first = (tmp_path / page).read_bytes()
    (tmp_path / "here" / ".patchnet-made-from").unlink()  # or it would not be made again
    status, out, _ = run("demo", "-o", "here")
    assert (status, out) == (0, said)
    assert (tmp_path / page).read_bytes() == first


def test_a_demo_that_stands_there_is_not_made_again(run, tmp_path, demo_once, monkeypatch):
    shutil.copytree(demo_once[0], tmp_path / "here")
    made = []
    monkeypatch.setattr("patchnet.commands.demo._make", lambda *_: made.append(1))
    status, out, err = run("demo", "-o", "here")
    assert (status, out) == (0, demo_once[1])
    assert "stands there already" in err
    assert not made
    # Asked for other draws, or with a page that is not whole, it is made.
    assert run("demo", "-o", "here", "--draws", "1")[0] == 0
    assert len(made) == 1
    assert run("demo", "-o", "here", "--draws", "1")[0] == 0
    assert len(made) == 1
    (tmp_path / "here" / "map.html").unlink()
    assert run("demo", "-o", "here", "--draws", "1")[0] == 0
    assert len(made) == 2


def test_demo_overwrites_nothing_it_did_not_make(run, tmp_path):
    folder = tmp_path / "patchnet-demo"
    folder.mkdir()
    (folder / "plots.geojson").write_text("mine")
    status, _, err = run("demo")
    assert status == 3
    assert "plots.geojson" in err
    assert [path.name for path in folder.iterdir()] == ["plots.geojson"]
    assert (folder / "plots.geojson").read_text() == "mine"


def test_demo_keeps_what_was_changed_since(run, tmp_path, demo_once):
    folder, _ = demo_once
    shutil.copytree(folder, tmp_path / "here")
    changed = tmp_path / "here" / "features.csv"
    changed.write_text(changed.read_text() + "# mine")
    text = changed.read_text()
    assert run("demo", "-o", "here")[0] == 3
    assert changed.read_text() == text


def test_internal_error_says_whose_fault_it_is(run, tiny, monkeypatch):
    def broken(*_, **__):
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("patchnet.commands.plot.plot_answer", broken)
    status, _, err = run("plot", tiny, "1", "--group", "newt")
    assert status == 4
    assert "fault of patchnet" in err
    assert "Traceback" not in err


def test_results_on_stdout_and_words_on_stderr(tiny, tmp_path):
    """As a process: JSON alone on standard output, so that it can be piped."""
    done = subprocess.run(
        [sys.executable, "-m", "patchnet", "plot", tiny, "1", "--format", "json"],
        capture_output=True, text=True, check=True, cwd=tmp_path,
    )  # fmt: skip
    assert json.loads(done.stdout)["plot"] == "1"
