"""A reach in bunches is the reach by pairs, whoever is measured and however the rows are cut."""

import numpy as np
import pytest
import scipy.sparse as sp
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.assess.bunches import BunchedReach, Bunches, blocks_in_bunches
from patchnet.assess.reach import Reach, RouteGraph
from patchnet.movement.distance import pairs_within


def made(seed, count):
    """Gardens side by side, some apart, some of odd shape."""
    rng = np.random.default_rng(seed)
    corner = np.column_stack([rng.integers(0, 40, count) * 6.0, rng.integers(0, 8, count) * 27.0])
    high = rng.choice([11.0, 20.0, 27.0], count)
    shapes = shapely.box(corner[:, 0], corner[:, 1], corner[:, 0] + 6, corner[:, 1] + high)
    turned = rng.random(count) < 0.2
    shapes[turned] = [
        shapely.Polygon([(x, y), (x + 9, y + 2), (x + 3, y + 14)]) for x, y in corner[turned]
    ]
    return shapes, rng


@given(
    seed=st.integers(0, 10_000), count=st.integers(1, 150), reach=st.sampled_from([0.0, 6, 33, 90]),
    cuts=st.integers(1, 4), compiled=st.booleans(),
)  # fmt: skip
@settings(max_examples=20, deadline=None)
def test_straight_lines(seed, count, reach, cuts, compiled):
    shapes, rng = made(seed, count)
    bunches = Bunches(shapes, compiled=compiled)
    parts = np.array_split(rng.permutation(count), cuts)
    runs = [bunches.rows_of_ones(part, round(reach * 1000)) for part in parts]
    plain = Reach(pairs_within(shapes, reach), np.ones(count, bool), hop_m=reach).within(reach)
    values = rng.random((count, 3))
    product = BunchedReach(bunches, lambda: runs)
    np.testing.assert_allclose(product @ values, plain @ values, rtol=1e-12)
    np.testing.assert_allclose(product.T @ values[:, 0], plain.T @ values[:, 0], rtol=1e-12)
    for plot in range(0, count, 7):
        assert product.row(plot).tolist() == np.sort(plain[[plot]].indices).tolist()
    assert BunchedReach(bunches, lambda: runs, listed=False).row(0).size == 0
    # As a net: one way along the edges from each row to each column that it reaches, no other.
    net = blocks_in_bunches(product)
    edges = sp.coo_array((np.ones(len(net.tail)), (net.tail, net.head)), (net.knots, net.knots))
    ways, step = np.zeros((net.knots, net.knots)), np.eye(net.knots)
    while step.any():
        step = step @ edges.tocsr()
        ways += step
    assert (ways[:count, count : 2 * count] == plain.toarray()).all()
    np.testing.assert_allclose(net.times(values), plain @ values, rtol=1e-12)
    np.testing.assert_allclose(net.transposed_times(values), plain.T @ values, rtol=1e-12)


@given(
    seed=st.integers(0, 10_000), count=st.integers(2, 120), hop=st.sampled_from([0.0, 8, 25]),
    cuts=st.integers(1, 3), pruned=st.booleans(),
)  # fmt: skip
@settings(max_examples=15, deadline=None)
def test_routes_over_stops(seed, count, hop, cuts, pruned):
    shapes, rng = made(seed, count)
    stops, reach = rng.random(count) < 0.6, 60.0
    pairs = pairs_within(shapes, reach)
    routes = RouteGraph.of(pairs, stops, round(hop * 1000))
    if pruned:
        routes = routes.pruned(stops)
    bunches = Bunches(shapes)
    parts = np.array_split(np.arange(count), cuts)
    runs = [bunches.rows_of_ones(part, 60_000, routes) for part in parts]
    plain = Reach(pairs, stops, hop_m=hop).within(reach)
    values = rng.random(count)
    product = BunchedReach(bunches, lambda: runs)
    np.testing.assert_allclose(product @ values, plain @ values, rtol=1e-12)


def test_few_blocks_stand_for_many_ones():
    """1,024 boxes in a square grid, all within reach of all: 32 x 32 bunches of 32."""
    x, y = (one.ravel() for one in np.meshgrid(np.arange(32.0), np.arange(32.0)))
    bunches = Bunches(shapely.box(x, y, x + 1, y + 1))
    found = bunches.rows_of_ones(np.arange(1024), 100_000)
    assert len(found["bunches"]) == 32 * 32


def test_a_reach_that_ends_at_an_edge():
    """Edges are 10 m apart: within 10 m, and not within 9.999 m."""
    shapes = np.array([shapely.box(0, 0, 6, 20), shapely.box(16, 0, 22, 20)])
    for reach_mm, reached in ((10_000, 2.0), (9_999, 1.0)):
        runs = [Bunches(shapes).rows_of_ones(np.arange(2), reach_mm)]
        product = BunchedReach(Bunches(shapes), lambda runs=runs: runs)
        assert (product @ np.ones(2)).tolist() == pytest.approx([reached, reached])


def test_pruned_moves_are_fewer_and_no_route_is_longer():
    """Lone gardens 10 m apart in a square: a hop of 45 m; routes of all lengths stay."""
    x, y = (one.ravel() for one in np.meshgrid(np.arange(7) * 16.0, np.arange(7) * 16.0))
    shapes = shapely.box(x, y, x + 6, y + 6)
    stops = np.arange(49) % 5 > 0
    plain = RouteGraph.of(pairs_within(shapes, 45), stops, 45_000)
    pruned = plain.pruned(stops)
    assert len(pruned.graph.data) < 0.7 * len(plain.graph.data)
    for plot in range(49):
        one, other = (graph.near_lengths(np.array([plot]), 90_000) for graph in (plain, pruned))
        there = one[1] >= 0
        assert (there == (other[1] >= 0)).all()
        assert one[0][0, one[1][there]].tolist() == other[0][0, other[1][there]].tolist()
