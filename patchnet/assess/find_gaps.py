"""Which fences to open for an animal that walks: all of them, or those between two plots."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment, Break, FenceGap
from patchnet.assess.fences import fence_gaps
from patchnet.assess.links_in_draws import (
    BreakDoubt,
    BreakWon,
    GapsInDraw,
    best_gaps,
    breaks_won,
    doubt_of_breaks,
    gap_over_draws,
    gaps_in_draw,
)
from patchnet.assess.over_draws import draws_of, over_draws
from patchnet.assess.spread import Spread, spread_of
from patchnet.assess.ways import gaps_between, walking_ground
from patchnet.core.shown import Shown
from patchnet.movement.fence_gaps import GapPlan

__all__ = ["FenceGaps", "find_gaps"]

Array = NDArray[np.float64]
_COLUMNS = (
    "order", "plot_a", "plot_b", "kinds", "now", "cost_before_m", "cost_after_m", "homes_won",
    "won_low", "won_high", "often", "geometry",
)  # fmt: skip
_POOL = 2  # times as many gaps as are asked for are looked at in the draws
_BREAKS = 5  # worked out in the draws: those that win most with the figures in use
Row = tuple[GapsInDraw, list[BreakWon]]
"""One draw: the gaps, and what closing breaks wins."""


@dataclass(frozen=True, eq=False, repr=False)
class FenceGaps(Shown):
    """Gaps to be made in fences for one group that walks.

    Attributes
    ----------
    assessment
        The answer that they were looked for in.
    group
        Key of the group.
    between
        The two plots whose way they ease; None: the whole neighbourhood.
    gaps
        Without `between`: those that win most linked homes together, the one that wins most
        first, each counted with those before it; one that wins 0 does so with the next.
    plans
        With `between`: steps, each of one gap or of several that only help together, with the
        figures in use.
    draws, seed
        In how many draws they were worked out, and of which seed; 0: with the figures in use.
    linked, together
        Linked homes today, and what all gaps together win: means of the draws, and the middle 90
        in 100 of them; None where there are none.
    breaks
        What closing the first breaks wins over the draws, most first; empty where there are none.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["frog"], cell_m=2)
    >>> patchnet.find_gaps(answer, "frog", between=("M15B", "M17B"), most=1).between
    ('M15B', 'M17B')
    """

    assessment: Assessment
    group: str
    between: tuple[str, str] | None
    gaps: tuple[FenceGap, ...]
    plans: tuple[GapPlan, ...]
    draws: int = 0
    seed: int = 0
    linked: Spread | None = None
    together: Spread | None = None
    breaks: tuple[BreakDoubt, ...] = ()

    def table(self) -> gpd.GeoDataFrame:
        """The gaps as points, one row a gap.

        Returns
        -------
        GeoDataFrame
            Columns ``order`` (1 first; gaps that only help together share it), ``plot_a`` and
            ``plot_b`` (the two sides; None: no plot), ``kinds`` (of barrier), ``now`` (no,
            not_known, yes), ``cost_before_m`` and ``cost_after_m`` (cost metres between the
            patches it brings closer; inf: no way), ``homes_won`` (linked homes; NaN with
            `between`), ``won_low``, ``won_high`` (of the middle 90 in 100 draws), ``often`` (share
            of the draws in which it wins anything, 0-1; NaN without draws) and ``geometry``, in
            the neighbourhood's CRS.
        """
        hood = self.assessment.neighbourhood
        rows: list[tuple[object, ...]] = [
            (
                order, *gap.plots, "; ".join(gap.kinds), gap.now, gap.cost_before, gap.cost_after,
                gap.homes_won,
                *(np.nan if one is None else one for one in (gap.won_low, gap.won_high, gap.often)),
                gap.place,
            )
            for order, gap in enumerate(self.gaps, 1)
        ]  # fmt: skip
        for order, plan in enumerate(self.plans, 1):
            for gap in plan.gaps:
                there = hood.barriers.iloc[list(gap.barriers)]
                now = next(
                    (word for word in ("no", "not_known") if (there["gap"] == word).any()), "yes"
                )
                kinds = "; ".join(there["kind"])
                rows.append(
                    (
                        order, *gap.plots, kinds, now, plan.cost_before, plan.cost_after,
                        np.nan, np.nan, np.nan, np.nan, gap.place,
                    )
                )  # fmt: skip
        return gpd.GeoDataFrame(
            pd.DataFrame(rows, columns=list(_COLUMNS)), geometry="geometry", crs=hood.plots.crs
        )


def find_gaps(
    assessment: Assessment,
    group: str,
    *,
    between: tuple[str, str] | None = None,
    most: int = 6,
    plot: str | None = None,
    draws: int = 0,
    seed: int = 0,
    processes: int | None = 1,
    progress: "Callable[[Iterable[Row]], Iterable[Row]] | None" = None,
) -> FenceGaps:
    """Find which fences to open, in which order, and what each gap wins.

    Parameters
    ----------
    assessment
        An answer that holds the group, worked out over the ground (not on straight lines).
    group
        Key of a group that walks, such as ``"hedgehog"``.
    between
        Ids of two plots: the gaps that make the way between them cheaper. None: those that win
        most linked homes in the whole neighbourhood.
    most
        How many gaps (or steps) at most, 1 or more.
    plot
        Only gaps on whose one side this plot lies; not with `between`.
    draws
        In how many draws to work out what each gap wins (see `patchnet.doubt_of`); then the one
        that wins most on average comes first. The places are those found with the figures in use:
        those that win most together, and twice as many as are asked for one after the other. 0:
        only with the figures in use. Not with `between`.
    seed
        Of the draws.
    processes
        How many processes; None: one a core. Scripts that ask for more than one must have their
        main part under ``if __name__ == "__main__"``.
    progress
        Wraps the draws while they are taken, such as a progress bar.

    Returns
    -------
    FenceGaps
        Its `table` is a GeoDataFrame of points. A shared fence needs its owner's consent.

    Raises
    ------
    WrongUse
        If there is no such group or plot (the nearest spellings are offered), or the group flies.

    Notes
    -----
    Linked homes are the equivalent connected area of homes (Saura, Estreguil, Mouton & Rodriguez-
    Freire 2011, Ecological Indicators 11:407-416); every place on every barrier is tried.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["frog"], cell_m=2)
    >>> gaps = patchnet.find_gaps(answer, "frog", most=2)
    >>> gaps.table()[["plot_a", "plot_b", "kinds", "now"]].shape
    (2, 4)
    """
    walking_ground(assessment, group)
    if plot is not None:
        assessment.neighbourhood.row_of(plot)
    if between is not None:
        plans = gaps_between(assessment, group, *between, most=most)
        return FenceGaps(assessment, group, between, (), plans)
    if not draws:
        gaps = fence_gaps(assessment, group, most=most, plot=plot, together=True)
        return FenceGaps(assessment, group, None, gaps, ())
    best = fence_gaps(assessment, group, most=most, plot=plot, together=True)
    singly = fence_gaps(assessment, group, most=_POOL * most, plot=plot)
    there = {gap.key for gap in best}
    pool = (*best, *(gap for gap in singly if gap.key not in there))
    uncertain = draws_of(assessment.of_groups([group]), draws, seed)
    breaks = assessment.groups[group].breaks[:_BREAKS]

    taken = over_draws(_row, (pool, breaks), uncertain, processes=processes)
    rows = list(taken if progress is None else progress(taken))
    order, won = best_gaps([row[0] for row in rows], most, first=range(len(best)))
    return FenceGaps(
        assessment,
        group,
        None,
        tuple(gap_over_draws(pool[at], homes) for at, homes in zip(order, won.T, strict=True)),
        (),
        draws=draws,
        seed=seed,
        linked=spread_of(np.array([row[0].linked_homes for row in rows])),
        together=spread_of(won.sum(axis=1)),
        breaks=doubt_of_breaks(breaks, [row[1] for row in rows]),
    )


def _row(asked: tuple[Sequence[FenceGap], Sequence[Break]], answer: Assessment) -> Row:
    gaps, breaks = asked
    (one,) = answer.groups.values()
    return gaps_in_draw(gaps, one, answer.knowledge), breaks_won(breaks, one, answer.knowledge)
