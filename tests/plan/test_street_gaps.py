"""Gaps in fences as part of a street's plan: judged for all that walk, beside the things."""

import itertools

import geopandas as gpd
import pytest
import shapely
from worlds.garden_rows import TABLES
from worlds.small_streets import few_things, in_one_draw, most_of_all

from patchnet.assess import assess
from patchnet.assess.what_if import Trials
from patchnet.pages.terminal.together_text import together_text
from patchnet.plan.plan_together import plan_together
from patchnet.plan.street_gaps import possible_gaps
from patchnet.plan.street_rules import StreetRules
from patchnet.plan.street_search import StreetSearch
from patchnet.read import build_neighbourhood

RICH = "lawn 200; flower border 60; leaf pile 4; hedgehog house; bird bath; pond 4"
POOR = "lawn 200; flower border 20"
GROUPS = ("hedgehog", "newt")
ALL = ("a", "b", "c")


def gardens(first_fence="no", second_fence="no"):
    """Three gardens of 20 x 30 m side by side, a wall all round, a fence on each border."""
    plots = gpd.GeoDataFrame(
        {"id": list(ALL), "kind": "garden", "seen": "all", "features": [RICH, POOR, RICH]},
        geometry=[shapely.box(left, 0, left + 20, 30) for left in (0, 20, 40)],
        crs="EPSG:27700",
    )
    barriers = gpd.GeoDataFrame(
        {
            "kind": ["wall", "fence", "fence"],
            "gap": ["no", first_fence, second_fence],
            "height": [2, 1.8, 1.8],
        },
        geometry=[
            shapely.box(0, 0, 60, 30).exterior,
            shapely.LineString([(20, 0), (20, 30)]),
            shapely.LineString([(40, 0), (40, 30)]),
        ],
        crs="EPSG:27700",
    )
    place = build_neighbourhood(plots, barriers=barriers, knowledge=TABLES, name="row")
    return assess(place, knowledge=TABLES, groups=list(GROUPS))


@pytest.fixture(scope="module")
def shut():
    return gardens()


def linked(answer):
    return [one.measures.eca for one in answer.groups.values()]


@pytest.mark.parametrize("fences", [("yes", "no"), ("yes", "yes")])
def test_a_gap_that_is_opened_is_one_that_was_there(shut, fences):
    """The same street surveyed with gaps, which are assumed in the middle of their fences."""
    said = gardens(*fences)
    wanted = {number for number, one in enumerate(fences, 1) if one == "yes"}
    able = possible_gaps(shut, ALL, most=6)
    keys = [gap.key for gap in able if set(gap.barriers) <= wanted]
    assert len(keys) == len(wanted)
    opened = Trials(shut).opened(keys)
    assert opened.now == pytest.approx(linked(said), rel=0.01)
    more = {"b": {"leaf_pile": 2.0}}
    assert opened.committed(more).now == pytest.approx(Trials(said).committed(more).now, rel=0.01)
    assert Trials(shut).now == pytest.approx(linked(shut))


def test_only_fences_of_those_who_take_part(shut):
    assert {gap.plots for gap in possible_gaps(shut, ALL, most=6)} == {("a", "b"), ("b", "c")}
    assert {gap.plots for gap in possible_gaps(shut, ("a", "b"), most=6)} == {("a", "b")}
    assert possible_gaps(shut, ("a",), most=6) == ()


@pytest.mark.parametrize("most", [1, 2])
def test_every_plan_with_every_gap_tried_finds_none_better(shut, most):
    sets = few_things(shut, things=("pond", "leaf_pile"), size=1)
    keys = [gap.key for gap in possible_gaps(shut, ALL, most=most)]
    some = [one for size in range(most + 1) for one in itertools.combinations(keys, size)]
    best = max(most_of_all(shut, sets, gaps) for gaps in some)
    with in_one_draw(shut) as drawn:
        search = StreetSearch(
            drawn, sets, StreetRules(tuple(sets)), gaps_of=lambda _: keys, most_gaps=most
        )
        found = search.search()
    assert found.worth == pytest.approx([best], rel=1e-9)
    assert len(found.gaps) <= most
    assert most_of_all(shut, sets) < best


def test_a_plan_opens_gaps_and_counts_them(shut):
    plan = plan_together(shut, plots=ALL, jobs=2, draws=5)
    assert plan.gaps
    assert all(one.homes > 0 and one.share > 0 for one in plan.gaps)
    assert plan.curve[-1][1] == pytest.approx(plan.worth, rel=1e-6)
    assert plan.bound_of <= plan.bound
    text = " ".join(together_text(plan, TABLES).split())
    assert "Fence between a and b" in text or "fence between a and b" in text
