"""Which fences to open for an animal that walks: all of them, or those between two plots."""

from dataclasses import dataclass

import geopandas as gpd
import pandas as pd

from patchnet.assess.assessment import Assessment, FenceGap
from patchnet.assess.fences import fence_gaps
from patchnet.assess.ways import gaps_between, walking_ground
from patchnet.core.shown import Shown
from patchnet.movement.fence_gaps import GapPlan

__all__ = ["FenceGaps", "find_gaps"]

_COLUMNS = (
    "order", "plot_a", "plot_b", "kinds", "now", "cost_before_m", "cost_after_m", "homes_won",
    "geometry",
)  # fmt: skip


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
        Without `between`: the one that wins most linked homes first, each counted with those
        before it.
    plans
        With `between`: steps, each of one gap or of several that only help together.

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

    def table(self) -> gpd.GeoDataFrame:
        """The gaps as points, one row a gap.

        Returns
        -------
        GeoDataFrame
            Columns ``order`` (1 first; gaps that only help together share it), ``plot_a`` and
            ``plot_b`` (the two sides; None: no plot), ``kinds`` (of barrier), ``now`` (no,
            not_known, yes), ``cost_before_m`` and ``cost_after_m`` (cost metres between the
            patches it brings closer; inf: no way), ``homes_won`` (linked homes; NaN with
            `between`) and ``geometry``, in the neighbourhood's CRS.
        """
        hood = self.assessment.neighbourhood
        rows: list[tuple[object, ...]] = [
            (
                order, *gap.plots, "; ".join(gap.kinds), gap.now, gap.cost_before, gap.cost_after,
                gap.homes_won, gap.place,
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
                        float("nan"), gap.place,
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
    if between is None:
        return FenceGaps(
            assessment, group, None, fence_gaps(assessment, group, most=most, plot=plot), ()
        )
    plans = gaps_between(assessment, group, *between, most=most)
    return FenceGaps(assessment, group, between, (), plans)
