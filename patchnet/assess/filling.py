"""Filling alike: all homes rise together until a set of them can take no more of some need.

Those stop, the others go on. What comes out is max-min fair (nobody could have more without
somebody who has no more than he having less; Bertsekas & Gallager 1992, Data Networks, section
6.5.2), and since what can be fed at once is a convex set, it is one answer and no other. It never
promises more than is there: what is claimed can be fed from within reach, need by need and month
by month, to a billionth of all that is wanted.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse import csgraph

from patchnet.assess.blocks import Blocks
from patchnet.assess.flow import Begun, net_of

__all__ = ["FEW", "TOLERANCE", "Filled", "Larder", "Stop", "Ways", "fill", "no_less"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Places = NDArray[np.intp]

TOLERANCE = 1e-9
"""Share of what homes that share supplies want that may be claimed beyond what is there."""
_MOST_KNOWN = 250_000  # plots x ways in which homes share supplies, kept for each reach: 10 MB
FEW = 300
"""Plots up to which a dense product is quicker than three sparse ones over bunches."""
_SPLITS = 4  # ways of splitting supplies that are tried before a flow, which begins with the last


class Stop(NamedTuple):
    """Why some homes could rise no further: together they take all there is within their reach.

    Attributes
    ----------
    need
        Which of the needs that were filled.
    months
        Places of the months among the need's months: one where the worst month decides.
    level
        Share of a home's needs at which they stopped.
    sharers
        Positions of the plots whose homes together take all of it, ascending; some of them may
        have stopped before.
    suppliers
        Positions of the plots that supply it.
    """

    need: int
    months: tuple[int, ...]
    level: float
    sharers: Places
    suppliers: Places


class Filled(NamedTuple):
    """How far homes rose.

    Attributes
    ----------
    level
        Shape (n,), 0-1: what each home reached; where there is no room, its ceiling.
    stop
        Shape (n,): which of `stops` held it, -1 where it reached its ceiling.
    stops
        In the order in which they came.
    """

    level: Array
    stop: Places
    stops: tuple[Stop, ...]


class Ways(NamedTuple):
    """Who reaches whom, n plots.

    Attributes
    ----------
    blocks
        As blocks of ones.
    matrix
        As a matrix; dense where that is quicker to multiply by.
    """

    blocks: Blocks
    matrix: "sp.csr_array | Array"

    def times(self, values: Array) -> Array:
        """Return sums over what each plot reaches, in the quickest way.

        Parameters
        ----------
        values
            Shape (n, k).

        Returns
        -------
        array
            Shape (n, k).
        """
        return np.asarray(self.matrix @ values) if self._few else self.blocks.times(values)

    def transposed_times(self, values: Array) -> Array:
        """Return sums over the plots that reach each plot, as `times`."""
        if self._few:
            return np.asarray(self.matrix.T @ values)
        return self.blocks.transposed_times(values)

    @property
    def _few(self) -> bool:
        """Whether products over all pairs are quicker than bunch by bunch."""
        return isinstance(self.matrix, np.ndarray) and len(self.matrix) <= FEW


@dataclass(frozen=True, eq=False)
class Larder:
    """One need as it is filled: what is there in which month, and who reaches it.

    Attributes
    ----------
    ways
        Who reaches whom.
    supply
        Shape (n, M), in homes: over the amount that one home takes.
    within
        Shape (n, M): what of it lies within reach of each plot.
    worst
        Whether the worst month decides, or the mean of the months.
    known
        Fillings that began with this need, by all that decides how they come out; None: they are
        not kept. Of many changes most leave some of the needs as they are.
    """

    ways: Ways
    supply: Array
    within: Array
    worst: bool
    known: dict[Hashable, Filled] | None = None

    @cached_property
    def ceiling(self) -> Array:
        """Shape (n,): what one home gets of it that shares with nobody."""
        alone = np.minimum(1.0, self.within)
        most: Array = alone.min(axis=1) if self.worst else alone.mean(axis=1)
        return most

    @cached_property
    def shelves(self) -> "tuple[_Shelf, ...]":
        """What can clash: each month by itself that can be the worst, or all months together."""
        # Of the larder they hold what they need and not itself: a circle would keep its arrays.
        ways, months = self.ways, self.supply.shape[1]
        fewer = no_less(self.supply)
        alike = fewer & fewer.T
        first = ~(alike & np.tri(months, k=-1, dtype=bool)).any(axis=1)
        if self.worst:
            spare = fewer & ~alike  # [m, k]: month m has nowhere less than k, and somewhere more
            kept = np.flatnonzero(first & ~spare.any(axis=1))
            return tuple(
                _Shelf(ways, (int(month),), np.ones(1), self.supply[:, [month]], worst=True)
                for month in kept
            )
        kept = np.flatnonzero(first)
        times = alike[kept].sum(axis=1).astype(float)
        return (_Shelf(ways, tuple(range(months)), times, self.supply[:, kept], worst=False),)

    @cached_property
    def supplied(self) -> Flags:
        """Shape (n,): True where a plot supplies anything."""
        there: Flags = np.asarray((self.supply > 0).any(axis=1))
        return there


def no_less(supply: Array) -> Flags:
    """Shape (M, M): True where no row of `supply` has less in month m than in month k.

    Parameters
    ----------
    supply
        Shape (n, M): n plots, M months, any unit.
    """
    less = supply[:, :, None] < supply[:, None, :]
    return ~np.asarray(less.any(axis=0))


class _Clash(NamedTuple):
    """A set of plots that want more than there is, what there is, and where it comes from."""

    wanting: Flags
    most: Array
    given: Flags


@dataclass(frozen=True, eq=False)
class _Shelf:
    """One month, or months of which homes take the mean; like months stand together."""

    ways: Ways
    months: tuple[int, ...]
    times: Array
    supply: Array
    worst: bool

    def split(self, room: Array, share: Array) -> tuple[Array, Array] | None:
        """Split every supply in proportion to what plots ask of it; None where all is met so.

        Plots ask first for what they want; then those that got too much ask for less and those
        that got too little for more, a few times (Sinkhorn & Knopp 1967, Pacific Journal of
        Mathematics 21:343-348, scale a matrix so). Where all is met nothing clashes, and no flow is
        needed to know it; where not, only a flow knows. What is so within rounding comes to the
        same either way: a clash of no more than `TOLERANCE` stops nobody.

        Returns
        -------
        tuple or None
            What plots ask and suppliers offer, each of shape (n, layers), as `Begun.of` takes it:
            nobody draws more than he wants.
        """
        worst, ways = self.worst, self.ways
        wanted = (room * share if worst else np.where(share > 0, room, 0.0))[:, None]
        there = wanted[:, 0] > 0
        asked = np.ones((len(room), self.supply.shape[1]))
        for _ in range(_SPLITS):
            drawn = wanted * asked
            takers = ways.transposed_times(drawn)
            one_over = np.where(takers > 0, 1.0 / np.where(takers > 0, takers, 1.0), 0.0)
            offered = self.supply * one_over
            got = asked * ways.times(offered)
            drawn = drawn / np.maximum(1.0, got)
            if worst:
                met = got[there, 0]
            else:
                met = (np.minimum(1.0, got) @ self.times / self.times.sum())[there] / share[there]
                asked /= np.maximum(1.0, got)
            if not bool((met < 1.0).any()):
                return None
            if not bool((met > 0.0).all()):
                break
            asked[there] /= met[:, None]
        if not worst:
            drawn[there] *= self.times / np.maximum(1.0, met)[:, None]
        return drawn, offered

    def clash(self, room: Array, share: Array) -> _Clash | None:
        """Find plots that want more than lies within their reach; None where there are none.

        `most` is, for each plot of the set, its own part of what bounds the set; `given` are the
        suppliers.
        """
        wanted = room * share
        if not wanted.any() or (split := self.split(room, share)) is None:
            return None
        months = float(self.times.sum())
        layers = len(self.times)
        net = net_of(self.ways.blocks, layers)
        own = room[:, None] * self.times
        supply = self.supply * self.times
        if layers == 1:
            # One month alone: no more than a home's worth of it is ever wanted.
            begun = Begun.of(self.ways.blocks, split[0] / months, split[1])
            passed = net.passed(wanted, supply / months, begun=begun)
            bounded = np.zeros(len(room))
        else:
            begun = Begun.of(self.ways.blocks, *split)
            passed = net.passed(wanted * months, supply, own, begun)
            bounded = (own * passed.bound).sum(axis=1) / months
        if not passed.wanting.any():
            return None
        given = (supply * passed.given).sum(axis=1) / months
        return _Clash(passed.wanting, bounded, given)


def fill(
    room: Array, ceiling: Array, larders: Sequence[Larder], *, least: Array | None = None
) -> Filled:
    """Let all homes rise alike.

    Parameters
    ----------
    room
        Shape (n,): homes that take part, which may be parts of one.
    ceiling
        Shape (n,), 0-1: how far homes can rise at most.
    larders
        The needs that rise together. Homes at a level take that share of every need, no more.
    least
        Shape (n,): levels that homes have already and keep (it must be known that they can be
        fed); they rise beyond when the others have caught up.

    Returns
    -------
    Filled
        Max-min fair and unique to `TOLERANCE`.

    References
    ----------
    Max-min fairness by stopping sets: Megiddo 1974, Mathematical Programming 7:97-107 (optimal
    flows in networks with multiple sources and sinks).
    """
    known = larders[0].known if larders else None
    if known is None:
        return _filled(room, ceiling, larders, least)
    lowest = None if least is None else least.tobytes()
    key = room.tobytes(), ceiling.tobytes(), lowest, *larders[1:]
    if key not in known:
        known[key] = _filled(room, ceiling, larders, least)
    return known[key]


def _filled(room: Array, ceiling: Array, larders: Sequence[Larder], least: Array | None) -> Filled:
    rise = _Rise(room, ceiling, larders, least)
    while rise.rising.any():
        rise.next_level()
    return Filled(rise.level, rise.stop, tuple(rise.stops))


class _Rise:
    """Homes on their way up; those that share no supply with each other rise apart.

    Attributes
    ----------
    floor, ceiling
        Shape (n,): levels that homes have in any case, and that they can reach at most.
    level, stop, stops
        As they come out (see `Filled`).
    rising
        Shape (n,): True while a home rises.
    part
        Shape (n,): which homes share supplies, directly or through others.
    reached
        Shape (parts,): how far each part has come.
    """

    def __init__(
        self, room: Array, ceiling: Array, larders: Sequence[Larder], least: Array | None
    ) -> None:
        self.room, self.ceiling = room, ceiling
        self.floor = np.zeros(len(room)) if least is None else np.minimum(least, ceiling)
        self.shelves = [
            (at, shelf) for at, larder in enumerate(larders) for shelf in larder.shelves
        ]
        self.part, self.supplied = (
            _parts_known(room > 0, larders)
            if larders
            else (
                np.zeros(len(room), dtype=np.intp),
                [],
            )
        )
        self.level, self.stop = ceiling.copy(), np.full(len(room), -1, dtype=np.intp)
        self.stops: list[Stop] = []
        self.rising = (room > 0) & (ceiling > self.floor)
        self.reached = np.zeros(int(self.part.max(initial=-1)) + 1)

    def shares(self, top: Array) -> Array:
        """Shape (n,): levels when each part has risen to its `top`."""
        risen = np.maximum(self.floor, np.minimum(top[self.part], self.ceiling))
        return np.where(self.rising, risen, self.level)

    def next_level(self) -> None:
        """Rise until the next sets can take no more, and stop those."""
        top = np.zeros(len(self.reached))
        np.maximum.at(top, self.part[self.rising], self.ceiling[self.rising])
        held: dict[int, Stop] = {}
        for at, shelf in self.shelves:
            held |= self.lowered_as_wholes(at, shelf, top)
        for at, shelf in self.shelves:
            # What fits at one level fits at every lower one: each shelf is looked at once.
            while lower := self.lowered(at, shelf, top):
                held |= lower
        levels = self.shares(top)
        done = self.rising & (self.ceiling <= top[self.part])
        for stop in held.values():
            sharers = stop.sharers[self.rising[stop.sharers] & ~done[stop.sharers]]
            self.stop[sharers] = len(self.stops)
            self.stops.append(stop)
            done[sharers] = True
        self.level[done] = levels[done]
        self.rising &= ~done
        self.reached = top

    def lowered_as_wholes(self, at: int, shelf: _Shelf, top: Array) -> dict[int, Stop]:
        """Lower parts in which all homes together want more than there is: no flow is needed."""
        wanted = np.bincount(self.part, self.room * self.shares(top), minlength=len(top))
        supply = shelf.supply @ shelf.times / shelf.times.sum()
        mine = self.supplied[at] < len(top)  # other supplies are out of reach of any home
        there = np.bincount(self.supplied[at][mine], supply[mine], minlength=len(top))
        lower: dict[int, Stop] = {}
        for part in np.flatnonzero(wanted - there > TOLERANCE * wanted).tolist():
            sharers = np.flatnonzero((self.part == part) & (self.room > 0))
            given = np.flatnonzero((self.supplied[at] == part) & (supply > 0))
            lower |= self.stopped(at, shelf, part, (sharers, given, float(there[part])), top)
        return lower

    def stopped(
        self,
        at: int,
        shelf: _Shelf,
        part: int,
        clash: tuple[Places, Places, float],
        top: Array,
    ) -> dict[int, Stop]:
        """Lower the top of one part to where a set of it must stop, if that is lower."""
        sharers, given, most = clash
        level = max(self.level_of(sharers, most), float(self.reached[part]))
        if level >= top[part]:
            return {}
        top[part] = level
        return {part: Stop(at, shelf.months, level, sharers, given)}

    def lowered(self, at: int, shelf: _Shelf, top: Array) -> dict[int, Stop]:
        """Lower parts in which some set wants too much of one shelf to where it must stop."""
        share = self.shares(top)
        clash = shelf.clash(self.room, share)
        if clash is None:
            return {}
        wanted = self.room * share
        in_all = np.bincount(self.part, weights=wanted, minlength=len(top))
        lower: dict[int, Stop] = {}
        for part in np.unique(self.part[clash.wanting]).tolist():
            sharers = np.flatnonzero(clash.wanting & (self.part == part))
            given = np.flatnonzero((clash.given > 0) & (self.supplied[at] == part))
            most = float(clash.most[sharers].sum() + clash.given[given].sum())
            if wanted[sharers].sum() - most <= TOLERANCE * in_all[part]:
                continue
            lower |= self.stopped(at, shelf, part, (sharers, given, most), top)
        return lower

    def level_of(self, sharers: Places, most: float) -> float:
        """Return the level at which a set wants just so much; its wants rise in straight pieces."""
        moving = sharers[self.rising[sharers]]
        fixed = float((self.room * self.level)[sharers[~self.rising[sharers]]].sum())
        room, floor, ceiling = self.room[moving], self.floor[moving], self.ceiling[moving]
        bends, turn = np.r_[floor, ceiling], np.r_[room, -room]
        order = np.argsort(bends, kind="stable")
        bends, slope = bends[order], np.cumsum(turn[order])
        wants = fixed + float(room @ floor) + np.r_[0.0, np.cumsum(slope[:-1] * np.diff(bends))]
        if not len(bends) or wants[0] >= most:
            return 0.0
        at = int(np.searchsorted(wants, most, side="left")) - 1
        return float(bends[at] + (most - wants[at]) / slope[at])


def _parts_known(homes: Flags, larders: Sequence[Larder]) -> tuple[Places, list[Places]]:
    """Return `_parts`, each worked out once: of many trials most give to the same plots."""
    known = larders[0].ways.blocks.known
    key = homes.tobytes(), tuple((one.ways.blocks.mark, one.supplied.tobytes()) for one in larders)
    if key not in known:
        if len(known) * len(homes) >= _MOST_KNOWN:
            known.clear()
        known[key] = _parts(homes, larders)
    found: tuple[Places, list[Places]] = known[key]
    return found


def _parts(homes: Flags, larders: Sequence[Larder]) -> tuple[Places, list[Places]]:
    """Find which homes share supplies, directly or through others; and whose each supply is.

    Returns
    -------
    tuple
        Shape (n,): the number of each home's part; and for each need, shape (n,), the part that
        each supplier belongs to.
    """
    n = len(homes)
    tails, heads, starts = [np.zeros(0, np.intp)], [np.zeros(0, np.intp)], []
    knots = n
    for larder in larders:
        tail, head = larder.ways.blocks.between(homes, larder.supplied)
        # Homes are the same knots for every need, all others are its own.
        tails.append(np.where(tail < n, tail, tail + knots - n))
        heads.append(np.where(head < n, head, head + knots - n))
        starts.append(knots)
        knots += larder.ways.blocks.knots - n
    tail, head = np.concatenate(tails), np.concatenate(heads)
    graph = sp.coo_array((np.ones(len(tail), dtype=np.int8), (tail, head)), shape=(knots, knots))
    _, label = csgraph.connected_components(graph, directed=False)
    label = np.asarray(label, dtype=np.intp)
    return label[:n], [label[start : start + n] for start in starts]
