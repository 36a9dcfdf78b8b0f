"""The most that some planters could bring for one group: the parts of the certificate.

See `scheme_bound` for how they are put together.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array

from patchnet.assess.sharing import combine_months
from patchnet.scheme.bound_kernels import able_sites, further, over_sites
from patchnet.scheme.field import GroupField, Offer, columns
from patchnet.scheme.kernels import take_in
from patchnet.scheme.state import GroupState

__all__ = ["GroupCeiling", "ceiling_of"]

Array = NDArray[np.float64]
_SIGNATURES = 300  # sets of sites told apart; to pairs beyond these any site may help


@dataclass(frozen=True, eq=False)
class GroupCeiling:
    """What one group would have with everything built, and which sites could bring it.

    Attributes
    ----------
    base
        homes @ chances @ homes today.
    full
        The same with every site built, each with all recipes at once: more than can be.
    homes
        Shape (sites x recipes, n): most that a recipe at a site can add to the homes of a place.
    gained
        Shape (n,): homes with everything built, less those of today.
    weight
        Shape (n,): what one home more at a place can add to the sum, at most.
    able
        Shape (r, sites x recipes): what makes a stop on a better route, for pairs of patches
        told apart by it.
    won
        Shape (r, len(counts)): what those pairs can win with at most this many sites.
    counts
        Numbers of sites, rising.
    """

    base: float
    full: float
    homes: csr_array
    gained: Array
    weight: Array
    able: csr_array
    won: Array
    counts: tuple[int, ...]


def ceiling_of(
    field: GroupField, least: float, planters: int, conflicts: NDArray[np.bool_]
) -> GroupCeiling:
    """Work out the ceiling of one group.

    Parameters
    ----------
    least
        Chance below which a route counts as none.
    planters
        Most planters that will be asked about.
    conflicts
        Shape (sites, sites): sites that cannot both be used, so that no route goes over both.
    """
    chances, used = _all_stops(field, least)
    most, single = _most_homes(field)
    now = field.homes
    gained = np.maximum(most - now, 0.0)
    weight = 2 * (chances @ now) + chances @ gained
    counts = _counts(planters)
    able, won = _pairs(field, chances, used, counts, least, conflicts)
    return GroupCeiling(
        base=float(now @ field.chances @ now),
        full=float(most @ chances @ most),
        homes=single,
        gained=gained,
        weight=weight,
        able=_by_recipe(field, able),
        won=won,
        counts=counts,
    )


def _all_stops(field: GroupField, least: float) -> tuple[Array, NDArray[np.bool_]]:
    """Best routes with every site that any recipe makes a stop; and which sites those are."""
    used = np.array([any(offer.stop for offer in offers) for offers in field.offers], dtype=bool)
    state = GroupState(field, least)
    for site in np.flatnonzero(used).tolist():
        take_in(state.fixed, state.now, site)
    return state.now.chances, used


def _most_homes(field: GroupField) -> tuple[Array, csr_array]:
    """Homes with everything built, shape (n,), and most that one site adds, (sites, n)."""
    everything = [need.access.copy() for need in field.needs]
    within, room = field.within.copy(), field.room.copy()
    for site, offers in enumerate(field.offers):
        place = field.plots + site
        for at, need in enumerate(field.needs):
            given = [offer.shares[at] for offer in offers if offer.shares[at] is not None]
            if given:
                rows = columns(need.reached, place)
                everything[at][rows] += np.max(np.array(given), axis=0)
        grown = max((offer.room for offer in offers), default=0.0)
        if grown:
            within[columns(field.anchor_columns, place)] += grown
            room[place] += grown
    most = room * field.quality(everything, within)
    today = _Today.of(field, everything)
    room_left = np.maximum(most - field.homes, 0.0)
    fixed = field.layout(0.0)
    parts = []
    for site, offers in enumerate(field.offers):
        span = slice(fixed.start[site], fixed.start[site + 1])
        near, bits = fixed.rows[span], fixed.bits[span]
        for offer in offers:
            raised = np.minimum(_raised(field, today, offer, near, bits), room_left[near])
            if offer.room:
                raised[near == field.plots + site] = most[field.plots + site]
            keep = raised > 0
            parts.append((near[keep], raised[keep]))
    rows = np.concatenate([np.full(len(cols), at) for at, (cols, _) in enumerate(parts)])
    cols = np.concatenate([cols for cols, _ in parts])
    data = np.concatenate([values for _, values in parts])
    return most, csr_array((data, (rows, cols)), shape=(len(parts), len(room)))


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
    field: GroupField, today: _Today, offer: Offer, rows: NDArray[np.int32], bits: NDArray[np.int32]
) -> Array:
    """Most by which one offer raises homes at some places, whatever else is built.

    f = V H, the scarcest vital need times the helpful ones:
    f(S) - f(0) = (V(S) - V(0)) H(S) + V(0) (H(S) - H(0)).

    - V(S) is at most the share met of the need that is scarcest today, in the month that is worst
      today; that share, capped at 1, rises by no more than the sum of what each planter alone
      raises it by. Likewise a mean of months.
    - H(S) is at most what everything built makes it. Its rise is one need after the other's, the
      others taken as with everything built.
    """
    helped_top = np.ones(len(rows))
    for worth in today.worth_top:
        helped_top = helped_top * worth[rows]
    by_needs = np.zeros(len(rows))
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
        else:
            others = np.ones(len(rows))
            for other, worth in enumerate(today.worth_top):
                if other != at:
                    others = others * worth[rows]
            by_needs += today.vital[rows] * (1 - floor) * rise * others
    # The smaller of the two caps today; later neither can pass it by more than its own rise.
    within = field.within[rows]
    here = bits >> len(field.needs) & 1
    by_limit = np.minimum(1.0, within + here * offer.room) - np.minimum(1.0, within)
    raised: Array = field.room[rows] * np.where(today.limited[rows], by_limit, by_needs)
    return raised


def _by_recipe(field: GroupField, able: csr_array) -> csr_array:
    """Columns of sites to columns of sites x recipes: only recipes that make a stop count."""
    stops = np.array([[offer.stop for offer in offers] for offers in field.offers])
    sites, recipes = stops.shape
    spread = coo_array(
        (
            stops.ravel().astype(float),
            (np.repeat(np.arange(sites), recipes), np.arange(stops.size)),
        ),
        shape=(sites, stops.size),
    ).tocsr()
    return csr_array(able @ spread)


def _counts(planters: int) -> tuple[int, ...]:
    """1, 2, 3, 5, 8 ... up to the number of planters: where the routes are worked out."""
    counts, following = [1], 2
    while counts[-1] < planters:
        counts.append(min(following, planters))
        following = counts[-1] + counts[-2]
    return tuple(counts)


def _pairs(
    field: GroupField,
    chances: Array,
    used: NDArray[np.bool_],
    counts: tuple[int, ...],
    least: float,
    conflicts: NDArray[np.bool_],
) -> tuple[csr_array, Array]:
    """Which sites could improve the routes between patches, and by how much."""
    homes = field.homes
    holders = np.flatnonzero((homes > 0) & field.patch)
    sites = np.flatnonzero(used)
    if len(holders) < 2 or len(sites) == 0:
        return csr_array((0, len(used))), np.zeros((0, len(counts)))
    before = np.ascontiguousarray(field.chances[np.ix_(holders, holders)])
    to_sites = np.ascontiguousarray(chances[np.ix_(holders, field.plots + sites)])
    marks = np.random.default_rng(0).integers(1, 2**62, size=len(sites), dtype=np.int64)
    after = np.ascontiguousarray(chances[np.ix_(holders, holders)])
    first, second, mark = able_sites(before, after, to_sites, marks)
    if not len(first):
        return csr_array((0, len(used))), np.zeros((0, len(counts)))
    mass = 2 * homes[holders[first]] * homes[holders[second]]
    together = ~conflicts[np.ix_(sites, sites)]
    rises = _rises(field, holders, sites, (first, second), counts, least, together)
    keys, group = np.unique(mark, return_inverse=True)
    won = np.stack([np.bincount(group, weights=mass * rise) for rise in rises], axis=1)
    sample = np.zeros(len(keys), dtype=np.intp)
    sample[group] = np.arange(len(first))
    order = np.argsort(-won[:, -1], kind="stable")
    kept, rest = order[:_SIGNATURES], order[_SIGNATURES:]
    able = np.zeros((len(kept) + 1, len(used)), dtype=bool)
    for row, key in enumerate(kept.tolist()):
        i, j = first[sample[key]], second[sample[key]]
        able[row, sites] = to_sites[i] * to_sites[j] > before[i, j]
    # Pairs that are not told apart: any site will do.
    able[-1, sites] = True
    return csr_array(able.astype(float)), np.vstack([won[kept], won[rest].sum(axis=0)])


def _rises(
    field: GroupField,
    holders: NDArray[np.intp],
    sites: NDArray[np.intp],
    pairs: tuple[NDArray[np.int64], NDArray[np.int64]],
    counts: tuple[int, ...],
    least: float,
    together: NDArray[np.bool_],
) -> list[Array]:
    """Rise of the best chance of each pair over routes with at most this many sites."""
    # Over patches of today alone; sites that cannot both be used are never on one route.
    alone = np.ascontiguousarray(field.chances[np.ix_(holders, field.plots + sites)])
    between = field.chances[np.ix_(field.plots + sites, field.plots + sites)] * together
    before = np.ascontiguousarray(field.chances[np.ix_(holders, holders)])
    rises: list[Array] = []
    so_far, moving = alone.copy(), True
    done = 1
    for count in counts:
        while done < count and moving:
            grown = np.empty_like(so_far)
            moving = bool(further(so_far, between, grown))
            so_far, done = grown, done + 1
        rise = np.empty(len(pairs[0]))
        over_sites(before, so_far, alone, *pairs, least, rise)
        rises.append(rise)
    return rises
