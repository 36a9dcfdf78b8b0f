"""Each street rule at its limit, with the distances worked out on paper."""

import pytest
import shapely
from worlds.street_findings import SLIM, of, verdict

from patchnet.knowledge.stopping_sight import stopping_sight_m
from patchnet.knowledge.street import PlanterSize

SIDE_ROAD = ("Mill Lane", shapely.LineString([(50, 0), (50, -80)]), 6.0, "20")
POINT = shapely.Point


# the ladder -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("footway", "expected"),
    [(3.0, "fits"), (2.99, "ask"), (2.5, "ask"), (2.49, "no"), (1.2, "no")],
)
def test_ladder_of_inclusive_mobility(footway, expected, straight, sites_of):
    """Offset 0.5, box 0.4, plants 0.1: what is left is the footway less 1.0 m; 2.0 and 1.5 decide.

    Inclusive Mobility (Department for Transport 2021) 4.2.
    """
    straight.footways = [("left", shapely.box(0, 3, 100, 3 + footway), None)]
    site = sites_of(straight, sizes=[SLIM], spacing_m=50.0, sides="left")["L050.0"]
    assert site.clear_m == pytest.approx(footway - 1.0)
    assert verdict(site, "clear_width") == expected
    assert site.verdict == expected
    assert "Inclusive mobility" in of(site, "clear_width")[0].source


def test_plants_count_not_the_box(straight, sites_of):
    bushy = PlanterSize("bushy", "bushy", 1.0, 0.4, 0.5, 0.4, 0.3)
    straight.footways = [("left", shapely.box(0, 3, 100, 6), None)]
    site = sites_of(straight, sizes=[bushy], spacing_m=50.0, sides="left")["L050.0"]
    assert site.clear_m == pytest.approx(3.0 - 0.5 - 0.4 - 0.3)


def test_of_several_sizes_the_best_verdict_then_the_most_soil(straight, sites_of, know):
    """On 3.15 m the slim box leaves 2.15 and the box 2.0; the long box leaves 1.85."""
    straight.footways = [("left", shapely.box(0, 3, 100, 6.15), None)]
    site = sites_of(straight, spacing_m=50.0, sides="left")["L050.0"]
    assert (site.size.key, site.verdict) == ("trough", "fits")
    assert site.size.litres == max(
        size.litres
        for size in know.planter_sizes.values()
        if 3.15 - 0.5 - size.width_m - size.spread_m >= 2.0 - 1e-9
    )


def test_another_authoritys_ladder(straight, sites_of, tmp_path):
    from patchnet.knowledge import load_knowledge  # noqa: PLC0415

    (tmp_path / "street_rules.csv").write_text(
        "key,value,unit,low,high,class,source,note\n"
        "clear_width_fits_m,1.8,m,1.8,1.8,memory,memory,\n"
        "kerb_offset_m,0.7,m,0.7,0.7,memory,memory,\n",
        encoding="utf-8",
    )
    theirs = load_knowledge(tmp_path)
    site = sites_of(straight, knowledge=theirs, sizes=[SLIM], spacing_m=50.0)["L050.0"]
    assert site.offset_m == 0.7
    assert site.clear_m == pytest.approx(3.0 - 0.7 - 0.5)
    assert site.verdict == "fits"


def test_stated_width_is_measured_and_clash_takes_the_smaller(straight, found, sites_of):
    straight.footways = [("left", shapely.box(0, 3, 100, 6), 2.9)]
    site = sites_of(straight, sizes=[SLIM], spacing_m=50.0)["L050.0"]
    assert (site.clear_m, site.clear_basis, site.footway_m) == (1.9, "measured", 2.9)
    straight.footways = [("left", shapely.box(0, 3, 100, 6), 2.0)]  # a metre less than drawn
    site = sites_of(straight, sizes=[SLIM], spacing_m=50.0)["L050.0"]
    assert (site.clear_m, site.clear_basis) == (1.0, "measured")
    street, _ = found(straight)
    assert any("differ" in fault.what for fault in street.faults)
    straight.footways = [("left", shapely.box(0, 3, 100, 6), 5.0)]  # two metres more
    site = sites_of(straight, sizes=[SLIM], spacing_m=50.0)["L050.0"]
    assert (site.clear_m, site.clear_basis) == (2.0, "from the map")


