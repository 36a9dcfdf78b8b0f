"""Supply is shared by all homes within its reach: filling alike, and what helps beside it.

Vital needs are filled together (see `patchnet.assess.filling`). Helpful needs come in between:
how well they are met decides how many homes there can be in the end, and so how much of the vital
things those take. Three passes settle it, without a loop:

1. y1: all homes that there is room for, filled with the vital needs.
2. Each helpful need alone, for the homes of step 1. H: what all of them together are worth.
3. y2: N H homes, filled with the vital needs; who fails for want of helpful things leaves food.
   Then step 2 again for N H y2 homes; H3 is the lesser of the two.

Homes held are N min(whole, y2 H3). In the "mean" form each need is filled alone, for all homes.

The room N that goes in is what may live there at most. What thins it out before food is shared
(territories, a ceiling of density) is the caller's business and comes first.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from patchnet.assess.blocks import Blocks, blocks_of
from patchnet.assess.bunches import BunchedReach, blocks_in_bunches, reached_from
from patchnet.assess.filling import FEW, Filled, Larder, Stop, Ways, fill

__all__ = [
    "DENSE_MOST",
    "DENSE_SHARE",
    "Demand",
    "Limits",
    "Shares",
    "combine_months",
    "quality_of",
    "quickest",
    "share_out",
    "share_supplies",
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
    net
        The reach as blocks of ones; None: made from `reach` when it is asked for.
    ready
        The reach in the form that is multiplied quickest; None: made when it is asked for.
    """

    reach: "sp.csr_array"
    supply: Array
    amount: float
    worst: bool
    floor: float
    weight: float
    net: Blocks | None = None
    ready: "sp.csr_array | Array | None" = None

    @cached_property
    def blocks(self) -> Blocks:
        """The reach as blocks of ones."""
        if self.net is not None:
            return self.net
        bunched = isinstance(self.reach, BunchedReach)
        return blocks_in_bunches(self.reach) if bunched else blocks_of(self.reach)

    @cached_property
    def quick(self) -> "sp.csr_array | Array":
        """The reach in the form that is multiplied quickest."""
        return quickest(self.reach) if self.ready is None else self.ready

    @cached_property
    def within(self) -> Array:
        """Shape (n, M, K), homes: what lies within reach of each plot, over what one home takes."""
        plots, months, readings = self.supply.shape
        flat = (self.supply / self.amount).reshape(plots, months * readings)
        found = np.asarray(self.quick @ flat) if self.net is None else self.ways.times(flat)
        return found.reshape(self.supply.shape)

    @property
    def ways(self) -> Ways:
        """Who reaches whom, as homes are filled over it."""
        few = self.blocks.size <= FEW
        return Ways(self.blocks, self.quick if few else self.reach)

    def larder(self, reading: int) -> Larder:
        """Return the need as it is filled, under one reading."""
        return Larder(
            self.ways,
            self.supply[:, :, reading] / self.amount,
            np.ascontiguousarray(self.within[:, :, reading]),
            self.worst,
        )

    def larders(self) -> list[Larder]:
        """Return `larder` of each reading: the same one where nothing differs."""
        readings = self.supply.shape[2]
        if readings == 1:
            return [self.larder(0)]
        by_supply: dict[bytes, Larder] = {}
        found = []
        for reading in range(readings):
            larder = self.larder(reading)
            known = by_supply.setdefault(larder.supply.tobytes(), replace(larder, known={}))
            found.append(known)
        return found


@dataclass(frozen=True, eq=False)
class Limits:
    """What holds homes back, plot by plot, n of them.

    Attributes
    ----------
    need
        Shape (n,): the need that is scarcest, as a place among the demands; -1 where the homes
        themselves are (or there is no room for any).
    stop
        The set that the plot shares that need with, months and suppliers; None where `need` is
        -1. Where a plot finds too little even by itself, it is a set of its own.
    """

    need: NDArray[np.intp]
    stop: tuple[Stop | None, ...]


