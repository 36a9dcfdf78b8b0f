"""Provision: what lies within reach of each plot, need by need: its balance sheet."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import scipy.sparse as sp
from numpy.typing import NDArray

from patchnet.assess.assessment import ANCHOR, NeedSheet
from patchnet.assess.sharing import combine_months
from patchnet.assess.supply import resource_months
from patchnet.knowledge.records import Knowledge, Need

__all__ = ["Readings", "need_sheet", "scarcest_needs"]

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


def scarcest_needs(sheets: tuple[NeedSheet, ...], plots: pd.Index) -> "pd.Series[str]":
    """Key of the scarcest need at each plot, or ``"anchor"``.

    The numbers of a balance sheet are compared as enough-for over room-for within the same
    reach, because reaches differ: the least of them is the scarcest need if it is below 1.
    Where all are at least 1, or where there is no room for any home, the homes themselves
    (the anchor) are what is scarcest.
    """
    keys = np.array([sheet.need.key for sheet in sheets], dtype=object)
    enough = np.column_stack([sheet.enough.to_numpy() for sheet in sheets])
    room = np.column_stack([sheet.room.to_numpy() for sheet in sheets])
    ratios = np.where(room > 0, enough / np.where(room > 0, room, 1.0), np.inf)
    least = ratios.argmin(axis=1)
    scarce = ratios[np.arange(len(plots)), least] < 1
    return pd.Series(np.where(scarce, keys[least], ANCHOR), index=plots, dtype=object)
