"""Whether supplies can meet wants within reach, and where not, the want and supply that clash.

A maximum flow decides it (Ford & Fulkerson 1956, Canadian Journal of Mathematics 8:399-404): what
plots want flows out of a source, over the blocks of ones of the reach, into the plots that supply
it. Where not all of it gets through, the least cut gives a set of plots that together want more
than all that lies within their reach.

Small nets go by scipy, large ones by a compiled kernel, which needs a fifth of the time. scipy's
flows are whole numbers of 32 bits, so amounts are counted there in units of total / 2^29. What that
rounds off is sent again in a second flow over what is left of each edge, in units smaller by as
much; so less than 1e-12 of the total is lost. Where far more than rounding does not get through,
the first flow shows the clash, and no second is sent.
"""

from copy import copy
from dataclasses import dataclass
from typing import NamedTuple, Self
from weakref import WeakKeyDictionary

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse import csgraph

from patchnet.assess.blocks import Blocks
from patchnet.core.compiled import use_compiled

__all__ = ["Begun", "Net", "Passed", "net_of"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Places = NDArray[np.int64]

_UNITS = 2**29  # the whole of what is wanted
_ENDLESS = 2**30  # more than there are; with all of them flowing back still within 32 bits
_A_UNIT = 1.001  # with what floats round off
_TIMES = 3  # flows at most, each over what the one before left
_ENDLESS_TIMES = 4.0  # of all that is wanted: more than that never goes along an edge
_EXACT = 1e-12  # of all that is wanted: less than that is not sent again
_NOTHING = 1e-16  # of all that is wanted: what floats leave on an edge, or on a knot
_COMPILE_FROM = 8_000  # edges, both ways: from there a flow is quicker by what a first one waits


class Begun(NamedTuple):
    """A flow from plots to suppliers.

    Attributes
    ----------
    drawn, given
        Shape (n, L): what each plot draws from each layer, and what of its own it gives there.
    along
        Shape (edges of the blocks, L): what goes along each of them.
    """

    drawn: Array
    given: Array
    along: Array

    @classmethod
    def of(cls, blocks: Blocks, asked: Array, offered: Array) -> Self:
        """Plot i draws asked[i] x offered[j] from each plot j within reach.

        Parameters
        ----------
        blocks
            The reach.
        asked, offered
            Shape (n, L).
        """
        return cls(*blocks.flow(asked, offered))


class Passed(NamedTuple):
    """What gets through.

    Attributes
    ----------
    short
        How much of what is wanted does not get through (where there is a clash, to a unit an edge).
    wanting
        Shape (n,): True where a plot belongs to the set that clashes.
    bound
        Shape (n, L): True where its share of a layer is full, which is then part of what the set
        can take (see `Net`); always False where plots may take all they want from one layer.
    given
        Shape (n, L): True where the set takes all that a plot supplies.
    """

    short: float
    wanting: Flags
    bound: Flags
    given: Flags


@dataclass(frozen=True, eq=False)
class Net:
    """Plots that want, layers of plots that supply (one a month), and the reach between them.

    Attributes
    ----------
    size, layers
        n and L.
    matrix
        Edges and their way back, as a CSR matrix of knots; source and sink come last.
    out, over, into
        Places among the edges, in order: source to plot (n,); plot to layer (n, L), where L > 1;
        supplier to sink (n, L).
    inner
        Shape (L, edges of the blocks): the edges from plots to suppliers, which hold anything.
    back
        Place of each edge's way back.
    endless
        True on edges that hold anything.
    """

    size: int
    layers: int
    matrix: "sp.csr_array"
    out: Places
    over: Places | None
    into: Places
    inner: Places
    back: Places
    endless: Flags

    @classmethod
    def of(cls, blocks: Blocks, layers: int) -> "Net":
        """Lay the edges: one layer for a month by itself, or several that plots choose among."""
        n, knots = blocks.size, blocks.knots
        first = np.arange(layers, dtype=np.int64) * knots
        rows = (first[:, None] + np.arange(n)).T  # (n, L): plots as each layer knows them
        cols = rows + n
        many = layers > 1
        plots = layers * knots + np.arange(n) if many else rows[:, 0]
        source = layers * knots + (n if many else 0)
        sink = source + 1
        inner_tail = (first[:, None] + blocks.tail).ravel()
        inner_head = (first[:, None] + blocks.head).ravel()
        over = n * layers if many else 0
        tail = np.r_[np.full(n, source), np.repeat(plots, layers)[:over], cols.ravel(), inner_tail]
        head = np.r_[plots, rows.ravel()[:over], np.full(n * layers, sink), inner_head]
        edges = len(tail)
        both = sp.coo_array(
            (np.arange(1, 2 * edges + 1), (np.r_[tail, head], np.r_[head, tail])),
            shape=(sink + 1, sink + 1),
        ).tocsr()
        place = np.empty(2 * edges, dtype=np.int64)
        place[both.data - 1] = np.arange(2 * edges)
        back = np.empty(2 * edges, dtype=np.int64)
        back[place[:edges]], back[place[edges:]] = place[edges:], place[:edges]
        endless = np.zeros(2 * edges, dtype=bool)
        inner = place[n + over + n * layers : edges].reshape(layers, -1)
        endless[inner] = True
        matrix = sp.csr_array(
            (np.zeros(2 * edges, np.int32), both.indices.astype(np.int32),
             both.indptr.astype(np.int32)), shape=both.shape,
        )  # fmt: skip
        return cls(
            size=n,
            layers=layers,
            matrix=matrix,
            out=place[:n],
            over=place[n : n + over].reshape(n, layers) if many else None,
            into=place[n + over : n + over + n * layers].reshape(n, layers),
            inner=inner,
            back=back,
            endless=endless,
        )

    def passed(
        self,
        wanted: Array,
        supply: Array,
        most: Array | None = None,
        begun: Begun | None = None,
        *,
        compiled: bool | None = None,
    ) -> Passed:
        """Send as much as can be.

        Parameters
        ----------
        wanted
            Shape (n,): what each plot wants in all.
        supply
            Shape (n, L).
        most
            Shape (n, L): most that a plot takes from a layer, where there are several.
        begun
            A flow to begin with, of which more is only made. It must not send more than plots
            want, nor more than there is.
        compiled
            True, False, or None: by size. Both find the same, to rounding.
        """
        total = float(wanted.sum())
        left = np.zeros(len(self.back))
        left[self.out], left[self.into] = wanted, np.minimum(supply, total)
        if self.over is not None and most is not None:
            left[self.over] = np.minimum(most, total)
        if begun is not None:
            self._begin(left, begun)
        nobody = np.zeros((self.size, self.layers), dtype=bool)
        short, reached = float(left[self.out].sum()), None
        if short > _EXACT * total:
            worthwhile = len(self.back) >= _COMPILE_FROM
            fast = use_compiled(compiled=compiled, worthwhile=worthwhile)
            short, reached = (self._pushed if fast else self._sent)(left, total)
        if reached is None:
            return Passed(short, nobody[:, 0], nobody, nobody)
        return self._cut(short, reached)

    def _begin(self, left: Array, begun: Begun) -> None:
        """Send what is sent to begin with: `left` on the edges is changed in place."""
        sent = [
            (self.out, begun.drawn.sum(axis=1)),
            (self.into, begun.given),
            (self.inner, begun.along.T),
        ]
        if self.over is not None:
            sent.append((self.over, begun.drawn))
        for edges, amount in sent:
            left[edges] -= amount
            left[self.back[edges]] += amount
        np.maximum(left, 0.0, out=left)

    def _pushed(self, left: Array, total: float) -> tuple[float, Flags | None]:
        """As `_sent`, by the compiled kernel."""
        from patchnet.assess import flow_kernels  # noqa: PLC0415 - imports numba

        start, head, least = self.matrix.indptr, self.matrix.indices, _NOTHING * total
        left[self.endless] = _ENDLESS_TIMES * total
        standing = np.zeros(len(start) - 1)
        standing[head[self.out]] = left[self.out]
        left[self.out] = 0.0
        flow_kernels.push(start, head, self.back, left, standing, least)
        standing[-1] = 0.0
        short = float(standing.sum())
        if short <= _EXACT * total:
            return short, None
        reached = standing > least
        flow_kernels.led_to(start, head, left, least, reached)
        return short, reached

    def _sent(self, left: Array, total: float) -> tuple[float, Flags | None]:
        """Send what is `left` to be sent, in place; how much is short, and the side of the cut.

        That is shape (knots,), True for all that more could still get to from the source; None
        where all of it gets through.
        """
        missing, unit = float(left[self.out].sum()), 0.0
        for _ in range(_TIMES):
            unit = missing / _UNITS
            sent = self._in_units(np.minimum(left / unit, _UNITS), unit)
            left -= sent
            left[self.back] += sent
            np.maximum(left, 0.0, out=left)
            missing = float(left[self.out].sum())
            if missing <= _EXACT * total:
                return missing, None
            if missing > len(self.back) * unit:
                break  # rounding takes less than a unit from each edge: this flow is truly short
        # What a flow leaves of a full edge is less than a unit.
        return missing, self._reached(left, unit * _A_UNIT)

    def _in_units(self, units: Array, unit: float) -> Array:
        capacity = np.where(self.endless, _ENDLESS, units).astype(np.int32)
        graph = self._graph(capacity)
        source, sink = graph.shape[0] - 2, graph.shape[0] - 1
        flow = csgraph.maximum_flow(graph, source, sink).flow
        sent: Array = np.maximum(flow.data, 0) * unit
        return sent

    def _graph(self, values: "NDArray[np.int32]") -> "sp.csr_array":
        graph = copy(self.matrix)  # the same edges: nothing to check again
        graph.data = values
        return graph

    def _reached(self, left: Array, full: float) -> Flags:
        """Find all knots that more could still get to from the source."""
        # On the way back a bunch may hold the rests of all its plots, less than a unit each.
        rests = np.full(len(left), float(self.size))
        rests[self.out] = rests[self.into] = 1.0
        if self.over is not None:
            rests[self.over] = 1.0
        through = self.endless | (left > full * rests)
        before = np.r_[0, np.cumsum(through)]
        graph = sp.csr_array(
            (
                np.ones(int(before[-1]), dtype=np.int8),
                self.matrix.indices[through],
                before[self.matrix.indptr].astype(np.int32),
            ),
            shape=self.matrix.shape,
        )
        source = graph.shape[0] - 2
        reached = np.zeros(graph.shape[0], dtype=bool)
        reached[csgraph.breadth_first_order(graph, source, return_predecessors=False)] = True
        return reached

    def _cut(self, short: float, reached: Flags) -> Passed:
        """What the side of the least cut says of plots and supplies."""
        source = len(reached) - 2
        own = 0 if self.over is None else self.size  # knots of plots before they choose a layer
        first = np.arange(self.layers) * ((source - own) // self.layers)
        rows = reached[first + np.arange(self.size)[:, None]]
        wanting = reached[source - own : source] if own else rows[:, 0]
        given = reached[first + self.size + np.arange(self.size)[:, None]]
        return Passed(short, wanting, wanting[:, None] & ~rows, given)


_known: "WeakKeyDictionary[Blocks, dict[int, Net]]" = WeakKeyDictionary()


def net_of(blocks: Blocks, layers: int) -> Net:
    """Return the net of some blocks, laid once for as long as the blocks are there.

    Parameters
    ----------
    blocks
        Who reaches whom.
    layers
        Number of months that are filled side by side.
    """
    nets = _known.setdefault(blocks, {})
    if layers not in nets:
        nets[layers] = Net.of(blocks, layers)
    return nets[layers]
