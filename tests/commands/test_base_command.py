"""patchnet base as a new group uses it: an extract in, a file out that opens as a map at once."""

import re
import sqlite3
from contextlib import closing
from importlib.util import find_spec
from pathlib import Path

import geopandas as gpd
import pyogrio
import pytest
import shapely

from patchnet.survey.release import CELLS

SUBURB = Path(find_spec("pyrosm").origin).parent / "data" / "test.osm.pbf"
BOX = "26.954,60.525,26.961,60.530"


@pytest.fixture(scope="module")
def tables(tmp_path_factory):
    """Four houses on parcels along one road, in the British national grid."""
    folder = tmp_path_factory.mktemp("tables")
    crs = "EPSG:27700"
    at = [400_000 + 10 * k for k in range(4)]
    gpd.GeoDataFrame(
        {"INSPIREID": ["7", "8", "9", "10"], "NATIONALCADASTRALREFERENCE": ["a", "b", "c", "d"],
         "VALIDFROM": ["2019-01-01", "2024-05-06", "2011-01-01", "2011-01-01"]},
        geometry=[shapely.box(x, 300_005, x + 10, 300_035) for x in at], crs=crs,
    ).to_file(folder / "Land_Registry_Cadastral_Parcels.gml", driver="GML")  # fmt: skip
    gpd.GeoDataFrame(
        {"storeys": [2] * 4},
        geometry=[shapely.box(x + 1, 300_010, x + 9, 300_018) for x in at], crs=crs,
    ).to_file(folder / "buildings.gpkg", layer="buildings")  # fmt: skip
    gpd.GeoDataFrame(
        {"name": ["Elm Road"]},
        geometry=[shapely.LineString([(399_990, 300_000), (400_050, 300_000)])], crs=crs,
    ).to_file(folder / "roads.gpkg", layer="roads")  # fmt: skip
    return folder


def inputs_in(folder):
    return sorted(path for path in folder.iterdir() if path.suffix in {".gml", ".gpkg"})


def test_an_extract_alone_is_enough(run, tmp_path):
    status, out, err = run("base", SUBURB, "--bbox", BOX, "-o", "street.gpkg")
    assert status == 0
    assert out == "street.gpkg\n"
    for words in ("plots on", "named streets", "derived, not boundaries", "All else is not known",
                  "OpenStreetMap contributors", "patchnet map street.gpkg -o street.html",
                  "patchnet survey street.gpkg"):  # fmt: skip
        assert words in " ".join(err.split()), words
    assert max(map(len, err.splitlines())) < 200
    status, out, err = run("check", "street.gpkg")
    assert status == 0
    status, out, err = run("map", "street.gpkg", "--group", "wren", "-o", "street.html")
    assert status == 0
    page = (tmp_path / "street.html").read_text(encoding="utf-8")
    assert "OpenStreetMap contributors, ODbL 1.0" in page
    assert "are not boundaries" in page


def test_a_land_registry_and_layers_of_ones_own(run, tables, tmp_path):
    files = inputs_in(tables)
    status, _, err = run("base", *files, "--credit", "Drawn by hand", "-o", "street.gpkg")
    assert status == 0
    said = " ".join(err.split())
    assert "4 front gardens, 4 back gardens" in said
    assert "HM Land Registry" in said
    assert "database rights 2024 Ordnance Survey AC0000851063" in said  # the year of supply
    plots = pyogrio.read_dataframe(tmp_path / "street.gpkg", layer="plots")
    gardens = plots[plots["parcel"] != ""]
    # On paper: 10 m wide, 5 m before the wall; behind it 25 x 10 m less a house of 8 x 8 m.
    assert gardens[gardens["part"] == "front"].area.tolist() == pytest.approx([50.0] * 4)
    assert gardens[gardens["part"] == "back"].area.tolist() == pytest.approx([250.0 - 64] * 4)
    assert gardens["parcel"].tolist()[::2] == ["7", "8", "9", "10"]
    credits_of = pyogrio.read_dataframe(tmp_path / "street.gpkg", layer="credits")
    assert set(credits_of[credits_of["layer"] == "buildings"]["attribution"]) == {"Drawn by hand"}
    heights = pyogrio.read_dataframe(tmp_path / "street.gpkg", layer="buildings")["height_m"]
    assert heights.tolist() == [6.0] * 4  # 2 storeys of 3 m (settings/storey_height_m)


def test_run_again_with_the_earlier_base(run, tables, tmp_path):
    files = [*inputs_in(tables), "--credit", "x"]
    assert run("base", *files, "-o", "one.gpkg")[0] == 0
    before = (tmp_path / "one.gpkg").read_bytes()  # then it is noted in it that two was made
    status, _, err = run("base", *files, "--earlier", "one.gpkg", "-o", "two.gpkg")
    assert status == 0
    assert re.search(r"Against the earlier base \d+ plots kept their number, 0 are new", err)
    assert before == (tmp_path / "two.gpkg").read_bytes()


