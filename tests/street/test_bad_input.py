"""Streets as people draw them: missing, doubled, broken, bent, contradictory."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st

from patchnet.core.errors import DataFaults, WrongUse
from patchnet.knowledge.street import PlanterSize
from patchnet.street import planter_sites

SLIM = PlanterSize("slim", "slim", 1.0, 0.4, 0.5, 0.4, 0.1)
LINE = shapely.LineString
EAST, NORTH = 450_000.0, 210_000.0


def test_road_that_is_not_there(straight, found):
    with pytest.raises(WrongUse, match=r"no road called 'Hgih Street'. Did you mean High Street"):
        found(straight, "Hgih Street")
    with pytest.raises(WrongUse, match="The roads are: Far Road, High Street"):
        found(straight, "")
    straight.roads = [("", straight.roads[0][1], 6.0, "20")]
    straight.far_road = False
    with pytest.raises(WrongUse, match="no road has a name"):
        found(straight)
    straight.roads = []
    with pytest.raises(WrongUse, match="there is no layer of roads"):
        found(straight)


@pytest.mark.parametrize("name", ["high street", "HIGH  STREET", " High Street "])
def test_name_in_another_dress(name, straight, found):
    assert found(straight, name)[0].name == "High Street"


def test_road_drawn_as_an_area(straight, found):
    straight.roads = [("High Street", shapely.box(0, -3, 100, 3), None, "")]
    with pytest.raises(WrongUse, match="draw the line along its middle"):
        found(straight)


def test_too_fast_for_any_planter(straight, found):
    straight.roads = [("High Street", straight.roads[0][1], 6.0, "70")]
    with pytest.raises(WrongUse, match="no planter belongs beside"):
        found(straight)


def test_footway_narrower_than_any_planter(straight, sites_of):
    straight.footways = [("left", shapely.box(0, 3, 100, 3.8), None)]
    site = sites_of(straight, spacing_m=50.0, sides="left")["L050.0"]
    assert site.verdict == "no"
    assert any("narrower than the planter" in finding.words for finding in site.findings)
    assert site.clear_m == 0.0


def test_overlapping_footways_count_once(straight, found, sites_of):
    straight.footways = [
        ("left", shapely.box(0, 3, 60, 6), None),
        ("left", shapely.box(40, 3, 100, 6), None),
    ]
    street, _ = found(straight)
    assert any("lie over each other by 60.0 m2" in fault.what for fault in street.faults)
    sites = sites_of(straight, sizes=[SLIM], spacing_m=10.0, sides="left")
    assert {site.clear_m for site in sites.values()} == {2.0}


def test_footways_drawn_edge_to_edge_are_one(straight, sites_of):
    straight.footways = [
        ("left", shapely.box(0, 3, 50, 6), None),
        ("left", shapely.box(50.03, 3, 100, 6), None),
    ]
    site = sites_of(straight, sizes=[SLIM], spacing_m=50.0, sides="left")["L050.0"]
    assert (site.clear_m, site.verdict) == (2.0, "fits")


def test_no_sites_where_the_footway_is_not_drawn(straight, sites_of):
    straight.footways = [("left", shapely.box(0, 3, 40, 6), None)]
    sites = sites_of(straight, sizes=[SLIM], spacing_m=5.0, sides="left")
    assert max(site.chainage_m for site in sites.values()) == 35.0


def test_kerb_on_one_side_only(straight, sites_of):
    """On the right the road is level with the ground behind it: farther from its edge."""
    straight.footways = [
        ("left", shapely.box(0, 3, 100, 7), None),
        ("right", shapely.box(0, -7, 100, -3), None),
    ]
    straight.objects = [("flush kerb", LINE([(0, -3), (100, -3)]), None)]
    sites = sites_of(straight, sizes=[SLIM], spacing_m=50.0)
    assert sites["L050.0"].offset_m == 0.5
    assert sites["R050.0"].offset_m == 0.8


def test_without_things_in_the_street_nothing_is_better_than_measure(straight, found, sites_of):
    straight.objects = None
    straight.footways = [("left", shapely.box(0, 3, 100, 7), None)]
    street, _ = found(straight)
    assert not street.objects_known
    assert any("everything in the street was looked for" in note for note in street.notes)
    sites = sites_of(straight, sizes=[SLIM], spacing_m=50.0, sides="left")
    assert sites["L050.0"].verdict == "measure"
    (finding,) = [f for f in sites["L050.0"].findings if f.verdict == "measure"]
    assert finding.rule == "street_objects"


def test_without_other_roads_junctions_are_not_known(straight, found, sites_of):
    straight.far_road = False
    straight.footways = [("left", shapely.box(0, 3, 100, 7), None)]
    street, _ = found(straight)
    assert any("sight areas there are not known" in note for note in street.notes)
    site = sites_of(straight, sizes=[SLIM], spacing_m=50.0, sides="left")["L050.0"]
    assert site.verdict == "measure"
    assert [f.rule for f in site.findings if f.verdict == "measure"] == ["sight_junction"]


def test_pieces_of_one_road_are_joined_and_gaps_said(straight, found, sites_of):
    """Three pieces out of order and turned round, 10 m missing: 0-30, 30-60, 70-100."""
    straight.roads = [
        ("High Street", LINE([(100, 0), (70, 0)]), 6.0, "20"),
        ("High Street", LINE([(0, 0), (31, 0)]), 6.0, "20"),
        ("High Street", LINE([(60, 0), (31, 0)]), 6.0, "20"),
    ]
    street, _ = found(straight)
    assert street.length_m == pytest.approx(100)
    assert street.gaps == (pytest.approx((60, 70)),)
    assert any("from 60.0 to 70.0 m" in note for note in street.notes)
    sites = sites_of(straight, sizes=[SLIM], spacing_m=1.0, sides="left")
    chainages = {site.chainage_m for site in sites.values()}
    assert 59.0 in chainages
    assert 71.0 in chainages
    assert not chainages & {60.0, 65.0, 70.0}
    assert sites["L080.0"].centre.distance(shapely.Point(EAST + 80, NORTH + 3.7)) < 1e-3


def test_branches_and_doubles_are_left_out_and_said(straight, found):
    straight.roads += [
        ("High Street", LINE([(50, 0), (50, 40)]), 4.0, ""),
        ("High Street", straight.roads[0][1], 6.0, "20"),
    ]
    street, _ = found(straight)
    assert street.length_m == pytest.approx(100)
    assert any("1 piece of High Street (40 m in all)" in note for note in street.notes)
    # The branch is still a road that cars come out of.
    assert any("High Street meets High Street" in area.label for area in street.sight_areas)


def test_two_halves_of_a_wide_road_do_not_fold_back(straight, found):
    straight.roads.append(("High Street", LINE([(100, 12), (0, 12)]), 6.0, "20"))
    street, _ = found(straight)
    assert street.length_m == pytest.approx(100)
    assert any("lie alongside" in note for note in street.notes)


def test_road_that_crosses_itself(straight, found, sites_of):
    """A loop: no planter may stand in the other arm's carriageway."""
    loop = LINE([(0, 0), (100, 0), (100, 60), (50, 60), (50, -60)])
    straight.roads = [("High Street", loop, 6.0, "20")]
    straight.footways = []
    street, hood = found(straight)
    assert any("crosses itself" in note for note in street.notes)
    assert [area.rule for area in street.sight_areas].count("sight_junction") == 4
    road = loop.buffer(3, cap_style="flat")
    sites = sites_of(straight, sizes=[SLIM], spacing_m=1.0)
    inside = 0
    for site in sites.values():
        moved = shapely.transform(site.polygon, lambda xy: xy - [EAST, NORTH])
        if moved.intersection(road).area > 1e-6:
            inside += 1
            assert site.verdict == "no"
            assert "carriageway" in {f.rule for f in site.findings if f.verdict == "no"}
    assert inside > 0
    assert hood.roads is not None


