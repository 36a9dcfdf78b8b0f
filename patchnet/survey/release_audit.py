"""What a series of public classes gives away, and the finest classes that give nothing away.

Each class that was ever handed out is a bound on how many households of a set have a feature. A
*world* is an assignment of answers that fits all bounds. An answer is given away where every
world has it alike, also for a reader who is one of the households and knows its own answers. This
is decided exactly, as an integer programme (Willenborg & de Waal 2001, *Elements of Statistical
Disclosure Control*, on the protection intervals of a table).

Whether a class may go out must not depend on the answers themselves, or the refusal would tell of
them. So classes are laid together *before* it is known which of them is true, until each that
could be true is safe (simulatable auditing: Kenthapadi, Mishra & Nissim 2005, PODS 24:118-127).
"""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from math import ceil

import numpy as np
from numpy.typing import NDArray

__all__ = ["Bound", "class_bounds", "safe_classes"]

_ROUND = 1e-9  # a share such as 0.2 of 15 is 3, whatever binary fractions make of it
# Worlds are wandered through from a first one, before single questions are asked of the programme.
_WALKERS, _STEPS, _KEPT_EACH = 32, 96, 12
_OWN = "."  # between a household's token and the version of its answer

Wish = tuple[tuple[int, int, int], ...]
"""What a world is asked to have: (pattern, so many with, so many without), each pattern once."""
Worlds = NDArray[np.int64]


@dataclass(frozen=True)
class Bound:
    """What was handed out of one set: between `low` and `high` of its members have the feature.

    Attributes
    ----------
    members
        One token a household, ``household.version``; an answer that changed has a new version.
    low, high
        Both included.
    """

    members: frozenset[str]
    low: int
    high: int

    @property
    def tells(self) -> bool:
        """Whether it says anything at all."""
        return self.low > 0 or self.high < len(self.members)


def class_bounds(count: int, edges: Sequence[float]) -> list[tuple[int, int]]:
    """Return the least and the most households of each class of shares.

    Parameters
    ----------
    count
        Households of the set.
    edges
        Shares at which the second, third ... class begin, rising.

    >>> class_bounds(20, [0.2, 0.5, 0.8])
    [(0, 3), (4, 9), (10, 15), (16, 20)]
    """
    begin = [0, *(ceil(edge * count - _ROUND) for edge in edges)]
    return [(low, high - 1) for low, high in zip(begin, [*begin[1:], count + 1], strict=True)]


def safe_classes(
    past: Sequence[Bound], members: frozenset[str], classes: Sequence[tuple[int, int]]
) -> list[tuple[int, int]]:
    """Lay neighbouring classes together until none of them could give an answer away.

    Parameters
    ----------
    past
        All that was handed out before of the same unit and feature.
    members
        Tokens of the households whose answers are counted now.
    classes
        Least and most households of each class, rising (see `class_bounds`).

    Returns
    -------
    list
        First and last position of the classes that go together, rising. One entry over all
        classes says nothing and is always safe.
    """
    said = [one for one in past if one.tells]
    blocks = [(at, at) for at in range(len(classes))]

    def safe(block: tuple[int, int]) -> bool:
        new = Bound(members, classes[block[0]][0], classes[block[1]][1])
        return not new.tells or new.low > new.high or _gives_nothing_away(said, new)

    while len(blocks) > 1:
        bad = next((at for at, block in enumerate(blocks) if not safe(block)), None)
        if bad is None:
            break
        other = bad + 1 if 2 * bad < len(blocks) - 1 or bad == 0 else bad - 1
        first, last = sorted((bad, other))
        blocks[first : last + 1] = [(blocks[first][0], blocks[last][1])]
    return blocks


def _gives_nothing_away(past: Sequence[Bound], new: Bound) -> bool:
    rows = _reduced([*past, new])
    tokens = sorted({token for members, _, _ in rows for token in members})
    # Households that stood in the same sets can change places: only their number counts.
    pattern_of = {token: tuple(token in members for members, _, _ in rows) for token in tokens}
    counts = Counter(pattern_of.values())
    patterns = sorted(counts)
    place = {pattern: at for at, pattern in enumerate(patterns)}
    own: dict[str, list[int]] = defaultdict(list)
    for token in tokens:
        own[token.split(_OWN, maxsplit=1)[0]].append(place[pattern_of[token]])
    return _all_free(
        tuple(counts[pattern] for pattern in patterns),
        tuple(tuple(pattern[at] for pattern in patterns) for at in range(len(rows))),
        tuple((low, high) for _, low, high in rows),
        tuple(sorted({tuple(sorted(places)) for places in own.values()})),
    )


def _reduced(bounds: Sequence[Bound]) -> list[tuple[frozenset[str], int, int]]:
    """Return one row a set, its bounds cut with each other, in an order of its own."""
    held: dict[frozenset[str], tuple[int, int]] = {}
    for one in bounds:
        low, high = held.get(one.members, (0, len(one.members)))
        held[one.members] = (max(low, one.low), min(high, one.high))
    order = sorted(held, key=lambda members: (len(members), sorted(members)))
    return [(members, *held[members]) for members in order]


