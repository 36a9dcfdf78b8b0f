"""Kernels of the scheme search: homes that rise, and one more stop among the best routes.

With Q the chances along best routes between any two places that rest only on stops, one more stop
v gives Q'(i, j) = max(Q(i, j), Q(i, v) Q(v, j)): a best route meets it at most once (Floyd 1962,
doi:10.1145/367766.368168, in products instead of sums).

Most pairs need not be looked at. Let w be the place that a better route from i reaches straight
after v. Where w is a stop, Q(i, j) >= Q(i, w) Q(w, j), so that Q(i, v) l(v, w) > Q(i, w); where
the route ends there, the same holds at once. So i can only gain if this holds for some place w one
move away from v; both ends of a better route pass this test.
"""

from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from patchnet.core.compiled import kernel, kernel_part

__all__ = [
    "Layout",
    "Standing",
    "homes_of",
    "judge",
    "judge_all",
    "not_dominated",
    "put",
    "take_in",
    "take_out",
]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int32]
Places = NDArray[np.int64]
Row = TypeVar("Row", Array, Ints)
_SLACK = 1e-12  # relative: a route better by no more is rounding


class Layout(NamedTuple):
    """What does not change during a search, for one group over n places and s sites.

    Attributes
    ----------
    plots
        Places before the first site.
    amount, worst, floor
        Shape (needs,): what a home takes; whether its worst month decides; its worth at 0.
    months
        Shape (needs + 1,): where each need's months start among all months of all needs.
    start, rows, bits
        Places whose homes a site can touch, one site after the other: bit k says that need k
        reaches, bit ``needs`` that the anchor does.
    share
        Shape (s, recipes, all months): what each home within reach gets.
    given
        Shape (s, recipes, needs): whether that is anything.
    room, places
        Shape (s, recipes): homes there is room for in the planter, and places for.
    stop
        Shape (s, recipes): whether the group can stop there.
    near_start, near, links
        Places one move away from each site, one site after the other, and the moves' chances.
    least
        Chance below which a route counts as none.
    """

    plots: int
    amount: Array
    worst: Flags
    floor: Array
    months: Places
    start: Places
    rows: Ints
    bits: Ints
    share: Array
    given: Flags
    room: Array
    places: Array
    stop: Flags
    near_start: Places
    near: Ints
    links: Array
    least: float


class Standing(NamedTuple):
    """How one group stands with some planters there, over n places.

    Attributes
    ----------
    access
        Shape (n, all months): what a home gets.
    met
        Shape (n, needs): share of each need met.
    room, within, homes
        Shape (n,): homes there is room for, places for homes within the anchor's reach, homes held.
    chances
        Shape (n, n), symmetric: Q.
    flow
        Shape (n,): Q @ homes.
    active
        Shape (n,): patches, and planters that are stops.
    """

    access: Array
    met: Array
    room: Array
    within: Array
    homes: Array
    chances: Array
    flow: Array
    active: Flags


@kernel_part
def _met(fixed: Layout, got: Array, more: Array, need: int) -> float:
    """Share of a need that is met: the worst of its months, or their mean."""
    first, last = fixed.months[need], fixed.months[need + 1]
    least, total = 1.0, 0.0
    for month in range(first, last):
        share = min(1.0, (got[month] + more[month]) / fixed.amount[need])
        least = min(least, share)
        total += share
    return least if fixed.worst[need] else total / (last - first)


@kernel
def homes_of(fixed: Layout, now: Standing) -> None:
    """Work out `met` and `homes` from `access`, `room` and `within`, in place.

    Parameters
    ----------
    fixed
        What does not change.
    now
        The planters that are there; written.
    """
    nothing = np.zeros(now.access.shape[1])
    needs = fixed.amount.size
    for i in range(now.room.size):
        vital, helpful = 1.0, 1.0
        for need in range(needs):
            met = _met(fixed, now.access[i], nothing, need)
            now.met[i, need] = met
            if fixed.floor[need] == 0.0:
                vital = min(vital, met)
            else:
                helpful *= fixed.floor[need] + (1.0 - fixed.floor[need]) * met
        now.homes[i] = now.room[i] * min(1.0, now.within[i], vital * helpful)


