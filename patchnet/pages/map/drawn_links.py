"""Which links a map draws: the shortest ones that hold each connected group together."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import minimum_spanning_tree

from patchnet.network.patch_graph import PatchGraph

__all__ = ["holding_links"]


def holding_links(
    network: PatchGraph, at: Mapping[str, int]
) -> tuple[NDArray[np.int64], NDArray[np.int64], int]:
    """Return the links of a minimum spanning forest, and how many links there are in all.

    A street where every garden touches the next has many times more links than an eye can part.
    The forest keeps every connected group together with the least total length.

    Parameters
    ----------
    network
        Patches and links.
    at
        Position of each plot by its id.

    Returns
    -------
    first, second
        Shape (kept,): ends of each link as positions of plots, first < second, sorted.
    total
        Number of links of the network.
    """
    total = len(network.i)
    if not total:
        nothing = np.empty(0, dtype=np.int64)
        return nothing, nothing, 0
    plot = np.array([at[str(ident)] for ident in network.ids], dtype=np.int64)
    # Two plots that touch are 0 mm apart, which a sparse matrix takes for no link: one is added.
    # A whole millimetre is worth `total` steps and the link's own place breaks ties the same way
    # on every machine.
    weight = (network.length_mm.astype(np.float64) + 1) * total + np.arange(total)
    size = len(network.ids)
    table = coo_array((weight, (network.i, network.j)), shape=(size, size)).tocsr()
    kept = minimum_spanning_tree(table).tocoo()
    one, other = plot[kept.row], plot[kept.col]
    first, second = np.minimum(one, other), np.maximum(one, other)
    order = np.lexsort((second, first))
    return first[order], second[order], total
