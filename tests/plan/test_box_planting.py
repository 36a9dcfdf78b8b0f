"""What stands in a street box: at real spacing, harmless, in flower from March to October."""

import dataclasses
import math

import pytest

from patchnet.knowledge import load_knowledge
from patchnet.plan.box_planting import plant_box

SEASON = range(3, 11)
HUNGRY = {5: 1.0, 7: 0.5}


@pytest.fixture(scope="module")
def tables():
    return load_knowledge()


@pytest.fixture(scope="module")
def boxes(tables):
    """Every recipe in every box in sun, three along the road, each beside the one before."""
    found = {}
    thread = set(tables.plant_lists["thread"])
    for recipe in tables.recipes.values():
        for size in tables.planter_sizes.values():
            avoid = set()
            for turn in range(3):
                box = plant_box(
                    tables, recipe, soil_m2=size.plan_m2, depth_m=size.soil_depth_m,
                    turn=turn, avoid=avoid, hungry=HUNGRY,
                )  # fmt: skip
                found[recipe.key, size.key, turn] = box
                avoid = set(box.numbers) - thread
    return found


def test_fifteen_to_thirty_plants_a_square_metre(boxes, tables):
    """15-20 plants to a m2 of soil besides bulbs, small wild plants up to 30 (the table's
    evidence): 9-10 in 0.6 m2 and 16-18 in 1.2. One primrose in 160 l never again."""
    for key, box in boxes.items():
        density = box.plants(tables) / box.soil_m2
        assert 15 - 1e-9 <= density <= 30, (key, density)
        assert len(box.numbers) >= 4, key


def test_crowns_cover_the_soil_and_no_more_than_hangs_over_the_rim(boxes, tables):
    """Kept crowns cover 1.6-2.1 times the soil in tested boxes; nothing here is thinner than
    1.3 or fuller than 2.5 times."""
    for key, box in boxes.items():
        crowns = sum(
            number * math.pi / 4 * tables.plants[plant].width_m ** 2
            for plant, number in box.numbers.items()
            if tables.plants[plant].layer != "bulb"
        )
        assert 1.3 <= crowns / box.soil_m2 <= 2.5, key


def test_something_flowers_from_march_to_october(boxes):
    for key, box in boxes.items():
        assert not set(box.bare) & set(SEASON), (key, box.bare)
        months = {one.month for one in box.planting.calendar if one.plants}
        assert set(SEASON) <= months


def test_no_plant_harms_who_passes(boxes, tables):
    for box in boxes.values():
        for key in box.numbers:
            plant = tables.plants[key]
            toxic = tables.plant_lists["toxic"].get(key)
            assert toxic is None or toxic.strength == "low" or not (
                {"children", "dog"} & set(toxic.what)
            ), key  # fmt: skip
            assert key not in tables.plant_lists["sharp"] or (
                tables.plant_lists["sharp"][key].strength == "low"
            )
            assert plant.height.value <= 0.9
            assert plant.container
            assert plant.layer != "tree"
            assert "escape" not in plant.hazard


def test_boxes_side_by_side_share_at_most_half_of_their_kinds(boxes, tables):
    for recipe in tables.recipes:
        for size in tables.planter_sizes:
            for turn in (1, 2):
                one, other = boxes[recipe, size, turn - 1], boxes[recipe, size, turn]
                shared = set(one.numbers) & set(other.numbers)
                assert len(shared) <= len(other.numbers) / 2, (recipe, size, turn, shared)


def test_mixes_alternate_along_the_road(boxes, tables):
    for recipe in ("flowers", "shrubs"):
        mixes = [boxes[recipe, "box", turn].mix for turn in range(3)]
        lit = [key for key in tables.recipes[recipe].mixes
               if tables.mixes[key].light != "shade"]  # fmt: skip
        assert mixes == lit[:3]


def test_areas_are_the_soil_and_lie_in_the_ranges_places_were_sought_with(boxes, tables):
    """What is planted is what is counted: the parts make up the soil, the shrubs are their own
    crowns (pi/4 of the square of their kept width), and no part leaves the recipe's range."""
    for (recipe, size, turn), box in boxes.items():
        assert sum(box.amounts.values()) == pytest.approx(box.soil_m2)
        crowns = sum(
            number * math.pi / 4 * tables.plants[plant].width_m ** 2
            for plant, number in box.numbers.items()
            if tables.plants[plant].tier == "shrub"
        )
        if recipe == "shrubs":
            assert box.amounts["shrub"] == pytest.approx(crowns)
        elif recipe != "herbs":  # kitchen sage is a herb there
            assert crowns == 0
        for feature, share in tables.recipes[recipe].amounts.items():
            part = box.amounts[feature] / box.soil_m2
            assert share.low - 0.005 <= part <= share.high + 0.005, (recipe, size, turn, feature)


def test_a_shrub_of_six_tenths_in_six_tenths(tables):
    """One shrub kept to 0.6 m in 0.6 m2: 0.283 m2 of crown, 0.47 a m2, not 0.7."""
    box = plant_box(tables, tables.recipes["shrubs"], soil_m2=0.6, depth_m=0.5)
    shrubs = {key: n for key, n in box.numbers.items() if tables.plants[key].tier == "shrub"}
    assert shrubs == {"shrubby_cinquefoil": 1}
    assert box.amounts == {
        "planter": pytest.approx(0.6 - math.pi / 4 * 0.36),
        "shrub": pytest.approx(math.pi / 4 * 0.36),
    }


def test_in_shade_a_shade_mix(tables):
    for recipe in ("flowers", "shrubs"):
        for turn in (0, 1):
            box = plant_box(
                tables, tables.recipes[recipe], soil_m2=0.6, depth_m=0.5, turn=turn,
                light="shade",
            )  # fmt: skip
            assert box.mix == "shady_street_box"
            assert not set(box.bare) & set(SEASON)
            assert {tables.plants[key].light for key in box.numbers} <= {"shade", "part"}


def test_a_plant_to_avoid_comes_back_where_the_recipe_needs_it(tables):
    """In shade one small shrub fits a box: a second box beside it may have it too."""
    recipe = tables.recipes["shrubs"]
    first = plant_box(tables, recipe, soil_m2=0.6, depth_m=0.5, light="shade")
    second = plant_box(tables, recipe, soil_m2=0.6, depth_m=0.5, light="shade", avoid=first.numbers)
    low = recipe.amounts["shrub"].low * 0.6
    assert second.amounts["shrub"] >= low - 1e-9
    shared = set(first.numbers) & set(second.numbers)
    assert all(tables.plants[key].tier == "shrub" for key in shared)


def test_the_allowance_for_plants_is_never_less_than_they_cost(boxes, tables):
    for key, box in boxes.items():
        assert box.planting.cost[1] <= tables.setting("plants_cost_m2") * box.soil_m2, key


def test_a_recipe_of_ones_own_without_mixes_is_planted_too(tables):
    own = dataclasses.replace(tables.recipes["flowers"], key="own", mixes=())
    box = plant_box(tables, own, soil_m2=0.6, depth_m=0.5)
    assert box.plants(tables) >= 9
    assert sum(box.amounts.values()) == pytest.approx(0.6)
