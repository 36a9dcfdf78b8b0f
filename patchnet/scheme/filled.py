"""What a scheme comes to exactly: all homes filled alike with its planters there."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.lodging import rooms_of
from patchnet.assess.sharing import Shares, share_supplies
from patchnet.scheme.field import GroupField
from patchnet.scheme.state import Pick, State

__all__ = ["FilledState", "share_with"]

Array = NDArray[np.float64]


def share_with(field: GroupField, picks: Sequence[Pick]) -> tuple[Array, Shares]:
    """Room of all places with some planters there, and how the sharing comes out.

    Parameters
    ----------
    field
        One group's, over a scheme's sites.
    picks
        Planters.

    Returns
    -------
    room
        Shape (n + sites,), homes.
    shares
        What each gets.
    """
    sites, recipes = len(field.offers), len(field.offers[0]) if field.offers else 0
    used = np.zeros((sites, recipes))
    for pick in picks:
        used[pick] = 1.0
    own = np.array([[offer.places for offer in row] for row in field.offers])
    places = field.places.copy()
    places[field.plots :] += np.einsum("sr,srk->sk", used, own.reshape(*used.shape, 4))
    demands = []
    for need in field.needs:
        supply = need.demand.supply[:, :, :1].copy()
        supply[field.plots :, :, 0] += np.einsum("sr,srm->sm", used, need.given)
        demands.append(replace(need.demand, supply=supply, net=need.demand.blocks))
    rooms = rooms_of(places[:, :, None], demands, field.anchor, field.pool)
    shares = share_supplies(rooms.room, demands, whole=rooms.whole, sheets=False)
    return rooms.room[:, 0], shares


class FilledState:
    """Schemes over all groups, filled exactly; what was filled before is remembered.

    Parameters
    ----------
    state
        Carries the routes along, and has the common currency.
    """

    def __init__(self, state: State) -> None:
        self._state = state
        self._known: dict[tuple[Pick, ...], Array] = {}

    def linked(self, picks: Sequence[Pick]) -> Array:
        """Linked homes of each group with some planters there, shape (G,)."""
        key = tuple(sorted(picks))
        if key not in self._known:
            self._state.go_to(key)
            self._known[key] = np.array(
                [_linked(group.field, key, group.now.chances) for group in self._state.groups]
            )
        return self._known[key]

    def value(self, picks: Sequence[Pick]) -> float:
        """What they are worth: the change of the common currency."""
        return self._state.worth.of((self.linked(picks) ** 2).tolist())


def _linked(field: GroupField, picks: Sequence[Pick], chances: Array) -> float:
    if not picks:
        homes = field.today
    else:
        room, shares = share_with(field, picks)
        homes = room * shares.quality[:, 0]
    return float(np.sqrt(homes @ chances @ homes))
