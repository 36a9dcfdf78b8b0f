"""Compiled kernels of the network room: links by node, pruning, a heap."""

import numpy as np
from numpy.typing import NDArray

from patchnet.core.compiled import in_threads, kernel
from patchnet.network.adjacency import Adjacency, Ints, Links, Places

__all__ = ["adjacency", "mark_superfluous", "pop", "push"]

_FAR = np.int64(2**62)
_BLOCK = 2048


def adjacency(links: Links) -> Adjacency:
    """Do the same as `patchnet.network.adjacency.adjacency`, in threads.

    Parameters
    ----------
    links
        m links between n nodes.
    """
    start = np.zeros(links.n + 1, dtype=np.int64)
    degree = np.bincount(links.i, minlength=links.n) + np.bincount(links.j, minlength=links.n)
    np.cumsum(degree, out=start[1:])
    end = np.empty(start[-1], dtype=np.int32)
    link = np.empty(start[-1], dtype=np.int32)
    length = np.empty(start[-1], dtype=np.int64)
    _spread(links.i, links.j, links.length, start[:-1].copy(), end, length, link)

    def work(first: int) -> None:
        _sort_rows(first, min(first + _BLOCK, links.n), start, end, length, link)

    for _ in in_threads(work, range(0, links.n, _BLOCK)):
        pass
    return Adjacency(start, end, length, link)


@kernel
def _spread(
    i: Places, j: Places, length: Ints, at: Ints, end: Places, out_length: Ints, link: Places
) -> None:
    for e in range(len(i)):
        for node, other in ((i[e], j[e]), (j[e], i[e])):
            here = at[node]
            end[here], out_length[here], link[here] = other, length[e], e
            at[node] = here + 1


@kernel
def _sort_rows(first: int, last: int, start: Ints, end: Places, length: Ints, link: Places) -> None:
    # By hand, on a heap of length and place in the row: numpy's sort takes seconds to compile. The
    # row stands in the order of link numbers, so among equals the place keeps that.
    most = 0
    for v in range(first, last):
        most = max(most, start[v + 1] - start[v])
    bits = 1
    while most >> bits:
        bits += 1
    heap = np.empty(most, np.int64)
    far, number = np.empty(most, np.int32), np.empty(most, np.int32)
    for v in range(first, last):
        begin, size = start[v], 0
        for at in range(start[v + 1] - begin):
            far[at], number[at] = end[begin + at], link[begin + at]
            size = push(heap, size, (length[begin + at] << bits) | at)
        for at in range(begin, start[v + 1]):
            key = heap[0]
            size = pop(heap, size)
            place = key & ((1 << bits) - 1)
            end[at], link[at], length[at] = far[place], number[place], key >> bits


@kernel
def mark_superfluous(
    first: int,
    last: int,
    start: Ints,
    end: Places,
    length: Ints,
    link: Places,
    witnesses: int,
    slack: int,
    keep: NDArray[np.bool_],
) -> None:
    """Set `keep` to False for the links from nodes first:last to later nodes that can go.

    Parameters
    ----------
    first, last
        Nodes that this call looks at.
    start, end
        Shapes (n + 1,) and (2 m,): the links of each node, as in `adjacency`.
    length
        Shape (2 m,), whole millimetres.
    link
        Shape (2 m,): number of each link.
    witnesses
        How many ways round make a link superfluous.
    slack
        Millimetres by which a way round must be shorter.
    keep
        Shape (m,): written.
    """
    n = len(start) - 1
    to = np.full(n, _FAR)
    by = np.zeros(n, dtype=np.int32)
    for i in range(first, last):
        for at in range(start[i], start[i + 1]):
            to[end[at]] = length[at]
            by[end[at]] = link[at]
        for at in range(start[i], start[i + 1]):
            j, limit, number = end[at], length[at], link[at]
            if j < i:
                continue
            shown = 0
            for other in range(start[j], start[j + 1]):
                d = length[other]
                if d > limit:
                    break
                k = end[other]
                if (
                    to[k] + d + slack <= limit
                    and (d < limit or link[other] < number)
                    and (to[k] < limit or by[k] < number)
                ):
                    shown += 1
                    if shown == witnesses:
                        keep[number] = False
                        break
        for at in range(start[i], start[i + 1]):
            to[end[at]] = _FAR


@kernel
def push(heap: Ints, size: int, key: int) -> int:
    """Put a key on a binary heap of `size` keys; return the new size.

    Parameters
    ----------
    heap
        Shape (at least size + 1,).
    size
        Keys on it.
    key
        Any whole number.
    """
    here = size
    while here > 0:
        above = (here - 1) >> 1
        if heap[above] <= key:
            break
        heap[here] = heap[above]
        here = above
    heap[here] = key
    return size + 1


@kernel
def pop(heap: Ints, size: int) -> int:
    """Take the least key, heap[0], off a binary heap; return the new size.

    Parameters
    ----------
    heap
        Shape (at least size,).
    size
        Keys on it, 1 or more.
    """
    size -= 1
    key = heap[size]
    here = 0
    below = 1
    while below < size:
        if below + 1 < size and heap[below + 1] < heap[below]:
            below += 1
        if heap[below] >= key:
            break
        heap[here] = heap[below]
        here = below
        below = 2 * here + 1
    heap[here] = key
    return size
