"""What is short in a neighbourhood: what would win most if there was as much of it again.

For each animal two things are tried, in totals of the whole neighbourhood, by what the answer holds
already (no new assessment, so it takes next to no time):

- *as much again* of what it lives in or needs, at least enough for one home more. Of a need, that
  feeds homes that are held back by it. Of what it lives in, the room levels off towards what the
  ground can hold (see `patchnet.assess.lodging`), and only where nothing else holds it back.
- the one break in the way that wins most is closed.

What is won is counted as everywhere (`patchnet.assess.worth`); the same resource, in the same
season where it has months, counts for all animals that lack it.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import ANCHOR, Assessment, Break, GroupAnswer
from patchnet.assess.supply import resource_months
from patchnet.assess.worth import vote_shares, worth_gained
from patchnet.plan.stretches import Stretch, nearest_stretch

__all__ = ["Held", "Lack", "Season", "lacks_of", "season_of"]

Array = NDArray[np.float64]
Season = Literal["", "spring", "summer", "autumn", "winter"]
_SEASONS: tuple[Season, ...] = ("winter", "spring", "summer", "autumn")


@dataclass(frozen=True, slots=True)
class Held:
    """How a lack holds one animal back.

    Attributes
    ----------
    group
        Key of the animal.
    need
        Key of its need; ``"anchor"``: what it lives in; empty: the way is broken.
    months
        Months (1-12) of the need; of what it lives in, those in which it is active.
    homes
        Linked homes that it would win.
    worth
        The same in the joint worth.
    often
        Share of the draws, 0-1, in which it is held back as much as is worth naming; None where
        there are none.
    """

    group: str
    need: str
    months: tuple[int, ...]
    homes: float
    worth: float
    often: float | None = None


@dataclass(frozen=True, slots=True)
class Lack:
    """One thing that is short.

    Attributes
    ----------
    resource
        Key of the resource; empty where the way is broken.
    season
        Of what comes and goes with the months, the season of the need.
    animals
        Those that it holds back, the one for which it is worth most first.
    worth
        For all of them.
    crossing
        The break, where the way is broken.
    stretch
        Where it is, see `patchnet.plan.stretches`; None where that is not told.
    """

    resource: str
    season: Season
    animals: tuple[Held, ...]
    worth: float
    crossing: Break | None = None
    stretch: Stretch | None = None

    @property
    def broken(self) -> bool:
        """Whether the way is broken, and no resource short."""
        return not self.resource


def season_of(months: tuple[int, ...]) -> Season:
    """Season in which the middle of some months lies, December to February being winter.

    Parameters
    ----------
    months
        1-12, in the order in which they follow each other.

    Examples
    --------
    >>> season_of((3, 4)), season_of((11, 12, 1)), season_of((9, 10)), season_of(())
    ('spring', 'winter', 'autumn', '')
    """
    return _SEASONS[months[len(months) // 2] % 12 // 3] if months else ""


def lacks_of(
    assessment: Assessment, stretches: tuple[Stretch, ...], *, least: float
) -> tuple[Lack, ...]:
    """Return what is short, what is worth most first.

    Parameters
    ----------
    assessment
        The neighbourhood.
    stretches
        Of its streets: breaks in one of them count together.
    least
        Share of its linked homes that an animal has to win for a lack to be worth naming.

    Returns
    -------
    tuple of Lack
        Without a place, but for breaks; empty where nothing is short.
    """
    know = assessment.knowledge
    first = know.setting("worth_first_homes")
    votes = vote_shares(answer.group for answer in assessment.groups.values())
    found: dict[tuple[str, Season | int], list[Held]] = {}
    crossings: dict[int, tuple[float, Break]] = {}
    for vote, (key, answer) in zip(votes.tolist(), assessment.groups.items(), strict=True):
        now = answer.linked_told.mean
        place: tuple[str, Season | int]
        for short in (*_short(assessment, key), *_breaks(assessment, key, stretches)):
            worth = float(worth_gained(np.array(now + short.homes), np.array(now), first))
            if worth < math.log1p(least):
                continue
            often = short.often(least, first)
            held = Held(key, short.need, short.months, short.homes, vote * worth, often)
            if short.crossing is None:
                resource = know.resources[short.resource]
                place = (
                    short.resource,
                    season_of(short.months) if resource.by_month else "",
                )
            else:
                place = ("", short.at)
                if vote * worth > crossings.get(short.at, (0.0, None))[0]:
                    crossings[short.at] = vote * worth, short.crossing
            found.setdefault(place, []).append(held)
    lacks = [_lack(place, held, crossings, stretches) for place, held in found.items()]
    return tuple(sorted(lacks, key=lambda one: -one.worth))


def _lack(
    place: "tuple[str, Season | int]",
    held: list[Held],
    crossings: Mapping[int, tuple[float, Break]],
    stretches: tuple[Stretch, ...],
) -> Lack:
    best: dict[str, Held] = {}
    for one in held:  # an animal counts once, however many of its needs the resource serves
        if one.group not in best or one.worth > best[one.group].worth:
            best[one.group] = one
    animals = tuple(sorted(best.values(), key=lambda one: -one.worth))
    resource, rest = place
    worth = sum(one.worth for one in animals)
    if isinstance(rest, int):
        return Lack("", "", animals, worth, crossings[rest][1], stretches[rest])
    return Lack(resource, rest, animals, worth)


@dataclass(frozen=True, slots=True, eq=False)
class _Short:
    """Linked homes won, with the figures in use and in each of D draws (with those there today)."""

    resource: str
    need: str
    months: tuple[int, ...]
    homes: float
    drawn: tuple[Array, Array] | None = None
    crossing: Break | None = None
    at: int = -1
    share: float | None = None

    def often(self, least: float, first: float) -> float | None:
        if self.drawn is None:
            return self.share
        now, won = self.drawn
        return float((worth_gained(now + won, now, first) >= math.log1p(least)).mean())


def _short(assessment: Assessment, key: str) -> Iterator[_Short]:
    answer = assessment.groups[key]
    drawn = answer.drawn
    room, homes = _columns(answer.room), _columns(answer.homes)
    eca = np.array([answer.measures.eca])
    ceiling = np.array([answer.ceiling])
    scarcest = answer.scarcest.to_numpy(dtype=object)[None, :]
    many = None
    if drawn is not None and drawn.ceiling is not None and len(drawn.linked):
        # Of the draws the scarcest need is the one that is enough for fewest of the homes.
        many = (drawn.room, drawn.homes, drawn.linked, drawn.ceiling, _scarcest_drawn(answer))
    one = (room, homes, eca, ceiling, scarcest)
    for need in answer.group.needs:
        yield _won(need.resource, need.key, need.months, one, many)
    shares = _anchor_shares(assessment, answer)
    for anchor, share in zip(answer.group.anchors, shares, strict=True):
        months = answer.group.active_months
        yield _won(anchor.resource, ANCHOR, months, one, many, share=share)


_Rows = tuple[Array, Array, Array, Array, NDArray[np.object_]]


def _won(
    resource: str,
    need: str,
    months: tuple[int, ...],
    one: _Rows,
    many: _Rows | None,
    *,
    share: float = 1.0,
) -> _Short:
    drawn = None if many is None else (many[2], _again(need, many, share))
    homes = float(_again(need, one, share)[0]) if drawn is None else float(drawn[1].mean())
    return _Short(resource, need, months, homes, drawn)


def _again(need: str, rows: _Rows, share: float) -> Array:
    """Linked homes won by as much again, shape (D,)."""
    room, homes, eca, ceiling, scarcest = rows
    all_room, held = room.sum(axis=1), homes.sum(axis=1)
    here = scarcest == need
    if need == ANCHOR:
        won = _more_room(all_room, ceiling, share)
        safe = np.where(all_room > 0, all_room, 1.0)
        # Where something else holds them back, more room is of no use.
        won *= np.where(all_room > 0, (room * here).sum(axis=1) / safe * held / safe, 1.0)
    else:
        lacking = (np.maximum(room - homes, 0.0) * here).sum(axis=1)
        won = np.minimum(lacking, np.maximum((homes * here).sum(axis=1), 1.0))
    linked = np.where(held > 0, eca / np.where(held > 0, held, 1.0), 1.0)
    return np.asarray(won * linked)


def _more_room(room: Array, ceiling: Array, share: float) -> Array:
    """Room won where there is as much again to live in, at least for one home."""
    open_ended = ~np.isfinite(ceiling)
    most = np.where(open_ended | (ceiling <= 0), 1.0, ceiling)
    full = np.minimum(room / most, 1.0 - 1e-9)
    expected = np.where(open_ended, room, -most * np.log1p(-full))
    more = np.maximum(share * expected, 1.0)
    levelled = most * -np.expm1(-(expected + more) / most)
    return np.asarray(np.where(open_ended, more, np.maximum(levelled - room, 0.0)))


def _anchor_shares(assessment: Assessment, answer: GroupAnswer) -> list[float]:
    """Part of the places that each of an animal's anchors makes."""
    months = answer.group.active_months
    made = [
        float(
            resource_months(assessment.supply, assessment.knowledge, anchor.resource, months)
            .mean(axis=1)
            .sum()
            / anchor.per_home.value
        )
        for anchor in answer.group.anchors
    ]
    whole = sum(made)
    return [one / whole if whole > 0 else 1.0 for one in made]


