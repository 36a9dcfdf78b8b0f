"""Sets of homes that today take all of something together, and what such a set can win."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from patchnet.scheme.field import GroupField
from patchnet.scheme.filled import share_with
from patchnet.scheme.least_homes import RoomBounds, least_taken

__all__ = ["SharedSets", "by_exchange", "most_around", "shared_sets", "together_won"]

Array = NDArray[np.float64]
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
        Shape (sets,), see `by_exchange`: homes by which all of a set rise, those that fall
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


def together_won(sets: SharedSets, gained: Array, planters: int) -> Array:
    """Return the homes that each set can win at most with so many planters, shape (sets,).

    Parameters
    ----------
    sets
        The sets.
    gained
        Shape (n,): homes that each place can win at most.
    planters
        How many.
    """
    added = -np.sort(-sets.added.toarray(), axis=1)[:, :planters].sum(axis=1)
    held = sets.of >= 0
    apart = np.bincount(sets.of[held], weights=gained[held], minlength=len(sets.spare))
    most: Array = np.minimum(sets.spare + added, apart)
    return most


def most_around(chances: Array, sets: SharedSets, gained: Array, together: Array) -> Array:
    """Return the most that chances @ (homes won) can be, shape (n,).

    Parameters
    ----------
    chances
        Shape (n, n), 0-1.
    sets
        Sets that share something.
    gained
        Shape (n,): homes that each place can win at most.
    together
        Shape (sets,): homes that each set can win at most.
    """
    around = np.asarray(chances[:, sets.of < 0] @ gained[sets.of < 0], dtype=float)
    for number, most in enumerate(together.tolist()):
        mine = sets.of == number
        if mine.any():
            near = chances[:, mine]
            around = around + np.minimum(near @ gained[mine], near.max(axis=1) * most)
    return np.asarray(around)


def shared_sets(field: GroupField, planters: int) -> SharedSets:
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
    bounds = RoomBounds.of(field)
    low = np.minimum(least_taken(field, vital, bounds), field.today)
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


def by_exchange(
    field: GroupField, chances: Array, gained: Array, sets: SharedSets, planters: int
) -> SharedSets:
    """Put to each set what its homes can win together, whoever of them wins and who loses.

    With d the homes won and lost, u = homes today + homes then, U their sum, and E = 1 - chances
    then, what a set X wins of the sum over pairs is

        sum_X d_i (U - (E u)_i) <= (U - e) D + sum_X fall_i ((E u)_i - e),

    D = sum_X d_i, which is at most what is left over of what the set takes (`spare` without the
    falls) and what planters add, and e the least (E u)_i of X. Where animals get from everywhere
    to everywhere E is next to nothing, and it hardly matters which of them eats.

    Parameters
    ----------
    field
        The group's.
    chances
        Shape (n, n), 0-1: along best routes with every stop there could be.
    gained
        Shape (n,): homes that each place can win at most.
    sets
        The sets, of which `core`, `heavy` and `brought` are worked out.
    planters
        Most planters that will be asked about.
    """
    today, inside = field.today, sets.of >= 0
    together = together_won(sets, gained, planters)
    # Nothing is known of how far others fall: u is at least today's for them.
    least = np.where(inside, 2 * today - sets.fall, today)
    near = (1.0 - chances) @ least
    apart = 1.0 - field.chances
    far = apart @ (2 * today) + most_around(apart, sets, gained, together)
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
