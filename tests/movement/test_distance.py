"""Edge-to-edge distances: worked cases, brute force, and the two routes against each other."""

import doctest
import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity

from patchnet.core import compiled as compiling
from patchnet.core.errors import WrongUse
from patchnet.movement import distance
from patchnet.movement.distance import Pairs, crossing_line, pairs_apart, pairs_within

ROUTES = pytest.mark.parametrize("compiled", [False, True], ids=["plain", "compiled"])


def as_dict(pairs: Pairs) -> dict[tuple[int, int], int]:
    ends = zip(pairs.i.tolist(), pairs.j.tolist(), strict=True)
    return dict(zip(ends, pairs.length_mm.tolist(), strict=True))


def within(shapes, radius, compiled):
    return as_dict(pairs_within(np.array(shapes, dtype=object), radius, compiled=compiled))


def test_examples_in_the_docstrings():
    assert doctest.testmod(distance).failed == 0


@ROUTES
def test_row_of_boxes(compiled):
    """Four boxes 6 m wide in a row, starting at x = 0, 6, 15 and 60; radius 10 m.

    0 and 1 share the edge x = 6: 0. 1 ends at 12, 2 starts at 15: 3 m. 0 ends at 6: 9 m to 2.
    Box 3 starts 39 m after the end of 2: no pair.
    """
    boxes = [shapely.box(x, 0, x + 6, 20) for x in (0, 6, 15, 60)]
    assert within(boxes, 10, compiled) == {(0, 1): 0, (0, 2): 9000, (1, 2): 3000}


@ROUTES
def test_corner_to_corner_is_three_four_five(compiled):
    """Corners (1, 1) and (4, 5): 3 across, 4 along, so 5 m; corner to slanted edge below.

    The edge from (2, 0) to (0, 2) is the line x + y = 2; from (0, 0) it is 2 / sqrt 2 =
    1.41421 m, which rounds to 1414 mm.
    """
    assert within([shapely.box(0, 0, 1, 1), shapely.box(4, 5, 6, 6)], 6, compiled) == {(0, 1): 5000}
    slanted = shapely.Polygon([(2, 0), (2, 2), (0, 2)])
    assert within([shapely.box(-1, -1, 0, 0), slanted], 6, compiled) == {(0, 1): 1414}


@ROUTES
def test_inside_a_hole_and_inside_the_plot(compiled):
    """A 30 m courtyard plot with a 20 m hole from (5, 5) to (25, 25).

    The shed from (10, 10) to (12, 12) in the hole stands 5 m from the hole's edges at x = 5 and
    y = 5. The shed from (1, 1) to (3, 3) lies in the plot itself: 0. Between the sheds the
    corners (3, 3) and (10, 10) are 7 sqrt 2 = 9.899495 m apart: 9899 mm.
    """
    court = shapely.box(0, 0, 30, 30) - shapely.box(5, 5, 25, 25)
    in_hole, in_plot = shapely.box(10, 10, 12, 12), shapely.box(1, 1, 3, 3)
    expected = {(0, 1): 5000, (0, 2): 0, (1, 2): 9899}
    assert within([court, in_hole, in_plot], 50, compiled) == expected


@ROUTES
def test_a_part_in_the_hole_and_a_part_far_away(compiled):
    """The nearer part counts; a second part inside the other plot makes it 0."""
    court = shapely.box(0, 0, 30, 30) - shapely.box(5, 5, 25, 25)
    two = shapely.MultiPolygon([shapely.box(10, 10, 12, 12), shapely.box(100, 0, 110, 5)])
    assert within([court, two], 50, compiled) == {(0, 1): 5000}
    three = shapely.MultiPolygon([*two.geoms, shapely.box(1, 1, 3, 3)])
    assert within([court, three], 50, compiled) == {(0, 1): 0}


@ROUTES
def test_cross_without_a_vertex_inside(compiled):
    """A plus sign: two bars that cross, no corner of one inside the other."""
    bars = [shapely.box(0, 4, 10, 6), shapely.box(4, 0, 6, 10)]
    assert within(bars, 0, compiled) == {(0, 1): 0}


@ROUTES
def test_same_plot_twice_and_repeated_vertices(compiled):
    plot = shapely.Polygon([(0, 0), (0, 0), (6, 0), (6, 20), (6, 20), (0, 20)])
    assert within([plot, plot, shapely.box(7, 0, 8, 1)], 1, compiled) == {
        (0, 1): 0,
        (0, 2): 1000,
        (1, 2): 1000,
    }


