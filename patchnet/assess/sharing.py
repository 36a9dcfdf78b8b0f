"""All homes within reach share each supply; homes that cannot live take nothing."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

__all__ = [
    "DENSE_MOST",
    "DENSE_SHARE",
    "Demand",
    "Settled",
    "combine_months",
    "quality_of",
    "settle",
    "share_once",
]

Array = NDArray[np.float64]
Form = Literal["scarcest", "mean"]
DENSE_SHARE = 0.15  # above this share of pairs a dense product is quicker than a sparse one
DENSE_MOST = 6_000  # plots; 6,000 x 6,000 doubles are 288 MB


@dataclass(frozen=True, eq=False)
class Demand:
    """One need as the sharing sees it.

    Attributes
    ----------
    reach
        Shape (n, n): 1 where the column's plot supplies the row's.
    supply
        Shape (n, M, K): supply of each plot in each month of the need, under K readings of
        what is not known.
    amount
        What one home takes in a month, same unit as `supply`.
    worst
        True: the worst month decides; False: the mean of the months.
    floor
        What a place without any of it is still worth, 0-1; 0 makes the need vital.
    weight
        Exponent in the weighted-mean form of quality.
    """

    reach: "sp.csr_array"
    supply: Array
    amount: float
    worst: bool
    floor: float
    weight: float


@dataclass(frozen=True, eq=False)
class Settled:
    """How the sharing came out: one (n, K) array of `met` per need; `quality` (n, K), 0-1."""

    met: tuple[Array, ...]
    quality: Array


def share_once(reach: "sp.csr_array | Array", homes: Array, supply: Array) -> Array:
    """Two-step floating catchment: what each home gets when all within reach share alike.

    Step 1, at each supplier j: share_j = s_j / sum_i N_i over the homes that reach it.
    Step 2, at each home i: access_i = sum_j share_j over the suppliers it reaches.

    Parameters
    ----------
    reach
        Shape (n, m), 1 where home-plot i reaches supplier j.
    homes
        Shape (n,), homes N that take part.
    supply
        Shape (m, M), supply by month.

    Returns
    -------
    Array
        Shape (n, M), supply per home. Conserves: sum_i N_i access_i equals the sum of s_j over
        suppliers that at least one home reaches.

    References
    ----------
    Luo & Wang 2003, Environment and Planning B 30:865-884; conservation needs the same weights
    in both steps (Paez, Higgins & Vivona 2019, PLoS ONE 14:e0218773).

    Examples
    --------
    Three plots in a row, room for 2, 1 and 0 homes, supply 6, 0 and 3:

    >>> import numpy as np
    >>> reach = np.array([[1.0, 1, 0], [1, 1, 1], [0, 1, 1]])
    >>> share_once(reach, np.array([2.0, 1, 0]), np.array([[6.0], [0], [3]])).ravel()
    array([2., 5., 3.])
    """
    return _share(reach, homes[:, None], supply[:, :, None])[:, :, 0]


def _share(reach: "sp.csr_array | Array", homes: Array, supply: Array) -> Array:
    """`share_once` for K readings at a time: homes (n, K), supply (m, M, K), out (n, M, K)."""
    takers = (reach.T @ homes)[:, None, :]
    per_home = np.where(takers > 0, supply / np.where(takers > 0, takers, 1.0), 0.0)
    return np.asarray(reach @ _flat(per_home)).reshape(reach.shape[0], *supply.shape[1:])


def _flat(stock: Array) -> Array:
    """Shape (m, M, K) to (m, M K)."""
    return stock.reshape(len(stock), stock.shape[1] * stock.shape[2])


def combine_months(by_month: Array, *, worst: bool) -> Array:
    """Shape (n, M, ...) to (n, ...): the worst month, or the mean of the months.

    Parameters
    ----------
    by_month
        Shape (n, M, ...), any unit.
    worst
        True: the worst month decides; False: the mean.
    """
    combined: Array = by_month.min(axis=1) if worst else by_month.mean(axis=1)
    return combined


def quality_of(
    met: Sequence[Array], demands: Sequence[Demand], *, form: Form, lowest: float
) -> Array:
    """Share of a full home's needs met, from the share met of each need.

    ``"scarcest"``: each need is worth E = floor + (1 - floor) m; quality is the least E of the
    vital needs times the product of the helpful ones. ``"mean"``: the weighted geometric mean
    of m, each taken as at least `lowest` so that one 0 does not hide every other change
    (the form of the newt pond index, Oldham et al. 2000).

    Parameters
    ----------
    met
        Q arrays of one shape: share of each need that is met, 0-1.
    demands
        The Q needs, in the same order.
    form
        How they are put together, see above.
    lowest
        Least share that counts, above 0 (only for ``"mean"``).
    """
    if form == "mean":
        total = sum(demand.weight for demand in demands)
        logs = sum(
            demand.weight * np.log(np.maximum(m, lowest))
            for m, demand in zip(met, demands, strict=True)
        )
        mean: Array = np.exp(np.asarray(logs) / total)
        return mean
    vital = np.ones_like(met[0])
    helpful = np.ones_like(met[0])
    for m, demand in zip(met, demands, strict=True):
        if demand.floor == 0:
            vital = np.minimum(vital, m)
        else:
            helpful = helpful * (demand.floor + (1 - demand.floor) * m)
    return vital * helpful


def settle(
    room: Array,
    demands: Sequence[Demand],
    *,
    whole: Array,
    rounds: int,
    damping: float,
    form: Form = "scarcest",
    lowest: float = 0.01,
) -> Settled:
    """Share all supplies among the homes until those that cannot live no longer take.

    Demand on one need counts only the homes that the *other* needs admit; the admitted share
    is moved by `damping` towards its new value in each of `rounds` rounds.

    Parameters
    ----------
    room
        Shape (n, K), homes there is room for, N, under K readings of what is not known.
    demands
        The needs.
    whole
        Shape (n, K), 0-1: limits quality where the pieces of anchor within its own reach do not
        add up to a whole home.
    rounds, damping
        Of ``settings/sharing_rounds`` and ``settings/sharing_damping``.
    form, lowest
        See `quality_of`.

    Returns
    -------
    Settled
        Share met of each need (capped at 1; access never exceeds the supply within reach) and
        the quality, both (n, K); 0 where there is no room.
    """
    homes = np.flatnonzero((room > 0).any(axis=1))
    if homes.size == 0:
        none = np.zeros_like(room)
        return Settled(tuple(none.copy() for _ in demands), none)
    parts = [_part(demand, homes) for demand in demands]
    admitted = [np.ones_like(room[homes]) for _ in demands]
    limit = whole[homes]
    met: list[Array] = []
    for turn in range(rounds + 1):
        met = [
            _met(reach, within, supply, room[homes] * share, demand)
            for (reach, supply, within), share, demand in zip(parts, admitted, demands, strict=True)
        ]
        if turn == rounds:
            break
        for at in range(len(demands)):
            others = [k for k in range(len(demands)) if k != at]
            alive = np.minimum(
                limit,
                quality_of(
                    [met[k] for k in others],
                    [demands[k] for k in others],
                    form=form,
                    lowest=lowest,
                )
                if others
                else np.ones_like(limit),
            )
            admitted[at] = (1 - damping) * admitted[at] + damping * alive
    worth = np.minimum(limit, quality_of(met, demands, form=form, lowest=lowest))
    return Settled(tuple(_everywhere(m, homes, room) for m in met), _everywhere(worth, homes, room))


def _everywhere(values: Array, homes: NDArray[np.intp], room: Array) -> Array:
    """Put the values of the homes back among all plots; 0 where there is no room."""
    spread = np.zeros_like(room)
    spread[homes] = values
    return np.where(room > 0, spread, 0.0)


def _part(demand: Demand, homes: NDArray[np.intp]) -> "tuple[sp.csr_array | Array, Array, Array]":
    """Cut a need down to the homes and the plots that supply any of it."""
    suppliers = np.flatnonzero((demand.supply > 0).any(axis=(1, 2)))
    supply = demand.supply[suppliers]
    part = demand.reach[homes][:, suppliers]
    cells = part.shape[0] * part.shape[1]
    if cells and part.nnz > DENSE_SHARE * cells and max(part.shape) <= DENSE_MOST:
        reach: sp.csr_array | Array = part.toarray()
    else:
        reach = part
    within = np.asarray(reach @ _flat(supply)).reshape(reach.shape[0], *supply.shape[1:])
    return reach, supply, within


def _met(
    reach: "sp.csr_array | Array", within: Array, supply: Array, takers: Array, demand: Demand
) -> Array:
    """Share of one home's need that is met, 0-1, after one sharing."""
    access = np.minimum(_share(reach, takers, supply), within)
    shares = np.minimum(1.0, access / demand.amount)
    return combine_months(shares, worst=demand.worst)
