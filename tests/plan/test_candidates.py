"""What room a plot has, what fits into it, and what is ruled out."""

import itertools
from dataclasses import replace

import geopandas as gpd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from patchnet.knowledge import load_knowledge
from patchnet.plan.candidates import candidates_for, fitted
from patchnet.plan.facts import PlotFacts
from patchnet.plan.space import space_of
from patchnet.read.build import build_neighbourhood

KNOW = load_knowledge()
HAS = {"lawn_short": 40.0, "paving": 10.0}


def hood(kind="garden_back", features="lawn_short 40; paving 10", **layers):
    plots = gpd.GeoDataFrame(
        {"id": ["1"], "kind": [kind], "features": [features], "seen": ["all"]},
        geometry=[shapely.box(400_000, 300_000, 400_010, 300_010)],
        crs="EPSG:27700",
    )
    return build_neighbourhood(plots, knowledge=KNOW, **layers)


HOOD = hood()


def space(facts=None, *, where=HOOD, has=None):
    amounts = HAS if has is None else has
    return space_of(where, "1", facts or PlotFacts(), KNOW, amounts=amounts)


def offered(facts=None, kind="garden_back", **options):
    facts = facts or PlotFacts()
    found, ruled = candidates_for(KNOW, facts, space(facts, **options), kind=kind)
    return {one.feature: one for one in found}, {out.feature: out for out in ruled}


def test_ground_is_what_features_leave_and_the_lawn():
    """100 m2: lawn 40, paving 10, so 50 bare.

    Of the paving a share of 0.3 may be taken up: ground 50 + 3 + 40 = 93, floor 93 + 7 paved.
    """
    room = space()
    assert (room.bare_m2, room.ground_m2, room.floor_m2) == (50, 93, 100)
    assert list(room.convertible.items()) == [("paving", 3), ("lawn_short", 40)]


def test_uses_that_must_stay_take_their_room():
    """Play lawn 20 of the 40; bins 1.5 of the paving, of which 3 may go.

    Ground 50 + 3 + 20, floor 73 + 10 - 1.5 - 3.
    """
    room = space(PlotFacts(keep=("play_lawn", "bins")))
    assert room.ground_m2 == 73
    assert room.floor_m2 == pytest.approx(78.5)
    assert room.convertible == {"paving": 3, "lawn_short": 20}


def test_a_use_larger_than_its_floor_comes_off_open_ground():
    """A car takes 12: 10 of paving and 2 of the 50 bare."""
    room = space(PlotFacts(keep=("parking",)))
    assert (room.bare_m2, room.ground_m2, room.floor_m2) == (48, 88, 88)


def test_more_free_ground_than_soil_means_taking_up_paving():
    """95 m2 said to be free: 90 of soil and 5 of the paving."""
    room = space(PlotFacts(free_m2=95))
    assert room.ground_m2 == 95
    assert room.convertible == {"lawn_short": 40, "paving": 5}


def test_walls_and_fences_are_measured_where_they_are_mapped():
    """A house on the north side, 10 m of wall; with the 1 m round the corners 11 at most.

    The buffer of 1 m meets the house's south wall from x = 0 to 10 and its two sides for 0.5 m.
    """
    house = gpd.GeoDataFrame(
        geometry=[shapely.box(400_000, 300_010.5, 400_010, 300_018)], crs="EPSG:27700"
    )
    fence = gpd.GeoDataFrame(
        {"kind": ["fence"]},
        geometry=[shapely.LineString([(400_000, 300_000), (400_010, 300_000)])],
        crs="EPSG:27700",
    )
    room = space(where=hood(buildings=house, barriers=fence))
    assert room.wall_m == pytest.approx(11, abs=0.01)
    assert room.fence_m == pytest.approx(10)
    assert room.guessed == ("how much paving may be taken up",)


def test_a_plot_without_any_free_ground():
    """Decking stays where it is, and so does everything where no ground is said to be free."""
    found, ruled = offered(has={"decking": 100.0})
    none, _ = offered(PlotFacts(free_m2=0), has={"paving": 100.0})
    assert "pond" not in {*found, *none}
    assert "long_grass" not in found
    assert "planter" in found
    assert ruled["pond"].kind == "room"


def test_small_children_rule_out_open_water_and_say_why():
    found, ruled = offered(PlotFacts(small_children=True))
    assert not {"pond", "container_pond"} & set(found)
    assert ruled["pond"].kind == ruled["container_pond"].kind == "safety"
    assert "bird_bath" in found


def test_a_pond_always_brings_the_question_about_children():
    found, _ = offered()
    assert found["pond"].asks[0] == found["container_pond"].asks[0] == "small_children"
    assert "pond_children" in found["pond"].cautions
    told, _ = offered(PlotFacts(small_children=False))
    assert "small_children" not in told["pond"].asks


