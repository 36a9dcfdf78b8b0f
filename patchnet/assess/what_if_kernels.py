"""Compiled kernels of the trials: routes over stops, and portions for many changes of one plot.

`LANES` trials are worked through side by side, so that each step is one instruction on several
numbers: an array has one dimension, with the trials of a row one after the other. Everything is a
plain sum in a fixed order: the same input gives the same bits. Loops are written out, for
expressions of whole arrays take the compiler several times as long.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.portions import PORTIONS, STILL
from patchnet.assess.sums_by_likeness import RowSums, Shared, Tried
from patchnet.core.compiled import kernel, kernel_part
from patchnet.core.lane_kernels import (
    LANES,
    add_lanes,
    any_below,
    copy_lanes,
    raise_lanes,
    scaled_lanes,
    take_lanes,
)

__all__ = ["LANES", "fill_lanes", "take_in_stops"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

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
    at = row * LANES
    for lane in range(at, at + LANES):
        out[lane] = 0.0
    for place in range(sums.all_start[need, row], sums.all_start[need, row + 1]):
        add_lanes(out, at, terms, sums.all[place] * LANES)
    copy_lanes(peak, at, out, at)


@kernel
def _add_up(sums: RowSums, need: int, terms: Floats, out: Floats, peak: Floats) -> None:
    """Add the terms up for every row, each from its parent's sum.

    `peak` is the largest sum on the way to a row since one was last added up again: its rounding
    is what a row may have inherited.
    """
    for place in range(sums.order.shape[1]):
        row, parent = sums.order[need, place], sums.parent[need, place]
        at = row * LANES
        if parent >= 0:
            copy_lanes(out, at, out, parent * LANES)
            copy_lanes(peak, at, peak, parent * LANES)
        else:
            for lane in range(at, at + LANES):
                out[lane] = 0.0
                peak[lane] = 0.0
        for term in range(sums.more_start[need, place], sums.more_start[need, place + 1]):
            add_lanes(out, at, terms, sums.more[term] * LANES)
        raise_lanes(peak, at, out, at)
        for term in range(sums.less_start[need, place], sums.less_start[need, place + 1]):
            take_lanes(out, at, terms, sums.less[term] * LANES)
        if any_below(out, at, _LOST, peak, at):
            _add_anew(sums, need, row, terms, out, peak)


class _Room(NamedTuple):
    """Room to work in, so that nothing is asked for again in a portion.

    `order` has the needs, the vital ones first. `speed`, `rise`, `taking` and `takes` have the
    h homes and the plot, LANES each; `left` and `price` (months) the n plots and the plot once
    more; `offer` and `had` (months) and `mean` (needs) the homes and the plot.
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
    own = len(homes) - LANES
    plots = shared.near_plot.shape[1]
    _add_up(shared.takers, need, homes, at.sums, at.peak)
    for plot in range(plots):
        scaled_lanes(at.sums, plot * LANES, shared.near_plot[need, plot], homes, own)
    copy_lanes(at.sums, plots * LANES, homes, own)
    for row in range(own // LANES):
        near = shared.near_home[need, row]
        scaled_lanes(at.sums, plots * LANES, near, homes, row * LANES)


@kernel_part
def _to_homes(need: int, shared: Shared, given: Floats, out: Floats, peak: Floats) -> None:
    """Put what plots give into `out`, by home and for the plot last."""
    own = len(out) - LANES
    plots = shared.near_plot.shape[1]
    _add_up(shared.givers, need, given, out, peak)
    for row in range(own // LANES):
        near = shared.near_home[need, row]
        scaled_lanes(out, row * LANES, near, given, plots * LANES)
    copy_lanes(out, own, given, plots * LANES)
    for plot in range(plots):
        scaled_lanes(out, own, shared.near_plot[need, plot], given, plot * LANES)


@kernel_part
def _set(out: Floats, value: float) -> None:
    """Put one value into an array."""
    for at in range(len(out)):
        out[at] = value


@kernel_part
def _times(one: Floats, other: Floats, out: Floats) -> None:
    """Put the products of two arrays into a third."""
    for at in range(len(out)):
        out[at] = one[at] * other[at]


@kernel_part
def _ceiling(need: int, block: int, shared: Shared, tried: Tried, out: Floats) -> None:
    """What one home gets of a need that shares with nobody, by home and for the plot last."""
    count = len(tried.room) - 1
    worst = shared.worst[need]
    _set(out, 1.0 if worst else 0.0)
    for month in range(shared.months[need], shared.months[need + 1]):
        for row in range(count + 1):
            near = shared.near_home[need, row] if row < count else 1.0
            for lane in range(LANES):
                got = shared.within[month, row] + near * tried.supply[month, block + lane]
                got = min(1.0, got)
                at = row * LANES + lane
                if worst:
                    out[at] = min(out[at], got)
                else:
                    out[at] += shared.share[month] * got


@kernel_part
def _priced(left: Floats, takers: Floats, price: Floats) -> None:
    """What each of those that take from a plot gets of what is left there."""
    for at in range(len(price)):
        each = left[at] / takers[at]  # whatever that is where nobody takes
        price[at] = each if takers[at] > 0 else 0.0


@kernel_part
def _got(offer: Floats, speed: Floats) -> None:
    """What a home takes of its offer that still rises as fast as this."""
    for at in range(len(offer)):
        offer[at] = max(0.0, offer[at] * speed[at])


@kernel_part
def _at_most(offer: Floats, rise: Floats) -> None:
    """Let homes rise no more than an offer allows."""
    for at in range(len(rise)):
        rise[at] = min(rise[at], offer[at] * PORTIONS)


@kernel_part
def _averaged(share: float, offer: Floats, had: Floats, mean: Floats) -> None:
    """Add a month's share of what homes that had some of it can still eat."""
    for at in range(len(mean)):
        mean[at] += share * min(offer[at], 1.0 - had[at])


@kernel_part
def _offered(need: int, shared: Shared, at: _Room) -> None:
    """Offer one need to all that still rise, and let `rise` be no more than that allows."""
    worst = shared.worst[need]
    _to_plots(need, shared, at.taking, at)
    mean = at.mean[need]
    _set(mean, 0.0)
    for month in range(shared.months[need], shared.months[need + 1]):
        price, offer = at.price[month], at.offer[month]
        _priced(at.left[month], at.sums, price)
        _to_homes(need, shared, price, offer, at.peak)
        _got(offer, at.speed)
        if worst:
            _at_most(offer, at.rise)
        else:
            _averaged(shared.share[month], offer, at.had[month], mean)
    if not worst:
        _at_most(mean, at.rise)


@kernel_part
def _eats_the_mean(rise: Floats, offer: Floats, mean: Floats, had: Floats, eats: Floats) -> None:
    """What is eaten in a month of a need whose mean decides, and of what is had so far."""
    for at in range(len(eats)):
        more = min(offer[at], 1.0 - had[at])
        part = rise[at] / PORTIONS * more / mean[at]
        eats[at] = part if mean[at] > 0 else 0.0
        had[at] += eats[at]


@kernel_part
def _eats(rise: Floats, eats: Floats) -> None:
    """What is eaten in a month of a need whose worst month decides."""
    for at in range(len(eats)):
        eats[at] = rise[at] / PORTIONS


@kernel_part
def _of_offer(taking: Floats, offer: Floats, takes: Floats) -> None:
    """Turn what is eaten into the part of the offer that it is."""
    for at in range(len(takes)):
        part = taking[at] * takes[at] / offer[at]
        takes[at] = part if offer[at] > 0 else 0.0


@kernel_part
def _less(price: Floats, takers: Floats, left: Floats) -> None:
    """Take what is gone out of what is left."""
    for at in range(len(left)):
        left[at] = max(0.0, left[at] - price[at] * takers[at])


@kernel_part
def _eaten(need: int, shared: Shared, at: _Room) -> None:
    """Take what the rise comes to out of what is left."""
    for month in range(shared.months[need], shared.months[need + 1]):
        offer = at.offer[month]
        if shared.worst[need]:
            _eats(at.rise, at.takes)
        else:
            _eats_the_mean(at.rise, offer, at.mean[need], at.had[month], at.takes)
        _of_offer(at.taking, offer, at.takes)
        _to_plots(need, shared, at.takes, at)
        _less(at.price[month], at.sums, at.left[month])


@kernel_part
def _stocked(need: int, block: int, shared: Shared, tried: Tried, at: _Room) -> None:
    """Put all there is of a need back, and nothing eaten."""
    plots = shared.near_plot.shape[1]
    for month in range(shared.months[need], shared.months[need + 1]):
        _set(at.had[month], 0.0)
        for plot in range(plots):
            for lane in range(LANES):
                at.left[month, plot * LANES + lane] = shared.supply[month, plot]
        for lane in range(LANES):
            at.left[month, plots * LANES + lane] = tried.supply[month, block + lane]


@kernel_part
def _wanted(ceiling: Floats, level: Floats, rise: Floats) -> None:
    """Let all rise by what is missing, in portions, one at the most."""
    for at in range(len(rise)):
        rise[at] = max(0.0, min(1.0, (ceiling[at] - level[at]) * PORTIONS))


@kernel_part
def _risen(rise: Floats, level: Floats, speed: Floats) -> bool:
    """Add the rise to the level, and say whether any rises on."""
    fastest = 0.0
    for at in range(len(rise)):
        level[at] += rise[at] / PORTIONS
        speed[at] = rise[at] if rise[at] > STILL else 0.0
        fastest = max(fastest, speed[at])
    return fastest > 0.0


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
        for place in range(len(level)):
            level[place] = ceiling[place]
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
def _vital_ceiling(vital: int, order: Ints, ceilings: Floats, ceiling: Floats) -> None:
    """What one home gets at most that shares with nobody, of all vital needs."""
    _set(ceiling, 1.0)
    for turn in range(vital):
        own = ceilings[order[turn]]
        for place in range(len(ceiling)):
            ceiling[place] = min(ceiling[place], own[place])


@kernel_part
def _counted(
    need: int, shared: Shared, votes: float, lowest: float, level: Floats, worth: Floats
) -> None:
    """Count a need that was filled alone: as a factor, or with its weight in a mean of logs."""
    floor, weight = shared.floor[need], shared.weight[need]
    if votes > 0:
        for place in range(len(worth)):
            worth[place] += weight * np.log(max(level[place], lowest))
    else:
        for place in range(len(worth)):
            worth[place] *= floor + (1 - floor) * level[place]


@kernel_part
def _quality(  # noqa: C901 - in one piece, see below
    vital: int, block: int, shared: Shared, tried: Tried, room: Floats, ceilings: Floats,
    votes: float, lowest: float, quality: Floats, at: _Room,
) -> None:  # fmt: skip
    """The passes of `patchnet.assess.portions.share_in_portions`.

    Where the scarcest need decides, the vital ones are filled together and each helpful one alone,
    twice. Where it is the weighted geometric mean (`votes` above 0), each is filled alone, once.
    Filling stands here in one place: what is called twice is compiled twice.
    """
    size = len(room)
    homes, held, level = np.empty(size), np.empty(size), np.empty(size)
    ceiling, least, worth = np.empty(size), np.empty(size), np.empty(size)
    together = vital if votes == 0 else 0 * vital
    _vital_ceiling(together, at.order, ceilings, ceiling)
    _set(least, 1.0)
    for _ in range(2):
        _times(room, least, homes)
        _set(worth, 0.0 if votes > 0 else 1.0)
        _set(quality, 1.0)
        for part in range(1 + len(at.order) - together):
            first, last = 0 * vital, together
            if part > 0:
                first, last = together + part - 1, together + part
            need = at.order[first]
            own = ceiling if part == 0 else ceilings[need]
            _times(homes, quality, held)
            _fill(first, last, block, shared, tried, held, own, level, at)
            if part > 0:
                _counted(need, shared, votes, lowest, level, worth)
            elif votes == 0:
                _times(level, quality, quality)
        if votes > 0 or together == len(at.order):
            break
        lowest_worth = 1.0
        for place in range(size):
            least[place] = min(least[place], worth[place])
            lowest_worth = min(lowest_worth, worth[place])
        if lowest_worth >= 1.0:
            break
    if votes > 0:
        for place in range(size):
            quality[place] = np.exp(worth[place] / votes)
    elif together < len(at.order):
        _times(quality, least, quality)


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
    size, wide = rows * LANES, (plots + 1) * LANES
    at = _Room(
        order, np.empty(size), np.empty(size), np.empty(size), np.empty(size),
        np.empty((months, wide)), np.empty((months, wide)),
        np.empty((months, size)), np.empty((months, size)), np.empty((needs, size)),
        np.empty(max(size, wide)), np.empty(max(size, wide)),
    )  # fmt: skip
    room, quality = np.empty(size), np.empty(size)
    ceilings = np.empty((needs, size))
    for block in range(first, last, LANES):
        for row in range(rows):
            for lane in range(LANES):
                room[row * LANES + lane] = tried.room[row, block + lane]
        for need in range(needs):
            _ceiling(need, block, shared, tried, ceilings[need])
        _quality(
            vital, block, shared, tried, room, ceilings, votes, lowest, quality, at
        )  # fmt: skip
        for row in range(rows):
            for lane in range(LANES):
                place = row * LANES + lane
                whole = tried.whole[row] + tried.near_whole[row] * tried.plot_places[block + lane]
                limit = min(1.0, whole, quality[place])
                held[row, block + lane] = room[place] * limit
