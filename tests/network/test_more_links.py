"""One more link: exact against all pairs, against brute force, and a row by hand."""

import itertools

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.network.more_links import more_links


def over_all_pairs(lengths, homes, k, *, a, b, cost, most):
    """The plain way: every link tried, all n x n routes over it, the whole sum again."""

    def with_link(lengths, a, b, cost):
        over = lengths[:, a, None] + cost + lengths[None, b, :]
        return np.minimum(lengths, np.minimum(over, over.T))

    for _ in range(most):
        numerator = homes @ np.exp(-k * lengths) @ homes
        gains = [
            homes @ np.exp(-k * with_link(lengths, i, j, c)) @ homes - numerator
            for i, j, c in zip(a, b, cost, strict=True)
        ]
        best = int(np.argmax(gains))
        if gains[best] <= 1e-9 * max(numerator, 1e-9):
            return
        yield best, lengths[a[best], b[best]], np.sqrt(numerator + gains[best]) - np.sqrt(numerator)
        lengths = with_link(lengths, a[best], b[best], cost[best])


def random_case(seed):
    """Routes of a random graph, some parts of it apart, some homes nought, links of any kind."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 16))
    graph = nx.Graph()
    graph.add_nodes_from(range(n))
    for i, j in itertools.combinations(range(n), 2):
        if rng.random() < rng.choice([0.05, 0.2, 0.5]):
            graph.add_edge(i, j, weight=float(rng.choice([0.0, rng.uniform(1, 100)])))
    lengths = np.full((n, n), np.inf)
    for i, far in nx.all_pairs_dijkstra_path_length(graph):
        for j, length in far.items():
            lengths[i, j] = length
    lengths = np.minimum(lengths, lengths.T)  # one sum in two orders may differ in its last bit
    homes = rng.uniform(0, 3, n) * (rng.random(n) < 0.8)
    pairs = [sorted(rng.choice(n, 2, replace=False)) for _ in range(int(rng.integers(1, 12)))]
    a, b = np.array(pairs, dtype=np.intp).T
    cost = rng.uniform(0, 80, len(pairs))
    return lengths, homes, float(rng.uniform(0.005, 0.1)), {"a": a, "b": b, "cost": cost}


@settings(max_examples=150, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_the_local_sum_is_the_sum_over_all_pairs(seed):
    lengths, homes, k, links = random_case(seed)
    found = list(more_links(lengths.copy(), homes, k, **links, most=4))
    expected = list(over_all_pairs(lengths, homes, k, **links, most=4))
    assert [link.at for link in found] == [at for at, _, _ in expected]
    assert [link.before for link in found] == [before for _, before, _ in expected]
    assert [link.won for link in found] == pytest.approx(
        [won for _, _, won in expected], rel=1e-7, abs=1e-9
    )


def test_two_links_in_turn_by_hand():
    """Three patches of 1 home, none joined; half arrive after 10 m.

    A link of 10 m: numerator 3 to 3 + 2 x 0.5 = 4, so sqrt(4) - sqrt(3). Then one of 20 m from its
    end: chances 0.25 and, over both, 0.125: 4 + 2 x 0.375 = 4.75.
    """
    apart = np.where(np.eye(3, dtype=bool), 0.0, np.inf)
    links = {"a": np.array([1, 0]), "b": np.array([2, 1]), "cost": np.array([20.0, 10.0])}
    first, second = more_links(apart, np.ones(3), np.log(2) / 10, **links, most=5)
    assert (first.at, first.before, first.after) == (1, np.inf, 10)
    assert first.won == pytest.approx(2 - 3**0.5)
    assert (second.at, second.after) == (0, 20)
    assert second.won == pytest.approx(4.75**0.5 - 2)


def test_a_link_no_shorter_than_the_way_there_is_wins_nothing():
    lengths = np.array([[0.0, 10], [10, 0]])
    links = {"a": np.array([0]), "b": np.array([1]), "cost": np.array([10.0])}
    assert list(more_links(lengths, np.ones(2), 0.1, **links, most=3)) == []


def test_of_links_that_win_alike_the_first_candidate_is_taken():
    """Half arrive after 10 m; pairs of 1 home each, no way from pair to pair.

    The last candidate shortens 10 m to nothing: 2 x (1 - 0.5) = 1. It is looked at first, as it
    could have won 2. The middle one joins a pair over 10 m: 2 x 0.5 = 1, as much. The first
    joins one over 40 m: 2 / 16.
    """
    lengths = np.where(np.eye(6, dtype=bool), 0.0, np.inf)
    lengths[4, 5] = lengths[5, 4] = 10
    links = {"a": np.array([0, 2, 4]), "b": np.array([1, 3, 5]), "cost": np.array([40.0, 10.0, 0])}
    found = more_links(lengths, np.ones(6), np.log(2) / 10, **links, most=3)
    assert [one.at for one in found] == [1, 2, 0]


@pytest.mark.parametrize(("small", "named"), [(0.04, True), (0.03, False)])
def test_a_link_is_worth_naming_from_a_thousand_millionth_of_the_whole_on(small, named):
    """Beside 1,000 homes the numerator is 10^6, so a gain counts from 0.001 on.

    Two patches of s homes, joined over the distance at which half arrive, win 2 x 0.5 s^2: 0.0016
    for 0.04, 0.0009 for 0.03.
    """
    lengths = np.where(np.eye(3, dtype=bool), 0.0, np.inf)
    links = {"a": np.array([1]), "b": np.array([2]), "cost": np.array([10.0])}
    homes = np.array([1000, small, small])
    found = list(more_links(lengths.copy(), homes, np.log(2) / 10, **links, most=1))
    assert [one.at for one in found] == ([0] if named else [])
