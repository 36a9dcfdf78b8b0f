"""Sums over the least number of links between patches, lengths ignored."""

from collections.abc import Callable

import numpy as np
import scipy.sparse as sp
from scipy.sparse import csgraph

from patchnet.core.compiled import in_threads, use_compiled
from patchnet.network.adjacency import links_of
from patchnet.network.patch_graph import PatchGraph

__all__ = ["hop_sums"]

Work = Callable[[int], tuple[float, float]]

_COMPILE_FROM = 1500  # patches; a first compilation (2 s) pays off
_PLAIN_CELLS = 2_000_000  # distances held at once by the plain route
_BLOCK = 128  # sources


def hop_sums(patch_graph: PatchGraph, *, compiled: bool | None = None) -> tuple[float, float]:
    """IIC numerator and Harary index (see `patchnet.network.measures.network_measures`).

    Parameters
    ----------
    patch_graph
        n patches with homes.
    compiled
        True, False, or None: by size. Both agree to rounding.

    Returns
    -------
    iic, harary
        In homes squared; a sum of 1 / number of links.
    """
    n = len(patch_graph.ids)
    work, size = _plain_work(patch_graph)
    if use_compiled(compiled=compiled, worthwhile=n > _COMPILE_FROM):
        work, size = _compiled_work(patch_graph)
    parts = list(in_threads(work, range(0, n, size)))
    return float(sum(part[0] for part in parts)), float(sum(part[1] for part in parts)) / 2


def _plain_work(patch_graph: PatchGraph) -> tuple[Work, int]:
    n, homes = len(patch_graph.ids), patch_graph.homes
    ends = (np.r_[patch_graph.i, patch_graph.j], np.r_[patch_graph.j, patch_graph.i])
    matrix = sp.coo_array((np.ones(len(ends[0])), ends), shape=(n, n)).tocsr()
    size = max(1, _PLAIN_CELLS // max(n, 1))

    def work(first: int) -> tuple[float, float]:
        rows = np.arange(first, min(first + size, n))
        hops = csgraph.dijkstra(matrix, indices=rows, unweighted=True)
        iic = float(homes[rows] @ ((1 / (1 + hops)) @ homes))
        hops[hops == 0] = np.inf
        return iic, float((1 / hops).sum())

    return work, size


def _compiled_work(patch_graph: PatchGraph) -> tuple[Work, int]:
    from patchnet.network import hop_kernels, kernels  # noqa: PLC0415 - imports numba

    n, homes = len(patch_graph.ids), patch_graph.homes
    table = kernels.adjacency(links_of(patch_graph))

    def work(first: int) -> tuple[float, float]:
        last = min(first + _BLOCK, n)
        iic, harary = hop_kernels.hop_sums(first, last, table.start, table.end, homes)
        return iic, harary

    return work, _BLOCK