def test_dog_leg(straight, found, sites_of):
    """Right angles at 40 and 60 m: every box stays out of the road, 0.5 m from its kerb."""
    line = LINE([(0, 0), (40, 0), (40, 20), (80, 20)])
    straight.roads = [("High Street", line, 6.0, "20")]
    straight.footways = []
    road = line.buffer(3, join_style="mitre", cap_style="flat")
    sites = sites_of(straight, sizes=[SLIM], spacing_m=0.5)
    assert len(sites) > 200
    for site in sites.values():
        moved = shapely.transform(site.polygon, lambda xy: xy - [EAST, NORTH])
        apart = moved.distance(road)
        if site.verdict != "no":
            assert apart >= 0.5 - 0.021, site.key


def test_road_width_not_known(straight, found, sites_of):
    """5.5 m is assumed, and it is said; nothing passes on it."""
    straight.roads = [("High Street", straight.roads[0][1], None, "")]
    straight.footways = []
    street, _ = found(straight)
    assert any("5.5 m was assumed" in note for note in street.notes)
    assert street.speed_basis == "assumed"
    site = sites_of(straight, sizes=[SLIM], spacing_m=50.0)["L050.0"]
    assert site.centre.distance(shapely.Point(EAST + 50, NORTH + 2.75 + 0.7)) < 1e-3
    by_rule = {finding.rule: finding for finding in site.findings}
    assert by_rule["kerb_offset"].basis == "assumed"
    assert by_rule["fire_route"].verdict == "measure"


