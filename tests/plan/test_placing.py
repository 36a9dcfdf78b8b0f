"""Where things go on a plot, against places worked out on paper.

The plot is 10 m wide and 20 m deep, its corner at (0, 0), in the British grid at about 52.6
degrees north, 3 degrees west of the grid's own north by less than half a degree. The rules are
checked from the bare shapes, not from what is told of them.
"""

import dataclasses
import itertools

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds.placed_garden import (
    EAST,
    KNOW,
    NORTH,
    PLOT,
    SOUTH_HOUSE,
    candidate,
    layer,
    street,
)

from patchnet.pages.kit.placing_words import (
    kept_words,
    place_notes,
    sun_there_words,
    where_words,
)
from patchnet.plan.candidates import candidates_for
from patchnet.plan.facts import PlotFacts
from patchnet.plan.placed import Placed, SunThere
from patchnet.plan.placing import _best_together, places_for
from patchnet.plan.positions import Positions
from patchnet.plan.space import space_of
from patchnet.plan.wanted import Thing
from patchnet.sun.at_plot import plot_sun


def places(hood, *things, keep=(), **more):
    return places_for(
        hood,
        "1",
        things,
        facts=PlotFacts(keep=keep),
        knowledge=KNOW,
        has=more.pop("has", {}),
        **more,
    )


def local(shape):
    return shapely.affinity.translate(shape, -EAST, -NORTH)


def the(hood, *things, **more):
    (one,) = places(hood, *things, **more).placed
    return one


# the sunny wall -------------------------------------------------------------------------------


def test_a_bee_hotel_hangs_on_the_house_wall_that_faces_south():
    """House to the north: its wall along y = 20 faces the plot and the midday sun."""
    one = the(street(), candidate("bee_hotel"))
    at = local(one.geometry)
    assert at.y == pytest.approx(20 - 0.15)
    assert 0 < at.x < 10
    assert (one.faces, one.at_wall, one.height_m) == ("south", "house wall", (1.0, 2.0))
    assert one.lacks == ()
    assert where_words(one, KNOW).startswith("on the south-facing house wall")


def test_a_nest_box_hangs_on_the_house_wall_that_faces_north():
    one = the(street(houses=[SOUTH_HOUSE]), candidate("nest_box_small"))
    assert local(one.geometry).y == pytest.approx(0.15)
    assert (one.faces, one.lacks) == ("north", ())


@pytest.mark.parametrize(("height", "hangs"), [(1.8, True), (0.6, False)])
def test_house_to_the_south_leaves_the_back_fence_to_the_bees(height, hangs):
    """The fence along y = 20 faces south from the plot; one lower than 1 m bears no bee hotel."""
    fence = layer([shapely.LineString([(0, 20), (10, 20)])], kind=["wall"], height=[height])
    one = the(street(houses=[SOUTH_HOUSE], barriers=fence), candidate("bee_hotel"))
    assert (local(one.geometry).y == pytest.approx(19.85)) == hangs
    assert one.faces == ("south" if hangs else "north")
    assert ("aspect" in one.lacks) is not hangs


def test_no_nest_box_goes_high_up_on_a_fence_of_unknown_height():
    fence = layer([shapely.LineString([(0, 20), (10, 20)])], kind=["wall"], height=[np.nan])
    hood = street(houses=[shapely.box(60, 0, 70, 10)], barriers=fence)
    one = the(hood, candidate("nest_box_small"))
    assert one.geometry is None
    assert "No wall or fence" in one.why_not


def test_two_things_on_one_wall_hang_beside_each_other():
    """A wall of 10 m; a climber of 2 m2 takes 1 m of it, a bee hotel 0.4 m."""
    found = places(street(), candidate("bee_hotel"), candidate("climber", 2.0))
    hotel, climber = (local(one.geometry) for one in found.placed)
    assert climber.length == pytest.approx(1.0)
    assert climber.distance(hotel) > 0.2


# the sun ----------------------------------------------------------------------------------------


