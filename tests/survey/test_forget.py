"""A household forgotten: every layer, every byte, and for good."""

import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely

from patchnet.core.errors import WrongUse
from patchnet.read import read_neighbourhood
from patchnet.survey.forget import forget_plots, record_consent
from patchnet.survey.forget_check import cells_of, search
from patchnet.survey.merge import merge_returns, write_merged
from patchnet.survey.one_return import street_id
from patchnet.survey.release_layers import note_written, read_written
from patchnet.survey.survey_layers import read_records

TODAY = date(2026, 6, 1)
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
CANARIES = (b"CANARYADDRESS01", b"CANARYHOUSE", b"CANARYNOTE", b"CANARYPHOTO", b"CANARYOWNER")


@pytest.fixture
def merged_street(surveyed, survey_knowledge):
    """Ann saw plots 1 to 3 from the street, the owner of plot 1 her own and plot 2."""
    ponds = gpd.GeoDataFrame(
        {"feature": ["pond", "pond"], "osm": ["CANARYNOTE 1", "way/2"]},
        geometry=[shapely.Point(450_005 + 40 * at, 210_005).buffer(2) for at in range(2)],
        crs="EPSG:27700",
    )
    pyogrio.write_dataframe(ponds, surveyed.path, layer="features", append=True)
    surveyed.hand_in(
        "ann",
        [
            ("1", "pond", "there", 2, "CANARYNOTE deep", "CANARYPHOTO.jpg"),
            ("2", "pond", "there", 3, "lovely"),
            ("3", "shrub", "there"),
        ],
    )
    surveyed.hand_in(
        "own",
        [("1", "bog", "there", 2, "CANARYNOTE wet"), ("2", "shrub", "not there")],
        who="CANARYOWNER",
        seen_from="own plot",
        consent=[{"plot": "1", "consent": "yes", "when": "2026-05-02T10:00:00+01:00"}],
    )
    found = merge_returns(surveyed.path, surveyed.files, knowledge=survey_knowledge, today=TODAY)
    write_merged(found, surveyed.path)
    return surveyed


def test_no_byte_is_left(merged_street, survey_knowledge):
    raw = merged_street.path.read_bytes()
    assert all(word in raw for word in CANARIES)
    found = forget_plots(
        merged_street.path, ["1"], merged_street.path, knowledge=survey_knowledge, now=NOW
    )
    raw = merged_street.path.read_bytes()
    assert [word for word in CANARIES if word in raw] == []
    assert b"CANARYADDRESS02" in raw
    assert b"lovely" in raw
    assert found.removed["statements"] == 2
    assert found.surveyors == 1
    assert not list(merged_street.folder.glob("*-journal")) + list(
        merged_street.folder.glob("*-wal")
    )


@pytest.mark.parametrize("column", ["Plot_ID", "Plot-ID", "Plot.ID", "Plot (ID)", "plot  id"])
def test_it_is_found_under_every_heading_that_is_read(surveyed, survey_knowledge, column):
    """A table of features whose heading reading accepts is one that forgetting accepts."""
    table = pd.DataFrame({column: ["1", "2"], "features": ["pond 7", "bog 2"], "who": "CANARYNOTE"})
    pyogrio.write_dataframe(table, surveyed.path, layer="habitats", append=True)
    before = read_neighbourhood(surveyed.path, knowledge=survey_knowledge)
    assert before.answers.answer("1", "pond") == "there"
    forget_plots(surveyed.path, ["1"], surveyed.path, knowledge=survey_knowledge, now=NOW)
    rows = pyogrio.read_dataframe(surveyed.path, layer="habitats")
    assert rows[column].tolist() == ["2"]
    assert b"pond 7" not in surveyed.path.read_bytes()