def test_tenants_get_only_what_can_be_undone_or_asked():
    found, ruled = offered(PlotFacts(tenure="rent"))
    assert ruled["pond"].kind == ruled["hedge_native"].kind == "tenancy"
    assert "leaf_pile" in found
    assert "landlord" in found["bee_hotel"].asks


def test_pots_only():
    found, ruled = offered(PlotFacts(pots_only=True))
    places = {"standing", "wall", "fence", "sill", "habit"}
    assert {one.place for one in found.values()} <= places
    assert "ivy_mature" not in found
    assert ruled["long_grass"].kind == "pots"


def test_light():
    shade, _ = offered(PlotFacts(light="shade"))
    sun, _ = offered(PlotFacts(light="sun"))
    assert "bee_hotel" in sun
    assert "bee_hotel" not in shade
    assert "bulbs" in shade


@pytest.mark.parametrize(("pond", "offers"), [(0.3, False), (1.0, True)])
def test_what_goes_with_a_pond_wants_a_whole_one(pond, offers):
    """Where nobody looked a part of a pond is drawn in as the mean: that is none to climb out of.
    1 m2 is the least pond (features table)."""
    found, ruled = offered(has={**HAS, "pond": pond})
    assert ("pond_ramp" in found) == offers
    assert offers or "there is none" in ruled["pond_ramp"].why


def test_nettles_are_not_for_the_smallest_gardens():
    """Common practice: in a corner away from paths, where nobody brushes against them."""
    plots = gpd.GeoDataFrame(
        {"id": ["1"], "kind": ["garden_front"], "features": ["lawn_short 10"], "seen": ["all"]},
        geometry=[shapely.box(400_000, 300_000, 400_005, 300_003)],
        crs="EPSG:27700",
    )
    small = build_neighbourhood(plots, knowledge=KNOW)
    assert "nettle_patch" not in offered(where=small, has={"lawn_short": 10.0})[0]
    assert "nettle_patch" in offered()[0]


def test_street_planters_hold_no_water_and_no_boxes():
    found, _ = offered(kind="verge")
    assert not {"pond", "container_pond", "bee_hotel", "window_box"} & set(found)


def test_a_load_on_a_balcony_and_a_cat_near_birds_are_cautioned():
    found, _ = offered(PlotFacts(pets=("cat",), wall_m=4), kind="balcony")
    assert "weight" in found["container_pond"].cautions
    assert "cat_and_birds" in found["bird_feeder"].cautions
    without, _ = offered(PlotFacts(wall_m=4))
    assert "weight" not in without["container_pond"].cautions
    assert "cat_and_birds" not in without["bird_feeder"].cautions


def test_bulbs_never_take_more_than_the_plot():
    found, _ = offered(PlotFacts(wishes=(("bulbs", 500.0),)), has={"lawn_short": 99.0})
    assert found["bulbs"].amount <= 100


def test_things_too_slow_for_a_household_are_not_ranked():
    _, ruled = offered(has={"lawn_short": 40.0})
    assert ruled["tree_large"].kind in ("slow", "room")


def test_every_ruled_out_or_offered_and_none_both():
    found, ruled = offered()
    addable = {key for key, each in KNOW.features.items() if each.addable} - {"fence_gap"}
    assert set(found) | set(ruled) == addable
    assert not set(found) & set(ruled)
    assert all(out.why.endswith(".") for out in ruled.values())


def test_a_set_that_does_not_fit_shrinks_alike_towards_the_smallest_size():
    """Border 10 m2 (least 1) and long grass 15 (least 2) on 15 m2 of ground.

    25 wanted, 3 at least, 12 to share out over 22: border 1 + 9 x 12/22 = 5.909, grass
    2 + 13 x 12/22 = 9.091.
    """
    found, _ = offered()
    pair = [found["flower_border"], found["long_grass"]]
    assert [one.amount for one in pair] == [10, 15]
    room = replace(space(), ground_m2=15.0, bare_m2=0.0, convertible={"lawn_short": 15.0})
    chosen, change = fitted(pair, room, KNOW, PlotFacts())
    assert chosen[0].amount == pytest.approx(1 + 9 * 12 / 22)
    assert chosen[1].amount == pytest.approx(2 + 13 * 12 / 22)
    assert change["lawn_short"] == pytest.approx(-15)


def test_a_set_that_cannot_fit_even_at_its_smallest():
    found, _ = offered()
    room = replace(space(), ground_m2=2.9, floor_m2=50.0)
    assert fitted([found["flower_border"], found["long_grass"]], room, KNOW, PlotFacts()) is None