def test_hours_of_sun_far_from_any_shadow_are_those_of_the_open_day():
    """21 May at 52.6 N: the sun stands above 5 degrees for 14.9 hours.

    cos h = (sin 5 - sin 52.6 sin 20.1) / (cos 52.6 cos 20.1) = (0.0872 - 0.7944 x 0.3437) /
    (0.6074 x 0.9391) = -0.3258, h = 109.0 degrees = 7.27 hours each side of noon.
    """
    due_north = shapely.box(4.5, 50, 5.5, 51)
    one = the(street(houses=[due_north], high=3.0), candidate("bare_sunny_soil", 2.0))
    may, december = one.sun
    assert may.month == 5
    assert december.month == 12
    assert may.hours == pytest.approx(14.54, abs=0.1)
    assert (may.from_h, may.to_h) == (
        pytest.approx(12 - 7.27, abs=0.1),
        pytest.approx(12 + 7.27, abs=0.1),
    )


def test_a_bed_in_the_sun_has_the_hours_it_wants():
    """A terrace 9 m high to the south. Worked out again as if the bed were the whole plot."""
    terrace = shapely.box(-40, -8, 50, 0)
    one = the(street(houses=[terrace], high=9.0), candidate("bare_sunny_soil", 2.0))
    assert one.sun[0].hours >= 6
    bed = street(local(one.geometry), houses=[terrace], high=9.0)
    assert one.sun[0].hours == pytest.approx(plot_sun(bed, "1", knowledge=KNOW).hours[4], abs=0.75)
    assert one.sun[1].hours < 1  # in December the midday shadow is 9 / tan 14 = 36 m long


def test_a_log_pile_lies_in_the_shade():
    one = the(street(houses=[SOUTH_HOUSE], high=9.0), candidate("dead_wood_pile", 1.0))
    other = the(street(houses=[SOUTH_HOUSE], high=9.0), candidate("herb_bed", 1.0))
    assert one.sun[0].hours < other.sun[0].hours


# distances ----------------------------------------------------------------------------------------


def test_a_pond_keeps_clear_of_house_boundary_and_tree():
    """2 m from the house (y = 20), 0.5 m from the boundary, 3 m from the tree at (5, 8)."""
    trees = layer([shapely.Point(5, 8)], feature=["tree_small"], plot=["1"])
    one = the(street(features=trees), candidate("pond", 3.0))
    shape = local(one.geometry)
    assert shape.area == pytest.approx(3.6)
    assert shape.bounds[3] <= 18 + 1e-6
    assert shape.distance(shapely.Point(5, 8)) >= 3
    assert shapely.box(0.5, 0.5, 9.5, 19.5).covers(shape)
    assert one.house_m == pytest.approx(20 - shape.bounds[3])
    assert one.tree_m == pytest.approx(shape.distance(shapely.Point(5, 8)))
    assert one.lacks == ()


def test_a_feeder_stands_two_metres_from_the_bush():
    """A hedge along y = 0: 2 m off it for cats, no more than 4 m for hawks."""
    hedge = layer([shapely.LineString([(0, 0.3), (10, 0.3)])], feature=["hedge_native"], plot=["1"])
    one = the(street(features=hedge), candidate("bird_feeder"))
    away = local(one.geometry).distance(shapely.LineString([(0, 0.3), (10, 0.3)]))
    assert 2 <= away <= 4
    assert one.cover_m == pytest.approx(away)
    assert one.cover == "hedge_native"
    assert "from cover (mixed native hedge)" in where_words(one, KNOW)


def test_a_feeder_keeps_from_a_bush_that_is_new_as_well():
    found = places(street(), candidate("bird_feeder"), candidate("shrub", 2.0))
    feeder, bush = (local(one.geometry) for one in found.placed)
    assert feeder.distance(bush) >= 2
    assert found.of("bird_feeder").cover == "shrub"


def test_a_hedge_lies_along_the_fence():
    fence = layer([shapely.LineString([(0, 0), (0, 20)])], kind=["fence"], height=[1.8])
    lines = [
        shapely.LineString(ends)
        for ends in ([(0, 0), (10, 0)], [(10, 0), (10, 20)], [(0, 0), (0, 20)])
    ]
    one = the(street(barriers=fence), candidate("hedge_native", 6.0))
    shape = local(one.geometry)
    assert shape.area == pytest.approx(6.0, rel=1e-2)
    assert min(shape.distance(line) for line in lines) < 0.05
    assert one.at_wall in ("fence", "boundary")


