"""Between what homes lie, whatever planters are there: least and most of room, and least homes."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.filling import Larder, fill
from patchnet.assess.lodging import in_use
from patchnet.assess.sharing import combine_months
from patchnet.scheme.field import GroupField, NeedField, columns

__all__ = ["RoomBounds", "Together", "best_levels", "least_taken", "most_within", "never_short"]

Array = NDArray[np.float64]


class RoomBounds(NamedTuple):
    """Between what room for homes lies, shape (n,), whatever few planters are built.

    Attributes
    ----------
    least, most
        Homes.
    expected
        Homes expected with the planters that would bring each place most.
    rise
        Most homes more that are expected for one more of `met` (see `patchnet.assess.lodging`).
    ceilings
        Per need, shape (n,), 0-1: the share of it that a home gets at most that shares with nobody.
    """

    least: Array
    most: Array
    expected: Array
    rise: Array
    ceilings: tuple[Array, ...]

    @classmethod
    def of(cls, field: GroupField, planters: int) -> "RoomBounds":
        """Work it out: the best recipe at every site, and the most of every need there can be."""
        now, places = field.standing, field.places.copy()
        for site, offers in enumerate(field.offers):
            own = np.array([offer.places for offer in offers])
            places[field.plots + site] += own.max(axis=0)
        ceilings = tuple(
            combine_months(
                np.minimum(1.0, most_within(field, need, planters) / need.demand.amount),
                worst=need.demand.worst,
            )
            for need in field.needs
        )
        vital = _vital(field, ceilings)
        later = np.min(vital, axis=0)[:, None] if vital else None
        expected = in_use(places[:, :, None], later)[:, 0]
        share = field.thin
        if field.pool is not None:
            level = field.pool.level(field.pool.spread(expected[:, None]))
            share = field.pool.share(level)[:, 0]
        rise = np.zeros(len(places))
        if now.met is not None and later is not None:
            top = later[:, 0]
            # The line between two rates is straight: steepest to the end or to the middle.
            for to in (top, np.minimum(top, 0.5)):
                more = in_use(field.places[:, :, None], to[:, None])[:, 0] - now.expected
                way = to - now.met
                rise = np.maximum(rise, np.where(way > 0, more / np.where(way > 0, way, 1.0), 0.0))
        return cls(now.expected * share, expected * field.thin, expected, rise, ceilings)


def _vital(field: GroupField, ceilings: Sequence[Array]) -> list[Array]:
    """Those of the vital needs."""
    return [
        ceiling
        for need, ceiling in zip(field.needs, ceilings, strict=True)
        if need.demand.floor == 0
    ]


class Together(NamedTuple):
    """What some homes can take of a need together at most: positions, and homes."""

    members: NDArray[np.intp]
    most: float


def least_taken(
    field: GroupField,
    vital: Sequence[NeedField],
    bounds: RoomBounds,
    limits: Sequence[Together] = (),
) -> Array:
    """Homes take at least so much of what they need, whatever is built.

    Helpful things are shared twice (see `patchnet.assess.sharing`), each time by what lives on the
    vital ones: no place can take more than is left of what a set takes together when all others
    of the set take their least.

    Parameters
    ----------
    field
        The group's.
    vital
        Its vital needs.
    bounds
        Room, whatever is built.
    limits
        What sets can take together of vital needs, whatever is built.

    Returns
    -------
    array
        Shape (n,), homes.
    """
    level = _lowest(
        bounds.most, _vital(field, bounds.ceilings), [need.demand.larder(0) for need in vital]
    )
    least, helped = bounds.least * level, np.ones(len(level))
    for _ in range(2):
        takers = bounds.most.copy()
        for members, most in limits:
            left = max(most - float(least[members].sum()), 0.0)
            takers[members] = np.minimum(takers[members], least[members] + left)
        worth = np.ones(len(level))
        for need, ceiling in zip(field.needs, bounds.ceilings, strict=True):
            if need.demand.floor > 0:
                met = _lowest(takers, [ceiling], [need.demand.larder(0)])
                worth *= need.demand.floor + (1 - need.demand.floor) * met
        helped = np.minimum(helped, worth)
        least = bounds.least * level * helped
    return least


def never_short(field: GroupField, vital: Sequence[NeedField], bounds: RoomBounds) -> bool:
    """Whether nobody ever has to share a vital need so that it is short, whatever is built.

    Parameters
    ----------
    field
        The group's.
    vital
        Its vital needs.
    bounds
        Room, whatever is built.
    """
    highest = best_levels(field, bounds)
    return not fill(bounds.most, highest, [need.demand.larder(0) for need in vital]).stops


def best_levels(field: GroupField, bounds: RoomBounds) -> Array:
    """Levels that homes reach at most by their vital needs.

    Parameters
    ----------
    field
        The group's.
    bounds
        Room and ceilings, whatever is built.

    Returns
    -------
    array
        Shape (n,), 0-1.
    """
    levels = [np.ones(len(bounds.most)), *_vital(field, bounds.ceilings)]
    highest: Array = np.min(levels, axis=0)
    return highest


def most_within(field: GroupField, need: NeedField, planters: int) -> Array:
    """What lies within reach of each place at most with so many planters, wherever they are.

    For each place and month it is that of today and of the planters that give it most.

    Parameters
    ----------
    field
        The group's.
    need
        One of its needs.
    planters
        How many there are at most.

    Returns
    -------
    array
        Shape (n, M), in the unit of the need.
    """
    within: Array = need.demand.larder(0).within * need.demand.amount
    if not need.given.size:
        return within
    given = need.given.max(axis=1)
    most = np.zeros((min(planters, len(given)), *within.shape))
    for site in np.flatnonzero(given.any(axis=1)).tolist():
        rows = columns(need.reached, field.plots + site)
        more = np.broadcast_to(given[site], (len(rows), given.shape[1]))
        for kept in most:
            kept[rows], more = np.maximum(kept[rows], more), np.minimum(kept[rows], more)
    return np.asarray(within + most.sum(axis=0))


def _lowest(room: Array, ceilings: Sequence[Array], today: Sequence[Larder]) -> Array:
    """Shape (n,): no home stands lower, with no more takers than `room` and no less supply.

    Ceilings may lie anywhere between those of today and `ceilings`, one a larder.
    """
    lowest, highest = np.ones(len(room)), np.ones(len(room))
    for now, later in zip(today, ceilings, strict=True):
        lowest = np.minimum(lowest, now.ceiling)
        highest = np.minimum(highest, later)
    out = fill(room, highest, today)
    if sum(len(larder.shelves) for larder in today) == 1:
        return np.minimum(out.level, lowest)
    first = min((stop.level for stop in out.stops), default=1.0)
    return np.minimum(first, lowest)
