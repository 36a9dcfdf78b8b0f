"""What people put right by hand in an earlier base, and its survey, in a base made anew."""

import json
from datetime import date

import geopandas as gpd
import pytest

from patchnet.base import keep_survey, write_base
from patchnet.read import read_neighbourhood
from patchnet.survey.merge import merge_returns, write_merged
from patchnet.survey.one_return import street_id
from patchnet.survey.survey_layers import read_records

LAYERS = ("plots", "buildings", "roads")


@pytest.fixture(scope="module")
def corrected(street, row, tmp_path_factory):
    """The row with a kind and a label mended, a planter and a fence drawn, a gap looked at."""
    path = tmp_path_factory.mktemp("corrected") / "corrected.gpkg"
    write_base(row, path)
    tables = {name: gpd.read_file(path, layer=name) for name in LAYERS}
    plots = tables["plots"]
    plots.loc[plots["id"] == "ER-21", "kind"] = "allotment"
    plots.loc[plots["id"] == "ER-2B", "label"] = "The Old Dairy"
    planter = {"id": "pot by the bench", "kind": "street planter", "street": "Elm Road"}
    planter = gpd.GeoDataFrame([planter], geometry=[street.box(70, 4, 72, 5)], crs=plots.crs)
    tables["plots"] = gpd.pd.concat([plots, planter], ignore_index=True)
    tables["barriers"] = gpd.GeoDataFrame(
        {"kind": ["fence", "wall", "hedge"], "gap": ["yes", "no", "not_known"],
         "height_m": [1.8, None, None], "osm": ["", "way/5", "way/6"]},
        geometry=[street.line((5, 18), (5, 37)), street.line((10, 18), (10, 37)),
                  street.line((15, 18), (15, 37))],
        crs=plots.crs,
    )  # fmt: skip
    tables["features"] = gpd.GeoDataFrame(
        {"plot": ["ER-2B", "gone"], "feature": ["pond", "pond"], "osm": "", "basis": "seen"},
        geometry=[street.box(6, -34, 8, -32), street.box(90, 90, 92, 92)], crs=plots.crs,
    )  # fmt: skip
    made = tmp_path_factory.mktemp("mended") / "earlier.gpkg"
    for name, table in tables.items():
        table.to_file(made, layer=name, driver="GPKG")
    return made


@pytest.fixture(scope="module")
def again(street, corrected):
    return street.base(
        parcels=street.parcels(), buildings=street.buildings(), roads=street.roads(),
        earlier=corrected,
    )  # fmt: skip


def test_what_was_put_right_by_hand_stays(again, row):
    plots = again.plots.set_index("id")
    assert plots.loc["ER-21", "kind"] == "allotment"
    assert plots.loc["ER-2B", "label"] == "The Old Dairy"
    assert plots.loc["pot by the bench", "kind"] == "planter"
    assert plots.loc["pot by the bench", "basis"] == "drawn by hand in an earlier base"
    assert len(plots) == len(row.plots) + 1
    assert again.numbered.gone == ()
    others = row.plots.set_index("id").drop(index=["ER-21", "ER-2B"])
    assert (plots.loc[others.index, "kind"] == others["kind"]).all()
    assert (plots.loc[others.index, "label"] == others["label"]).all()


def test_fences_that_were_drawn_or_looked_at_stay(again):
    """One was drawn by hand, of one the gap is told; the third only OpenStreetMap had."""
    kept = again.barriers.sort_values("kind")
    assert kept[["kind", "gap", "osm"]].values.tolist() == [
        ["fence", "yes", ""],
        ["wall", "no", "way/5"],
    ]
    assert again.features[["plot", "feature"]].values.tolist() == [["ER-2B", "pond"]]


def test_all_of_it_is_said(again):
    said = [str(fault) for fault in again.faults]
    for words in ("Its kind stays allotment; new data say", "It was drawn by hand, and stays",
                  "Of its barriers 2 were", "Of its features 1 were"):  # fmt: skip
        assert sum(words in one for one in said) == 1, words


def test_another_outline_is_said(street, row, tmp_path):
    """n was once drawn 10 x 40 m, from the road to y = 47: 300 of 400 m2 are shared, so it keeps
    its number, but not its outline."""
    path = tmp_path / "drawn.gpkg"
    write_base(row, path)
    plots = gpd.read_file(path, layer="plots")
    plots.loc[plots["id"] == "ER-21", "geometry"] = street.box(172, 7, 182, 47)
    plots.to_file(path, layer="plots", driver="GPKG")
    base = street.base(
        parcels=street.parcels(), buildings=street.buildings(), roads=street.roads(), earlier=path
    )
    assert "ER-21" in set(base.plots["id"])
    (fault,) = [fault for fault in base.faults if "outline" in fault.what]
    assert fault.ident == "ER-21"


def test_the_survey_goes_with_it_and_old_returns_are_taken(street, row, again, tmp_path, knowledge):
    """A page made from the earlier base is handed in after the base was made anew."""
    old, new = tmp_path / "old.gpkg", tmp_path / "new.gpkg"
    write_base(row, old)
    write_base(again, new)
    id_of = street_id(read_neighbourhood(old, knowledge=knowledge))
    assert street_id(read_neighbourhood(new, knowledge=knowledge)) != id_of

    def handed(name, feature):
        said = {"plot": "ER-2B", "feature": feature, "answer": "there", "amount": None,
                "sure": "sure", "when": "2026-05-02T10:00:00+01:00"}  # fmt: skip
        content = {"patchnet_return": 1, "id": name, "street": {"id": id_of, "name": ""},
                   "surveyor": "Ann", "seen_from": "street", "began": said["when"],
                   "saved": said["when"], "statements": [said],
                   "consent": [{"plot": "ER-2B", "consent": "no", "when": said["when"]}],
        }  # fmt: skip
        path = tmp_path / f"{name}.return.json"
        path.write_text(json.dumps(content), encoding="utf-8")
        return path

    day = {"knowledge": knowledge, "today": date(2026, 6, 1)}
    write_merged(merge_returns(old, [handed("one", "pond")], **day), old)
    assert keep_survey(old, new, knowledge=knowledge) == 1
    write_merged(merge_returns(new, [handed("two", "shrub")], **day), new)
    found = read_records(new)
    assert sorted(found.statements["feature"]) == ["pond", "shrub"]
    hood = read_neighbourhood(new, knowledge=knowledge)
    assert hood.plots.loc["ER-2B", "consent"] == "no"
    features = list(hood.answers.features)
    at = hood.plots.index.get_loc("ER-2B")
    assert hood.answers.amount[at, features.index("shrub")] > 0


def test_another_street_keeps_nothing(street, row, tmp_path, knowledge):
    """Two maps that share no number: the survey of the one is not the other's."""
    old, new = tmp_path / "old.gpkg", tmp_path / "new.gpkg"
    write_base(row, old)
    table = gpd.read_file(old, layer="plots")
    table["id"] = [f"Z{at}" for at in range(len(table))]
    table.to_file(new, layer="plots", driver="GPKG")
    before = new.read_bytes()
    assert keep_survey(old, new, knowledge=knowledge) == 0
    assert new.read_bytes() == before
