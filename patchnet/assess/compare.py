"""What was won and lost between two states of a neighbourhood: for whom, where, and how sure.

Both states are worked out with one idea of what plots are like that nobody looked at, and in the
same draws. Else a pond dug at one plot would change what is assumed of all others, and luck that
has nothing to do with the pond would hide what it does.
"""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from itertools import chain

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely import LineString

from patchnet.assess.assess import assess
from patchnet.assess.assessment import Assessment, Break, GroupAnswer
from patchnet.assess.comparison import (
    Comparison,
    FeatureChange,
    GroupChange,
    PlotChange,
    plots_in_both,
)
from patchnet.assess.over_draws import draws_of, over_draws
from patchnet.assess.provision import hungry_months
from patchnet.assess.spread import spread_of
from patchnet.assess.unknown import draw_in_unknown
from patchnet.core.errors import WrongUse
from patchnet.core.texts import N_, Words, _

__all__ = ["Row", "compare", "draws_for_sure"]

Array = NDArray[np.float64]
_LEAST = 1e-9  # homes; less than that is rounding
_ROUNDING = 1e-8  # of the homes there are: flows are sent in steps of some billionths


def compare(
    before: Assessment,
    after: Assessment,
    *,
    draws: int = 0,
    seed: int = 0,
    processes: int | None = 1,
    progress: "Callable[[Iterable[Row]], Iterable[Row]] | None" = None,
) -> Comparison:
    """Compare two states of a neighbourhood: what was won and lost, for whom and where.

    Plots are the same where their ids are. What nobody knew in one of the states is never
    called gone or new: it stands as a change of what is known.

    What plots are like that nobody looked at is taken from `before` for both. Where `after` was
    worked out by itself, and that makes any difference, it is worked out again, which takes as
    long as `patchnet.assess`; give ``prior=before.prior`` there to spare it.

    Parameters
    ----------
    before, after
        Two answers for the same animals, made with the same tables.
    draws
        In how many draws to work both out (see `patchnet.doubt_of`); 0: only with the figures in
        use, and then nothing is said of how sure it is.
    seed
        Of the draws.
    processes
        How many processes; None: one a core. Scripts that ask for more than one must have their
        main part under ``if __name__ == "__main__"``.
    progress
        Wraps the draws of both states while they are taken, such as a progress bar.

    Returns
    -------
    Comparison
        Its `table` has a row a group, its `plot_table` a row a plot.

    Raises
    ------
    WrongUse
        If they share no plot, were made for different groups or with tables of other features, or
        only one of them is made of published figures; also if draws are asked for of such.

    Examples
    --------
    >>> import patchnet
    >>> before = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> patchnet.compare(before, before).table().loc["wren", "breaks_closed"]
    np.int64(0)
    """
    if list(before.groups) != list(after.groups):
        raise WrongUse(_("The two states must be assessed for the same animals."))
    if before.neighbourhood.answers.features != after.neighbourhood.answers.features:
        raise WrongUse(_("The two states must be assessed with the same tables."))
    common = plots_in_both(before, after)
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
    after = _with_one_prior(before, after)
    same = _Same(before, after)
    groups = {key: _group(before.groups[key], answer, same) for key, answer in after.groups.items()}
    homes: Mapping[str, Array] = {
        key: np.asarray(answer.homes.loc[common] - before.groups[key].homes.loc[common])
        for key, answer in after.groups.items()
    }
    often: Mapping[str, Array] = {}
    if draws:
        if before.prior is None:
            raise WrongUse(
                _("Published figures say nothing of how sure they are: compare them without draws.")
            )
        found = _in_draws(
            before, after, groups, draws=draws, seed=seed, processes=processes, progress=progress
        )
        sure_in = after.knowledge.setting("sure_in")
        groups = {key: found[key].told(one, sure_in) for key, one in groups.items()}
        homes = {key: one.homes for key, one in found.items()}
        often = {key: one.often for key, one in found.items()}
    first, second = before.neighbourhood.plots, after.neighbourhood.plots
    return Comparison(
        before=before,
        after=after,
        groups=tuple(groups.values()),
        plots=tuple(_plots(before, after, common, homes, often)),
        features=tuple(_features(before, after, common)),
        only_before=tuple(str(plot) for plot in first.index if plot not in second.index),
        only_after=tuple(str(plot) for plot in second.index if plot not in first.index),
        moved=tuple(_moved(before, after, common)),
        draws=draws,
        seed=seed,
        _homes=homes,
    )


def _with_one_prior(before: Assessment, after: Assessment) -> Assessment:
    """Return the second state with what the first takes unseen plots to be like."""
    if after.prior is before.prior:
        return after
    if before.prior is None or after.prior is None:
        raise WrongUse(
            _(
                "One of the two states is made of published figures and the other of a street's "
                "own file: compare two of a kind."
            )
        )
    hood, knowledge = after.neighbourhood, after.knowledge
    own, shared = (draw_in_unknown(hood, knowledge, prior) for prior in (after.prior, before.prior))
    if all(
        np.array_equal(getattr(own, reading), getattr(shared, reading))
        for reading in ("expected", "low", "high")
    ):
        return replace(after, prior=before.prior)
    return assess(
        hood,
        knowledge=knowledge,
        groups=list(after.groups),
        prior=before.prior,
        **after.asked.options,
    )


class _Same:
    """Tells whether a break of one state is there in the other, whatever CRS they are in."""

    def __init__(self, before: Assessment, after: Assessment) -> None:
        self._crs = before.neighbourhood.plots.crs, after.neighbourhood.plots.crs
        self._near_m = after.knowledge.setting("same_break_m")

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
    )


_Ends = tuple[tuple[str, str], ...]
Row = list[tuple[float, Array, list[bool]]]
"""One draw: each animal's linked homes, homes at each plot, and which ends of breaks are linked."""


