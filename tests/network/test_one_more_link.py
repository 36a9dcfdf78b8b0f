"""One link more in a network: what it wins, by a second route and on paper."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from patchnet.movement.distance import Pairs
from patchnet.network.build import patch_graph
from patchnet.network.measures import network_measures
from patchnet.network.one_more_link import GrowingNetwork


def network(homes, links):
    pairs = sorted(links)
    return patch_graph(
        [f"p{at}" for at in range(len(homes))],
        homes,
        Pairs(
            np.array([i for i, _ in pairs], np.int32),
            np.array([j for _, j in pairs], np.int32),
            np.array([links[pair] for pair in pairs], np.int64),
        ),
        hop_m=1_000,
        d50_m=50,
    )


def linked(homes, links, p_cut=0.0):
    return network_measures(network(homes, links), p_cut=p_cut, hops=False).eca


def test_three_in_a_row_on_paper():
    """a-b are 50 m apart, c alone. b-c over 50 m: a-c at 100 m; 1, 1/2 and 1/4 at d50 = 50.

    Numerators: 3 + 2/2 = 4, then 3 + 2 (1/2 + 1/2 + 1/4) = 5.5.
    """
    row = network([1, 1, 1], {(0, 1): 50_000})
    growing = GrowingNetwork(row, 2.0, p_cut=0)
    assert growing.length_m(2, 0) == math.inf
    assert growing.gain(1, 2, 50) == pytest.approx(math.sqrt(5.5) - 2)
    assert growing.add(2, 1, 50) == pytest.approx(math.sqrt(5.5) - 2)
    mm = growing.routes([0, 1, 2]).mm
    assert mm.tolist() == [[0, 5e4, 1e5], [5e4, 0, 5e4], [1e5, 5e4, 0]]
    assert growing.length_m(2, 0) == 100
    assert growing.gain(0, 2, 100) == 0  # as long as the way there is
    assert growing.gain(0, 1, 80) == 0
    assert growing.gain(0, 2, math.inf) == 0


def test_routes_stay_in_their_part_of_the_network_and_within_the_cut():
    """b, d and e stand in a row of 50 m each; a and c alone. p_cut = 1/2: no farther than 50 m."""
    row = network([1] * 5, {(1, 3): 50_000, (3, 4): 50_000})
    part = GrowingNetwork(row, 0.0, p_cut=0.5).routes([1])
    assert part.ends.tolist() == [1, 3, 4]
    assert part.mm.tolist() == [[0, 50_000, math.inf]]


def test_patches_that_touch_are_linked_by_nothing():
    """Links of no length are links, in the whole network as in a part of it."""
    for homes in ([1, 1], [1, 1, 1]):
        touching = GrowingNetwork(network(homes, {(0, 1): 0}), 0.0, p_cut=0.5)
        assert touching.routes([0, 1]).mm.tolist() == [[0, 0], [0, 0]]


ends = st.tuples(st.integers(0, 5), st.integers(0, 5)).filter(lambda pair: pair[0] < pair[1])
metres = st.integers(0, 300)


@settings(max_examples=80)
@example(homes=[0.0] * 5 + [2.5e-260], links={}, more=[((0, 1), 0)], p_cut=0.0)
@given(
    homes=st.lists(st.floats(0, 9), min_size=6, max_size=6),
    links=st.dictionaries(ends, metres, max_size=6),
    more=st.lists(st.tuples(ends, metres), min_size=1, max_size=4),
    p_cut=st.sampled_from([0.0, 1e-4, 0.3]),
)
def test_one_after_the_other_by_measuring_anew(homes, links, more, p_cut):
    links = {pair: 1000 * metres for pair, metres in links.items()}
    before = linked(homes, links, p_cut)
    growing = GrowingNetwork(network(homes, links), before, p_cut=p_cut)
    for (a, b), length in more:
        links[a, b] = min(1000 * length, links.get((a, b), 10**9))
        after = linked(homes, links, p_cut)
        assert growing.add(b, a, length) == pytest.approx(after - before, abs=1e-6)
        before = after
    routes = growing.routes(range(6))
    assert routes.ends.tolist() == list(range(6))
    assert pd.DataFrame(routes.mm).equals(pd.DataFrame(routes.mm.T))
