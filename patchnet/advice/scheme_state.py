"""A scheme in the making: what it comes to now, and what one planter more would come to."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from patchnet.advice.scheme_field import GroupField, Offer
from patchnet.advice.scheme_kernels import improves, reach_of_stop, take_in, won_by_stop

__all__ = ["GroupState", "State", "Worth"]

Array = NDArray[np.float64]
_SLACK = 1e-12  # relative: a route that much better is rounding
Pick = tuple[int, int]
"""A site and what grows there: places among the sites and the recipes."""


class GroupState:
    """One group with some planters there.

    Attributes
    ----------
    access, within, homes
        As in `GroupField`, with the planters' shares.
    room
        Shape (n,): homes there is room for, planters among them.
    chances
        Shape (n, n): best routes, planters that are stops among them.
    flow
        Shape (n,): chances @ homes.
    numerator
        homes @ chances @ homes; linked homes are its root.
    """

    def __init__(self, field: GroupField, least: float) -> None:
        self.field = field
        self._least = least
        self.access = [need.access.copy() for need in field.needs]
        self.within = field.within.copy()
        self.room = field.room.copy()
        self.homes = field.homes.copy()
        self.chances = field.chances.copy()
        self.active = field.patch.copy()
        self.flow = self.chances @ self.homes
        self.numerator = float(self.homes @ self.flow)

    def copy(self) -> "GroupState":
        """An independent copy."""
        twin = object.__new__(GroupState)
        twin.field, twin._least = self.field, self._least
        twin.access = [got.copy() for got in self.access]
        for name in ("within", "room", "homes", "chances", "active", "flow"):
            setattr(twin, name, getattr(self, name).copy())
        twin.numerator = self.numerator
        return twin

    def after(self, pick: Pick) -> float:
        """The numerator with one planter more."""
        site, recipe = pick
        offer = self.field.offers[site][recipe]
        if offer.idle:
            return self.numerator
        rows, change = self._change(site, offer)
        grown = self.numerator
        if rows.size:
            grown += 2 * float(change @ self.flow[rows])
            grown += float(change @ self.chances[np.ix_(rows, rows)] @ change)
        if not offer.stop:
            return grown
        place = self.field.plots + site
        reached, better = self._reached(site)
        homes = self.homes.copy()
        homes[rows] += change
        own = homes[place]
        homes[place] = 0.0
        if own > 0:
            # The planter's own homes were not linked above: its row of chances was empty.
            grown += own * own + 2 * own * float(reached @ homes)
        if better:
            grown += won_by_stop(self.chances, reached, homes, self._least)
        return grown

    def add(self, pick: Pick) -> None:
        """Put one planter more."""
        site, recipe = pick
        offer = self.field.offers[site][recipe]
        if offer.idle:
            return
        rows, change = self._change(site, offer)
        place = self.field.plots + site
        for got, need, share in zip(self.access, self.field.needs, offer.shares, strict=True):
            if share is not None:
                got[_column(need.reached, place)] += share
        if offer.room:
            self.within[_column(self.field.anchor_columns, place)] += offer.room
            self.room[place] += offer.room
        self.homes[rows] += change
        if offer.stop:
            reached, better = self._reached(site)
            if better:
                take_in(self.chances, reached, place, self._least)
            else:
                self.chances[place] = reached
                self.chances[:, place] = reached
                self.chances[place, place] = 1.0
            self.active[place] = True
        self.flow = self.chances @ self.homes
        self.numerator = float(self.homes @ self.flow)

    def _reached(self, site: int) -> tuple[Array, bool]:
        """Chance from the planter to every patch, and whether any best route gets better."""
        near, links = self.field.neighbours[site], self.field.links[site]
        keep = self.active[near]
        near, links = near[keep], links[keep]
        reached = reach_of_stop(self.chances, near, links, self._least)
        return reached, bool(improves(self.chances, near, links, _SLACK))

    def _change(self, site: int, offer: Offer) -> tuple[NDArray[np.intp], Array]:
        """Places whose homes change with a planter, and by how much."""
        place = self.field.plots + site
        touched = [
            _column(need.reached, place)
            for need, share in zip(self.field.needs, offer.shares, strict=True)
            if share is not None
        ]
        if offer.room:
            touched.append(_column(self.field.anchor_columns, place))
        if not touched:
            return np.empty(0, dtype=np.intp), np.empty(0)
        rows = np.unique(np.concatenate(touched))
        room = self.room[rows].copy()
        within = self.within[rows].copy()
        if offer.room:
            room[rows == place] += offer.room
            within[np.isin(rows, _column(self.field.anchor_columns, place))] += offer.room
        able = room > 0
        rows, room, within = rows[able], room[able], within[able]
        access = []
        for got, need, share in zip(self.access, self.field.needs, offer.shares, strict=True):
            part = got[rows]
            if share is not None:
                part = part + np.isin(rows, _column(need.reached, place))[:, None] * share
            access.append(part)
        change = room * self.field.quality(access, within) - self.homes[rows]
        moved = change != 0
        return rows[moved], change[moved]


def _column(matrix: "sp.csc_array", place: int) -> NDArray[np.intp]:
    span = slice(matrix.indptr[place], matrix.indptr[place + 1])
    column: NDArray[np.intp] = matrix.indices[span].astype(np.intp)
    return column


@dataclass(frozen=True, eq=False)
class Worth:
    """The common currency of a scheme.

    Attributes
    ----------
    weight
        Shape (G,), votes summing to 1.
    full
        Shape (G,), linked homes that could at most be, with everything built.
    now
        Shape (G,), linked homes today, by the measure searched.
    """

    weight: Array
    full: Array
    now: Array

    def of(self, numerators: Iterable[float]) -> float:
        """What the groups' numerators are worth: the change of the currency."""
        linked = np.sqrt(np.maximum(np.fromiter(numerators, dtype=float), 0.0))
        return float((self.weight * (linked - self.now) / self.full).sum())


class State:
    """A scheme in the making over all groups; `picks` in the order they were put."""

    def __init__(self, groups: Sequence[GroupState], worth: Worth) -> None:
        self.groups = list(groups)
        self.worth = worth
        self.picks: tuple[Pick, ...] = ()
        self.value = worth.of(group.numerator for group in self.groups)

    def copy(self) -> "State":
        """An independent copy."""
        twin = State([group.copy() for group in self.groups], self.worth)
        twin.picks = self.picks
        return twin

    def after(self, pick: Pick) -> float:
        """The value with one planter more."""
        return self.worth.of(group.after(pick) for group in self.groups)

    def add(self, pick: Pick) -> None:
        """Put one planter more."""
        for group in self.groups:
            group.add(pick)
        self.picks = (*self.picks, pick)
        self.value = self.worth.of(group.numerator for group in self.groups)

    def with_all(self, picks: Iterable[Pick]) -> "State":
        """A copy with some planters more."""
        twin = self.copy()
        for pick in picks:
            twin.add(pick)
        return twin

    @property
    def linked(self) -> Array:
        """Shape (G,): linked homes."""
        return np.asarray(np.sqrt([group.numerator for group in self.groups]), dtype=float)
