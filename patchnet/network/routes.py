"""Sums over best routes, cut where a route is less likely than p_cut."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csgraph

from patchnet.core.compiled import in_threads, use_compiled
from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.network.adjacency import Links, links_of, matrix_of, renumbered, touching_joined
from patchnet.network.node_order import in_line
from patchnet.network.patch_graph import PatchGraph
from patchnet.network.prune import needed_links

__all__ = ["RouteSums", "cut_length", "only", "route_sums"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_COMPILE_FROM = (
    30_000_000  # sources x links (0.5 s plain): several groups make a compilation pay off
)
_PRUNE_BELOW = 0.1  # links per n^2; on denser graphs plain pruning costs more than it saves
_PLAIN_CELLS = 2_000_000  # distances held at once by the plain route
_FAR = 2**62
_EXACT = 2**53  # millimetres that a floating-point number holds exactly
_NOTHING = 745.0  # exp of less than minus this is 0
_BUCKETS = 40  # a patch waits in, to a link's usual length: with more, fewer are looked at twice
_AT_MOST = 4096  # sources a thread takes at once


class RouteSums(NamedTuple):
    """For each patch i the sum of a_j p*_ij, and of a_j, over all j reached, itself too."""

    flow: Floats
    reached: Floats


def cut_length(d50_m: float, p_cut: float) -> int:
    """Longest route, in whole mm, that is no less likely than `p_cut` (0: no cut).

    Parameters
    ----------
    d50_m
        Distance at which half arrive, metres.
    p_cut
        A probability, 0-1, below 1.

    Raises
    ------
    WrongUse
        If `p_cut` is not a probability below 1.

    Examples
    --------
    >>> cut_length(50, 0.25)
    100000
    """
    if not 0 <= p_cut < 1:
        raise WrongUse(_("p_cut must be a probability below 1, not {p_cut}.").format(p_cut=p_cut))
    if p_cut == 0:
        return _FAR
    # A little (1 nm) is allowed for the rounding of the logarithm.
    return math.floor(min(d50_m * math.log2(1 / p_cut) * 1000 + 1e-6, float(_FAR)))


def only(links: Links, keep: NDArray[np.bool_]) -> Links:
    """Return the links that are kept.

    Parameters
    ----------
    links
        m links.
    keep
        Shape (m,), True where a link is kept.
    """
    return Links(links.n, links.i[keep], links.j[keep], links.length[keep])


def route_sums(
    patch_graph: PatchGraph,
    *,
    p_cut: float,
    everywhere: bool = True,
    compiled: bool | None = None,
) -> RouteSums:
    """Sum the homes reached from each patch over best routes.

    Parameters
    ----------
    patch_graph
        n patches.
    p_cut
        Routes less likely than this (0-1) are left out.
    everywhere
        False: work the sums out only where there are homes; elsewhere they stay 0.
    compiled
        True, False, or None: whichever is quicker for the size. Both agree to rounding.

    Returns
    -------
    RouteSums
        Two arrays of shape (n,).
    """
    cut = cut_length(patch_graph.d50_m, p_cut)
    decay = patch_graph.k_per_m / 1000
    links, group = touching_joined(links_of(patch_graph))
    homes = np.bincount(group, weights=patch_graph.homes, minlength=links.n).astype(np.float64)
    sources = np.arange(links.n) if everywhere else np.flatnonzero(homes > 0)
    flow, reached = np.zeros(links.n), np.zeros(links.n)
    worth = len(sources) * len(links.i)
    wanted = use_compiled(compiled=compiled, worthwhile=worth > _COMPILE_FROM)
    if wanted or len(links.i) < _PRUNE_BELOW * links.n**2:
        links = only(links, needed_links(links, compiled=wanted))
    work = _compiled if wanted else _plain
    flow[sources], reached[sources] = work(links, homes, sources, cut, decay)
    return RouteSums(flow[group], reached[group])


def _plain(
    links: Links, homes: Floats, sources: Ints, cut: int, decay: float
) -> tuple[Floats, Floats]:
    matrix = matrix_of(links)
    size = max(1, _PLAIN_CELLS // max(links.n, 1))

    def work(first: int) -> tuple[Floats, Floats]:
        rows = sources[first : first + size]
        distance = csgraph.dijkstra(matrix, indices=rows, limit=cut)
        return np.exp(-decay * distance) @ homes, np.isfinite(distance) @ homes

    parts = list(in_threads(work, range(0, len(sources), size)))
    if not parts:
        return np.empty(0), np.empty(0)
    return np.concatenate([part[0] for part in parts]), np.concatenate([part[1] for part in parts])


def _compiled(
    links: Links, homes: Floats, sources: Ints, cut: int, decay: float
) -> tuple[Floats, Floats]:
    from patchnet.network import kernels, route_kernels  # noqa: PLC0415 - imports numba

    longest = int(links.length.max(initial=0)) * links.n  # no route is longer
    if min(cut, longest) >= _EXACT:
        raise WrongUse(_("The links are too long to be added up in millimetres."))
    order = in_line(links)
    place = np.argsort(order)
    table = kernels.adjacency(renumbered(links, place))
    where = place[sources]
    in_turn = np.argsort(where)
    ours, here, length = where[in_turn], homes[order], table.length.astype(np.float64)
    low = np.exp(-decay * np.arange(1 << route_kernels.BITS))
    farthest = math.ceil(min(cut, longest, _NOTHING / decay)) >> route_kernels.BITS
    high = np.exp(-decay * (np.arange(farthest + 1) << route_kernels.BITS))
    width = max(1.0, float(links.length.mean()) / _BUCKETS) if len(links.length) else 1.0
    flow, reached = np.empty(len(ours)), np.empty(len(ours))
    size = -(-min(_AT_MOST, len(ours) // 16 + 1) // route_kernels.TOGETHER) * route_kernels.TOGETHER

    def work(first: int) -> None:
        part = slice(first, first + size)
        route_kernels.route_sums(
            ours[part], table.start, table.end, length, here, float(cut), width, high, low,
            flow[part], reached[part],
        )  # fmt: skip

    for __ in in_threads(work, range(0, len(ours), size)):
        pass
    back = np.argsort(in_turn)
    return flow[back], reached[back]
