"""Small random networks, in which zeros, ties and breaks are common."""

import itertools

import numpy as np
from hypothesis import strategies as st

from patchnet.movement.distance import Pairs
from patchnet.network.build import patch_graph
from patchnet.network.patch_graph import PatchGraph

__all__ = ["build", "links_in", "networks", "without_patch"]


@st.composite
def networks(draw, most=12, shortest=0):
    """Patches with few different lengths, so that zeros, ties and breaks are common."""
    n = draw(st.integers(1, most))
    homes = draw(st.lists(st.sampled_from([0.0, 0.5, 1.0, 3.0]), min_size=n, max_size=n))
    length = st.sampled_from(
        [d for d in (0, 0, 1, 20_000, 20_000, 40_000, 300_000) if d >= shortest]
    )
    links = {
        pair: draw(length)
        for pair in itertools.combinations(range(n), 2)
        if draw(st.integers(0, 2)) == 0
    }
    return build(homes, links)


def build(homes, links, names=None, d50_m=50.0):
    pairs = sorted(links)
    ends = np.array(pairs, dtype=np.int32).reshape(-1, 2)
    lengths = np.array([links[pair] for pair in pairs], dtype=np.int64)
    names = [f"p{k}" for k in range(len(homes))] if names is None else names
    return patch_graph(names, homes, Pairs(ends[:, 0], ends[:, 1], lengths), hop_m=1e6, d50_m=d50_m)


def links_in(graph: PatchGraph):
    ends = zip(graph.i.tolist(), graph.j.tolist(), strict=True)
    return dict(zip(ends, graph.length_mm.tolist(), strict=True))


def without_patch(graph: PatchGraph, k):
    """The same with patch k cut off and empty: what is left of the PC numerator is the same."""
    homes = graph.homes.copy()
    homes[k] = 0
    links = {pair: d for pair, d in links_in(graph).items() if k not in pair}
    return build(homes, links, d50_m=graph.d50_m)
