"""Compiled kernel that joins rows of a matrix to a tree, each row to the one it is most like."""

import numpy as np
from numpy.typing import NDArray

from patchnet.core.compiled import inlined_part, kernel

__all__ = ["tree_of"]

Ints = NDArray[np.int64]


@inlined_part
def _ones(word: np.uint64) -> np.uint64:
    """How many of 64 bits are set (Warren 2012, Hacker's Delight, 2nd ed., figure 5-2)."""
    word -= (word >> np.uint64(1)) & np.uint64(0x5555555555555555)
    pairs = np.uint64(0x3333333333333333)
    word = (word & pairs) + ((word >> np.uint64(2)) & pairs)
    word = (word + (word >> np.uint64(4))) & np.uint64(0x0F0F0F0F0F0F0F0F)
    return (word * np.uint64(0x0101010101010101)) >> np.uint64(56)


@kernel
def tree_of(bits: NDArray[np.uint64], size: Ints, order: Ints, parent: Ints) -> None:
    """Join rows to a tree of least difference (Prim): each comes after the row it is most like.

    Parameters
    ----------
    bits
        Shape (rows, words): the rows of a matrix of 0 and 1, 64 columns to a word.
    size
        Shape (rows,): how many columns a row has. A row may also stand alone (parent -1).
    order, parent
        Shape (rows,), filled in: rows in order, and the row that each builds on.
    """
    rows, words = bits.shape
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
            if not done[row]:
                differ = np.int64(0)
                for word in range(words):
                    differ += np.int64(_ones(bits[best, word] ^ bits[row, word]))
                if differ < cost[row]:
                    cost[row], nearest[row] = differ, best
