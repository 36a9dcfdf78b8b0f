"""What lies within reach: a straight line no longer than it, and a route the group can take."""

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse import csgraph

from patchnet.assess.blocks import Blocks, blocks_of
from patchnet.movement.distance import Pairs
from patchnet.network.adjacency import Links
from patchnet.network.prune import needed_links

if TYPE_CHECKING:
    from patchnet.assess.bunches import BunchedReach

__all__ = ["Reach", "RouteGraph", "StraightReaches", "clusters_of"]

Dense = NDArray[np.float64]
Ints = NDArray[np.int32]
_BLOCK = 256  # sources whose distances are held at once: 256 rows of 8 bytes a plot


def _csr(rows: Ints, cols: Ints, data: Dense, size: int) -> "sp.csr_array":
    """Build a CSR array; explicit zeros stay, and columns in the order they come in each row."""
    return sp.coo_array((data, (rows, cols)), shape=(size, size)).tocsr()


def clusters_of(moves: Pairs, stops: NDArray[np.bool_]) -> "tuple[int, NDArray[np.intp]]":
    """Stops that touch as one cluster, since crossing a stop is free; any other plot by itself.

    Parameters
    ----------
    moves
        Single moves between plots.
    stops
        Shape (n,), True where the group can rest.

    Returns
    -------
    tuple
        How many clusters, c, and the one of each plot, shape (n,), 0 to c - 1.
    """
    size = len(stops)
    joined = (moves.length_mm == 0) & stops[moves.i] & stops[moves.j]
    touching = sp.coo_array(
        (np.ones(int(joined.sum())), (moves.i[joined], moves.j[joined])), (size, size)
    )
    count, cluster = csgraph.connected_components(touching, directed=False)
    return int(count), cluster.astype(np.intp)


@dataclass(eq=False)
class StraightReaches:
    """What lies within a straight line, by its length in mm; made when it is asked for.

    Attributes
    ----------
    order
        Shape (n,): plots in an order in which neighbours stand together (see `along_a_curve`);
        None: as they come.
    matrix, blocks, bunched
        The reaches known so far.
    """

    order: NDArray[np.intp] | None = None
    matrix: "dict[int, sp.csr_array]" = field(default_factory=dict)
    blocks: dict[int, Blocks] = field(default_factory=dict)
    bunched: "dict[int, BunchedReach]" = field(default_factory=dict)