@dataclass(frozen=True, eq=False)
class Shares:
    """How the sharing came out.

    Attributes
    ----------
    met
        One (n, K) array per need: the share of it that a home gets, 0-1. Of a vital need what
        it could take besides what it takes, the others as they are; so the least of the vital
        ones is what holds it.
    quality
        Shape (n, K), 0-1.
    limits
        Under the first reading; None where it was not asked for.
    vital
        How the vital needs came out in the last pass under the last reading, and the homes that
        took part in it, shape (n,); needs are numbered among the vital ones. None in the mean form.
    """

    met: tuple[Array, ...]
    quality: Array
    limits: Limits | None
    vital: tuple[Filled, Array] | None = None


def quickest(matrix: "sp.csr_array") -> "sp.csr_array | Array":
    """Return a matrix dense or sparse, as is multiplied quickest.

    Parameters
    ----------
    matrix
        Shape (n, n): 1 where a plot is within reach of another.

    Returns
    -------
    array
        The same, shape (n, n).
    """
    if not isinstance(matrix, sp.csr_array):
        return matrix  # whatever multiplies in its own way
    cells = matrix.shape[0] * matrix.shape[1]
    dense = matrix.nnz > DENSE_SHARE * cells and max(matrix.shape) <= DENSE_MOST
    return matrix.toarray() if dense else matrix


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

    Returns
    -------
    array
        Of the shape of each in `met`, 0-1.
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


def share_supplies(
    room: Array,
    demands: Sequence[Demand],
    *,
    whole: Array,
    form: Form = "scarcest",
    lowest: float = 0.01,
    sheets: bool = True,
) -> Shares:
    """Share all supplies among the homes.

    Parameters
    ----------
    room
        Shape (n, K), homes there is room for, N, under K readings of what is not known.
    demands
        The needs.
    whole
        Shape (n, K), 0-1: limits quality where the pieces of anchor within its own reach do not
        add up to a whole home.
    form, lowest
        See `quality_of`.
    sheets
        Whether `met` and `limits` are wanted in full under the first reading; else `met` of a
        vital need is just what is taken of it.

    Returns
    -------
    Shares
        0 where there is no room.
    """
    met = [np.zeros_like(room) for _ in demands]
    quality = np.zeros_like(room)
    limits: Limits | None = None
    vital: tuple[Filled, Array] | None = None
    by_need = [demand.larders() for demand in demands]
    for reading in range(room.shape[1]):
        one = share_out(
            room[:, reading], demands, [larders[reading] for larders in by_need], whole[:, reading],
            form=form, lowest=lowest, sheets=sheets and reading == 0,
        )  # fmt: skip
        for at, share in enumerate(one.met):
            met[at][:, reading] = share[:, 0]
        quality[:, reading] = one.quality[:, 0]
        limits = one.limits if reading == 0 else limits
        vital = one.vital
    return Shares(tuple(met), quality, limits, vital)


def share_out(
    room: Array,
    demands: Sequence[Demand],
    larders: Sequence[Larder],
    whole: Array,
    *,
    form: Form,
    lowest: float,
    sheets: bool,
) -> Shares:
    """`share_supplies` under one reading.

    Parameters
    ----------
    room, whole
        Shape (n,): homes there is room for, and the part of a whole home there is (0-1).
    demands, larders
        The needs, and what each finds, with one reading (n, 1).
    form, lowest, sheets
        As in `share_supplies`.
    """
    shared = _means if form == "mean" else _scarcest
    met, quality, held, vital = shared(room, demands, larders, whole, lowest=lowest, sheets=sheets)
    there = room > 0
    limits = _limits(there, demands, larders, held, quality, whole) if sheets else None
    return Shares(
        tuple(np.where(there, m, 0.0)[:, None] for m in met),
        np.where(there, quality, 0.0)[:, None],
        limits,
        vital,
    )


@dataclass(frozen=True, eq=False)
class _Held:
    """How some needs came out of one filling: places among the demands, and its result."""

    needs: tuple[int, ...]
    filled: Filled


_Result = tuple[list[Array], Array, list[_Held], tuple[Filled, Array] | None]


def _means(
    room: Array,
    demands: Sequence[Demand],
    larders: Sequence[Larder],
    whole: Array,
    *,
    lowest: float,
    sheets: bool,  # noqa: ARG001 - the same call as `_scarcest`
) -> _Result:
    held = [_Held((at,), fill(room, larder.ceiling, [larder])) for at, larder in enumerate(larders)]
    met = [one.filled.level for one in held]
    quality = quality_of(met, demands, form="mean", lowest=lowest) if met else np.ones_like(room)
    return met, np.minimum(whole, quality), held, None


