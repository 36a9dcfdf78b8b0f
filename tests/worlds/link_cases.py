"""Networks and the links there could be: made by chance, or from a few lengths."""

import itertools

import numpy as np
import pandas as pd

from patchnet.network.measures import network_measures
from patchnet.network.one_more_link import GrowingNetwork
from patchnet.network.patch_graph import PatchGraph


def patches(homes, links, d50_m):
    """Patches and their links: {(i, j): mm}."""
    i, j = np.array(sorted(links), np.int32).reshape(-1, 2).T
    mm = np.array([links[pair] for pair in sorted(links)], np.int64)
    return PatchGraph(pd.RangeIndex(len(homes)), np.array(homes, float), i, j, mm, d50_m)


def growing(network, p_cut=0.0001):
    linked = network_measures(network, p_cut=p_cut, hops=False).eca
    return GrowingNetwork(network, linked, p_cut=p_cut)


def random_case(seed):
    """A random network, some parts of it apart, some homes nought, links of any kind."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 16))
    often = rng.choice([0.05, 0.2, 0.5])
    links = {
        pair: int(rng.choice([0, rng.integers(1, 100_000)]))
        for pair in itertools.combinations(range(n), 2)
        if rng.random() < often
    }
    homes = rng.uniform(0, 3, n) * (rng.random(n) < 0.8)
    pairs = [sorted(rng.choice(n, 2, replace=False)) for _ in range(int(rng.integers(1, 12)))]
    a, b = np.array(pairs, dtype=np.intp).T
    cost = rng.integers(0, 80_000, len(pairs)) / 1000
    network = patches(homes, links, float(rng.uniform(7, 140)))
    return network, {"a": a, "b": b, "cost": cost}
