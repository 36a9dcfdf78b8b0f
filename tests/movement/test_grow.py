"""Least-cost growth against scikit-image, worked on paper, and against geometry."""

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from skimage.graph import MCP_Geometric

from patchnet.core.errors import WrongUse
from patchnet.movement import grow as grow_module
from patchnet.movement.barrier_steps import Segments, Steps, crossings, gather_steps
from patchnet.movement.ground_links import touching_links
from patchnet.movement.grow import grow

ROOT2 = math.sqrt(2)
OCTILE_WORST = math.sqrt(4 - 2 * ROOT2)  # 1.0824: way at 22.5 degrees over straight line
BOTH = pytest.mark.parametrize("compiled", [True, False])


def ground(rng, rows, columns, sources, *, whole=False, holes=0.25):
    cost = rng.uniform(0.5, 20, (rows, columns)).astype(np.float32)
    if whole:
        cost = rng.integers(1, 4, (rows, columns)).astype(np.float32)
    cost[rng.random((rows, columns)) < holes] = np.inf
    labels = np.zeros((rows, columns), np.int32)
    places = rng.choice(rows * columns, sources, replace=False)
    labels.ravel()[places] = np.arange(1, sources + 1)
    return cost, labels


def reference(cost, labels):
    """Costs by scikit-image; the cells of sources are free, as ours are."""
    surface = cost.astype(np.float64)
    source = (labels > 0) & np.isfinite(cost)
    surface[source] = 0
    surface[np.isinf(surface)] = -1
    found, _ = MCP_Geometric(surface).find_costs(np.argwhere(source))
    return found


def steps_of_lines(lines, cell_m, shape, extra=math.inf, opened=1.0):
    """Steps closed by lines on a grid whose south-west corner is at 0, 0."""
    pieces = [
        (*one, *two, number) for number, line in enumerate(lines) for one, two in pairwise(line)
    ]
    x0, y0, x1, y1, barrier = np.array(pieces, float).T
    segments = Segments(x0, y0, x1, y1, np.zeros(len(x0)), barrier.astype(np.int32))
    found = crossings(segments, 0, shape[0] * cell_m, cell_m, shape)
    n = len(found.key)
    return gather_steps(found, np.full(n, extra), np.full(n, opened), np.zeros(n, np.bool_))


# against scikit-image -----------------------------------------------------------------------


@BOTH
@pytest.mark.parametrize("seed", range(6))
def test_costs_equal_scikit_image(seed, compiled):
    rng = np.random.default_rng(seed)
    rows, columns = rng.integers(3, 70, 2)
    cost, labels = ground(rng, rows, columns, 1 + seed % 5, whole=seed % 2 == 1)
    ours = grow(cost, labels, compiled=compiled).cost
    np.testing.assert_allclose(ours, reference(cost, labels), rtol=1e-9)


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 2**32 - 1), st.integers(1, 12), st.integers(1, 12), st.booleans(),
    st.sampled_from([0.0, 0.3, 0.7]),
)  # fmt: skip
def test_compiled_and_plain_are_the_same_to_the_last_bit(seed, rows, columns, whole, holes):
    """Costs, owners, ways and links, also where many ways cost the same."""
    rng = np.random.default_rng(seed)
    cost, labels = ground(rng, rows, columns, min(4, rows * columns), whole=whole, holes=holes)
    lines = [rng.uniform(0, 12, (3, 2)) for _ in range(2)]
    steps = steps_of_lines(lines, 1, cost.shape, extra=rng.choice([2.0, math.inf]))
    limit = rng.choice([5.0, math.inf])
    one, two = (
        grow(cost, labels, steps=steps, limit=limit, compiled=compiled)
        for compiled in (True, False)
    )
    np.testing.assert_array_equal(one.cost, two.cost)
    np.testing.assert_array_equal(one.owner, two.owner)
    np.testing.assert_array_equal(one.came, two.came)
    for first, second in zip(touching_links(one)[:3], touching_links(two)[:3], strict=True):
        np.testing.assert_array_equal(first, second)
    ways = touching_links(one)[3], touching_links(two)[3]
    np.testing.assert_array_equal(ways[0].row, ways[1].row)
    np.testing.assert_array_equal(ways[0].length_m, ways[1].length_m)