def test_nothing_is_written_over_without_being_told_to(run, tables, tmp_path):
    (tmp_path / "mine.gpkg").write_text("mine")
    files = [*inputs_in(tables), "--credit", "x", "-o", "mine.gpkg"]
    status, out, err = run("base", *files)
    assert (status, out) == (3, "")
    assert "--overwrite" in err
    assert (tmp_path / "mine.gpkg").read_text() == "mine"
    assert run("base", *files, "--overwrite")[0] == 0


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        ((), 2, "Name at least one file"),
        (("missing.osm",), 3, "There is no file missing.osm"),
        ((SUBURB, "--bbox", "1,2,3"), 2, "not four numbers"),
        ((SUBURB, "--bbox", "3,2,1,4"), 2, "is not a box in degrees"),
        ((SUBURB, "--bbox", "0,51,0.01,51.01"), 3, "holds nothing inside the box"),
        ((SUBURB, "--bbox", BOX, "--street", "Nowhere Road"), 2, "no street called"),
        ((SUBURB, "--crs", "EPSG:1"), 2, "no coordinate system"),
    ],
)
def test_wrong_use_is_told(run, tmp_path, words, status, said):
    got, out, err = run("base", *words, "-o", "street.gpkg")
    assert (got, out) == (status, ""), err
    assert said in " ".join(err.split())
    assert not (tmp_path / "street.gpkg").exists()


def test_faults_come_as_one_list_and_nothing_is_written(run, tables, tmp_path):
    status, out, err = run("base", tables / "roads.gpkg", "-o", "street.gpkg")
    assert (status, out) == (1, "")
    assert "There is no building and no parcel" in err
    assert "nothing was written" in err
    assert list(tmp_path.iterdir()) == []


def test_the_name_must_end_in_gpkg(run):
    status, _, err = run("base", SUBURB, "-o", "street.geojson")
    assert status == 2
    assert "must end in .gpkg" in err


def test_help_has_examples_that_parse(run):
    status, out, _ = run("base", "--help")
    assert status == 0
    assert "patchnet base town.osm.pbf --bbox" in out


# nothing is lost under a new base ------------------------------------------------------------


@pytest.fixture
def elm(run, tables, tmp_path):
    """A base of four gardens; the same data, and data of another place, to make it anew."""
    same = ["--parcels", *inputs_in(tables)[:1], *inputs_in(tables)[1:]]
    assert run("base", *same, "-o", "elm.gpkg")[0] == 0
    far = gpd.read_file(inputs_in(tables)[0])
    far["geometry"] = far.translate(9_000, 0)
    far.to_file(tmp_path / "far.geojson")
    return same, ["--parcels", "far.geojson"]


def answered(run):
    plot = gpd.read_file("elm.gpkg", layer="plots")["id"].iloc[0]
    assert run("consent", "elm.gpkg", plot, "no")[0] == 0
    return plot


def test_an_answer_is_kept_where_it_is_all_that_was_said(run, elm):
    """It was lost: only a return or a forgotten household made a new base keep anything."""
    same, _ = elm
    plot = answered(run)
    status, _, said = run("base", *same, "--earlier", "elm.gpkg", "-o", "elm.gpkg", "--overwrite")
    assert status == 0, said
    found = gpd.read_file("elm.gpkg", layer="plots").set_index("id")["consent"]
    assert found[plot] == "no"


def test_an_answer_alone_is_not_written_over(run, elm, tmp_path):
    same, _ = elm
    answered(run)
    before = (tmp_path / "elm.gpkg").read_bytes()
    status, _, said = run("base", *same, "-o", "elm.gpkg", "--overwrite")
    assert status == 2
    assert "1 answer about consent" in said
    assert "--earlier elm.gpkg" in said
    assert (tmp_path / "elm.gpkg").read_bytes() == before


def test_the_base_of_another_place_does_not_replace_a_survey(run, elm, tmp_path):
    """Named as earlier it was replaced all the same, and its survey was gone, with exit 0."""
    _, far = elm
    answered(run)
    before = (tmp_path / "elm.gpkg").read_bytes()
    status, _, said = run("base", *far, "--earlier", "elm.gpkg", "-o", "elm.gpkg", "--overwrite")
    assert status == 2
    assert "would be lost" in said
    assert (tmp_path / "elm.gpkg").read_bytes() == before
    status, _, said = run("base", *far, "--earlier", "elm.gpkg", "-o", "far.gpkg")
    assert status == 0, said
    assert "is not in the new base map" in " ".join(said.split())
    assert (tmp_path / "far.gpkg").exists()


def test_what_was_handed_out_is_not_written_over(run, elm, tmp_path):
    """A ledger that is lost would let two public tables give a household back."""
    same, far = elm
    with closing(sqlite3.connect(tmp_path / "elm.gpkg")) as there:
        columns = ", ".join(f'"{key}"' for key in CELLS)
        there.execute(f"CREATE TABLE released (fid INTEGER PRIMARY KEY, {columns})")
        there.execute(
            f"INSERT INTO released ({columns}) VALUES (1, '2026-01-01', 'u', 'pond', 'a b', 0, 3, "  # noqa: S608
            "0, 0)"
        )
        there.commit()
    before = (tmp_path / "elm.gpkg").read_bytes()
    status, _, said = run("base", *same, "-o", "elm.gpkg", "--overwrite")
    assert (status, "handed out to the public" in " ".join(said.split())) == (2, True)
    status, _, said = run("base", *far, "--earlier", "elm.gpkg", "-o", "elm.gpkg", "--overwrite")
    assert status == 2
    assert (tmp_path / "elm.gpkg").read_bytes() == before
