"""Sums over best routes from many patches at once, against routes from one patch at a time."""

from itertools import pairwise

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.core.errors import WrongUse
from patchnet.network.adjacency import Links
from patchnet.network.node_order import in_line
from patchnet.network.patch_graph import PatchGraph
from patchnet.network.routes import route_sums


def random_network(seed, n):
    """Links from none to 10 km long, some of them many times as long as others; several parts."""
    luck = np.random.default_rng(seed)
    some = luck.integers(0, n, (int(luck.integers(0, 4 * n)), 2))
    pairs = np.unique(np.sort(some[some[:, 0] != some[:, 1]], axis=1), axis=0)
    length = np.round(10.0 ** luck.uniform(0, 7, len(pairs)) * (luck.random(len(pairs)) < 0.9))
    homes = np.where(luck.random(n) < 0.6, luck.uniform(0, 3, n), 0.0)
    i, j = pairs.T.astype(np.int32)
    ids = [f"p{at}" for at in range(n)]
    return PatchGraph(ids, homes, i, j, length.astype(np.int64), float(luck.uniform(50, 3000)))


def by_networkx(graph, p_cut, node):
    """Flow and homes reached from one patch."""
    street = nx.Graph()
    street.add_nodes_from(range(len(graph.homes)))
    street.add_weighted_edges_from(
        zip(graph.i.tolist(), graph.j.tolist(), graph.length_mm.tolist(), strict=True)
    )
    found = nx.single_source_dijkstra_path_length(street, node)
    near = [(graph.homes[k], np.exp(-graph.k_per_m * mm / 1000)) for k, mm in found.items()]
    near = [one for one in near if one[1] >= p_cut * (1 - 1e-12)]
    return sum(homes * chance for homes, chance in near), sum(homes for homes, _ in near)


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1), n=st.integers(1, 60),
    p_cut=st.sampled_from([0.0, 1e-4, 0.3]), everywhere=st.booleans(),
)  # fmt: skip
def test_sums_are_those_of_one_route_after_another(seed, n, p_cut, everywhere):
    graph = random_network(seed, n)
    flow, reached = route_sums(graph, p_cut=p_cut, everywhere=everywhere, compiled=True)
    for node in range(n) if everywhere else np.flatnonzero(graph.homes).tolist():
        wanted = by_networkx(graph, p_cut, node)
        assert (flow[node], reached[node]) == pytest.approx(wanted, rel=1e-12, abs=1e-300)


def test_more_patches_than_are_asked_at_once_in_more_than_one_part():
    """Forty in a row and three alone: 40 = 16 + 16 + 8, and the far end is a hundred hops off."""
    n, step = 43, 90_000
    i = np.arange(39, dtype=np.int32)
    graph = PatchGraph(
        [f"p{at}" for at in range(n)], np.ones(n), i, i + 1, np.full(39, step), 1000.0
    )
    flow, reached = route_sums(graph, p_cut=1e-9, compiled=True)
    hops = np.abs(np.arange(40)[:, None] - np.arange(40))
    assert flow[:40] == pytest.approx((0.5 ** (hops * 0.09)).sum(axis=1), rel=1e-13)
    assert reached.tolist() == [40.0] * 40 + [1.0] * 3
    assert flow[40:].tolist() == [1.0] * 3


@given(st.integers(0, 2**32 - 1), st.integers(1, 40))
def test_in_line_each_patch_comes_once_and_parts_stay_together(seed, n):
    graph = random_network(seed, n)
    order = in_line(Links(n, graph.i, graph.j, graph.length_mm))
    assert sorted(order.tolist()) == list(range(n))
    street = nx.Graph(zip(graph.i.tolist(), graph.j.tolist(), strict=True))
    street.add_nodes_from(range(n))
    part = {node: at for at, some in enumerate(nx.connected_components(street)) for node in some}
    turns = [part[node] for node in order.tolist()]
    assert sum(one != other for one, other in pairwise(turns)) == len(set(turns)) - 1


def test_lengths_that_cannot_be_added_up_exactly_are_refused():
    ends = np.array([0], "i4"), np.array([1], "i4")
    graph = PatchGraph(["a", "b"], np.ones(2), *ends, np.array([2**53]), 1e12)
    with pytest.raises(WrongUse, match="too long to be added up"):
        route_sums(graph, p_cut=0, compiled=True)