def test_costs_of_any_range_take_the_heap_and_give_the_same(monkeypatch):
    """A millionth beside a million: too wide for buckets; and the heap forced on plain ground."""
    rng = np.random.default_rng(5)
    cost, labels = ground(rng, 30, 40, 3)
    wide = cost.copy()
    wide[rng.random(cost.shape) < 0.3] = 1e6
    wide[rng.random(cost.shape) < 0.3] = 1e-6
    found = grow(wide, labels, compiled=True)
    np.testing.assert_allclose(found.cost, reference(wide, labels), rtol=1e-9)
    bucket = grow(cost, labels, compiled=True)
    monkeypatch.setattr(grow_module, "_BUCKETS_MOST", 0)
    heap = grow(cost, labels, compiled=True)
    np.testing.assert_array_equal(bucket.cost, heap.cost)
    np.testing.assert_array_equal(bucket.owner, heap.owner)
    np.testing.assert_array_equal(bucket.came, heap.came)


@pytest.mark.parametrize("seed", range(4))
def test_buckets_leave_out_only_what_a_heap_would_not_use(seed, monkeypatch):
    """The heap looks at all eight neighbours, the buckets at those the cell before does not see.

    Fences that close or make dearer are what could hide a neighbour from the cell before.
    """
    rng = np.random.default_rng(seed)
    cost, labels = ground(rng, 60, 90, 5, whole=seed % 2 == 0, holes=0.1)
    lines = [rng.uniform(0, 90, 2) + np.cumsum(rng.uniform(-4, 4, (9, 2)), 0) for _ in range(60)]
    steps = steps_of_lines(lines, 1, cost.shape, extra=(2.0, math.inf)[seed // 2])
    bucket = grow(cost, labels, steps=steps, compiled=True)
    monkeypatch.setattr(grow_module, "_BUCKETS_MOST", 0)
    heap = grow(cost, labels, steps=steps, compiled=True)
    np.testing.assert_array_equal(bucket.cost, heap.cost)
    np.testing.assert_array_equal(bucket.owner, heap.owner)
    np.testing.assert_array_equal(bucket.came, heap.came)


# worked on paper ------------------------------------------------------------------------------


@BOTH
def test_a_court_with_one_gap(compiled):
    """A court of 3 x 3 cells in a ground of 7 x 7, cost 1, cells of 1 m; a gap to the north.

    ::

        row 0  . . . . . . .
        row 1  . . . 3 4 5 .      the way: a, 2 (inside), through the gap to 3, 4, 5, 6, b
        row 2  . .|. 2 .|6 .
        row 3  . .|. a .|. b
        row 4  . .|. . .|. .

    From the edge of a to the centre of 2 half a metre; through the gap one metre and 1 for the
    crossing; 3 to 4, 4 to 5 and 5 to 6 one metre each (4 to 6 straight would cut the corner of
    the wall); 6 to the corner of b half a diagonal, 0.7071. Cost 0.5 + 2 + 3 + 0.7071 = 6.2071;
    length 1 less, 5.2071.
    """
    cost = np.ones((7, 7), np.float32)
    labels = np.zeros((7, 7), np.int32)
    labels[3, 3], labels[3, 6] = 1, 2
    ring = [(1.9, 1.9), (5.1, 1.9), (5.1, 5.1), (1.9, 5.1), (1.9, 1.9)]
    steps = steps_of_lines([ring], 1, (7, 7))
    closed = grow(cost, labels, steps=steps, compiled=compiled)
    assert (closed.owner == 1).sum() == 9, "walled in: the court and nothing else"
    gap = (1 * 7 + 3) * 4 + 1  # from row 1, column 3 south
    steps.extra[np.searchsorted(steps.key, gap)] = 1.0
    first, second, total, ways = touching_links(grow(cost, labels, steps=steps, compiled=compiled))
    assert (first.tolist(), second.tolist()) == ([1], [2])
    assert total[0] == pytest.approx(5.5 + ROOT2 / 2, abs=1e-12)
    assert ways.length_m[0] == pytest.approx(4.5 + ROOT2 / 2, abs=1e-12)
    assert list(zip(ways.row.tolist(), ways.column.tolist(), strict=True)) == [
        (3, 3), (2, 3), (1, 3), (1, 4), (1, 5), (2, 5), (3, 6),
    ]  # fmt: skip


@BOTH
def test_round_the_end_of_a_fence(compiled):
    """Four cells of 1 m, the source to the south-west, a fence between it and the cell north.

    ::

        b  c      c is half a diagonal from the edge of the source, 0.7071; b lies behind the
        -         fence and is one metre from c, 1.7071 in all (the way over d is 0.5 + 1.4142).
        a  d
    """
    fence = steps_of_lines([[(-1, 1), (0.9, 1)]], 1, (2, 2))
    labels = np.array([[0, 0], [1, 0]], np.int32)
    growth = grow(np.ones((2, 2), np.float32), labels, steps=fence, compiled=compiled)
    np.testing.assert_allclose(
        growth.cost, [[ROOT2 / 2 + 1, ROOT2 / 2], [0, 0.5]], rtol=0, atol=1e-12
    )


@BOTH
def test_two_costs_in_a_row(compiled):
    """Cells of 2 m in a row, costs 1, 4, 9 between two patches.

    Half steps: 2/2 x 1 into the first; 2 x (1 + 4)/2 = 5; 2 x (4 + 9)/2 = 13; out 2/2 x 9 = 9.
    Together 28 = 2 x (1 + 4 + 9): every cell is crossed whole. Length 6 m.
    """
    cost = np.array([[7, 1, 4, 9, 7]], np.float32)
    labels = np.array([[1, 0, 0, 0, 2]], np.int32)
    _, _, total, ways = touching_links(grow(cost, labels, cell_m=2, compiled=compiled))
    assert total.tolist() == [28]
    assert ways.length_m.tolist() == [6]


@BOTH
def test_plots_that_touch_are_no_distance_apart(compiled):
    growth = grow(np.ones((1, 2), np.float32), np.array([[1, 2]], np.int32), compiled=compiled)
    _, _, total, ways = touching_links(growth)
    assert (total.tolist(), ways.length_m.tolist()) == ([0], [0])


@BOTH
def test_of_equal_ways_the_lower_label_counts(compiled):
    """The middle cell is 1.5 m from both ends; it goes to source 1 on whichever side that is."""
    cost = np.ones((1, 5), np.float32)
    for labels in ([[1, 0, 0, 0, 2]], [[2, 0, 0, 0, 1]]):
        owner = grow(cost, np.array(labels, np.int32), compiled=compiled).owner
        assert owner[0, 2] == 1


@BOTH
def test_nothing_is_looked_for_beyond_the_limit(compiled):
    cost = np.ones((1, 9), np.float32)
    labels = np.array([[1, 0, 0, 0, 0, 0, 0, 0, 0]], np.int32)
    growth = grow(cost, labels, limit=3.5, compiled=compiled)
    assert growth.cost[0].tolist() == [0, 0.5, 1.5, 2.5, 3.5, *[math.inf] * 4]
    with pytest.raises(WrongUse, match="not reached"):
        growth.ways(np.array([8]))


@BOTH
def test_no_source_and_all_closed(compiled):
    cost = np.full((3, 3), np.inf, np.float32)
    labels = np.zeros((3, 3), np.int32)
    assert np.isinf(grow(cost, labels, compiled=compiled).cost).all()
    labels[1, 1] = 1
    growth = grow(cost, labels, compiled=compiled)
    assert (growth.owner == 0).all(), "a source that is closed is none"
    assert [len(part) for part in touching_links(growth)[:3]] == [0, 0, 0]


@pytest.mark.parametrize(
    ("cost", "labels", "cell"),
    [
        (np.zeros((2, 2)), np.zeros((2, 2)), 1),
        (np.full((2, 2), np.nan), np.zeros((2, 2)), 1),
        (np.ones((2, 2)), np.zeros((2, 3)), 1),
        (np.ones(4), np.zeros(4), 1),
        (np.ones((2, 2)), np.full((2, 2), -1), 1),
        (np.ones((2, 2)), np.zeros((2, 2)), 0),
    ],
)
def test_wrong_use(cost, labels, cell):
    with pytest.raises(WrongUse):
        grow(cost.astype(np.float32), labels.astype(np.int32), cell_m=cell)


def test_inputs_are_not_changed():
    cost, labels = ground(np.random.default_rng(0), 9, 9, 2)
    before = cost.copy(), labels.copy()
    grow(cost, labels, compiled=False)
    np.testing.assert_array_equal(cost, before[0])
    np.testing.assert_array_equal(labels, before[1])


# geometry -------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(3))
def test_a_quarter_turn_changes_nothing(seed):
    cost, labels = ground(np.random.default_rng(seed), 21, 34, 3)
    one = grow(cost, labels, compiled=False)
    two = grow(np.rot90(cost).copy(), np.rot90(labels).copy(), compiled=False)
    np.testing.assert_allclose(np.rot90(one.cost), two.cost, rtol=1e-12)
    np.testing.assert_array_equal(np.rot90(one.owner), two.owner)


@pytest.mark.parametrize("degrees", [0, 10, 22.5, 30, 45, 60, 67.5, 90])
def test_error_of_eight_directions(degrees):
    """Over even ground a way costs between the straight line and 1.0824 times that.

    The way of eight directions is max + (sqrt 2 - 1) min of the two legs; over the straight
    line that is most at 22.5 degrees: sqrt(4 - 2 sqrt 2) = 1.0824, of which the straight line
    is 7.6 % short. (Half a cell of each end lies within the sources.)
    """
    size = 201
    labels = np.zeros((size, size), np.int32)
    labels[100, 100] = 1
    cost = grow(np.ones((size, size), np.float32), labels, compiled=True).cost
    right, up = (round(95 * math.cos(math.radians(degrees))),
                 round(95 * math.sin(math.radians(degrees))))  # fmt: skip
    ratio = cost[100 - up, 100 + right] / math.hypot(right, up)
    legs, short = sorted([right, up]), 0.71 / math.hypot(right, up)
    assert 1 - short <= ratio <= OCTILE_WORST
    assert ratio == pytest.approx(
        (legs[1] + (ROOT2 - 1) * legs[0]) / math.hypot(right, up), abs=short
    )
    assert abs(OCTILE_WORST - 1.0824) < 1e-4
    assert abs(1 - 1 / OCTILE_WORST - 0.076) < 1e-3


@pytest.mark.parametrize("cell", [2.0, 1.0, 0.5, 0.25])
def test_round_a_straight_wall(cell):
    """Ten metres from the middle of a wall of 20 m to ten metres behind it: 2 x 10 sqrt 2 m.

    Both halves run at 45 degrees, so the ways of eight directions are exact; what is left is the
    cells: at most two of them.
    """
    size = int(48 / cell)
    middle = 24.0
    labels = np.zeros((size, size), np.int32)
    at = int(middle / cell)
    labels[at, int((middle - 10) / cell)] = 1
    labels[at, int((middle + 10) / cell)] = 2
    wall = steps_of_lines([[(middle, middle - 10), (middle, middle + 10)]], cell, (size, size))
    growth = grow(np.ones((size, size), np.float32), labels, cell_m=cell, steps=wall)
    _, _, total, _ = touching_links(growth)
    assert total[0] == pytest.approx(20 * ROOT2, abs=2 * cell)


@pytest.mark.parametrize("cell", [1.0, 0.5, 0.25])
def test_round_a_round_building(cell):
    """Half way round a circle of 10 m.

    Ways of eight directions go round the regular octagon that touches the circle: half its
    outline is 8 r tan 22.5 degrees = 33.14 m (the half circle is 31.42 m, 5.2 % shorter). What is
    left is the cells: at most three of them.
    """
    radius, size = 10.0, int(40 / cell)
    centre = (np.arange(size) + 0.5) * cell - 20
    inside = np.hypot(centre[:, None], centre[None, :]) < radius
    cost = np.where(inside, np.inf, 1).astype(np.float32)
    labels = np.zeros((size, size), np.int32)
    row = size // 2
    labels[row, int((20 - radius) / cell) - 1] = 1
    labels[row, int((20 + radius) / cell)] = 2
    _, _, total, _ = touching_links(grow(cost, labels, cell_m=cell))
    octagon = 8 * radius * math.tan(math.radians(22.5))
    assert total[0] == pytest.approx(octagon, abs=3 * cell)
    assert octagon / (math.pi * radius) == pytest.approx(1.0548, abs=1e-4)


# barriers -------------------------------------------------------------------------------------


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from(["any", "on centres", "on corners"]))
def test_a_closed_ring_never_leaks(seed, placed):
    """Whatever its shape and however thin: nothing that grows inside comes out, nor in."""
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0, 2 * math.pi, rng.integers(3, 12)))
    far = rng.uniform(2, 9, len(angle))
    points = np.c_[10.3 + far * np.cos(angle), 10.7 + far * np.sin(angle)]
    if placed == "on centres":
        points = np.floor(points) + 0.5
    elif placed == "on corners":
        points = np.floor(points)
    ring = np.vstack([points, points[:1]])
    shape = (21, 21)
    court = shapely.Polygon(ring).buffer(0)
    steps = steps_of_lines([ring], 1, shape)
    labels = np.zeros(shape, np.int32)
    y, x = np.indices(shape) + 0.5
    centres = shapely.points(x, 21 - y)
    inside = shapely.contains(court.buffer(-1e-5), centres)
    outside = ~shapely.intersects(court.buffer(1e-5), centres)
    labels[0, 0] = 1
    from_outside = grow(np.ones(shape, np.float32), labels, steps=steps, compiled=True)
    assert not (from_outside.owner[inside] > 0).any()
    from_inside = grow(
        np.ones(shape, np.float32), inside.astype(np.int32), steps=steps, compiled=True
    )
    assert not (from_inside.owner[outside] > 0).any()


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from([0.5, 1.0, 2.0]))
def test_steps_found_are_those_that_shapely_finds(seed, cell):
    rng = np.random.default_rng(seed)
    shape = (6, 8)
    line = rng.uniform(-1, 9, (4, 2)) * cell
    found = set(steps_of_lines([line], cell, shape).key.tolist())
    drawn = shapely.LineString(line)
    expected = set()
    for row in range(shape[0]):
        for column in range(shape[1]):
            for d, (down, right) in enumerate(((0, 1), (1, 0), (1, 1), (1, -1))):
                r, c = row + down, column + right
                if r >= shape[0] or not 0 <= c < shape[1]:
                    continue
                step = shapely.LineString(
                    [
                        ((column + 0.5) * cell, (shape[0] - row - 0.5) * cell),
                        ((c + 0.5) * cell, (shape[0] - r - 0.5) * cell),
                    ]
                )
                if step.intersects(drawn):
                    expected.add((row * shape[1] + column) * 4 + d)
    assert found == expected