def test_mouth_of_a_passage_is_no_width(straight, found, sites_of):
    """A passage 1.5 m wide opens at the back at 50 m; the stated width of 3 m stands."""
    straight.footways = [
        ("left", shapely.box(0, 3, 100, 6), 3.0),
        ("passage", shapely.box(49.5, 6, 51, 30), None),
    ]
    street, _ = found(straight)
    assert street.faults == ()
    site = sites_of(straight, sizes=[SLIM], spacing_m=50.0)["L050.0"]
    assert site.footway_m == 3.0
    # The corners of the passage are 2 m behind the plants and beside them.
    assert site.clear_m == pytest.approx(2.0, abs=0.011)
    assert site.clear_basis == "measured"


# kerb -------------------------------------------------------------------------------------


@pytest.mark.parametrize(("kind", "offset"), [("parking", 0.8), ("flush kerb", 0.8)])
def test_farther_from_the_kerb_beside_parked_cars_or_a_flush_kerb(kind, offset, wide, sites_of):
    """Parking from 20 to 40 m on the left only."""
    wide.objects = [(kind, POINT(30, 3), 20.0)]
    sites = sites_of(wide, sizes=[SLIM], spacing_m=10.0)
    assert sites["L030.0"].offset_m == offset
    assert sites["L040.0"].offset_m == offset  # half of the box lies beside it
    assert sites["L050.0"].offset_m == 0.5
    assert sites["R030.0"].offset_m == 0.5
    assert verdict(sites["L030.0"], "kerb_offset") == "fits"


# sight ------------------------------------------------------------------------------------


def test_sight_triangle_of_a_side_road(wide, found, know):
    """Eye 2.4 m behind the kerb, kerb seen 24.9 m each way: 2.4 x 24.9 = 59.8 m2."""
    wide.roads.append(SIDE_ROAD)
    street, _ = found(wide)
    reach = stopping_sight_m(20, knowledge=know)
    (area,) = street.sight_areas
    assert area.polygon.area == pytest.approx(2.4 * reach, rel=1e-6)
    assert area.reach_m == pytest.approx(24.9, abs=0.05)
    west, _, east, _ = area.polygon.bounds
    assert east - west == pytest.approx(2 * reach, rel=1e-6)
    assert area.basis == "from the map"


def test_no_planter_in_a_sight_triangle(wide, sites_of, know):
    """The plants start 0.4 m behind the kerb: there the triangle reaches 24.9 (1 - 0.4 / 2.4) m.

    Their near end is 0.6 m nearer the side road than the middle of the box.
    """
    wide.roads.append(SIDE_ROAD)
    last = stopping_sight_m(20, knowledge=know) * (1 - 0.4 / 2.4) + 0.6
    sites = sites_of(wide, sizes=[SLIM], spacing_m=0.5)
    for site in sites.values():
        away = abs(site.chainage_m - 50)
        if site.side == "left":
            assert verdict(site, "sight_junction") == "fits"
        elif away < last - 1e-6:
            assert verdict(site, "sight_junction") == "no"
        else:
            assert verdict(site, "sight_junction") == "fits"


def test_faster_road_needs_more(wide, found):
    """40 mph is 17.882 m/s: 26.82 + 319.8 / (0.9 x 9.807) + 2.4 = 65.45 m."""
    wide.roads = [("High Street", wide.roads[0][1], 6.0, "40"), SIDE_ROAD]
    (area,) = found(wide)[0].sight_areas
    assert area.reach_m == pytest.approx(65.45, abs=0.06)


def test_crossroads_draw_every_arm_and_say_so(wide, found):
    wide.roads.append(("Mill Lane", shapely.LineString([(50, 80), (50, -80)]), 6.0, "20"))
    street, _ = found(wide)
    assert len(street.sight_areas) == 4
    assert any("who gives way" in note for note in street.notes)


def test_the_street_itself_may_be_the_side_road(wide, found, sites_of):
    """High Street ends at Mill Lane: its own driver looks both ways along Mill Lane."""
    wide.roads.append(("Mill Lane", shapely.LineString([(100, -80), (100, 80)]), 6.0, "20"))
    street, _ = found(wide)
    (area,) = street.sight_areas
    assert "High Street meets Mill Lane" in area.label
    site = sites_of(wide, sizes=[SLIM], spacing_m=1.0)["L096.0"]
    assert of(site, "corner")[0].verdict == "no"
    # Edge of Mill Lane at 97, the end of the box at 96.5.
    assert of(site, "corner")[0].figure == 0.5


