"""Files of neighbouring groups in one: nobody's word lost, nobody taken for another."""

from datetime import date

import pytest
from worlds.surveyed_street import SurveyStreet

from patchnet.core.errors import WrongUse
from patchnet.core.street_store import read_journal
from patchnet.knowledge import load_knowledge
from patchnet.pages.public_table import released_table
from patchnet.read import read_neighbourhood
from patchnet.survey.forget import record_consent
from patchnet.survey.join_streets import join_streets
from patchnet.survey.merge import merge_returns, write_merged
from patchnet.survey.survey_layers import read_records
from patchnet.survey.verify import verify_street

KNOW = load_knowledge()
TODAY = date(2026, 6, 1)


def surveyed_by(street, name, said, who="Ann"):
    street.hand_in(name, said, who=who)
    merged = merge_returns(street.path, street.files, knowledge=KNOW, today=TODAY)
    assert merged.faults == ()
    write_merged(merged, street.path)


@pytest.fixture
def two(tmp_path, street_in):
    """Two groups whose maps share a street; the second one's plots 9 to 16 lie 500 m away."""
    (tmp_path / "west").mkdir()
    (tmp_path / "east").mkdir()
    west, east = street_in(tmp_path / "west"), street_in(tmp_path / "east")
    renamed = [one.path.rename(one.folder / f"{one.folder.name}.gpkg") for one in (west, east)]
    move_away(renamed[1])
    moved = read_neighbourhood(renamed[1], knowledge=KNOW)
    from patchnet.survey.one_return import street_id  # noqa: PLC0415

    return (
        SurveyStreet(west.folder, renamed[0], west.street, west.ids),
        SurveyStreet(east.folder, renamed[1], street_id(moved), east.ids),
    )


def move_away(path):
    import geopandas as gpd  # noqa: PLC0415

    plots = gpd.read_file(path, layer="plots")
    far = plots["id"].astype(int) > 8
    plots.loc[far, "geometry"] = plots.loc[far, "geometry"].translate(500, 0)
    plots.to_file(path, layer="plots", driver="GPKG")


def test_a_plot_of_both_is_one_and_one_id_of_two_places_is_two(two, tmp_path):
    """West has 16 plots; of east's 16 eight are the same and eight lie elsewhere: 24 in all."""
    west, east = two
    surveyed_by(west, "w", [("1", "pond", "there", 2), ("9", "shrub", "there", 4)])
    surveyed_by(east, "e", [("1", "pond", "not there"), ("9", "shrub", "not there")])
    both = tmp_path / "both.gpkg"
    merged = join_streets([west.path, east.path], both, knowledge=KNOW)
    assert len(merged.neighbourhood.plots) == 24
    assert "east 9" in merged.neighbourhood.plots.index
    statements = read_records(both).statements
    said = {(one.plot, one.feature, one.answer, one.surveyor) for one in statements.itertuples()}
    assert said == {
        ("1", "pond", "there", "Ann (west)"),
        ("1", "pond", "not there", "Ann (east)"),
        ("9", "shrub", "there", "Ann (west)"),
        ("east 9", "shrub", "not there", "Ann (east)"),
    }
    assert merged.disputes["plot"].tolist() == ["1"], "two people of one name are two"
    assert verify_street(both) == ()
    assert read_journal(both)["what"].tolist() == ["join"]
    again = tmp_path / "again.gpkg"
    join_streets([west.path, east.path], again, knowledge=KNOW)
    assert again.read_bytes() == both.read_bytes()


def test_names_that_are_one_persons_alone_stay_and_consent_comes_along(two, tmp_path):
    west, east = two
    surveyed_by(west, "w", [("1", "pond", "there", 2)])
    surveyed_by(east, "e", [("2", "pond", "there", 3)], who="Bo")
    record_consent(west.path, "3", "yes", west.path, knowledge=KNOW)
    record_consent(east.path, "3", "no", east.path, knowledge=KNOW)
    merged = join_streets([west.path, east.path], tmp_path / "both.gpkg", knowledge=KNOW)
    assert set(merged.records.statements["surveyor"]) == {"Ann", "Bo"}
    assert merged.consent == {"3": "no"}, "the last word of the household"


def test_what_is_for_the_public_is_never_made_from_a_joined_file(two, tmp_path):
    """Its ledger would begin anew, and two series of tables give a household away."""
    west, east = two
    both = tmp_path / "both.gpkg"
    join_streets([west.path, east.path], both, knowledge=KNOW)
    hood = read_neighbourhood(both, knowledge=KNOW)
    with pytest.raises(WrongUse, match="each street's own file"):
        released_table(both, hood, ["pond"], knowledge=KNOW, today=TODAY)
    with pytest.raises(WrongUse, match="at least two"):
        join_streets([west.path], tmp_path / "one.gpkg", knowledge=KNOW)
