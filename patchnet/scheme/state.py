"""A scheme in the making: what it is worth now, and what one more planter would make it.

Planters are put and taken away again in turn, last in first out: what a planter changed is
written down when it is put, so that nothing is copied and taking it away brings back the same
numbers to the last bit.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.worth import worth_gained
from patchnet.core.compiled import in_threads
from patchnet.scheme.field import GroupField
from patchnet.scheme.kernels import (
    Standing,
    homes_of,
    judge,
    judge_all,
    put,
    take_in,
    take_out,
)

__all__ = ["GroupState", "Pick", "State", "Worth"]

Array = NDArray[np.float64]
Pick = tuple[int, int]
"""A site and what grows there: places among the sites and the recipes."""

_BLOCK = 256  # planters judged in one piece of work


class _Before(NamedTuple):
    """What one planter changed, as it was before."""

    site: int
    rows: NDArray[np.int32]
    access: Array
    met: Array
    room: Array
    within: Array
    homes: Array
    flow: Array
    numerator: float
    routes: tuple[NDArray[np.int32], NDArray[np.int32], Array] | None


class GroupState:
    """One group with some planters there.

    Attributes
    ----------
    now
        How it stands: homes, routes and what they are made of.
    numerator
        homes @ chances @ homes; linked homes are its root.
    """

    def __init__(self, field: GroupField, least: float) -> None:
        self.field = field
        self.fixed = field.layout(least)
        count = len(field.room)
        access = [need.access for need in field.needs]
        self.now = Standing(
            access=np.ascontiguousarray(np.hstack([np.zeros((count, 0)), *access])),
            met=np.ones((count, len(access))),
            room=field.room.astype(float),
            within=field.within.astype(float),
            homes=np.zeros(count),
            chances=np.array(field.chances, dtype=float, order="C"),
            flow=np.zeros(count),
            active=field.patch.copy(),
        )
        homes_of(self.fixed, self.now)
        self.now.flow[:] = self.now.chances @ self.now.homes
        self.numerator = float(self.now.homes @ self.now.flow)
        self._before: list[_Before | None] = []

    def after(self, pick: Pick) -> float:
        """The numerator with one more planter."""
        if self.field.offers[pick[0]][pick[1]].idle:
            return self.numerator
        return float(judge(self.fixed, self.now, self.numerator, *pick))

    def after_at_most(self, sites: NDArray[np.int64], recipes: NDArray[np.int64]) -> Array:
        """An upper bound of `after` for each of many planters, close to it."""
        out = np.empty(len(sites))
        judge_all(self.fixed, self.now, self.numerator, sites, recipes, out)
        return out

    def add(self, pick: Pick) -> None:
        """Add one more planter."""
        site, recipe = pick
        offer = self.field.offers[site][recipe]
        if offer.idle:
            self._before.append(None)
            return
        now = self.now
        rows = self.fixed.rows[self.fixed.start[site] : self.fixed.start[site + 1]]
        parts = (now.access[rows], now.met[rows], now.room[rows], now.within[rows], now.homes[rows])
        flow, numerator = now.flow.copy(), self.numerator
        self.numerator = self.after(pick)
        put(self.fixed, now, site, recipe)
        routes = take_in(self.fixed, now, site) if offer.stop else None
        self._before.append(_Before(site, rows, *parts, flow, numerator, routes))

    def undo(self) -> None:
        """Take away the planter that was added last."""
        before = self._before.pop()
        if before is None:
            return
        now, rows = self.now, before.rows
        now.access[rows], now.met[rows] = before.access, before.met
        now.room[rows], now.within[rows], now.homes[rows] = (
            before.room, before.within, before.homes,
        )  # fmt: skip
        now.flow[:] = before.flow
        self.numerator = before.numerator
        if before.routes is not None:
            take_out(now, *before.routes)
            now.active[self.field.plots + before.site] = False


@dataclass(frozen=True, eq=False)
class Worth:
    """The joint worth of a scheme.

    Attributes
    ----------
    weight
        Shape (G,), votes summing to 1.
    now
        Shape (G,), linked homes today, by the measure searched.
    first
        Homes, as in `patchnet.assess.worth.worth_gained`.
    """

    weight: Array
    now: Array
    first: float

    def of(self, numerators: Iterable[float]) -> float:
        """What the groups' numerators are worth: the change of the joint worth."""
        return float(self.of_many(np.fromiter(numerators, dtype=float)[:, None])[0])

    def of_many(self, numerators: Array) -> Array:
        """The same for shape (G, many): shape (many,)."""
        linked = np.sqrt(np.maximum(numerators, 0.0))
        return self.weight @ worth_gained(linked, self.now[:, None], self.first)

    def tangent(self, group: int, linked: float) -> tuple[float, float]:
        """Worth of one group at some linked homes, and its slope along their square.

        The log of a root is concave, so the line lies above it everywhere.
        """
        weight, first = float(self.weight[group]), self.first
        worth = weight * float(worth_gained(np.array(linked), self.now[group], first))
        return worth, weight / (2 * linked * (linked + first))