@ROUTES
def test_the_radius_belongs_to_it(compiled):
    boxes = [shapely.box(0, 0, 1, 1), shapely.box(11, 0, 12, 1)]
    assert within(boxes, 10, compiled) == {(0, 1): 10_000}
    assert within(boxes, 9.999, compiled) == {}


@ROUTES
@pytest.mark.parametrize("shift", [0.0, 431_234.0, 5_721_000.0])
def test_half_millimetres_go_down_wherever_the_map_lies(compiled, shift):
    """2.0005 m is 2000 mm, 2.0006 m is 2001 mm, also with seven digits before the point."""
    for gap, expected in ((2.0005, 2000), (2.0006, 2001), (2.0004, 2000)):
        boxes = [shapely.box(shift, shift, shift + 1, shift + 1)]
        boxes.append(shapely.box(shift + 1 + gap, shift, shift + 9, shift + 1))
        assert within(boxes, 10, compiled) == {(0, 1): expected}


@ROUTES
@pytest.mark.parametrize("count", [0, 1])
def test_nothing_to_pair(compiled, count):
    pairs = pairs_within(np.array([shapely.box(0, 0, 1, 1)] * count), 10, compiled=compiled)
    assert len(pairs.i) == len(pairs.j) == len(pairs.length_mm) == 0
    assert (pairs.i.dtype, pairs.j.dtype, pairs.length_mm.dtype) == (np.int32, np.int32, np.int64)


@pytest.mark.parametrize(
    ("shapes", "radius", "word"),
    [
        ([shapely.Point(0, 0)], 1, "number 0"),
        ([shapely.box(0, 0, 1, 1), shapely.Polygon()], 1, "number 1"),
        ([shapely.box(0, 0, 1, 1), None], 1, "something else"),
        ([shapely.box(0, 0, 1, 1)], -1, "radius"),
        ([shapely.box(0, 0, 1, 1)], float("nan"), "radius"),
        ([[shapely.box(0, 0, 1, 1)]], 1, "one-dimensional"),
    ],
)
def test_wrong_use_is_said(shapes, radius, word):
    with pytest.raises(WrongUse, match=word):
        pairs_within(np.array(shapes, dtype=object), radius)


def test_without_numba(monkeypatch):
    monkeypatch.setattr(compiling.importlib.util, "find_spec", lambda name: None)
    boxes = [shapely.box(0, 0, 1, 1), shapely.box(3, 0, 4, 1)]
    assert within(boxes, 10, None) == {(0, 1): 2000}
    with pytest.raises(WrongUse, match="numba"):
        within(boxes, 10, True)


@ROUTES
@pytest.mark.parametrize("first", [0, 1, 7, 30])
def test_pairs_of_the_first_alone(compiled, first):
    rng = np.random.default_rng(first)
    low = rng.uniform(0, 90, (30, 2))
    boxes = shapely.box(*low.T, *(low + rng.uniform(1, 9, (30, 2))).T)
    every = pairs_within(boxes, 25, compiled=False)
    found = pairs_within(boxes, 25, compiled=compiled, sources=first)
    assert as_dict(found) == {
        (i, j): length for (i, j), length in as_dict(every).items() if i < first
    }


@pytest.mark.parametrize("parts", [1, 2, 5, 30])
def test_pairs_of_two_parts_alone(parts):
    """As all pairs, without those of one part; also where the largest part has no number 0."""
    rng = np.random.default_rng(parts)
    low = rng.uniform(0, 90, (30, 2))
    boxes = shapely.box(*low.T, *(low + rng.uniform(1, 9, (30, 2))).T)
    part = np.minimum(rng.integers(0, 2 * parts, 30), parts - 1)
    found = pairs_apart(boxes, part, 25)
    every = as_dict(pairs_within(boxes, 25, compiled=False))
    assert as_dict(found) == {
        (i, j): length for (i, j), length in every.items() if part[i] != part[j]
    }
    ends = list(zip(found.i.tolist(), found.j.tolist(), strict=True))
    assert ends == sorted(ends)


def test_upto_keeps_the_shorter_pairs():
    boxes = np.array([shapely.box(x, 0, x + 1, 1) for x in (0, 3, 9)])
    pairs = pairs_within(boxes, 20)
    assert as_dict(pairs.upto(5)) == as_dict(pairs_within(boxes, 5)) == {(0, 1): 2000, (1, 2): 5000}


