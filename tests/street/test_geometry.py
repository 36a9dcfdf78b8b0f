"""Chainage, offsets and widths on roads whose answers can be written down."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.knowledge.street import PlanterSize
from patchnet.street.clear_width import clear_width

BOX = PlanterSize("box", "box", 1.2, 0.5, 0.6, 0.5, 0.15)
SLIM = PlanterSize("slim", "slim", 1.0, 0.4, 0.5, 0.4, 0.1)
EAST, NORTH = 450_000.0, 210_000.0


def rule(site, name):
    return next(finding for finding in site.findings if finding.rule == name)


def test_straight_road(straight, sites_of):
    """Kerb at 3, box from 3.5 to 4.0, plants to 4.15, back of the footway at 6: 1.85 m is left.

    On the right 5 - 3 - 0.5 - 0.5 - 0.15 = 0.85 m.
    """
    sites = sites_of(straight, sizes=[BOX], spacing_m=2.0)
    left = sites["L012.0"]
    assert left.chainage_m == 12.0
    assert left.offset_m == 0.5
    assert left.clear_m == 1.85
    assert left.footway_m == 3.0
    assert left.bearing_deg == pytest.approx(90.0)
    assert left.verdict == "ask"
    assert left.clear_basis == "from the map"
    assert shapely.equals_exact(
        shapely.normalize(left.polygon),
        shapely.normalize(shapely.box(EAST + 11.4, NORTH + 3.5, EAST + 12.6, NORTH + 4.0)),
        tolerance=1e-6,
    )
    right = sites["R012.0"]
    assert right.clear_m == 0.85
    assert right.verdict == "no"
    assert right.centre.distance(shapely.Point(EAST + 12, NORTH - 3.75)) < 1e-6
    assert right.bearing_deg == pytest.approx(90.0)


def test_sites_stand_at_the_spacing_and_within_the_road(straight, sites_of):
    """Boxes of 1.2 m: the first place is 2 m from the start, the last 98 m."""
    sites = sites_of(straight, sizes=[BOX], spacing_m=2.0)
    assert sorted(s.chainage_m for s in sites.values() if s.side == "left") == [
        float(at) for at in range(2, 99, 2)
    ]
    one = sites_of(straight, sizes=[BOX], spacing_m=2.0, sides="right")
    assert set(one) == {key for key in sites if key.startswith("R")}
    fine = sites_of(straight, sizes=[BOX], spacing_m=0.25, sides="left")
    assert "L012.25" in fine
    assert len(fine) == len({site.chainage_m for site in fine.values()})


@pytest.fixture(scope="module")
def arc_scene(scene):
    """A half circle of radius 50 m drawn anticlockwise: left is inside."""
    angles = np.radians(np.arange(0, 180.01, 0.25))

    def ring(radius):
        return [(radius * math.cos(a), radius * math.sin(a)) for a in angles]

    return scene(
        roads=[("High Street", shapely.LineString(ring(50)), 6.0, "20")],
        footways=[
            ("inner", shapely.Polygon([*ring(47), *reversed(ring(43.5))]), None),
            ("outer", shapely.Polygon([*ring(53), *reversed(ring(56.5))]), None),
        ],
    )


def test_curved_road(arc_scene, sites_of):
    """Radius 50, kerbs at 47 and 53, backs at 43.5 and 56.5, box 1.2 x 0.5 with 0.15 of plants.

    Outside the middle of the near face touches the circle of 53.5; the far corners of the plants
    lie at sqrt(54.15^2 + 0.75^2) = 54.1552, so 56.5 - 54.1552 = 2.3448 m is left. Inside the ends
    of the near face touch the circle of 46.5: its middle is at sqrt(46.5^2 - 0.6^2) = 46.4961,
    the plants reach in to 46.4961 - 0.65 = 45.8461, and 45.8461 - 43.5 = 2.3461 m is left.
    """
    sites = sites_of(arc_scene, sizes=[BOX], spacing_m=10.0)
    for chainage in (30.0, 70.0, 120.0):
        angle = chainage / 50
        outer, inner = sites[f"R{chainage:05.1f}"], sites[f"L{chainage:05.1f}"]
        assert outer.offset_m == pytest.approx(0.5, abs=2e-3)
        assert inner.offset_m == pytest.approx(0.5, abs=2e-3)
        assert outer.clear_m == pytest.approx(2.3448, abs=3e-3)
        assert inner.clear_m == pytest.approx(2.3461, abs=3e-3)
        assert outer.footway_m == pytest.approx(3.5, abs=2e-3)
        for site, radius in ((outer, 53.75), (inner, 46.4961 - 0.25)):
            there = shapely.Point(EAST + radius * math.cos(angle), NORTH + radius * math.sin(angle))
            assert site.centre.distance(there) < 5e-3
            # Anticlockwise the road runs (-sin, cos): a bearing of minus the angle.
            assert site.bearing_deg == pytest.approx(-math.degrees(angle) % 360, abs=0.05)


def test_footway_from_the_road_alone_takes_the_kerb_and_asks_to_measure(straight, sites_of):
    straight.footways = []
    site = sites_of(straight, sizes=[SLIM], spacing_m=10.0)["L050.0"]
    assert site.offset_m == 0.5
    assert site.clear_m is None
    assert site.footway_m is None
    assert site.verdict == "measure"
    # 0.5 to the kerb, 0.4 of box, 0.1 of plants, 2.0 to walk.
    assert rule(site, "on_footway").limit == pytest.approx(3.0)
    assert site.centre.distance(shapely.Point(EAST + 50, NORTH + 3.7)) < 1e-6


def test_a_footway_line_with_a_width_is_as_good_as_an_area(straight, sites_of):
    """Middle at 4.5, 3 m wide: from 3 to 6; somebody stated it, so it counts as measured."""
    straight.footways = [("left", shapely.LineString([(0, 4.5), (100, 4.5)]), 3.0)]
    sites = sites_of(straight, sizes=[BOX], spacing_m=10.0)
    assert sites["L050.0"].clear_m == 1.85
    assert sites["L050.0"].clear_basis == "measured"
    # On the right there is none on the map: nobody knows, so it is to be measured.
    assert {site.verdict for site in sites.values() if site.side == "right"} == {"measure"}


def test_verge_between_kerb_and_footway(straight, sites_of):
    """A verge from 3 to 4.5: the box stands on the paving, 1.5 m from the kerb."""
    straight.footways = [("left", shapely.box(0, 4.5, 100, 7.5), None)]
    site = sites_of(straight, sizes=[BOX], spacing_m=10.0)["L050.0"]
    assert site.offset_m == 1.5
    assert site.clear_m == pytest.approx(7.5 - 4.5 - 0.5 - 0.15)
    assert site.verdict == "fits"


def test_the_narrowest_point_along_the_box_counts(straight, sites_of):
    """A corner of a house juts 0.6 m into the footway from 50.2 to 50.5: 6 - 0.6 - 4.15 = 1.25."""
    straight.buildings = [("house", shapely.box(50.2, 5.4, 50.5, 9), None)]
    sites = sites_of(straight, sizes=[BOX], spacing_m=10.0)
    assert sites["L050.0"].clear_m == pytest.approx(1.25, abs=0.011)
    assert sites["L050.0"].verdict == "no"
    assert sites["L040.0"].clear_m == 1.85


# clear width ------------------------------------------------------------------------------

PLANTER = shapely.box(-1, 0, 1, 1)
BACK = shapely.LineString([(-30, 4), (30, 4)])


@pytest.mark.parametrize(
    ("things", "width"),
    [
        ([], 3.0),
        # A post of 0.2 m between the two: 1.4 m on one side, 1.4 on the other.
        ([(0.0, 2.5, 0.1)], 1.4),
        # The same nearer the planter: people take the wider side, 4 - 2 - 0.1 = 1.9.
        ([(0.0, 2.0, 0.1)], 1.9),
        # Two posts side by side, 1 m apart at their faces: the best of 0.9, 1.0 and 0.7.
        ([(0.0, 2.0, 0.1), (0.0, 3.2, 0.1)], 1.0),
    ],
)
def test_clear_width_by_hand(things, width):
    shapes = [("post", shapely.Point(x, y).buffer(r, quad_segs=64)) for x, y, r in things]
    assert clear_width(PLANTER, BACK, shapes).width_m == pytest.approx(width, abs=1e-3)


def passes(width, obstacles):
    """Second route: whether the middle of a disc that wide can be moved from end to end."""
    room = shapely.box(-30, width / 2, 30, 4 - width / 2)
    free = room.difference(shapely.union_all(obstacles).buffer(width / 2, quad_segs=64))
    return any(part.bounds[0] <= -30 and part.bounds[2] >= 30 for part in shapely.get_parts(free))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(-1, 1), st.floats(1.2, 3.8), st.floats(0.05, 0.3)), max_size=5))
def test_clear_width_is_that_of_the_widest_disc(things):
    shapes = [shapely.Point(x, y).buffer(r) for x, y, r in things]
    width = clear_width(PLANTER, BACK, [("post", shape) for shape in shapes]).width_m
    obstacles = [PLANTER, *shapes]
    if width > 0.02:
        assert passes(0.98 * width, obstacles)
    assert not passes(1.02 * width + 0.01, obstacles)
