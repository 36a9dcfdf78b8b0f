"""A number over many draws: its mean, and the middle 90 in 100."""

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from patchnet.assess.links_in_draws import BreakDoubt

__all__ = ["MIDDLE", "GroupDoubt", "Spread", "spread_of"]

Array = NDArray[np.float64]
MIDDLE = (0.05, 0.95)
"""Ends of the middle 90 in 100."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Mean of a number over the draws, and the ends of the middle 90 in 100 of them."""

    mean: float
    low: float
    high: float


def spread_of(values: Array) -> Spread:
    """Return mean and range of a number over D draws.

    Parameters
    ----------
    values
        Shape (D,), any unit.

    Examples
    --------
    >>> spread_of(np.arange(101.0))
    Spread(mean=50.0, low=5.0, high=95.0)
    """
    low, high = np.quantile(values, MIDDLE)
    return Spread(float(values.mean()), float(low), float(high))


@dataclass(frozen=True, eq=False)
class GroupDoubt:
    """One animal in D draws, n plots.

    Attributes
    ----------
    linked
        Shape (D,): linked homes.
    homes
        Shape (D, n): homes held at each plot.
    room
        Shape (D, n): homes there is room for at each plot, never fewer than are held.
    enough
        Shape (D, Q, n): homes that what lies within reach of each plot is enough for, need by
        need, Q of them.
    breaks
        The breaks with what closing them wins, the one that wins most on average first.
    ceiling
        Shape (D,): most homes that all the ground can hold; inf where no density is known. None:
        not worked out.
    """

    linked: Array
    homes: Array
    room: Array
    enough: Array
    breaks: "tuple[BreakDoubt, ...]" = ()
    ceiling: Array | None = None

    @cached_property
    def linked_homes(self) -> Spread:
        """Linked homes: mean, and the middle 90 in 100."""
        return spread_of(self.linked)

    @cached_property
    def all_homes(self) -> Spread:
        """Homes held on all plots together."""
        return spread_of(self.homes.sum(axis=1))

    @cached_property
    def homes_at(self) -> Array:
        """Shape (3, n): homes held at each plot: mean, and the ends of the middle 90 in 100."""
        return np.vstack([self.homes.mean(axis=0), np.quantile(self.homes, MIDDLE, axis=0)])

    @cached_property
    def enough_at(self) -> Array:
        """Shape (2, Q, n): ends of the middle 90 in 100 of `enough`."""
        return np.asarray(np.quantile(self.enough, MIDDLE, axis=0))
