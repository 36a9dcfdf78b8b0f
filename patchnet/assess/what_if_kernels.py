"""Compiled kernels of the trials: routes over stops, and sharing for many changes of one plot.

`LANES` trials are worked through side by side, so that each step is one instruction on several
numbers. Everything is a plain sum in a fixed order: the same input gives the same bits.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.sums_by_likeness import RowSums, Shared, Tried
from patchnet.core.compiled import kernel

__all__ = ["LANES", "settle_lanes", "take_in_stops"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LANES = 8
_NO_ROUTE = 2**30 - 1
_LOST = 1e-3  # a sum left so small by taking away is added up again, so that it keeps its digits


@kernel
def take_in_stops(lengths: NDArray[np.int32], stops: Ints) -> None:
    """Shorten all routes by resting on each of the stops, in place."""
    size = len(lengths)
    onward = np.empty(size, np.int32)
    for stop in stops:
        onward[:] = lengths[stop]
        for i in range(size):
            first = lengths[i, stop]
            if first < _NO_ROUTE:
                row = lengths[i]
                for j in range(size):
                    row[j] = min(row[j], first + onward[j])


@kernel
def _add_anew(sums: RowSums, need: int, row: int, terms: Floats, out: Floats, peak: Floats) -> None:
    for lane in range(LANES):
        out[row, lane] = 0.0
    for at in range(sums.all_start[need, row], sums.all_start[need, row + 1]):
        column = sums.all[at]
        for lane in range(LANES):
            out[row, lane] += terms[column, lane]
    for lane in range(LANES):
        peak[row, lane] = out[row, lane]


@kernel
def _add_up(sums: RowSums, need: int, terms: Floats, out: Floats, peak: Floats) -> None:
    """Add the terms up for every row, each from its parent's sum.

    `peak` is the largest sum on the way to a row since one was last added up again: its rounding
    is what a row may have inherited.
    """
    for place in range(sums.order.shape[1]):
        row, parent = sums.order[need, place], sums.parent[need, place]
        for lane in range(LANES):
            out[row, lane] = out[parent, lane] if parent >= 0 else 0.0
            peak[row, lane] = peak[parent, lane] if parent >= 0 else 0.0
        for at in range(sums.more_start[need, place], sums.more_start[need, place + 1]):
            column = sums.more[at]
            for lane in range(LANES):
                out[row, lane] += terms[column, lane]
        for lane in range(LANES):
            peak[row, lane] = max(peak[row, lane], out[row, lane])
        for at in range(sums.less_start[need, place], sums.less_start[need, place + 1]):
            column = sums.less[at]
            for lane in range(LANES):
                out[row, lane] -= terms[column, lane]
        lost = False
        for lane in range(LANES):
            lost |= out[row, lane] < _LOST * peak[row, lane]
        if lost:
            _add_anew(sums, need, row, terms, out, peak)


class _Room(NamedTuple):
    """Room to work in, so that nothing is asked for again in a round."""

    homes: Floats
    takers: Floats
    given: Floats
    access: Floats
    peak: Floats
    own_homes: Floats
    own_takers: Floats
    own_given: Floats
    own_access: Floats


@kernel
def _take(need: int, first: int, shared: Shared, tried: Tried, admitted: Floats, at: _Room) -> None:
    """Write 1 / (homes that take from each plot) into ``at.takers`` and ``own_takers``."""
    count, plots = len(tried.room), len(at.takers)
    for lane in range(LANES):
        at.own_homes[lane] = tried.plot_room[first + lane] * admitted[count, lane]
        at.own_takers[lane] = at.own_homes[lane]
    for row in range(count):
        near = shared.near_home[need, row]
        for lane in range(LANES):
            at.homes[row, lane] = tried.room[row] * admitted[row, lane]
            at.own_takers[lane] += near * at.homes[row, lane]
    _add_up(shared.takers, need, at.homes, at.takers, at.peak)
    for plot in range(plots):
        near = shared.near_plot[need, plot]
        for lane in range(LANES):
            here = at.takers[plot, lane] + near * at.own_homes[lane]
            at.takers[plot, lane] = 1.0 / here if here > 0 else 0.0
    for lane in range(LANES):
        here = at.own_takers[lane]
        at.own_takers[lane] = 1.0 / here if here > 0 else 0.0


@kernel
def _give(need: int, month: int, first: int, shared: Shared, tried: Tried, at: _Room) -> None:
    """Write what one home gets in a month, in homes, into ``at.access``."""
    count = len(tried.room)
    for lane in range(LANES):
        at.own_given[lane] = tried.supply[month, first + lane] * at.own_takers[lane]
        at.own_access[lane] = at.own_given[lane]
    for plot in range(len(at.takers)):
        near = shared.near_plot[need, plot]
        for lane in range(LANES):
            at.given[plot, lane] = shared.supply[month, plot] * at.takers[plot, lane]
            at.own_access[lane] += near * at.given[plot, lane]
    _add_up(shared.givers, need, at.given, at.access, at.peak)
    for row in range(count):
        near = shared.near_home[need, row]
        most = shared.within[month, row]
        for lane in range(LANES):
            got = at.access[row, lane] + near * at.own_given[lane]
            at.access[row, lane] = min(got, most + near * tried.supply[month, first + lane])
    most = shared.within[month, count]
    for lane in range(LANES):
        own = most + tried.supply[month, first + lane]
        at.access[count, lane] = min(at.own_access[lane], own)


@kernel
def _meet(
    need: int, first: int, shared: Shared, tried: Tried, admitted: Floats, met: Floats, at: _Room
) -> None:
    """Share one need among the homes admitted to it: `met`, shape (h + 1, LANES)."""
    _take(need, first, shared, tried, admitted, at)
    worst = shared.worst[need]
    met[:] = 1.0 if worst else shared.settled_share[need]
    for month in range(shared.months[need], shared.months[need + 1]):
        _give(need, month, first, shared, tried, at)
        share = shared.share[month]
        for row in range(len(met)):
            for lane in range(LANES):
                got = min(1.0, at.access[row, lane])
                if worst:
                    met[row, lane] = min(met[row, lane], got)
                else:
                    met[row, lane] += share * got


@kernel
def _scarcest(without: int, met: Floats, floor: Floats, quality: Floats) -> None:
    helpful = np.empty(LANES)
    for row in range(met.shape[1]):
        for lane in range(LANES):
            quality[row, lane] = 1.0
            helpful[lane] = 1.0
        for need in range(met.shape[0]):
            if need == without:
                continue
            if floor[need] == 0:
                for lane in range(LANES):
                    quality[row, lane] = min(quality[row, lane], met[need, row, lane])
            else:
                for lane in range(LANES):
                    helpful[lane] *= floor[need] + (1 - floor[need]) * met[need, row, lane]
        for lane in range(LANES):
            quality[row, lane] *= helpful[lane]


@kernel
def _mean(
    without: int, met: Floats, weight: Floats, votes: float, lowest: float, quality: Floats
) -> None:
    if without >= 0:
        votes -= weight[without]
    for row in range(met.shape[1]):
        for lane in range(LANES):
            logs = 0.0
            for need in range(met.shape[0]):
                if need != without:
                    logs += weight[need] * np.log(max(met[need, row, lane], lowest))
            quality[row, lane] = np.exp(logs / votes)


@kernel
def _quality(
    without: int, met: Floats, shared: Shared, votes: float, lowest: float, quality: Floats
) -> None:
    """Quality of every home from all needs but one (all where `without` is -1)."""
    if votes > 0:
        _mean(without, met, shared.weight, votes, lowest, quality)
    else:
        _scarcest(without, met, shared.floor, quality)


@kernel
def _admit(limit: Floats, alive: Floats, damping: float, admitted: Floats) -> None:
    for row in range(len(limit)):
        for lane in range(LANES):
            new = min(limit[row, lane], alive[row, lane])
            admitted[row, lane] = (1 - damping) * admitted[row, lane] + damping * new


@kernel
def _limit(block: int, tried: Tried, limit: Floats) -> None:
    for row in range(len(limit)):
        for lane in range(LANES):
            whole = tried.whole[row] + tried.near_whole[row] * tried.plot_room[block + lane]
            limit[row, lane] = min(1.0, whole)


@kernel
def _hold(block: int, tried: Tried, limit: Floats, alive: Floats, held: Floats) -> None:
    count = len(tried.room)
    for row in range(count + 1):
        for lane in range(LANES):
            room = tried.room[row] if row < count else tried.plot_room[block + lane]
            held[row, block + lane] = room * min(limit[row, lane], alive[row, lane])


@kernel
def settle_lanes(
    first: int,
    last: int,
    shared: Shared,
    tried: Tried,
    rounds: int,
    damping: float,
    votes: float,
    lowest: float,
    held: Floats,
) -> None:
    """Homes held at each home, shape (h + 1, trials), for trials `first` to `last`.

    The same rounds as `patchnet.assess.sharing.settle`. `votes` is the weight of all needs of
    the group together, those that are met anyway among them, where quality is their weighted
    mean; 0 where the scarcest need decides.
    """
    needs, plots = shared.near_plot.shape
    count = len(tried.room)
    limit, alive = np.empty((count + 1, LANES)), np.empty((count + 1, LANES))
    admitted = np.empty((needs, count + 1, LANES))
    met = np.empty((needs, count + 1, LANES))
    at = _Room(
        np.empty((count, LANES)), np.empty((plots, LANES)), np.empty((plots, LANES)),
        np.empty((count + 1, LANES)), np.empty((max(count, plots), LANES)),
        np.empty(LANES), np.empty(LANES), np.empty(LANES), np.empty(LANES),
    )  # fmt: skip
    for block in range(first, last, LANES):
        _limit(block, tried, limit)
        admitted[:] = 1.0
        alive[:] = 1.0
        for turn in range(rounds + 1):
            # A need by itself waits for nobody: how it is met matters only in the end.
            if needs > 1 or turn == rounds:
                for need in range(needs):
                    _meet(need, block, shared, tried, admitted[need], met[need], at)
            if turn == rounds:
                break
            for need in range(needs):
                if needs > 1:
                    _quality(need, met, shared, votes, lowest, alive)
                _admit(limit, alive, damping, admitted[need])
        _quality(-1, met, shared, votes, lowest, alive)
        _hold(block, tried, limit, alive, held)
