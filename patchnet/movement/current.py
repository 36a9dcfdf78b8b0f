"""Where movement is squeezed: effective resistance between patches, and current over the ground.

The ground is read as a sheet that resists as it costs: a strip of ground of cost c, L metres
long and W metres wide, resists c L / W between its ends (McRae, Dickson, Keitt & Shah 2008,
Ecology 89:2712-2724, doi:10.1890/07-1861.1). Each cell conducts to its eight neighbours; a step
resists its cost over the width that it stands for, and the diagonals share the work, so that wide
ground resists the same whichever way the current runs and however small the cells are. In a
passage n cells wide the diagonals at its sides are missing: it resists about 0.6 / n more (one
cell wide: 2.4 times as much), so make cells smaller where narrow passages matter. A barrier
resists its cost of crossing over the width of the step, or of the gap where there is one.

The equations are symmetric and sparse: they are factorised once and solved for every pair.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.sparse import coo_array, csc_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import SuperLU, splu

from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.movement.barrier_steps import DIRECTIONS
from patchnet.movement.dissection import nested_dissection
from patchnet.movement.ground_grid import ensure_fits
from patchnet.movement.surface import CostSurface

__all__ = ["Circuit", "circuit"]

# Of eight neighbours the two across and the four diagonals of a strip carry current along it.
_SHARED = 1 + np.sqrt(2)
_ROWS = 128  # of the grid at once
_BLOCK = 4  # right-hand sides solved at once: half as many take a third longer, more save nothing

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_Part = tuple[slice, slice]


@dataclass(frozen=True, eq=False)
class _Conductors:
    """Conductors between cells: two cells (row by row) and a conductance each.

    They come direction by direction, and in each in the order in which `wired` is True of the cells
    that have a neighbour there (`_sides`).
    """

    one: NDArray[np.int32]
    two: NDArray[np.int32]
    conductance: Floats
    wired: tuple[NDArray[np.bool_], ...]


class Circuit:
    """The ground as an electric circuit, factorised once.

    Each patch is one node: inside it moving is free. Cells that no patch reaches are left out.

    Attributes
    ----------
    patches
        Ids of the patches, in the order of the plots.
    part
        Shape (patches,): number of the part of the ground a patch lies on; -1: it is walled in
        or off the ground. Patches of different parts do not reach each other.
    """

    def __init__(self, surface: CostSurface, patches: list[str]) -> None:
        self._surface = surface
        self.patches = pd.Index(patches)
        labels = np.zeros(len(surface.plots) + 1, np.int32)
        labels[[surface.plot_label(patch) for patch in patches]] = np.arange(1, len(patches) + 1)
        patch = np.where(np.isfinite(surface.cost), labels[surface.labels], 0).ravel()
        wires = _conductors(surface, patch)
        node, count = _nodes(surface, patch, len(patches))
        self._node = node
        self._wires = wires
        one, two = node[wires.one], node[wires.two]
        part = _parts(one, two, count)
        there = np.bincount(patch, minlength=len(patches) + 1)[1:] > 0
        self.part: Ints = np.where(there, part[: len(patches)], -1)
        self._row = _rows(surface, node, part, len(patches))
        self._factor = _factorise(one, two, wires.conductance, part, self._row)
        self._count = count

    def resistance(self, pairs: Iterable[tuple[str, str]]) -> Floats:
        """Effective resistance of each pair; inf where there is no way, 0 of a patch with itself.

        Raises
        ------
        WrongUse
            If one is not a patch of this circuit.
        """
        chosen = self._positions(pairs)
        resistance = np.full(len(chosen), np.inf)
        for where, volts in self._solved(chosen):
            for at, column in zip(where, volts.T, strict=True):
                i, j = chosen[at]
                resistance[at] = column[i] - column[j]
        resistance[[i == j for i, j in chosen]] = 0
        return resistance

    def resistance_matrix(self) -> Floats:
        """Effective resistance between all patches, shape (n, n); inf where there is no way."""
        n = len(self.patches)
        volts = np.zeros((n, n))  # volts[i, j] at i, if 1 A goes in at j and out at the ground
        for first in range(0, n, _BLOCK):
            last = min(first + _BLOCK, n)
            feed = np.zeros((self._count, last - first))
            feed[np.arange(first, last), np.arange(last - first)] = 1
            volts[:, first:last] = self._volts(feed)[:n]
        own = np.diag(volts)
        matrix: Floats = own[:, None] + own[None, :] - volts - volts.T
        matrix[(self.part[:, None] != self.part[None, :]) | (self.part < 0)[:, None]] = np.inf
        np.fill_diagonal(matrix, 0)
        return np.maximum(matrix, 0)

    def current(self, pairs: Iterable[tuple[str, str]] | None = None) -> NDArray[np.float32]:
        """Map the current through every cell.

        Parameters
        ----------
        pairs
            For each pair 1 A goes in at the first patch and out at the second, and the
            currents are added up; pairs without a way carry none. None: 1 A goes in at each
            patch in turn and out at all others on its part of the ground, evenly.

        Returns
        -------
        array
            Shape of the grid, amperes: half of what goes in and out of a cell through its
            sides and corners. 0 where none flows.

        Raises
        ------
        WrongUse
            If one is not a patch of this circuit.
        """
        shape = self._surface.cost.shape
        drops = [np.zeros(wired.shape) for wired in self._wires.wired]
        if pairs is None:
            solved = self._all_to_all()
        else:
            solved = (volts for _, volts in self._solved(self._positions(pairs)))
        for volts in solved:
            for column in volts.T:
                _add_drops(column[self._node].reshape(shape), drops)
        flow = np.concatenate(
            [drop[wired] for drop, wired in zip(drops, self._wires.wired, strict=True)]
        )
        flow *= self._wires.conductance / 2
        size = self._surface.cost.size
        total = np.bincount(self._wires.one, flow, size)
        total += np.bincount(self._wires.two, flow, size)
        return total.reshape(shape).astype(np.float32)

    def _positions(self, pairs: Iterable[tuple[str, str]]) -> list[tuple[int, int]]:
        known = {patch: at for at, patch in enumerate(self.patches)}
        chosen = []
        for pair in pairs:
            for patch in pair:
                if patch not in known:
                    raise WrongUse(
                        _("'{patch}' is not one of the patches of this ground.").format(patch=patch)
                    )
            chosen.append((known[pair[0]], known[pair[1]]))
        return chosen

    def _solved(self, chosen: list[tuple[int, int]]) -> Iterable[tuple[list[int], Floats]]:
        """Voltages of all nodes for pairs that reach each other, some at a time."""
        joined = [
            at
            for at, (i, j) in enumerate(chosen)
            if i != j and self.part[i] == self.part[j] and self.part[i] >= 0
        ]
        for first in range(0, len(joined), _BLOCK):
            where = joined[first : first + _BLOCK]
            feed = np.zeros((self._count, len(where)))
            for column, at in enumerate(where):
                feed[chosen[at][0], column] = 1
                feed[chosen[at][1], column] = -1
            yield where, self._volts(feed)

    def _all_to_all(self) -> Iterable[Floats]:
        feeding = [
            at for at in range(len(self.patches))
            if self.part[at] >= 0 and (self.part == self.part[at]).sum() > 1
        ]  # fmt: skip
        for first in range(0, len(feeding), _BLOCK):
            block = feeding[first : first + _BLOCK]
            feed = np.zeros((self._count, len(block)))
            for column, at in enumerate(block):
                same = self.part == self.part[at]
                feed[: len(same), column] = np.where(same, -1 / (same.sum() - 1), 0)
                feed[at, column] = 1
            yield self._volts(feed)

    def _volts(self, feed: Floats) -> Floats:
        """Solve for voltages; one node of every part is the ground at 0 V."""
        volts = np.zeros((self._count, feed.shape[1]))
        if self._factor is not None:
            volts[self._row] = self._factor.solve(np.asfortranarray(feed[self._row]))
        return volts


def circuit(
    surface: CostSurface, knowledge: Knowledge, *, patches: Iterable[str] | None = None
) -> Circuit:
    """Read the ground as a circuit and factorise its equations.

    Parameters
    ----------
    surface
        The cost surface.
    knowledge
        The tables: how much memory may be taken.
    patches
        Ids of the plots that are patches; None: all.

    Raises
    ------
    WrongUse
        If there is no plot of that name, or the factorised equations would not fit into
        memory (the message says which cells would).
    """
    ensure_fits(surface.grid, knowledge, "current_bytes_per_cell", _("The current"))
    wanted = set(surface.plots if patches is None else patches)
    for patch in sorted(wanted):
        surface.plot_label(patch)
    return Circuit(surface, [patch for patch in surface.plots if patch in wanted])


def _add_drops(volts: Floats, drops: Sequence[Floats]) -> None:
    """Add by how much the voltages of two neighbours differ, direction by direction."""
    rows = volts.shape[0]
    for d, drop in enumerate(drops):
        here, there = _sides(volts.shape, d)
        for first in range(0, rows, _ROWS):  # so that what is worked on stays near the processor
            some = slice(first, first + _ROWS)
            between = volts[here][some] - volts[there][some]
            drop[some] += np.abs(between, out=between)


def _sides(shape: tuple[int, ...], direction: int) -> tuple[_Part, _Part]:
    """Part of a grid with a neighbour in a direction (0-3), and these neighbours."""
    rows, columns = shape
    down, right = DIRECTIONS[direction]
    left, wide = max(-right, 0), columns - abs(right)
    here = slice(0, rows - down), slice(left, left + wide)
    return here, (slice(down, rows), slice(left + right, left + right + wide))


def _conductors(surface: CostSurface, patch: NDArray[np.int32]) -> _Conductors:
    rows, columns = surface.cost.shape
    cost = np.where(patch > 0, np.float32(0), surface.cost.ravel()).astype(np.float64)
    open_ = np.isfinite(cost).reshape(rows, columns)
    steps = surface.steps
    parts, all_wired = [], []
    for d, (down, right) in enumerate(DIRECTIONS[:4]):
        here, there = _sides(open_.shape, d)
        both = open_[here] & open_[there]
        row, column = np.nonzero(both)
        one = row * columns + column + here[1].start
        two = one + down * columns + right
        del row, column
        apart = (patch[one] != patch[two]) | (patch[one] == 0)
        one, two = one[apart], two[apart]
        # Metres of best ground per metre of width, of a step straight on.
        resistance = 0.5 * (cost[one] + cost[two])
        key = one * 4 + d
        at = np.searchsorted(steps.key, key)
        if len(steps.key):
            at = np.minimum(at, len(steps.key) - 1)
            hit = np.flatnonzero(steps.key[at] == key)
            width = np.where(steps.gap[at[hit]], surface.gap_side_m, surface.cell_m)
            width = np.minimum(width, surface.cell_m)
            resistance[hit] += steps.extra[at[hit]] / width
        long = np.hypot(down, right)
        keep = np.isfinite(resistance)
        # Between two patches that touch: all but nothing, because nothing cannot be divided by.
        resistance = np.maximum(resistance, 1e-6)
        one, two = one[keep].astype(np.int32), two[keep].astype(np.int32)
        wired = np.zeros(surface.cost.size, np.bool_)
        wired[one] = True
        all_wired.append(wired.reshape(rows, columns)[here])
        parts.append((one, two, 1 / (_SHARED * long * resistance[keep])))
    one, two, conductance = (np.concatenate(part) for part in zip(*parts, strict=True))
    return _Conductors(one, two, conductance, tuple(all_wired))


def _nodes(
    surface: CostSurface, patch: NDArray[np.int32], patches: int
) -> tuple[NDArray[np.int32], int]:
    """Node of each cell: patches first, then open cells row by row; -1: closed."""
    node = np.full(patch.size, -1, np.int32)
    own = patch > 0
    node[own] = patch[own] - 1
    other = np.isfinite(surface.cost).ravel() & ~own
    count = int(other.sum())
    node[other] = patches + np.arange(count, dtype=np.int32)
    return node, patches + count


def _parts(one: NDArray[np.int32], two: NDArray[np.int32], count: int) -> Ints:
    graph = coo_array((np.ones(len(one), np.int8), (one, two)), shape=(count, count))
    _, part = connected_components(graph, directed=False)
    parts: Ints = part.astype(np.int64)
    return parts


def _rows(
    surface: CostSurface, node: NDArray[np.int32], part: Ints, patches: int
) -> NDArray[np.int32]:
    """Nodes in the order in which they are eliminated.

    Only those of parts that hold a patch, but for the first patch of each part, which is at 0 V.
    A patch is eliminated after the last of its cells' neighbourhood.
    """
    used = np.isin(part, np.unique(part[:patches]))
    used[np.unique(part[:patches], return_index=True)[1]] = False
    place = np.full(len(part), -1, np.int32)
    cell = np.flatnonzero(node >= 0)
    np.maximum.at(place, node[cell], nested_dissection(*surface.cost.shape)[cell])
    rows = np.flatnonzero(used)
    ordered: NDArray[np.int32] = rows[np.argsort(place[rows], kind="stable")].astype(np.int32)
    return ordered


def _factorise(
    one: NDArray[np.int32],
    two: NDArray[np.int32],
    conductance: Floats,
    part: Ints,
    rows: NDArray[np.int32],
) -> SuperLU | None:
    """Factorise the equations of the nodes in `rows`; None where there are none."""
    size = len(rows)
    if size == 0:
        return None
    row = np.full(len(part), -1, np.int32)
    row[rows] = np.arange(size, dtype=np.int32)
    diagonal = np.bincount(one, conductance, len(part)) + np.bincount(two, conductance, len(part))
    i, j = row[one], row[two]
    both = (i >= 0) & (j >= 0)
    i, j, value = i[both], j[both], conductance[both]
    own = np.arange(size, dtype=np.int32)
    matrix = csc_array(
        coo_array(
            (
                np.concatenate([-value, -value, diagonal[rows]]),
                (np.concatenate([i, j, own]), np.concatenate([j, i, own])),
            ),
            shape=(size, size),
        )
    )
    del i, j, value, both, row, diagonal, own
    # Narrow panels: in this order of elimination there is little to share between columns.
    return splu(
        matrix, permc_spec="NATURAL", diag_pivot_thresh=0.0, panel_size=4,
        options={"SymmetricMode": True},
    )  # fmt: skip