def _scarcest(
    room: Array,
    demands: Sequence[Demand],
    larders: Sequence[Larder],
    whole: Array,
    *,
    lowest: float,  # noqa: ARG001 - the same call as `_means`
    sheets: bool,
) -> _Result:
    vital = tuple(at for at, demand in enumerate(demands) if demand.floor == 0)
    helpful = [at for at in range(len(demands)) if at not in vital]
    ceiling = np.ones_like(room)
    for at in vital:
        ceiling = np.minimum(ceiling, larders[at].ceiling)

    def live(homes: Array) -> Filled:
        return fill(homes, ceiling, [larders[at] for at in vital])

    def helped(homes: Array) -> tuple[dict[int, Filled], Array]:
        filled = {at: fill(homes, larders[at].ceiling, [larders[at]]) for at in helpful}
        worth = np.ones_like(room)
        for at in helpful:
            worth = worth * (demands[at].floor + (1 - demands[at].floor) * filled[at].level)
        return filled, worth

    living, beside, lower = live(room), np.ones_like(room), room > 0
    taking = room
    first: dict[int, Filled] = {}
    second: dict[int, Filled] = {}
    if helpful:
        first, beside = helped(room * living.level)
        second, again = first, beside
        if (beside < 1).any():
            taking = room * beside
            living = live(taking)
            second, again = helped(taking * living.level)
        lower = beside <= again
        beside = np.minimum(beside, again)
    quality = np.minimum(whole, living.level * beside)
    met = [living.level] * len(demands)
    held = [_Held(vital, living)] if vital else []
    for at in helpful:
        one = _either(first[at], second[at], lower)
        met[at] = one.level
        held.append(_Held((at,), one))
    if sheets:
        for at in vital:
            further = fill(taking, larders[at].ceiling, [larders[at]], least=living.level)
            met[at] = np.maximum(living.level, further.level)
    return met, quality, held, (living, taking)


def _either(first: Filled, second: Filled, which: NDArray[np.bool_]) -> Filled:
    """Plot by plot the first where `which`, else the second."""
    return Filled(
        np.where(which, first.level, second.level),
        np.where(
            which,
            first.stop,
            np.where(second.stop < 0, -1, second.stop + len(first.stops)),
        ),
        first.stops + second.stops,
    )


def _limits(
    there: NDArray[np.bool_],
    demands: Sequence[Demand],
    larders: Sequence[Larder],
    held: Sequence[_Held],
    quality: Array,
    whole: Array,
) -> Limits:
    """Find the filling that takes most off a home, and the set that stopped it there."""
    scarce = np.full(len(there), -1, dtype=np.intp)
    stop: list[Stop | None] = [None] * len(there)
    worth = np.stack(
        [np.ones(len(there)), *(_worth(demands[one.needs[0]], one.filled.level) for one in held)]
    )
    least = worth.argmin(axis=0)
    short = there & (least > 0) & (quality < whole)
    for at in np.flatnonzero(short).tolist():
        one = held[least[at] - 1]
        number = int(one.filled.stop[at])
        if number >= 0:
            found = one.filled.stops[number]
            scarce[at] = one.needs[found.need]
            stop[at] = found._replace(need=int(scarce[at]))
        else:
            scarce[at] = min(one.needs, key=lambda need: (larders[need].ceiling[at], need))
            stop[at] = _alone(larders[scarce[at]], int(scarce[at]), at)
    return Limits(scarce, tuple(stop))


def _worth(demand: Demand, met: Array) -> Array:
    return demand.floor + (1 - demand.floor) * met


def _alone(larder: Larder, need: int, plot: int) -> Stop:
    """What one plot finds within reach is too little even for itself."""
    within = larder.within[plot]
    months = (int(within.argmin()),) if larder.worst else tuple(range(len(within)))
    reached = reached_from(larder.ways.matrix, plot)
    given = larder.supply[reached][:, list(months)].sum(axis=1) > 0
    level = float(larder.ceiling[plot])
    return Stop(need, months, level, np.array([plot]), reached[given].astype(np.intp))
