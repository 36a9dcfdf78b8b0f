"""How many homes there is room for: places that are in use, and how close together homes lie.

Two things make fewer homes of places to live. A box, hole or pond is a home only as often as such
places are found in use; that rate is the higher, the better the vital needs are met there. And
homes lie no closer together than has been counted in such ground, whatever there is for them.

Rate. The three rates of ``uses.csv`` make three numbers of homes, at low, usual and high use. The
homes expected, E, lie on the straight lines between them: low where no vital need is met, usual
where half is, high where all of it is. *Met* is what one home would get that shares with nobody
(see `patchnet.assess.filling`), so nothing runs in circles.

Density. Homes expected at a plot are spread over all the ground within the anchor's reach, by
area. On each piece of ground they level off towards what it can hold:

    X_j = a_j sum_i E_i / A_i,    K_j = D max(A_j, c) a_j / A_j,
    h_j = (1 - exp(-X_j / K_j)) K_j / X_j,    N_i = E_i / A_i sum_j a_j h_j

over the plots i and j within reach of each other; a is the area of a plot, A that of all plots
within its reach, c the part of the reach's circle that would be plots (so that a street of which
little is mapped is not taken for a desert), D the density that such ground holds. Then N never
falls in total when room is added, the homes of plots that all reach one another stay below
D max(A, c), and cutting a plot in two within one reach changes nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from patchnet.assess.sharing import Demand, combine_months, quickest
from patchnet.knowledge.records import Group, Knowledge

__all__ = [
    "Pool",
    "Rooms",
    "Standing",
    "in_use",
    "met_alone",
    "pool_of",
    "rooms_of",
    "standing_of",
]

Array = NDArray[np.float64]
_HECTARE = 10_000.0
_NO_GROUND = 1e-9  # m2 that a box or balcony counts for: an animal's ground is not in it


@dataclass(frozen=True, eq=False)
class Pool:
    """The ground within the anchor's reach that homes are spread over, n plots.

    Attributes
    ----------
    matrix
        Shape (n, n), symmetric: 1 where two plots lie within the anchor's reach.
    area
        Shape (n,), m2 of ground.
    density
        Most homes on a m2 of plots.
    least
        m2 of plots that a reach has at least (c).
    """

    matrix: "sp.csr_array"
    area: Array
    density: float
    least: float

    @cached_property
    def quick(self) -> "sp.csr_array | Array":
        """The matrix in the form that is multiplied quickest."""
        return quickest(self.matrix)

    @cached_property
    def within(self) -> Array:
        """Shape (n,): area within reach, A."""
        return np.asarray(self.quick @ self.area)

    @cached_property
    def most(self) -> Array:
        """Shape (n,): most homes on each plot, K."""
        return self.density * np.maximum(self.within, self.least) * self.area / self.within

    def spread(self, expected: Array) -> Array:
        """Homes expected (n, K), spread over the ground: on a m2 of each plot, X / a."""
        return np.asarray(self.quick @ (expected / self.within[:, None]))

    def level(self, spread: Array, rows: "NDArray[np.intp] | slice" = slice(None)) -> Array:
        """Part h of the homes on each piece of ground that there is room for.

        Parameters
        ----------
        spread
            Shape (rows, K), from `spread`.
        rows
            Positions of the plots that it is of.
        """
        full = spread * (self.area[rows] / self.most[rows])[:, None]
        some = full > 0
        return np.where(some, -np.expm1(-full) / np.where(some, full, 1.0), 1.0)

    def share(self, levels: Array) -> Array:
        """Shape (n, K): part of the homes expected at each plot that there is room for.

        Parameters
        ----------
        levels
            Shape (n, K), from `level`.
        """
        whole = np.asarray(self.quick @ (self.area[:, None] * levels))
        return whole / self.within[:, None]

    def thinned(self, expected: Array) -> Array:
        """Homes there is room for, N, shape (n, K), from homes expected, E."""
        return expected * self.share(self.level(self.spread(expected)))

    def on(self, matrix: "sp.csr_array") -> "Pool":
        """The same ground under another reach."""
        return self if matrix is self.matrix else replace(self, matrix=matrix)


def pool_of(
    group: Group, knowledge: Knowledge, matrix: "sp.csr_array", area_m2: Array, kinds: Sequence[str]
) -> Pool | None:
    """Return the ground over which a group's homes are spread; None where no density is known.

    Parameters
    ----------
    matrix
        Shape (n, n): plots within the anchor's reach.
    area_m2
        Shape (n,): ground of each plot, m2. In pots and boxes there is none.
    kinds
        Kind of each of the n plots.
    """
    density = knowledge.densities.get(group.key)
    if density is None:
        return None
    pots = np.array([knowledge.plot_is(str(kind), "pots_only") for kind in kinds], dtype=bool)
    plots_share = knowledge.setting("plots_share")
    per_ha = density.at_most / (plots_share if density.base == "fabric" else 1.0)
    circle = np.pi * group.anchor_reach.value**2
    return Pool(
        matrix,
        np.where(pots, _NO_GROUND, area_m2),
        per_ha / _HECTARE,
        plots_share * circle,
    )


def met_alone(demands: Sequence[Demand]) -> Array | None:
    """Share of the vital needs that a home meets which shares with nobody.

    Parameters
    ----------
    demands
        The needs, n plots and K variants each.

    Returns
    -------
    array, or None
        Shape (n, K), 0-1; None where there is no vital need.
    """
    met: Array | None = None
    for demand in demands:
        if demand.floor > 0:
            continue
        own = combine_months(np.minimum(1.0, demand.within), worst=demand.worst)
        met = own if met is None else np.minimum(met, own)
    return met


def in_use(places: Array, met: Array | None) -> Array:
    """Homes expected, shape (n, K).

    Parameters
    ----------
    places
        Shape (n, 4, K): homes that there are places for, and at low, usual and high use.
    met
        Shape (n, K), 0-1; None: it has no vital need, so that nothing tells more than usual use.

    Examples
    --------
    >>> places = np.array([[1, 0.02, 0.1, 0.4]])[..., None]
    >>> [round(float(in_use(places, np.array([[met]]))[0, 0]), 3) for met in (0, 0.2, 0.5, 0.9)]
    [0.02, 0.052, 0.1, 0.34]
    """
    low, usual, high = places[:, 1], places[:, 2], places[:, 3]
    if met is None:
        return usual
    lower = low + (usual - low) * (2 * met)
    upper = usual + (high - usual) * (2 * met - 1)
    return np.where(met < 0.5, lower, upper)


@dataclass(frozen=True, eq=False)
class Standing:
    """How places to live stand, n plots: what a change of some of them starts from.

    Attributes
    ----------
    met
        Shape (n,), as `met_alone`; None where there is no vital need.
    expected, spread, levels, share
        Shape (n,): homes expected; those spread over the ground (see `Pool.spread`), the part of
        them that there is room for on each piece of ground, and at each plot. None without a pool.
    """

    met: Array | None
    expected: Array
    spread: Array | None = None
    levels: Array | None = None
    share: Array | None = None


def standing_of(places: Array, demands: Sequence[Demand], pool: Pool | None) -> Standing:
    """Work it out from the places for homes.

    Parameters
    ----------
    places
        Shape (n, 4): homes there are places for, and at low, usual and high use (see `in_use`).
    demands
        The needs, n plots each.
    pool
        Ground that homes are spread over; None where no density is known.
    """
    met = met_alone(demands)
    expected = in_use(places[:, :, None], met)[:, 0]
    own = None if met is None else met[:, 0]
    if pool is None:
        return Standing(own, expected)
    spread = pool.spread(expected[:, None])
    levels = pool.level(spread)
    return Standing(own, expected, spread[:, 0], levels[:, 0], pool.share(levels)[:, 0])


@dataclass(frozen=True, eq=False)
class Rooms:
    """Room for homes of one group.

    Attributes
    ----------
    room
        Shape (n, K): homes there is room for, N.
    whole
        Shape (n, K), 0-1: part of a whole home that the places within the anchor's reach make.
    """

    room: Array
    whole: Array


def rooms_of(
    places: Array, demands: Sequence[Demand], matrix: "sp.csr_array | Array", pool: Pool | None
) -> Rooms:
    """Return the room for homes.

    Parameters
    ----------
    places
        Shape (n, 4, K), as in `in_use`.
    demands
        The needs, under the same K readings.
    matrix
        Shape (n, n): plots within the anchor's reach.
    pool
        The ground; None: homes may lie as close together as there are places.
    """
    used = not np.array_equal(places[:, 1], places[:, 3])
    expected = in_use(places, met_alone(demands)) if used else places[:, 3]
    room = expected if pool is None else pool.thinned(expected)
    return Rooms(room, np.minimum(1.0, np.asarray(matrix @ places[:, 0])))
