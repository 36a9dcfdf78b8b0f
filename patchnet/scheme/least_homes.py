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

__all__ = ["RoomBounds", "least_taken", "with_all"]

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


def least_taken(field: GroupField, vital: Sequence[NeedField], bounds: RoomBounds) -> Array:
    """Shape (n,): homes take at least so much of what they need, whatever is built."""
    room = bounds.most
    helped = np.ones(len(room))
    for need in field.needs:
        if need.demand.floor > 0:
            met = _lowest(room, [with_all(field, need).larder(0)], [need.demand.larder(0)])
            helped *= need.demand.floor + (1 - need.demand.floor) * met
    level = _lowest(
        room, [with_all(field, need).larder(0) for need in vital],
        [need.demand.larder(0) for need in vital],
    )  # fmt: skip
    return bounds.least * helped * level


def with_all(field: GroupField, need: NeedField) -> Demand:
    """The need with the most that every site can give of it."""
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
