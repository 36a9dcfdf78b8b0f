"""An order of patches in which those that are near each other by links stand together."""

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse import csgraph

from patchnet.network.adjacency import Links, matrix_of

__all__ = ["in_line"]


def in_line(links: Links) -> NDArray[np.int64]:
    """Return the nodes as one comes by them along the shortest links that hold all together.

    Depth first over the least spanning forest: memory is then read nearly in a line, and the nodes
    that follow each other have nearly the same routes. Any order gives the same sums.

    Parameters
    ----------
    links
        m links between n nodes.

    Returns
    -------
    ndarray
        Shape (n,), each node once.

    Examples
    --------
    >>> ends = np.array([0, 1], "i4"), np.array([2, 2], "i4")
    >>> in_line(Links(4, *ends, np.array([5, 1]))).tolist()
    [0, 2, 1, 3]
    """
    tree = csgraph.minimum_spanning_tree(matrix_of(links)).tocoo()
    count, part = csgraph.connected_components(tree, directed=False)
    # One more node leads into each part of the network.
    _, roots = np.unique(part, return_index=True)
    tails = np.r_[tree.row, np.full(count, links.n)]
    heads = np.r_[tree.col, roots]
    shape = (links.n + 1, links.n + 1)
    both = (np.r_[tails, heads], np.r_[heads, tails])
    graph = sp.coo_array((np.ones(2 * len(tails), np.int8), both), shape=shape).tocsr()
    order = csgraph.depth_first_order(graph, links.n, return_predecessors=False)
    found: NDArray[np.int64] = order[1:].astype(np.int64)
    return found