class RouteGraph(NamedTuple):
    """Single moves between clusters of n plots.

    Stops that touch are one cluster, since crossing a stop is free; any other plot is a cluster of
    its own.

    Attributes
    ----------
    graph
        Shape (2c, 2c), lengths in mm. Node c + k is cluster k as a starting point: it may be left
        even where it is not a stop, while a plot that is not a stop cannot be passed through.
    cluster
        Shape (n,): cluster of each plot, 0 to c - 1.
    """

    graph: "sp.csr_array"
    cluster: NDArray[np.intp]

    @classmethod
    def of(cls, steps: Pairs, stops: NDArray[np.bool_], hop_mm: int) -> "RouteGraph":
        """Put the moves together.

        Parameters
        ----------
        steps
            What single moves between plots cost.
        stops
            Shape (n,), True where the group can rest.
        hop_mm
            Longest move, mm.
        """
        near = steps.length_mm <= hop_mm
        i, j, length = steps.i[near], steps.j[near], steps.length_mm[near]
        count, cluster = clusters_of(Pairs(i, j, length), stops)
        passable = np.zeros(count, dtype=bool)
        passable[cluster[stops]] = True

        apart = cluster[i] != cluster[j]
        start = np.r_[cluster[i[apart]], cluster[j[apart]]].astype(np.int32)
        end = np.r_[cluster[j[apart]], cluster[i[apart]]].astype(np.int32)
        lengths = np.r_[length[apart], length[apart]].astype(np.float64)
        order = np.lexsort((lengths, end, start))
        start, end, lengths = start[order], end[order], lengths[order]
        first = np.r_[True, (np.diff(start) != 0) | (np.diff(end) != 0)][: len(start)]
        start, end, lengths = start[first], end[first], lengths[first]
        onward = passable[start]
        graph = _csr(
            np.r_[start[onward], start + np.int32(count)],
            np.r_[end[onward], end],
            np.r_[lengths[onward], lengths],
            2 * count,
        )
        return cls(graph, cluster)

    def pruned(self, stops: NDArray[np.bool_]) -> "RouteGraph":
        """Leave out moves between two stops that a third makes superfluous; no route is longer.

        Parameters
        ----------
        stops
            Shape (n,), as `of` had them. Moves to and from other plots stay: nobody passes there.
        """
        count = self.graph.shape[0] // 2
        passable = np.zeros(count, dtype=bool)
        passable[self.cluster[stops]] = True
        row = np.repeat(np.arange(2 * count), np.diff(self.graph.indptr))
        start, end = row % count, self.graph.indices.astype(np.int64)
        both = passable[start] & passable[end]
        once = both & (row == start) & (start < end)
        order = np.flatnonzero(once)[np.lexsort((end[once], start[once]))]
        links = Links(
            count,
            start[order].astype(np.int32),
            end[order].astype(np.int32),
            self.graph.data[order].astype(np.int64),
        )
        gone = ~needed_links(links)
        key = np.minimum(start, end) * count + np.maximum(start, end)
        keep = ~(both & np.isin(key, (start * count + end)[order[gone]]))
        kept = _csr(
            row[keep].astype(np.int32), self.graph.indices[keep], self.graph.data[keep], 2 * count
        )
        return RouteGraph(kept, self.cluster)

    def near_lengths(
        self, plots: NDArray[np.intp], limit_mm: int
    ) -> "tuple[Dense, NDArray[np.intp]]":
        """Shortest routes from some plots, for the plots alone that any of them reaches.

        A route of no more than the limit never leaves what is reached within the limit, so all
        other places can be left out.

        Parameters
        ----------
        plots
            Shape (k,).
        limit_mm
            Longest route, mm; beyond it lengths are infinite.

        Returns
        -------
        tuple
            Lengths in mm, shape (k, columns), and in which column each of the n plots stands,
            -1 where it is out of reach.
        """
        graph, cluster = self
        count = graph.shape[0] // 2
        sources, row = np.unique(cluster[plots], return_inverse=True)
        reached = np.isfinite(
            csgraph.dijkstra(graph, indices=sources + count, limit=limit_mm, min_only=True)
        )
        reached[sources] = True
        nodes = np.flatnonzero(reached)
        place = np.full(2 * count, -1, dtype=np.intp)
        place[nodes] = np.arange(len(nodes))
        part = graph[nodes][:, nodes]
        lengths = csgraph.dijkstra(part, indices=place[sources + count], limit=limit_mm)
        lengths[np.arange(len(sources)), place[sources]] = 0.0
        return np.asarray(lengths[row]), place[cluster]


