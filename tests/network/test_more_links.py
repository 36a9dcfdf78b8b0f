"""One more link: exact against all pairs, against brute force, and a row by hand."""

import tracemalloc
from unittest.mock import patch

import networkx as nx
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds.link_cases import growing, patches, random_case

from patchnet.network import link_bounds, one_more_link
from patchnet.network.more_links import more_links
from patchnet.network.patch_graph import PatchGraph


def over_all_pairs(network, p_cut, *, a, b, cost, most):
    """The plain way: every link tried, all n x n routes over it, the whole sum again."""
    homes, k = network.homes, network.k_per_m
    lengths = all_routes(network)

    def with_link(lengths, a, b, cost):
        over = lengths[:, a, None] + round(1000 * cost) + lengths[None, b, :]
        return np.minimum(lengths, np.minimum(over, over.T))

    def summed(lengths):
        chances = np.exp(-k * lengths / 1000)
        return homes @ np.where(chances >= p_cut * (1 - 1e-12), chances, 0.0) @ homes

    for _ in range(most):
        numerator = summed(lengths)
        gains = [
            summed(with_link(lengths, i, j, c)) - numerator
            for i, j, c in zip(a, b, cost, strict=True)
        ]
        best = int(np.argmax(gains))
        if gains[best] <= 1e-9 * max(numerator, 1e-9):
            return
        before = lengths[a[best], b[best]] / 1000
        yield best, before, np.sqrt(numerator + gains[best]) - np.sqrt(numerator)
        lengths = with_link(lengths, a[best], b[best], cost[best])


def all_routes(network):
    """Shape (n, n), millimetres, however unlikely; inf where there is no route."""
    graph = nx.Graph()
    graph.add_nodes_from(range(len(network.homes)))
    ends = zip(network.i.tolist(), network.j.tolist(), network.length_mm.tolist(), strict=True)
    graph.add_weighted_edges_from(ends)
    lengths = np.full((len(network.homes),) * 2, np.inf)
    for i, far in nx.all_pairs_dijkstra_path_length(graph):
        lengths[i, list(far)] = list(far.values())
    return lengths


@settings(max_examples=200, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1), p_cut=st.sampled_from([0.0, 1e-4, 0.05, 0.3]),
    held=st.sampled_from([1, 40, 500_000]), kept=st.sampled_from([0, 30, 10**6]),
    small=st.sampled_from([0, 150]),
)  # fmt: skip
def test_the_local_sum_is_the_sum_over_all_pairs(seed, p_cut, held, kept, small):
    """However much is held at once or kept, all routes of few patches or not; cut alike in both."""
    network, links = random_case(seed)
    with (
        patch.object(one_more_link, "_SMALL", small),
        patch.object(one_more_link, "HELD", held),
        patch.object(one_more_link, "_KEPT", kept),
        patch.object(link_bounds, "HELD", held),
    ):
        found = list(more_links(growing(network, p_cut), **links, most=4))
    expected = list(over_all_pairs(network, p_cut, **links, most=4))
    assert [link.at for link in found] == [at for at, _, _ in expected]
    assert [link.before for link in found] == [before for _, before, _ in expected]
    assert [link.won for link in found] == pytest.approx(
        [won for _, _, won in expected], rel=1e-7, abs=1e-9
    )


@settings(max_examples=150, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), p_cut=st.sampled_from([0.0, 0.05, 0.3]))
def test_no_link_wins_more_than_its_bound(seed, p_cut):
    """Nor less than nothing; where no routes are there today it is what the link wins, uncut."""
    network, links = random_case(seed)
    street = growing(network, p_cut)
    bounds, rises = link_bounds.link_bounds(street, **links).most, street.rises(*links.values())
    assert (rises >= 0).all()
    assert (rises <= bounds * (1 + 1e-9) + 1e-9 * street.numerator).all()
    if p_cut == 0:
        apart = street.part[links["a"]] != street.part[links["b"]]
        assert rises[apart] == pytest.approx(bounds[apart], rel=1e-9, abs=1e-6)