class State:
    """A scheme in the making over all groups; `picks` in the order they were added.

    `value` is its worth less the tolls of its sites (see `SchemeRules.toll`), shape (sites,).
    """

    def __init__(
        self, groups: Sequence[GroupState], worth: Worth, toll: Array | None = None
    ) -> None:
        self.groups = list(groups)
        self.worth = worth
        self.toll = toll
        self.picks: tuple[Pick, ...] = ()
        self._paid = 0.0
        self.value = worth.of(group.numerator for group in self.groups)
        self._values: list[float] = []

    def _tolled(self, site: int) -> float:
        return self._paid + (0.0 if self.toll is None else float(self.toll[site]))

    def after(self, pick: Pick) -> float:
        """The value with one more planter."""
        return self.worth.of(group.after(pick) for group in self.groups) - self._tolled(pick[0])

    def after_at_most(self, picks: Sequence[Pick]) -> Array:
        """Shape (many,): an upper bound of `after` for each of many planters, close to it."""
        if not picks:
            return np.empty(0)
        pairs = np.array(picks, dtype=np.int64)
        # In the order of the sites: what a new stop does to routes is worked out once a site.
        order = np.lexsort((pairs[:, 1], pairs[:, 0]))
        sites = np.ascontiguousarray(pairs[order, 0])
        recipes = np.ascontiguousarray(pairs[order, 1])
        cuts = list(range(0, len(picks), _BLOCK))
        if len(cuts) == 1:
            parts = [self._block(sites, recipes)]
        else:
            blocks = [(sites[at : at + _BLOCK], recipes[at : at + _BLOCK]) for at in cuts]
            parts = list(in_threads(lambda block: self._block(*block), blocks))
        out = np.empty(len(picks))
        out[order] = self.worth.of_many(np.hstack(parts)) - self._paid
        if self.toll is not None:
            out -= self.toll[pairs[:, 0]]
        return out

    def _block(self, sites: NDArray[np.int64], recipes: NDArray[np.int64]) -> Array:
        return np.array([group.after_at_most(sites, recipes) for group in self.groups])

    def add(self, pick: Pick) -> None:
        """Add one more planter."""
        for group in self.groups:
            group.add(pick)
        self._values.append(self.value)
        self._paid = self._tolled(pick[0])
        self.picks = (*self.picks, pick)
        self.value = self.worth.of(group.numerator for group in self.groups) - self._paid

    def undo(self) -> None:
        """Take away the planter that was added last."""
        self.picks = self.picks[:-1]
        self._paid = 0.0
        for site, _ in self.picks:
            self._paid = self._tolled(site)
        self.value = self._values.pop()
        for group in self.groups:
            group.undo()

    def go_to(self, picks: Sequence[Pick]) -> "State":
        """Become the scheme with just these planters, added in this order; return it."""
        wanted = tuple(picks)
        same = 0
        while same < min(len(wanted), len(self.picks)) and wanted[same] == self.picks[same]:
            same += 1
        while len(self.picks) > same:
            self.undo()
        for pick in wanted[same:]:
            self.add(pick)
        return self

    def without_each(
        self, kept: Sequence[Pick], leavable: Sequence[Pick]
    ) -> Iterator[tuple[Pick, "State"]]:
        """Each planter that may be left out, and the state with all the others.

        Halves are put and taken away in turn, so that each planter is put some log2 times. Do
        not go on before the state given was looked at: it is always this one. What the caller
        puts must be undone by the caller.
        """
        self.go_to(kept)
        if not leavable:
            return
        yield from self._without(list(leavable))

    def _without(self, leavable: list[Pick]) -> Iterator[tuple[Pick, "State"]]:
        if len(leavable) == 1:
            yield leavable[0], self
            return
        half = len(leavable) // 2
        for out, rest in ((leavable[:half], leavable[half:]), (leavable[half:], leavable[:half])):
            for pick in rest:
                self.add(pick)
            yield from self._without(out)
            for _ in rest:
                self.undo()

    def values_without(self, kept: Sequence[Pick], leavable: Sequence[Pick]) -> dict[Pick, float]:
        """What is left without each planter that may be left out, all the others there."""
        self.go_to(kept)
        values: dict[Pick, float] = {}

        def leave_out(some: Sequence[Pick]) -> None:
            if len(some) <= 2:
                for pick in some:
                    other = [each for each in some if each != pick]
                    values[pick] = self.after(other[0]) if other else self.value
                return
            half = len(some) // 2
            for out, rest in ((some[:half], some[half:]), (some[half:], some[:half])):
                for pick in rest:
                    self.add(pick)
                leave_out(out)
                for _ in rest:
                    self.undo()

        leave_out(leavable)
        return {pick: values[pick] for pick in leavable}

    @property
    def linked(self) -> Array:
        """Shape (G,): linked homes."""
        return np.asarray(np.sqrt([group.numerator for group in self.groups]), dtype=float)
