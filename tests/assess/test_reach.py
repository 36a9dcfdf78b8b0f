"""Within reach: against networkx on random plots, stops and distances."""

import networkx as nx
import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from patchnet.assess.reach import Reach
from patchnet.movement.distance import Pairs


@st.composite
def places(draw):
    """Random whole-millimetre distances between up to nine plots, many of them touching."""
    n = draw(st.integers(1, 9))
    i, j = np.triu_indices(n, 1)
    length = draw(
        st.lists(st.sampled_from([0, 0, 1000, 2000, 5000, 9000]), min_size=len(i), max_size=len(i))
    )
    pairs = Pairs(i.astype(np.int32), j.astype(np.int32), np.array(length, dtype=np.int64))
    stops = np.array(draw(st.lists(st.booleans(), min_size=n, max_size=n)))
    hop = draw(st.sampled_from([1.0, 2.0, 5.0]))
    reach = draw(st.sampled_from([1.0, 2.0, 6.0, 10.0]))
    return pairs, stops, hop, reach


def by_networkx(pairs, stops, hop, reach):
    """Straight line within reach, and a route of hops resting on stops within reach too."""
    n = len(stops)
    straight = np.zeros((n, n))
    straight[pairs.i, pairs.j] = straight[pairs.j, pairs.i] = pairs.length_mm / 1000
    found = set()
    for source in range(n):
        moves = nx.DiGraph()
        moves.add_nodes_from(range(n))
        for a in range(n):
            if a == source or stops[a]:
                moves.add_weighted_edges_from(
                    (a, b, straight[a, b]) for b in range(n) if b != a and straight[a, b] <= hop
                )
        routes = nx.single_source_dijkstra_path_length(moves, source)
        found |= {
            (source, end)
            for end in range(n)
            if straight[source, end] <= reach
            and (straight[source, end] <= hop or routes.get(end, np.inf) <= reach)
        }
    return found


@given(places())
def test_reach_agrees_with_networkx(case):
    pairs, stops, hop, reach = case
    within = Reach(pairs, stops, hop_m=hop).within(reach).tocoo()
    assert set(zip(within.row.tolist(), within.col.tolist(), strict=True)) == by_networkx(*case)


@given(places())
def test_one_row_agrees_with_the_whole(case):
    pairs, stops, hop, reach = case
    whole = Reach(pairs, stops, hop_m=hop).within(reach)
    alone = Reach(pairs, stops, hop_m=hop)
    for plot in range(len(stops)):
        columns = whole.indices[whole.indptr[plot] : whole.indptr[plot + 1]]
        assert alone.row(reach, plot).tolist() == sorted(columns.tolist())


@given(places(), places())
def test_reach_over_given_moves_agrees_with_networkx(straight_case, moves_case):
    """Over the ground: the straight line within reach, and a route of dearer moves too."""
    pairs, stops, hop, reach = straight_case
    n = len(stops)
    moves = moves_case[0]
    keep = (moves.i < n) & (moves.j < n)
    moves = Pairs(moves.i[keep], moves.j[keep], moves.length_mm[keep])
    straight = np.zeros((n, n))
    straight[pairs.i, pairs.j] = straight[pairs.j, pairs.i] = pairs.length_mm / 1000
    found = set()
    for source in range(n):
        graph = nx.DiGraph()
        graph.add_nodes_from(range(n))
        for a, b, mm in zip(moves.i, moves.j, moves.length_mm, strict=True):
            if mm / 1000 <= hop:
                for start, end in ((int(a), int(b)), (int(b), int(a))):
                    if start == source or stops[start]:
                        graph.add_edge(start, end, weight=mm / 1000)
        routes = nx.single_source_dijkstra_path_length(graph, source)
        found |= {
            (source, end)
            for end in range(n)
            if straight[source, end] <= reach and routes.get(end, np.inf) <= reach
        }
    within = Reach(pairs, stops, hop_m=hop, moves=moves).within(reach).tocoo()
    assert set(zip(within.row.tolist(), within.col.tolist(), strict=True)) == found
