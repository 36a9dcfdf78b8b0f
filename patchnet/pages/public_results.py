"""What the units of a street provide and lack, worked out from the public classes alone.

Every plot of a unit is taken to have the mean of the unit's class, so that nothing that is worked
out knows more than the table. It is worked out three times, with the least, the middle and the
most that the classes allow, and told in broad steps (1, 2, 5, 10, 20, 50 ...), the range outwards.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess import assess
from patchnet.assess.assessment import ANCHOR, Asked, Assessment, Break, GroupAnswer, NeedSheet
from patchnet.assess.sharing import Form
from patchnet.knowledge.records import Group, Knowledge
from patchnet.network.patch_graph import PatchGraph
from patchnet.pages.public_view import class_means, rows_of
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.survey.release import Released

__all__ = ["public_assessment", "steps_down", "steps_near", "steps_up"]

_STEPS = (1.0, 2.0, 5.0, 10.0)
_TENTHS = 10

Progress = Callable[[Iterable[Group]], Iterable[Group]]
Array = NDArray[np.float64]


def public_assessment(
    hood: Neighbourhood,
    released: Released,
    seen: Neighbourhood,
    hidden: Sequence[str],
    *,
    knowledge: Knowledge,
    groups: Sequence[str] | None = None,
    quality: Form = "scarcest",
    progress: Progress | None = None,
) -> Assessment:
    """Work out what the rows of a public table provide and lack.

    Parameters
    ----------
    hood
        With everything.
    released
        The table.
    seen
        From `public_view.public_neighbourhood`: its rows are those of the answer.
    hidden
        Features that are told of nobody.
    knowledge
        The tables.
    groups, quality, progress
        As in `patchnet.assess.assess`.
    """
    least, middle, most = (
        assess(
            class_means(hood, released, hidden, knowledge=knowledge, reading=reading),
            knowledge=knowledge,
            groups=groups,
            quality=quality,
            straight=True,
            progress=progress if reading == 1 else None,
        )
        for reading in (0, 1, 2)
    )
    at = rows_of(hood, released, knowledge).place
    rows = _Rows(at[at >= 0], seen.plots.index)
    known = ~np.isnan(seen.answers.amount)
    return Assessment(
        neighbourhood=seen,
        knowledge=knowledge,
        groups={
            key: _group((least.groups[key], middle.groups[key], most.groups[key]), rows)
            for key in middle.groups
        },
        amounts=rows.total(middle.amounts),
        supply=rows.total(middle.supply),
        known_share=pd.Series(known.mean(axis=1), index=seen.plots.index),
        asked=Asked(quality=quality, straight=True),
    )


def steps_near(values: Array) -> Array:
    """Return the nearest of 0, 1, 2, 5, 10, 20 ... and, below 1, of 0.1, 0.2, 0.5.

    Parameters
    ----------
    values
        Any shape, 0 or more, any unit.

    Returns
    -------
    array
        Of the same shape and unit.

    Examples
    --------
    >>> steps_near(np.array([0.0, 0.04, 3.4, 36.0, 270.0])).tolist()
    [0.0, 0.05, 5.0, 50.0, 200.0]
    """
    low, high = steps_down(values), steps_up(values)
    # On a scale of ratios the middle of 2 and 5 is their geometric mean.
    return np.where(values * values < low * high, low, high)


def steps_down(values: Array) -> Array:
    """Return the next step at or below each value (0 stays 0).

    Parameters
    ----------
    values
        Any shape, 0 or more, any unit.

    Returns
    -------
    array
        Of the same shape and unit.
    """
    return _step(values, side=-1)


def steps_up(values: Array) -> Array:
    """Return the next step at or above each value (0 stays 0).

    Parameters
    ----------
    values
        Any shape, 0 or more, any unit.

    Returns
    -------
    array
        Of the same shape and unit.
    """
    return _step(values, side=1)


def _step(values: Array, side: int) -> Array:
    found = np.asarray(values, dtype=float)
    sound = np.isfinite(found) & (found > 0)
    safe = np.where(sound, found, 1.0)
    decade = 10.0 ** np.floor(np.log10(safe) + 1e-12)
    scale = decade[..., None] * np.array(_STEPS)
    # A value that is a step, but for the last bits, is that step.
    if side < 0:
        fits = np.where(scale <= safe[..., None] * (1 + 1e-9), scale, -np.inf)
        near = fits.max(axis=-1)
    else:
        fits = np.where(scale >= safe[..., None] * (1 - 1e-9), scale, np.inf)
        near = fits.min(axis=-1)
    return np.where(sound, near, found)


def _floats(values: "pd.Series[float]") -> Array:
    return np.asarray(values, dtype=np.float64)


class _Rows:
    """Values of plots brought together in the rows of the public table."""

    def __init__(self, at: NDArray[np.intp], index: pd.Index) -> None:
        self.at, self.index = at, index

    def total(self, values: Array) -> Array:
        """Add up along the first axis."""
        whole = np.zeros((len(self.index), *values.shape[1:]))
        np.add.at(whole, self.at, values)
        return whole

    def sum(self, values: "pd.Series[float]") -> Array:
        return self.total(_floats(values))

    def mean(self, values: "pd.Series[float]", weight: "pd.Series[float]") -> Array:
        """Return means weighted by the homes there is room for; where there is none, plain ones."""
        room = _floats(weight)
        room = np.where(self.total(room)[self.at] > 0, room, 1.0)
        whole = self.total(room)
        told = self.total(_floats(values) * room)
        return told / np.where(whole > 0, whole, 1.0)

    def most(self, values: "pd.Series[Any]", weight: "pd.Series[float]") -> "pd.Series[Any]":
        """Return the value with most weight in each row."""
        table = pd.DataFrame(
            {"at": self.at, "value": values.to_numpy(), "weight": weight.to_numpy() + 1e-9}
        )
        summed = table.groupby(["at", "value"], sort=True)["weight"].sum().reset_index()
        best = summed.sort_values(["at", "weight"], ascending=[True, False], kind="stable")
        found = best.drop_duplicates("at").set_index("at")["value"]
        return found.reindex(range(len(self.index))).set_axis(self.index)

    def aligned(self, values: NDArray[np.generic]) -> "pd.Series[float]":
        return pd.Series(values, index=self.index)


Three = tuple[GroupAnswer, GroupAnswer, GroupAnswer]


def _group(made: Three, rows: _Rows) -> GroupAnswer:
    middle = made[1]
    room, homes = rows.sum(middle.room), rows.sum(middle.homes)
    patch = rows.sum(middle.patch.astype(float)) > 0
    chosen = rows.most(middle.component.where(middle.patch, -1), middle.homes)
    component = chosen.fillna(-1).astype(int).where(patch, -1)
    row_of = dict(zip(map(str, middle.room.index), rows.at.tolist(), strict=True))
    quality = np.where(room > 0, homes / np.where(room > 0, room, 1.0), 0.0)
    low = np.min([rows.sum(one.homes_low) for one in made], axis=0)
    high = np.max([rows.sum(one.homes_high) for one in made], axis=0)
    held = rows.aligned(steps_near(homes))
    return replace(
        middle,
        room=rows.aligned(steps_near(room)),
        room_within=rows.aligned(steps_near(rows.mean(middle.room_within, middle.room))),
        quality=rows.aligned(np.round(quality * _TENTHS) / _TENTHS),
        homes=held,
        homes_low=rows.aligned(steps_down(low)),
        homes_high=rows.aligned(steps_up(high)),
        patch=pd.Series(patch, index=rows.index),
        needs=tuple(
            _need((made[0].needs[at], made[1].needs[at], made[2].needs[at]), rows, middle.room)
            for at in range(len(middle.needs))
        ),
        scarcest=rows.most(middle.scarcest, middle.room).fillna(ANCHOR).astype(str),
        component=component,
        network=_network(middle.network, row_of, rows, patch, held),
        measures=replace(
            middle.measures,
            eca=float(steps_near(np.array(middle.measures.eca))),
            component=component[patch],
        ),
        breaks=tuple(_breaks(middle.breaks, row_of, rows.index)),
        ground=None,
    )


def _need(
    sheets: tuple[NeedSheet, NeedSheet, NeedSheet], rows: _Rows, weight: "pd.Series[float]"
) -> NeedSheet:
    middle = sheets[1]
    low = np.min([rows.mean(one.enough_low, weight) for one in sheets], axis=0)
    high = np.max([rows.mean(one.enough_high, weight) for one in sheets], axis=0)
    by_month = {
        month: steps_near(rows.mean(middle.by_month[month], weight)) for month in middle.by_month
    }
    hungry = {
        month: rows.mean(middle.hungry[month].astype(float), weight) >= 0.5
        for month in middle.hungry
    }
    return replace(
        middle,
        enough=rows.aligned(steps_near(rows.mean(middle.enough, weight))),
        enough_low=rows.aligned(steps_down(low)),
        enough_high=rows.aligned(steps_up(high)),
        room=rows.aligned(steps_near(rows.mean(middle.room, weight))),
        met=rows.aligned(np.round(rows.mean(middle.met, weight) * _TENTHS) / _TENTHS),
        by_month=pd.DataFrame(by_month, index=rows.index),
        hungry=pd.DataFrame(hungry, index=rows.index),
    )


def _network(
    network: PatchGraph,
    row_of: Mapping[str, int],
    rows: _Rows,
    patch: NDArray[np.bool_],
    homes: "pd.Series[float]",
) -> PatchGraph:
    """Join the patches of a row; of the links between two rows the shortest is kept."""
    place = np.cumsum(patch) - 1
    mine = np.array([place[row_of[str(ident)]] for ident in network.ids], dtype=np.int64)
    ends = np.sort(np.column_stack([mine[network.i], mine[network.j]]), axis=1)
    table = pd.DataFrame({"i": ends[:, 0], "j": ends[:, 1], "length": network.length_mm})
    between = table[table["i"] != table["j"]]
    table = between.groupby(["i", "j"], sort=True)["length"].min().reset_index()
    return PatchGraph(
        ids=rows.index[patch],
        homes=_floats(homes)[patch],
        i=table["i"].to_numpy(dtype=np.int32),
        j=table["j"].to_numpy(dtype=np.int32),
        length_mm=table["length"].to_numpy(dtype=np.int64),
        d50_m=network.d50_m,
    )


def _breaks(breaks: Sequence[Break], row_of: Mapping[str, int], index: pd.Index) -> Iterable[Break]:
    for one in breaks:
        ends = [row_of[str(plot)] for plot in (one.from_plot, one.to_plot)]
        if ends[0] == ends[1]:
            continue
        way = dict.fromkeys(row_of[str(plot)] for plot in one.plots_on_the_way)
        sides = steps_near(np.array(one.homes_each_side, dtype=float)).tolist()
        yield replace(
            one,
            from_plot=str(index[ends[0]]),
            to_plot=str(index[ends[1]]),
            plots_on_the_way=tuple(str(index[at]) for at in way if at not in ends),
            homes_won=float(steps_near(np.array(one.homes_won))),
            homes_each_side=(sides[0], sides[1]),
        )
