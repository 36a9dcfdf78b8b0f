"""patchnet merge, consent, forget, progress and export --for, as people use them."""

import csv
import json
from datetime import date
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from patchnet.core.files import MADE_BY
from patchnet.read import read_neighbourhood
from patchnet.survey.one_return import street_id


@pytest.fixture
def handed_in(surveyed):
    """Two people, one feature that they differ on, in a folder of returns."""
    surveyed.hand_in("a", [("1", "pond", "there", 2), ("2", "pond", "there"), ("3", "bog", "no")])
    surveyed.hand_in("b", [("1", "pond", "there"), ("2", "pond", "not there")], who="Bob")
    folder = surveyed.folder / "returns"
    folder.mkdir()
    for file in surveyed.files:
        file.rename(folder / file.name)
    (folder / "~$sheet.xlsx").write_bytes(b"lock")
    return surveyed


def test_merge_a_folder(run, handed_in):
    status, out, err = run("merge", "street.gpkg", "returns", "-o", "street.gpkg")
    assert (status, err) == (0, "street.gpkg\n")
    assert "2 returns read: 5 statements new, 5 in all, on 3 of 16 plots." in out
    assert "2     pond     2026  Ann          Bob" in out
    assert "pond     2      50 %   0.00" in out
    assert "0 yes, 0 no, 16 not asked" in out
    status, out, _ = run("merge", "street.gpkg", "returns", "-o", "street.gpkg")
    assert status == 0
    assert "0 statements new, 5 in all" in out


def test_merge_as_json(run, handed_in):
    status, out, _ = run("merge", "street.gpkg", "returns", "-o", "out.gpkg", "--format", "json")
    answer = json.loads(out)
    assert status == 0
    assert answer["new"]["statements"] == 5
    assert answer["disputed"] == [
        {
            "plot": "2",
            "feature": "pond",
            "year": 2026,
            "there_by": "Ann",
            "not_there_by": "Bob",
        }
    ]
    (pond,) = answer["agreement"]
    assert (pond["feature"], pond["pairs"], pond["share"]) == ("pond", 2, 0.5)


def test_what_cannot_be_read_is_named_and_the_rest_merged(run, handed_in):
    (handed_in.folder / "returns" / "c.csv").write_text("nothing of use\n")
    status, out, err = run("merge", "street.gpkg", "returns", "-o", "street.gpkg")
    assert status == 1
    assert "error: c.csv" in err
    assert "2 returns read" in out
    assert run("merge", "street.gpkg", "returns/a.return.json", "-o", "street.gpkg")[0] == 0


def test_nothing_that_can_be_read(run, handed_in):
    before = handed_in.path.read_bytes()
    (handed_in.folder / "c.csv").write_text("nothing of use\n")
    status, out, err = run("merge", "street.gpkg", "c.csv", "-o", "street.gpkg")
    assert (status, out) == (1, "")
    assert "nothing was written" in err
    assert handed_in.path.read_bytes() == before


def test_wrong_use(run, handed_in):
    (handed_in.folder / "empty").mkdir()
    (handed_in.folder / "notes.gpkg").write_text("mine")
    (handed_in.folder / "map.txt").write_text("mine")
    assert run("merge", "street.gpkg", "empty", "-o", "street.gpkg")[0] == 2
    assert run("merge", "street.gpkg", "-o", "street.gpkg")[0] == 2
    assert run("merge", "none.gpkg", "returns", "-o", "x.gpkg")[0] == 3
    assert run("merge", "map.txt", "returns", "-o", "x.gpkg")[0] == 3
    status, _, err = run("merge", "street.gpkg", "returns", "-o", "notes.gpkg")
    assert status == 3
    assert (handed_in.folder / "notes.gpkg").read_text() == "mine"
    status, _, err = run("merge", "street.gpkg", "returns", "-o", "map.geojson")
    assert status == 2
    assert "must end in .gpkg" in err
    status, _, err = run("forget", "map.txt", "1")
    assert status == 3
    assert run("forget", "street.gpkg", "99")[0] == 2
    assert run("consent", "street.gpkg", "1", "perhaps")[0] == 2
    assert run("consent", "street.gpkg", "99", "yes")[0] == 2


def test_another_street(run, handed_in):
    path = handed_in.folder / "returns" / "a.return.json"
    path.write_text(path.read_text().replace(handed_in.street, "f" * 16))
    status, _, err = run("merge", "street.gpkg", path, "-o", "street.gpkg")
    assert status == 1
    assert "another street" in err
    assert run("merge", "street.gpkg", path, "-o", "street.gpkg", "--same-street")[0] == 0


def test_consent_then_public_then_forgotten(run, handed_in):
    run("merge", "street.gpkg", "returns", "-o", "street.gpkg")
    status, out, _ = run("consent", "street.gpkg", "1", "yes")
    assert (status, out) == (0, "Plot 1: yes. So far 1 plot has agreed to be counted.\n")
    words = ("export", "street.gpkg", "--for", "public", "--group", "wren", "-o", "p.csv")
    status, _, err = run(*words)
    assert status == 2  # too few were looked at for any public figure
    assert "needs at least 10" in err
    status, _, err = run("consent", "street.gpkg", "1", "no")
    assert "cannot be called back" in err
    words = ("map", "street.gpkg", "--for", "group", "--group", "wren", "-o", "g.html")
    assert run(*words)[0] == 0
    page = (handed_in.folder / "g.html").read_text(encoding="utf-8")
    assert "not for publishing" in page
    assert "What is on the plot whose household said no" in page
    status, out, _ = run("forget", "street.gpkg", "1")
    assert status == 0
    assert "Forgotten: 1." in out
    assert "2 of statements" in out
    assert "Found: none." in " ".join(out.split())
    assert "g.html (for the group" in out
    assert b"CANARYADDRESS01" not in handed_in.path.read_bytes()


