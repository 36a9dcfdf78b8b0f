"""What would help an animal that walks: corridors, gaps in fences, narrow places."""

from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from shapely import Point

from patchnet.assess.assessment import Assessment, Break, FenceGap, GroupAnswer
from patchnet.assess.over_ground import OverGround
from patchnet.core.errors import WrongUse
from patchnet.movement.corridors import Corridor, corridor
from patchnet.movement.current import circuit
from patchnet.movement.fence_gaps import gap_steps, middle_of_cheapest
from patchnet.movement.surface import CostSurface, cost_surface
from patchnet.network.link_sets import best_links
from patchnet.network.more_links import MoreLink, more_links
from patchnet.network.one_more_link import GrowingNetwork
from patchnet.network.patch_graph import PatchGraph

__all__ = ["break_corridors", "fence_gaps", "squeeze", "squeeze_in_blocks"]

Array = NDArray[np.float64]
_MILLIMETRE = 0.001  # costs of breaks are rounded to whole ones


def break_corridors(
    assessment: Assessment,
    group: str,
    *,
    most: int = 3,
    progress: Callable[[Iterable[Break]], Iterable[Break]] | None = None,
) -> tuple[Corridor, ...]:
    """The cheapest way across each of the first `most` breaks, as a line and as a band.

    Empty where the group flies, or straight lines were asked for.

    Parameters
    ----------
    most
        Of how many breaks.
    progress
        Wraps the breaks while they are worked through, such as a progress bar.
    """
    answer = assessment.groups[group]
    if answer.ground is None:
        return ()
    breaks = answer.breaks[:most]
    # The cheapest way costs what the break does, or less where it runs over a third patch.
    return tuple(
        corridor(
            answer.ground.surface,
            one.from_plot,
            one.to_plot,
            assessment.knowledge,
            at_most=one.cost_m + _MILLIMETRE,
        )
        for one in (breaks if progress is None else progress(breaks))
    )


def squeeze(assessment: Assessment, group: str) -> "NDArray[np.float32] | None":
    """Where movement is squeezed: current over the ground between the patches, all to all.

    A unit of current runs between every two of the patches that hold most homes (up to
    ``settings/squeeze_patches``), so a cell that many ways must pass carries much (McRae,
    Dickson, Keitt & Shah 2008, Ecology 89:2712-2724).

    Parameters
    ----------
    assessment
        An answer that holds the group.
    group
        Key of the group.

    Returns
    -------
    array or None
        Shape of the ground's grid, amperes. None where the group flies, where fewer than two
        patches can be joined, or where the ground has more cells than
        ``settings/squeeze_cells_max`` (the solve takes about 2 kB a cell).
    """
    answer = assessment.groups[group]
    return None if answer.ground is None else _squeezed(assessment, answer, answer.ground.surface)


def squeeze_in_blocks(
    assessment: Assessment, group: str, cells: int
) -> "tuple[CostSurface, NDArray[np.float32]] | None":
    """Work out `squeeze` on larger cells, for a picture that shows no smaller ones.

    The ground is painted anew, so that fences and their gaps stay where they are. On the demo, with
    cells twice as wide, in a quarter of the time: what blocks of 2 m carry goes with what they
    carry on small cells (correlation 0.98), and of the 3 in 100 places that carry most 9 in 10 are
    the same (``tests/assess/test_fences.py``). Passages of one small cell are lost.

    Parameters
    ----------
    assessment, group
        As in `squeeze`.
    cells
        How many times as wide; 1, and where plots would have no cell left: as they are.

    Returns
    -------
    surface, current
        The ground, and amperes on it in the shape of its grid; None as in `squeeze`.
    """
    answer = assessment.groups[group]
    if answer.ground is None:
        return None
    surface = answer.ground.surface
    if surface.cost.size > assessment.knowledge.setting("squeeze_cells_max"):
        return None
    if cells > 1:
        with suppress(WrongUse):
            wide = cost_surface(
                assessment.neighbourhood,
                answer.group,
                assessment.knowledge,
                cell_m=cells * surface.cell_m,
                landcover=assessment.asked.landcover,
            )
            # A warning names the plots that are shut off: with others it reads otherwise.
            if _of_plots(wide) == _of_plots(surface):
                surface = wide
    current = _squeezed(assessment, answer, surface)
    return None if current is None else (surface, current)


def _of_plots(surface: CostSurface) -> list[str]:
    return [fault.what for fault in surface.faults if fault.where == "plots"]


def _squeezed(
    assessment: Assessment, answer: GroupAnswer, surface: CostSurface
) -> "NDArray[np.float32] | None":
    knowledge = assessment.knowledge
    if surface.cost.size > knowledge.setting("squeeze_cells_max"):
        return None
    patches = answer.homes[answer.patch].sort_values(ascending=False, kind="stable")
    chosen = patches.index[: round(knowledge.setting("squeeze_patches"))]
    if len(chosen) < 2:
        return None
    return circuit(surface, knowledge, patches=sorted(chosen)).current()


