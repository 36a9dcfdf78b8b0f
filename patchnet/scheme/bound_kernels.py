"""Kernels for routes over several sites: who could better one, how far, and over which."""

import numpy as np
from numpy.typing import NDArray

from patchnet.core.compiled import kernel

__all__ = ["able_sites", "further", "one_more", "over_sites"]

Array = NDArray[np.float64]
Marks = NDArray[np.int64]


@kernel
def able_sites(
    before: Array, after: Array, to_sites: Array, marks: Marks
) -> tuple[Marks, Marks, Marks]:
    """Pairs whose best chance can rise, and a mark of the sites that could bring it about.

    A site could where the best route over it, with everything built, is better than today's.
    The mark is the exclusive or of the sites' own marks.

    Parameters
    ----------
    before, after
        Shape (h, h): best chances today, and with every site built.
    to_sites
        Shape (h, s): best chances to the sites with every site built.
    marks
        Shape (s,).

    Returns
    -------
    tuple
        First and second of each pair, and its mark; shape (pairs,) each.
    """
    holders, sites = to_sites.shape
    count = 0
    for i in range(holders):
        for j in range(i):
            if after[i, j] > before[i, j] * (1 + 1e-12):
                count += 1
    first, second = np.empty(count, np.int64), np.empty(count, np.int64)
    mark = np.empty(count, np.int64)
    at = 0
    for i in range(holders):
        for j in range(i):
            if after[i, j] > before[i, j] * (1 + 1e-12):
                own = np.int64(0)
                for site in range(sites):
                    if to_sites[i, site] * to_sites[j, site] > before[i, j]:
                        own ^= marks[site]
                first[at], second[at], mark[at] = i, j, own
                at += 1
    return first, second, mark


@kernel
def further(so_far: Array, between: Array, out: Array) -> bool:
    """Best chances to sites over one site more: out(i, v) = max(so_far(i, v), over any u).

    Parameters
    ----------
    so_far
        Shape (h, s): best chances from patches to sites with some number of sites.
    between
        Shape (s, s): best chances between sites over no other site.
    out
        Shape (h, s): the result.

    Returns
    -------
    bool
        Whether anything got better.
    """
    holders, sites = so_far.shape
    better = False
    for i in range(holders):
        for v in range(sites):
            out[i, v] = so_far[i, v]
        for u in range(sites):
            start = so_far[i, u]
            if start > 0.0:
                for v in range(sites):
                    through = start * between[u, v]
                    if through > out[i, v]:
                        out[i, v] = through
                        better = True
    return better


@kernel
def over_sites(
    before: Array,
    to_last: Array,
    from_last: Array,
    first: Marks,
    second: Marks,
    least: float,
    out: Array,
) -> None:
    """What each pair's best chance rises by over routes whose last site is any of the sites.

    Parameters
    ----------
    before
        Shape (h, h): best chances today.
    to_last
        Shape (h, s): best chances to the last site.
    from_last
        Shape (h, s): best chances from it over no other site.
    first, second
        Shape (pairs,): positions of the two homes.
    least
        Chance below which a route counts as none.
    out
        Shape (pairs,): the rise.
    """
    sites = to_last.shape[1]
    for at in range(first.size):
        i, j = first[at], second[at]
        best = before[i, j]
        for v in range(sites):
            through = to_last[i, v] * from_last[j, v]
            best = max(best, through)
        out[at] = best - before[i, j] if best >= least else 0.0


@kernel
def one_more(so_far: Array, between: Array, out: Array, came: Marks) -> None:
    """Best chances over exactly one site more, and the site before: out(i, v), came(i, v).

    Shapes as in `further`, but `between` may lead from the sites to anywhere, shape (s, any);
    `came` is -1 where there is no way.

    Parameters
    ----------
    so_far
        Shape (h, s): best chances to the sites, 0-1.
    between
        Shape (s, any): chances onward.
    out
        Shape (h, any): written.
    came
        Shape (h, any): site before, -1 for none; written.
    """
    holders, sites = so_far.shape
    ends = between.shape[1]
    for i in range(holders):
        for v in range(ends):
            out[i, v], came[i, v] = 0.0, -1
        for u in range(sites):
            start = so_far[i, u]
            if start > 0.0:
                for v in range(ends):
                    through = start * between[u, v]
                    if through > out[i, v]:
                        out[i, v], came[i, v] = through, u
