"""Which things of one name are one street, on paper.

Roads are lines along x, houses points; 300 m is near, 300.5 m is not.
"""

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import LineString, Point

from patchnet.street.one_name import streets_of_one_name

NEAR = 300.0


def together(*shapes, apart=NEAR):
    return streets_of_one_name(shapes, apart).tolist()


def test_pieces_that_touch_or_lie_near_are_one_street():
    west = LineString([(0, 0), (100, 0)])
    touching, across_the_park = LineString([(100, 0), (200, 50)]), LineString([(400, 0), (450, 0)])
    assert together(west, touching) == [0, 0]
    assert together(west, across_the_park) == [0, 0]


def test_two_far_apart_are_two_to_the_half_metre():
    """The gap is measured from end to end in any direction: 300 m along x, 180 and 240 m aslant."""
    west = LineString([(0, 0), (100, 0)])
    assert together(west, LineString([(400, 0), (500, 0)])) == [0, 0]
    assert together(west, LineString([(400.5, 0), (500, 0)])) == [0, 1]
    assert together(west, LineString([(280, 240), (500, 240)])) == [0, 0]
    assert together(west, LineString([(280.5, 240), (500, 240)])) == [0, 1]


def test_houses_between_two_pieces_make_them_one():
    """500 m of gap, and one house of the name in the middle: 250 m to either piece."""
    west, east = LineString([(0, 0), (100, 0)]), LineString([(600, 0), (700, 0)])
    assert together(west, east) == [0, 1]
    assert together(west, east, Point(350, 0)) == [0, 0, 0]


def test_a_house_far_from_the_road_of_its_name_is_of_another_street():
    road = LineString([(0, 0), (100, 0)])
    assert together(road, Point(50, 20), Point(50, 2000), Point(80, 2010)) == [0, 0, 1, 1]


def test_without_a_limit_all_are_one():
    assert together(Point(0, 0), Point(9e6, 0), apart=np.inf) == [0, 0]


@given(
    st.lists(
        st.tuples(st.integers(0, 3000), st.integers(0, 3000)), min_size=1, max_size=12, unique=True
    )
)
def test_the_partition_is_that_of_buffers_that_touch(places):
    """A second route: what lies within half the distance of each, joined (GEOS buffers).

    Buffers are drawn inside their circles, so pairs within a metre of the limit are left out.
    """
    points = [Point(xy) for xy in places]
    apart = [a.distance(b) for k, a in enumerate(points) for b in points[:k]]
    if any(abs(metres - NEAR) < 1 for metres in apart):
        return
    grounds = shapely.get_parts(
        shapely.union_all(shapely.buffer(points, NEAR / 2 + 0.25, quad_segs=64))
    )
    told = together(*points)
    again = [int(np.argmin(shapely.distance(grounds, point))) for point in points]
    pairs = [(a, b) for a in range(len(points)) for b in range(a)]
    assert all((told[a] == told[b]) == (again[a] == again[b]) for a, b in pairs)
