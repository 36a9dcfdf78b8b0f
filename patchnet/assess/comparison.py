"""What changed between two states of a neighbourhood: records of it, told as tables."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment, Break
from patchnet.assess.spread import Spread
from patchnet.core.shown import Shown

__all__ = ["Comparison", "FeatureChange", "GroupChange", "PlotChange", "plots_in_both"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FeatureChange:
    """What changed about one feature on one plot.

    `kind` is ``"new"``, ``"gone"``, ``"more"``, ``"less"`` (known in both states),
    ``"now known"`` or ``"no longer known"`` (a change of what is known, not of the ground).
    """

    plot: str
    feature: str
    kind: str
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class PlotChange:
    """Change of one plot that is in both states, by group.

    Attributes
    ----------
    plot
        Its id.
    homes
        Homes held there: the mean of the draws, or with the figures in use where there are none.
    often
        Share of the draws in which they change in that direction, 0-1; empty where there are none.
    hungry_closed, hungry_opened
        Months (1-12) in which flowers are no longer short, and newly short, with the figures in
        use.
    """

    plot: str
    homes: Mapping[str, float]
    often: Mapping[str, float]
    hungry_closed: Mapping[str, tuple[int, ...]]
    hungry_opened: Mapping[str, tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class GroupChange:
    """How things changed for one group.

    Attributes
    ----------
    linked_before, linked_after
        Linked homes: means of the draws, or with the figures in use where there are none.
    homes_before, homes_after
        Homes held in all, likewise.
    patches_before, patches_after
        Number of patches, with the figures in use.
    components_before, components_after
        Connected groups of patches, with the figures in use.
    breaks_closed, breaks_opened
        Breaks that are there in only one of the states with the figures in use (the one that
        counts most first).
    closed_in, opened_in
        Share of the draws in which each of them closes, or opens, 0-1: its two ends are linked in
        the one state and not in the other. Empty where there are no draws.
    won
        Change of the linked homes: mean of the draws and the middle 90 in 100 of them; None where
        there are no draws.
    rises, falls
        Share of the draws in which the linked homes rise, and fall, by more than rounding, 0-1;
        None where there are no draws.
    sure
        Whether they go the way of the mean (up, down, or not at all) in at least
        ``settings/sure_in`` of the draws, of which there are enough (see `draws_for_sure`); None
        where there are no draws.
    """

    group: str
    linked_before: float
    linked_after: float
    homes_before: float
    homes_after: float
    patches_before: int
    patches_after: int
    components_before: int
    components_after: int
    breaks_closed: tuple[Break, ...]
    breaks_opened: tuple[Break, ...]
    closed_in: tuple[float, ...] = ()
    opened_in: tuple[float, ...] = ()
    won: Spread | None = None
    rises: float | None = None
    falls: float | None = None
    sure: bool | None = None


@dataclass(frozen=True, eq=False, repr=False)
class Comparison(Shown):
    """Two states of a neighbourhood side by side.

    Attributes
    ----------
    before, after
        The two assessments, with the figures in use; `after` with what `before` takes plots to be
        like that nobody looked at.
    groups
        Change of each group, in the order of the tables.
    plots
        Change of each plot that is in both and changes, in the order of `after`.
    features
        What became of the features.
    only_before, only_after
        Plots that are in one of them only.
    moved
        Plots whose outline changed: id and share of the area that is not common to both.
    draws, seed
        In how many draws both were worked out, and of which seed; 0: only with the figures in use.

    Examples
    --------
    >>> import patchnet
    >>> now = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> patchnet.compare(now, now).plot_table().shape
    (127, 1)
    """

    before: Assessment
    after: Assessment
    groups: tuple[GroupChange, ...]
    plots: tuple[PlotChange, ...]
    features: tuple[FeatureChange, ...]
    only_before: tuple[str, ...]
    only_after: tuple[str, ...]
    moved: tuple[tuple[str, float], ...]
    draws: int = 0
    seed: int = 0
    _homes: Mapping[str, Array] = field(default_factory=dict)

    def table(self) -> pd.DataFrame:
        """How each group fares, one row a group (index: its key).

        Returns
        -------
        DataFrame
            Columns ``linked_before``, ``linked_after``, ``won_low``, ``won_high`` (linked homes
            won, the middle 90 in 100 draws), ``homes_before``, ``homes_after`` (homes),
            ``patches_before``, ``patches_after``, ``parts_before``, ``parts_after``,
            ``breaks_closed``, ``breaks_opened`` (counts), ``rises``, ``falls`` (shares of the
            draws, 0-1) and ``sure``. See `GroupChange`; NaN and None where there are no draws.
        """
        nothing = Spread(np.nan, np.nan, np.nan)
        rows = [
            {
                "linked_before": one.linked_before,
                "linked_after": one.linked_after,
                "won_low": (one.won or nothing).low,
                "won_high": (one.won or nothing).high,
                "homes_before": one.homes_before,
                "homes_after": one.homes_after,
                "patches_before": one.patches_before,
                "patches_after": one.patches_after,
                "parts_before": one.components_before,
                "parts_after": one.components_after,
                "breaks_closed": len(one.breaks_closed),
                "breaks_opened": len(one.breaks_opened),
                "rises": np.nan if one.rises is None else one.rises,
                "falls": np.nan if one.falls is None else one.falls,
                "sure": one.sure,
            }
            for one in self.groups
        ]
        return pd.DataFrame(rows, index=pd.Index([one.group for one in self.groups], name="group"))

    def plot_table(self) -> pd.DataFrame:
        """Change of homes held on each plot that is in both, plots down, groups across.

        Returns
        -------
        DataFrame
            Index of ``after``'s plots without the new ones; homes, means of the draws where there
            are any.
        """
        return pd.DataFrame(self._homes, index=plots_in_both(self.before, self.after))


def plots_in_both(before: Assessment, after: Assessment) -> pd.Index:
    """Plots that are in both, in the order of the second.

    Parameters
    ----------
    before, after
        The two states.
    """
    plots: pd.Index = after.neighbourhood.plots.index
    common: pd.Index = plots[plots.isin(before.neighbourhood.plots.index)]
    return common
