"""What a scheme comes to exactly: all homes filled alike with its planters there."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.lodging import rooms_of
from patchnet.assess.sharing import Shares, share_supplies
from patchnet.scheme.field import GroupField, columns
from patchnet.scheme.state import Pick, State

__all__ = ["FilledState", "share_with"]

Array = NDArray[np.float64]
_Key = tuple[tuple[int, ...], tuple[int, ...]]


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

    Planters that give the same to the same homes, and have no places for any themselves, fill
    alike: along a short street nearly all boxes with the same planting do, so that few fillings
    serve for many schemes.

    Parameters
    ----------
    state
        Carries the routes along, and has the common currency.
    """

    def __init__(self, state: State) -> None:
        self._state = state
        self._alike = [_Alike(group.field) for group in state.groups]
        self._known: dict[tuple[Pick, ...], Array] = {}

    def linked(self, picks: Sequence[Pick]) -> Array:
        """Linked homes of each group with some planters there, shape (G,)."""
        key = tuple(sorted(picks))
        if key not in self._known:
            parts = [alike.known(key) for alike in self._alike]
            if any(part is None for part in parts):
                self._state.go_to(key)
                parts = [
                    alike.linked(key, group.now.chances) if part is None else part
                    for part, alike, group in zip(
                        parts, self._alike, self._state.groups, strict=True
                    )
                ]
            self._known[key] = np.array(parts)
        return self._known[key]

    def linked_of(self, group: int, picks: Sequence[Pick]) -> float:
        """Linked homes of one group alone with some planters there.

        Parameters
        ----------
        group
            Which.
        picks
            The planters.
        """
        key, alike = tuple(sorted(picks)), self._alike[group]
        known = alike.known(key)
        if known is None:
            self._state.go_to(key)
            known = alike.linked(key, self._state.groups[group].now.chances)
        return known

    def worth(self, picks: Sequence[Pick]) -> float:
        """What they are worth: the change of the common currency."""
        return self._state.worth.of((self.linked(picks) ** 2).tolist())

    def value(self, picks: Sequence[Pick]) -> float:
        """The same less the tolls of their sites."""
        toll = self._state.toll
        paid = 0.0 if toll is None else sum(float(toll[site]) for site, _ in picks)
        return self.worth(picks) - paid


class _Alike:
    """Fillings of one group, by what the planters give to whom; and linked homes, by their stops.

    Parameters
    ----------
    field
        The group's.
    """

    def __init__(self, field: GroupField) -> None:
        self._field = field
        self._class_of: dict[Pick, int] = {}
        self._numbers: dict[object, int] = {(): 0}
        self._homes: dict[tuple[int, ...], Array] = {(): field.today}
        self._linked: dict[_Key, float] = {}

    def known(self, picks: Sequence[Pick]) -> float | None:
        """Linked homes with some planters, if they need not be worked out."""
        return self._linked.get(self._key(picks))

    def linked(self, picks: Sequence[Pick], chances: Array) -> float:
        """Linked homes with some planters, of which `chances`, shape (n, n), are the routes."""
        given = self._given(picks)
        if given not in self._homes:
            room, shares = share_with(self._field, picks)
            self._homes[given] = room * shares.quality[:, 0]
        homes = self._homes[given]
        key = self._key(picks)
        self._linked[key] = float(np.sqrt(homes @ chances @ homes))
        return self._linked[key]

    def _key(self, picks: Sequence[Pick]) -> "_Key":
        stops = tuple(site for site, recipe in picks if self._field.offers[site][recipe].stop)
        return stops, self._given(picks)

    def _given(self, picks: Sequence[Pick]) -> tuple[int, ...]:
        return tuple(sorted(filter(None, map(self._class, picks))))

    def _class(self, pick: Pick) -> int:
        """Number of what a planter gives to whom; 0 where it gives nothing."""
        if pick not in self._class_of:
            self._class_of[pick] = self._numbers.setdefault(self._found(pick), len(self._numbers))
        return self._class_of[pick]

    def _found(self, pick: Pick) -> object:
        site, recipe = pick
        field = self._field
        if field.offers[site][recipe].places.any():
            return pick
        parts: list[object] = []
        for at, need in enumerate(field.needs):
            given = need.given[site, recipe]
            reached = columns(need.reached, field.plots + site)
            homes = np.sort(reached[field.habitable[reached]])
            if given.any() and len(homes):
                parts.append((at, given.tobytes(), homes.tobytes()))
        return tuple(parts)