def test_no_barrier():
    assert len(Steps.none().key) == 0
    assert not Steps.none().flags((3, 4)).any()


@BOTH
def test_a_barrier_that_can_be_crossed_costs_its_crossing(compiled):
    """Five cells of 1 m, a fence between the second and third: 3 m and 15 for the fence."""
    steps = steps_of_lines([[(2, -1), (2, 2)]], 1, (1, 5), extra=15.0)
    labels = np.array([[1, 0, 0, 0, 2]], np.int32)
    growth = grow(np.ones((1, 5), np.float32), labels, steps=steps, compiled=compiled)
    assert touching_links(growth)[2].tolist() == [18]


# grown on -----------------------------------------------------------------------------------


@settings(max_examples=150, deadline=None)
@given(
    st.integers(0, 2**32 - 1), st.integers(2, 14), st.integers(2, 14), st.booleans(),
    st.sampled_from([0.0, 0.3, 0.6]), st.sampled_from([5.0, 20.0, math.inf]),
)  # fmt: skip
def test_grown_on_is_grown_afresh_to_the_last_bit(seed, rows, columns, whole, holes, limit):
    """One source after the other is taken out or put in: costs, owners, directions, links.

    With whole costs and no holes nearly every cell is reached in several ways that cost the same.
    """
    rng = np.random.default_rng(seed)
    cost, labels = ground(rng, rows, columns, min(5, rows * columns), whole=whole, holes=holes)
    if seed % 2:  # sources of several cells
        labels = np.where(labels == 0, np.roll(labels, 1, axis=1), labels)
    lines = [rng.uniform(0, 12, (3, 2)) for _ in range(2)]
    steps = steps_of_lines(lines, 1, cost.shape, extra=rng.choice([2.0, math.inf]))
    present = rng.random(6) < 0.6
    present[0] = False
    there = np.where(present[labels], labels, 0)
    grown = grow(cost, there, steps=steps, limit=limit, compiled=True)
    for label in rng.integers(1, 6, 6).tolist():
        cells = np.flatnonzero((labels == label) & np.isfinite(cost))
        present[label] = not present[label]
        if not len(cells):
            continue
        grown = grown.turned(label, cells, cost, limit=limit)
        there = np.where(present[labels], labels, 0)
        afresh = grow(cost, there, steps=steps, limit=limit, compiled=True)
        np.testing.assert_array_equal(grown.cost, afresh.cost)
        np.testing.assert_array_equal(grown.owner, afresh.owner)
        reached = afresh.owner > 0
        np.testing.assert_array_equal(grown.came[reached], afresh.came[reached])
        for one, other in zip(touching_links(grown)[:3], touching_links(afresh)[:3], strict=True):
            np.testing.assert_array_equal(one, other)


