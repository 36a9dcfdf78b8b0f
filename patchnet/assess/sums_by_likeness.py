"""Sums over the plots within reach, each built on the sum of the plot most like it.

`RowSums` says how; `Shared` and `Tried` are what the compiled kernels of the trials take.

Two neighbours reach nearly the same plots. So the sum for one is the sum for the other, and a
few terms more and less: on a street of 500 plots and a reach of 275 m some 900 additions
instead of 160,000.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["RowSums", "Shared", "Tried", "row_sums", "stacked"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Places = NDArray[np.int32]


class RowSums(NamedTuple):
    """How to add up the terms of each row, for Q matrices of 0 and 1 with r rows each.

    Attributes
    ----------
    order, parent
        Shape (Q, r): rows in the order they are worked out, and the row each builds on (-1:
        none).
    more_start, more, less_start, less
        Columns added to and taken from the parent's sum, by place in `order`; starts have shape
        (Q, r + 1).
    all_start, all
        All columns of each row, by row.
    """

    order: Ints
    parent: Ints
    more_start: Ints
    more: Places
    less_start: Ints
    less: Places
    all_start: Ints
    all: Places


class Shared(NamedTuple):
    """Needs of one group around one plot: Q needs, h homes, n plots; the plot itself left out.

    Attributes
    ----------
    takers, givers
        Row sums (n from h) and (h from n) of the reach of each need.
    months
        Shape (Q + 1,): where the months of each need begin in the arrays by month.
    supply
        Shape (months, n), in homes: over the amount one home takes.
    within
        Shape (months, h + 1): supply within reach, in homes.
    share
        Shape (months,): part of the need's mean that the month makes up.
    near_home, near_plot
        Shapes (Q, h) and (Q, n): 1 where home or plot is within reach of the plot.
    worst
        Shape (Q,): True where the worst month decides.
    floor, weight
        Shape (Q,).
    """

    takers: RowSums
    givers: RowSums
    months: Ints
    supply: Floats
    within: Floats
    share: Floats
    near_home: Floats
    near_plot: Floats
    worst: NDArray[np.bool_]
    floor: Floats
    weight: Floats


class Tried(NamedTuple):
    """What is tried: room of all homes, the plot's own last, (h + 1, trials), and its supply.

    `whole` and `near_whole`, shapes (h + 1,), are the homes that there are places for within the
    anchor's reach without the plot, and 1 where the plot lies within it; `plot_places`, by trial,
    those of the plot. `supply` has shape (months, trials), in homes.
    """

    room: Floats
    whole: Floats
    near_whole: Floats
    plot_places: Floats
    supply: Floats


def row_sums(matrix: NDArray[np.float32]) -> RowSums:
    """Find the way with few additions to all row sums of a matrix (r, c) of 0 and 1.

    Parameters
    ----------
    matrix
        Shape (r, c), 0 or 1.
    """
    from patchnet.assess.likeness_tree_kernel import tree_of  # noqa: PLC0415 - imports numba

    rows, cols = matrix.shape
    size = matrix.sum(axis=1, dtype=np.int64)
    order, parent = np.empty(rows, np.int64), np.empty(rows, np.int64)
    bits = np.zeros((rows, -(-cols // 64) * 8), dtype=np.uint8)
    bits[:, : -(-cols // 8)] = np.packbits(matrix > 0, axis=1)
    tree_of(bits.view(np.uint64), size, order, parent)
    base = np.where(parent[:, None] >= 0, matrix[parent], np.float32(0))
    change = matrix[order] - base
    more_start, more = _lists(change > 0)
    less_start, less = _lists(change < 0)
    all_start, everything = _lists(matrix > 0)
    return RowSums(
        order[None], parent[None], more_start, more, less_start, less, all_start, everything
    )


def _lists(marked: NDArray[np.bool_]) -> tuple[Ints, Places]:
    start = np.zeros((1, len(marked) + 1), np.int64)
    np.cumsum(marked.sum(axis=1), out=start[0, 1:])
    return start, np.nonzero(marked)[1].astype(np.int32)


def stacked(sums: Sequence[RowSums]) -> RowSums:
    """Put several matrices of as many rows together.

    Parameters
    ----------
    sums
        One or more, each with r rows.
    """
    if len(sums) == 1:
        return sums[0]

    def starts(start: list[Ints], columns: list[Places]) -> Ints:
        before = np.cumsum([0, *(len(part) for part in columns[:-1])])
        joined: Ints = np.concatenate(start) + before[:, None]
        return joined

    more = [one.more for one in sums]
    less = [one.less for one in sums]
    everything = [one.all for one in sums]
    return RowSums(
        np.concatenate([one.order for one in sums]),
        np.concatenate([one.parent for one in sums]),
        starts([one.more_start for one in sums], more),
        np.concatenate(more),
        starts([one.less_start for one in sums], less),
        np.concatenate(less),
        starts([one.all_start for one in sums], everything),
        np.concatenate(everything),
    )
