"""What changes on a plot are to one group: its places to live, its patch, and what it feeds on."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.supply import anchor_places, patches, resource_months
from patchnet.knowledge.records import Group, Knowledge

__all__ = ["Effects", "effects_of"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Effects:
    """What K states of a plot, or K plots, are to one group: all that trials ask of them.

    Attributes
    ----------
    places
        Shape (K, 4): homes that there are places for (see `patchnet.assess.supply.anchor_places`).
    patch
        Shape (K,): True where it is a patch.
    needs
        For each need of the group, shape (K, M): what is supplied, in the resource's unit.
    """

    places: Array
    patch: Flags
    needs: tuple[Array, ...]

    @cached_property
    def table(self) -> Array:
        """Places and needs side by side, one row a state."""
        return np.column_stack([self.places, *self.needs])

    def moved_to(self, other: "Effects") -> Flags:
        """Where anything differs, shape (K,); `other` has as many rows, or one for all.

        Parameters
        ----------
        other
            For the same group.
        """
        differs: Flags = (self.table != other.table).any(axis=1)
        differs |= self.patch != other.patch
        return differs

    def mark(self, at: int) -> bytes:
        """What one state comes to, as bytes: of states alike in everything the same.

        Parameters
        ----------
        at
            Which, from 0.
        """
        row: bytes = (self.table[at] + 0.0).tobytes()
        return row + (b"1" if self.patch[at] else b"0")

    def row(self, at: int) -> "Effects":
        """Return one state alone.

        Parameters
        ----------
        at
            Which, from 0.
        """
        one = slice(at, at + 1)
        return Effects(self.places[one], self.patch[one], tuple(need[one] for need in self.needs))


def effects_of(group: Group, knowledge: Knowledge, amounts: Array, supply: Array) -> Effects:
    """Work out what some amounts of features are to a group.

    Parameters
    ----------
    group, knowledge
        The group and the tables.
    amounts
        Shape (K, features), in each feature's own unit.
    supply
        Shape (K, resources, 12), what they supply in each resource's unit.
    """
    places = anchor_places(amounts, supply, knowledge, group)
    return Effects(
        places,
        patches(supply, knowledge, group, places),
        tuple(resource_months(supply, knowledge, n.resource, n.months) for n in group.needs),
    )