def test_the_rest_stands(merged_street, survey_knowledge):
    forget_plots(merged_street.path, ["1"], merged_street.path, knowledge=survey_knowledge, now=NOW)
    hood = read_neighbourhood(merged_street.path, knowledge=survey_knowledge)
    assert street_id(hood) == merged_street.street
    assert len(hood.plots) == 16
    assert set(hood.answers.table().loc["1"].dropna()) == set()
    assert hood.plots.loc["1", "consent"] == ""
    assert hood.answers.answer("2", "pond") == "there"
    assert hood.answers.answer("2", "shrub") == "not there"
    assert hood.answers.answer("3", "pond") == "there"  # from the map
    # The fence between 1 and 2 says no more whether it has a gap; the wall beyond still does.
    assert dict(zip(hood.barriers["kind"], hood.barriers["gap"], strict=True)) == {
        "fence": "not_known",
        "wall": "no",
    }


def test_returns_do_not_bring_it_back(merged_street, survey_knowledge):
    path = merged_street.path
    forget_plots(path, ["1"], path, knowledge=survey_knowledge, now=NOW)
    merged_street.hand_in("later", [("1", "pond", "there", 2, "CANARYNOTE")], day="2026-05-30")

    def again():
        found = merge_returns(path, merged_street.files, knowledge=survey_knowledge, today=TODAY)
        write_merged(found, path)
        return found

    found = again()
    assert "asked to be forgotten" in " ".join(map(str, found.faults))
    raw = path.read_bytes()
    assert [word for word in CANARIES if word in raw and word != b"CANARYOWNER"] == []
    # It agrees to be surveyed again: what is said from then on is let in, the old is not.
    record_consent(path, "1", "yes", path, knowledge=survey_knowledge, now=NOW.replace(hour=13))
    merged_street.hand_in("new", [("1", "shrub", "there")], day="2026-06-02")
    again()
    table = read_records(path).statements
    assert table.loc[table["plot"] == "1", "feature"].tolist() == ["shrub"]


def test_the_outline_too(merged_street, survey_knowledge):
    path = merged_street.path
    forget_plots(path, ["1", "2"], path, knowledge=survey_knowledge, now=NOW, outline=True)
    hood = read_neighbourhood(path, knowledge=survey_knowledge)
    assert list(hood.plots.index) == [str(at) for at in range(3, 17)]
    # Returns made before carry the street's earlier id and are still let in.
    found = merge_returns(path, merged_street.files[:1], knowledge=survey_knowledge, today=TODAY)
    assert found.read == 1
    assert "'1'" in " ".join(map(str, found.faults))


def test_nobody_of_that_number(merged_street, survey_knowledge):
    before = merged_street.path.read_bytes()
    with pytest.raises(WrongUse, match="no plot '99'"):
        forget_plots(
            merged_street.path, ["1", "99"], merged_street.path, knowledge=survey_knowledge, now=NOW
        )
    assert merged_street.path.read_bytes() == before


def test_the_last_word_on_consent_counts(merged_street, survey_knowledge):
    path = merged_street.path
    for hour, word in ((13, "no"), (14, "yes"), (15, "no")):
        now = NOW.replace(hour=hour)
        found = record_consent(path, "1", word, path, knowledge=survey_knowledge, now=now)
        assert found.consent == {"1": word}
    hood = read_neighbourhood(path, knowledge=survey_knowledge)
    assert hood.plots.loc["1", "consent"] == "no"
    assert len(read_records(path).consent) == 4


@pytest.mark.parametrize("head", ["Plot-ID", "Plot.ID", "Plot (ID)", "PLOT_ID", "garden", "ref"])
def test_found_under_every_heading_that_reading_accepts(merged_street, survey_knowledge, head):
    """A table of features keyed by a loosely spelt id and heading goes, row and note."""
    path = merged_street.path
    table = pd.DataFrame(
        {head: ["01", "2"], "features": ["herb bed", "herb bed"], "note": ["CANARYNOTE x", "stays"]}
    )
    pyogrio.write_dataframe(table, path, layer="habitats", append=True)
    hood = read_neighbourhood(path, knowledge=survey_knowledge)
    assert hood.answers.answer("1", "herb_bed") == "there"  # reading takes it
    found = forget_plots(path, ["1"], path, knowledge=survey_knowledge, now=NOW)
    assert found.removed["habitats"] == 1
    raw = path.read_bytes()
    assert [word for word in CANARIES if word in raw] == []
    assert b"stays" in raw


