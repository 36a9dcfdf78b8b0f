"""Forward sight inside bends, against the formula of the trade and a worked example of a textbook.

Depth of the crescent from the middle of the inner lane: m = R (1 - cos(S / 2R)), S measured along
that line (Manual for Streets 2007, figure 7.19; AASHTO Green Book, horizontal sightline offset).
"""

import math

import pytest
import shapely

from patchnet.knowledge.street import PlanterSize
from patchnet.street.forward_sight import forward_areas
from patchnet.street.sight_areas import Road

SLIM = PlanterSize("slim", "slim", 1.0, 0.4, 0.5, 0.4, 0.1)
FOOT = 0.3048


def arc(radius, degrees=180.0, step=0.25):
    """Part of a circle round the origin, anticlockwise: its left is its inside."""
    count = int(degrees / step) + 1
    return shapely.LineString(
        [
            (radius * math.cos(math.radians(k * step)), radius * math.sin(math.radians(k * step)))
            for k in range(count)
        ]
    )


def depth_behind_kerb(radius, half, reach, know):
    """How far behind the inside kerb the crescent reaches in the middle of the bend."""
    road = Road("Bend", arc(radius), half, 20.0, "from the map")
    areas = forward_areas(road, reach, knowledge=know)
    if not areas:
        return 0.0
    area = max(areas, key=lambda one: one.polygon.area)
    middle = shapely.LineString([(0, 0), (0, radius - half)])  # the ray at 90 degrees
    cut = shapely.intersection(middle, area.polygon)
    return cut.length


def test_worked_example_of_a_textbook(know):
    """A bend of 2,000 ft on a road of two lanes of 12 ft, sight 570 ft: 20.33 ft from the middle
    of the inner lane, so 14.33 ft behind its edge.

    F. Mannering and S. Washburn, Principles of highway engineering and traffic analysis, chapter
    3 (stopping sight distance on horizontal curves); numbers from memory. By hand: R = 1,994 ft,
    1994 x (1 - cos(570 / 3988)) = 1994 x 0.010197 = 20.33 ft.
    """
    found = depth_behind_kerb(2000 * FOOT, 12 * FOOT, 570 * FOOT, know)
    assert found == pytest.approx(14.33 * FOOT, abs=0.02)


@pytest.mark.parametrize(
    ("radius", "sight", "depth"),
    # Radius of the middle of the inner lane, sight, depth from there: worked with a calculator.
    [(20, 17, 1.78), (20, 25, 3.78), (30, 25, 2.57), (50, 25, 1.55), (50, 43, 4.55), (80, 43, 2.87),
     (100, 43, 2.30), (150, 43, 1.54)],
)  # fmt: skip
def test_depths_of_the_table(radius, sight, depth, know):
    """Lanes of 2.8 m: the middle of the inner one is 1.4 m from the kerb."""
    found = depth_behind_kerb(radius + 1.4, 2.8, sight, know)
    assert found == pytest.approx(depth - 1.4, abs=0.01)


@pytest.mark.parametrize(
    ("radius", "inside", "said"), [(50, "L", "fits"), (35, "L", "no"), (35, "R", "fits")]
)
def test_boxes_inside_a_bend(radius, inside, said, scene, sites_of):
    """20 mph, 24.9 m; road 6 m wide, the inner lane's middle 1.5 m from the kerb; plants from 0.4.

    R = 50: 48.5 x (1 - cos(24.9 / 97)) = 1.589, 0.09 m behind the kerb: clear.
    R = 35: 33.5 x (1 - cos(24.9 / 67)) = 2.286, 0.79 m behind the kerb: not clear.
    On the outside of a bend nothing is asked.
    """
    line = arc(radius)
    place = scene(
        roads=[("High Street", line, 6.0, "20")],
        footways=[
            ("in", arc(radius - 3).buffer(4, single_sided=True), None),
            ("out", arc(radius + 3).buffer(-4, single_sided=True), None),
        ],
    )
    sites = sites_of(place, sizes=[SLIM], spacing_m=5.0)
    middle = round(math.pi * radius / 2 / 5) * 5
    site = sites[f"{inside}{middle:05.1f}"]
    found = [one.verdict for one in site.findings if one.rule == "sight_forward"]
    assert found == ([] if said == "fits" else ["no"])


def test_a_straight_road_has_no_crescent_nor_one_drawn_a_little_crooked(know):
    line = shapely.LineString([(0, 0), (30, 0.4), (60, -0.3), (90, 0.2), (140, 0)])
    road = Road("Straight", line, 3.0, 20.0, "from the map")
    assert forward_areas(road, 25.0, knowledge=know) == []


def test_a_right_angle_is_seen_by_the_chord(know):
    """Two legs of 60 m: a chord of 25 m along the lane cuts the corner; in the middle of it the
    sight line lies 12.5 / sqrt 2 = 8.84 m from the corner of the lane."""
    line = shapely.LineString([(0, 0), (60, 0), (60, 60)])
    road = Road("Dog-leg", line, 3.0, 20.0, "from the map")
    (area,) = forward_areas(road, 25.0, knowledge=know)
    corner = shapely.Point(60 - 1.5, 1.5)  # of the inner lane's middle
    diagonal = shapely.LineString([corner, (58.5 - 20, 21.5)])
    far = shapely.intersection(diagonal, area.polygon)
    reached = max(shapely.Point(xy).distance(corner) for xy in far.coords)
    assert reached == pytest.approx(12.5 / math.sqrt(2), abs=0.1)