def test_progress(run, handed_in):
    run("merge", "street.gpkg", "returns", "-o", "street.gpkg")
    status, out, _ = run("progress", "street.gpkg", "-o", "p.html", "--title", "Alder <Row>")
    assert (status, out) == (0, "p.html\n")
    page = (handed_in.folder / "p.html").read_text(encoding="utf-8")
    assert MADE_BY in page
    assert "Alder &lt;Row&gt;: how far" in page
    assert run("progress", "street.gpkg", "-o", "p.html")[0] == 0
    assert run("progress", "street.gpkg", "-o", "street.gpkg")[0] == 3


def test_the_sheets_of_the_survey_come_back(run, surveyed):
    """The workbook and the CSV that `patchnet survey` makes, filled in, come back whole."""
    assert run("survey", "street.gpkg", "-o", "round")[0] == 0
    folder = surveyed.folder / "round"
    book = openpyxl.load_workbook(folder / "survey.xlsx")
    sheet = book.worksheets[0]
    head = [cell.value for cell in sheet[1]]
    for row in sheet.iter_rows(min_row=2):
        cells = dict(zip(head, row, strict=True))
        if (cells["plot"].value, cells["feature"].value) == ("1", "Wildlife pond, no fish"):
            cells["answer"].value, cells["amount"].value = "there", 2.5
            cells["surveyor"].value, cells["date"].value = "Ann", date(2026, 5, 2)
            cells["consent"].value = "yes"
    book.save(folder / "ann.xlsx")
    lines = (folder / "survey.csv").read_text(encoding="utf-8-sig").splitlines()
    names = next(csv.reader(lines[:1]))
    filled = []
    for row in csv.DictReader(lines):
        if (row["plot"], row["feature"]) == ("2", "Wildlife pond, no fish"):
            row |= {"answer": "not there", "surveyor": "Bob", "date": "02/05/2026"}
        filled.append(";".join(row[name].replace(";", ",") for name in names))
    text = "\n".join([";".join(names), *filled])
    (folder / "bob.csv").write_text(text, encoding="cp1252")
    words = ("merge", "street.gpkg", "round/ann.xlsx", "round/bob.csv", "-o", "street.gpkg")
    status, out, err = run(*words, "--format", "json")
    assert status == 0, err
    answer = json.loads(out)
    found = {(row["plot"], row["feature"]): row["answer"] for row in answer["survey"]}
    assert found == {("1", "pond"): "there", ("2", "pond"): "not there"}
    assert answer["consent"] == {"1": "yes"}


def test_a_map_of_another_kind_becomes_a_geopackage(run, surveyed, survey_knowledge):
    """The invented neighbourhood, a folder of GeoJSON and CSV: nothing of it is lost."""
    demo = Path(__file__).resolve().parents[2] / "data_demo"
    before = read_neighbourhood(demo, knowledge=survey_knowledge)
    surveyed.street = street_id(before)
    surveyed.hand_in("a", [("W01F", "pond", "there", 2), ("W03F", "pond", "not there")])
    status, _, err = run("merge", demo, "a.return.json", "-o", "wickthorn.gpkg")
    assert status == 0, err
    after = read_neighbourhood("wickthorn.gpkg", knowledge=survey_knowledge)
    assert list(after.plots.index) == list(before.plots.index)
    for name in ("barriers", "buildings", "roads", "footways", "features"):
        assert len(getattr(after, name)) == len(getattr(before, name))
    assert after.credits == before.credits
    assert street_id(after) == surveyed.street
    old, new = before.answers.table(), after.answers.table()
    assert (new.loc["W01F", "pond"], new.loc["W03F", "pond"]) == (2, 0)
    old.loc[["W01F", "W03F"], "pond"] = new.loc[["W01F", "W03F"], "pond"]
    # What is there without a size shares the ground that is left, so those of W01F may shrink.
    rest = old.index != "W01F"
    pd.testing.assert_frame_equal(old[rest], new[rest], rtol=1e-6)


def test_nobody_is_sent_to_a_household_that_asked_to_be_forgotten(run, handed_in, tmp_path):
    """Progress does not call its plot a gap, and sheets say to leave it; until it agrees again."""
    assert run("merge", "street.gpkg", "returns", "-o", "street.gpkg")[0] == 0
    assert run("forget", "street.gpkg", "16")[0] == 0
    assert run("progress", "street.gpkg", "-o", "progress.html")[0] == 0
    assert "3 of 15" in (tmp_path / "progress.html").read_text(encoding="utf-8")
    assert run("survey", "street.gpkg", "-o", "round")[0] == 0
    sheets = (tmp_path / "round" / "sheets.html").read_text(encoding="utf-8")
    assert sheets.count("asked not to be surveyed") == 2  # beside the map, above its boxes
    assert run("consent", "street.gpkg", "16", "yes")[0] == 0
    assert run("progress", "street.gpkg", "-o", "progress.html")[0] == 0
    assert "3 of 16" in (tmp_path / "progress.html").read_text(encoding="utf-8")