@dataclass(frozen=True, eq=False)
class _Openings:
    """Places where a gap would join two patches, the cheapest one per barrier and pair.

    `at` are places among the surface's steps; `first` and `second` the cells on the two sides;
    `a` and `b` positions of the two patches in the patch graph; `cost` in cost metres.
    """

    at: NDArray[np.intp]
    first: NDArray[np.int64]
    second: NDArray[np.int64]
    a: NDArray[np.intp]
    b: NDArray[np.intp]
    cost: Array


def fence_gaps(
    assessment: Assessment,
    group: str,
    *,
    most: int = 6,
    plot: str | None = None,
    together: bool = False,
) -> tuple[FenceGap, ...]:
    """Which barriers to open, in which order, and the linked homes each gap wins.

    Every place on every barrier between the territories of two patches is a candidate: a gap
    there makes a link of (cost to it from one side) + (the step with a gap) + (cost from the
    other side). What a link wins is worked out exactly over all best routes; each gap is
    counted with those before it, and all gaps that are there stay, mapped or only assumed in
    the middle of a barrier. Since a mapped gap takes the place of an assumed one, map the
    present gap along with the new one where a barrier has both.

    Parameters
    ----------
    most
        How many gaps at most.
    plot
        Only barriers on whose one side this plot lies; None: all barriers.
    together
        True: those that win most together. False: the one that wins most, then the one that wins
        most after it, and so on: each is worth making however many are made.

    Returns
    -------
    tuple of FenceGap
        The one that wins most first; gaps that win nothing are left out, but for one that wins
        only together with the next (0). Empty where the group flies, or straight lines were asked
        for.
    """
    answer = assessment.groups[group]
    if answer.ground is None:
        return ()
    surface = answer.ground.surface
    openings = _openings(answer, answer.ground)
    if plot is not None:
        openings = _at_plot(openings, surface, plot)
    growing = GrowingNetwork(
        answer.network, answer.measures.eca, p_cut=assessment.knowledge.setting("p_cut")
    )
    choose = best_links if together else more_links
    links = choose(growing, a=openings.a, b=openings.b, cost=openings.cost, most=most)
    return tuple(_fence_gap(assessment, answer.network, surface, openings, link) for link in links)


def _openings(answer: GroupAnswer, ground: OverGround) -> _Openings:
    surface, growth = ground.surface, ground.links.growth
    cost, owner = growth.cost.ravel(), growth.owner.ravel()
    steps = surface.steps
    first, second, price = gap_steps(surface, growth.cost == 0, steps)
    total = cost[first] + price + cost[second]
    a, b = owner[first].astype(np.intp), owner[second].astype(np.intp)
    swapped = a > b
    a, b = np.where(swapped, b, a), np.where(swapped, a, b)
    able = np.flatnonzero(
        (steps.opened < steps.extra)
        & (a > 0)
        & (a != b)
        & np.isfinite(total)
        & (total <= answer.group.hop.value)
    )
    barrier = steps.barrier[steps.start[able]]
    groups = (barrier, a[able], b[able])
    chosen = able[middle_of_cheapest(groups, total[able], steps.key[able])]
    ids = answer.network.ids
    return _Openings(
        at=chosen,
        first=first[chosen],
        second=second[chosen],
        a=ids.get_indexer(surface.plots[a[chosen] - 1]).astype(np.intp),
        b=ids.get_indexer(surface.plots[b[chosen] - 1]).astype(np.intp),
        cost=total[chosen],
    )


def _at_plot(openings: _Openings, surface: CostSurface, plot: str) -> _Openings:
    """Keep the openings that have a plot on one of their two sides."""
    labels = surface.labels.ravel()
    mine = np.isin(surface.plots, [plot])
    here = np.r_[False, mine]
    keep = here[labels[openings.first]] | here[labels[openings.second]]
    return _Openings(*(getattr(openings, part.name)[keep] for part in fields(openings)))


def _fence_gap(
    assessment: Assessment,
    network: PatchGraph,
    surface: CostSurface,
    openings: _Openings,
    link: MoreLink,
) -> FenceGap:
    at = link.at
    steps, step = surface.steps, int(openings.at[at])
    through = steps.barrier[steps.start[step] : steps.start[step + 1]]
    barriers = tuple(sorted({int(row) for row in through}))
    table = assessment.neighbourhood.barriers.iloc[list(barriers)]
    cells = np.array([openings.first[at], openings.second[at]])
    row, column = np.divmod(cells, surface.cost.shape[1])
    grid = surface.grid
    # Plots in the order of the file, open ground last.
    labels = sorted(surface.labels.ravel()[cells].tolist(), key=lambda label: (label == 0, label))
    sides = [str(surface.plots[label - 1]) if label > 0 else None for label in labels]
    ids = network.ids
    return FenceGap(
        barriers=barriers,
        kinds=tuple(table["kind"]),
        now=next((word for word in ("no", "not_known") if (table["gap"] == word).any()), "yes"),
        plots=(sides[0], sides[1]),
        place=Point(
            grid.west + (column.mean() + 0.5) * grid.cell_m,
            grid.north - (row.mean() + 0.5) * grid.cell_m,
        ),
        joins=(str(ids[openings.a[at]]), str(ids[openings.b[at]])),
        cost_before=link.before,
        cost_after=link.after,
        homes_won=link.won,
        key=int(steps.key[step]),
    )