@kernel_part
def _changes(
    fixed: Layout, now: Standing, site: int, recipe: int, places: Places, change: Array
) -> int:
    """Places whose homes one more planter changes, and by how much; returns how many."""
    needs = fixed.amount.size
    count = 0
    more_room, more_places = fixed.room[site, recipe], fixed.places[site, recipe]
    more = fixed.share[site, recipe]
    given = fixed.given[site, recipe]
    for at in range(fixed.start[site], fixed.start[site + 1]):
        i, bits = fixed.rows[at], fixed.bits[at]
        room, within = now.room[i], now.within[i]
        if i == fixed.plots + site:
            room += more_room
        if room <= 0.0:
            continue
        if bits >> needs & 1:
            within += more_places
        limit = min(1.0, within)
        vital, helpful = 1.0, 1.0
        for need in range(needs):
            met = now.met[i, need]
            if given[need] and bits >> need & 1 and met < 1.0:
                met = _met(fixed, now.access[i], more, need)
            if fixed.floor[need] == 0.0:
                vital = min(vital, met)
            else:
                helpful *= fixed.floor[need] + (1.0 - fixed.floor[need]) * met
        rise = room * min(limit, vital * helpful) - now.homes[i]
        if rise != 0.0:
            places[count], change[count] = i, rise
            count += 1
    return count


@kernel_part
def _gaining(
    fixed: Layout, now: Standing, site: int, holding: Places, onto: Flags, gains: Flags
) -> tuple[Places, Places, Places]:
    """Those of some places whose best routes a stop at a site can improve, by their way to it.

    Parameters
    ----------
    holding
        The places, rising.
    onto
        Shape (n,): places that a route may go on to from the site, to rest or to end there.
    gains
        Shape (at least as many as moves from the site, n), made here: whether a place gains where
        a route goes on by that move.

    Returns
    -------
    tuple
        The places, sorted by the move that their best route to the site ends with; where each
        move's places start; and each place's move.
    """
    place = fixed.plots + site
    row = now.chances[place]
    first, last = fixed.near_start[site], fixed.near_start[site + 1]
    moves = last - first
    count = holding.size
    by, best = np.full(count, -1, np.int64), np.zeros(count)
    some = np.zeros(count, np.bool_)
    for link in range(moves):
        w = fixed.near[first + link]
        if not onto[w]:
            continue
        active = now.active[w]
        chance, onward = fixed.links[first + link], now.chances[w]
        for at in range(count):
            i = holding[at]
            gain = row[i] * chance > onward[i] * (1.0 + _SLACK)
            gains[link, i] = gain
            some[at] |= gain
            way = chance * onward[i]
            # A route passes on only at stops; it may start at the place itself.
            if way > best[at] and (active or w == i):
                best[at], by[at] = way, link
    for at in range(count):
        if not some[at] or row[holding[at]] == 0.0 or holding[at] == place:
            by[at] = -1
    return _sorted_by_move(holding, by, moves)


@kernel_part
def _sorted_by_move(holding: Places, by: Places, moves: int) -> tuple[Places, Places, Places]:
    """Places by their move (-1: none): the places, where each move's start, and their moves."""
    start = np.zeros(moves + 1, np.int64)
    for at in range(holding.size):
        if by[at] >= 0:
            start[by[at] + 1] += 1
    for link in range(moves):
        start[link + 1] += start[link]
    places, move = np.empty(start[moves], np.int64), np.empty(start[moves], np.int64)
    filled = start.copy()
    for at in range(holding.size):
        if by[at] >= 0:
            places[filled[by[at]]] = holding[at]
            move[filled[by[at]]] = by[at]
            filled[by[at]] += 1
    return places, start, move


@kernel_part
def _won_over(
    fixed: Layout, now: Standing, site: int, homes: Array, able: Places, gains: Flags, won: Array
) -> Places:
    """What homes are won at the ends of better routes over a stop, for one home at each place.

    Adds to `won`, shape (n,); returns the places it touched.
    """
    reached = now.chances[fixed.plots + site]
    places, start, move = _gaining(fixed, now, site, able, now.active, gains)
    for one in range(places.size):
        i, own = places[one], move[one]
        row, q, home = now.chances[i], reached[i], homes[i]
        total = 0.0
        for link in range(own + 1):
            if start[link] == start[link + 1] or not gains[link, i]:
                continue
            # Each pair once: the places of earlier moves, and earlier ones of the same.
            last = min(start[link + 1], one)
            for other in range(start[link], last):
                j = places[other]
                more = q * reached[j] - row[j]
                if more > 0.0 and gains[own, j] and row[j] + more >= fixed.least:
                    total += homes[j] * more
                    won[j] += home * more
        won[i] += total
    return places


