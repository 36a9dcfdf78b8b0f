"""Compiled maximum flow: what is left to send is pushed towards the sink, knot by knot.

Push and relabel (Goldberg & Tarjan 1988, Journal of the ACM 35:921-940), knots in the order in
which they come, with labels set right from the sink now and then and with gaps (Cherkassky &
Goldberg 1997, Algorithmica 19:390-410). Only what cannot reach the sink is found, not its way back
to the source: that is enough to know how much gets through, and the least cut.
"""

import numpy as np
from numpy.typing import NDArray

from patchnet.core.compiled import kernel, kernel_part

__all__ = ["led_to", "push"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Counts = NDArray[np.int64]
Places = NDArray[np.int32]
Ways = NDArray[np.int64]
_LIFTED = 12  # edges that could be looked at while a knot gets its new label, besides its own


@kernel
def push(start: Places, head: Places, back: Ways, left: Array, excess: Array, least: float) -> None:
    """Push what stands on the knots as near to the last knot, the sink, as it gets.

    Parameters
    ----------
    start, head
        Shapes (k + 1,) and (edges,): the edges of each knot, and where they lead.
    back
        Shape (edges,): the place of each edge's way back.
    left
        Shape (edges,), homes: what each edge can still take; changed in place.
    excess
        Shape (k,), homes: what stands on each knot. In place: in the end what stands anywhere but
        on the sink has no way to it.
    least
        Homes: what is no more than that counts as nothing.
    """
    knots = len(start) - 1
    far = knots  # the label of a knot from which no way leads to the sink
    label, count = np.empty(knots, np.int64), np.empty(knots + 1, np.int64)
    turn = np.empty(knots, np.int64)  # the edge of each knot that is tried next
    waiting, queued = np.empty(knots, np.int64), np.empty(knots, np.bool_)
    most = knots + len(head)  # edges that may be looked at before labels are set right
    first, size, looked_at = 0, 0, most
    while True:
        if looked_at >= most:
            _set_labels(start, head, back, left, least, label, count, waiting)
            turn[:] = start[:-1]
            first, size, looked_at = 0, _line_up(excess, least, label, waiting, queued), 0
        if size == 0:
            return
        knot = waiting[first]
        first, size = (first + 1) % knots, size - 1
        while excess[knot] > least and label[knot] < far:
            edge = turn[knot]
            if edge == start[knot + 1]:
                _lift(knot, start, head, left, least, label, count)
                looked_at += start[knot + 1] - start[knot] + _LIFTED
                turn[knot] = start[knot]
                continue
            other = head[edge]
            if left[edge] > least and label[knot] == label[other] + 1:
                if not queued[other]:
                    waiting[(first + size) % knots] = other
                    size += 1
                    queued[other] = True
                much = min(excess[knot], left[edge])
                left[edge] -= much
                left[back[edge]] += much
                excess[knot] -= much
                excess[other] += much
            if excess[knot] > least:
                turn[knot] += 1  # else the edge may take more
        queued[knot] = False


@kernel_part
def _line_up(excess: Array, least: float, label: Counts, waiting: Counts, queued: Flags) -> int:
    """Put all knots in line from which anything can be pushed; how many they are."""
    sink = len(label) - 1
    size = 0
    for knot in range(sink):
        queued[knot] = excess[knot] > least and label[knot] < len(label)
        if queued[knot]:
            waiting[size] = knot
            size += 1
    queued[sink] = True  # it never stands in line: nothing is pushed from it
    return size


@kernel_part
def _lift(
    knot: int, start: Places, head: Places, left: Array, least: float, label: Counts, count: Counts
) -> None:
    """Label a knot anew, one above the lowest that it leads to."""
    far = len(label)
    lowest = far
    for edge in range(start[knot], start[knot + 1]):
        if left[edge] > least:
            lowest = min(lowest, label[head[edge]] + 1)
    before = label[knot]
    count[before] -= 1
    if count[before] == 0:
        # No other knot has this label: from none above it a way leads to the sink.
        lowest = far
        for above in range(far):
            if before < label[above] < far:
                count[label[above]] -= 1
                count[far] += 1
                label[above] = far
    label[knot] = lowest
    count[lowest] += 1


@kernel_part
def _set_labels(
    start: Places, head: Places, back: Ways, left: Array, least: float, label: Counts,
    count: Counts, queue: Counts,
) -> None:  # fmt: skip
    """Label each knot with the number of edges from it to the sink; count knots by label."""
    knots = len(label)
    label[:] = knots
    count[:] = 0
    label[knots - 1] = 0
    queue[0] = knots - 1
    first, size = 0, 1
    while first < size:
        knot = queue[first]
        first += 1
        count[label[knot]] += 1
        for edge in range(start[knot], start[knot + 1]):
            other = head[edge]
            if label[other] == knots and left[back[edge]] > least:
                label[other] = label[knot] + 1
                queue[size] = other
                size += 1
    count[knots] = knots - size


@kernel
def led_to(start: Places, head: Places, left: Array, least: float, seen: Flags) -> None:
    """Find all knots to which a way leads from some of them.

    Parameters
    ----------
    start, head, left, least
        As in `push`: a way leads over edges that can take more than `least`.
    seen
        Shape (k,): True for the knots to start from; in place, for all that are led to.
    """
    queue = np.empty(len(seen), np.int64)
    size = 0
    for knot in range(len(seen)):
        if seen[knot]:
            queue[size] = knot
            size += 1
    first = 0
    while first < size:
        knot = queue[first]
        first += 1
        for edge in range(start[knot], start[knot + 1]):
            other = head[edge]
            if not seen[other] and left[edge] > least:
                seen[other] = True
                queue[size] = other
                size += 1
