"""What so many planters could bring at most, for one group: the parts of the certificate.

See `scheme_bound` for how they are put together.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array

from patchnet.advice.scheme_bound_kernels import able_sites, further, over_sites
from patchnet.advice.scheme_field import GroupField, Offer, columns
from patchnet.advice.scheme_kernels import take_in
from patchnet.advice.scheme_state import GroupState
from patchnet.advice.sharing import combine_months

__all__ = ["GroupCeiling", "ceiling_of"]

Array = NDArray[np.float64]
_SIGNATURES = 300  # sets of sites told apart; to pairs beyond these any site may help


@dataclass(frozen=True, eq=False)
class GroupCeiling:
    """What everything built would come to for one group, and who could bring it about.

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
        Shape (r, len(counts)): what those pairs can win with at most so many sites.
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
    parts = [
        _single(field, site, recipe, everything, most)
        for site in range(len(field.offers))
        for recipe in range(len(field.offers[site]))
    ]
    rows = np.concatenate([np.full(len(cols), at) for at, (cols, _) in enumerate(parts)])
    cols = np.concatenate([cols for cols, _ in parts])
    data = np.concatenate([values for _, values in parts])
    return most, csr_array((data, (rows, cols)), shape=(len(parts), len(room)))


def _single(
    field: GroupField, site: int, recipe: int, everything: Sequence[Array], most: Array
) -> tuple[NDArray[np.intp], Array]:
    """Places whose homes a planter can raise, and by how much at most, whatever else is built."""
    place, offer = field.plots + site, field.offers[site][recipe]
    touched = [
        columns(need.reached, place)
        for need, share in zip(field.needs, offer.shares, strict=True)
        if share is not None
    ]
    if offer.room:
        touched.append(columns(field.anchor_columns, place))
    if not touched:
        return np.empty(0, dtype=np.intp), np.empty(0)
    rows = np.unique(np.concatenate(touched))
    raised = np.minimum(
        _raised(field, place, offer, rows, everything), np.maximum(most - field.homes, 0.0)[rows]
    )
    if offer.room:
        raised[rows == place] = most[place]
    keep = raised > 0
    return rows[keep], raised[keep]


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


def _raised(
    field: GroupField, place: int, offer: Offer, rows: NDArray[np.intp], everything: Sequence[Array]
) -> Array:
    """Most by which one offer raises homes at some places: see the notes in the body."""
    room = field.room[rows]
    every = np.arange(len(rows))
    met0, met1, top = [], [], []
    for need, got, most, share in zip(
        field.needs, [need.access for need in field.needs], everything, offer.shares, strict=True
    ):
        amount, worst = need.demand.amount, need.demand.worst
        today = np.minimum(1.0, got[rows] / amount)
        more = today
        if share is not None:
            here = np.isin(rows, columns(need.reached, place))[:, None]
            more = np.minimum(1.0, (got[rows] + here * share) / amount)
        if worst:
            # The month that is worst today: the worst month later is met no better than it.
            month = today.argmin(axis=1)
            met0.append(today[every, month])
            met1.append(more[every, month])
        else:
            met0.append(today.mean(axis=1))
            met1.append(more.mean(axis=1))
        top.append(combine_months(np.minimum(1.0, most[rows] / amount), worst=worst))
    vital0, vital_rise = np.ones(len(rows)), np.zeros(len(rows))
    helped_top, helpful_rise = np.ones(len(rows)), np.zeros(len(rows))
    vital = [at for at, need in enumerate(field.needs) if need.demand.floor == 0]
    if vital:
        stack0 = np.array([met0[at] for at in vital])
        # The vital need that is scarcest today: quality later rests on it at most.
        scarce = stack0.argmin(axis=0)
        vital0 = stack0[scarce, every]
        vital_rise = np.array([met1[k] for k in vital])[scarce, every] - vital0
    worths = []
    for at, need in enumerate(field.needs):
        floor = need.demand.floor
        if floor > 0:
            worth_top = floor + (1 - floor) * top[at]
            worths.append((worth_top, (1 - floor) * (met1[at] - met0[at])))
            helped_top = helped_top * worth_top
    for at, (_, rise) in enumerate(worths):
        others = np.ones(len(rows))
        for other, (worth_top, _) in enumerate(worths):
            if other != at:
                others = others * worth_top
        helpful_rise += rise * others
    # f = V H: f(S) - f(0) = (V(S) - V(0)) H(S) + V(0) (H(S) - H(0)).
    by_needs = vital_rise * helped_top + vital0 * helpful_rise
    limit = np.minimum(1.0, field.within[rows])
    here = np.isin(rows, columns(field.anchor_columns, place))
    by_limit = np.minimum(1.0, field.within[rows] + here * offer.room) - limit
    today = _quality_by_needs(field, rows)
    # The smaller of the two caps today; later neither can pass it by more than its own rise.
    return room * np.where(today <= limit, by_needs, by_limit)


def _quality_by_needs(field: GroupField, rows: NDArray[np.intp]) -> Array:
    access = [need.access[rows] for need in field.needs]
    return field.quality(access, np.ones(len(rows)))


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
    """Who could better the routes between patches, and by how much with so many sites."""
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
    """Rise of the best chance of each pair over routes with at most so many sites."""
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