class Reach:
    """The plots within a group's reach of each plot.

    A supplier counts as within reach when the straight distance, edge to edge, is no longer
    than the reach *and* there is a route of moves no longer than `hop_m` each, resting only
    on stops, whose length is no longer than the reach either. Crossing a stop itself is free,
    as in the patch graph, which is why the straight distance is asked for as well.

    Parameters
    ----------
    pairs
        Edge-to-edge distances of all plots, at least up to the longest reach asked for.
    stops
        Shape (n,), True where the group can rest (its patches).
    hop_m
        Widest distance crossed in one move, metres.
    shared
        Plain straight-line reaches, to be shared between groups.
    moves
        Single moves and what they cost, in cost millimetres, where they are not straight lines
        (over the ground); None: the straight distances themselves.
    """

    def __init__(
        self,
        pairs: Pairs,
        stops: NDArray[np.bool_],
        *,
        hop_m: float,
        shared: "StraightReaches | None" = None,
        moves: Pairs | None = None,
    ) -> None:
        self._pairs = pairs
        self._steps = pairs if moves is None else moves
        self._stops = stops
        self._hop_mm = _mm(hop_m)
        self._shared = StraightReaches() if shared is None else shared
        self._own: dict[int, sp.csr_array] = {}
        self._own_blocks: dict[int, Blocks] = {}

    @property
    def moves(self) -> Pairs:
        """What single moves between plots cost."""
        return self._steps

    def with_stops(self, stops: NDArray[np.bool_], *, moves: Pairs | None = None) -> "Reach":
        """Return the same with other stops, and other moves where they are not straight lines."""
        return Reach(
            self._pairs, stops, hop_m=self._hop_mm / 1000, shared=self._shared, moves=moves
        )

    def in_one_move(self, reach_m: float) -> bool:
        """Whether all that lies within a straight line of that length is one move away."""
        return self._in_one_move(_mm(reach_m))

    def straight(self, reach_m: float) -> "sp.csr_array":
        """Shape (n, n): 1 where the straight distance is no longer than the reach; itself too."""
        return self._straight(_mm(reach_m))

    def within(self, reach_m: float) -> "sp.csr_array":
        """Shape (n, n): 1 where the column's plot lies within reach of the row's; itself too."""
        reach_mm = _mm(reach_m)
        if self._in_one_move(reach_mm):
            return self._straight(reach_mm)
        if reach_mm not in self._own:
            self._own[reach_mm] = self._by_routes(reach_mm)
        return self._own[reach_mm]

    def matrix(self, reach_m: float) -> "sp.csr_array":
        """Return `within` as a matrix whose entries can be looked at."""
        return self.within(reach_m)

    def _in_one_move(self, reach_mm: int) -> bool:
        """Whether every straight line of that length is a move by itself."""
        return self._steps is self._pairs and reach_mm <= self._hop_mm

    def _straight(self, reach_mm: int) -> "sp.csr_array":
        known = self._shared.matrix
        if reach_mm not in known:
            size = len(self._stops)
            # Pairs come sorted by (i, j): the lower triangle first gives columns in order.
            keep = self._pairs.length_mm <= reach_mm
            i, j = self._pairs.i[keep], self._pairs.j[keep]
            itself = np.arange(size, dtype=np.int32)
            rows, cols = np.r_[j, itself, i], np.r_[i, itself, j]
            known[reach_mm] = _csr(rows, cols, np.ones(len(rows)), size)
        return known[reach_mm]

    def blocks(self, reach_m: float) -> Blocks:
        """Return what lies within reach as blocks of ones (see `patchnet.assess.blocks`)."""
        reach_mm = _mm(reach_m)
        known = self._shared.blocks if self._in_one_move(reach_mm) else self._own_blocks
        if reach_mm not in known:
            known[reach_mm] = blocks_of(self.within(reach_m), self._shared.order)
        return known[reach_mm]

    def forget_blocks(self) -> None:
        """Let go of all blocks; they are made again where they are asked for."""
        self._own_blocks.clear()
        self._shared.blocks.clear()

    def row(self, reach_m: float, plot: int) -> NDArray[np.intp]:
        """Positions of the plots within reach of one plot, ascending, itself among them."""
        reach_mm = _mm(reach_m)
        ready = self._own.get(reach_mm)
        if ready is None and not self._in_one_move(reach_mm):
            straight = _row(self._straight(reach_mm), plot)
            lengths = self._route_lengths(np.array([plot]), reach_mm)[0]
            reached: NDArray[np.intp] = straight[np.isfinite(lengths[straight])]
            return reached
        return _row(self._straight(reach_mm) if ready is None else ready, plot)

    @cached_property
    def _moves(self) -> "RouteGraph":
        return RouteGraph.of(self._steps, self._stops, self._hop_mm)

    def _route_lengths(self, plots: NDArray[np.intp], limit_mm: int) -> Dense:
        """Shape (plots, n): shortest route in mm, infinite beyond `limit_mm`."""
        graph, cluster = self._moves
        count = graph.shape[0] // 2
        sources, row = np.unique(cluster[plots], return_inverse=True)
        lengths = csgraph.dijkstra(graph, indices=sources + count, limit=limit_mm)
        lengths[np.arange(len(sources)), sources] = 0.0
        return np.asarray(lengths[row][:, cluster])

    def _by_routes(self, reach_mm: int) -> "sp.csr_array":
        """Keep the part of the straight reach that a route over stops reaches too."""
        size = len(self._stops)
        straight = self._straight(reach_mm)
        keep = np.zeros(straight.nnz, dtype=bool)
        # Neighbours together: few of all places are then within reach of any of a block.
        order = np.arange(size) if self._shared.order is None else self._shared.order
        for first in range(0, size, _BLOCK):
            block = order[first : first + _BLOCK]
            counts = np.diff(straight.indptr)[block]
            ends = np.cumsum(counts)
            places = np.repeat(straight.indptr[block] - (ends - counts), counts)
            places += np.arange(len(places))
            lengths, where = self._moves.near_lengths(block, reach_mm)
            column = where[straight.indices[places]]
            found = column >= 0
            rows = np.repeat(np.arange(len(block)), counts)[found]
            keep[places[found]] = np.isfinite(lengths[rows, column[found]])
        kept_before = np.r_[0, np.cumsum(keep)]
        return sp.csr_array(
            (
                straight.data[: kept_before[-1]],  # all are 1: the same memory does for both
                straight.indices[keep],
                kept_before[straight.indptr].astype(straight.indptr.dtype),
            ),
            shape=(size, size),
        )


def _row(matrix: "sp.csr_array", row: int) -> NDArray[np.intp]:
    return np.asarray(matrix.indices[matrix.indptr[row] : matrix.indptr[row + 1]], dtype=np.intp)


def _mm(metres: float) -> int:
    return round(metres * 1000)
