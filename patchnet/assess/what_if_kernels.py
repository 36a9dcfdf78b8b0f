"""Compiled kernels of the trials: routes over stops, and portions for many changes of one plot.

`LANES` trials are worked through side by side, so that each step is one instruction on several
numbers. Everything is a plain sum in a fixed order: the same input gives the same bits. Loops are
written out, for expressions of whole arrays take the compiler several times as long.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.portions import PORTIONS, STILL
from patchnet.assess.sums_by_likeness import RowSums, Shared, Tried
from patchnet.core.compiled import kernel, kernel_part

__all__ = ["LANES", "fill_lanes", "take_in_stops"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LANES = 8
_NO_ROUTE = 2**30 - 1
_LOST = 1e-3  # a sum left so small by taking away is added up again, so that it keeps its digits


@kernel
def take_in_stops(lengths: NDArray[np.int32], stops: Ints) -> None:
    """Shorten all routes by resting on each of the stops, in place.

    Parameters
    ----------
    lengths
        Shape (n, n), whole millimetres: as from `route_lengths`, changed in place.
    stops
        Shape (s,): positions of plots.
    """
    size = len(lengths)
    onward = np.empty(size, np.int32)
    for stop in stops:
        for j in range(size):
            onward[j] = lengths[stop, j]
        for i in range(size):
            first = lengths[i, stop]
            if first < _NO_ROUTE:
                row = lengths[i]
                for j in range(size):
                    row[j] = min(row[j], first + onward[j])


@kernel_part
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
    """Room to work in, so that nothing is asked for again in a portion.

    `order` has the needs, the vital ones first. `speed`, `rise`, `taking` and `takes` have shape
    (h + 1, LANES), the plot last; `left` and `price` (months, n + 1, LANES), the plot last; `offer`
    and `had` (months, h + 1, LANES); `mean` (needs, h + 1, LANES).
    """

    order: Ints
    speed: Floats
    rise: Floats
    taking: Floats
    takes: Floats
    left: Floats
    price: Floats
    offer: Floats
    had: Floats
    mean: Floats
    sums: Floats
    peak: Floats


@kernel_part
def _to_plots(need: int, shared: Shared, homes: Floats, at: _Room) -> None:
    """Put what homes come to at each plot that they reach into ``at.sums``, the plot last."""
    count, plots = len(homes) - 1, shared.near_plot.shape[1]
    _add_up(shared.takers, need, homes, at.sums, at.peak)
    for plot in range(plots):
        near = shared.near_plot[need, plot]
        for lane in range(LANES):
            at.sums[plot, lane] += near * homes[count, lane]
    for lane in range(LANES):
        at.sums[plots, lane] = homes[count, lane]
    for row in range(count):
        near = shared.near_home[need, row]
        for lane in range(LANES):
            at.sums[plots, lane] += near * homes[row, lane]


@kernel_part
def _to_homes(need: int, shared: Shared, given: Floats, out: Floats, peak: Floats) -> None:
    """Put what plots give into `out`, shape (h + 1, LANES), by home and for the plot last."""
    count, plots = len(out) - 1, shared.near_plot.shape[1]
    _add_up(shared.givers, need, given, out, peak)
    for row in range(count):
        near = shared.near_home[need, row]
        for lane in range(LANES):
            out[row, lane] += near * given[plots, lane]
    for lane in range(LANES):
        out[count, lane] = given[plots, lane]
    for plot in range(plots):
        near = shared.near_plot[need, plot]
        for lane in range(LANES):
            out[count, lane] += near * given[plot, lane]


@kernel_part
def _set(out: Floats, value: float) -> None:
    """Put one value into an array of shape (rows, LANES)."""
    for row in range(len(out)):
        for lane in range(LANES):
            out[row, lane] = value


@kernel_part
def _times(one: Floats, other: Floats, out: Floats) -> None:
    """Put the products of two arrays of shape (rows, LANES) into a third."""
    for row in range(len(out)):
        for lane in range(LANES):
            out[row, lane] = one[row, lane] * other[row, lane]


@kernel_part
def _ceiling(need: int, block: int, shared: Shared, tried: Tried, out: Floats) -> None:
    """What one home gets of a need that shares with nobody, shape (h + 1, LANES)."""
    count = len(tried.room) - 1
    worst = shared.worst[need]
    _set(out, 1.0 if worst else 0.0)
    for month in range(shared.months[need], shared.months[need + 1]):
        for row in range(count + 1):
            near = shared.near_home[need, row] if row < count else 1.0
            for lane in range(LANES):
                got = shared.within[month, row] + near * tried.supply[month, block + lane]
                got = min(1.0, got)
                if worst:
                    out[row, lane] = min(out[row, lane], got)
                else:
                    out[row, lane] += shared.share[month] * got


@kernel_part
def _offered(need: int, shared: Shared, at: _Room) -> None:
    """Offer one need to all that still rise, and let `rise` be no more than that allows."""
    rows, plots = len(at.rise), shared.near_plot.shape[1]
    worst = shared.worst[need]
    _to_plots(need, shared, at.taking, at)
    _set(at.mean[need], 0.0)
    for month in range(shared.months[need], shared.months[need + 1]):
        price, offer = at.price[month], at.offer[month]
        for plot in range(plots + 1):
            for lane in range(LANES):
                takers = at.sums[plot, lane]
                price[plot, lane] = at.left[month, plot, lane] / takers if takers > 0 else 0.0
        _to_homes(need, shared, price, offer, at.peak)
        for row in range(rows):
            for lane in range(LANES):
                got = max(0.0, offer[row, lane] * at.speed[row, lane])
                offer[row, lane] = got
                if worst:
                    at.rise[row, lane] = min(at.rise[row, lane], got * PORTIONS)
                else:
                    more = min(got, 1.0 - at.had[month, row, lane])
                    at.mean[need, row, lane] += shared.share[month] * more
    if not worst:
        for row in range(rows):
            for lane in range(LANES):
                at.rise[row, lane] = min(at.rise[row, lane], at.mean[need, row, lane] * PORTIONS)


@kernel_part
def _eaten(need: int, shared: Shared, at: _Room) -> None:
    """Take what the rise comes to out of what is left."""
    rows, plots = len(at.rise), shared.near_plot.shape[1]
    for month in range(shared.months[need], shared.months[need + 1]):
        for row in range(rows):
            for lane in range(LANES):
                offer = at.offer[month, row, lane]
                eats = at.rise[row, lane] / PORTIONS
                if not shared.worst[need]:
                    mean = at.mean[need, row, lane]
                    more = min(offer, 1.0 - at.had[month, row, lane])
                    eats = eats * more / mean if mean > 0 else 0.0
                    at.had[month, row, lane] += eats
                takes = at.taking[row, lane] * eats / offer if offer > 0 else 0.0
                at.takes[row, lane] = takes
        _to_plots(need, shared, at.takes, at)
        for plot in range(plots + 1):
            for lane in range(LANES):
                gone = at.price[month, plot, lane] * at.sums[plot, lane]
                at.left[month, plot, lane] = max(0.0, at.left[month, plot, lane] - gone)


@kernel_part
def _stocked(need: int, block: int, shared: Shared, tried: Tried, at: _Room) -> None:
    """Put all there is of a need back, and nothing eaten."""
    plots = shared.near_plot.shape[1]
    for month in range(shared.months[need], shared.months[need + 1]):
        _set(at.had[month], 0.0)
        for lane in range(LANES):
            for plot in range(plots):
                at.left[month, plot, lane] = shared.supply[month, plot]
            at.left[month, plots, lane] = tried.supply[month, block + lane]


@kernel_part
def _wanted(ceiling: Floats, level: Floats, rise: Floats) -> None:
    """Let all rise by what is missing, in portions, one at the most."""
    for row in range(len(rise)):
        for lane in range(LANES):
            missing = (ceiling[row, lane] - level[row, lane]) * PORTIONS
            rise[row, lane] = max(0.0, min(1.0, missing))


@kernel_part
def _risen(rise: Floats, level: Floats, speed: Floats) -> bool:
    """Add the rise to the level, and say whether any rises on."""
    rising = False
    for row in range(len(rise)):
        for lane in range(LANES):
            level[row, lane] += rise[row, lane] / PORTIONS
            onward = rise[row, lane] > STILL
            speed[row, lane] = rise[row, lane] if onward else 0.0
            rising |= onward
    return rising


@kernel_part
def _fill(
    first: int,
    last: int,
    block: int,
    shared: Shared,
    tried: Tried,
    homes: Floats,
    ceiling: Floats,
    level: Floats,
    at: _Room,
) -> None:
    """Let homes rise in portions with the needs `first` to `last` of ``at.order``."""
    if first == last:
        for row in range(len(level)):
            for lane in range(LANES):
                level[row, lane] = ceiling[row, lane]
        return
    for turn in range(first, last):
        _stocked(at.order[turn], block, shared, tried, at)
    _set(at.speed, 1.0)
    _set(level, 0.0)
    for _ in range(PORTIONS):
        _times(homes, at.speed, at.taking)
        _wanted(ceiling, level, at.rise)
        for turn in range(first, last):
            _offered(at.order[turn], shared, at)
        for turn in range(first, last):
            _eaten(at.order[turn], shared, at)
        if not _risen(at.rise, level, at.speed):
            return


@kernel_part
def _helped(
    vital: int,
    block: int,
    shared: Shared,
    tried: Tried,
    homes: Floats,
    ceilings: Floats,
    level: Floats,
    worth: Floats,
    at: _Room,
) -> None:
    """What the helpful needs together are worth to homes."""
    _set(worth, 1.0)
    for turn in range(vital, len(at.order)):
        need = at.order[turn]
        floor = shared.floor[need]
        _fill(turn, turn + 1, block, shared, tried, homes, ceilings[need], level, at)
        for row in range(len(worth)):
            for lane in range(LANES):
                worth[row, lane] *= floor + (1 - floor) * level[row, lane]


@kernel_part
def _scarcest(
    vital: int, block: int, shared: Shared, tried: Tried, room: Floats, ceilings: Floats,
    quality: Floats, at: _Room,
) -> None:  # fmt: skip
    """The passes of `patchnet.assess.portions.share_in_portions`."""
    rows = len(room)
    ceiling, level = np.empty((rows, LANES)), np.empty((rows, LANES))
    _set(ceiling, 1.0)
    for turn in range(vital):
        need = at.order[turn]
        for row in range(rows):
            for lane in range(LANES):
                ceiling[row, lane] = min(ceiling[row, lane], ceilings[need, row, lane])
    none = 0 * vital  # a number of its kind: a bare nought would be compiled for itself
    _fill(none, vital, block, shared, tried, room, ceiling, quality, at)
    if vital == len(at.order):
        return
    first, again = np.empty((rows, LANES)), np.empty((rows, LANES))
    homes, held = np.empty((rows, LANES)), np.empty((rows, LANES))
    _times(room, quality, held)
    _helped(vital, block, shared, tried, held, ceilings, level, first, at)
    less = False
    for row in range(rows):
        for lane in range(LANES):
            less |= first[row, lane] < 1.0
    if not less:
        return
    _times(room, first, homes)
    _fill(none, vital, block, shared, tried, homes, ceiling, quality, at)
    _times(homes, quality, held)
    _helped(vital, block, shared, tried, held, ceilings, level, again, at)
    for row in range(rows):
        for lane in range(LANES):
            quality[row, lane] *= min(first[row, lane], again[row, lane])


@kernel_part
def _mean(
    block: int, shared: Shared, tried: Tried, room: Floats, ceilings: Floats, votes: float,
    lowest: float, quality: Floats, at: _Room,
) -> None:  # fmt: skip
    """The weighted geometric mean of all needs, each filled alone."""
    rows = len(room)
    level, logs = np.empty((rows, LANES)), np.empty((rows, LANES))
    _set(logs, 0.0)
    for turn in range(len(at.order)):
        need = at.order[turn]
        _fill(turn, turn + 1, block, shared, tried, room, ceilings[need], level, at)
        for row in range(rows):
            for lane in range(LANES):
                logs[row, lane] += shared.weight[need] * np.log(max(level[row, lane], lowest))
    for row in range(rows):
        for lane in range(LANES):
            quality[row, lane] = np.exp(logs[row, lane] / votes)


@kernel
def fill_lanes(
    first: int,
    last: int,
    vital: int,
    order: Ints,
    shared: Shared,
    tried: Tried,
    votes: float,
    lowest: float,
    held: Floats,
) -> None:
    """Homes held at each home, shape (h + 1, trials), for trials `first` to `last`.

    The same portions as `patchnet.assess.portions.share_in_portions`. `order` has the needs, the
    `vital` ones first. `votes` is the weight of all needs of the group together, those that are
    met anyway among them, where quality is their weighted mean; 0 where the scarcest need decides.

    Parameters
    ----------
    first, last
        Trials that this call works out.
    vital
        How many needs are vital.
    order
        Shape (needs,): their positions, the vital ones first.
    shared
        What all trials share.
    tried
        What each trial changes.
    votes
        Weight of all needs, see above.
    lowest
        Least share that counts, above 0 (see `patchnet.assess.sharing.quality_of`).
    held
        Shape (h + 1, trials), homes: written to.
    """
    needs, plots = shared.near_plot.shape
    rows, months = len(tried.room), len(shared.supply)
    at = _Room(
        order, np.empty((rows, LANES)), np.empty((rows, LANES)), np.empty((rows, LANES)),
        np.empty((rows, LANES)), np.empty((months, plots + 1, LANES)),
        np.empty((months, plots + 1, LANES)), np.empty((months, rows, LANES)),
        np.empty((months, rows, LANES)), np.empty((needs, rows, LANES)),
        np.empty((max(rows, plots + 1), LANES)), np.empty((max(rows, plots + 1), LANES)),
    )  # fmt: skip
    room, quality = np.empty((rows, LANES)), np.empty((rows, LANES))
    ceilings = np.empty((needs, rows, LANES))
    for block in range(first, last, LANES):
        for row in range(rows):
            for lane in range(LANES):
                room[row, lane] = tried.room[row, block + lane]
        for need in range(needs):
            _ceiling(need, block, shared, tried, ceilings[need])
        if votes > 0:
            _mean(block, shared, tried, room, ceilings, votes, lowest, quality, at)
        else:
            _scarcest(vital, block, shared, tried, room, ceilings, quality, at)
        for row in range(rows):
            for lane in range(LANES):
                whole = tried.whole[row] + tried.near_whole[row] * tried.plot_places[block + lane]
                limit = min(1.0, whole, quality[row, lane])
                held[row, block + lane] = room[row, lane] * limit