def test_a_set_has_one_open_water_at_most():
    """A pond or a tub, and a bog or a drinker with either (common practice)."""
    found, _ = offered()
    room = space()
    assert fitted([found["pond"], found["container_pond"]], room, KNOW, PlotFacts()) is None
    for key in ("insect_drinker", "bird_bath"):
        assert fitted([found["pond"], found[key]], room, KNOW, PlotFacts()) is not None


@pytest.mark.parametrize(("area", "fits"), [(79.0, False), (80.0, True)])
def test_two_trees_want_a_plot_for_each(area, fits):
    """40 m2 for a small tree and 40 for a fruit tree (feature_siting_figures/open_ground)."""
    found, _ = offered()
    pair = [found["tree_small"], found["fruit_tree"]]
    room = replace(space(), area_m2=area)
    assert (fitted(pair, room, KNOW, PlotFacts()) is not None) == fits
    assert fitted(pair[:1], room, KNOW, PlotFacts()) is not None


@pytest.mark.parametrize(("area", "fits"), [(79.0, False), (80.0, True)])
def test_a_tree_next_year_finds_the_one_of_this_season_there(area, fits):
    """As two trees at once; what is no tree has nothing against it."""
    found, _ = offered()
    room = replace(space(), area_m2=area).after([found["tree_small"]], {"tree_small": 1.0})
    assert (fitted([found["fruit_tree"]], room, KNOW, PlotFacts()) is not None) == fits
    assert fitted([found["shrub"]], room, KNOW, PlotFacts()) is not None


def test_a_tub_next_year_is_not_put_beside_the_pond_of_this_season():
    found, _ = offered()
    room = space().after([found["pond"]], {"pond": found["pond"].amount})
    assert fitted([found["container_pond"]], room, KNOW, PlotFacts()) is None
    assert fitted([found["bird_bath"]], room, KNOW, PlotFacts()) is not None


def test_hours_and_money_are_limits():
    """Hedge: 1 hour, 100; border: 1.5 hours, 100."""
    found, _ = offered()
    pair = [found["hedge_native"], found["flower_border"]]
    assert fitted(pair, space(), KNOW, PlotFacts(hours_month=2.5, budget=200)) is not None
    assert fitted(pair, space(), KNOW, PlotFacts(hours_month=2.4)) is None
    assert fitted(pair, space(), KNOW, PlotFacts(budget=199)) is None


FOUND, _RULED = offered()


@given(
    st.sets(st.sampled_from(sorted(FOUND)), min_size=1, max_size=3),
    st.floats(0, 90),
    st.floats(0, 20),
)
def test_whatever_fits_stays_inside_its_room(keys, ground, hard):
    room = replace(
        space(),
        ground_m2=ground,
        bare_m2=min(ground, 50.0),
        convertible={"lawn_short": max(ground - 50.0, 0.0)},
        floor_m2=ground + hard,
    )
    result = fitted([FOUND[key] for key in sorted(keys)], room, KNOW, PlotFacts())
    if result is None:
        return
    chosen, change = result
    beds = sum(one.ground_m2 for one in chosen if one.place == "ground")
    pots = sum(one.ground_m2 for one in chosen if one.place == "standing")
    assert beds <= ground + 1e-6
    assert beds + pots <= ground + hard + 1e-6
    assert change.get("lawn_short", 0) >= -max(ground - 50.0, 0.0) - 1e-6
    for one in chosen:
        assert one.amount >= KNOW.features[one.feature].smallest.value - 1e-6


def test_space_after_a_set_is_the_space_less_the_set():
    found, _ = offered()
    for pair in itertools.combinations(["flower_border", "long_grass", "planter", "bee_hotel"], 2):
        chosen, change = fitted([found[key] for key in pair], space(), KNOW, PlotFacts())
        left = space().after(chosen, change)
        beds = sum(one.ground_m2 for one in chosen if one.place == "ground")
        assert left.ground_m2 == pytest.approx(93 - beds)
        assert left.has[pair[0]] == pytest.approx(chosen[0].amount)


def test_a_balcony_has_no_soil_whether_said_or_not():
    """A trained tree at a wall roots in the ground: it may be had only where somebody says that
    there is some (common practice)."""
    balcony = hood("balcony", "")
    facts = {said: PlotFacts(pots_only=said, wall_m=4.0) for said in (None, True, False)}
    found = {
        said: {
            key
            for key in offered(each, "balcony", where=balcony, has={})[0]
            if KNOW.features[key].rooted
        }
        for said, each in facts.items()
    }
    assert found[None] == found[True] == set()
    assert "trained_tree" in found[False]
