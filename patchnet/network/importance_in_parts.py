"""Importance of patches worked out part by part: what of the network a part needs.

What patch k loses is a sum over ordered pairs of other patches s and t, so it falls into sums by
source s: those of the patches of one part, added up over all parts, are the whole
(`patchnet.network.importance.losses_from`). For its own sources a part needs:

- *Of the links those that stay* when all that are superfluous with two witnesses are left out
  (`patchnet.network.prune`). Whether link i-j stays is told by the links i-k and k-j, so by links
  among i and whatever is linked with i: one hop round the part is enough (`needed_at`). To keep
  more is right too, so superfluous links may go before all are there (`needed_of`): whatever goes,
  anywhere, has two ways round by links that come before it in the total order on links, and if one
  of these went, it has two ways round itself. So of the links that any part keeps, those at the
  patches in reach still give every route its length, whatever patch goes.
- *Of those the ones among patches in reach*: no further than L from one of the sources, along the
  network, with L the longest route that counts (`cut_length`). Proof: a route from s to t no longer
  than L, with k there or gone, comes by each patch w on it after no more than L, so that w is no
  further than that from s. So all routes that count lie among the patches in reach, before and
  after k goes, and no other route is made shorter by what is left out. The whole cut-out is needed:
  a way round can come by a patch that is only just in reach (`in_reach`).

L is measured along routes, not on the map: crossing a patch is free, so that a route of any metres
of map may be short. Seen from k the same patches lie within L as well: if a way of length d(s,k) +
d(k,t) <= L passes k, and a way round no longer than L passes w, then d(k,w) is no more than half of
both together, so no more than L.

Equal routes need no rule. What goes with k is how much longer the best route without k is, whatever
routes there are of that length: in whole millimetres that is one number. Only the order of sums, so
the last digits, hangs on how patches are numbered.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.sparse import csgraph

from patchnet.network.adjacency import Ints, Links, matrix_of
from patchnet.network.importance import Losses, losses_from
from patchnet.network.patch_graph import PatchGraph
from patchnet.network.prune import needed_links
from patchnet.network.routes import cut_length, only

__all__ = ["Numbered", "in_reach", "losses_of_part", "needed_at", "needed_of", "numbered"]

Flags = NDArray[np.bool_]
Rows = NDArray[np.int32]


class Numbered(NamedTuple):
    """Links between nodes of their own numbers.

    Attributes
    ----------
    nodes
        Shape (n,): the number that each node has elsewhere, ascending.
    links
        Links between them.
    """

    nodes: Ints
    links: Links

    @property
    def rows(self) -> Ints:
        """Shape (m, 3): the links by the numbers that their ends have elsewhere, and lengths."""
        __, i, j, length = self.links
        return np.column_stack([self.nodes[i], self.nodes[j], length])


def numbered(rows: NDArray[np.integer], also: Ints) -> Numbered:
    """Number the ends of some links, in the order that they have elsewhere.

    Parameters
    ----------
    rows
        Shape (m, 3): two nodes, the lower first, and whole millimetres. A link may stand there
        twice.
    also
        Shape (k,): nodes that are to be among them, linked or not.
    """
    i, j, length = (rows[:, at].astype(np.int64) for at in range(3))
    size = int(max(j.max(initial=-1), also.max(initial=-1))) + 1
    pair = i * size + j
    if not (pair[1:] > pair[:-1]).all():
        __, once = np.unique(pair, return_index=True)
        i, j, length = i[once], j[once], length[once]
    is_node = np.zeros(size, dtype=bool)
    is_node[i] = is_node[j] = is_node[also] = True
    place = np.cumsum(is_node, dtype=np.int32) - np.int32(1)
    nodes = np.flatnonzero(is_node)
    return Numbered(nodes, Links(len(nodes), place[i], place[j], length))


def needed_at(part: Numbered, own: Flags, *, compiled: bool | None = None) -> Numbered:
    """Return the links at some nodes that any best route needs, whatever patch or link goes.

    Parameters
    ----------
    part
        n nodes, and at least all links among the own ones and those that are linked with them.
    own
        Shape (n,): the nodes.
    compiled
        True, False, or None: by size. Both give the same.

    Returns
    -------
    Numbered
        The same nodes; of the links with an own end those that stay.
    """
    i, j = part.links.i, part.links.j
    at_own = own[i] | own[j]
    near = own.copy()
    near[i[at_own]] = near[j[at_own]] = True
    judged = only(part.links, near[i] & near[j])
    needed = needed_links(judged, witnesses=2, compiled=compiled)
    return Numbered(part.nodes, only(judged, needed & (own[judged.i] | own[judged.j])))


def needed_of(rows: Rows) -> Rows:
    """Return some links without those that are superfluous by two others of them.

    Parameters
    ----------
    rows
        Shape (m, 3), as in `numbered`; not all links there are.

    Returns
    -------
    ndarray
        Shape (kept, 3).
    """
    part = numbered(rows, np.empty(0, np.int64))
    kept = only(part.links, needed_links(part.links, witnesses=2))
    return Numbered(part.nodes, kept).rows.astype(np.int32)


def in_reach(
    sources: Ints, longest: float, first: Ints, links_at: Callable[[int], Rows]
) -> Numbered:
    """Return the nodes no further from some sources than a length, and all links among them.

    Links are asked for part by part, and only of parts that the reach leads into. A part has all
    links at its nodes that it keeps: so once every node in reach lies in a part that was asked for,
    none is lacking that leads from one of them anywhere.

    Parameters
    ----------
    sources
        Shape (s,): nodes, by their numbers elsewhere.
    longest
        Whole millimetres.
    first
        Shape (parts,), ascending: the first node of each part, by its number; parts are runs.
    links_at
        Gives the links of which one end or both are in a part, shape (m, 3), as in `numbered`.
    """
    read = dict[int, Rows]()
    lacking = set(_parts_of(sources, first))
    part = numbered(np.empty((0, 3), np.int32), sources)
    near = np.ones(len(sources), dtype=bool)
    while lacking:
        read |= {one: links_at(one) for one in sorted(lacking)}
        part = numbered(np.concatenate(list(read.values())), sources)
        near = _within(part, np.searchsorted(part.nodes, sources), longest)
        lacking = set(_parts_of(part.nodes[near], first)) - read.keys()
    return _among(part, near)


def losses_of_part(
    sources: Ints,
    homes: NDArray[np.float64],
    first: Ints,
    links_at: Callable[[int], Rows],
    *,
    d50_m: float,
    p_cut: float,
    compiled: bool | None = None,
) -> tuple[Ints, Losses]:
    """Find what is lost of the routes from a part's patches when any patch goes.

    Parameters
    ----------
    sources
        Shape (s,), ascending: the part's patches that have homes, by their numbers.
    homes
        Shape (n,), by the numbers of all nodes.
    first, links_at
        As in `in_reach`; links that are not needed may be left out, see `needed_at`.
    d50_m
        Distance at which half arrive, metres.
    p_cut
        Routes less likely than this (0-1) are left out.
    compiled
        As in `losses_from`.

    Returns
    -------
    nodes
        Shape (k,): all nodes in reach, by their numbers.
    losses
        Two arrays of shape (k,).
    """
    nodes, links = in_reach(sources, cut_length(d50_m, p_cut), first, links_at)
    __, i, j, length = links
    graph = PatchGraph(
        ids=pd.Index(nodes), homes=homes[nodes], i=i, j=j, length_mm=length, d50_m=d50_m
    )
    # One thread: parts are there to go on side by side, and each takes no more than its memory.
    at = np.searchsorted(nodes, sources)
    return nodes, losses_from(graph, at, p_cut=p_cut, compiled=compiled, threads=1)


def _parts_of(nodes: Ints, first: Ints) -> list[int]:
    found: list[int] = np.unique(np.searchsorted(first, nodes, side="right") - 1).tolist()
    return found


def _within(part: Numbered, sources: Ints, longest: float) -> Flags:
    """Which nodes are no further from some sources (their places) than a length, whole mm."""
    if not len(sources):
        return np.zeros(len(part.nodes), dtype=bool)
    matrix, limit = matrix_of(part.links), longest + 0.5  # room for links of length 0, see TOUCH
    distance = csgraph.dijkstra(matrix, indices=sources, min_only=True, limit=limit)
    near: Flags = np.isfinite(distance)
    return near


def _among(part: Numbered, chosen: Flags) -> Numbered:
    """Some nodes, and the links of which both ends are among them."""
    place = np.cumsum(chosen, dtype=np.int32) - np.int32(1)
    __, i, j, length = only(part.links, chosen[part.links.i] & chosen[part.links.j])
    return Numbered(part.nodes[chosen], Links(int(chosen.sum()), place[i], place[j], length))