def test_a_road_that_only_changes_its_name_is_no_junction(wide, found):
    wide.roads.append(("Low Street", shapely.LineString([(100, 0), (200, 10)]), 6.0, "20"))
    assert found(wide)[0].sight_areas == ()


def test_driveway_splay_and_sight(wide, sites_of, know):
    """A drive 3 m wide at 50: 1.5 m each side is refused, then the driver's view is asked about."""
    wide.objects = [("driveway", POINT(50, 3), 3.0)]
    sites = sites_of(wide, sizes=[SLIM], spacing_m=0.5)
    # Half the drive 1.5, splay 1.5, half the box 0.5.
    assert sites["L053.0"].verdict == "no"
    assert verdict(sites["L053.0"], "driveway") == "no"
    assert verdict(sites["L053.5"], "driveway") == "fits"
    assert of(sites["L053.5"], "driveway")[0].figure == 1.5
    assert sites["L053.5"].verdict == "ask"
    assert verdict(sites["L053.5"], "sight_driveway") == "ask"
    # Eye 2.0 m behind the kerb: at 0.4 m the triangle reaches 24.9 x 0.8 = 19.9, and 0.6 more.
    last = 50 + stopping_sight_m(20, knowledge=know) * 0.8 + 0.6
    assert sites["L070.0"].chainage_m < last < 71
    assert sites["L070.0"].verdict == "ask"
    assert sites["L071.0"].verdict == "fits"
    assert sites["R050.0"].verdict == "fits"


def test_crossing_is_kept_free_on_both_sides(wide, sites_of):
    """Eye 1 m behind the kerb: at 0.4 m the triangle reaches 24.9 x 0.6 = 14.95, and 0.6 more."""
    wide.objects = [("zebra", POINT(50, 0), 3.0)]
    sites = sites_of(wide, sizes=[SLIM], spacing_m=0.5)
    for side in "LR":
        assert verdict(sites[f"{side}050.0"], "crossing") == "no"
        assert sites[f"{side}065.5"].verdict == "no"
        assert sites[f"{side}066.0"].verdict == "fits"


def test_a_bus_makes_the_sight_distance_that_of_heavy_vehicles(wide, found):
    """Published: 27 m at 20 mph for lorries and buses."""
    wide.roads.append(SIDE_ROAD)
    wide.objects = [("bus stop", POINT(10, 3), 3.0)]
    (area,) = found(wide)[0].sight_areas
    assert area.reach_m == pytest.approx(26.7, abs=0.05)


# things -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "limit", "expected"),
    [("cover", 1.0, "no"), ("hydrant", 2.0, "no"), ("tree", 2.0, "no"), ("bin", 1.0, "no"),
     ("lamp column", 1.0, "no"), ("bench", 1.2, "no"), ("planter", 1.2, "no"),
     ("cabinet", 1.2, "no"), ("furniture", 1.0, "ask")],
)  # fmt: skip
def test_clearance_round_things(kind, limit, expected, wide, sites_of):
    """A thing 0.4 m across in line with the boxes: faces limit apart fit, a centimetre less not."""
    for apart, said in ((limit - 0.01, expected), (limit, "fits")):
        # Middle of the box at 50, its end at 50.5.
        wide.objects = [(kind, POINT(50.5 + apart + 0.2, 3.7), 0.4)]
        site = sites_of(wide, sizes=[SLIM], spacing_m=50.0)["L050.0"]
        (finding,) = [f for f in site.findings if f.limit == limit and f.figure == round(apart, 2)]
        assert finding.verdict == said, (apart, finding)
        assert finding.basis == "from the map"


def test_size_that_nobody_stated_is_assumed(wide, sites_of):
    wide.objects = [("cover", POINT(50, 5.2), None)]
    site = sites_of(wide, sizes=[SLIM], spacing_m=50.0)["L050.0"]
    assert of(site, "cover")[0].basis == "assumed"
    # Face of the box at 3.9, edge of a cover 0.6 m across at 4.9.
    assert of(site, "cover")[0].figure == pytest.approx(1.0, abs=0.01)


