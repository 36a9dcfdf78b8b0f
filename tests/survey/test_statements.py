"""What statements come to: by hand, against a plain second route, and whatever the order."""

import json
import sqlite3
from datetime import date
from itertools import permutations

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.read import read_neighbourhood
from patchnet.survey.agreement import agreement
from patchnet.survey.merge import merge_records, merge_returns, write_merged
from patchnet.survey.one_return import street_id
from patchnet.survey.statements import by_year, disputes, resolve, votes
from patchnet.survey.survey_layers import read_records
from patchnet.survey.survey_record import STATEMENTS, Records, digest

TODAY = date(2027, 6, 1)


def statements(*rows):
    """Rows of (plot, feature, answer, amount, surveyor, day, return); days are 2026-05-02 ..."""
    table = pd.DataFrame(
        [
            {
                "return": ident, "plot": plot, "feature": feature, "answer": answer,
                "amount": float("nan") if amount is None else float(amount), "sure": True,
                "seen_from": "street", "surveyor": who, "when": day,
                "utc": f"{day}T00:00:00.000000", "turn": turn, "year": int(day[:4]), "dated": "",
                "note": "", "photo": "",
            }
            for turn, (plot, feature, answer, amount, who, day, ident) in enumerate(rows)
        ],
        columns=[key for key in STATEMENTS if key != "statement"],
    )  # fmt: skip
    return digest(table, "statement")


def come_to(*rows):
    years = by_year(Records(statements=statements(*rows)))
    return resolve(years, ["1", "2", "3"], ["pond", "shrub"]).set_index(["plot", "feature"])


def pond(*rows):
    """What statements about the pond of plot 1 come to."""
    return come_to(*[("1", "pond", *row) for row in rows]).loc[("1", "pond")]


def test_two_who_agree():
    """Both say there: there. Of 2 and 3 m2 the larger of the two in the middle."""
    row = pond(("there", 2, "Ann", "2026-05-02", "a"), ("there", 3, "Bob", "2026-05-02", "b"))
    assert (row["answer"], row["amount"], row["people_there"]) == ("there", 3.0, 2)
    assert row["features"] == "pond 3"


def test_two_who_differ_are_not_known():
    row = pond(
        ("there", 2, "Ann", "2026-05-02", "a"), ("not there", None, "Bob", "2026-05-03", "b")
    )
    assert (row["answer"], row["change"]) == ("not known", "disputed")
    assert row["features"] == "pond unknown"


def test_a_third_voice_does_not_outvote():
    row = pond(
        ("there", 2, "Ann", "2026-05-02", "a"),
        ("there", 2, "Cy", "2026-05-02", "c"),
        ("not there", None, "Bob", "2026-05-03", "b"),
    )
    assert row["answer"] == "not known"


def test_who_looks_again_and_agrees_settles_it():
    row = pond(
        ("there", 2, "Ann", "2026-05-02", "a"),
        ("not there", None, "Bob", "2026-05-03", "b"),
        ("there", None, "Rob", "2026-05-09", "b2"),
    )
    assert row["answer"] == "not known"  # Bob himself has not looked again
    row = pond(
        ("there", 2, "Ann", "2026-05-02", "a"),
        ("not there", None, "Bob", "2026-05-03", "b"),
        ("there", None, "BOB", "2026-05-09", "b2"),
    )
    assert row["answer"] == "there"


def test_agreement_rests_on_first_looks():
    """Ann and Bob differ on the pond; Bob looks again and gives way.

    The last words agree, so it is there; the first looks differ, so of one pair none agrees.
    """
    rows = statements(
        ("1", "pond", "there", None, "Ann", "2026-05-02", "r1"),
        ("1", "pond", "not there", None, "Bob", "2026-05-02", "r2"),
        ("1", "pond", "there", None, "Bob", "2026-05-09", "r3"),
    )
    assert set(votes(rows)["answer"]) == {"there"}
    first = agreement(votes(rows, first_looks=True)).loc["pond"]
    assert (first["pairs"], first["share"]) == (1, 0)
    assert agreement(votes(rows)).loc["pond", "share"] == 1


def test_in_one_return_the_last_counts():
    row = pond(
        ("there", 2, "Ann", "2026-05-02", "a"), ("cannot see", None, "Ann", "2026-05-02", "a")
    )
    assert row["answer"] == "not known"
    assert row["change"] == "cannot see"


