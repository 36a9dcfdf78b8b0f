"""Which planters could better the routes between patches, and by how much with so many of them."""

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array

from patchnet.scheme.bound_kernels import able_sites, further, over_sites
from patchnet.scheme.field import GroupField
from patchnet.scheme.kernels import take_in
from patchnet.scheme.state import GroupState

__all__ = ["all_stops", "better_pairs", "by_recipe", "route_counts"]

Array = NDArray[np.float64]
_SIGNATURES = 300  # sets of sites told apart; to pairs beyond these any site may help


def all_stops(field: GroupField, least: float) -> tuple[Array, NDArray[np.bool_]]:
    """Best routes with every site that any recipe makes a stop; and which sites those are.

    Parameters
    ----------
    field
        The group's.
    least
        Chance below which a route counts as none, 0-1.

    Returns
    -------
    tuple
        Shape (n, n), 0-1: chances; shape (sites,): whether any recipe makes a site a stop.
    """
    used = np.array([any(offer.stop for offer in offers) for offers in field.offers], dtype=bool)
    state = GroupState(field, least)
    for site in np.flatnonzero(used).tolist():
        take_in(state.fixed, state.now, site)
    return state.now.chances, used


def by_recipe(field: GroupField, able: csr_array) -> csr_array:
    """Columns of sites to columns of sites x recipes: only recipes that make a stop count.

    Parameters
    ----------
    field
        The group's.
    able
        Shape (r, sites).

    Returns
    -------
    csr_array
        Shape (r, sites x recipes).
    """
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


def route_counts(planters: int) -> tuple[int, ...]:
    """1, 2, 3, 5, 8 ... up to the number of planters: where the routes are worked out.

    Parameters
    ----------
    planters
        Most that are asked about.

    Examples
    --------
    >>> route_counts(6)
    (1, 2, 3, 5, 6)
    """
    counts, following = [1], 2
    while counts[-1] < planters:
        counts.append(min(following, planters))
        following = counts[-1] + counts[-2]
    return tuple(counts)


def better_pairs(
    field: GroupField,
    chances: Array,
    used: NDArray[np.bool_],
    counts: tuple[int, ...],
    least: float,
    conflicts: NDArray[np.bool_],
) -> tuple[csr_array, Array]:
    """Who could better the routes between patches, and by how much with so many sites.

    Parameters
    ----------
    field
        The group's.
    chances
        Shape (n, n), 0-1: along best routes with every stop there could be.
    used
        Shape (sites,): whether any recipe makes the site a stop.
    counts
        Numbers of sites.
    least
        Chance below which a route counts as none.
    conflicts
        Shape (sites, sites): sites that cannot both be used.

    Returns
    -------
    tuple
        Shape (r, sites): which sites better the r kinds of pairs; shape (r, len(counts)), homes
        squared: what those pairs win with at most so many sites.
    """
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
