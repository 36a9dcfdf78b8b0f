"""The certificate: what no scheme of a given size can win more than.

For every group, the sum over pairs a p a after a scheme S exceeds today's in three ways, each
bounded by something linear in "is this site used" (x, one number of 0-1 for each site):

- A pair whose best route gets better uses sites that lie on a better route. With q of them it
  wins no more than the best route over at most q sites does. Pairs with the same such sites are
  taken together, so what they win lies under the concave hull of these numbers at the sum of x.
- Homes grow by no more than the sum over the sites of what each brings alone in the most
  favourable surroundings (`_most_homes`), and by no more than with every site built.
- Planters' own homes likewise.

The root of the sum is concave, so it lies under its tangent at any point. What is left is a
linear programme over x with the number of planters or the money as its limit; its optimum is an
upper bound for every scheme (watering is left out, which only raises it).
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import block_diag, coo_array, csr_array, diags_array, hstack, kron, vstack

from patchnet.advice.scheme_field import GroupField, Offer
from patchnet.advice.scheme_kernels import able_sites, further, over_sites, reach_of_stop, take_in
from patchnet.advice.scheme_rules import SchemeRules
from patchnet.advice.scheme_state import Worth
from patchnet.advice.sharing import combine_months

__all__ = ["GroupCeiling", "SchemeBound", "ceiling_of"]

Array = NDArray[np.float64]
_CLUSTERS = 60  # groups of neighbouring plots whose homes are bounded together
_SIGNATURES = 300  # sets of sites told apart; to pairs beyond these any site may help
_SLACK = 1e-9


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
    chances = field.chances.copy()
    active = field.patch.copy()
    used = np.array([any(offer.stop for offer in offers) for offers in field.offers], dtype=bool)
    for site in np.flatnonzero(used).tolist():
        near, links = field.neighbours[site], field.links[site]
        keep = active[near]
        reached = reach_of_stop(chances, near[keep], links[keep], least)
        take_in(chances, reached, field.plots + site, least)
        active[field.plots + site] = True
    return chances, used


def _most_homes(field: GroupField) -> tuple[Array, csr_array]:
    """Homes with everything built, shape (n,), and most that one site adds, (sites, n)."""
    everything = [need.access.copy() for need in field.needs]
    within, room = field.within.copy(), field.room.copy()
    for site, offers in enumerate(field.offers):
        place = field.plots + site
        for at, need in enumerate(field.needs):
            given = [offer.shares[at] for offer in offers if offer.shares[at] is not None]
            if given:
                rows = _rows(need.reached, place)
                everything[at][rows] += np.max(np.array(given), axis=0)
        grown = max((offer.room for offer in offers), default=0.0)
        if grown:
            within[_rows(field.anchor_columns, place)] += grown
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
        _rows(need.reached, place)
        for need, share in zip(field.needs, offer.shares, strict=True)
        if share is not None
    ]
    if offer.room:
        touched.append(_rows(field.anchor_columns, place))
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
            here = np.isin(rows, _rows(need.reached, place))[:, None]
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
    here = np.isin(rows, _rows(field.anchor_columns, place))
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
    place = np.full(field.plots + len(field.offers), -1)
    place[field.plots + sites] = np.arange(len(sites))
    alone = np.zeros((len(holders), len(sites)))
    between = np.zeros((len(sites), len(sites)))
    for at, site in enumerate(sites.tolist()):
        near, links = field.neighbours[site], field.links[site]
        patches = field.patch[near]
        reached = reach_of_stop(field.chances, near[patches], links[patches], least)
        alone[:, at] = reached[holders]
        for other in range(at):
            their = field.neighbours[sites[other]]
            mine = field.patch[their]
            over = float((field.links[sites[other]][mine] * reached[their[mine]]).max(initial=0.0))
            between[at, other] = between[other, at] = over
        direct = place[near] >= 0
        np.maximum.at(between[at], place[near[direct]], links[direct])
    between = np.maximum(between, between.T) * together
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


def _rows(matrix: "csr_array", place: int) -> NDArray[np.intp]:
    span = slice(matrix.indptr[place], matrix.indptr[place + 1])
    rows: NDArray[np.intp] = matrix.indices[span].astype(np.intp)
    return rows


class SchemeBound:
    """Upper bounds for the worth of schemes, by size.

    Parameters
    ----------
    ceilings
        One per group.
    worth
        The common currency.
    rules
        Number, money and sites.
    locked
        Sites that are used in any case.
    """

    def __init__(
        self,
        ceilings: Sequence[GroupCeiling],
        worth: Worth,
        rules: SchemeRules,
        locked: Sequence[int] = (),
    ) -> None:
        self._ceilings, self._worth, self._rules = ceilings, worth, rules
        self._locked = set(locked)

    def of_size(self, planters: int, linked: Array) -> float:
        """No scheme with so many planters is worth more.

        Parameters
        ----------
        planters
            How many.
        linked
            Shape (G,): linked homes of the best scheme known, where the tangents touch.
        """
        if planters == 0:
            return 0.0
        sites, recipes = self._rules.costs.shape
        picks = sites * recipes
        blocks, constant = [], 0.0
        for at, ceiling in enumerate(self._ceilings):
            full, now = float(self._worth.full[at]), float(self._worth.now[at])
            if full <= 0:
                continue
            touch = float(linked[at]) if linked[at] > 0 else full / 2
            unit = float(self._worth.weight[at]) / full
            slope = unit / (2 * touch)
            constant += unit * (touch - now) + slope * (ceiling.base - touch**2)
            blocks.append(_block(ceiling, planters, slope))
        gain = np.concatenate([np.zeros(picks), *(block.gain for block in blocks)])
        most = np.concatenate([np.ones(picks), *(block.most for block in blocks)])
        others = len(gain) - picks
        # need y - by x <= shift for everything that is won.
        by = vstack([block.by for block in blocks])
        need = block_diag([block.need for block in blocks])
        matrix = [hstack([-by, need])]
        limit = [np.concatenate([block.shift for block in blocks])]
        at_a_site = kron(csr_array(np.eye(sites)), np.ones((1, recipes))).tocsr()
        one_of = vstack([at_a_site, self._rules.cliques() @ at_a_site])
        locked = at_a_site[sorted(self._locked)]
        for rows, most_of in (
            (one_of, np.ones(one_of.shape[0])),
            (-locked, -np.ones(locked.shape[0])),
            (csr_array(np.ones((1, picks))), np.array([float(planters)])),
            (csr_array(self._rules.costs.ravel()[None, :]), np.array([self._rules.budget])),
        ):
            if rows.shape[0] and np.isfinite(most_of).all():
                matrix.append(hstack([rows, csr_array((rows.shape[0], others))]))
                limit.append(most_of)
        result = linprog(
            -gain,
            A_ub=vstack(matrix).tocsr(),
            b_ub=np.concatenate(limit),
            bounds=np.column_stack([np.zeros(len(most)), most]),
            method="highs",
        )
        everything = self._worth.of(ceiling.full for ceiling in self._ceilings)
        if not result.success:
            return everything
        return min(float(-result.fun) + constant + _SLACK, everything)


class _Block(NamedTuple):
    """Part of the programme for one group: what is won, its limit, and what it takes of sites."""

    gain: Array
    most: Array
    need: csr_array
    by: csr_array
    shift: Array


def _block(ceiling: GroupCeiling, planters: int, slope: float) -> _Block:
    gains, caps = _clustered(ceiling, planters)
    rows: list[float] = []
    shifts: list[float] = []
    column: list[int] = []
    # At q sites, and at any number since the last one worked out, pairs win at most won(q).
    starts = [1, *(count + 1 for count in ceiling.counts[:-1])]
    for at, won in enumerate(ceiling.won):
        for rise, shift in _hull(starts, won.tolist(), planters):
            rows.append(rise)
            shifts.append(shift)
            column.append(at)
    clusters, pairs = len(caps), len(ceiling.won)
    by = vstack(
        [
            csr_array(gains),
            diags_array(np.array(rows)) @ ceiling.able[column]
            if rows
            else csr_array((0, gains.shape[1])),
        ]
    ).tocsr()
    need = coo_array(
        (
            np.ones(clusters + len(column)),
            (
                np.arange(clusters + len(column)),
                np.r_[np.arange(clusters), clusters + np.array(column, dtype=int)],
            ),
        ),
        shape=(clusters + len(column), clusters + pairs),
    ).tocsr()
    return _Block(
        gain=np.full(clusters + pairs, slope),
        most=np.r_[caps, _reachable(starts, ceiling.won, planters)],
        need=need,
        by=by,
        shift=np.r_[np.zeros(clusters), np.array(shifts)],
    )


def _reachable(starts: Sequence[int], won: Array, planters: int) -> Array:
    """What pairs can win with so many planters."""
    able = [at for at, start in enumerate(starts) if start <= planters]
    return np.asarray(won[:, able].max(axis=1)) if len(won) else np.zeros(0)


def _hull(starts: Sequence[int], won: Sequence[float], planters: int) -> list[tuple[float, float]]:
    """Slopes and offsets of the concave hull over (0, 0) and the points (start, won)."""
    points = [(0.0, 0.0)]
    points += [
        (float(start), gain) for start, gain in zip(starts, won, strict=True) if start <= planters
    ]
    hull: list[tuple[float, float]] = []
    for x, y in points:
        while len(hull) >= 2:
            (x0, y0), (x1, y1) = hull[-2], hull[-1]
            if (y1 - y0) * (x - x0) <= (y - y0) * (x1 - x0):
                hull.pop()
            else:
                break
        hull.append((x, y))
    lines = []
    for (x0, y0), (x1, y1) in itertools.pairwise(hull):
        rise = (y1 - y0) / (x1 - x0)
        if rise > 0:
            lines.append((rise, y0 - rise * x0))
    return lines


def _clustered(ceiling: GroupCeiling, planters: int) -> tuple[Array, Array]:
    """Gains of clusters of places, (clusters, sites), and their caps, (clusters,)."""
    dense = (ceiling.homes.toarray()) * ceiling.weight
    touched = np.flatnonzero(dense.any(axis=0))
    if touched.size == 0:
        return np.zeros((0, dense.shape[0])), np.zeros(0)
    dense = dense[:, touched]
    # The most that so many sites can bring, place by place, and the most there is room for.
    top = np.sort(dense, axis=0)[::-1][:planters].sum(axis=0)
    cap = np.minimum(top, (ceiling.weight * ceiling.gained)[touched])
    # Neighbouring places are raised by neighbouring sites: cut the order of their best site.
    order = np.argsort(dense.argmax(axis=0), kind="stable")
    parts = np.array_split(order, min(_CLUSTERS, len(order)))
    gains = np.array([dense[:, part].sum(axis=1) for part in parts])
    caps = np.array([cap[part].sum() for part in parts])
    return gains, caps
