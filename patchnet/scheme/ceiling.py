"""The most that some planters could bring for one group: the parts of the certificate.

See `patchnet.scheme.bound` for how they are put together. Homes are those of filling alike, which
no formula gives; what is used of it is this, whatever planters S are there:

- A home gets no more than it would by itself, with all that lies within its reach unshared. That
  rises by no more than the sum of what each planter alone adds to it.
- What the homes of a set take together is there: for a set X that stopped today, having taken all
  C of some need in some months within its reach, sum over X of what they take <= C + what S adds
  within reach of X. (Nothing is ever overdrawn.)
- More homes are expected where vital needs are met better, and in planters; so each piece of
  ground holds a smaller part of them than today, down to that with everything built
  (see `patchnet.assess.lodging`).
- All homes rise together at first, so that none stands lower than the first stop, or its own
  ceiling: with no more supply than today and as many homes as could be, that is a floor under what
  others take, and so a lid on what can be left for some. Where only one month of one need can be
  short, more supply and fewer takers lower nobody, so that the whole filling is such a floor.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array

from patchnet.assess.filling import Larder, fill
from patchnet.assess.lodging import in_use, met_alone
from patchnet.assess.sharing import Demand, combine_months
from patchnet.scheme.bound_kernels import able_sites, further, over_sites
from patchnet.scheme.field import GroupField, NeedField, Offer, columns
from patchnet.scheme.filled import share_with
from patchnet.scheme.kernels import take_in
from patchnet.scheme.state import GroupState

__all__ = ["GroupCeiling", "SharedSets", "ceiling_of"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
_SIGNATURES = 300  # sets of sites told apart; to pairs beyond these any site may help
_LEAST = 1e-9  # homes: no less is lacking
_LEAST_WEIGHT = 1e-3  # homes squared for one home: a larger weight is always a bound too


class SharedSets(NamedTuple):
    """Sets of homes that today take all of something together.

    Attributes
    ----------
    of
        Shape (n,): the set that stopped the homes of each place; -1: none.
    spare
        Shape (sets,): homes by which all of a set can rise together at most without a planter.
    fall
        Shape (n,): homes that may be taken from each place, and with them as much of that rise.
    added
        Shape (sets, sites x recipes): homes by which each planter raises that.
    core, heavy, brought
        Shape (sets,), see `_by_exchange`: homes by which all of a set rise, those that fall
        counted, without a planter; what one of them adds to the sum over pairs at most; and what
        exchanges within the set add to it at most.
    """

    of: NDArray[np.intp]
    spare: Array
    fall: Array
    added: csr_array
    core: Array
    heavy: Array
    brought: Array


@dataclass(frozen=True, eq=False)
class GroupCeiling:
    """What one group would have with everything built, and which sites could bring it.

    Attributes
    ----------
    base
        homes @ chances @ homes today.
    homes
        Shape (sites x recipes, n): most that a recipe at a site can add to the homes of a place
        that shares with nobody.
    slack
        Shape (n,): homes that sharing takes off a place today.
    gained
        Shape (n,): no place can win more homes, whatever is built.
    weight
        Shape (n,): what one home more at a place can add to the sum, at most.
    sets
        What shared supplies limit.
    able
        Shape (r, sites x recipes): what makes a stop on a better route, for pairs of patches
        told apart by it.
    won
        Shape (r, len(counts)): what those pairs can win with at most this many sites.
    counts
        Numbers of sites, rising.
    """

    base: float
    homes: csr_array
    slack: Array
    gained: Array
    weight: Array
    sets: SharedSets
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
    alone = _unshared(field)
    most, single = _most_homes(alone)
    now = field.today
    slack = np.where(alone.homes - now > _LEAST, alone.homes - now, 0.0)
    gained = np.maximum(most - now, 0.0)
    sets = _by_exchange(field, chances, gained, _shared_sets(field, planters), planters)
    together = _together(sets, gained, planters)
    weight = 2 * (chances @ now) + _most_around(chances, sets, gained, together)
    counts = _counts(planters)
    able, won = _pairs(field, chances, used, counts, least, conflicts)
    return GroupCeiling(
        base=float(now @ field.chances @ now),
        homes=single,
        slack=slack,
        gained=gained,
        weight=weight,
        sets=sets,
        able=_by_recipe(field, able),
        won=won,
        counts=counts,
    )


def _together(sets: SharedSets, gained: Array, planters: int) -> Array:
    """Shape (sets,): homes that each set can win at most with so many planters."""
    added = -np.sort(-sets.added.toarray(), axis=1)[:, :planters].sum(axis=1)
    held = sets.of >= 0
    apart = np.bincount(sets.of[held], weights=gained[held], minlength=len(sets.spare))
    most: Array = np.minimum(sets.spare + added, apart)
    return most


def _most_around(chances: Array, sets: SharedSets, gained: Array, together: Array) -> Array:
    """Shape (n,): most that chances @ (homes won) can be."""
    around = np.asarray(chances[:, sets.of < 0] @ gained[sets.of < 0], dtype=float)
    for number, most in enumerate(together.tolist()):
        mine = sets.of == number
        if mine.any():
            near = chances[:, mine]
            around = around + np.minimum(near @ gained[mine], near.max(axis=1) * most)
    return np.asarray(around)


def _unshared(field: GroupField) -> GroupField:
    """The same group if every home had all within its reach to itself."""
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


def _shared_sets(field: GroupField, planters: int) -> SharedSets:
    """Sets that stopped today, and what can become of each."""
    n, picks = len(field.room), len(field.offers) * (len(field.offers[0]) if field.offers else 0)
    none = np.zeros(0)
    nothing = SharedSets(
        np.full(n, -1, dtype=np.intp), none, np.zeros(n), csr_array((0, picks)), none, none, none
    )
    _, shares = share_with(field, ())
    vital = [need for need in field.needs if need.demand.floor == 0]
    if shares.vital is None or not shares.vital[0].stops or not planters:
        return nothing
    filled, taking = shares.vital
    bounds = _RoomBounds.of(field)
    low = np.minimum(_least_taken(field, vital, bounds), field.today)
    spare, rows = [], []
    for stop in filled.stops:
        need, members = vital[stop.need], stop.sharers
        taken = float((taking * filled.level)[members].sum())
        grown = 0.0
        if not need.demand.worst:
            # Homes that helpful things let live can eat more of a rich month each.
            grown = float(np.maximum(bounds.most - taking, 0.0)[members].sum())
        spare.append(max(taken + grown - float(low[members].sum()), 0.0))
        near = np.asarray(need.reach[members].sum(axis=0)).ravel()[field.plots :] > 0
        given = need.given[:, :, list(stop.months)].mean(axis=2) / need.demand.amount
        rows.append((given * near[:, None]).ravel())
    fall = np.where(filled.stop >= 0, field.today - low, 0.0)
    none = np.zeros(len(spare))
    added = csr_array(np.array(rows))
    return SharedSets(filled.stop, np.array(spare), fall, added, none, none, none)


def _by_exchange(
    field: GroupField, chances: Array, gained: Array, sets: SharedSets, planters: int
) -> SharedSets:
    """Put to each set what its homes can win together, whoever of them wins and who loses.

    With d the homes won and lost, u = homes today + homes then, U their sum, and E = 1 - chances
    then, what a set X wins of the sum over pairs is

        sum_X d_i (U - (E u)_i) <= (U - e) D + sum_X fall_i ((E u)_i - e),

    D = sum_X d_i, which is at most what is left over of what the set takes (`spare` without the
    falls) and what planters add, and e the least (E u)_i of X. Where animals get from everywhere
    to everywhere E is next to nothing, and it hardly matters which of them eats.
    """
    today, inside = field.today, sets.of >= 0
    together = _together(sets, gained, planters)
    # Nothing is known of how far others fall: u is at least today's for them.
    least = np.where(inside, 2 * today - sets.fall, today)
    near = (1.0 - chances) @ least
    apart = 1.0 - field.chances
    far = apart @ (2 * today) + _most_around(apart, sets, gained, together)
    kept = np.array([sets.fall[sets.of == at].sum() for at in range(len(sets.spare))])
    core = np.maximum(sets.spare - kept, 0.0)
    added = -np.sort(-sets.added.toarray(), axis=1)[:, :planters].sum(axis=1)
    whole = 2 * today.sum() + gained[~inside].sum() + (core + added).sum()
    heavy, brought = np.zeros(len(core)), np.zeros(len(core))
    for at in range(len(core)):
        mine = sets.of == at
        base = float(near[mine].min()) if mine.any() else 0.0
        heavy[at] = max(whole - base, _LEAST_WEIGHT)
        brought[at] = float(sets.fall[mine] @ np.maximum(far[mine] - base, 0.0))
    return sets._replace(core=core, heavy=heavy, brought=brought)


class _RoomBounds(NamedTuple):
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
    def of(cls, field: GroupField) -> "_RoomBounds":
        """Work it out: the best recipe at every site, and all of every need that can be there."""
        now, places = field.standing, field.places.copy()
        for site, offers in enumerate(field.offers):
            own = np.array([offer.places for offer in offers])
            places[field.plots + site] += own.max(axis=0)
        later = met_alone([_with_all(field, need) for need in field.needs])
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


def _least_taken(field: GroupField, vital: Sequence[NeedField], bounds: _RoomBounds) -> Array:
    """Shape (n,): homes take at least so much of what they need, whatever is built."""
    room = bounds.most
    helped = np.ones(len(room))
    for need in field.needs:
        if need.demand.floor > 0:
            met = _lowest(room, [_with_all(field, need).larder(0)], [need.demand.larder(0)])
            helped *= need.demand.floor + (1 - need.demand.floor) * met
    level = _lowest(
        room, [_with_all(field, need).larder(0) for need in vital],
        [need.demand.larder(0) for need in vital],
    )  # fmt: skip
    return bounds.least * helped * level


def _with_all(field: GroupField, need: NeedField) -> Demand:
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
    within, bounds = field.within.copy(), _RoomBounds.of(field)
    for site, offers in enumerate(field.offers):
        place = field.plots + site
        for at, need in enumerate(field.needs):
            given = [offer.shares[at] for offer in offers if offer.shares[at] is not None]
            if given:
                rows = columns(need.reached, place)
                everything[at][rows] += np.max(np.array(given), axis=0)
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
    """Who could better the routes between patches, and by how much with so many sites."""
    homes = field.today
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