def test_footway_drawn_over_the_carriageway(straight, found, sites_of):
    """The road is said to be 6 m wide, the footway drawn from 2 m: the drawn kerb is taken."""
    straight.footways = [("left", shapely.box(0, 2, 100, 6), None)]
    street, _ = found(straight)
    assert any("drawn over the carriageway" in fault.what for fault in street.faults)
    site = sites_of(straight, sizes=[SLIM], spacing_m=50.0, sides="left")["L050.0"]
    assert site.centre.distance(shapely.Point(EAST + 50, NORTH + 2.7)) < 1e-3


def test_road_line_that_is_not_in_the_middle(straight, sites_of):
    """Kerbs drawn at 2 and -4, 6 m apart as the road is said to be: they are the kerbs."""
    straight.footways = [
        ("left", shapely.box(0, 2, 100, 5), None),
        ("right", shapely.box(0, -7, 100, -4), None),
    ]
    sites = sites_of(straight, sizes=[SLIM], spacing_m=50.0)
    assert sites["L050.0"].offset_m == sites["R050.0"].offset_m == 0.5
    assert sites["R050.0"].centre.distance(shapely.Point(EAST + 50, NORTH - 4.7)) < 1e-3
    assert sites["R050.0"].verdict == "fits"


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([("lamp colum", shapely.Point(1, 4), None)], "Did you mean lamp column"),
        ([("zzz", shapely.Point(1, 4), None)], "Write one of: cover"),
    ],
)
def test_unknown_kinds_of_things(rows, words, straight, know):
    straight.objects = rows
    with pytest.raises(DataFaults) as caught:
        straight.built(know)
    assert words in str(caught.value)


def test_things_with_odd_cells(straight, know):
    straight.looked = False
    straight.objects = [
        ("bench", shapely.Point(1, 4), "wide"),
        ("bin", shapely.Point(), "0.5 m"),
        ("Lamp-Post", shapely.Point(3, 4), "20"),
    ]
    hood = straight.built(know)
    assert list(hood.street_objects["kind"]) == ["bench", "lamp_column"]
    assert math.isnan(hood.street_objects["width_m"].iloc[0])
    said = "\n".join(map(str, hood.faults))
    assert "'wide' was not read" in said
    assert "no point, line or outline" in said


@pytest.mark.parametrize(
    ("cell", "mph"),
    [("20 mph", 20), ("30", 30), ("48.28032 km/h", 30), ("50kph", 31.0686), ("", None),
     ("fast", None), ("-5", None)],
)  # fmt: skip
def test_speeds_as_people_write_them(cell, mph, straight, know):
    """1 mile is 1.609344 km."""
    straight.roads = [("High Street", straight.roads[0][1], 6.0, cell)]
    straight.far_road = False
    speed = straight.built(know).roads["speed_mph"].iloc[0]
    assert math.isnan(speed) if mph is None else speed == pytest.approx(mph, rel=1e-5)


def test_options_that_cannot_be(straight, found, know):
    street, hood = found(straight)
    for options, words in (
        ({"sides": "middle"}, "There is no side"),
        ({"spacing_m": 0.0}, "must be at least 0.1 m apart, not 0 m"),
        ({"spacing_m": math.nan}, "must be at least 0.1 m apart, not nan m"),
        ({"sizes": []}, "no size"),
        ({"sizes": [PlanterSize("a", "a", -1, 1, 1, 1)]}, "impossible size"),
        ({"sizes": [PlanterSize("a", "a", 1, 1, 1, 1, math.nan)]}, "impossible size"),
    ):
        with pytest.raises(WrongUse, match=words):
            planter_sites(hood, street, knowledge=know, **options)