def test_planters_that_are_plots_are_kept_clear_of(wide, sites_of):
    wide.planters = [shapely.box(52, 3.5, 53.2, 4)]
    sites = sites_of(wide, sizes=[SLIM], spacing_m=0.5)
    # Ends at 50.5 + 1.2 = 51.7 beside 52: refused; at 50.3 + ... the box ends 1.2 m before 52.
    assert verdict(sites["L050.5"], "planter") == "no"
    assert verdict(sites["L050.0"], "planter") == "fits"
    assert verdict(sites["L055.0"], "planter") == "fits"


def test_a_bench_opposite_narrows_the_way(wide, sites_of):
    """Back at 7, a bench 0.6 deep before it: 7 - 0.6 - 4.0 = 2.4 m; a deeper one leaves 1.6."""
    for depth, left, said in ((0.6, 2.4, "fits"), (1.4, 1.6, "ask")):
        wide.objects = [("bench", shapely.box(49, 7 - depth, 51, 7), None)]
        site = sites_of(wide, sizes=[SLIM], spacing_m=50.0)["L050.0"]
        assert site.clear_m == pytest.approx(left, abs=1e-3)
        assert verdict(site, "clear_width") == said
        assert "bench" in of(site, "clear_width")[0].words


def test_door_keeps_the_way_to_the_kerb_free(wide, sites_of):
    """A door 1 m wide: 0.5 to each side, 0.3 more is asked, half the box 0.5."""
    wide.objects = [("door", POINT(50, 7), 1.0)]
    sites = sites_of(wide, sizes=[SLIM], spacing_m=0.25)
    assert verdict(sites["L050.0"], "door") == "no"
    assert verdict(sites["L051.25"], "door") == "no"
    assert verdict(sites["L051.5"], "door") == "fits"
    assert not of(sites["R050.0"], "door")


def test_bus_stop(straight, sites_of):
    """Boarding 3 m long and 2 m more is refused; within 6 m either way 3 m must stay clear."""
    straight.footways = [("left", shapely.box(0, 3, 100, 6.9), None)]
    straight.objects = [("bus stop", POINT(50, 3), 3.0)]
    sites = sites_of(straight, sizes=[SLIM], spacing_m=0.5, sides="left")
    assert verdict(sites["L053.5"], "bus_stop") == "no"
    assert verdict(sites["L054.0"], "bus_stop") == "fits"
    assert sites["L054.0"].clear_m == pytest.approx(2.9)
    assert verdict(sites["L054.0"], "clear_width") == "no"
    assert of(sites["L054.0"], "clear_width")[0].limit == 3.0
    assert sites["L057.0"].verdict == "fits"


# the road ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("width", "said"), [(3.7, "fits"), (3.6, "ask")])
def test_fire_route(width, said, straight, sites_of):
    """3.7 m between kerbs for a fire appliance (Essex design guide)."""
    straight.roads = [("High Street", straight.roads[0][1], width, "20")]
    near = width / 2
    straight.footways = [
        ("left", shapely.box(0, near, 100, near + 4), None),
        ("right", shapely.box(0, -near - 4, 100, -near), None),
    ]
    site = sites_of(straight, sizes=[SLIM], spacing_m=50.0)["L050.0"]
    assert verdict(site, "fire_route") == said
    assert site.verdict == said


def test_wall_bounds_what_nobody_measured(straight, sites_of):
    """No footway drawn, but a wall at 5.4: at most 5.4 - 4.0 = 1.4 m is left, which is a no."""
    straight.footways = []
    straight.barriers = [("wall", shapely.LineString([(0, 5.4), (100, 5.4)]))]
    sites = sites_of(straight, sizes=[SLIM], spacing_m=50.0)
    assert sites["L050.0"].clear_m == pytest.approx(1.4)
    assert sites["L050.0"].verdict == "no"
    assert sites["R050.0"].verdict == "measure"


def test_every_finding_says_what_it_rests_on(wide, sites_of):
    wide.objects = [("cover", POINT(50, 5), 0.6), ("door", POINT(20, 7), None)]
    ranks = ["fits", "ask", "measure", "no"]
    for site in sites_of(wide).values():
        assert site.verdict == max((f.verdict for f in site.findings), key=ranks.index)
        assert len({f.rule for f in site.findings}) == len(site.findings)
        for finding in site.findings:
            assert finding.basis in {"measured", "from the map", "assumed"}
            assert finding.words.endswith(".")
            assert finding.source
