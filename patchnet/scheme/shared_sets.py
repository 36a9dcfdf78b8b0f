"""Sets of homes that today take all of something together, and what such a set can win."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from patchnet.assess.filling import Filled, Stop, fill
from patchnet.scheme.field import GroupField, NeedField
from patchnet.scheme.filled import share_with
from patchnet.scheme.least_homes import RoomBounds, Together, best_levels, least_taken, never_short

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
    """Sets that stopped today, and what can become of each.

    Sets are those that share a vital need; where no vital need is ever short, those that share the
    helpful need which sharing takes most of. There a home is worth no more than a part f of those
    that live, and for the rest what they take: T (f + (1 - f) m), and what the set takes, the sum
    of T m, is there.

    Parameters
    ----------
    field
        The group's.
    planters
        How many will be asked about at most.
    """
    n, picks = len(field.room), len(field.offers) * (len(field.offers[0]) if field.offers else 0)
    none = np.zeros(0)
    nothing = SharedSets(
        np.full(n, -1, dtype=np.intp), none, np.zeros(n), csr_array((0, picks)), none, none, none
    )
    _, shares = share_with(field, ())
    if shares.vital is None or not planters:
        return nothing
    vital = [need for need in field.needs if need.demand.floor == 0]
    bounds = RoomBounds.of(field, planters)
    filled, taking = shares.vital
    if filled.stops:
        sharing = _Sharing(vital, filled, taking, bounds.most)
    else:
        found = _helpful_sharing(field, vital, bounds, taking * filled.level)
        if found is None:
            return nothing
        sharing = found
    together, rows = [], []
    for stop in sharing.filled.stops:
        most, row = _most_taken(field, sharing, stop)
        together.append(most)
        rows.append(row)
    limits: list[Together] = []
    if filled.stops:
        added = [float(-np.sort(-row)[:planters].sum()) for row in rows]
        limits = [
            Together(stop.sharers, most + more)
            for stop, most, more in zip(filled.stops, together, added, strict=True)
        ]
    low = np.minimum(least_taken(field, vital, bounds, limits), field.today)
    spare = [
        max(most - float(low[stop.sharers].sum()), 0.0)
        for stop, most in zip(sharing.filled.stops, together, strict=True)
    ]
    fall = np.where(sharing.filled.stop >= 0, field.today - low, 0.0)
    none = np.zeros(len(spare))
    return SharedSets(
        sharing.filled.stop, np.array(spare), fall, csr_array(np.array(rows)), none, none, none
    )


class _Sharing(NamedTuple):
    """A filling, the needs that were filled, and who takes part: today, and at most.

    `floor` is the worth of a home that gets nothing of it.
    """

    needs: Sequence[NeedField]
    filled: Filled
    taking: Array
    most: Array
    floor: float = 0.0


def _helpful_sharing(
    field: GroupField, vital: Sequence[NeedField], bounds: RoomBounds, living: Array
) -> _Sharing | None:
    """The helpful need which sharing takes most of; None where vital needs can be short."""
    helpful = [need for need in field.needs if need.demand.floor > 0]
    if not helpful or not never_short(field, vital, bounds):
        return None
    most = bounds.most * best_levels(field, bounds)
    best, lost = None, 0.0
    for need in helpful:
        larder, floor = need.demand.larder(0), need.demand.floor
        filled = fill(living, larder.ceiling, [larder])
        less = (1 - floor) * float(living @ (larder.ceiling - filled.level))
        if filled.stops and less > lost:
            best, lost = _Sharing([need], filled, living, most, floor), less
    return best


def _most_taken(field: GroupField, sharing: _Sharing, stop: Stop) -> tuple[float, Array]:
    """Homes of a set at most without a planter, and by how many each planter raises that."""
    need, members = sharing.needs[stop.need], stop.sharers
    floor, taking = sharing.floor, sharing.taking
    taken = float((taking * sharing.filled.level)[members].sum())
    if not need.demand.worst:
        # More homes, or such as helpful things let live, can eat more of a rich month each.
        taken += float(np.maximum(sharing.most - taking, 0.0)[members].sum())
    near = np.asarray(need.reach[members].sum(axis=0)).ravel()[field.plots :] > 0
    given = need.given[:, :, list(stop.months)].mean(axis=2) / need.demand.amount
    least = float(sharing.most[members].sum()) if floor else 0.0
    row: Array = (1 - floor) * (given * near[:, None]).ravel()
    return floor * least + (1 - floor) * taken, row


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