def test_a_name_in_another_spelling(surveyed, survey_knowledge):
    """The owner of plot 1 signed other plots in small letters: that is her name as well."""
    surveyed.hand_in("own", [("1", "bog", "there")], who="Canary Owner", seen_from="own plot")
    surveyed.hand_in("two", [("2", "bog", "there")], who="canary  owner", day="2026-05-03")
    surveyed.hand_in("three", [("3", "bog", "there")], who="CANARY-OWNER", day="2026-05-04")
    path = surveyed.path
    write_merged(merge_returns(path, surveyed.files, knowledge=survey_knowledge, today=TODAY), path)
    found = forget_plots(path, ["1"], path, knowledge=survey_knowledge, now=NOW)
    assert b"canary" not in path.read_bytes().lower().replace(b"canaryaddress", b"").replace(
        b"canaryhouse", b""
    )
    assert found.surveyors == 1
    assert len(read_records(path).statements) == 2


def test_the_certificate(merged_street, survey_knowledge):
    """It tells what was searched, who still speaks of the household, and what was made before."""
    path = merged_street.path
    merged_street.hand_in(
        "gossip", [("3", "bog", "there", 2, "as canaryowner says")], day="2026-05-05"
    )
    write_merged(
        merge_returns(path, merged_street.files, knowledge=survey_knowledge, today=TODAY), path
    )
    note_written(path, [merged_street.folder / "map.html"], "group", NOW)
    seen = forget_plots(path, ["1"], path, knowledge=survey_knowledge, now=NOW).certificate
    assert seen.files == ((path.name, path.stat().st_size),)
    assert seen.texts > 5
    assert seen.found == ()
    assert dict(seen.speaking)["statements.note"] == 1
    assert seen.made == (("map.html", "group", "2026-06-01"),)
    assert not list(merged_street.folder.glob(".patchnet-*"))


def test_what_was_made_is_named_from_where_the_new_file_stands(merged_street, survey_knowledge):
    note_written(merged_street.path, [merged_street.folder / "map.html"], "group", NOW)
    copy = merged_street.folder / "later" / "street.gpkg"
    copy.parent.mkdir()
    record_consent(merged_street.path, "2", "yes", copy, knowledge=survey_knowledge, now=NOW)
    assert read_written(copy)["file"].tolist() == ["../map.html"]
    onto = merged_street.folder / "without.gpkg"
    seen = forget_plots(copy, ["1"], onto, knowledge=survey_knowledge, now=NOW).certificate
    assert [row[0] for row in seen.made] == ["map.html"]


def test_what_stays_in_the_bytes_is_found(merged_street, survey_knowledge):
    """The search can fail: a file whose free pages still hold a note."""
    path = merged_street.path
    before = cells_of(path)
    with closing(sqlite3.connect(path)) as there:
        there.execute("PRAGMA secure_delete = OFF")
        there.execute("DELETE FROM statements WHERE plot = '1'")
        there.commit()
    seen = search(before, path, [])
    assert any("CANARYNOTE" in text for text in seen.found)
    path.with_name(path.name + "-wal").write_bytes(b"... CANARYPHOTO.jpg ...")
    assert len(search(before, path, []).files) == 2


def test_a_map_in_degrees_loses_its_neighbours_nothing(tmp_path, surveyed, survey_knowledge):
    """One metre is not one degree: of two fences and a house that are not plot 8's all stay."""
    world = tmp_path / "world.gpkg"
    for name in ("plots", "roads", "barriers", "buildings"):
        table = gpd.read_file(surveyed.path, layer=name).to_crs(4326)
        pyogrio.write_dataframe(table, world, layer=name, driver="GPKG", append=world.exists())
    found = forget_plots(world, ["8"], world, knowledge=survey_knowledge, now=NOW)
    assert found.removed["barriers"] == found.removed["buildings"] == 0
    hood = read_neighbourhood(world, knowledge=survey_knowledge)
    assert sorted(hood.barriers["gap"]) == ["no", "yes"]
    near = forget_plots(world, ["1"], world, knowledge=survey_knowledge, now=NOW)
    assert (near.removed["barriers"], near.removed["buildings"]) == (1, 1)