def test_wide_even_ground_is_grown_on_over_once_and_not_along_every_way():
    """There are endlessly many ways that cost the same: no cell may wait once for each of them."""
    cost = np.ones((150, 150), np.float32)
    labels = np.zeros(cost.shape, np.int32)
    labels[10, 10], labels[70:80, 70:80], labels[140, 20] = 1, 2, 3
    grown = grow(cost, labels, compiled=True)
    cells = np.flatnonzero(labels == 2)
    without = grow(cost, np.where(labels == 2, 0, labels), compiled=True)
    fewer = grown.turned(2, cells, cost, limit=math.inf)
    np.testing.assert_array_equal(fewer.cost, without.cost)
    np.testing.assert_array_equal(fewer.owner, without.owner)
    back = fewer.turned(2, cells, cost, limit=math.inf)
    np.testing.assert_array_equal(back.owner, grown.owner)


def test_what_was_grown_on_from_stays_as_it_is():
    rng = np.random.default_rng(4)
    cost, labels = ground(rng, 30, 30, 5)
    grown = grow(cost, labels, compiled=True)
    before = grown.cost.copy(), grown.owner.copy()
    cells = np.flatnonzero((labels == 3) & np.isfinite(cost))
    assert grown.turned(3, cells, cost, limit=math.inf) is not None
    np.testing.assert_array_equal(grown.cost, before[0])
    np.testing.assert_array_equal(grown.owner, before[1])


def test_a_plain_growth_is_not_grown_on():
    cost, labels = ground(np.random.default_rng(1), 9, 9, 3)
    grown = grow(cost, labels, compiled=False)
    assert grown.turned(1, np.flatnonzero(labels == 1), cost, limit=math.inf) is None