def test_two_links_in_turn_by_hand():
    """Three patches of 1 home, none joined; half arrive after 10 m.

    A link of 10 m: numerator 3 to 3 + 2 x 0.5 = 4, so sqrt(4) - sqrt(3). Then one of 20 m from its
    end: chances 0.25 and, over both, 0.125: 4 + 2 x 0.375 = 4.75.
    """
    apart = growing(patches([1, 1, 1], {}, 10))
    links = {"a": np.array([1, 0]), "b": np.array([2, 1]), "cost": np.array([20.0, 10.0])}
    first, second = more_links(apart, **links, most=5)
    assert (first.at, first.before, first.after) == (1, np.inf, 10)
    assert first.won == pytest.approx(2 - 3**0.5)
    assert (second.at, second.after) == (0, 20)
    assert second.won == pytest.approx(4.75**0.5 - 2)


def test_a_link_no_shorter_than_the_way_there_is_wins_nothing():
    linked = growing(patches([1, 1], {(0, 1): 10_000}, 7))
    links = {"a": np.array([0]), "b": np.array([1]), "cost": np.array([10.0])}
    assert list(more_links(linked, **links, most=3)) == []


def test_no_candidates():
    none = {"a": np.zeros(0, np.intp), "b": np.zeros(0, np.intp), "cost": np.zeros(0)}
    assert list(more_links(growing(patches([1, 1], {}, 7)), **none, most=3)) == []


def test_of_links_that_win_alike_the_first_candidate_is_taken():
    """Half arrive after 10 m; pairs of 1 home each, no way from pair to pair.

    The last candidate shortens 10 m to nothing: 2 x (1 - 0.5) = 1. It is looked at first, as it
    could have won 2. The middle one joins a pair over 10 m: 2 x 0.5 = 1, as much. The first
    joins one over 40 m: 2 / 16.
    """
    pairs = growing(patches([1] * 6, {(4, 5): 10_000}, 10))
    links = {"a": np.array([0, 2, 4]), "b": np.array([1, 3, 5]), "cost": np.array([40.0, 10.0, 0])}
    found = more_links(pairs, **links, most=3)
    assert [one.at for one in found] == [1, 2, 0]


@pytest.mark.parametrize(("small", "named"), [(0.04, True), (0.03, False)])
def test_a_link_is_worth_naming_from_a_thousand_millionth_of_the_whole_on(small, named):
    """Beside 1,000 homes the numerator is 10^6, so a gain counts from 0.001 on.

    Two patches of s homes, joined over the distance at which half arrive, win 2 x 0.5 s^2: 0.0016
    for 0.04, 0.0009 for 0.03.
    """
    links = {"a": np.array([1]), "b": np.array([2]), "cost": np.array([10.0])}
    found = list(more_links(growing(patches([1000, small, small], {}, 10)), **links, most=1))
    assert [one.at for one in found] == ([0] if named else [])


def test_a_route_that_gets_likely_enough_is_won_whole():
    """Half arrive after 10 m and what is less likely than a tenth counts as none.

    Two patches of 1 home are 50 m apart, 1/32: too far, sqrt(2) homes. A link of 30 m makes that
    1/8: sqrt(2 + 2 / 8), though the way there is today is told. One of 34 m, 0.095, makes nothing.
    """
    far = patches([1, 1], {(0, 1): 50_000}, 10)
    links = {"a": np.array([0, 0]), "b": np.array([1, 1]), "cost": np.array([34.0, 30.0])}
    (only,) = more_links(growing(far, 0.1), **links, most=2)
    assert (only.at, only.before, only.after) == (1, 50, 30)
    assert only.won == pytest.approx(2.25**0.5 - 2**0.5)


def rows_of_gardens(rows, across):
    """Gardens 10 m apart in each row; fences between rows, every fifth to be opened for 5 m."""
    at = np.arange(rows * across).reshape(rows, across)
    i, j = at[:, :-1].ravel().astype(np.int32), at[:, 1:].ravel().astype(np.int32)
    homes = np.where(at.ravel() % 3, 1.0, 0.0)
    mm = np.full(len(i), 10_000, np.int64)
    network = PatchGraph(pd.RangeIndex(at.size), homes, i, j, mm, 200.0)
    a, b = at[:-1, ::5].ravel(), at[1:, ::5].ravel()
    return network, {"a": a, "b": b, "cost": np.full(len(a), 5.0)}


@pytest.mark.parametrize(("rows", "across"), [(500, 8), (2, 2000)])
def test_routes_are_not_held_for_all_pairs(rows, across):
    """4,000 patches: all routes would take 128 MB, in short rows as in two that are joined."""
    network, links = rows_of_gardens(rows, across)
    street = growing(network)
    tracemalloc.start()
    found = list(more_links(street, **links, most=2))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(found) == 2
    assert peak < len(network.homes) ** 2 * 8 / 2
