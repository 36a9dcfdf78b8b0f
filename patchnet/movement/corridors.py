"""The cheapest way between two patches, and the band of ways hardly costlier."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from shapely import LineString

from patchnet.core.errors import WrongUse
from patchnet.core.shown import Shown
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.movement.barrier_steps import DIRECTIONS, Steps
from patchnet.movement.grow import Growth, Ways, grow
from patchnet.movement.surface import CostSurface
from patchnet.movement.window import cut_out, window_between

__all__ = ["BothWays", "Corridor", "both_ways", "corridor"]


@dataclass(frozen=True, eq=False, repr=False)
class Corridor(Shown):
    """The cheapest way between two patches.

    Attributes
    ----------
    plot_a, plot_b
        Ids of the two plots.
    cost
        Cost metres from edge to edge; inf: there is no way.
    length_m
        Metres; inf: there is no way.
    line
        From a to b through the centres of cells; None: there is no way.
    band
        Shape of the grid: cells from which the best way to a and the best way to b together
        cost at most (1 + share) times the cheapest way. Nowhere where there is no way.
    share
        How much costlier ways in the band may be.
    plots
        Ids of the plots that the line runs through, in order, from a to b.
    """

    plot_a: str
    plot_b: str
    cost: float
    length_m: float
    line: LineString | None
    band: NDArray[np.bool_]
    share: float
    plots: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class BothWays:
    """Growth from each of two patches over the same ground.

    Inside the two patches moving is free; other plots cost what their ground costs.

    Attributes
    ----------
    from_a, from_b
        The two growths.
    own
        Shape of the grid: cells of either patch.
    cost
        Cost metres of the cheapest way from edge to edge.
    meeting
        A cell of that way and the next one towards b (the same cell where the ways meet in a
        cell), numbered row by row; None: there is no way.
    """

    from_a: Growth
    from_b: Growth
    own: NDArray[np.bool_]
    cost: float
    meeting: tuple[int, int] | None

    def way(self) -> Ways:
        """Cells of the cheapest way, from a to b.

        Raises
        ------
        WrongUse
            If there is no way.
        """
        if self.meeting is None:
            raise WrongUse(_("There is no way between these two plots."))
        one = self.from_a.ways(np.array([self.meeting[0]]))
        two = self.from_b.ways(np.array([self.meeting[1]]))
        same = int(self.meeting[0] == self.meeting[1])
        row = np.r_[one.row[::-1], two.row[same:]]
        column = np.r_[one.column[::-1], two.column[same:]]
        length = one.length_m + two.length_m  # cells of two plots that touch are 0 m apart
        return Ways(np.array([0, len(row)]), row, column, length)


def both_ways(
    surface: CostSurface,
    plot_a: str,
    plot_b: str,
    *,
    steps: Steps | None = None,
    limit: float = np.inf,
    compiled: bool | None = None,
) -> BothWays:
    """Grow from two patches, each over the ground.

    Parameters
    ----------
    surface
        The cost surface.
    plot_a, plot_b
        Ids of two plots.
    steps
        Barriers to use in place of the surface's own.
    limit
        Cost metres from either patch beyond which nothing is looked for; and from `plot_b` only
        over ground that `plot_a` reaches, for no other way costs less in all.
    compiled
        True: compiled; False: plain; None: by size.

    Raises
    ------
    WrongUse
        If there is no such plot, or both are the same.
    """
    if plot_a == plot_b:
        raise WrongUse(_("A way leads from one plot to another: name two plots."))
    steps = surface.steps if steps is None else steps
    growths: list[Growth] = []
    labels = [surface.plot_label(plot) for plot in (plot_a, plot_b)]
    for label in labels:
        # What the first patch does not reach lies on no way that costs no more than the limit.
        open_ = np.isfinite(growths[0].cost) if growths and np.isfinite(limit) else True
        growths.append(
            grow(
                np.where(open_, surface.cost, np.float32(np.inf)),
                (surface.labels == label).astype(np.int32),
                cell_m=surface.cell_m,
                steps=steps,
                limit=limit,
                compiled=compiled,
            )
        )
    own = (surface.labels == labels[0]) | (surface.labels == labels[1])
    total = growths[0].cost + growths[1].cost
    total[own] = np.inf
    at = int(total.argmin())
    cost = float(total.flat[at])
    meeting = (at, at) if np.isfinite(cost) else None
    touch, pair = _next_to(surface, labels, steps)
    if touch < cost or (touch == cost and pair is not None):
        cost, meeting = touch, pair
    return BothWays(growths[0], growths[1], own, cost, meeting)


def corridor(
    surface: CostSurface,
    plot_a: str,
    plot_b: str,
    knowledge: Knowledge,
    *,
    share: float | None = None,
    at_most: float = np.inf,
    compiled: bool | None = None,
) -> Corridor:
    """Find the cheapest way between two patches and the band around it.

    Parameters
    ----------
    surface
        The cost surface.
    plot_a, plot_b
        Ids of two plots.
    knowledge
        The tables: the setting ``corridor_band`` is the usual share.
    share
        By which share costlier the ways in the band may be, 0 or more (0.1: by a tenth).
    at_most
        What the cheapest way is known to cost at most, cost metres: spares looking further. The
        corridor is the same, even if that was wrong.
    compiled
        True: compiled; False: plain; None: by size.

    Raises
    ------
    WrongUse
        If there is no such plot, both are the same, or the share is negative.
    """
    share = knowledge.setting("corridor_band") if share is None else share
    if not (np.isfinite(share) and share >= 0):
        raise WrongUse(_("The share must be a number, 0 or more, not {share}.").format(share=share))
    both, window = _grown(surface, (plot_a, plot_b), share, at_most, compiled=compiled)
    band = np.zeros(surface.cost.shape, np.bool_)
    if both.meeting is None:
        return Corridor(plot_a, plot_b, np.inf, np.inf, None, band, share, ())
    # Sums along two ways may differ from each other in the last digits.
    most = (1 + share) * both.cost * (1 + 1e-12)
    band[window] = (both.from_a.cost + both.from_b.cost <= most) & ~both.own
    way = both.way()
    way = replace(way, row=way.row + window[0].start, column=way.column + window[1].start)
    labels = surface.labels[way.row, way.column]
    passed = dict.fromkeys(int(label) for label in labels if label > 0)
    return Corridor(
        plot_a=plot_a,
        plot_b=plot_b,
        cost=both.cost,
        length_m=float(way.length_m[0]),
        line=way.lines(surface.grid.west, surface.grid.north, surface.cell_m)[0],
        band=band,
        share=share,
        plots=tuple(str(surface.plots[label - 1]) for label in passed),
    )


def _grown(
    surface: CostSurface,
    ends: tuple[str, str],
    share: float,
    at_most: float,
    *,
    compiled: bool | None,
) -> tuple[BothWays, tuple[slice, slice]]:
    """Grow from both ends, over no more of the ground than the band can lie in, and say where."""
    if np.isfinite(at_most) and ends[0] != ends[1]:
        # A little more, for rounding.
        limit = (1 + share) * at_most * (1 + 1e-9)
        labels = (surface.plot_label(ends[0]), surface.plot_label(ends[1]))
        window = window_between(surface, labels, limit)
        both = both_ways(cut_out(surface, window), *ends, limit=limit, compiled=compiled)
        if both.cost <= at_most:
            return both, window
    rows, columns = surface.cost.shape
    return both_ways(surface, *ends, compiled=compiled), (slice(0, rows), slice(0, columns))


def opened_steps(steps: Steps, at: NDArray[np.int64]) -> Steps:
    """Return the steps with a gap made at some of them."""
    extra = steps.extra.copy()
    extra[at] = np.minimum(extra[at], steps.opened[at])
    gap = steps.gap.copy()
    gap[at] = True
    return replace(steps, extra=extra, gap=gap)


def _next_to(
    surface: CostSurface, labels: list[int], steps: Steps
) -> tuple[float, tuple[int, int] | None]:
    """Cheapest step from a cell of one plot straight to a cell of the other."""
    rows, columns = surface.labels.shape
    label = np.where(np.isfinite(surface.cost), surface.labels, 0).ravel()
    cells = [np.flatnonzero(label == one) for one in labels]
    best: tuple[float, tuple[int, int] | None] = (np.inf, None)
    for d, (down, right) in enumerate(DIRECTIONS[:4]):
        for one, other in ((0, 1), (1, 0)):
            row, column = np.divmod(cells[one], columns)
            inside = (row + down < rows) & (column + right >= 0) & (column + right < columns)
            cell = cells[one][inside]
            cell = cell[label[cell + down * columns + right] == labels[other]]
            if not len(cell):
                continue
            key = cell * 4 + d
            extra = np.zeros(len(key))
            at = np.searchsorted(steps.key, key)
            hit = np.isin(key, steps.key)
            extra[hit] = steps.extra[at[hit]]
            if extra.min() < best[0]:
                first = int(cell[extra.argmin()])
                second = first + down * columns + right
                pair = (second, first) if one else (first, second)
                best = (float(extra.min()), pair)
    return best
