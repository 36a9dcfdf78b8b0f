"""Several streets over several years: plain files, who walks where, what came back, what next."""

import csv
import json
from datetime import date

import geopandas as gpd
import pyogrio
import pytest
from click.testing import CliRunner

from patchnet.commands.main import cli
from patchnet.core.errors import CannotRead
from patchnet.knowledge import load_knowledge
from patchnet.pages.survey.project import add_streets, read_project, write_project
from patchnet.survey.merge import merge_returns, write_merged

KNOW = load_knowledge()


@pytest.fixture
def street(surveyed):
    """Two years: in the second a pond is gone from plot 1 and a shrub is new on plot 2."""
    surveyed.hand_in(
        "first", [("1", "pond", "there", 2), ("2", "shrub", "not there")], day="2025-05-02"
    )
    surveyed.hand_in(
        "second", [("1", "pond", "not there"), ("2", "shrub", "there", 3)],
        who="Bo", day="2026-05-09",
    )  # fmt: skip
    merged = merge_returns(
        surveyed.path, surveyed.files, knowledge=KNOW,
        today=date(2026, 6, 1),
    )  # fmt: skip
    write_merged(merged, surveyed.path)
    return surveyed


def test_a_list_without_a_street_is_told_plainly(street, tmp_path):
    add_streets(tmp_path / "ours", [street.path], knowledge=KNOW)
    (tmp_path / "ours" / "streets.csv").write_text("street,file,by\n", encoding="utf-8")
    with pytest.raises(CannotRead, match=r"lists no street\. Add one with --add"):
        read_project(tmp_path / "ours", knowledge=KNOW)


def test_what_came_back_year_on_year(street, tmp_path):
    """On paper: 16 plots, two looked at in each year by one person; 2026: one new, one gone."""
    folder = tmp_path / "ours"
    add_streets(folder, [street.path], by="Alder people", knowledge=KNOW)
    with (folder / "walks.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["plots"] for row in rows] == ["16"]
    rows[0] |= {"who": "Ann and Bo", "when": "9 May", "our own": "bring cake"}
    with (folder / "walks.csv").open("w", encoding="cp1252", newline="") as file:
        writer = csv.DictWriter(file, rows[0], delimiter=";")
        writer.writeheader()
        writer.writerows(rows)
    project = read_project(folder, knowledge=KNOW)
    (told,) = project.streets.to_dict("records")
    assert told == {
        "street": "street", "file": "../street.gpkg", "by": "Alder people", "plots": 16,
        "looked_at": 2, "answers": 4, "people": 2, "last": "2026-05-09",
    }  # fmt: skip
    (stretch,) = project.stretches.drop(columns="geometry").to_dict("records")
    assert (stretch["who"], stretch["when"], stretch["back_plots"]) == ("Ann and Bo", "9 May", 2)
    assert (stretch["back_people"], stretch["last"]) == ("Bo", "2026-05-09")
    assert project.years.to_numpy().tolist() == [
        ["street", 2025, 2, 2, 1, 0, 0],
        ["street", 2026, 2, 2, 1, 1, 1],
    ]
    add_streets(folder, [street.path], knowledge=KNOW)
    text = (folder / "walks.csv").read_text(encoding="utf-8-sig")
    assert "bring cake" in text
    assert text.count("Ann and Bo") == 1, "what people wrote stays, and nothing stands there twice"


def test_the_files_open_in_a_gis(street, tmp_path):
    project = add_streets(tmp_path / "ours", [street.path], knowledge=KNOW)
    path = write_project(project)
    first = path.read_bytes()
    layers = {name for name, _ in pyogrio.list_layers(path)}
    assert {"stretches", "streets", "years", "look_for"} <= layers
    stretches = gpd.read_file(path, layer="stretches")
    assert stretches.crs == "EPSG:27700"
    assert stretches.geometry.iloc[0].area == pytest.approx(16 * 600)
    write_project(read_project(tmp_path / "ours", knowledge=KNOW))
    assert path.read_bytes() == first


def test_the_reminders_are_of_what_is_not_known(street, tmp_path):
    """Of each thing to look for: only where what it helps to place is not known on some plot."""
    project = add_streets(tmp_path / "ours", [street.path], knowledge=KNOW)
    found = project.look_for
    for one in KNOW.watching.values():
        rows = found[found["look_for"] == one.words]
        assert sorted(rows["month"]) == sorted(one.months)
    assert "not known on 16 plots" in " ".join(found["why"])


def test_the_command(street, tmp_path):
    folder = str(tmp_path / "ours")
    with pytest.raises(CannotRead, match="no project"):
        read_project(folder, knowledge=KNOW)
    run = CliRunner().invoke(cli, ["project", folder, "--add", str(street.path), "--by", "us"])
    assert run.exit_code == 0, run.output
    assert "Of 1 stretch 1 came back in 2026." in run.output
    told = CliRunner().invoke(cli, ["project", folder, "--format", "json"])
    assert json.loads(told.stdout)["streets"][0]["by"] == "us"
