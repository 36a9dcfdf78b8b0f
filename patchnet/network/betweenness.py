"""Traffic through each patch: betweenness, plain and weighted by homes and probability."""

import heapq
import math
from fractions import Fraction

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.core.compiled import in_threads, use_compiled
from patchnet.network.adjacency import Links, adjacency, links_of
from patchnet.network.importance import route_weights
from patchnet.network.patch_graph import PatchGraph
from patchnet.network.prune import needed_links
from patchnet.network.routes import cut_length, only

__all__ = ["betweenness", "weighted_betweenness"]

Floats = NDArray[np.float64]

_COMPILE_FROM = 300  # patches; beyond them a first compilation (3 s) pays off
_BLOCKS = 64  # sums are added up block by block, whatever the number of threads
_SMALLEST = 16  # sources a block


def betweenness(patch_graph: PatchGraph, *, compiled: bool | None = None) -> "pd.Series[float]":
    r"""Share of the shortest ways between other patches that pass through each, summed up.

    :math:`BC_k = \sum_{s<t;\ s,t \ne k} \sigma_{st}(k) / \sigma_{st}` with
    :math:`\sigma` the number of ways with fewest links (Freeman 1977, Sociometry 40:35-41),
    worked out as in Brandes (2001, Journal of Mathematical Sociology 25:163-177). Divide by
    (n - 1)(n - 2) / 2 for a value of 0-1. Lengths and homes are ignored.

    Parameters
    ----------
    patch_graph
        n patches.
    compiled
        True, False (networkx), or None: whichever is quicker. Both agree to rounding.

    Returns
    -------
    Series
        Index: patch ids.

    Examples
    --------
    >>> from patchnet.movement.distance import Pairs
    >>> from patchnet.network.build import patch_graph
    >>> pairs = Pairs(np.array([0, 1], "i4"), np.array([1, 2], "i4"), np.array([50_000, 50_000]))
    >>> betweenness(patch_graph("abc", [2, 1, 3], pairs, hop_m=60, d50_m=50)).to_dict()
    {'a': 0.0, 'b': 1.0, 'c': 0.0}
    """
    links = links_of(patch_graph)
    if use_compiled(compiled=compiled, worthwhile=links.n > _COMPILE_FROM):
        same = Links(links.n, links.i, links.j, np.ones(len(links.i), dtype=np.int64))
        ones = np.ones(links.n)
        values = _compiled(same, ones, cut=2**31, decay=0.0) / 2
    else:
        import networkx as nx

        graph: nx.Graph[int] = nx.Graph()
        graph.add_nodes_from(range(links.n))
        graph.add_edges_from(zip(links.i.tolist(), links.j.tolist(), strict=True))
        table = nx.betweenness_centrality(graph, normalized=False)
        values = np.array([table[node] for node in range(links.n)], dtype=np.float64)
    return pd.Series(values, index=patch_graph.ids, name="betweenness")


def weighted_betweenness(
    patch_graph: PatchGraph, *, p_cut: float, compiled: bool | None = None
) -> "pd.Series[float]":
    r"""Homes and probability that pass through each patch on best routes between others.

    :math:`BC^{PC}_k = \sum_{i \ne k} \sum_{j \ne k} a_i a_j p^*_{ij}\ \sigma_{ij}(k) /
    \sigma_{ij}` over ordered pairs (Bodin and Saura 2010, Ecological Modelling 221:2393-2405),
    in the unit of the PC numerator. Equally long best routes share the traffic; of those, only
    the ones with fewest links of length 0 count, since there is no end of ways about among
    patches that touch. It counts the traffic, while the connector part of
    `patchnet.network.importance.patch_importance` counts only what cannot go another way.

    Parameters
    ----------
    patch_graph
        n patches.
    p_cut
        Routes less likely than this (0-1) are left out.
    compiled
        True, False, or None: whichever is quicker for the size. Both agree to rounding.

    Returns
    -------
    Series
        Index: patch ids.

    Examples
    --------
    2 x (2 x 3 x 1/4) = 3 pass through the middle patch.

    >>> from patchnet.movement.distance import Pairs
    >>> from patchnet.network.build import patch_graph
    >>> pairs = Pairs(np.array([0, 1], "i4"), np.array([1, 2], "i4"), np.array([50_000, 50_000]))
    >>> row = patch_graph("abc", [2, 1, 3], pairs, hop_m=60, d50_m=50)
    >>> weighted_betweenness(row, p_cut=0.0001).round(9).to_dict()
    {'a': 0.0, 'b': 3.0, 'c': 0.0}
    """
    links = links_of(patch_graph)
    # Only links on no best route may go, or ties would be lost.
    links = only(links, needed_links(links, strict=True, compiled=compiled))
    cut = cut_length(patch_graph.d50_m, p_cut)
    decay = patch_graph.k_per_m / 1000
    wanted = use_compiled(compiled=compiled, worthwhile=links.n > _COMPILE_FROM)
    work = _compiled if wanted else _plain
    values = work(links, patch_graph.homes, cut, decay)
    return pd.Series(values, index=patch_graph.ids, name="weighted_betweenness")


def _compiled(links: Links, homes: Floats, cut: int, decay: float) -> Floats:
    from patchnet.network import betweenness_kernels, kernels  # noqa: PLC0415 - imports numba

    table = kernels.adjacency(links)
    weights = route_weights(links, table.length, cut)
    sources = np.flatnonzero(homes > 0)
    size = max(_SMALLEST, -(-len(sources) // _BLOCKS))

    def work(first: int) -> Floats:
        through = np.zeros(links.n)
        betweenness_kernels.traffic(
            sources[first : first + size],
            table.start,
            table.end,
            weights.weight,
            homes,
            *weights[1:],
            decay,
            through,
        )
        return through

    total = np.zeros(links.n)
    for through in in_threads(work, range(0, len(sources), size)):
        total += through
    return total


def _plain(links: Links, homes: Floats, cut: int, decay: float) -> Floats:
    """Count routes source by source (Brandes 2001), with exact fractions."""
    table = adjacency(links)
    ends = [row.tolist() for row in np.split(table.end, table.start[1:-1])]
    # A pair (length, number of links of length 0): the second only decides between equals.
    steps = [
        [(length, int(length == 0)) for length in row.tolist()]
        for row in np.split(table.length, table.start[1:-1])
    ]
    through = np.zeros(links.n)
    for source in np.flatnonzero(homes > 0).tolist():
        best = {source: (0, 0)}
        before: dict[int, list[int]] = {source: []}
        count = {source: 1}
        order = []
        heap = [((0, 0), source)]
        while heap:
            here, node = heapq.heappop(heap)
            if here > best[node]:
                continue
            order.append(node)
            count[node] = sum(count[other] for other in before[node]) or 1
            for other, step in zip(ends[node], steps[node], strict=True):
                there = (here[0] + step[0], here[1] + step[1])
                if there[0] > cut or there > best.get(other, there):
                    continue
                if there != best.get(other):
                    best[other], before[other] = there, []
                    heapq.heappush(heap, (there, other))
                before[other].append(node)
        passing = dict.fromkeys(order, 0.0)
        for node in reversed(order[1:]):
            arriving = homes[node] * math.exp(-decay * best[node][0])
            for other in before[node]:
                share = float(Fraction(count[other], count[node]))
                passing[other] += share * (arriving + passing[node])
            through[node] += homes[source] * passing[node]
    return through
