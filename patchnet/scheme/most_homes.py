"""The most homes that planters could bring to places that share with nobody."""

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from patchnet.assess.sharing import combine_months
from patchnet.scheme.field import GroupField, Offer, columns
from patchnet.scheme.least_homes import RoomBounds, most_within

__all__ = ["most_homes", "unshared"]

Array = NDArray[np.float64]


def unshared(field: GroupField) -> GroupField:
    """The same group if every home had all within its reach to itself.

    Parameters
    ----------
    field
        The group's.
    """
    needs = tuple(
        replace(need, access=np.asarray(need.reach @ need.demand.supply[:, :, 0]))
        for need in field.needs
    )
    offers = tuple(
        tuple(
            replace(
                offer,
                shares=tuple(
                    need.given[site, recipe] if (need.given[site, recipe] > 0).any() else None
                    for need in field.needs
                ),
            )
            for recipe, offer in enumerate(row)
        )
        for site, row in enumerate(field.offers)
    )
    return replace(field, needs=needs, offers=offers)


def most_homes(field: GroupField, planters: int) -> tuple[Array, csr_array]:
    """Homes with the planters that bring each place most, and the most that one planter adds.

    Parameters
    ----------
    field
        The group's, unshared.
    planters
        How many there are at most.

    Returns
    -------
    tuple
        Shape (n,); shape (sites x recipes, n): homes.
    """
    everything = [most_within(field, need, planters) for need in field.needs]
    within, bounds = field.within.copy(), RoomBounds.of(field, planters)
    for site, offers in enumerate(field.offers):
        place = field.plots + site
        grown = max((float(offer.places[0]) for offer in offers), default=0.0)
        if grown:
            within[columns(field.anchor_columns, place)] += grown
    best = field.quality(everything, within)
    most = bounds.most * best
    today = _Today.of(field, everything)
    more_used = bounds.rise * field.thin * best
    room_left = np.maximum(most - field.homes, 0.0)
    fixed = field.layout(0.0)
    parts = []
    for site, offers in enumerate(field.offers):
        span = slice(fixed.start[site], fixed.start[site + 1])
        near, bits = fixed.rows[span], fixed.bits[span]
        for offer in offers:
            raised = _raised(field, today, offer, near, bits, more_used)
            raised = np.minimum(raised, room_left[near])
            if offer.places[0] > 0:
                raised[near == field.plots + site] = most[field.plots + site]
            keep = raised > 0
            parts.append((near[keep], raised[keep]))
    rows = np.concatenate([np.full(len(cols), at) for at, (cols, _) in enumerate(parts)])
    cols = np.concatenate([cols for cols, _ in parts])
    data = np.concatenate([values for _, values in parts])
    return most, csr_array((data, (rows, cols)), shape=(len(parts), len(field.places)))


class _Today(NamedTuple):
    """How the needs of a group stand today, and with everything built, at n places.

    Attributes
    ----------
    month
        Per need, shape (n,): the month that is met worst.
    met
        Per need, shape (n,): share met in that month, or the mean of the months.
    worth_top
        Per need, shape (n,): worth of a helpful need with everything built; 1 of a vital one.
    vital, scarce
        Shape (n,): share met of the vital need that is scarcest (1 where none is), and which.
    limited
        Shape (n,): the anchor within reach limits homes, not the needs.
    """

    month: list[NDArray[np.intp]]
    met: list[Array]
    worth_top: list[Array]
    vital: Array
    scarce: NDArray[np.intp]
    limited: NDArray[np.bool_]

    @classmethod
    def of(cls, field: GroupField, everything: Sequence[Array]) -> "_Today":
        """Work it out."""
        count = len(field.room)
        month, met, worth_top = [], [], []
        vital, scarce = np.ones(count), np.full(count, -1)
        for at, (need, most) in enumerate(zip(field.needs, everything, strict=True)):
            amount, worst, floor = need.demand.amount, need.demand.worst, need.demand.floor
            today = np.minimum(1.0, need.access / amount)
            month.append(today.argmin(axis=1))
            met.append(combine_months(today, worst=worst))
            top = combine_months(np.minimum(1.0, most / amount), worst=worst)
            worth_top.append(floor + (1 - floor) * top if floor > 0 else np.ones(count))
            if floor == 0:
                scarce = np.where(met[at] < vital, at, scarce)
                vital = np.minimum(vital, met[at])
        access = [need.access for need in field.needs]
        by_needs = field.quality(access, np.ones(count))
        return cls(month, met, worth_top, vital, scarce, by_needs > np.minimum(1.0, field.within))


def _raised(
    field: GroupField,
    today: _Today,
    offer: Offer,
    rows: NDArray[np.int32],
    bits: NDArray[np.int32],
    more_used: Array,
) -> Array:
    """Most by which one offer raises homes at some places, whatever else is built.

    f = V H, the scarcest vital need times the helpful ones:
    f(S) - f(0) = (V(S) - V(0)) H(S) + V(0) (H(S) - H(0)).
    Homes are N f; N(S) f(S) - N(0) f(0) = (N(S) - N(0)) f(S) + N(0) (f(S) - f(0)), and N rises by
    no more than `more_used` / f(S) for one more of V, shape (n,): homes thin each other out.

    - V(S) is at most the share met of the need that is scarcest today, in the month that is worst
      today; that share, capped at 1, rises by no more than the sum of what each planter alone
      raises it by. Likewise a mean of months.
    - H(S) is at most what everything built makes it. Its rise is one need after the other's, the
      others taken as with everything built.
    """
    helped_top = np.ones(len(rows))
    for worth in today.worth_top:
        helped_top = helped_top * worth[rows]
    by_needs, by_use = np.zeros(len(rows)), np.zeros(len(rows))
    for at, (need, share) in enumerate(zip(field.needs, offer.shares, strict=True)):
        if share is None:
            continue
        here = (bits >> at & 1)[:, None]
        amount, floor = need.demand.amount, need.demand.floor
        more = np.minimum(1.0, (need.access[rows] + here * share) / amount)
        if need.demand.worst:
            later = more[np.arange(len(rows)), today.month[at][rows]]
        else:
            later = combine_months(more, worst=False)
        rise = later - today.met[at][rows]
        if floor == 0:
            by_needs += np.where(today.scarce[rows] == at, rise * helped_top, 0.0)
            by_use += np.where(today.scarce[rows] == at, rise * more_used[rows], 0.0)
        else:
            others = np.ones(len(rows))
            for other, worth in enumerate(today.worth_top):
                if other != at:
                    others = others * worth[rows]
            by_needs += today.vital[rows] * (1 - floor) * rise * others
    # The smaller of the two caps today; later neither can pass it by more than its own rise.
    within = field.within[rows]
    here = bits >> len(field.needs) & 1
    by_limit = np.minimum(1.0, within + here * offer.places[0]) - np.minimum(1.0, within)
    raised: Array = field.room[rows] * np.where(today.limited[rows], by_limit, by_needs) + by_use
    return raised
