"""Schemes of one planter and of two: judged exactly in turn until none left can win more.

Each scheme has a bound that is cheap to work out, in the terms of `patchnet.scheme.bound`: routes
as they are with its stops, and what homes can win at most with what its planters bring. The one
with the largest bound is looked at more closely: first the routes, which can be worked out for a
planter with all others at once, then one animal after the other filled exactly, the one first for
which the bound leaves most open. That ends when no bound is larger than the best scheme: then none
wins more, though most were never filled.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.scheme.best import Best
from patchnet.scheme.ceiling import GroupCeiling
from patchnet.scheme.filled import FilledState
from patchnet.scheme.state import GroupState, Pick, State
from patchnet.scheme.together import EQUAL, SchemeRules

__all__ = ["SMALL", "SmallSchemes"]

SMALL = 2
"""Planters in a small scheme, at most."""

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
_ROUNDING = 1e-9  # relative: routes are added up in another order


class _HomesWon(NamedTuple):
    """What homes of one group can win, homes squared: the sum over the parts.

    Each part is won by one set of places, and is no more than any of some sums of a constant and
    what each planter adds.

    Attributes
    ----------
    fixed
        Per part, shape (sums,).
    by_pick
        Per part, shape (sums, picks).
    """

    fixed: tuple[Array, ...]
    by_pick: tuple[Array, ...]

    @classmethod
    def of(cls, ceiling: GroupCeiling) -> "_HomesWon":
        """Put the parts of a ceiling together: places in no set, and each set."""
        homes, sets = ceiling.homes.tocsc(), ceiling.sets
        fixed, by_pick = [], []
        for number in range(-1, len(sets.spare)):
            mine = np.flatnonzero(sets.of == number)
            weight, gained = ceiling.weight[mine], ceiling.gained[mine]
            own = homes[:, mine].toarray()
            constants = [weight @ np.minimum(gained, ceiling.slack[mine])]
            rows = [np.minimum(own, gained) @ weight]
            if number >= 0:
                added = sets.added[[number]].toarray()[0]
                heaviest = float(weight.max(initial=0.0))
                constants += [
                    heaviest * sets.spare[number],
                    sets.heavy[number] * sets.core[number] + sets.brought[number],
                ]
                rows += [heaviest * added, sets.heavy[number] * added]
            fixed.append(np.array(constants))
            by_pick.append(np.array(rows))
        return cls(tuple(fixed), tuple(by_pick))

    def alone(self) -> Array:
        """Shape (picks,): with one planter."""
        parts = zip(self.fixed, self.by_pick, strict=True)
        return np.asarray(sum((const[:, None] + rows).min(axis=0) for const, rows in parts))

    def beside(self, pick: int) -> Array:
        """Shape (picks,): with a planter and each other one."""
        parts = zip(self.fixed, self.by_pick, strict=True)
        return np.asarray(
            sum((const[:, None] + rows + rows[:, [pick]]).min(axis=0) for const, rows in parts)
        )


class _Routes:
    """What routes of one group win with the homes of today, homes squared.

    Parameters
    ----------
    state
        The group's, in the search.
    ceiling
        Its ceiling for two planters.
    """

    def __init__(self, state: GroupState, ceiling: GroupCeiling) -> None:
        field = state.field
        self._state = GroupState(field, state.fixed.least)
        fixed = self._state.fixed
        # Planters that are stops and nothing else.
        self._state.fixed = fixed._replace(
            given=np.zeros_like(fixed.given),
            room=np.zeros_like(fixed.room),
            places=np.zeros_like(fixed.places),
        )
        sites, recipes = fixed.stop.shape
        self._sites = np.repeat(np.arange(sites), recipes)
        self._recipes = np.tile(np.arange(recipes), sites)
        self.base = ceiling.base
        self._today = self._state.numerator
        self.alone = self._all()
        self._able = np.asarray(ceiling.able.toarray() > 0)
        self._won = ceiling.won[:, -1] if len(ceiling.won) else np.zeros(0)
        self._known: dict[Pick, Array] = {}

    def _all(self) -> Array:
        """Shape (picks,): routes with each planter put to those there now."""
        after = self._state.after_at_most(self._sites, self._recipes)
        return np.maximum(after - self._today, 0.0) + _ROUNDING * self._today

    def at_most(self, pick: int) -> Array:
        """Shape (picks,): with a planter and each other one, at most.

        A pair of patches wins no more than over either stop alone, and only if both are on a
        better way no more than over any two.
        """
        mine = self._able[:, pick]
        both = self._won[mine] @ self._able[mine]
        either = self._won[mine].sum() + self._won[~mine] @ self._able[~mine]
        most: Array = np.minimum(self.alone + self.alone[pick] + both, either)
        return most + _ROUNDING * self._today

    def beside(self, pick: int) -> Array:
        """Shape (picks,): the same, worked out."""
        site, recipe = int(self._sites[pick]), int(self._recipes[pick])
        key = (site, int(self._state.fixed.stop[site, recipe]))
        if key not in self._known:
            self._state.add((site, recipe))
            self._known[key] = self._all()
            self._state.undo()
        return self._known[key]


class SmallSchemes:
    """All schemes of one planter and of two, with their bounds.

    Parameters
    ----------
    ceilings
        One a group, for two planters.
    filled, state
        Work out what a scheme wins, exactly; and its routes.
    recipes
        How many things may grow at a site.
    """

    def __init__(
        self, ceilings: Sequence[GroupCeiling], filled: FilledState, state: State, recipes: int
    ) -> None:
        self._filled, self._worth, self._recipes = filled, state.worth, recipes
        self._homes = [_HomesWon.of(ceiling) for ceiling in ceilings]
        self._routes = [
            _Routes(group, ceiling) for group, ceiling in zip(state.groups, ceilings, strict=True)
        ]
        self._base = np.array([ceiling.base for ceiling in ceilings])
        self._alone = np.array(
            [
                routes.alone + homes.alone()
                for routes, homes in zip(self._routes, self._homes, strict=True)
            ]
        )

    def _pick(self, at: int) -> Pick:
        return at // self._recipes, at % self._recipes

    def prove(
        self, best: Best, size: int, rules: SchemeRules, *, fillings: int, rows: int
    ) -> float:
        """Judge schemes of one size, what can win most first; the best are put into `best`.

        Parameters
        ----------
        best
            The best scheme known of each size.
        size
            One planter, or two.
        rules
            What a scheme must keep to.
        fillings
            So many single animals are filled at most.
        rows
            For so many planters at most routes with all others are worked out.

        Returns
        -------
        float
            No scheme of this size wins more, less its tolls; the best itself wins as much where
            that is proved.
        """
        left = _Left(self, size, rules)
        while True:
            found, most = left.first()
            known = best.value.get(size, -np.inf)
            if found is None or most <= known + EQUAL:
                return known
            one, other = found
            if size == 2 and left.loose(one):
                if rows == 0:
                    return most
                rows -= 1
                left.tighten(one)
                continue
            if fillings <= 0:
                return most
            picks = tuple(sorted(self._pick(at) for at in {one, other}))
            if not rules.allows(picks):
                left.drop(one, other)
                continue
            most_of = left.numerators(one, other)
            share = self._homes_of(one, other) / np.maximum(most_of, _ROUNDING)
            value, spent = self._look_closer(picks, most_of, share, rules, known)
            fillings -= spent
            if value is None:
                best.meet(picks, self._filled.value(picks))
                left.drop(one, other)
            else:
                left.lower(one, other, value)

    def _look_closer(
        self, picks: tuple[Pick, ...], most: Array, share: Array, rules: SchemeRules, known: float
    ) -> tuple[float | None, int]:
        """Fill one animal after the other, until it is clear that a scheme cannot win more.

        `share` is the part of each bound that homes may win, shape (G,). Returns the scheme's
        bound, None where all were filled; and how many were.
        """
        toll = rules.tolls(picks)
        spent = 0
        most = most.copy()
        for group in np.argsort(-self._worth.weight * share, kind="stable").tolist():
            most[group] = self._filled.linked_of(group, picks) ** 2
            spent += 1
            value = self._worth.of(most.tolist()) - toll
            if value <= known + EQUAL:
                return value, spent
        return None, spent

    def _homes_of(self, one: int, other: int) -> Array:
        """Shape (G,): what homes of each animal may win at most, homes squared."""
        if one == other:
            return np.array([homes.alone()[one] for homes in self._homes])
        return np.array([homes.beside(one)[other] for homes in self._homes])

    def bounds_of(self, numerators: Array, sites: NDArray[np.intp], rules: SchemeRules) -> Array:
        """Return bounds of worth less the tolls of some sites, shape (schemes,).

        Parameters
        ----------
        numerators
            Shape (G, schemes): homes squared.
        sites
            Shape (schemes, planters).
        rules
            For the tolls.
        """
        value: Array = self._worth.of_many(numerators)
        if rules.toll is not None:
            value = value - rules.toll[sites].sum(axis=1)
        return value

    def alone(self) -> Array:
        """Shape (G, picks): bounds with one planter, homes squared."""
        most: Array = self._base[:, None] + self._alone
        return most

    def pairs(self, pick: int, *, exact: bool) -> Array:
        """Shape (G, picks): bounds with a planter and each other one, homes squared.

        Parameters
        ----------
        pick
            Which.
        exact
            Whether routes are worked out.
        """
        rows = [
            (routes.beside(pick) if exact else routes.at_most(pick)) + homes.beside(pick)
            for routes, homes in zip(self._routes, self._homes, strict=True)
        ]
        most: Array = self._base[:, None] + np.array(rows)
        return most

    @property
    def picks(self) -> int:
        """How many planters there are to choose from."""
        return int(self._alone.shape[1])


class _Left:
    """Schemes of one size that could still be the best, by their bounds."""

    def __init__(self, small: SmallSchemes, size: int, rules: SchemeRules) -> None:
        self._small, self._size, self._rules = small, size, rules
        count, recipes = small.picks, rules.costs.shape[1]
        self._site = np.arange(count) // recipes
        able = np.ones(count, dtype=bool) if rules.able is None else rules.able[self._site]
        self._exact: dict[int, Array] = {}
        if size == 1:
            bound = small.bounds_of(small.alone(), self._site[:, None], rules)
            self._bound = np.where(able, bound, -np.inf)[None, :]
        else:
            self._bound = np.full((count, count), -np.inf)
            apart = ~rules.conflicts
            for one in np.flatnonzero(able).tolist():
                free = able & apart[self._site[one]][self._site]
                free[: one + 1] = False  # each pair once, in the row of its first
                if free.any():
                    self._bound[one, free] = self._row(small.pairs(one, exact=False), one)[free]
        self._top = self._bound.max(axis=1, initial=-np.inf)

    def _row(self, numerators: Array, one: int) -> Array:
        sites = np.stack([np.full_like(self._site, self._site[one]), self._site], axis=1)
        return self._small.bounds_of(numerators, sites, self._rules)

    def first(self) -> tuple[tuple[int, int] | None, float]:
        """The scheme with the largest bound, and that bound."""
        row = int(self._top.argmax())
        if self._top[row] == -np.inf:
            return None, -np.inf
        other = int(self._bound[row].argmax())
        return (other if self._size == 1 else row, other), float(self._top[row])

    def loose(self, one: int) -> bool:
        """Whether routes with this planter and others are not worked out yet."""
        return one not in self._exact

    def tighten(self, one: int) -> None:
        """Work out the routes with one planter and each other one."""
        self._exact[one] = self._small.pairs(one, exact=True)
        row = self._row(self._exact[one], one)
        self._bound[one] = np.minimum(self._bound[one], row)
        self._top[one] = self._bound[one].max()

    def numerators(self, one: int, other: int) -> Array:
        """Shape (G,): bounds of a scheme's homes squared."""
        return self._small.alone()[:, one] if self._size == 1 else self._exact[one][:, other]

    def lower(self, one: int, other: int, value: float) -> None:
        """A scheme turned out to win no more than this."""
        row = 0 if self._size == 1 else one
        self._bound[row, other] = min(value, self._bound[row, other])
        self._top[row] = self._bound[row].max()

    def drop(self, one: int, other: int) -> None:
        """A scheme is judged, or may not be built."""
        self.lower(one, other, -np.inf)
