"""Links that no best route needs.

A link i-j is superfluous where some patch k gives d_ik + d_kj <= d_ij: going by k is no
longer. Leaving all superfluous links out changes no route's length, and on a street leaves
about seven links a patch.
"""

import numpy as np
from numpy.typing import NDArray

from patchnet.core.compiled import in_threads, use_compiled
from patchnet.network.adjacency import Adjacency, Links, adjacency, links_of
from patchnet.network.patch_graph import PatchGraph

__all__ = ["needed_links", "prune_links"]

_COMPILE_FROM = 30_000_000  # ways i-j-k to look at; a first compilation (3 s) pays off
_BLOCK = 512  # nodes
_FAR = np.int64(2**62)


def prune_links(
    patch_graph: PatchGraph,
    *,
    witnesses: int = 1,
    strict: bool = False,
    compiled: bool | None = None,
) -> NDArray[np.bool_]:
    """Return which links any best route may need.

    Ties are broken by a total order on links (length, then first end, then second end): a link
    may only be replaced by two links that come before it. So three patches that touch each
    other keep two of their three links of length 0, and all superfluous links can go at once.

    Parameters
    ----------
    patch_graph
        m links.
    witnesses
        A link goes only where so many patches k show it superfluous: 1 keeps every route's
        length; 2 keeps it also when any one patch, or any one link, is taken out.
    strict
        Let a link go only where going by k is strictly shorter. Keeps every best route, not
        only their lengths.
    compiled
        True, False, or None: whichever is quicker for the size. Both give the same links.

    Returns
    -------
    ndarray
        Shape (m,), True where the link stays.

    Examples
    --------
    >>> from patchnet.movement.distance import Pairs
    >>> from patchnet.network.build import patch_graph
    >>> ends = np.array([0, 0, 1], "i4"), np.array([1, 2, 2], "i4")
    >>> pairs = Pairs(*ends, np.array([50_000, 110_000, 50_000]))
    >>> prune_links(patch_graph("abc", [2, 1, 3], pairs, hop_m=200, d50_m=50)).tolist()
    [True, False, True]
    """
    links = links_of(patch_graph)
    return needed_links(links, witnesses=witnesses, strict=strict, compiled=compiled)


def needed_links(
    links: Links, *, witnesses: int = 1, strict: bool = False, compiled: bool | None = None
) -> NDArray[np.bool_]:
    """Do the same for bare links (see `prune_links`).

    Parameters
    ----------
    links
        m links between n nodes, whole millimetres.
    witnesses
        How many ways round, no longer than the link, make it superfluous.
    strict
        True: only shorter ways round count, so that ties stay.
    compiled
        True, False, or None: by size. Both give the same.

    Returns
    -------
    array
        Shape (m,): True for the links that stay.
    """
    degree = np.bincount(np.r_[links.i, links.j], minlength=links.n)
    ways = int(degree[links.j].sum())
    slack = 1 if strict else 0
    keep = np.ones(len(links.i), dtype=bool)
    if use_compiled(compiled=compiled, worthwhile=ways > _COMPILE_FROM):
        from patchnet.network import kernels  # noqa: PLC0415 - imports numba

        table = kernels.adjacency(links)
        blocks = range(0, links.n, _BLOCK)

        def work(first: int) -> None:
            last = min(first + _BLOCK, links.n)
            kernels.mark_superfluous(first, last, *table, witnesses, slack, keep)

        for _ in in_threads(work, blocks):
            pass
        return keep
    _mark_superfluous(adjacency(links), links.n, witnesses, slack, keep)
    return keep


def _mark_superfluous(
    table: Adjacency, n: int, witnesses: int, slack: int, keep: NDArray[np.bool_]
) -> None:
    to = np.full(n, _FAR)  # length of the link from i, by its other end
    by = np.zeros(n, dtype=np.int32)
    for i in range(n):
        mine = slice(table.start[i], table.start[i + 1])
        j, d, link = table.end[mine], table.length[mine], table.link[mine]
        to[j], by[j] = d, link
        later = j > i
        at, counts = table.start[j[later]], np.diff(table.start)[j[later]]
        # All links j-k of all j at once: their places in the table, run after run.
        ends = np.cumsum(counts)
        if len(ends):
            places = np.arange(ends[-1]) + np.repeat(at - (ends - counts), counts)
            row = np.repeat(np.arange(len(at)), counts)
            k, length = table.end[places], table.length[places]
            limit, number = d[later][row], link[later][row]
            shows = (
                (to[k] + length + slack <= limit)
                & ((length < limit) | (table.link[places] < number))
                & ((to[k] < limit) | (by[k] < number))
            )
            shown = np.bincount(row[shows], minlength=len(at))
            keep[link[later][shown >= witnesses]] = False
        to[j] = _FAR
