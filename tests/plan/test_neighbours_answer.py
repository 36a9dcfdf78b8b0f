"""What the neighbours have decides what a plot should add: with all animals, on shipped tables."""

import dataclasses

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from patchnet.assess import assess
from patchnet.knowledge import load_knowledge
from patchnet.plan.additions import possible_additions
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plan_plot import Adviser
from patchnet.read import build_neighbourhood

KNOW = load_knowledge()
# So that a set is found soon: few sets are ranked, and the first of them judged exactly.
QUICK = {"plan_sets_max": 1.0, "plan_finalists": 5.0}
KNOW = dataclasses.replace(
    KNOW,
    settings={
        key: dataclasses.replace(one, value=QUICK.get(key, one.value))
        for key, one in KNOW.settings.items()
    },
)
GARDEN = "lawn_short 110; shrub 12; flower_border 10; paving 40; hedge_native 6"
HERE = "p4"
FACTS = PlotFacts(small_children=False, tenure="own")


def row(here, others):
    """Seven gardens of 10 x 20 m side by side; the one asked about is in the middle."""
    said = [others] * 7
    said[3] = here
    ids = [f"p{at + 1}" for at in range(7)]
    plots = gpd.GeoDataFrame(
        {"id": ids, "kind": ["garden_back"] * 7},
        geometry=[shapely.box(4e5 + 10 * at, 3e5, 4e5 + 10 * at + 10, 3e5 + 20) for at in range(7)],
        crs="EPSG:27700",
    )
    features = pd.DataFrame({"id": ids, "seen": "all", "features": said})
    hood = build_neighbourhood(plots, features=features, knowledge=KNOW)
    return assess(hood, knowledge=KNOW, straight=True)


def best_set(assessment):
    """Features of the best set."""
    plan = Adviser(assessment).plan(HERE, FACTS, month=10)
    return {one.candidate.feature for one in plan.best.additions}


def worth_of_each(assessment):
    """Worth of each single thing, the one worth most first."""
    singles = possible_additions(assessment, [HERE])[HERE].singles
    return {one.candidate.feature: one.sizes[0].worth for one in singles}


def test_where_neighbours_have_ponds_another_drops_out():
    """The first pond of a row brings frogs and newts; the seventh hardly one more."""
    without, with_ponds = row(GARDEN, GARDEN), row(GARDEN, f"{GARDEN}; pond 4")
    assert "pond" in best_set(without)
    assert "pond" not in best_set(with_ponds)
    worth, later = worth_of_each(without), worth_of_each(with_ponds)
    assert next(iter(worth)) == "pond"
    assert later.get("pond", 0.0) < 0.25 * worth["pond"]


@pytest.mark.parametrize("gone", ["tree_small 1; hedge_native 6", "tree_large 1; hedge_native 6"])
def test_where_trees_and_hedges_were_felled_cover_is_asked_back(gone):
    """Trees, hedges and shrubs go up in the list, and each is worth more than before."""
    cover = {"hedge_native", "shrub", "tree_small", "fruit_tree", "climber", "hedge_evergreen"}
    rest = "lawn_short 110; shrub 3; flower_border 10; paving 40"
    before = worth_of_each(row(rest, f"{rest}; shrub 12; {gone}"))
    after = worth_of_each(row(rest, rest))
    found = cover & set(before) & set(after)
    assert len(found) >= 3
    places = [
        sum(list(worth).index(key) for key in found) / len(found) for worth in (before, after)
    ]
    assert places[1] < places[0]
    for key in found:
        assert after[key] > 1.2 * before[key], key


def test_no_feeder_is_among_the_first_three():
    for others in (GARDEN, "paving 190", "lawn_short 190"):
        worth = worth_of_each(row("lawn_short 150; paving 40", others))
        assert "bird_feeder" not in list(worth)[:3]


def test_food_is_put_out_only_where_nothing_else_would_help():
    """For tits on a balcony: not a feeder by the box, but something that grows (common practice).

    What the feeder would win is told to whoever asks for it.
    """
    street = row("lawn_short 150; paving 40", "lawn_short 100; shrub 20; tree_small 1")
    facts = PlotFacts(
        small_children=True, pots_only=True, groups=("tits",), wishes=(("bird_feeder", None),)
    )
    plan = Adviser(street).plan(HERE, facts, month=10)
    chosen = {one.candidate.feature for one in plan.best.additions}
    assert chosen
    assert "bird_feeder" not in chosen
    (wish,) = plan.wished
    assert wish.alone > 0
    feeder = dataclasses.replace(KNOW.features["bird_feeder"], sort="flowers")
    unruled = dataclasses.replace(KNOW, features={**KNOW.features, "bird_feeder": feeder})
    other = Adviser(dataclasses.replace(street, knowledge=unruled)).plan(HERE, facts, month=10)
    assert "bird_feeder" in {one.candidate.feature for one in other.best.additions}
