"""How far the figure that decides may move: on paper, and on a street with one break."""

import pytest
import shapely
from scheme.test_scheme import EAST, NORTH, drawn

from patchnet.assess import assess
from patchnet.knowledge import load_knowledge
from patchnet.read import build_neighbourhood
from patchnet.scheme.case_limit import first_failing
from patchnet.scheme.plan_scheme import plan_scheme
from patchnet.scheme.planter_scheme import SchemeAsk
from patchnet.street import find_street, planter_sites


def test_the_first_value_that_fails_is_found_to_half_a_metre():
    """Stands below 53: on the way from 50 to 200 it fails at 53; towards 15 it never does."""
    looked = []

    def stands(metres):
        looked.append(metres)
        return metres < 53

    found = first_failing(stands, 50.0, 200.0, steps=8, close=0.5)
    assert 52.5 <= found < 53
    assert len(looked) <= 1 + 8  # one step of the way (50 to 59.5), and halved to half a metre
    assert first_failing(stands, 50.0, 15.0, steps=8, close=0.5) is None
    assert first_failing(stands, 50.0, 50.0, steps=8, close=0.5) is None


def test_a_planter_in_a_break_is_for_nothing_where_it_is_crossed_anyhow():
    """Two gardens of moths 70 m apart, a planter between them; moths cross 50 m (15 to 200).

    Above 70 m they cross without it: no case. Below the longer of the two ways to the planter
    they do not cross even so.
    """
    knowledge = load_knowledge()
    gardens = [shapely.box(x, 8, x + 10, 28) for x in (-45.0, 35.0)]
    line = shapely.LineString([(-100, 0), (100, 0)])
    foot = shapely.box(-100, 3, 100, 8)
    hood = build_neighbourhood(
        drawn(gardens, id=["west", "east"], kind=["garden_front"] * 2,
              features=["long_grass 100; flower_border 60"] * 2, seen=["all"] * 2),
        roads=drawn([line], name=["Long Road"], width_m=[6.0], speed_mph=["20 mph"]),
        footways=drawn([foot], name=[""], width_m=[5.0]),
        street_objects=drawn([shapely.Point(0, 400)], kind=["bench"], width_m=[1.0]),
        knowledge=knowledge,
    )  # fmt: skip
    street = find_street(hood, "Long Road", knowledge=knowledge)
    sites = [
        site for site in planter_sites(hood, street, knowledge=knowledge)
        if site.verdict != "no" and abs(site.centre.x - EAST) < 3
    ][:1]  # fmt: skip
    assert sites
    answer = assess(hood, knowledge=knowledge, groups=["moth"], straight=True)
    made = plan_scheme(answer, street, sites, SchemeAsk(planters=1, groups=("moth",)))
    limit = made.limit
    assert limit.figure == knowledge.groups["moth"].hop.key
    box = shapely.affinity.translate(sites[0].polygon, -EAST, -NORTH)
    longer = max(box.distance(garden) for garden in gardens)
    assert limit.above == pytest.approx(70, abs=0.6)
    assert limit.below == pytest.approx(longer, abs=0.6)