def test_not_seeing_settles_and_disputes_nothing():
    row = pond(
        ("there", 2, "Ann", "2026-05-02", "a"), ("cannot see", None, "Bob", "2026-05-03", "b")
    )
    assert (row["answer"], row["people_cannot_see"]) == ("there", 1)
    row = pond(
        ("there", 2, "Ann", "2026-05-02", "a"), ("cannot see", None, "Ann", "2026-08-03", "a2")
    )
    assert row["answer"] == "there"


def test_one_person_of_two_minds_at_one_moment():
    row = pond(
        ("there", 2, "Ann", "2026-05-02", "a"), ("not there", None, "Ann", "2026-05-02", "a2")
    )
    assert row["answer"] == "not known"


def test_without_a_name_each_return_is_a_person():
    row = pond(("there", 2, "", "2026-05-02", "a"), ("not there", None, "", "2026-05-02", "b"))
    assert row["answer"] == "not known"


@pytest.mark.parametrize(
    ("before", "now", "answer", "change"),
    [
        ("there", "there", "there", "still there"),
        ("there", "not there", "not there", "gone"),
        ("not there", "there", "there", "new"),
        ("not there", "not there", "not there", "still not there"),
        ("there", None, "there", "not looked at again"),
        ("there", "cannot see", "there", "not looked at again"),
        (None, "there", "there", "first answer"),
        ("cannot see", "there", "there", "first answer"),
        (None, "cannot see", "not known", "cannot see"),
    ],
)
def test_years(before, now, answer, change):
    """Gone, still there, new and not looked at again are four different things."""
    rows = [("2", "shrub", "there", None, "Ann", "2027-05-02", "b")]
    if before:
        rows.append(("1", "pond", before, None, "Ann", "2026-05-02", "a"))
    if now:
        rows.append(("1", "pond", now, None, "Ann", "2027-05-02", "b"))
    row = come_to(*rows).loc[("1", "pond")]
    assert (row["answer"], row["change"]) == (answer, change)


def test_an_old_dispute_is_no_earlier_answer():
    row = pond(
        ("there", 2, "Ann", "2026-05-02", "a"),
        ("not there", None, "Bob", "2026-05-02", "b"),
        ("there", 2, "Ann", "2027-05-02", "a2"),
    )
    assert (row["answer"], row["change"]) == ("there", "first answer")


ANSWERS = st.sampled_from(["there", "not there", "cannot see"])
SAYING = st.tuples(
    st.sampled_from(["1", "2"]),
    st.sampled_from(["pond", "shrub"]),
    ANSWERS,
    st.sampled_from([None, 1, 2, 5]),
    st.sampled_from(["Ann", "Bob", "Cy"]),
    st.sampled_from(["2026-05-02", "2026-07-09", "2027-05-02"]),
    st.sampled_from(["a", "b", "c"]),
)


def plain(rows):
    """The rules of the module's text gone through one by one, in plain Python."""
    last = {}
    for turn, (plot, feature, answer, _, who, day, ident) in enumerate(rows):
        key = plot, feature, day[:4], who, ident
        if key not in last or (day, turn) > last[key][0]:
            last[key] = (day, turn), answer
    held = {}
    for (plot, feature, year, who, _), ((day, _), answer) in last.items():
        held.setdefault((plot, feature, year), {}).setdefault(who, []).append((day, answer))
    told = {}
    for cell, people in held.items():
        there = absent = 0
        for said in people.values():
            seeing = [one for one in said if one[1] != "cannot see"]
            latest = {answer for day, answer in seeing if day == max(d for d, _ in seeing)}
            there += "there" in latest
            absent += "not there" in latest
        told[cell] = (
            "disputed" if there and absent
            else "there" if there else "not there" if absent else "cannot see"
        )  # fmt: skip
    return told


@settings(max_examples=30, deadline=None)
@given(st.lists(SAYING, min_size=1, max_size=12))
def test_a_plain_second_route(rows):
    years = by_year(Records(statements=statements(*rows)))
    found = {(row.plot, row.feature, str(row.year)): row.answer for row in years.itertuples()}
    assert found == plain(rows)