def _row(ends: Mapping[str, _Ends], answer: Assessment) -> Row:
    """Each animal's linked homes, homes at each plot, and whether the ends asked for are linked."""
    return [
        (
            one.measures.eca,
            np.asarray(one.homes),
            [_linked(one.component, *pair) for pair in ends[key]],
        )
        for key, one in answer.groups.items()
    ]


def _linked(component: "pd.Series[int]", one: str, other: str) -> bool:
    if one not in component.index or other not in component.index:
        return False
    return bool(component[one] == component[other] >= 0)


@dataclass(frozen=True, eq=False)
class _InDraws:
    """One animal in D draws of both states: linked homes, homes in all, whether ends are linked.

    `linked` and `total` have the shape (2, D), `ends` (2, D, breaks); `homes` and `often` are the
    mean change at each common plot and the share of the draws that go its way.
    """

    linked: Array
    total: Array
    ends: NDArray[np.bool_]
    homes: Array
    often: Array

    def told(self, change: GroupChange, sure_in: float) -> GroupChange:
        """Return the change with the means of the draws, and how sure they are."""
        before, after = (float(one.mean()) for one in self.linked)
        won = self.linked[1] - self.linked[0]
        way = _ways(won, self.linked.max(axis=0))
        mean = after - before
        told = _ways(np.array([mean]), np.array([max(before, after)]))
        closed = len(change.breaks_closed)
        then, now = self.ends
        return replace(
            change,
            linked_before=before,
            linked_after=after,
            homes_before=float(self.total[0].mean()),
            homes_after=float(self.total[1].mean()),
            closed_in=tuple((~then & now)[:, :closed].mean(axis=0).tolist()),
            opened_in=tuple((then & ~now)[:, closed:].mean(axis=0).tolist()),
            won=replace(spread_of(np.where(way == 0, 0.0, won)), mean=mean),
            rises=float((way > 0).mean()),
            falls=float((way < 0).mean()),
            sure=bool((way == told).mean() >= sure_in and len(way) >= draws_for_sure(sure_in)),
        )


def draws_for_sure(sure_in: float) -> int:
    """Return how many draws it takes at least to call anything sure.

    One that goes the other way must be allowed among them, else few draws would be surer than
    many.

    Parameters
    ----------
    sure_in
        Share of the draws in which what is sure goes the same way, 0-1.

    Examples
    --------
    >>> draws_for_sure(0.95), draws_for_sure(0.9)
    (20, 10)
    """
    return math.ceil(1 / (1 - sure_in) - _LEAST) if sure_in < 1 else 1


def _ways(change: Array, size: Array) -> Array:
    """1 where it rises, -1 where it falls, 0 where the change is rounding beside the size."""
    return np.where(np.abs(change) <= _ROUNDING * np.maximum(size, 1.0), 0.0, np.sign(change))


def _in_draws(
    before: Assessment,
    after: Assessment,
    groups: Mapping[str, GroupChange],
    *,
    draws: int,
    seed: int,
    processes: int | None,
    progress: Callable[[Iterable[Row]], Iterable[Row]] | None,
) -> dict[str, _InDraws]:
    """Work both states out in the same draws."""
    ends: Mapping[str, _Ends] = {
        key: tuple(
            (one.from_plot, one.to_plot) for one in (*change.breaks_closed, *change.breaks_opened)
        )
        for key, change in groups.items()
    }
    work = partial(over_draws, _row, ends, processes=processes)
    rows: Iterable[Row] = chain.from_iterable(
        work(draws_of(state, draws, seed)) for state in (before, after)
    )
    taken = list(rows if progress is None else progress(rows))
    common = plots_in_both(before, after)
    places = [state.neighbourhood.plots.index.get_indexer(common) for state in (before, after)]
    found = {}
    for at, key in enumerate(groups):
        states = [[row[at] for row in taken[first : first + draws]] for first in (0, draws)]
        held = [np.array([homes for _linked_homes, homes, _ends in rows]) for rows in states]
        was, now = (homes[:, place] for homes, place in zip(held, places, strict=True))
        way = _ways(now - was, np.maximum(was, now))
        mean = np.where(way == 0, 0.0, now - was).mean(axis=0)
        found[key] = _InDraws(
            linked=np.array([[row[0] for row in rows] for rows in states]),
            total=np.array([homes.sum(axis=1) for homes in held]),
            ends=np.array([[row[2] for row in rows] for rows in states], dtype=bool),
            homes=mean,
            often=(way == np.sign(mean)).mean(axis=0),
        )
    return found


def _plots(
    before: Assessment,
    after: Assessment,
    common: pd.Index,
    homes: Mapping[str, Array],
    often: Mapping[str, Array],
) -> list[PlotChange]:
    resources = after.knowledge.resources

    def hungry_in(answer: GroupAnswer) -> NDArray[np.bool_]:
        return np.asarray(hungry_months(answer, resources).loc[common])

    hungry = {
        key: (hungry_in(before.groups[key]), hungry_in(answer))
        for key, answer in after.groups.items()
    }
    changes = []
    for at, plot in enumerate(common):
        moved = {key: float(change[at]) for key, change in homes.items()}
        moved = {key: change for key, change in moved.items() if abs(change) > _LEAST}
        shares = {key: float(often[key][at]) for key in moved if key in often}
        closed = {key: _months(was[at] & ~now[at]) for key, (was, now) in hungry.items()}
        opened = {key: _months(now[at] & ~was[at]) for key, (was, now) in hungry.items()}
        closed = {key: months for key, months in closed.items() if months}
        opened = {key: months for key, months in opened.items() if months}
        if moved or closed or opened:
            changes.append(PlotChange(str(plot), moved, shares, closed, opened))
    return changes


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
