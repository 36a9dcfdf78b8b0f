"""Links between patches over the ground: territories, and where two of them touch.

Two patches are linked where their territories touch, by the cheapest way across that border
(minimum planar graph: Fall, Fortin, Manseau & O'Brien 2007, Ecosystems 10:448-461,
doi:10.1007/s10021-007-9038-7). Cells touch their eight neighbours, so four territories that
meet at a corner may give two links that cross. The cheapest way of all between two patches may
lead through a third; along links that is the sum over the third, inside which moving is free.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.core.errors import WrongUse
from patchnet.core.shown import Shown
from patchnet.core.texts import _
from patchnet.movement.grow import Growth, Ways, grow
from patchnet.movement.surface import CostSurface

_FEW = 4  # patches that differ: with more, all is grown afresh
__all__ = ["GroundLinks", "ground_links", "territories", "touching_links"]


@dataclass(frozen=True, eq=False, repr=False)
class GroundLinks(Shown):
    """Links over the ground, m of them, each pair once.

    Attributes
    ----------
    i, j
        Shape (m,): positions of the two plots in ``surface.plots``, i < j, sorted by (i, j).
    cost
        Shape (m,): cost metres of the cheapest way across the border, from edge to edge.
    length_m
        Shape (m,): metres of that way; 0 where the plots touch.
    ways, corner
        These ways, from cell to cell; west and north end of the grid, metres.
    isolated
        Ids of the patches without any link, in the order of the plots.
    growth
        Costs and territories over all cells.
    """

    i: NDArray[np.int64]
    j: NDArray[np.int64]
    cost: NDArray[np.float64]
    length_m: NDArray[np.float64]
    ways: Ways
    corner: tuple[float, float]
    isolated: tuple[str, ...]
    growth: Growth

    @cached_property
    def line(self) -> NDArray[np.object_]:
        """Shape (m,): each way as a LineString through the centres of its cells."""
        return self.ways.lines(*self.corner, self.growth.cell_m)

    def table(self, plots: pd.Index) -> pd.DataFrame:
        """Return the links as a table: ids of the two plots, cost, length and line."""
        return pd.DataFrame(
            {
                "plot_a": plots[self.i],
                "plot_b": plots[self.j],
                "cost": self.cost,
                "length_m": self.length_m,
                "line": self.line,
            }
        )


def territories(
    surface: CostSurface,
    *,
    patches: Iterable[str] | None = None,
    limit: float = np.inf,
    compiled: bool | None = None,
    like: Growth | None = None,
) -> Growth:
    """Grow from all patches at once: the nearest patch of each cell, and the cost to it.

    Parameters
    ----------
    surface
        The cost surface.
    patches
        Ids of the plots that are patches; None: all. Other plots are ground like any other.
    limit
        Cost metres beyond which nothing is looked for.
    compiled
        True: compiled; False: plain; None: by size. Both give the same.
    like
        Grown over the same surface to the same limit, from other patches: where few differ, only
        what they change is grown again.

    Raises
    ------
    WrongUse
        If there is no plot of that name.
    """
    labels = surface.labels
    if patches is not None:
        wanted = list(patches)
        at = surface.plots.get_indexer(pd.Index(wanted))
        if (at < 0).any():
            raise WrongUse(
                _("There is no plot '{wanted}' on this ground.").format(
                    wanted=wanted[int(np.argmin(at))]
                )
            )
        keep = np.zeros(len(surface.plots) + 1, np.int32)
        keep[at + 1] = at + 1
        grown = None if like is None else _grown_on(like, surface, keep, limit)
        if grown is not None:
            return grown
        labels = keep[labels]
    return grow(
        surface.cost,
        labels,
        cell_m=surface.cell_m,
        steps=surface.steps,
        limit=limit,
        compiled=compiled,
    )


def _grown_on(
    like: Growth, surface: CostSurface, keep: NDArray[np.int32], limit: float
) -> Growth | None:
    """Grow on where few patches differ; `keep`: of each label itself where it is a patch, or 0."""
    open_ = np.isfinite(surface.cost).ravel()
    labels = surface.labels.ravel()
    was = np.zeros(len(keep), np.bool_)
    was[labels[(like.cost == 0).ravel() & open_]] = True
    was[0] = False
    grown: Growth | None = like
    turned = np.flatnonzero(was != (keep > 0))
    if len(turned) > _FEW:
        return None
    for label in turned.tolist():
        cells = np.flatnonzero((labels == label) & open_)
        grown = None if grown is None else grown.turned(label, cells, surface.cost, limit=limit)
    return grown


def ground_links(
    surface: CostSurface,
    *,
    patches: Iterable[str] | None = None,
    limit: float = np.inf,
    compiled: bool | None = None,
    like: Growth | None = None,
) -> GroundLinks:
    """Link the patches over the ground, with cost, length and line of every link.

    Parameters
    ----------
    surface, patches, compiled, like
        As in `territories`.
    limit
        Cost metres (the group's hop): links that cost more are left out.

    Raises
    ------
    WrongUse
        If there is no plot of that name.
    """
    chosen = list(surface.plots if patches is None else patches)
    growth = territories(surface, patches=chosen, limit=limit, compiled=compiled, like=like)
    first, second, cost, ways = touching_links(growth, limit=limit)
    linked = set(surface.plots[np.union1d(first, second) - 1])
    alone = set(chosen) - linked
    grid = surface.grid
    return GroundLinks(
        i=first - 1,
        j=second - 1,
        cost=cost,
        length_m=ways.length_m,
        ways=ways,
        corner=(grid.west, grid.north),
        isolated=tuple(plot for plot in surface.plots if plot in alone),
        growth=growth,
    )


def touching_links(
    growth: Growth, *, limit: float = np.inf
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64], Ways]:
    """Return the cheapest way across every border between two territories.

    Of ways that cost the same the northernmost, then westernmost crossing.

    Parameters
    ----------
    growth
        From the sources that are to be linked.
    limit
        Cost metres beyond which a way is left out.

    Returns
    -------
    first, second
        Shape (links,): labels of the two sources, first < second, sorted.
    cost
        Shape (links,), cost metres.
    ways
        From the first source to the second.
    """
    cell, direction, total = growth.touching()
    keep = total <= limit
    cell, direction, total = cell[keep], direction[keep], total[keep]
    one = growth.owner.ravel()[cell].astype(np.int64)
    columns = growth.owner.shape[1]
    there = cell + np.array([1, columns, columns + 1, columns - 1])[direction]
    two = growth.owner.ravel()[there].astype(np.int64)
    pair = np.minimum(one, two) * (np.int64(2) ** 32) + np.maximum(one, two)
    order = np.argsort(pair, kind="stable")  # steps come sorted by cell
    pair, total = pair[order], total[order]
    begin = np.flatnonzero(np.r_[True, pair[1:] != pair[:-1]][: len(pair)])
    if not len(begin):
        empty = np.empty(0, np.int64)
        return empty, empty, np.empty(0), growth.crossings(empty, np.empty(0, np.uint8))
    least = np.minimum.reduceat(total, begin)
    cheapest = np.flatnonzero(total == np.repeat(least, np.diff(np.r_[begin, len(pair)])))
    _, at = np.unique(pair[cheapest], return_index=True)
    best = order[cheapest[at]]
    ways = growth.crossings(cell[best], direction[best])
    first, second = np.divmod(pair[begin], np.int64(2) ** 32)
    return first, second, least, _turned(ways, one[best] > two[best])


def _turned(ways: Ways, backwards: NDArray[np.bool_]) -> Ways:
    """Turn some of the ways round, so that each begins at its first source."""
    counts = np.diff(ways.start)
    place = np.arange(len(ways.row)) - np.repeat(ways.start[:-1], counts)
    turned = np.repeat(backwards, counts)
    place = np.where(turned, np.repeat(counts, counts) - 1 - place, place)
    place += np.repeat(ways.start[:-1], counts)
    return Ways(ways.start, ways.row[place], ways.column[place], ways.length_m)