@settings(max_examples=12, deadline=None)
@given(st.lists(SAYING, min_size=1, max_size=6), st.randoms(use_true_random=False))
def test_neither_order_nor_repetition_counts(rows, random):
    """Records laid together in any order, in any parts, also twice: the same."""
    table = statements(*rows)
    parts = [Records(statements=table.iloc[[at]]) for at in range(len(table))]
    whole = Records()
    for part in parts:
        whole = merge_records(whole, part)
    mixed = parts + parts[:2]
    random.shuffle(mixed)
    other = Records()
    for part in mixed:
        other = merge_records(other, part)
    pd.testing.assert_frame_equal(whole.statements, other.statements)
    pd.testing.assert_frame_equal(by_year(whole), by_year(other))
    pd.testing.assert_frame_equal(votes(whole.statements), votes(other.statements))


# The file.


@pytest.fixture
def three_returns(surveyed):
    street = surveyed
    street.hand_in(
        "a", [("1", "pond", "there", 2), ("2", "pond", "there"), ("3", "shrub", "there")]
    )
    street.hand_in("b", [("1", "pond", "there", 3), ("2", "pond", "not there")], who="Bob")
    street.hand_in("c", [("1", "pond", "not there")], day="2027-05-02", consent=[
        {"plot": "1", "consent": "yes", "when": "2027-05-02T10:00:00+01:00"}])  # fmt: skip
    return street


def content(path):
    """Everything that stands in a file but its journal, which tells in which order it came."""
    with sqlite3.connect(path) as there:
        return [
            line
            for line in there.iterdump()
            if "street_journal" not in line and "street_store" not in line
        ]


def merged_into(street, files, target, knowledge, *, source=None):
    found = merge_returns(source or street.path, files, knowledge=knowledge, today=TODAY)
    return write_merged(found, target)


def test_order_and_repetition_of_files(three_returns, survey_knowledge, tmp_path):
    """Several orders at once, one after the other, and a file twice give one content."""
    files = three_returns.files
    wanted = None
    for at, order in enumerate(list(permutations(files))[::2]):
        target = merged_into(three_returns, order, tmp_path / f"o{at}.gpkg", survey_knowledge)
        wanted = wanted or content(target)
        assert content(target) == wanted
    one_by_one = tmp_path / "one.gpkg"
    source = None
    for file in (files[2], files[0], files[1], files[0]):
        merged_into(three_returns, [file], one_by_one, survey_knowledge, source=source)
        source = one_by_one
    assert content(one_by_one) == wanted


def test_merging_again_leaves_the_bytes_alone(three_returns, survey_knowledge):
    path = three_returns.path
    merged_into(three_returns, three_returns.files, path, survey_knowledge)
    before = path.read_bytes()
    merged_into(three_returns, three_returns.files[:2], path, survey_knowledge)
    assert path.read_bytes() == before


def test_what_is_read_of_the_merged_file(three_returns, survey_knowledge, tmp_path):
    path = merged_into(three_returns, three_returns.files, tmp_path / "o.gpkg", survey_knowledge)
    hood = read_neighbourhood(path, knowledge=survey_knowledge)
    answer = hood.answers.answer
    assert answer("1", "pond") == "not there"
    assert answer("2", "pond") == "not known"
    assert answer("3", "shrub") == "there"
    assert answer("4", "pond") == "not known"
    assert hood.plots.loc["1", "consent"] == "yes"
    assert hood.plots.loc["2", "consent"] == ""
    assert street_id(hood) == three_returns.street
    assert hood.faults == ()
    records = read_records(path)
    assert len(records.statements) == 6
    assert set(records.statements["surveyor"]) == {"Ann", "Bob"}


def test_gdal_reads_every_layer(three_returns, survey_knowledge, tmp_path):
    """GDAL opens the file, finds the map's layers as they were, and the survey's beside them."""
    path = merged_into(three_returns, three_returns.files, tmp_path / "o.gpkg", survey_knowledge)
    layers = {str(name) for name, _ in pyogrio.list_layers(path)}
    assert {"plots", "roads", "barriers", "buildings", "statements", "survey", "drawn"} <= layers
    table = pyogrio.read_dataframe(path, layer="statements")
    assert len(table) == 6
    assert list(table.columns) == list(STATEMENTS)
    for name in ("roads", "barriers", "buildings"):
        old = pyogrio.read_dataframe(three_returns.path, layer=name)
        new = pyogrio.read_dataframe(path, layer=name)
        assert old.equals(new)
    with sqlite3.connect(path) as there:
        assert there.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert there.execute("PRAGMA foreign_key_check").fetchall() == []
        assert there.execute("PRAGMA application_id").fetchone() == (0x47504B47,)