@kernel_part
def _betters(fixed: Layout, now: Standing, site: int) -> bool:
    """Whether a stop at a site improves the route between any two stops one move away from it."""
    first, last = fixed.near_start[site], fixed.near_start[site + 1]
    for one in range(first, last):
        u = fixed.near[one]
        if now.active[u]:
            for other in range(first, one):
                w = fixed.near[other]
                better = fixed.links[one] * fixed.links[other] > now.chances[u, w] * (1.0 + _SLACK)
                if better and now.active[w]:
                    return True
    return False


@kernel
def judge(fixed: Layout, now: Standing, numerator: float, site: int, recipe: int) -> float:
    """What homes @ Q @ homes would be with one more planter.

    Parameters
    ----------
    fixed
        What does not change.
    now
        The planters that are there.
    numerator
        homes @ Q @ homes today, homes squared.
    site, recipe
        The planter that is tried.

    Returns
    -------
    float
        Homes squared.
    """
    n = now.room.size
    places, change = np.empty(n, np.int64), np.empty(n)
    count = _changes(fixed, now, site, recipe, places, change)
    grown = numerator
    for one in range(count):
        i = places[one]
        row = now.chances[i]
        pairs = 0.0
        for other in range(one):
            pairs += change[other] * row[places[other]]
        grown += change[one] * (2.0 * (now.flow[i] + pairs) + change[one])
    if not fixed.stop[site, recipe] or not _betters(fixed, now, site):
        return grown
    homes = now.homes.copy()
    for one in range(count):
        homes[places[one]] += change[one]
    gains = np.empty((_moves(fixed, site), n), np.bool_)
    won = np.zeros(n)
    gaining = _won_over(fixed, now, site, homes, np.flatnonzero(homes > 0.0), gains, won)
    for one in range(gaining.size):
        grown += homes[gaining[one]] * won[gaining[one]]
    return grown


@kernel
def judge_all(
    fixed: Layout,
    now: Standing,
    numerator: float,
    sites: Places,
    recipes: Places,
    at_most: Array,
) -> None:
    """What `judge` gives at most, for many planters; planters of one site beside each other.

    Only the sum of rises with rises is not worked out, which is small beside the rest: each
    chance, over the new stop or not, is taken as 1.

    Parameters
    ----------
    fixed
        What does not change.
    now
        The planters that are there.
    numerator
        homes @ Q @ homes today, homes squared.
    sites, recipes
        Shape (p,): the planters that are tried.
    at_most
        Shape (p,), homes squared: written.
    """
    n = now.room.size
    places, change = np.empty(n, np.int64), np.empty(n)
    gaining, won = np.empty(0, np.int64), np.zeros(n)
    able = np.flatnonzero(now.room > 0.0)
    widest = 0
    for at in range(sites.size):
        widest = max(widest, _moves(fixed, sites[at]))
    gains = np.empty((widest, n), np.bool_)
    seen, base = -1, 0.0
    for at in range(sites.size):
        site, recipe = sites[at], recipes[at]
        if seen != site:
            for one in range(gaining.size):
                won[gaining[one]] = 0.0
            gaining, base = gaining[:0], 0.0
        if fixed.stop[site, recipe] and seen != site:
            seen = site
            if _betters(fixed, now, site):
                gaining = _won_over(fixed, now, site, now.homes, able, gains, won)
                for one in range(gaining.size):
                    base += now.homes[gaining[one]] * won[gaining[one]]
        count = _changes(fixed, now, site, recipe, places, change)
        linear, total, over = 0.0, 0.0, base
        for one in range(count):
            i = places[one]
            linear += change[one] * now.flow[i]
            total += change[one]
            over += 2.0 * change[one] * won[i]
        at_most[at] = numerator + 2.0 * linear + total * total
        if fixed.stop[site, recipe]:
            at_most[at] += over