@lru_cache(maxsize=65_536)
def _all_free(
    counts: tuple[int, ...],
    rows: tuple[tuple[bool, ...], ...],
    limits: tuple[tuple[int, int], ...],
    owners: tuple[tuple[int, ...], ...],
) -> bool:
    """Whether no household can tell another's answer.

    Parameters
    ----------
    counts
        Answers of each pattern (those that stood in the same sets).
    rows
        Set -> whether it holds the answers of each pattern.
    limits
        Set -> least and most that have the feature.
    owners
        Patterns of the answers of each kind of household: one, or several where it changed.
    """
    worlds = _Worlds(np.array(counts), np.array(rows, dtype=float), np.array(limits))
    if not worlds.any():
        return True  # this class cannot be the true one
    if len(counts) == 1 and len(rows) == 1:
        low, high = limits[0]
        return high >= 2 and low <= counts[0] - 2
    for places in owners:
        # Answers that somebody else holds.
        targets = [at for at, count in enumerate(counts) if count > places.count(at)]
        for values in product((0, 1), repeat=len(places)):
            mine = list(zip(places, values, strict=True))
            # Who changed an answer had both; and only what can be is looked at.
            if len(set(values)) < min(2, len(places)) or not worlds.have(_wish(mine)):
                continue
            free = (worlds.have(_wish([*mine, one])) for one in product(targets, (0, 1)))
            if not all(free):
                return False
    return True


def _wish(answers: Sequence[tuple[int, int]]) -> Wish:
    wanted: dict[int, list[int]] = defaultdict(lambda: [0, 0])
    for pattern, value in answers:
        wanted[pattern][1 - value] += 1
    return tuple((at, with_it, without) for at, (with_it, without) in sorted(wanted.items()))


class _Worlds:
    """Worlds found so far: most questions are answered by one that is there already."""

    def __init__(self, counts: Worlds, rows: NDArray[np.float64], limits: Worlds) -> None:
        from scipy.optimize import LinearConstraint

        self._counts = counts
        self._rows, self._limits = rows, limits
        self._limit = LinearConstraint(rows, limits[:, 0], limits[:, 1])
        self._found: Worlds = np.empty((0, len(counts)), dtype=np.int64)
        self._dice = np.random.default_rng(0)
        self._asked: dict[Wish, bool] = {}

    def any(self) -> bool:
        """Whether there is a world at all; wanders on from it to others."""
        found = self._look(np.zeros_like(self._counts), self._counts)
        if found and len(self._counts) > 1:
            self._wander()
        return found

    def _wander(self) -> None:
        """Change one answer, or exchange two, again and again, wherever all bounds still hold."""
        one = np.eye(len(self._counts), dtype=np.int64)
        pairs = (one[:, None, :] - one[None, :, :]).reshape(-1, len(one))
        moves = np.vstack([one, -one, pairs[pairs.any(axis=1)]])
        effects = moves @ self._rows.T
        at = np.repeat(self._found[-1:], _WALKERS, axis=0)
        sums = at @ self._rows.T
        kept = [self._found]
        chosen = self._dice.integers(len(moves), size=(_STEPS, _WALKERS))
        for step in range(_STEPS):
            there, then = at + moves[chosen[step]], sums + effects[chosen[step]]
            fits = ((there >= 0) & (there <= self._counts)).all(axis=1)
            fits &= ((then >= self._limits[:, 0]) & (then <= self._limits[:, 1])).all(axis=1)
            at, sums = np.where(fits[:, None], there, at), np.where(fits[:, None], then, sums)
            if step % _KEPT_EACH == 0:
                kept.append(at)
        self._found = np.unique(np.vstack(kept), axis=0)

    def have(self, wish: Wish) -> bool:
        """Whether there is a world with so many with and without the feature in some patterns."""
        if wish not in self._asked:
            self._asked[wish] = self._had(wish) or self._look_for(wish)
        return self._asked[wish]

    def _had(self, wish: Wish) -> bool:
        fits = np.ones(len(self._found), dtype=bool)
        for at, with_it, without in wish:
            column = self._found[:, at]
            fits &= (column >= with_it) & (column <= self._counts[at] - without)
        return bool(fits.any())

    def _look_for(self, wish: Wish) -> bool:
        low, high = np.zeros_like(self._counts), self._counts.copy()
        for at, with_it, without in wish:
            low[at], high[at] = with_it, self._counts[at] - without
        return bool((low <= high).all()) and self._look(low, high)

    def _look(self, low: Worlds, high: Worlds) -> bool:
        from scipy.optimize import Bounds, milp

        found = milp(
            self._dice.choice([-1.0, 1.0], len(low)),
            integrality=np.ones(len(low)),
            bounds=Bounds(low, high),
            constraints=self._limit,
        )
        if found.x is None:
            return False
        self._found = np.vstack([self._found, np.rint(found.x).astype(np.int64)])
        return True