def test_planter_longer_than_the_road(straight, sites_of):
    huge = PlanterSize("huge", "huge", 120.0, 0.5, 0.5, 0.4)
    assert sites_of(straight, sizes=[huge], spacing_m=10.0) == {}


def tricky(scene, turned=0.0, shifted=(0.0, 0.0)):
    """A bent road with a side road, a crossing, a bench, a drive and a narrow place."""
    bend = [(x, 0.004 * x * x) for x in range(0, 101, 5)]
    line = LINE(bend)
    left = line.buffer(3, single_sided=True), line.buffer(6.2, single_sided=True)
    right = line.buffer(-3, single_sided=True), line.buffer(-5.9, single_sided=True)
    return scene(
        roads=[
            ("High Street", line, 6.0, "20"),
            ("Mill Lane", LINE([(60, 14.4), (75, -60)]), 5.0, "30"),
        ],
        footways=[
            ("left", left[1].difference(left[0]), None),
            ("right", right[1].difference(right[0]), 2.9),
        ],
        objects=[
            ("crossing", shapely.Point(20, 1.6), 3.0),
            ("bench", shapely.Point(42, 12.6), 1.6),
            ("driveway", shapely.Point(83, 32), 3.0),
            ("cover", shapely.Point(36, 1.4), 0.6),
            ("gully", shapely.Point(52, 14.0), 0.45),
            ("tree", shapely.Point(70, 23.5), 0.2),
            ("alley mouth", shapely.Point(31, 10.0), 1.5),
        ],
        turned=turned,
        shifted=shifted,
    )


@pytest.fixture(scope="module")
def as_drawn(scene, sites_of):
    sites = sites_of(tricky(scene), spacing_m=5.0)
    return lambda: sites  # Hypothesis would write the sites themselves out


@settings(max_examples=8, deadline=None)
@example(turned=-1 / 3, east=0.0, north=0.0)  # a buffer that lost a footway
@given(turned=st.floats(-180, 180), east=st.floats(-900, 900), north=st.floats(-900, 900))
def test_turning_and_moving_the_map_changes_no_verdict(
    turned, east, north, scene, sites_of, as_drawn
):
    moved = sites_of(tricky(scene, turned, (east, north)), spacing_m=5.0)
    assert list(moved) == list(as_drawn())
    for key, site in moved.items():
        before = as_drawn()[key]
        assert site.verdict == before.verdict
        assert [(f.rule, f.verdict) for f in site.findings] == [
            (f.rule, f.verdict) for f in before.findings
        ]
        assert site.size == before.size
        if site.clear_m is not None:
            assert site.clear_m == pytest.approx(before.clear_m, abs=2e-3)
        assert (before.bearing_deg - turned - site.bearing_deg) % 360 == pytest.approx(
            0, abs=0.1
        ) or (before.bearing_deg - turned - site.bearing_deg) % 360 == pytest.approx(360, abs=0.1)


def test_the_scene_of_that_test_has_every_verdict_but_measure(as_drawn):
    assert {site.verdict for site in as_drawn().values()} == {"fits", "ask", "no"}


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_any_scribble_is_answered(seed, scene, found, know):
    """Roads and footways drawn at random: an answer or a plain message, and no box in the road."""
    rng = np.random.default_rng(seed)
    line = LINE(rng.uniform(0, 120, size=(rng.integers(2, 7), 2)))
    areas = [
        ("f", shapely.Point(rng.uniform(0, 120, 2)).buffer(rng.uniform(1, 30)), None)
        for _ in range(rng.integers(0, 4))
    ]
    things = [("bench", shapely.Point(rng.uniform(0, 120, 2)), None) for _ in range(3)]
    messy = scene(roads=[("High Street", line, 5.0, "20")], footways=areas, objects=things)
    street, hood = found(messy)
    for site in planter_sites(hood, street, knowledge=know, sizes=[SLIM], spacing_m=9.0):
        assert site.polygon.is_valid
        assert site.polygon.area == pytest.approx(0.4, rel=1e-6)
        if site.verdict != "no":
            assert site.polygon.intersection(street.carriageway).area < 1e-6
            assert site.clear_m is None or site.clear_m >= 1.5
