"""Provision: what lies within reach of each plot, need by need: its balance sheet."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy.sparse as sp
from numpy.typing import NDArray

from patchnet.assess.assessment import ANCHOR, GroupAnswer, NeedSheet, Shortage
from patchnet.assess.filling import Stop
from patchnet.assess.sharing import Limits, combine_months
from patchnet.assess.supply import resource_months
from patchnet.knowledge.records import Group, Knowledge, Need, Resource

__all__ = ["Readings", "hungry_months", "need_sheet", "scarcest_needs", "shortages_of"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Readings:
    """Supply, shape (n, R, 12), with the unknown as expected, all absent, and all present."""

    expected: Array
    low: Array
    high: Array

    @property
    def distinct(self) -> tuple[Array, ...]:
        """The readings that differ: one where everything is known, else all three."""
        if self.low is self.expected:
            return (self.expected,)
        return (self.expected, self.low, self.high)


def need_sheet(
    need: Need,
    *,
    reach: "sp.csr_array",
    supplies: Readings,
    room: Array,
    met: Array,
    knowledge: Knowledge,
    plots: pd.Index,
) -> NeedSheet:
    """One line of every plot's balance sheet.

    Enough for S / (amount one home takes) homes, with S the supply within reach, beside the
    homes there is room for within that same reach.

    Parameters
    ----------
    reach
        Shape (n, n): 1 where the column's plot is within reach of the row's.
    supplies
        The three readings of supply.
    room
        Shape (n,), homes each plot has room for.
    met
        Shape (n,), share met after sharing.
    """
    by_reading = [
        resource_months(supply, knowledge, need.resource, need.months) / need.amount.value
        for supply in supplies.distinct
    ]
    certain = len(by_reading) == 1
    sums = reach @ np.column_stack([*by_reading, room])
    months = len(need.months)
    expected = sums[:, :months]
    low, high = (expected, expected) if certain else np.split(sums[:, months:-1], 2, axis=1)
    worst = need.month_rule == "worst"
    room_within = sums[:, -1]

    asked = np.array(need.months) - 1
    enough_in = np.full((len(plots), 12), np.nan)
    enough_in[:, asked] = expected
    short_in = np.zeros((len(plots), 12), dtype=bool)
    short_in[:, asked] = (expected < room_within[:, None]) & (room_within > 0)[:, None]
    by_month = pd.DataFrame(enough_in, index=plots, columns=range(1, 13))
    hungry = pd.DataFrame(short_in, index=plots, columns=range(1, 13))
    return NeedSheet(
        need=need,
        enough=pd.Series(combine_months(expected, worst=worst), index=plots),
        enough_low=pd.Series(combine_months(low, worst=worst), index=plots),
        enough_high=pd.Series(combine_months(high, worst=worst), index=plots),
        room=pd.Series(room_within, index=plots),
        met=pd.Series(met, index=plots),
        by_month=by_month,
        hungry=hungry,
    )


def shortages_of(
    group: Group, limits: Limits | None, plots: pd.Index
) -> tuple[Shortage | None, ...]:
    """Put what stopped each plot in terms of needs, months and ids; a set's plots share one.

    Parameters
    ----------
    group
        Whose needs they are.
    limits
        What stopped the n plots; None: nothing did.
    plots
        Ids of the n plots.
    """
    known: dict[int, Shortage] = {}

    def told(stop: Stop) -> Shortage:
        if id(stop.sharers) not in known:
            need = group.needs[stop.need]
            known[id(stop.sharers)] = Shortage(
                need=need.key,
                months=tuple(need.months[month] for month in stop.months),
                met=stop.level,
                sharers=tuple(plots[stop.sharers].astype(str)),
                suppliers=tuple(plots[stop.suppliers].astype(str)),
            )
        return known[id(stop.sharers)]

    stops = (None,) * len(plots) if limits is None else limits.stop
    return tuple(None if stop is None else told(stop) for stop in stops)


def scarcest_needs(
    sheets: tuple[NeedSheet, ...],
    shortages: tuple[Shortage | None, ...],
    room: Array,
    plots: pd.Index,
) -> "pd.Series[str]":
    """Key of the scarcest need at each plot, or ``"anchor"``.

    Where there is room, the need that stopped the homes; where none did, the homes themselves
    (the anchor) are what is scarcest. Where there is no room, the numbers of the balance sheet
    are compared as enough-for over room-for within the same reach, because reaches differ: the
    least of them is the scarcest need if it is below 1, and the anchor if none is.

    Parameters
    ----------
    sheets
        Balance sheets of one group, series over n plots.
    shortages
        What stopped each of the n plots.
    room
        Shape (n,): homes there is room for.
    plots
        Ids of the n plots.
    """
    if not sheets:  # a home is all that it wants
        return pd.Series(ANCHOR, index=plots, dtype=object)
    keys = np.array([sheet.need.key for sheet in sheets], dtype=object)
    enough = np.column_stack([sheet.enough.to_numpy() for sheet in sheets])
    around = np.column_stack([sheet.room.to_numpy() for sheet in sheets])
    ratios = np.where(around > 0, enough / np.where(around > 0, around, 1.0), np.inf)
    least = ratios.argmin(axis=1)
    scarce = ratios[np.arange(len(plots)), least] < 1
    by_sheet = np.where(scarce, keys[least], ANCHOR)
    stopped = np.array([ANCHOR if one is None else one.need for one in shortages], dtype=object)
    return pd.Series(np.where(room > 0, stopped, by_sheet), index=plots, dtype=object)


def hungry_months(answer: GroupAnswer, resources: Mapping[str, Resource]) -> pd.DataFrame:
    """Months in which flowers are short for a group, over its flower needs.

    Parameters
    ----------
    answer
        Of the group, n plots.
    resources
        By key: they say which come by month.

    Returns
    -------
    DataFrame
        Index: the plots; columns 1-12, True where they are short.
    """
    sheets = [sheet for sheet in answer.needs if resources[sheet.need.resource].by_month]
    total = pd.DataFrame(data=False, index=answer.homes.index, columns=range(1, 13))
    for sheet in sheets:
        total = total | sheet.hungry
    return total
