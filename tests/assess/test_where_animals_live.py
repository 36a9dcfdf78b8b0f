"""Which animals live where: what the tables say, what is left out, what is only assumed."""

import geopandas as gpd
import pytest
import shapely

from patchnet.assess import assess
from patchnet.core.errors import WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.knowledge.regions import assumed_present, lives_in, match_region, usual_groups
from patchnet.read.build import build_neighbourhood

KNOW = load_knowledge()


def hood(region=None, **said):
    plots = gpd.GeoDataFrame(
        {"id": ["1", "2"], "kind": "garden", "features": "lawn 20; shrub 4", **said},
        geometry=[shapely.box(x, 300_000, x + 10, 300_020) for x in (400_000, 400_010)],
        crs="EPSG:27700",
    )
    return build_neighbourhood(plots, knowledge=KNOW, region=region)


def test_every_region_says_something_of_every_animal():
    pairs = {f"{region}/{group}" for region in KNOW.regions for group in KNOW.groups}
    assert set(KNOW.region_animals) == pairs


@pytest.mark.parametrize(
    ("group", "region", "lives"),
    [
        # Common knowledge of naturalists: no slow-worm or common toad native to Ireland, no
        # stag beetle in the north; hedgehog, frog and smooth newt live in Ireland.
        ("slow_worm", "ireland", "no"),
        ("toad", "northern_ireland", "no"),
        ("stag_beetle", "scotland", "no"),
        ("stag_beetle", "south_east_england", "yes"),
        ("hedgehog", "ireland", "yes"),
        ("newt", "ireland", "yes"),
        ("slow_worm", "wales", "yes"),
        ("slow_worm", "", "not_known"),
        ("hedgehog", "nowhere", "not_known"),
    ],
)
def test_who_lives_where(group, region, lives):
    assert lives_in(group, region, KNOW) == lives


def test_a_region_goes_by_many_names_and_a_wrong_one_offers_the_nearest():
    assert match_region("Cymru", KNOW) == "wales"
    assert match_region("South-East England", KNOW) == "south_east_england"
    with pytest.raises(WrongUse, match=r"Did you mean scotland\? .*Regions:"):
        match_region("scotlnd", KNOW)


def test_animals_that_do_not_live_there_are_left_out_unless_they_are_named():
    here = assess(hood("scotland"), knowledge=KNOW, straight=True)
    assert "stag_beetle" not in here.groups
    assert "hedgehog" in here.groups
    named = assess(hood("scotland"), knowledge=KNOW, groups=["stag_beetle"])
    assert list(named.groups) == ["stag_beetle"]


def test_those_that_need_asking_for_are_never_among_the_usual():
    assert {"swift", "toad", "slow_worm"}.isdisjoint(usual_groups(KNOW))
    assert {"tits", "robin", "summer_cavity_bee"} <= set(usual_groups(KNOW))


def test_without_a_region_those_that_are_not_everywhere_are_assumed():
    assert assumed_present(KNOW.groups, "", KNOW) == (
        "mason_bee", "frog", "newt", "stag_beetle", "toad", "slow_worm", "summer_cavity_bee",
    )  # fmt: skip
    assert assumed_present(KNOW.groups, "east_england", KNOW) == ("stag_beetle",)


def test_the_file_says_it_itself_or_its_country_does():
    assert hood(region="wales").region == "wales"
    assert hood().region == ""  # Great Britain has many
    assert hood(country="IE").region == "ireland"
    told = build_neighbourhood(hood().plots.reset_index().assign(region="Cymru"), knowledge=KNOW)
    assert told.region == "wales"


def test_a_region_in_the_file_that_no_table_knows_is_a_warning():
    plots = hood().plots.reset_index().assign(region="Narnia")
    found = build_neighbourhood(plots, knowledge=KNOW)
    assert found.region == ""
    assert any("There is no region 'Narnia'" in fault.what for fault in found.faults)


def test_an_animal_without_any_need_can_be_worked_out():
    """A swift wants a hole and nothing of a garden: two bricks, each 0.2 in use (uses.csv)."""
    answer = assess(
        hood(features=["swift brick 2; nothing else", "lawn 20; nothing else"]),
        knowledge=KNOW,
        groups=["swift"],
    )
    swift = answer.groups["swift"]
    assert swift.homes.tolist() == pytest.approx([0.4, 0])
    assert swift.scarcest.tolist() == ["anchor", "anchor"]