def test_a_hedge_has_its_depth_where_no_boundary_is_free():
    """Ponds along all sides leave 6 x 12 m in the middle: 5 m of hedge, 1 m deep, stand there."""
    ring = PLOT - shapely.box(2, 4, 8, 16)
    hood = street(features=layer([ring], feature=["pond"], plot=["1"]))
    shape = local(the(hood, candidate("hedge_native", 5.0)).geometry)
    west, south, east, north = shape.bounds
    assert sorted([east - west, north - south]) == pytest.approx([1, 5])
    assert shapely.box(2, 4, 8, 16).covers(shape.buffer(-1e-6))


# what is in the way -----------------------------------------------------------------------------


def road(y=-4):
    return layer([shapely.LineString([(-20, y), (30, y)])], name=["Road"], width_m=[6.0])


def test_the_way_from_the_street_to_the_house_stays_free():
    """A front garden between a road along y = -4, 6 m wide, and the house at y = 20."""
    found = places(
        street(kind="garden_front", roads=road()),
        candidate("flower_border", 30.0),
        candidate("pond", 3.0),
    )
    way = local(found.way)
    assert way.intersects(shapely.LineString([(0, 0), (10, 0)]))
    assert way.intersects(shapely.LineString([(0, 20), (10, 20)]))
    assert way.area == pytest.approx(20, rel=0.05)  # 1 m wide, 20 m long
    assert not found.way_known
    for one in found.placed:
        assert local(one.geometry).intersection(way).area < 1e-6
    assert any("shortest way" in note for note in found.notes)


def test_the_way_goes_to_the_door_where_it_is_on_the_map():
    door = layer([shapely.Point(2, 20)], kind=["door"])
    found = places(
        street(kind="garden_front", roads=road(), street_objects=door),
        candidate("flower_border", 30.0),
    )
    assert found.way_known
    assert local(found.way).bounds[0] == pytest.approx(1.5)
    assert local(found.way).bounds[2] == pytest.approx(2.5)
    assert not any("door" in note for note in found.notes)


def test_a_back_garden_keeps_a_strip_along_the_house():
    found = places(street(), candidate("lawn_flowering", 100.0))
    assert local(found.placed[0].geometry).bounds[3] <= 19 + 1e-6


def test_nothing_lies_over_a_cover_or_on_what_stands_there():
    """A manhole in the middle, kept clear by 0.5 m; a pond of 40 m2 along the whole of y < 8."""
    cover = layer([shapely.Point(5, 14)], kind=["cover"])
    pond = layer([shapely.box(0, 0, 10, 8)], feature=["pond"], plot=["1"])
    found = places(
        street(street_objects=cover, features=pond),
        candidate("lawn_flowering", 60.0),
        candidate("bird_bath"),
    )
    for one in found.placed:
        shape = local(one.geometry)
        assert shape.distance(shapely.Point(5, 14)) >= 0.5 - 1e-6
        assert shape.bounds[1] >= 8 - 1e-6


def test_slabs_are_built_on_only_where_they_are_taken_up():
    """Slabs on y < 15 leave 40 m2 of ground with the strip along the house off: 4 m deep."""
    slabs = layer([shapely.box(0, 0, 10, 15)], feature=["paving"], plot=["1"])
    hood = street(features=slabs)
    small = candidate("flower_border", 10.0)
    assert local(the(hood, small).geometry).bounds[1] >= 15 - 1e-6
    large = candidate("lawn_flowering", 60.0)
    assert the(hood, large).geometry is None
    assert the(hood, large, gives_way=["paving"]).geometry is not None
    # What stands on any floor can stand on them.
    assert the(hood, candidate("planter", 50.0)).geometry is not None


def test_slabs_that_stay_stay_where_they_are_drawn():
    slabs = layer([shapely.box(0, 0, 10, 15)], feature=["artificial_grass"], plot=["1"])
    hood, lawn = street(features=slabs), candidate("lawn_flowering", 60.0)
    assert the(hood, lawn).geometry is not None  # it is made from plastic grass
    found = places(hood, lawn, keep=("plastic_grass",))
    assert found.placed[0].geometry is None
    assert found.kept == ()


# uses that stay ---------------------------------------------------------------------------------


