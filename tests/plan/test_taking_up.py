"""Slabs and plastic grass make room: how much, before what, for whom, and what is said of it."""

import dataclasses

import geopandas as gpd
import pytest
import shapely

from patchnet.knowledge import load_knowledge
from patchnet.plan.candidates import candidates_for, fitted, taking_up_of
from patchnet.plan.facts import PlotFacts
from patchnet.plan.space import space_of
from patchnet.read.build import build_neighbourhood

KNOW = load_knowledge()


def space(has, facts=None, *, kind="garden_front"):
    """A plot of 10 x 10 m that is covered as said."""
    plots = gpd.GeoDataFrame(
        {"id": ["1"], "kind": [kind], "features": ["paving 1"], "seen": ["all"]},
        geometry=[shapely.box(400_000, 300_000, 400_010, 300_010)],
        crs="EPSG:27700",
    )
    hood = build_neighbourhood(plots, knowledge=KNOW)
    return space_of(hood, "1", facts or PlotFacts(), KNOW, amounts=has)


def offered(room, facts=None, *, kind="garden_front"):
    found, ruled = candidates_for(KNOW, facts or PlotFacts(), room, kind=kind)
    return {one.feature: one for one in found}, {out.feature: out for out in ruled}


def test_a_bare_front_can_be_planted():
    """100 m2 of paving: a share of 0.3 may go, 30 m2."""
    room = space({"paving": 100.0})
    assert (room.ground_m2, room.floor_m2) == (30, 100)
    found, _ = offered(room)
    assert found["flower_border"].ground_m2 <= 30


def test_a_way_to_the_door_stays():
    """Of 4 m2 of slabs 0.3 x 4 = 1.2 might go, but 3 m2 stay in any case: 1; of 3.5 m2 0.5."""
    assert space({"paving": 4.0, "decking": 96.0}).convertible == {"paving": pytest.approx(1)}
    assert space({"paving": 3.5, "decking": 96.5}).convertible == {"paving": pytest.approx(0.5)}


def test_plastic_grass_gives_way_first_then_slabs_then_lawn():
    """2 m2 plastic, 10 paving (3 may go), 88 lawn; 8 m2 of bed: 2, 3, and 3 of the lawn."""
    room = space({"lawn_short": 88.0, "paving": 10.0, "artificial_grass": 2.0})
    found, _ = offered(room)
    bed = found["flower_border"]
    chosen, change = fitted([bed], room, KNOW, PlotFacts())
    assert change["artificial_grass"] == pytest.approx(-2)
    assert change["paving"] == pytest.approx(-min(3, bed.ground_m2 - 2))
    assert -sum(part for part in change.values() if part < 0) == pytest.approx(bed.ground_m2)
    left = room.after(chosen, change)
    assert "artificial_grass" not in left.convertible


@pytest.mark.parametrize(
    ("bare", "slabs", "bed"),
    [
        (1.9, 0, 1.9),  # 0.1 m2 of a slab: the bed is that much smaller
        (1.8, 0.2, 2.0),  # one slab
        (1.0, 1.0, 2.0),
        (0.95, 1.05, 2.0),
    ],
)
def test_no_part_of_a_slab_is_lifted(bare, slabs, bed):
    """A bed of 2 m2 that may be 1 m2 at least, on bare ground and slabs: 0.2 m2 is a slab."""
    room = space({"paving": 100.0})
    room = dataclasses.replace(room, bare_m2=bare, ground_m2=20.0)
    found, _ = offered(room)
    wanted = dataclasses.replace(found["flower_border"], amount=2.0, ground_m2=2.0)
    assert KNOW.features["flower_border"].smallest.value == 1
    [one], change = fitted([wanted], room, KNOW, PlotFacts())
    assert one.amount == pytest.approx(bed)
    assert -change.get("paving", 0.0) == pytest.approx(slabs)


def test_what_can_be_no_smaller_has_its_part_of_a_slab():
    """1 m2 is the least of a bed: with 0.9 m2 bare, 0.1 of a slab goes all the same."""
    room = space({"paving": 100.0})
    room = dataclasses.replace(room, bare_m2=0.9, ground_m2=20.0)
    found, _ = offered(room)
    wanted = dataclasses.replace(found["flower_border"], amount=1.0, ground_m2=1.0)
    [one], change = fitted([wanted], room, KNOW, PlotFacts())
    assert (one.amount, change["paving"]) == (1.0, pytest.approx(-0.1))


def test_a_flowering_lawn_is_made_of_lawn_or_of_what_was_plastic():
    room = space({"paving": 90.0, "artificial_grass": 10.0})
    found, _ = offered(room)
    lawn = found["lawn_flowering"]
    assert lawn.amount <= 10
    _, change = fitted([lawn], room, KNOW, PlotFacts())
    assert change["artificial_grass"] == pytest.approx(-lawn.amount)
    assert "paving" not in change


def test_nothing_is_taken_up_in_a_street_or_on_a_balcony_or_where_no_ground_is_free():
    slabs = {"paving": 100.0}
    assert space(slabs, kind="verge").ground_m2 == 0
    assert space(slabs, kind="balcony").ground_m2 == 0
    assert space(slabs, PlotFacts(free_m2=0)).ground_m2 == 0


def test_uses_that_must_stay_keep_their_slabs():
    """A parking place takes 12 m2 of 14 of slabs: 2 are left, fewer than 0.3 x 14 = 4.2."""
    room = space({"paving": 14.0, "decking": 86.0}, PlotFacts(keep=("parking",)))
    kept = KNOW.keep_uses["parking"].ground.value
    assert kept == 12
    assert room.convertible["paving"] <= 4.2


def test_hours_and_money_of_what_is_taken_up():
    """2 m2 of slabs at 1.5 hours and 20 pounds, 3 m2 of plastic at 1 hour and 20 pounds."""
    change = {"paving": -2.0, "artificial_grass": -3.0, "flower_border": 5.0}
    assert taking_up_of(change, KNOW) == pytest.approx((6, 100))
    assert taking_up_of({"lawn_short": -5.0}, KNOW) == (0, 0)


def test_a_small_budget_leaves_the_slabs():
    room = space({"paving": 100.0})
    bed = offered(room)[0]["herb_bed"]
    slabs = taking_up_of({"paving": -bed.ground_m2}, KNOW)[1]
    assert fitted([bed], room, KNOW, PlotFacts(budget=bed.cost)) is None
    assert fitted([bed], room, KNOW, PlotFacts(budget=bed.cost + slabs)) is not None


def test_a_ramp_goes_with_a_pond_only():
    found, ruled = offered(space({"lawn_short": 80.0}))
    assert "pond_ramp" not in found
    assert "It goes with a wildlife pond or a tub pond" in ruled["pond_ramp"].why
    assert "pond_ramp" in offered(space({"lawn_short": 80.0, "pond": 4.0}))[0]


def test_what_is_done_or_left_undone_takes_no_room():
    found, _ = offered(space({"decking": 100.0}))
    for key in ("lights_out", "no_pesticides"):
        one = found[key]
        assert (one.place, one.ground_m2, one.length_m, one.cost) == ("habit", 0, 0, 0)
