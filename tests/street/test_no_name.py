"""Roads without a name: which pieces are one road, and how one is chosen by points beside it.

The drawing, in metres: a lane without a name runs from (0, 0) over (100, 0) to (200, 10), drawn in
two pieces, the second from east to west. A spur leaves it northwards at (100, 0). Mill Lane, which
has a name, begins where the lane ends and goes on straight.
"""

import geopandas as gpd
import momepy
import numpy as np
import pytest
import shapely
from shapely import LineString, Point

from patchnet.core.errors import WrongUse
from patchnet.street import find_street, planter_sites
from patchnet.street.no_name import roads_without_a_name
from patchnet.street.road_line import Piece, pieces_of

EAST, NORTH = 450_000.0, 210_000.0
WEST_PIECE, EAST_PIECE = LineString([(0, 0), (100, 0)]), LineString([(200, 10), (100, 0)])
SPUR, MILL = LineString([(100, 0), (100, 80)]), LineString([(200, 10), (300, 20)])


def piece(*corners):
    return Piece(np.array(corners, dtype=float), np.nan, np.nan)


def numbers(pieces, bend=45, snap=0.5):
    found = roads_without_a_name(pieces, bend_deg=bend, snap_m=snap)
    return [[at for at, _ in road] for road in found]


@pytest.mark.parametrize(("rise", "together"), [(40, True), (41, True), (42, True), (43, False)])
def test_a_bend_is_measured_to_the_degree(rise, together):
    """Over 45 m the second piece rises so much: atan(42 / 45) is 43.0, atan(43 / 45) 43.7."""
    two = [piece((0, 0), (50, 0)), piece((50, 0), (95, rise))]
    assert (len(numbers(two, bend=43.5)) == 1) == together


def test_the_two_that_turn_least_are_one_then_the_next_two():
    """A skew crossroads: west to east turns by 0, north to south by 11 (atan of 10 / 50)."""
    west, east = piece((-50, 0), (0, 0)), piece((0, 0), (50, 0))
    north, south = piece((0, 0), (10, 50)), piece((0, -50), (0, 0))
    assert numbers([west, south, east, north]) == [[0, 2], [1, 3]]
    assert numbers([north, east, south, west]) == [[2, 0], [3, 1]]


def test_ends_meet_within_the_snap_and_no_further():
    apart = [piece((0, 0), (50, 0)), piece((50.4, 0), (90, 0)), piece((90.6, 0), (120, 0))]
    assert numbers(apart) == [[0, 1], [2]]


def test_the_road_is_the_same_from_each_of_its_pieces():
    """The longest piece, drawn from east to west, says which way metres are counted."""
    pieces = [piece((0, 0), (40, 0)), piece((120, 0), (40, 0)), piece((120, 0), (150, 5))]
    lines = set()
    for order in ([0, 1, 2], [2, 1, 0], [1, 0, 2]):
        (road,) = roads_without_a_name([pieces[at] for at in order], bend_deg=45, snap_m=0.5)
        lines.add(LineString(np.vstack([each.corners for _, each in road])).simplify(0).wkt)
    assert lines == {"LINESTRING (150 5, 120 0, 0 0)"}


def test_a_ring_ends_where_it_began():
    round_about = [piece((0, 0), (100, 0), (100, 60)), piece((100, 60), (100, 100), (0, 100)),
                   piece((0, 100), (0, 0))]  # fmt: skip
    assert numbers(round_about, bend=91) == [[0, 1, 2]]
    assert numbers([piece((0, 0), (9, 0), (9, 9), (0, 0))], bend=180) == [[0]]


def test_roads_of_bubenec_are_those_of_momepy():
    """A second route: strokes of the same principle by momepy (COINS, Tripathy et al. 2021).

    COINS joins two ends only if each is the other's straightest. At one skew crossroads of
    Bubenec two arms are straightest for each other once the straighter pair is taken (34 degrees,
    measured in the drawing): COINS leaves them two roads, the rule here makes them one.
    """
    streets = gpd.read_file(momepy.datasets.get_path("bubenec"), layer="streets").to_crs(32633)
    attribute = momepy.COINS(streets, angle_threshold=180 - 45).stroke_attribute().to_numpy()
    strokes = {frozenset(np.flatnonzero(attribute == one).tolist()) for one in set(attribute)}
    own = {frozenset(road) for road in numbers(pieces_of(streets.assign(width_m=np.nan)))}
    assert strokes - own == {frozenset({2, 23}), frozenset({6, 8, 9})}
    assert own - strokes == {frozenset({2, 6, 8, 9, 23})}


@pytest.fixture
def bare(scene):
    """The drawing, with a footway of 4 m on the left of the lane's western piece."""
    rows = [("", WEST_PIECE, 6.0, "20"), ("", EAST_PIECE, 6.0, "20"), ("", SPUR, 5.0, "20"),
            ("Mill Lane", MILL, 6.0, "20")]  # fmt: skip
    return scene(roads=rows, footways=[("", shapely.box(0, 3, 95, 7), None)])


def at(*points):
    return [Point(EAST + x, NORTH + y) for x, y in points]


def test_the_nearest_road_as_far_as_it_runs_straight_on(bare, know):
    hood = bare.built(know)
    street = find_street(hood, at=at((150, 20)))
    assert street.length_m == pytest.approx(100 + np.hypot(100, 10))
    assert street.name == "road without a name (450100,210000)"
    # The two are as good as one length, and the longer was drawn from the east.
    assert shapely.get_coordinates(street.line)[0].tolist() == [EAST + 200, NORTH + 10]
    assert "no name" in street.notes[0]
    sites = planter_sites(hood, street, knowledge=know)
    assert {site.side for site in sites if site.clear_m is not None} == {"right"}
    # The spur is a side road: who waits in it must see.
    assert any("road without a name" in area.label for area in street.sight_areas)


def test_more_points_say_it_better(bare, know):
    """One by the corner is nearer to the spur (4 m) than to the lane (5); two more are along it."""
    hood = bare.built(know)
    assert find_street(hood, at=at((96, 5))).length_m == pytest.approx(80)
    both = find_street(hood, at=at((96, 5), (20, 20)), called="Back Lane")
    assert both.length_m > 200
    assert both.name == "Back Lane"


def test_a_point_by_a_road_with_a_name_finds_that(bare, know):
    hood = bare.built(know)
    assert find_street(hood, at=Point(EAST + 280, NORTH)).name == "Mill Lane"


def test_what_is_drawn_twice_is_no_side_road(bare, know):
    bare.roads.append(("", WEST_PIECE.reverse(), 6.0, "20"))
    street = find_street(bare.built(know), at=at((20, 5)))
    assert street.length_m > 200
    assert street.other_carriageways.intersection(
        shapely.box(EAST, NORTH - 3, EAST + 80, NORTH + 3)
    ).is_empty


def test_refusals_name_the_way_out(bare, know):
    hood = bare.built(know)
    with pytest.raises(WrongUse, match=r"3 roads have no name on the map: choose one by a plot"):
        find_street(hood, "Lane")
    with pytest.raises(WrongUse, match=r"Say which road is meant.*--at.*Mill Lane"):
        find_street(hood)
    bare.roads = [("", shapely.box(0, -3, 100, 3), None, "")]
    bare.far_road = False
    with pytest.raises(WrongUse, match=r"drawn as areas only"):
        find_street(bare.built(know), at=at((0, 0)))
    bare.roads = []
    with pytest.raises(WrongUse, match="There is no layer of roads"):
        find_street(bare.built(know), at=at((0, 0)))