def test_the_seats_look_for_their_sun():
    """A house of 9 m along the west side (x < 0): in the evening its shadow covers the west.

    In June 3 hours after noon the sun bears about 245 degrees, 40 high: shadow to the east
    9 / tan 40 x sin 65 = 9.7 m at first, all of the plot later; so the evening seat is far east.
    """
    hood = street(houses=[shapely.box(-8, 0, 0, 20)], high=9.0)
    found = places(hood, candidate("pond", 3.0), keep=("seat_evening",))
    (seat,) = found.kept
    assert local(seat.geometry).centroid.x > 7
    assert seat.geometry.area == pytest.approx(3.0)
    assert seat.geometry.intersection(found.placed[0].geometry).area < 1e-6
    assert found.placed[0].in_view
    # In the north-east corner the late sun comes round the north end of the house as well.
    assert local(seat.geometry).centroid.y > 15
    (words,) = kept_words(found, KNOW)
    assert words.startswith("Kept free, seat in the evening sun: in the north-east corner, ")
    assert "hours of evening sun in June" in words
    long = street(houses=[shapely.box(-8, -60, 0, 80)], high=20.0)
    (dark,) = places(long, keep=("seat_evening",)).kept
    assert dark.seat_hours < 2
    assert dark.lacks == ("sun",)
    assert found.placed[0].seat_m <= 10
    east = street(houses=[shapely.box(10, 0, 18, 20)], high=9.0)
    (seat,) = places(east, keep=("seat_morning",)).kept
    assert local(seat.geometry).centroid.x < 3


def test_uses_that_stay_keep_their_ground():
    found = places(
        street(kind="garden_front", roads=road()),
        candidate("lawn_flowering", 60.0),
        keep=("play_lawn", "parking", "washing_line", "bins", "path"),
    )
    drawn = [one for one in found.kept if one.thing != "path"]
    assert {one.thing: round(one.geometry.area, 3) for one in drawn} == {
        "play_lawn": 20.0, "parking": 12.0, "washing_line": 9.0, "bins": 1.5,
    }  # fmt: skip
    path = next(one for one in found.kept if one.thing == "path")
    assert path.geometry.equals(found.way)
    for one, other in itertools.combinations([*drawn, *found.placed], 2):
        assert one.geometry.intersection(other.geometry).area < 1e-6
    bins = next(one for one in drawn if one.thing == "bins")
    assert local(bins.geometry).bounds[1] < 1  # near the street, y = 0
    assert kept_words(found, KNOW)[0].startswith("Kept free, ")


def test_what_does_not_fit_beside_the_uses_is_said():
    one = the(street(), candidate("lawn_flowering", 180.0), keep=("play_lawn",))
    assert one.geometry is None
    assert "no free ground of that size" in one.why_not


# what is not known ------------------------------------------------------------------------------


def test_where_nothing_is_mapped_nothing_is_made_up():
    hood = street(houses=())
    found = places(hood, candidate("bee_hotel"), candidate("herb_bed", 2.0))
    hotel, bed = found.placed
    assert hotel.geometry is None
    assert "No wall or fence" in hotel.why_not
    assert bed.sun == ()
    assert bed.house_m is None
    assert found.way.is_empty
    assert any("Hours of sun are not known" in note for note in found.notes)
    assert "sun" not in where_words(bed, KNOW)


def test_features_that_nobody_drew_are_named_as_such():
    found = places(street(), candidate("pond", 2.0), has={"paving": 20.0, "bee_hotel": 1.0})
    assert found.not_drawn == ("paving",)
    assert place_notes(found)[0].endswith("check on the ground.")


@pytest.mark.parametrize(
    ("feature", "why"),
    [("no_pesticides", "whole plot"), ("green_roof", "roof"), ("bulbs", "under"),
     ("water_butt", "not worked out"), ("pond_ramp", "not worked out")],
)  # fmt: skip
def test_things_without_a_place_of_their_own(feature, why):
    one = the(street(), candidate(feature))
    assert one.geometry is None
    assert why in one.why_not
    assert where_words(one, KNOW) == one.why_not


def test_no_places_on_outlines_that_were_made_coarser():
    hood = dataclasses.replace(street(), generalised="Outlines are rounded.")
    one = the(hood, candidate("pond", 2.0))
    assert one.geometry is None
    assert "coarser" in one.why_not