def test_crossing_line_is_as_long_as_the_distance():
    a, b = shapely.box(0, 0, 6, 20), shapely.Polygon([(9, 30), (20, 22), (20, 40)])
    line = crossing_line(a, b)
    assert line.length == pytest.approx(shapely.distance(a, b), abs=1e-12)
    assert a.distance(shapely.Point(line.coords[0])) == pytest.approx(0, abs=1e-12)
    assert b.distance(shapely.Point(line.coords[1])) == pytest.approx(0, abs=1e-12)


# A second route: every pair by shapely, no index.


@st.composite
def plots(draw):
    """Blocky and slanted plots, with holes, parts, nesting and touching edges."""
    corner = st.integers(0, 40)
    shapes = []
    for _ in range(draw(st.integers(2, 7))):
        x, y = draw(corner), draw(corner)
        w, h = draw(st.integers(1, 15)), draw(st.integers(1, 15))
        kind = draw(st.sampled_from(["box", "frame", "pair", "turned", "triangle"]))
        shape = shapely.box(x, y, x + w, y + h)
        if kind == "frame" and min(w, h) > 4:
            shape -= shapely.box(x + 1, y + 1, x + w - 1, y + h - 1)
        elif kind == "pair":
            shape = shapely.MultiPolygon([shape, shapely.box(x + w + 3, y, x + w + 5, y + 2)])
        elif kind == "turned":
            shape = affinity.rotate(shape, draw(st.floats(0, 90)))
        elif kind == "triangle":
            shape = shapely.Polygon([(x, y), (x + w, y), (x, y + h)])
        shapes.append(shape)
    return shapes


@settings(max_examples=200, deadline=None)
@given(shapes=plots(), radius=st.sampled_from([0, 3, 12, 100]))
def test_both_routes_equal_every_pair_by_shapely(shapes, radius):
    expected = {}
    for (i, a), (j, b) in itertools.combinations(enumerate(shapes), 2):
        millimetres = shapely.distance(a, b) * 1000
        length = int(np.floor(millimetres + 0.49999))
        if length <= radius * 1000:
            expected[i, j] = length
    assert within(shapes, radius, False) == expected
    assert within(shapes, radius, True) == expected


@settings(max_examples=40, deadline=None)
@given(shapes=plots(), angle=st.floats(0, 360), east=st.floats(-1e6, 1e6), north=st.floats(0, 7e6))
def test_moving_and_turning_changes_no_distance(shapes, angle, east, north):
    """Equal to 1 mm: coordinates of seven digits carry about 1 nm, so only a rounding may tip."""
    moved = [
        affinity.translate(affinity.rotate(s, angle, origin=(0, 0)), east, north) for s in shapes
    ]
    before, after = within(shapes, 200, True), within(moved, 200, True)
    assert before.keys() == after.keys()
    assert all(abs(before[pair] - after[pair]) <= 1 for pair in before)


@ROUTES
def test_street_of_many_blocks_of_sources(compiled):
    """1,300 plots: more than one block of sources, a park across many cells, far-off plots."""
    random = np.random.default_rng(7)
    shapes = [shapely.box(x, y, x + 6, y + 20) for x in range(0, 600, 7) for y in range(0, 390, 26)]
    shapes = [
        affinity.rotate(s, a) for s, a in zip(shapes, random.uniform(-5, 5, 9999), strict=False)
    ]
    shapes += [shapely.box(-200, 400, 800, 900), shapely.box(50_000, 0, 50_010, 5)]
    random.shuffle(shapes)
    array = np.array(shapes)
    pairs = pairs_within(array, 20, compiled=compiled)
    assert np.all(np.diff(pairs.i.astype(np.int64) * len(array) + pairs.j) > 0)
    tree = shapely.STRtree(array)
    i, j = tree.query(array, predicate="dwithin", distance=20)
    keep = i < j
    expected = np.floor(shapely.distance(array[i[keep]], array[j[keep]]) * 1000 + 0.49999)
    assert as_dict(pairs) == dict(
        zip(zip(i[keep].tolist(), j[keep].tolist(), strict=True), expected.tolist(), strict=True)
    )


def test_results_do_not_depend_on_threads():
    order = list(compiling.in_threads(lambda k: k * k, range(50), threads=3))
    assert order == list(compiling.in_threads(lambda k: k * k, range(50), threads=1))
    assert order == [k * k for k in range(50)]
