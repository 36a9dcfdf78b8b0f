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

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from patchnet.scheme.better_routes import all_stops, better_pairs, by_recipe, route_counts
from patchnet.scheme.field import GroupField
from patchnet.scheme.most_homes import most_homes, unshared
from patchnet.scheme.shared_sets import (
    SharedSets,
    by_exchange,
    most_around,
    shared_sets,
    together_won,
)

__all__ = ["GroupCeiling", "ceiling_of"]

Array = NDArray[np.float64]
_LEAST = 1e-9  # homes: no less is lacking


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
    chances, used = all_stops(field, least)
    alone = unshared(field)
    most, single = most_homes(alone, planters)
    now = field.today
    slack = np.where(alone.homes - now > _LEAST, alone.homes - now, 0.0)
    gained = np.maximum(most - now, 0.0)
    sets = by_exchange(field, chances, gained, shared_sets(field, planters), planters)
    together = together_won(sets, gained, planters)
    weight = 2 * (chances @ now) + most_around(chances, sets, gained, together)
    counts = route_counts(planters)
    able, won = better_pairs(field, chances, used, counts, least, conflicts)
    return GroupCeiling(
        base=float(now @ field.chances @ now),
        homes=single,
        slack=slack,
        gained=gained,
        weight=weight,
        sets=sets,
        able=by_recipe(field, able),
        won=won,
        counts=counts,
    )
