"""Between what homes lie, whatever planters are there: least and most of room, and least homes."""

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.filling import Larder, fill
from patchnet.assess.lodging import in_use, met_alone
from patchnet.assess.sharing import Demand
from patchnet.scheme.field import GroupField, NeedField

__all__ = ["RoomBounds", "Together", "best_levels", "least_taken", "never_short", "with_all"]

Array = NDArray[np.float64]


class RoomBounds(NamedTuple):
    """Between what room for homes lies, shape (n,), whatever is built.

    Attributes
    ----------
    least, most
        Homes.
    expected
        Homes expected with everything built.
    rise
        Most homes more that are expected for one more of `met` (see `patchnet.assess.lodging`).
    """

    least: Array
    most: Array
    expected: Array
    rise: Array

    @classmethod
    def of(cls, field: GroupField) -> "RoomBounds":
        """Work it out: the best recipe at every site, and all of every need that can be there."""
        now, places = field.standing, field.places.copy()
        for site, offers in enumerate(field.offers):
            own = np.array([offer.places for offer in offers])
            places[field.plots + site] += own.max(axis=0)
        later = met_alone([with_all(field, need) for need in field.needs])
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
        return cls(now.expected * share, expected * field.thin, expected, rise)


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
        bounds.most, [with_all(field, need).larder(0) for need in vital],
        [need.demand.larder(0) for need in vital],
    )  # fmt: skip
    least, helped = bounds.least * level, np.ones(len(level))
    for _ in range(2):
        takers = bounds.most.copy()
        for members, most in limits:
            left = max(most - float(least[members].sum()), 0.0)
            takers[members] = np.minimum(takers[members], least[members] + left)
        worth = np.ones(len(level))
        for need in field.needs:
            if need.demand.floor > 0:
                met = _lowest(takers, [with_all(field, need).larder(0)], [need.demand.larder(0)])
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
    highest = best_levels(field, vital, len(bounds.most))
    return not fill(bounds.most, highest, [need.demand.larder(0) for need in vital]).stops


def best_levels(field: GroupField, vital: Sequence[NeedField], places: int) -> Array:
    """Levels that homes reach at most by their vital needs, with everything built.

    Parameters
    ----------
    field
        The group's.
    vital
        Its vital needs.
    places
        How many places there are.

    Returns
    -------
    array
        Shape (places,), 0-1.
    """
    highest = np.ones(places)
    for need in vital:
        highest = np.minimum(highest, with_all(field, need).larder(0).ceiling)
    return highest


def with_all(field: GroupField, need: NeedField) -> Demand:
    """The need with the most that every site can give of it.

    Parameters
    ----------
    field
        The group's.
    need
        One of its needs.
    """
    supply = need.demand.supply[:, :, :1].copy()
    if need.given.size:
        supply[field.plots :, :, 0] += need.given.max(axis=1)
    demand: Demand = replace(need.demand, supply=supply, net=need.demand.blocks)
    return demand


def _lowest(room: Array, built: Sequence[Larder], today: Sequence[Larder]) -> Array:
    """Shape (n,): no home stands lower, with no more takers than `room` and no less supply.

    Ceilings may lie anywhere between those of today and those with everything built.
    """
    lowest, highest = np.ones(len(room)), np.ones(len(room))
    for now, later in zip(today, built, strict=True):
        lowest = np.minimum(lowest, now.ceiling)
        highest = np.minimum(highest, later.ceiling)
    out = fill(room, highest, today)
    if sum(len(larder.shelves) for larder in today) == 1:
        return np.minimum(out.level, lowest)
    first = min((stop.level for stop in out.stops), default=1.0)
    return np.minimum(first, lowest)
