"""A reach as blocks of ones: every plot of one bunch reaches every plot of another.

Neighbours reach nearly the same plots, so the ones of the matrix "lies within reach" come in
blocks. With plots in an order in which neighbours stand together, the matrix is cut into squares
whose sides are halved again and again; a square that is all ones is a block. What flows from plot
to plot then needs one edge a block, with the bunches as knots in between, instead of one edge a
pair.
"""

from collections.abc import Hashable
from copy import copy
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse import csgraph

__all__ = ["Blocks", "along_a_curve", "blocks_of", "joined"]

Ints = NDArray[np.int64]
_BITS = 16  # of each coordinate along the curve


@dataclass(frozen=True, eq=False)
class Blocks:
    """A matrix (n, n) of 0 and 1 as a net in which row i leads to column j where there is a 1.

    Knots 0 to n - 1 are the rows, n to 2 n - 1 the columns; the rest are bunches of rows or of
    columns.

    Attributes
    ----------
    size
        n.
    knots
        Number of knots.
    tail, head
        The edges. Each 1 of the matrix is one way along them, and no 0 is.
    in_bunch
        For rows, and for columns: which of them (0 to n - 1) stand in a bunch, and the knot of it.
        Each that has an edge is a bunch of its own; of two bunches, one inside the other, the
        inner one has the lower number.
    whole
        Knots of the bunches of rows and of columns that each block is of.
    """

    size: int
    knots: int
    tail: Ints
    head: Ints
    in_bunch: tuple[tuple[Ints, Ints], tuple[Ints, Ints]]
    whole: tuple[Ints, Ints]

    def times(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the matrix times `values`, shape (n,) or (n, k): bunch by bunch, not pair by pair.

        Sums are taken in another order than over the pairs, so they differ by rounding.
        """
        rows, blocks, _ = self._factors
        *_, into = self._turned
        return np.asarray(rows @ (blocks @ (into @ values)))

    def transposed_times(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the transposed matrix times `values`, as `times`."""
        *_, cols = self._factors
        into, blocks, _ = self._turned
        return np.asarray(cols @ (blocks @ (into @ values)))

    @cached_property
    def _factors(self) -> "tuple[sp.csr_array, sp.csr_array, sp.csr_array]":
        """Rows in bunches (n, knots), blocks (knots, knots), columns in bunches (n, knots)."""
        rows, cols = (
            sp.coo_array((np.ones(len(one)), (one, knot)), (self.size, self.knots)).tocsr()
            for one, knot in self.in_bunch
        )
        ones = np.ones(len(self.whole[0]))
        return rows, sp.coo_array((ones, self.whole), (self.knots, self.knots)).tocsr(), cols

    @cached_property
    def _turned(self) -> "tuple[sp.csc_array, sp.csc_array, sp.csc_array]":
        """The factors transposed: turning them takes as long as multiplying by them."""
        rows, blocks, cols = self._factors
        return rows.T, blocks.T, cols.T

    def flow(
        self, rows: NDArray[np.float64], cols: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Return what flows where row i sends rows[i] x cols[j] to each column j it leads to.

        A pair has one way, so along an edge goes what all rows behind it send times what all
        columns before it draw.

        Parameters
        ----------
        rows, cols
            Shape (n, k): k flows side by side.

        Returns
        -------
        tuple
            Shape (n, k), what each row sends; shape (n, k), what each column gets; and shape
            (edges, k), what goes along each edge (`tail`, `head`).
        """
        _, blocks, _ = self._factors
        into, back, down = self._turned
        sent, drawn = into @ rows, down @ cols
        # A bunch inside another sends, or draws, over the blocks of that one as well.
        larger_rows, larger_cols = self._larger
        sent += larger_cols @ (back @ sent)
        drawn += larger_rows @ (blocks @ drawn)
        own, others = slice(0, self.size), slice(self.size, 2 * self.size)
        return (
            np.asarray(rows * drawn[own]),
            np.asarray(cols * sent[others]),
            np.asarray(sent[self.tail] * drawn[self.head]),
        )

    @cached_property
    def _larger(self) -> "tuple[sp.csr_array, sp.csr_array]":
        """Shape (knots, knots): in which bunches each knot stands, itself among them.

        First of rows, then of columns.
        """
        rows, _, cols = self._factors
        return _larger(rows, self.in_bunch[0]), _larger(cols, self.in_bunch[1])

    def __getstate__(self) -> dict[str, Any]:
        """Leave out what can be worked out again: another process would rather do that."""
        own = ("known", "mark")
        return {key: value for key, value in self.__dict__.items() if key not in own}

    @cached_property
    def mark(self) -> object:
        """Stands for these blocks in what `known` has: they themselves would close a circle."""
        return object()

    @cached_property
    def known(self) -> dict[Hashable, Any]:
        """What has been worked out over these blocks and is kept as long as they are."""
        return {}

    def between(
        self, rows: NDArray[np.bool_], cols: NDArray[np.bool_]
    ) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Tails and heads of the edges on a way from some of the rows to some of the columns."""
        ends = np.r_[rows, cols, np.zeros(self.knots - 2 * self.size, dtype=bool)]
        forth, back = self._ways
        on = _led_to(forth, np.flatnonzero(ends[: self.size]))
        on &= _led_to(back, np.flatnonzero(ends[self.size :]) + self.size)
        kept = on[self.tail] & on[self.head]
        return self.tail[kept].astype(np.intp), self.head[kept].astype(np.intp)

    @cached_property
    def _ways(self) -> "tuple[sp.csr_array, sp.csr_array]":
        """The edges and their way back, with one more knot behind that leads nowhere yet."""
        data, shape = np.ones(len(self.tail)), (self.knots + 1, self.knots + 1)
        forth = sp.coo_array((data, (self.tail, self.head)), shape=shape)
        return forth.tocsr(), forth.T.tocsr()


def _larger(members: "sp.csr_array", in_bunch: tuple[Ints, Ints]) -> "sp.csr_array":
    """Bunches round each knot: those that its first member stands in, but none made before it."""
    knots, first = np.unique(in_bunch[1], return_index=True)
    chains = members[in_bunch[0][first]].tocoo()
    inner = knots[chains.row]
    kept = chains.col >= inner
    size = members.shape[1]
    ones = np.ones(int(kept.sum()))
    return sp.coo_array((ones, (inner[kept], chains.col[kept])), shape=(size, size)).tocsr()


def _led_to(ways: "sp.csr_array", starts: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Shape (knots,): True where the edges lead to from any of the starts, and at the starts."""
    graph = copy(ways)  # laid and checked once: only the last knot leads elsewhere
    graph.indices = np.concatenate((ways.indices, starts.astype(ways.indices.dtype)))
    graph.data = np.ones(len(graph.indices))
    graph.indptr = ways.indptr.copy()
    graph.indptr[-1] = len(graph.indices)
    last = ways.shape[0] - 1
    reached = np.zeros(last + 1, dtype=bool)
    reached[csgraph.breadth_first_order(graph, last, return_predecessors=False)] = True
    return reached[:last]


def along_a_curve(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return an order of places in which neighbours stand together (Z-order: bits in turn).

    Morton 1966, "A computer oriented geodetic data base" (IBM).

    Parameters
    ----------
    x, y
        Shape (n,): where the places are, in metres.

    Returns
    -------
    array
        Shape (n,): positions in that order.

    Examples
    --------
    >>> along_a_curve(np.array([0.0, 9, 1, 8]), np.array([0.0, 9, 0, 9])).tolist()
    [0, 2, 3, 1]
    """
    side = max(float(np.ptp(x)), float(np.ptp(y)), 1e-9) if len(x) else 1.0
    code = np.zeros(len(x), dtype=np.int64)
    for values, shift in ((x, 0), (y, 1)):
        low = values.min() if len(values) else 0.0
        cell = ((values - low) / side * (2**_BITS - 1)).astype(np.int64)
        for bit in range(_BITS):
            code |= (cell >> bit & 1) << (2 * bit + shift)
    return np.argsort(code, kind="stable")


def blocks_of(matrix: "sp.csr_array", order: NDArray[np.intp] | None = None) -> Blocks:
    """Cut a matrix of 0 and 1 into blocks of ones.

    Parameters
    ----------
    matrix
        Shape (n, n); every entry that is stored counts as 1.
    order
        Shape (n,): an order in which neighbours stand together (see `along_a_curve`); None: as
        they come. Any order is right; a good one gives fewer edges.

    Examples
    --------
    Four plots that all reach each other are one block, with a knot for all rows and all columns:

    >>> net = blocks_of(sp.csr_array(np.ones((4, 4))))
    >>> net.knots, len(net.tail)
    (10, 9)
    """
    size = matrix.shape[0]
    place = np.empty(size, dtype=np.int64)
    place[np.arange(size) if order is None else order] = np.arange(size)
    row = np.repeat(place, np.diff(matrix.indptr))
    col = place[matrix.indices]
    found = _squares(row, col, size)
    net = _Net(size, place)
    for level, rows, cols in found:
        net.join(level, rows, cols)
    return net.done()


def _squares(row: Ints, col: Ints, size: int) -> list[tuple[int, Ints, Ints]]:
    """Blocks of ones by level: squares of side 2^level that are all ones, none inside another."""
    found: list[tuple[int, Ints, Ints]] = []
    area = np.ones(len(row), dtype=np.int64)
    level = 0
    while len(row):
        wide = (size >> level + 1) + 1
        key, of = np.unique((row >> 1) * wide + (col >> 1), return_inverse=True)
        ones = np.bincount(of, weights=area, minlength=len(key)).astype(np.int64)
        up, across = np.divmod(key, wide)
        whole = _side(up, level + 1, size) * _side(across, level + 1, size)
        full = (ones == whole) & (1 << level < size)
        kept = ~full[of]
        if kept.any():
            found.append((level, row[kept], col[kept]))
        row, col, area = up[full], across[full], whole[full]
        level += 1
    return found


def _side(box: Ints, level: int, size: int) -> Ints:
    """Number of rows in boxes of 2^level rows; the last one may be cut short."""
    low = box << level
    side: Ints = np.minimum(low + (1 << level), size) - low
    return side


class _Net:
    """Puts the bunches together level by level."""

    def __init__(self, size: int, place: Ints) -> None:
        self.size, self.place, self.knots = size, place, 2 * size
        # The knot that stands for each row and each column up to the level reached.
        self.stands = (np.arange(size), np.arange(size) + size)
        self.edges: list[tuple[Ints, Ints]] = []
        self.across: list[tuple[Ints, Ints]] = []
        self.members = tuple([(np.arange(size), one.copy())] for one in self.stands)

    def join(self, level: int, rows: Ints, cols: Ints) -> None:
        one = self._bunch(level, rows, 0)
        other = self._bunch(level, cols, 1)
        self.edges.append((one[rows], other[cols]))
        self.across.append((one[rows], other[cols]))

    def _bunch(self, level: int, boxes: Ints, side: int) -> Ints:
        """Return the knot of each box of a level, made where it is needed."""
        count = (self.size >> level) + 1
        knot = np.full(count, -1, dtype=np.int64)
        box = self.place >> level
        if level == 0:
            knot[box] = np.arange(self.size) + side * self.size
            return knot
        used = np.unique(boxes)
        knot[used] = self.knots + np.arange(len(used))
        self.knots += len(used)
        inside = knot[box] >= 0
        self.members[side].append((np.flatnonzero(inside), knot[box[inside]]))
        pairs = np.unique(np.column_stack([self.stands[side][inside], knot[box[inside]]]), axis=0)
        self.edges.append((pairs[:, 0], pairs[:, 1]) if side == 0 else (pairs[:, 1], pairs[:, 0]))
        self.stands[side][inside] = knot[box[inside]]
        return knot

    def done(self) -> Blocks:
        tail, head = joined(self.edges)
        rows, cols = map(joined, self.members)
        return Blocks(self.size, self.knots, tail, head, (rows, cols), joined(self.across))


def joined(pairs: list[tuple[Ints, Ints]]) -> tuple[Ints, Ints]:
    """Put pairs of arrays one behind the other.

    Parameters
    ----------
    pairs
        Two arrays of one shape (m,) each.

    Returns
    -------
    tuple
        Two arrays of one shape (all m,).
    """
    nothing = np.zeros(0, dtype=np.int64)
    first = np.concatenate([nothing, *(first for first, _ in pairs)])
    return first, np.concatenate([nothing, *(second for _, second in pairs)])
