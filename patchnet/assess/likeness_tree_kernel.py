"""Compiled kernel that joins rows of a matrix to a tree, each row to the one it is most like."""

import numpy as np
from numpy.typing import NDArray

from patchnet.core.compiled import kernel

__all__ = ["tree_of"]

Ints = NDArray[np.int64]


@kernel
def tree_of(
    differ: NDArray[np.float32], size: NDArray[np.float32], order: Ints, parent: Ints
) -> None:
    """Join rows to a tree of least difference (Prim): each comes after the row it is most like.

    Parameters
    ----------
    differ
        Shape (rows, rows): in how many columns two rows differ.
    size
        Shape (rows,): how many columns a row has. A row may also stand alone (parent -1).
    order, parent
        Shape (rows,), filled in: rows in order, and the row that each builds on.
    """
    rows = len(size)
    cost = size.copy()
    nearest = np.full(rows, -1)
    done = np.zeros(rows, np.bool_)
    for place in range(rows):
        best = -1
        for row in range(rows):
            if not done[row] and (best < 0 or cost[row] < cost[best]):
                best = row
        done[best] = True
        order[place], parent[place] = best, nearest[best]
        for row in range(rows):
            if not done[row] and differ[best, row] < cost[row]:
                cost[row], nearest[row] = differ[best, row], best
