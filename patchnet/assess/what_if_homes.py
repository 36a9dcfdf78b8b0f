"""Homes held under many changes of one plot: shared in portions to rank, exactly to answer."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.filling import no_less
from patchnet.assess.lodging import Rooms, in_use, rooms_of
from patchnet.assess.portions import Stock, share_in_portions
from patchnet.assess.sharing import Demand, Form, Shares, combine_months, share_supplies
from patchnet.assess.sums_by_likeness import Shared, Tried
from patchnet.assess.what_if_field import Field
from patchnet.core.compiled import in_threads, use_compiled

__all__ = ["Changes", "Method", "along_rows", "filled_homes", "filled_trials", "ranked_homes"]

Array = NDArray[np.float64]

_COMPILE_FROM = 150  # needs x blocks of trials: half a second plain; compiled once, kept on disk
_COMPILE_PLOTS = 15  # from this many plots on, so many are asked about that compiling is quicker
_PLAIN_BLOCK = 64  # trials settled at once on the plain route
_CHUNK = 64  # trials to a thread
_SURE = 1 + 1e-9  # a need is met whatever happens only if it is by more than rounding


@dataclass(frozen=True, slots=True)
class Method:
    """How quality is made of needs (see `quality_of`), and whether compiled (None: by size)."""

    form: Form
    lowest: float
    compiled: bool | None


@dataclass(frozen=True, eq=False)
class Changes:
    """K changes of one plot, as one group sees them.

    Attributes
    ----------
    field, plot
        The group's field (in which the plot is a patch, or not, as these changes make it), and
        the position of the plot.
    places
        Shape (K, 4): homes that the plot has places for.
    supply
        For each need, shape (K, M): what the plot supplies, in the resource's unit.
    """

    field: Field
    plot: int
    places: Array
    supply: tuple[Array, ...]

    @property
    def count(self) -> int:
        """How many changes, K."""
        return len(self.places)

    @cached_property
    def rows(self) -> NDArray[np.intp]:
        """Positions of all homes, and of the plot once more, last."""
        return np.append(self.field.homes, self.plot)

    def linked_homes(self, held: Array) -> Array:
        """Linked homes under each change, shape (K,), from homes held along `rows`."""
        return self.field.linked_homes(held[:-1], held[-1], self.plot)


def ranked_homes(tasks: Sequence[Changes], method: Method) -> list[Array]:
    """Homes held under each change, shared in portions (see `patchnet.assess.portions`).

    Parameters
    ----------
    tasks
        Changes of one plot, K of them, for one group each.
    method
        How sharing is settled.

    Returns
    -------
    list of ndarray
        For each of the `tasks` shape (h + 1, K), along its `rows`; the plot's own homes stand
        in the last row alone.
    """
    work = sum(len(one.field.demands) * -(-one.count // _PLAIN_BLOCK) for one in tasks)
    many = any(len(one.field.places) >= _COMPILE_PLOTS for one in tasks)
    if use_compiled(compiled=method.compiled, worthwhile=many or work > _COMPILE_FROM):
        return _compiled(tasks, method)
    return [_plain(one, method) for one in tasks]


def filled_trials(changes: Changes, method: Method, *, sheets: bool) -> tuple[Array, Shares]:
    """Room of shape (n, K), and how the sharing comes out exactly, by the ordinary route.

    Parameters
    ----------
    changes
        K changes of one plot among n.
    method
        How supplies are shared.
    sheets
        Whether what stopped each plot is asked for as well.
    """
    rooms, demands = _tried(changes)
    shares = share_supplies(
        rooms.room,
        demands,
        whole=rooms.whole,
        form=method.form,
        lowest=method.lowest,
        sheets=sheets,
    )
    return rooms.room, shares


def filled_homes(changes: Changes, method: Method) -> Array:
    """Homes held under each change, exactly; shape (h + 1, K) as in `ranked_homes`.

    Parameters
    ----------
    changes
        K changes of one plot.
    method
        How supplies are shared.
    """
    room, shares = filled_trials(changes, method, sheets=False)
    return along_rows(changes, room * shares.quality)


def _tried(changes: Changes) -> tuple[Rooms, list[Demand]]:
    """Room for homes, and the needs with the supply of each change."""
    field, plot, count = changes.field, changes.plot, changes.count
    places = np.repeat(field.places[:, :, None], count, axis=2)
    places[plot] = changes.places.T
    demands = []
    for demand, own in zip(field.demands, changes.supply, strict=True):
        supply = np.repeat(demand.supply, count, axis=2)
        supply[plot] = own.T
        demands.append(replace(demand, supply=supply, net=demand.blocks))
    return rooms_of(places, demands, field.anchor.sums, field.pool), demands


def along_rows(changes: Changes, homes: Array) -> Array:
    """Homes of all plots along the rows of the changes; the plot's own come last alone.

    Parameters
    ----------
    changes
        K changes of one plot.
    homes
        Shape (n, K), homes.

    Returns
    -------
    array
        Shape (h + 1, K), homes.
    """
    held = homes[changes.rows]
    held[:-1][changes.rows[:-1] == changes.plot] = 0.0
    return held


def _plain(changes: Changes, method: Method) -> Array:
    held = np.zeros((len(changes.rows), changes.count))
    for first in range(0, changes.count, _PLAIN_BLOCK):
        part = slice(first, first + _PLAIN_BLOCK)
        block = replace(
            changes,
            places=changes.places[part],
            supply=tuple(supply[part] for supply in changes.supply),
        )
        rooms, demands = _tried(block)
        stocks = [
            Stock(near.sums, demand.supply / demand.amount, demand.worst, demand.floor,
                  demand.weight)
            for near, demand in zip(changes.field.near, demands, strict=True)
        ]  # fmt: skip
        quality = share_in_portions(
            rooms.room, stocks, whole=rooms.whole, form=method.form, lowest=method.lowest
        )
        held[:, part] = along_rows(block, rooms.room * quality)
    return held


@dataclass(frozen=True, eq=False)
class _Need:
    """The months of one need that are not met anyway; supply in homes."""

    at: int
    reached: Array
    supply: Array
    own: Array
    within: Array
    share: Array


class _Chunk(NamedTuple):
    """Some of the trials of one group, for one thread."""

    first: int
    last: int
    shared: Shared
    tried: Tried
    vital: int
    order: NDArray[np.int64]
    votes: float
    held: Array


def _compiled(tasks: Sequence[Changes], method: Method) -> list[Array]:
    from patchnet.assess import what_if_kernels as kernels  # noqa: PLC0415 - imports numba

    results: list[Array] = []
    chunks: list[_Chunk] = []
    for changes in tasks:
        count, rows = changes.count, changes.rows
        others = changes.field.places[:, 0].copy()
        others[changes.plot] = 0.0
        changed, room = _changed_rooms(changes)
        most = changes.field.room.copy()
        most[changed] = room.max(axis=1)
        needs = [
            need
            for at in range(len(changes.field.demands))
            if (need := _open(changes, at, most)) is not None
        ]
        whole = np.asarray(changes.field.anchor.sums @ others)[rows]
        near_whole = changes.field.anchor.row(changes.plot)[rows]
        along = _along(changes, changed, room)
        if not needs:
            # Every need is met whatever happens: only the anchor's own reach limits quality.
            limit = np.minimum(1.0, whole[:, None] + near_whole[:, None] * changes.places[:, 0])
            results.append(along * limit)
            continue
        lanes = -(-count // kernels.LANES) * kernels.LANES
        padded = np.minimum(np.arange(lanes), count - 1)
        tried = Tried(
            room=np.ascontiguousarray(along[:, padded]),
            whole=whole,
            near_whole=near_whole,
            plot_places=changes.places[padded, 0],
            # In one order of memory, so that the kernels are compiled once.
            supply=np.ascontiguousarray(np.concatenate([need.own for need in needs])[:, padded]),
        )
        shared, held = _shared(changes, needs), np.empty((len(rows), lanes))
        weights = sum(demand.weight for demand in changes.field.demands)
        votes = float(weights) if method.form == "mean" else 0.0
        order = np.argsort(shared.floor > 0, kind="stable").astype(np.int64)
        vital = int((shared.floor == 0).sum())
        results.append(held[:, :count])
        chunks += [
            _Chunk(first, min(first + _CHUNK, lanes), shared, tried, vital, order, votes, held)
            for first in range(0, lanes, _CHUNK)
        ]

    def fill_chunk(chunk: _Chunk) -> None:
        kernels.fill_lanes(
            chunk.first, chunk.last, chunk.vital, chunk.order, chunk.shared, chunk.tried,
            chunk.votes, method.lowest, chunk.held,
        )  # fmt: skip

    for _ in in_threads(fill_chunk, chunks):
        pass
    return results


def _shared(changes: Changes, needs: Sequence[_Need]) -> Shared:
    field = changes.field
    takers, givers = field.sums(tuple(need.at for need in needs))
    demands = [field.demands[need.at] for need in needs]
    return Shared(
        takers=takers,
        givers=givers,
        months=np.cumsum([0, *(len(need.supply) for need in needs)]),
        supply=np.concatenate([need.supply for need in needs]),
        within=np.concatenate([need.within for need in needs]),
        share=np.concatenate([need.share for need in needs]),
        near_home=np.array([need.reached[field.homes] for need in needs]),
        near_plot=np.array([need.reached for need in needs]),
        worst=np.array([demand.worst for demand in demands]),
        floor=np.array([demand.floor for demand in demands], dtype=np.float64),
        weight=np.array([demand.weight for demand in demands], dtype=np.float64),
    )


def _along(changes: Changes, changed: NDArray[np.intp], room: Array) -> Array:
    """Room along the rows, shape (h + 1, K), from the room of the plots where it changes."""
    along = np.repeat(changes.field.room[changes.rows, None], changes.count, axis=1)
    at = np.full(len(changes.field.places), -1)
    at[changed] = np.arange(len(changed))
    mine = at[changes.rows]
    along[mine >= 0] = room[mine[mine >= 0]]
    along[:-1][changes.rows[:-1] == changes.plot] = 0.0
    return along


def _changed_rooms(changes: Changes) -> tuple[NDArray[np.intp], Array]:
    """Plots whose room changes, and their room under each change, (rows, K).

    As `patchnet.assess.lodging.rooms_of`, worked out only where something changes: on the plot
    itself, where the vital needs are met otherwise (which moves how many places are in use), and
    on all ground that these are spread over.
    """
    field, plot = changes.field, changes.plot
    before = field.standing
    moved = np.array([plot])
    expected = in_use(changes.places.T[None], None)
    if before.met is not None:
        moved, met = _met_again(changes)
        places = np.repeat(field.places[moved, :, None], changes.count, axis=2)
        places[moved == plot] = changes.places.T
        expected = in_use(places, met)
    pool = field.pool
    if pool is None or before.levels is None or before.spread is None or before.share is None:
        return moved, expected
    more = (expected - before.expected[moved, None]) / pool.within[moved, None]
    ground, near = field.anchor.around(moved)
    spread = before.spread[ground, None] + near @ more
    more = pool.level(spread, ground) - before.levels[ground, None]
    wide, near = field.anchor.around(ground)
    rise = near @ (pool.area[ground, None] * more)
    share = before.share[wide, None] + rise / pool.within[wide, None]
    all_expected = np.repeat(before.expected[wide, None], changes.count, axis=1)
    all_expected[np.searchsorted(wide, moved)] = expected
    return wide, all_expected * share


def _met_again(changes: Changes) -> tuple[NDArray[np.intp], Array]:
    """The plot and those whose vital needs are met otherwise, and how far, (rows, K).

    Only plots where it decides how many places are in use.
    """
    field, plot = changes.field, changes.plot
    vital = [at for at, demand in enumerate(field.demands) if demand.floor == 0]
    turning = field.places[:, 1] != field.places[:, 3]
    near = np.zeros(len(turning), dtype=bool)
    for at in vital:
        first = field.first_rounds[at]
        # Where all months stay met without the plot's own supply, nothing is met otherwise.
        near |= (field.near[at].row(plot) > 0) & (
            first.lowest < _SURE + first.supply[plot].max(initial=0.0)
        )
    near &= turning
    near[plot] = True
    moved = np.flatnonzero(near)
    met = np.ones((len(moved), changes.count))
    for at in vital:
        demand, first = field.demands[at], field.first_rounds[at]
        reached = field.near[at].row(plot)[moved]
        # What rounding may leave of the plot's own supply is nothing beside that supply itself.
        others = np.maximum(first.within[moved] - reached[:, None] * first.supply[plot], 0.0)
        own = (changes.supply[at] / demand.amount).T
        within = others[:, :, None] + reached[:, None, None] * own
        met = np.minimum(met, combine_months(np.minimum(1.0, within), worst=demand.worst))
    return moved, met


def _open(changes: Changes, at: int, most: Array) -> _Need | None:
    """Cut one need down to the months that can matter; None where it is met whatever happens.

    What is enough when every home takes its whole share of it, split in proportion, the plot with
    the most room and the least supply of all changes, never holds anybody back: of what is offered
    to a home at first, no portion takes more than it is of a whole.
    Where the worst month decides, a month goes that gives at least as much as another
    everywhere; where the mean does, equal months are taken together.
    """
    field, plot, rows = changes.field, changes.plot, changes.rows
    demand, first = field.demands[at], field.first_rounds[at]
    reached = field.near[at].row(plot)
    own = changes.supply[at] / demand.amount
    unsure = _unsure(changes, at, own, reached, most)
    if not unsure.any():
        return None
    months = len(unsure)
    supply = first.supply.copy()
    supply[plot] = 0.0
    # What rounding may leave of the plot's own supply is nothing beside that supply itself.
    within = np.maximum(first.within[rows] - reached[rows, None] * first.supply[plot], 0.0)
    fewer = first.no_less & no_less(own)
    alike = fewer & fewer.T
    earlier = np.tri(months, k=-1, dtype=bool)
    if demand.worst:
        # [m, k]: month m gives no less than k, and goes if k stays for it
        spare = fewer & unsure & (~alike | earlier)
        np.fill_diagonal(spare, val=False)
        kept = unsure & ~spare.any(axis=1)
    else:
        kept = ~(alike & earlier).any(axis=1)
    return _Need(
        at=at,
        reached=reached,
        supply=np.ascontiguousarray(supply[:, kept].T),
        own=np.ascontiguousarray(own[:, kept].T),
        within=np.ascontiguousarray(within[:, kept].T),
        share=alike[kept].sum(axis=1) / months,
    )


def _unsure(
    changes: Changes, at: int, own: Array, reached: Array, most: Array
) -> NDArray[np.bool_]:
    """Shape (M,): False in months in which every home has enough whatever happens.

    `most`, shape (n,), is the most room that any of the changes makes.
    """
    field, plot = changes.field, changes.plot
    first, least = field.first_rounds[at], own.min(axis=0)
    unsure: NDArray[np.bool_] = _at_least(changes, at, least, reached, most) < _SURE
    if (first.least < _SURE)[unsure].all():  # the others may be unsure by this bound alone
        return unsure
    supply = first.supply.copy()
    supply[plot] = least
    takers = field.near[at].sums @ most
    given = supply * np.where(takers > 0, 1 / np.where(takers > 0, takers, 1), 0.0)[:, None]
    access, within = np.hsplit(field.near[at].sums @ np.hstack([given, supply]), 2)
    open_months: NDArray[np.bool_] = (np.minimum(access, within)[most > 0] < _SURE).any(axis=0)
    return open_months


def _at_least(changes: Changes, at: int, least: Array, reached: Array, most: Array) -> Array:
    """Shape (M,): what every home gets at least where supply is `least` and room `most`.

    More homes thin out what they reach, all of it as much as what is thinned out most; and what
    the plot supplies less, each home within reach of it gets less.
    """
    field, plot = changes.field, changes.plot
    first = field.first_rounds[at]
    more = np.maximum(most - field.room, 0.0)
    here = more[plot]
    more[plot] = 0.0
    added = reached * here
    if more.any():
        added += field.near[at].sums @ more
    taken, shared = first.takers, (first.takers > 0) & (added > 0)
    thinned = (taken[shared] / (taken[shared] + added[shared])).min(initial=1.0)
    less = np.maximum(first.supply[plot] - least, 0.0)
    if less.any():
        less = less * max(1.0, 1 / taken[plot] if taken[plot] > 0 else 1.0)
        access = first.access[most > 0] - reached[most > 0, None] * less
        lowest = access.min(axis=0, initial=np.inf)
    else:
        lowest = np.minimum(first.least, first.access[plot]) if most[plot] > 0 else first.least
        new = (most > 0) & (field.room <= 0)
        new[plot] = False
        if new.any():
            lowest = np.minimum(lowest, first.access[new].min(axis=0))
    return np.asarray(lowest * thinned)
