"""What was won and lost between two states of a neighbourhood: for whom, where, and how sure."""

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely import LineString

from patchnet.assess.assessment import Assessment, Break, GroupAnswer
from patchnet.core.errors import WrongUse
from patchnet.core.shown import Shown
from patchnet.core.texts import N_, Words, _
from patchnet.knowledge.records import Resource

__all__ = [
    "Comparison",
    "FeatureChange",
    "GroupChange",
    "PlotChange",
    "compare",
]

_LEAST = 1e-9  # homes; less than that is rounding


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
    """Change of homes held on one plot, by group; only plots that are in both states."""

    plot: str
    homes: Mapping[str, float]
    hungry_closed: Mapping[str, tuple[int, ...]]
    hungry_opened: Mapping[str, tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class GroupChange:
    """How things changed for one group.

    Attributes
    ----------
    linked_before, linked_after
        Linked homes.
    homes_before, homes_after
        Homes held in all.
    patches_before, patches_after
        Number of patches.
    components_before, components_after
        Connected groups of patches.
    breaks_closed, breaks_opened
        Breaks that are there in only one of the states (the one that counts most first).
    sure
        Whether the homes held change the same way (up, down or not at all) when everything that
        is not known is taken as absent, as expected, and as present; or hardly change at all
        beside the linked homes, because what changed are the links (a break that closed).
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
    sure: bool


@dataclass(frozen=True, eq=False, repr=False)
class Comparison(Shown):
    """Two states of a neighbourhood side by side.

    Attributes
    ----------
    before, after
        The two assessments.
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

    def table(self) -> pd.DataFrame:
        """How each group fares, one row a group (index: its key).

        Returns
        -------
        DataFrame
            Columns ``linked_before``, ``linked_after``, ``homes_before``, ``homes_after``
            (homes), ``patches_before``, ``patches_after``, ``parts_before``, ``parts_after``,
            ``breaks_closed``, ``breaks_opened`` (counts) and ``sure`` (see `GroupChange`).
        """
        rows = [
            (
                one.linked_before, one.linked_after, one.homes_before, one.homes_after,
                one.patches_before, one.patches_after, one.components_before,
                one.components_after, len(one.breaks_closed), len(one.breaks_opened), one.sure,
            )
            for one in self.groups
        ]  # fmt: skip
        index = pd.Index([one.group for one in self.groups], name="group")
        columns = [
            "linked_before", "linked_after", "homes_before", "homes_after", "patches_before",
            "patches_after", "parts_before", "parts_after", "breaks_closed", "breaks_opened",
            "sure",
        ]  # fmt: skip
        return pd.DataFrame(rows, index=index, columns=columns)

    def plot_table(self) -> pd.DataFrame:
        """Change of homes held on each plot that is in both, plots down, groups across.

        Returns
        -------
        DataFrame
            Index of ``after``'s plots without the new ones; homes.
        """
        now, then = self.after.groups, self.before.groups
        plots = self.after.neighbourhood.plots.index
        common = plots[plots.isin(self.before.neighbourhood.plots.index)]
        changes = {key: now[key].homes.loc[common] - then[key].homes.loc[common] for key in now}
        return pd.DataFrame(changes, index=common)


def compare(before: Assessment, after: Assessment) -> Comparison:
    """Compare two states of a neighbourhood: what was won and lost, for whom and where.

    Plots are the same where their ids are. What nobody knew in one of the states is never
    called gone or new: it stands as a change of what is known.

    Parameters
    ----------
    before, after
        Two answers for the same animals, made with the same tables.

    Returns
    -------
    Comparison
        Its `table` has a row a group, its `plot_table` a row a plot.

    Raises
    ------
    WrongUse
        If they share no plot, or were made for different groups.

    Examples
    --------
    >>> import patchnet
    >>> before = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> patchnet.compare(before, before).table().loc["wren", "breaks_closed"]
    np.int64(0)
    """
    if list(before.groups) != list(after.groups):
        raise WrongUse(_("The two states must be assessed for the same animals."))
    first, second = before.neighbourhood.plots, after.neighbourhood.plots
    common = second.index[second.index.isin(first.index)]
    if len(common) == 0:
        raise WrongUse(
            _(
                "{neighbourhood_name} and {neighbourhood_name_2} share no plot id, so nothing can "
                "be compared. Give the same plots the same ids in both files."
            ).format(
                neighbourhood_name=before.neighbourhood.name,
                neighbourhood_name_2=after.neighbourhood.name,
            )
        )
    return Comparison(
        before=before,
        after=after,
        groups=tuple(
            _group(before.groups[key], after.groups[key], _Same(before, after))
            for key in after.groups
        ),
        plots=tuple(_plots(before, after, common)),
        features=tuple(_features(before, after, common)),
        only_before=tuple(str(plot) for plot in first.index if plot not in second.index),
        only_after=tuple(str(plot) for plot in second.index if plot not in first.index),
        moved=tuple(_moved(before, after, common)),
    )


class _Same:
    """Tells whether a break of one state is there in the other, whatever CRS they are in."""

    def __init__(self, before: Assessment, after: Assessment) -> None:
        self._crs = before.neighbourhood.plots.crs, after.neighbourhood.plots.crs
        self._near_m = after.knowledge.setting("same_break_m")
        self.by_links = after.knowledge.setting("sure_by_links")

    def closed(self, before: GroupAnswer, after: GroupAnswer) -> tuple[Break, ...]:
        """Breaks of the first state that are not in the second."""
        return self._missing(before.breaks, self._lines(before, 0), self._lines(after, 1))

    def opened(self, before: GroupAnswer, after: GroupAnswer) -> tuple[Break, ...]:
        """Breaks of the second state that were not in the first."""
        return self._missing(after.breaks, self._lines(after, 1), self._lines(before, 0))

    def _lines(self, answer: GroupAnswer, state: int) -> list[LineString]:
        lines = gpd.GeoSeries([one.line for one in answer.breaks], crs=self._crs[state])
        return list(lines.to_crs(self._crs[1]))

    def _missing(
        self, breaks: tuple[Break, ...], lines: list[LineString], others: list[LineString]
    ) -> tuple[Break, ...]:
        return tuple(
            one
            for one, line in zip(breaks, lines, strict=True)
            if not any(line.hausdorff_distance(other) <= self._near_m for other in others)
        )


def _group(before: GroupAnswer, after: GroupAnswer, same: _Same) -> GroupChange:
    changes = [
        float(getattr(after, reading).sum() - getattr(before, reading).sum())
        for reading in ("homes_low", "homes", "homes_high")
    ]
    linked = after.measures.eca - before.measures.eca
    same_way = min(changes) >= -_LEAST or max(changes) <= _LEAST
    by_links = max(map(abs, changes)) <= same.by_links * abs(linked)
    return GroupChange(
        group=after.group.key,
        linked_before=before.measures.eca,
        linked_after=after.measures.eca,
        homes_before=float(before.homes.sum()),
        homes_after=float(after.homes.sum()),
        patches_before=int(before.patch.sum()),
        patches_after=int(after.patch.sum()),
        components_before=before.measures.components,
        components_after=after.measures.components,
        breaks_closed=same.closed(before, after),
        breaks_opened=same.opened(before, after),
        sure=same_way or by_links,
    )


def _plots(before: Assessment, after: Assessment, common: pd.Index) -> list[PlotChange]:
    homes = {
        key: (answer.homes.loc[common] - before.groups[key].homes.loc[common]).to_numpy()
        for key, answer in after.groups.items()
    }
    resources = after.knowledge.resources
    hungry = {
        key: (
            _hungry(before.groups[key], resources).loc[common].to_numpy(),
            _hungry(answer, resources).loc[common].to_numpy(),
        )
        for key, answer in after.groups.items()
    }
    changes = []
    for at, plot in enumerate(common):
        moved = {key: float(change[at]) for key, change in homes.items()}
        moved = {key: change for key, change in moved.items() if abs(change) > _LEAST}
        closed = {key: _months(was[at] & ~now[at]) for key, (was, now) in hungry.items()}
        opened = {key: _months(now[at] & ~was[at]) for key, (was, now) in hungry.items()}
        closed = {key: months for key, months in closed.items() if months}
        opened = {key: months for key, months in opened.items() if months}
        if moved or closed or opened:
            changes.append(PlotChange(str(plot), moved, closed, opened))
    return changes


def _hungry(answer: GroupAnswer, resources: Mapping[str, Resource]) -> pd.DataFrame:
    """Columns 1-12: months in which flowers are short for the group, over its flower needs."""
    sheets = [sheet for sheet in answer.needs if resources[sheet.need.resource].by_month]
    total = pd.DataFrame(data=False, index=answer.homes.index, columns=range(1, 13))
    for sheet in sheets:
        total = total | sheet.hungry
    return total


def _months(flags: NDArray[np.bool_]) -> tuple[int, ...]:
    return tuple(int(month) + 1 for month in np.flatnonzero(flags))


def _features(before: Assessment, after: Assessment, common: pd.Index) -> list[FeatureChange]:
    was = before.neighbourhood.answers.table().loc[common]
    now = after.neighbourhood.answers.table().loc[common, was.columns]
    changes = []
    pairs = zip(was.to_numpy(), now.to_numpy(), strict=True)
    for plot, (old_row, new_row) in zip(common, pairs, strict=True):
        for feature, old, new in zip(was.columns, old_row.tolist(), new_row.tolist(), strict=True):
            kind = _kind(old, new)
            if kind:
                changes.append(FeatureChange(str(plot), str(feature), kind, old, new))
    return changes


def _kind(old: float, new: float) -> str:
    if np.isnan(old) or np.isnan(new):
        return "" if np.isnan(old) and np.isnan(new) else _KNOWN[bool(np.isnan(new))]
    if old == new:
        return ""
    if old == 0 or new == 0:
        return "new" if old == 0 else "gone"
    return "more" if new > old else "less"


_KNOWN = Words({False: N_("now known"), True: N_("no longer known")})


def _moved(before: Assessment, after: Assessment, common: pd.Index) -> list[tuple[str, float]]:
    first, second = before.neighbourhood.plots, after.neighbourhood.plots
    if first.crs != second.crs:
        first = first.to_crs(second.crs)
    found = []
    for plot in common:
        one, other = first.geometry.loc[plot], second.geometry.loc[plot]
        if not one.equals(other):
            share = one.symmetric_difference(other).area / max(one.union(other).area, 1e-9)
            if share > after.knowledge.setting("moved_share"):
                found.append((str(plot), float(share)))
    return found
