"""Links as each patch sees them, and patches that touch taken together."""

from typing import NamedTuple

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse import csgraph

from patchnet.network.patch_graph import PatchGraph

__all__ = [
    "TOUCH", "Adjacency", "Links", "adjacency", "components", "groups", "links_of", "matrix_of",
    "renumbered", "touching_joined",
]  # fmt: skip

Ints = NDArray[np.int64]
Places = NDArray[np.int32]


TOUCH = 2.0**-20
"""Length in mm given to links of length 0 where a sparse matrix must show them.

So small that a million of them do not add up to a millimetre, and a power of two, so that
sums with whole millimetres are exact.
"""


class Links(NamedTuple):
    """n nodes and the links between them, i < j, sorted by (i, j), lengths in whole mm."""

    n: int
    i: Places
    j: Places
    length: Ints


class Adjacency(NamedTuple):
    """Every link from both its ends; node v's are at start[v]:start[v + 1], shortest first.

    `link` is the link's number; links of equal length stand in the order of their numbers.
    """

    start: Ints
    end: Places
    length: Ints
    link: Places


def links_of(patch_graph: PatchGraph) -> Links:
    """Return the links of a patch graph.

    Parameters
    ----------
    patch_graph
        n patches, m links, lengths in whole millimetres.
    """
    return Links(len(patch_graph.ids), patch_graph.i, patch_graph.j, patch_graph.length_mm)


def matrix_of(links: Links) -> "sp.csr_array":
    """Return the links as a symmetric sparse matrix of lengths in mm, 0 shown as `TOUCH`.

    Parameters
    ----------
    links
        m links between n nodes.

    Returns
    -------
    sparse array
        Shape (n, n), millimetres.
    """
    weight = np.where(links.length == 0, TOUCH, links.length.astype(np.float64))
    ends = (np.r_[links.i, links.j], np.r_[links.j, links.i])
    return sp.coo_array((np.r_[weight, weight], ends), shape=(links.n, links.n)).tocsr()


def renumbered(links: Links, number: Ints) -> Links:
    """Return the links between nodes that have other numbers; not sorted.

    Parameters
    ----------
    links
        m links between n nodes.
    number
        Shape (n,): new number of each node.
    """
    i, j = number[links.i], number[links.j]
    return Links(
        links.n,
        np.minimum(i, j).astype(np.int32),
        np.maximum(i, j).astype(np.int32),
        links.length,
    )


def adjacency(links: Links) -> Adjacency:
    """Sort the links for each of their ends.

    Parameters
    ----------
    links
        m links between n nodes.
    """
    number = np.arange(len(links.i), dtype=np.int32)
    node = np.r_[links.i, links.j]
    length = np.r_[links.length, links.length]
    link = np.r_[number, number]
    order = np.lexsort((link, length, node))
    start = np.zeros(links.n + 1, dtype=np.int64)
    np.cumsum(np.bincount(node, minlength=links.n), out=start[1:])
    return Adjacency(start, np.r_[links.j, links.i][order], length[order], link[order])


def groups(n: int, i: Places, j: Places) -> tuple[int, Places]:
    """Number of connected groups of nodes, and each node's group, numbered by first node.

    Parameters
    ----------
    n
        How many nodes.
    i, j
        Shape (m,): ends of the links, 0 to n - 1.

    Returns
    -------
    count
        Number of groups.
    label
        Shape (n,): 0 to count - 1.
    """
    matrix = sp.coo_array((np.ones(len(i), dtype=np.int8), (i, j)), shape=(n, n))
    count, label = csgraph.connected_components(matrix, directed=False)
    _, first = np.unique(label, return_index=True)
    rank = np.empty(count, dtype=np.int32)
    rank[np.argsort(first)] = np.arange(count, dtype=np.int32)
    return count, rank[label]


def components(patch_graph: PatchGraph) -> tuple[NDArray[np.float64], Places]:
    """Homes in each component, most first (ties: by first patch), and each patch's component.

    Parameters
    ----------
    patch_graph
        n patches.

    Returns
    -------
    homes
        Shape (components,).
    label
        Shape (n,): 0 to components - 1.
    """
    count, label = groups(len(patch_graph.ids), patch_graph.i, patch_graph.j)
    homes = np.bincount(label, weights=patch_graph.homes, minlength=count).astype(np.float64)
    order = np.argsort(-homes, kind="stable")
    rank = np.empty(count, dtype=np.int32)
    rank[order] = np.arange(count, dtype=np.int32)
    return homes[order], rank[label]


def touching_joined(links: Links) -> tuple[Links, Places]:
    """Join all nodes that are linked at length 0; return the links left and each node's group.

    Exact for sums over best routes: patches that touch are at the same distance from
    everything else. Every link that is left is longer than 0.

    Parameters
    ----------
    links
        m links between n nodes.

    Returns
    -------
    links
        Between groups.
    label
        Shape (n,): group of each node.
    """
    touch = links.length == 0
    if not touch.any():
        return links, np.arange(links.n, dtype=np.int32)
    count, label = groups(links.n, links.i[touch], links.j[touch])
    a, b = label[links.i[~touch]], label[links.j[~touch]]
    length = links.length[~touch]
    between = a != b
    i, j = np.minimum(a, b)[between], np.maximum(a, b)[between]
    length = length[between]
    order = np.lexsort((length, j, i))
    i, j, length = i[order], j[order], length[order]
    first = np.ones(len(i), dtype=bool)
    first[1:] = (i[1:] != i[:-1]) | (j[1:] != j[:-1])
    return Links(count, i[first], j[first], length[first]), label
