"""Which barriers to open: where one gap would shorten the way between two patches most.

With the cost of the best way to every cell from either patch, a gap on a step from cell u to
cell v makes a way of (cost from a to u) + (the step with a gap) + (cost from v to b), or the
other way about. So every place on every barrier is tried at once, exactly.

A gap that is suggested is one more: gaps that are there, mapped or only assumed, stay. On the
map a mapped gap takes the place of an assumed one (see `barrier_steps`), so the present gap is to
be mapped along with the new one; then the next list wins what this one promised.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import Point

from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.movement.barrier_steps import DIRECTIONS, Steps
from patchnet.movement.corridors import BothWays, both_ways, opened_steps
from patchnet.movement.surface import CostSurface

__all__ = ["Gap", "GapPlan", "gap_steps", "gaps_in_order", "middle_of_cheapest", "single_gaps"]


@dataclass(frozen=True, slots=True)
class Gap:
    """One gap to be made.

    Attributes
    ----------
    barriers
        Rows (counted from 0) of the table of barriers that it goes through, one or several
        drawn on top of each other.
    plots
        Ids of the plots on its two sides; None where there is no plot.
    place
        Where the line of the way crosses, to the nearest half cell.
    step
        Its place among the steps of the surface.
    """

    barriers: tuple[int, ...]
    plots: tuple[str | None, str | None]
    place: Point
    step: int


@dataclass(frozen=True, slots=True)
class GapPlan:
    """Gaps made together, and what they win.

    Attributes
    ----------
    gaps
        In the order in which the way meets them, from the first patch to the second.
    cost_before, cost_after
        Cost metres between the two patches; inf: no way.
    won
        The difference; inf where there was no way before.
    """

    gaps: tuple[Gap, ...]
    cost_before: float
    cost_after: float

    @property
    def won(self) -> float:
        """Cost metres won."""
        return np.inf if np.isinf(self.cost_before) else self.cost_before - self.cost_after


def single_gaps(
    surface: CostSurface, plot_a: str, plot_b: str, *, compiled: bool | None = None
) -> tuple[GapPlan, ...]:
    """Find, for each barrier, the one gap in it that helps most between two patches.

    Parameters
    ----------
    surface
        Where the group moves.
    plot_a, plot_b
        Ids of the two plots.
    compiled
        True, False, or None: by size. Both give the same.

    Returns
    -------
    tuple of GapPlan
        One gap each, the most helpful first; barriers in which no gap helps are left out.

    Raises
    ------
    WrongUse
        If there is no such plot, or both are the same.
    """
    both = both_ways(surface, plot_a, plot_b, compiled=compiled)
    return tuple(_singles(surface, both, surface.steps))


def gaps_in_order(
    surface: CostSurface,
    plot_a: str,
    plot_b: str,
    *,
    most: int = 3,
    compiled: bool | None = None,
) -> tuple[GapPlan, ...]:
    """Find which gaps to make first, second and so on, each counted with those before it.

    Each time the single gap that wins most is taken. Where there is no way and no single gap
    makes one, those on the cheapest way through any number of gaps are taken together.

    Parameters
    ----------
    most
        How many plans at most, 1 or more.

    Raises
    ------
    WrongUse
        If there is no such plot, both are the same, or `most` is below 1.
    """
    if most < 1:
        raise WrongUse(_("Ask for one gap at least."))
    steps = surface.steps
    plans: list[GapPlan] = []
    while len(plans) < most:
        both = both_ways(surface, plot_a, plot_b, steps=steps, compiled=compiled)
        plan = next(iter(_singles(surface, both, steps)), None)
        if plan is None and np.isinf(both.cost):
            plan = _together(surface, plot_a, plot_b, steps, compiled=compiled)
        if plan is None:
            break
        plans.append(plan)
        steps = opened_steps(steps, np.array([gap.step for gap in plan.gaps]))
    return tuple(plans)


def _singles(surface: CostSurface, both: BothWays, steps: Steps) -> list[GapPlan]:
    first, second, price = gap_steps(surface, both.own, steps)
    a, b = both.from_a.cost.ravel(), both.from_b.cost.ravel()
    new = np.minimum(a[first] + price + b[second], a[second] + price + b[first])
    # No gain that is only rounding.
    helps = np.flatnonzero(new < both.cost * (1 - 1e-9) if np.isfinite(both.cost) else new < np.inf)
    barrier = steps.barrier[steps.start[helps]]
    best = helps[middle_of_cheapest((barrier,), new[helps], steps.key[helps])]
    plans: dict[tuple[int, ...], GapPlan] = {}
    for at in best[np.lexsort((steps.key[best], new[best]))]:
        gap = _gap(surface, steps, int(at), (int(first[at]), int(second[at])), both)
        if gap.barriers not in plans:
            plans[gap.barriers] = GapPlan((gap,), both.cost, float(new[at]))
    return list(plans.values())


def middle_of_cheapest(
    groups: tuple[NDArray[np.integer], ...],
    cost: NDArray[np.float64],
    key: NDArray[np.int64],
) -> NDArray[np.intp]:
    """Of each group the cheapest place, and of equally cheap places the one in the middle.

    The first or last of equally cheap places along a fence is its end, where a post stands and
    the next fence begins.

    Parameters
    ----------
    groups
        Arrays of shape (m,); places alike in all of them are one group.
    cost
        Shape (m,): what counts; a millionth more is as cheap.
    key
        Shape (m,): order along the grid.

    Returns
    -------
    array
        Shape (groups,): positions, in the order of the groups.

    Examples
    --------
    >>> middle_of_cheapest((np.array([7, 7, 7, 7, 9]),), np.array([2.0, 1, 1, 1, 5]), np.arange(5))
    array([2, 4])
    """
    order = np.lexsort((key, np.round(cost, 6), *reversed(groups)))
    if not len(order):
        return order
    changed = np.zeros(len(order), dtype=bool)
    changed[0] = True
    for group in groups:
        changed[1:] |= np.diff(group[order]) != 0
    first = np.flatnonzero(changed)
    of = np.cumsum(changed) - 1
    price = np.round(cost[order], 6)
    as_cheap = np.bincount(of, weights=price == price[first][of]).astype(np.intp)
    chosen: NDArray[np.intp] = order[first + as_cheap // 2]
    return chosen


def gap_steps(
    surface: CostSurface, own: NDArray[np.bool_], steps: Steps
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """The two cells of each step that meets a barrier, and what it costs with a gap in it.

    Parameters
    ----------
    surface
        The cost surface.
    own
        Shape of the grid: True in cells of patches, inside which moving is free.
    steps
        Its m steps, or those with some gaps made already.

    Returns
    -------
    first, second
        Shape (m,): numbers of the cells, row by row.
    price
        Shape (m,): cost metres.
    """
    columns = surface.cost.shape[1]
    first, direction = np.divmod(steps.key, 4)
    second = first + np.array([down * columns + right for down, right in DIRECTIONS[:4]])[direction]
    long = np.array([np.hypot(down, right) for down, right in DIRECTIONS[:4]])[direction]
    free = np.where(own, np.float32(0), surface.cost).ravel()
    price = 0.5 * surface.cell_m * long * (free[first].astype(np.float64) + free[second])
    return first, second, price + steps.opened


def _gap(
    surface: CostSurface, steps: Steps, at: int, cells: tuple[int, int], both: BothWays
) -> Gap:
    a, b = both.from_a.cost.ravel(), both.from_b.cost.ravel()
    one, two = cells
    if a[two] + b[one] < a[one] + b[two]:
        one, two = two, one  # the side of the first patch first
    labels = surface.labels.ravel()
    columns = surface.cost.shape[1]
    rows = np.divmod(np.array([one, two]), columns)
    x = surface.grid.west + (rows[1].mean() + 0.5) * surface.cell_m
    y = surface.grid.north - (rows[0].mean() + 0.5) * surface.cell_m
    through = steps.barrier[steps.start[at] : steps.start[at + 1]]
    return Gap(
        barriers=tuple(sorted({int(barrier) for barrier in through})),
        plots=(_plot(surface, int(labels[one])), _plot(surface, int(labels[two]))),
        place=Point(x, y),
        step=at,
    )


def _plot(surface: CostSurface, label: int) -> str | None:
    return str(surface.plots[label - 1]) if label > 0 else None


def _together(
    surface: CostSurface, plot_a: str, plot_b: str, steps: Steps, *, compiled: bool | None
) -> GapPlan | None:
    """Gaps on the cheapest way if every barrier could be opened wherever one likes."""
    everywhere = opened_steps(steps, np.arange(len(steps.key)))
    both = both_ways(surface, plot_a, plot_b, steps=everywhere, compiled=compiled)
    if both.meeting is None:
        return None
    way = both.way()
    cells = way.row * surface.cost.shape[1] + way.column
    low, high = np.minimum(cells[:-1], cells[1:]), np.maximum(cells[:-1], cells[1:])
    columns = surface.cost.shape[1]
    direction = {down * columns + right: d for d, (down, right) in enumerate(DIRECTIONS[:4])}
    key = low * 4 + np.array([direction[int(by)] for by in high - low])
    place = np.searchsorted(steps.key, key)
    gaps = []
    for at, wanted, cell, there in zip(place, key, cells[:-1], cells[1:], strict=True):
        crossed = at < len(steps.key) and steps.key[at] == wanted
        if crossed and steps.opened[at] < steps.extra[at]:
            gaps.append(_gap(surface, steps, int(at), (int(cell), int(there)), both))
    return GapPlan(tuple(gaps), np.inf, both.cost)