def _scarcest_drawn(answer: GroupAnswer) -> NDArray[np.object_]:
    """Key of the need that is scarcest at each plot, shape (D, n); ``anchor`` where none is."""
    drawn = answer.drawn
    assert drawn is not None  # noqa: S101 - who calls has looked
    keys = np.array([*(need.key for need in answer.group.needs), ANCHOR], dtype=object)
    ratios = np.ones((len(keys), *drawn.room.shape))
    for at, need in enumerate(answer.group.needs):
        within = np.asarray(answer.reach.within(need.reach.value) @ drawn.room.T).T
        ratios[at] = drawn.enough[:, at] / np.where(within > 0, within, np.inf)
        ratios[at][within <= 0] = np.inf
    return np.asarray(keys[ratios.argmin(axis=0)])


def _breaks(assessment: Assessment, key: str, stretches: tuple[Stretch, ...]) -> Iterator[_Short]:
    """The break of an animal that wins most."""
    answer = assessment.groups[key]
    found: list[tuple[float, Break, float | None]]
    if answer.drawn is not None:
        drawn = answer.drawn.breaks
        found = [(one.won.mean, one.gap, min(one.often, one.shunned)) for one in drawn]
    else:
        found = [(one.homes_won, one, None) for one in answer.breaks]
    if not found:
        return
    homes, gap, share = max(found, key=lambda one: one[0])
    plots = assessment.neighbourhood.plots
    middle = gap.line.interpolate(0.5, normalized=True)
    row = int(np.argmin(plots.geometry.distance(middle).to_numpy()))
    at = stretches.index(nearest_stretch(stretches, row))
    yield _Short("", "", (), homes, None, gap, at, share)


def _columns(values: "object") -> Array:
    return np.asarray(values, dtype=float)[None, :]