def test_the_survey_overrules_the_map(surveyed, survey_knowledge, tmp_path):
    """The map has a pond on plot 1 and one on plot 2; one is gone, people differ on the other."""
    ponds = gpd.GeoDataFrame(
        {"feature": ["pond", "pond", "pond"]},
        geometry=[shapely.Point(450_005 + 20 * at, 210_005).buffer(2) for at in range(3)],
        crs="EPSG:27700",
    )
    pyogrio.write_dataframe(ponds, surveyed.path, layer="features", driver="GPKG", append=True)
    surveyed.hand_in("a", [("1", "pond", "not there"), ("2", "pond", "there")])
    surveyed.hand_in("b", [("2", "pond", "not there")], who="Bob")
    path = merged_into(surveyed, surveyed.files, tmp_path / "o.gpkg", survey_knowledge)
    hood = read_neighbourhood(path, knowledge=survey_knowledge)
    answers = [hood.answers.answer(plot, "pond") for plot in "1234"]
    assert answers == ["not there", "not known", "there", "not known"]
    assert list(hood.features["plot"]) == ["3"]


def test_gdal_reads_drawn_shapes(surveyed, survey_knowledge, tmp_path):
    """A drawn pond comes out of GDAL where it was drawn, in the map's system."""
    drawn = shapely.box(450_002, 210_002, 450_004, 210_005)
    world = gpd.GeoSeries([drawn], crs="EPSG:27700").to_crs("EPSG:4326")[0]
    shape = {
        "plot": "1",
        "feature": "pond",
        "when": "2026-05-02T10:00:00Z",
        "geometry": json.loads(shapely.to_geojson(world)),
    }
    surveyed.hand_in("a", [], drawn=[shape])
    path = merged_into(surveyed, surveyed.files, tmp_path / "o.gpkg", survey_knowledge)
    layer = gpd.read_file(path, layer="drawn")
    assert layer.crs == "EPSG:27700"
    assert layer["feature"].tolist() == ["pond"]
    assert shapely.hausdorff_distance(layer.geometry[0], drawn) < 0.01
    again = read_records(path).drawn
    assert shapely.equals_exact(again.geometry[0], layer.geometry[0])
    hood = read_neighbourhood(path, knowledge=survey_knowledge)
    assert hood.answers.table().loc["1", "pond"] == pytest.approx(6, abs=0.02)
    # It is among the mapped features, so that it has its place on the ground as well.
    assert hood.features[["plot", "feature"]].to_numpy().tolist() == [["1", "pond"]]
    onto = gpd.GeoSeries([drawn], crs="EPSG:27700").to_crs(hood.features.crs)[0]
    assert shapely.hausdorff_distance(hood.features.geometry[0], onto) < 0.02
    # The year after it is gone: kept in the file, but no more on the ground.
    surveyed.hand_in("b", [("1", "pond", "not there")], day="2027-05-02")
    later = merged_into(surveyed, surveyed.files, tmp_path / "later.gpkg", survey_knowledge)
    assert len(read_neighbourhood(later, knowledge=survey_knowledge).features) == 0
    assert len(read_records(later).drawn) == 1


def test_who_differs_is_named():
    rows = statements(
        ("1", "pond", "there", 2, "Ann", "2026-05-02", "a"),
        ("1", "pond", "there", 2, "Cy", "2026-05-02", "c"),
        ("1", "pond", "not there", None, "", "2026-05-03", "b"),
        ("2", "pond", "there", None, "Ann", "2026-05-02", "a"),
    )
    found = disputes(by_year(Records(statements=rows)), votes(rows))
    assert found.to_numpy().tolist() == [["1", "pond", 2026, "Ann, Cy", "no name"]]


def test_damaged_files_never_harm_the_street(surveyed, survey_knowledge):
    before = surveyed.path.read_bytes()
    surveyed.write("a.return.json", '{"statements": [')
    found = merge_returns(surveyed.path, surveyed.files, knowledge=survey_knowledge, today=TODAY)
    assert found.read == 0
    assert surveyed.path.read_bytes() == before