# together ---------------------------------------------------------------------------------------


def test_the_stages_use_the_same_places():
    pond, lawn, box = (
        candidate("pond", 3.0), candidate("lawn_flowering", 30.0), candidate("bee_hotel"),
    )  # fmt: skip
    found = places(street(), pond, box, stages=[[lawn], [pond, box], [candidate("pond", 2.0)]])
    (first,), (second, hung), (smaller,) = found.stages
    assert second.geometry.equals(found.of("pond").geometry)
    assert hung.geometry.equals(found.of("bee_hotel").geometry)
    assert first.geometry.intersection(second.geometry).area < 1e-6
    assert smaller.thing == "pond"


def brute_force(costs, shapes):
    """The least sum over all combinations in which nothing overlaps."""
    best = np.inf
    for at in itertools.product(*(range(len(one)) for one in costs)):
        chosen = [shapes[k][i] for k, i in enumerate(at)]
        if all(
            one.intersection(other).area < 1e-6 for one, other in itertools.combinations(chosen, 2)
        ):
            best = min(best, sum(costs[k][i] for k, i in enumerate(at)))
    return best


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 3))
def test_the_choice_equals_brute_force(seed, count):
    rng = np.random.default_rng(seed)
    things = [Thing(str(at), 1.0, "ground", 1.0, 0.0, "m2") for at in range(count)]
    some = []
    for __ in things:
        at = rng.integers(0, 3, (4, 2))
        shapes = np.array([shapely.box(x, y, x + 1.5, y + 1.5) for x, y in at], dtype=object)
        some.append(Positions(shapes, rng.integers(0, 5, 4) / 4, shapes, np.full(4, -1)))
    found = _best_together(things, some)
    least = brute_force([one.cost for one in some], [one.shapes for one in some])
    if found is None:
        assert least == np.inf
    else:
        assert sum(one.cost[at] for one, at in zip(some, found, strict=True)) == least


GROUND = ("pond", "flower_border", "herb_bed", "lawn_flowering", "shrub", "bird_bath",
          "bird_feeder", "compost_heap", "hedge_native", "planter")  # fmt: skip
WALL = ("bee_hotel", "nest_box_small", "climber", "ivy_mature", "window_box")


@st.composite
def cases(draw):
    """A plot of a few corners, turned; a house on one side; a tree; things that fit by area."""
    wide, deep = draw(st.floats(4, 14)), draw(st.floats(4, 20))
    plot = shapely.box(0, 0, wide, deep)
    if draw(st.booleans()):  # a corner is cut out
        plot = plot.difference(shapely.box(wide / 2, deep / 2, wide, deep))
    sides = {"n": (0, deep, wide, deep + 7), "s": (0, -7, wide, 0), "w": (-7, 0, 0, deep)}
    house = shapely.box(*sides[draw(st.sampled_from(sorted(sides)))])
    turn = draw(st.sampled_from([0, 17, 45, 80]))
    plot, house = (shapely.affinity.rotate(one, turn, origin=(0, 0)) for one in (plot, house))
    tree = plot.representative_point()
    names = draw(st.lists(st.sampled_from(GROUND + WALL), min_size=1, max_size=3, unique=True))
    things = []
    for name in names:
        measure = KNOW.features[name].measure
        most = {"m2": plot.area / 8, "m": max(wide, deep) / 3, "count": 1.0}[measure]
        least = KNOW.features[name].smallest.value
        things.append(candidate(name, 1.0 if measure == "count" else max(most, least)))
    keep = draw(st.sampled_from([(), ("seat_morning",), ("bins", "seat_evening")]))
    return plot, house.difference(plot), tree, tuple(things), keep


