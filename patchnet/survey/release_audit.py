"""What a series of public classes gives away, and the finest classes that give nothing away.

Each class that was ever handed out is a bound on how many households of a set have a feature. A
*world* is an assignment of answers that fits all bounds. An answer is given away where every
world has it alike, also for a reader who is one of the households and knows its own answers. This
is decided exactly (Willenborg & de Waal 2001, *Elements of Statistical Disclosure Control*, on the
protection intervals of a table): a world is found, or it is proven that there is none, by trying
with backtracking, and where that takes long by an integer programme.

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
from random import Random

import numpy as np
from numpy.typing import NDArray

__all__ = ["Bound", "class_bounds", "safe_classes"]

_ROUND = 1e-9  # a share such as 0.2 of 15 is 3, whatever binary fractions make of it
_TRIES = 500  # in the search for one world, before the programme is asked
_OWN = "."  # between a household's token and the version of its answer

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
    worlds = _Worlds(counts, rows, limits)
    if not worlds.any():
        return True  # this class cannot be the true one
    if len(counts) == 1 and len(rows) == 1:
        low, high = limits[0]
        return high >= 2 and low <= counts[0] - 2
    for places in owners:
        # Answers that somebody else holds.
        targets = [at for at, count in enumerate(counts) if count > places.count(at)]
        for values in product((0, 1), repeat=len(places)):
            # Who changed an answer had both; and only what can be is looked at.
            if len(set(values)) < min(2, len(places)):
                continue
            if not worlds.leave_open(list(zip(places, values, strict=True)), targets):
                return False
    return True


class _Worlds:
    """Worlds found so far: most questions are answered by one that is there already.

    A world is how many answers of each pattern have the feature. Which worlds are found depends on
    chance; whether there is one does not.
    """

    def __init__(
        self,
        counts: Sequence[int],
        rows: Sequence[Sequence[bool]],
        limits: Sequence[tuple[int, int]],
    ) -> None:
        self._counts = np.array(counts)
        self._rows, self._limits = rows, limits
        self._found: list[Worlds] = []
        self._dice = Random(0)  # noqa: S311 - no secret
        inside = [[at for at, row in enumerate(rows) if row[one]] for one in range(len(counts))]
        # The patterns of most sets first: those of one set can still make up its number.
        self._order = sorted(range(len(counts)), key=lambda one: -len(inside[one]))
        self._inside = [inside[one] for one in self._order]

    def any(self) -> bool:
        """Whether there is a world at all."""
        return self._look(np.zeros_like(self._counts), self._counts) is not None

    def leave_open(self, mine: Sequence[tuple[int, int]], targets: Sequence[int]) -> bool:
        """Whether others' answers can be either way for whoever holds some answers.

        Parameters
        ----------
        mine
            Pattern and value of each answer that is known.
        targets
            Patterns in which somebody else has an answer.

        Returns
        -------
        bool
            Also True where nobody can hold such answers.
        """
        low, high = np.zeros_like(self._counts), self._counts.copy()
        for at, value in mine:
            low[at] += value
            high[at] -= 1 - value
        found = np.array(self._found)
        fitting = found[((found >= low) & (found <= high)).all(axis=1)]
        if not len(fitting):
            one = self._look(low, high)
            if one is None:
                return True
            fitting = one[None]
        least, most = fitting.min(axis=0), fitting.max(axis=0)
        for at in targets:
            for value in (1, 0):
                if most[at] > low[at] if value else least[at] < high[at]:
                    continue
                low_then, high_then = low.copy(), high.copy()
                low_then[at] += value
                high_then[at] -= 1 - value
                one = self._look(low_then, high_then)
                if one is None:
                    return False
                least, most = np.minimum(least, one), np.maximum(most, one)
        return True

    def _look(self, low: Worlds, high: Worlds) -> Worlds | None:
        """Return a world with so many of each pattern; None where there is none."""
        if (low > high).any():
            return None
        try:
            world = self._tried(low, high)
        except _GivenUpError:
            world = self._programmed(low, high)
        if world is not None:
            self._found.append(world)
        return world

    def _tried(self, low: Worlds, high: Worlds) -> Worlds | None:
        """Give one pattern after another a number that all sets still have room for."""
        order, inside, dice = self._order, self._inside, self._dice
        lows, highs = low[order].tolist(), high[order].tolist()
        need = [one for one, _ in self._limits]
        room = [other for _, other in self._limits]
        later = _later(inside, lows, highs, len(need))
        world = [0] * len(order)
        tries = _TRIES

        def take(at: int, value: int) -> None:
            for row in inside[at]:
                need[row] -= value
                room[row] -= value

        def place(at: int) -> bool:
            nonlocal tries
            if at == len(order):
                return True
            least, most = later[at]
            first = max([lows[at], *(need[row] - most[row] for row in inside[at])])
            last = min([highs[at], *(room[row] - least[row] for row in inside[at])])
            span = last - first + 1  # none where it is negative
            begin = int(dice.random() * span)
            for step in range(span):
                tries -= 1
                if tries < 0:
                    raise _GivenUpError
                value = world[at] = first + (begin + step) % span
                take(at, value)
                if place(at + 1):
                    return True
                take(at, -value)
            return False

        if not place(0):
            return None
        found = np.empty(len(order), dtype=np.int64)
        found[order] = world
        return found

    def _programmed(self, low: Worlds, high: Worlds) -> Worlds | None:
        from scipy.optimize import Bounds, LinearConstraint, milp

        limits = np.array(self._limits)
        found = milp(
            [self._dice.choice([-1.0, 1.0]) for _ in low],
            integrality=np.ones(len(low)),
            bounds=Bounds(low, high),
            constraints=LinearConstraint(
                np.array(self._rows, dtype=float), limits[:, 0], limits[:, 1]
            ),
        )
        return None if found.x is None else np.rint(found.x).astype(np.int64)


def _later(
    inside: Sequence[Sequence[int]], lows: Sequence[int], highs: Sequence[int], sets: int
) -> list[tuple[list[int], list[int]]]:
    """Return what all patterns after each come to at least and at most, set by set."""
    later = [([0] * sets, [0] * sets)]
    for at in range(len(inside) - 1, 0, -1):
        least, most = later[-1][0].copy(), later[-1][1].copy()
        for row in inside[at]:
            least[row] += lows[at]
            most[row] += highs[at]
        later.append((least, most))
    return later[::-1]


class _GivenUpError(Exception):
    """So many tries led nowhere."""