@kernel
def put(fixed: Layout, now: Standing, site: int, recipe: int) -> tuple[Places, Array]:
    """Count a planter's shares and room, in place, but not the routes over it.

    Parameters
    ----------
    fixed
        What does not change.
    now
        The planters that are there; written.
    site, recipe
        The planter.

    Returns
    -------
    tuple
        Shape (changed,): places whose homes changed, and by how much.
    """
    needs = fixed.amount.size
    place = fixed.plots + site
    places, change = np.empty(now.room.size, np.int64), np.empty(now.room.size)
    count = _changes(fixed, now, site, recipe, places, change)
    more_room, more_places = fixed.room[site, recipe], fixed.places[site, recipe]
    more, given = fixed.share[site, recipe], fixed.given[site, recipe]
    nothing = np.zeros(now.access.shape[1])
    for at in range(fixed.start[site], fixed.start[site + 1]):
        i, bits = fixed.rows[at], fixed.bits[at]
        if i == place:
            now.room[i] += more_room
        if bits >> needs & 1:
            now.within[i] += more_places
        for need in range(needs):
            if given[need] and bits >> need & 1:
                for month in range(fixed.months[need], fixed.months[need + 1]):
                    now.access[i, month] += more[month]
                now.met[i, need] = _met(fixed, now.access[i], nothing, need)
    n = now.room.size
    for one in range(count):
        i, rise = places[one], change[one]
        now.homes[i] += rise
        row = now.chances[i]
        for j in range(n):
            now.flow[j] += rise * row[j]
    return places[:count].copy(), change[:count].copy()


@kernel
def take_in(fixed: Layout, now: Standing, site: int) -> tuple[Ints, Ints, Array]:
    """Make a site a stop, in place.

    Parameters
    ----------
    fixed
        What does not change.
    now
        The planters that are there; its chances are written.
    site
        The new stop.

    Returns
    -------
    tuple
        Shape (pairs,): both ends of each pair whose chance got better, and what it was.
    """
    place = fixed.plots + site
    reached = now.chances[place]
    gains = np.empty((_moves(fixed, site), now.room.size), np.bool_)
    places, start, move = _gaining(
        fixed, now, site, np.arange(now.room.size), np.ones(now.room.size, np.bool_), gains
    )
    found = 0
    first, second = np.empty(1024, np.int32), np.empty(1024, np.int32)
    before = np.empty(1024)
    for one in range(places.size):
        i, own = places[one], move[one]
        row, q, home = now.chances[i], reached[i], now.homes[i]
        if found + one > before.size:
            first, second = _longer(first, found + one), _longer(second, found + one)
            before = _longer(before, found + one)
        for link in range(own + 1):
            if start[link] == start[link + 1] or not gains[link, i]:
                continue
            for other in range(start[link], min(start[link + 1], one)):
                j = places[other]
                through = q * reached[j]
                if through > row[j] and gains[own, j] and through >= fixed.least:
                    first[found], second[found], before[found] = i, j, row[j]
                    found += 1
                    now.flow[i] += (through - row[j]) * now.homes[j]
                    now.flow[j] += (through - row[j]) * home
                    row[j] = through
                    now.chances[j, i] = through
    now.active[place] = True
    return first[:found].copy(), second[:found].copy(), before[:found].copy()


@kernel_part
def _longer(array: Row, least: int) -> Row:
    """The same with more room behind: twice as much, and `least` at the least."""
    grown = np.empty(max(2 * array.size, least), array.dtype)
    for at in range(array.size):  # a slice would take the compiler seconds
        grown[at] = array[at]
    return grown


@kernel_part
def _moves(fixed: Layout, site: int) -> int:
    """Number of moves from a site."""
    return int(fixed.near_start[site + 1] - fixed.near_start[site])


@kernel
def take_out(now: Standing, first: Ints, second: Ints, before: Array) -> None:
    """Restore the chances that `take_in` raised.

    Parameters
    ----------
    now
        Its chances are written.
    first, second
        Shape (pairs,): the two places of each.
    before
        Shape (pairs,): their chances, 0-1.
    """
    for at in range(first.size):
        now.chances[first[at], second[at]] = before[at]
        now.chances[second[at], first[at]] = before[at]


@kernel
def not_dominated(chances: Array, patch: Flags, near: Ints, links: Array, order: Places) -> Flags:
    """Which moves from a site are needed: not those that a way over a nearer patch makes as good.

    Parameters
    ----------
    chances
        Shape (n, n), best routes today.
    patch
        Shape (n,), stops today.
    near, links
        Shape (near,): places one move away and the moves' chances.
    order
        Shape (near,): their order, the likeliest first.

    Returns
    -------
    array
        Shape of `near`: True for those that are needed.
    """
    keep = np.zeros(near.size, np.bool_)
    for at in range(order.size):
        one = order[at]
        u, needed = near[one], True
        for earlier in range(at):
            other = order[earlier]
            w = near[other]
            way = links[other] * chances[w, u]
            if keep[other] and patch[w] and way >= links[one] * (1.0 - _SLACK):
                needed = False
                break
        keep[one] = needed
    return keep