@settings(max_examples=12, deadline=None)
@given(cases(), st.randoms(use_true_random=False))
def test_the_rules_hold_wherever_things_go(case, shuffle):
    plot, house, tree, things, keep = case
    drawn = layer([tree], feature=["tree_small"], plot=["1"])
    hood = street(plot, houses=[house], features=drawn)
    found = places(hood, *things, keep=keep)
    shapes = []
    for one, asked in zip(found.placed, things, strict=True):
        assert one.thing == asked.feature
        assert (one.geometry is None) == bool(one.why_not)
        if one.geometry is None:
            continue
        shape = local(one.geometry)
        if asked.place in ("wall", "fence", "sill"):
            assert shape.length == pytest.approx(asked.length_m if asked.length_m >= 1 else 0)
            assert plot.buffer(1e-6).covers(shape)
            continue
        assert plot.buffer(1e-6).covers(shape)
        assert shape.area == pytest.approx(asked.ground_m2, rel=1e-2)
        assert shape.intersection(house).area < 1e-6
        assert shape.distance(tree) > 0.3  # of the trunk: 1.5 m2, 0.69 m round it
        assert shape.intersection(local(found.way)).area < 1e-6
        shapes.append(shape)
    shapes += [local(one.geometry) for one in found.kept if one.geometry is not None]
    for one, other in itertools.combinations(shapes, 2):
        assert one.intersection(other).area < 1e-5
    mixed = list(things)
    shuffle.shuffle(mixed)
    again = {one.thing: one for one in places(hood, *mixed, keep=keep).placed}
    for one in found.placed:
        assert again[one.thing] == one


def test_every_feature_that_can_be_offered_has_a_place_or_a_reason():
    hood = street(plot=shapely.box(0, 0, 12, 16), houses=[shapely.box(0, 16, 12, 24)])
    facts = PlotFacts()
    space = space_of(hood, "1", facts, KNOW, amounts={"lawn_short": 100.0})
    offered, __ = candidates_for(KNOW, facts, space, kind="garden_back")
    for one in offered:
        placed = the(hood, one)
        without = one.feature not in KNOW.placings or one.place in ("habit", "roof", "under")
        assert (placed.geometry is None) == (without or one.place == "fence"), one.feature


# in words ---------------------------------------------------------------------------------------


def test_a_place_in_words():
    may = SunThere(5, 6.2, 9.8, 16.1)
    one = Placed(
        "bird_feeder", 1.0, shapely.Point(0, 0), part="in the north-east corner", sun=(may,),
        house_m=3.04, boundary_m=0.1, cover_m=2.0, cover="shrub", seat_m=6.0, in_view=True,
    )  # fmt: skip
    assert where_words(one, KNOW) == (
        "in the north-east corner, in the sun from 10 to 16 in May, 2 m from cover (flowering or "
        "berry shrub), 6 m from the seat and seen from it, 3 m from the house"
    )
    short = where_words(dataclasses.replace(one, lacks=("sun",)), KNOW, every=False)
    assert short == (
        "in the north-east corner, in the sun from 10 to 16 in May, 2 m from cover (flowering or "
        "berry shrub) (less sun than it wants)"
    )


@pytest.mark.parametrize(
    ("sun", "words"),
    [
        (SunThere(12, 0.1, None, None), "no sun in December"),
        (SunThere(5, 1.0, None, None), "1 hour of sun in May"),
        (SunThere(5, 2.5, 11.8, 12.2), "2.5 hours of sun in May"),
    ],
)
def test_sun_in_words(sun, words):
    assert sun_there_words(sun) == words


# the table --------------------------------------------------------------------------------------


def test_published_places():
    """RSPB: boxes 2-4 m up, facing north to east. Bee hotels 1-2 m up in full sun (local guides).
    Bird baths about 2 m from cover; ponds and bat boxes in the sun: common practice. Rain
    gardens 5 m from a house on clay, 3 m in some guides (rain garden pages)."""
    box = KNOW.placings["nest_box_small"]
    assert (box.aspects, box.height.low, box.height.high) == (("n", "ne", "e"), 2, 4)
    hotel = KNOW.placings["bee_hotel"]
    assert (hotel.aspects, hotel.height.low, hotel.height.high) == (("se", "s"), 1, 2)
    assert KNOW.placings["bird_bath"].cover_least.value == 2
    assert KNOW.placings["bat_box"].height.value >= 4
    rain = KNOW.placings["rain_garden"].house_least
    assert (rain.low, rain.value) == (3, 5)


def test_places_agree_with_where_things_are_sited():
    for key, one in KNOW.placings.items():
        at_wall = KNOW.sitings[key].place in ("wall", "fence", "sill")
        assert (one.shape == "wall") == at_wall, key
        if one.shape == "strip":
            assert one.depth is not None or KNOW.features[key].measure == "m", key
