"""What fits by its size and suits no place that the map shows is ruled out, saying why."""

import geopandas as gpd
import pytest
import shapely

from patchnet.assess import assess
from patchnet.knowledge import load_knowledge
from patchnet.plan.candidates import candidates_for
from patchnet.plan.facts import PlotFacts
from patchnet.plan.no_place import seen_on, with_place
from patchnet.plan.plan_plot import plan_plot
from patchnet.plan.plot_sets import plan_sets
from patchnet.plan.space import space_of
from patchnet.read import build_neighbourhood

KNOW = load_knowledge()
LEFT, LOW, WIDE, DEEP = 400_000, 300_000, 10, 20
SIDES = {
    "west": [(LEFT, LOW), (LEFT, LOW + DEEP)],
    "east": [(LEFT + WIDE, LOW), (LEFT + WIDE, LOW + DEEP)],
    "north": [(LEFT, LOW + DEEP), (LEFT + WIDE, LOW + DEEP)],
}


def garden(*fences, wall=WIDE):
    """A garden north of its house, with fences on some sides: the house wall faces north."""
    plots = gpd.GeoDataFrame(
        {"id": ["1"], "kind": "garden_back", "seen": "all", "features": "lawn_short 150"},
        geometry=[shapely.box(LEFT, LOW, LEFT + WIDE, LOW + DEEP)],
        crs="EPSG:27700",
    )
    barriers = gpd.GeoDataFrame(
        {"kind": "fence", "gap": "yes", "height": 1.8},
        index=range(len(fences)),
        geometry=[shapely.LineString(SIDES[side]) for side in fences],
        crs="EPSG:27700",
    )
    house = gpd.GeoDataFrame(
        {"height": [8.0]},
        geometry=[shapely.box(LEFT, LOW - 8, LEFT + wall, LOW)],
        crs="EPSG:27700",
    )
    return build_neighbourhood(
        plots, barriers=barriers if fences else None, buildings=house, knowledge=KNOW, name="one"
    )


def ruled(place, **said):
    facts = PlotFacts()
    space = space_of(place, "1", facts, KNOW, amounts=seen_on(place, "1"))
    fitting = candidates_for(KNOW, facts, space, kind="garden_back")
    offered, out = with_place(fitting, place, "1", KNOW, **said)
    assert len(offered) + len(out) == len(fitting[0]) + len(fitting[1])
    return {one.feature: one.why for one in out if one not in fitting[1]}


def test_a_bee_hotel_wants_a_wall_that_faces_the_sun():
    """Walls that face north, east and west are none (common practice: south-east to south)."""
    assert "faces the way" in ruled(garden("west", "east"))["bee_hotel"]
    assert "bee_hotel" not in ruled(garden("west", "east", "north"))


@pytest.mark.parametrize(("wall", "metres"), [(10, 3.0), (2.9, 2.25)])
def test_a_climber_is_no_longer_than_the_longest_wall(wall, metres):
    """6 m2 take 3 m of wall; a wall of 2.9 m has room for three quarters of that (2.25 m)."""
    place = garden(wall=wall)
    space = space_of(place, "1", PlotFacts(), KNOW, amounts=seen_on(place, "1"))
    fitting = candidates_for(KNOW, PlotFacts(), space, kind="garden_back")
    offered, _ = with_place(fitting, place, "1", KNOW)
    [climber] = [one for one in offered if one.feature == "climber"]
    assert (climber.length_m, climber.amount) == (metres, 2 * metres)


def test_what_is_not_drawn_speaks_against_nothing():
    assert "bee_hotel" not in ruled(garden())


def test_nest_boxes_for_tits_may_hang_on_any_wall():
    assert "nest_box_small" not in ruled(garden("west", "east"))


@pytest.mark.parametrize("said", [True, False])
def test_a_word_about_the_light_counts_more_than_the_map(said):
    """Light is not what a wall faces: that the map knows better."""
    out = ruled(garden("west", "east"), light_said=said)
    assert "faces the way" in out["bee_hotel"]
    assert not said or all("sun" not in why for why in out.values())


def test_it_is_no_part_of_a_plan_nor_of_a_street_s():
    answer = assess(garden("west", "east"), knowledge=KNOW, groups=["mason_bee"], straight=True)
    plan = plan_plot(answer, "1", month=10)
    assert plan.best is None or "bee_hotel" not in {
        one.candidate.feature for one in plan.best.additions
    }
    assert "bee_hotel" in {one.feature for one in plan.ruled_out}
    assert "bee_hotel" not in {one.feature for one in plan_sets(answer, "1").candidates}


def test_the_steps_make_as_much_of_a_thing_as_the_plan_says():
    """Pots only beside a wall of 2.9 m: the climber of the plan is 4.5 m2, and so is its step."""
    answer = assess(garden(wall=2.9), knowledge=KNOW, groups=["moth"], straight=True)
    plan = plan_plot(answer, "1", facts={"pots_only": True}, month=10)
    best = {one.candidate.feature: one.candidate.amount for one in plan.best.additions}
    steps = {one.feature: one.amount for stage in plan.stages for one in stage.additions}
    assert best["climber"] == 4.5
    assert {key: steps[key] for key in best} == best
