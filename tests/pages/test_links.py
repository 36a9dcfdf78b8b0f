"""The links a map draws, against networkx."""

import networkx as nx
import numpy as np
import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from patchnet.network.patch_graph import PatchGraph
from patchnet.pages.map.drawn_links import holding_links


@given(st.integers(2, 25), st.integers(0, 2**32 - 1))
def test_a_forest_of_least_length_that_keeps_every_group_together(n, seed):
    rng = np.random.default_rng(seed)
    i, j = np.triu_indices(n, 1)
    keep = rng.random(len(i)) < 0.3
    i, j = i[keep].astype(np.int32), j[keep].astype(np.int32)
    # Many ties and many noughts, as in terraces.
    length = rng.integers(0, 4, len(i)).astype(np.int64) * 1000
    ids = pd.Index([f"p{at}" for at in range(n)])
    network = PatchGraph(ids, np.ones(n), i, j, length, 100.0)
    at = {name: position for position, name in enumerate(ids)}
    first, second, total = holding_links(network, at)
    assert total == len(i)
    assert (first < second).all()
    whole, kept = nx.Graph(), nx.Graph()
    for graph in (whole, kept):
        graph.add_nodes_from(range(n))
    lengths = {(a, b): d for a, b, d in zip(i.tolist(), j.tolist(), length.tolist(), strict=True)}
    whole.add_weighted_edges_from((a, b, d) for (a, b), d in lengths.items())
    kept.add_weighted_edges_from(
        (a, b, lengths[a, b]) for a, b in zip(first.tolist(), second.tolist(), strict=True)
    )
    assert set(map(frozenset, nx.connected_components(kept))) == set(
        map(frozenset, nx.connected_components(whole))
    )
    assert kept.number_of_edges() == n - nx.number_connected_components(whole)
    assert kept.size("weight") == nx.minimum_spanning_tree(whole).size("weight")
