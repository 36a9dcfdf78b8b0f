"""All about one group that a change on one plot leaves as it is."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
import pandas as pd
import scipy.sparse as sp
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.bunches import BunchedReach, reached_from
from patchnet.assess.filling import no_less
from patchnet.assess.homes import demands_of
from patchnet.assess.lodging import Pool, Standing, rooms_of, standing_of
from patchnet.assess.over_ground import OverGround, ways_over
from patchnet.assess.reach import Reach
from patchnet.assess.routes_with_one_more import RouteLengths, route_lengths
from patchnet.assess.sharing import Demand, quickest
from patchnet.assess.sums_by_likeness import RowSums, row_sums, stacked
from patchnet.knowledge.records import Group, Knowledge
from patchnet.movement.corridors import opened_steps
from patchnet.movement.grow import compiles
from patchnet.movement.surface import CostSurface

__all__ = ["Field", "FirstRound", "Surroundings", "field_of"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
_DENSE_PLOTS = 400  # on so few plots a sparse product takes longer to begin than a dense one to do
_SUMS = 6  # sums of several needs that are kept: each is as large as all pairs of plots
_TURNED = 8  # fields with one plot turned that are kept: as many plots are asked about in turns
_TURNED_PLOTS = 400  # of no more plots: each holds matrices of all of them


class _Columns(NamedTuple):
    """Some columns of a reach in bunches, which only multiply."""

    reach: BunchedReach
    plots: NDArray[np.intp]

    def __matmul__(self, values: Array) -> Array:
        """Return the columns times `values`, shape (p,) or (p, k)."""
        whole = np.zeros((self.reach.shape[0], *values.shape[1:]))
        whole[self.plots] = values
        return self.reach @ whole


@dataclass(frozen=True, eq=False)
class Surroundings:
    """What lies within one reach, shape (n, n) and symmetric, and where the homes are."""

    matrix: "sp.csr_array | BunchedReach"
    homes: NDArray[np.intp]

    def row(self, plot: int) -> Array:
        """Shape (n,): 1 where a plot is within reach of `plot`, itself too."""
        if isinstance(self.sums, np.ndarray):
            dense: Array = self.sums[plot]
            return dense
        row = np.zeros(self.matrix.shape[1])
        row[reached_from(self.matrix, plot)] = 1.0
        return row

    @cached_property
    def quick(self) -> "sp.csr_array | Array":
        """The matrix in the form that is multiplied quickest."""
        return quickest(self.matrix)

    @cached_property
    def sums(self) -> "sp.csr_array | Array":
        """The same, and dense where plots are few."""
        if self.matrix.shape[0] > _DENSE_PLOTS or isinstance(self.matrix, BunchedReach):
            return self.quick
        dense: Array = self.matrix.toarray()
        return dense

    def around(
        self, plots: NDArray[np.intp]
    ) -> "tuple[NDArray[np.intp], sp.csr_array | Array | _Columns]":
        """Positions of all plots within reach of any of some plots, rising; and who reaches whom.

        Where reaches are wide it is all plots: to look for the others takes longer.

        Parameters
        ----------
        plots
            Shape (p,), positions, rising.

        Returns
        -------
        around, matrix
            Shape (a,), and (a, p), to be multiplied: 1 where one reaches the other.
        """
        every = np.arange(self.matrix.shape[0])
        if len(plots) == len(every):
            return every, self.sums
        if isinstance(self.sums, np.ndarray):
            return every, self.sums[:, plots]
        if isinstance(self.matrix, BunchedReach):
            return every, _Columns(self.matrix, plots)
        reached = np.unique(self.matrix[plots].indices).astype(np.intp)
        return reached, self.matrix[reached][:, plots]

    def _of_homes(self) -> NDArray[np.float32]:
        """Shape (h, n): which plots each home reaches; not kept, as it takes most of the memory."""
        if isinstance(self.matrix, BunchedReach):
            rows = np.zeros((len(self.homes), self.matrix.shape[1]), dtype=np.float32)
            for at, plot in enumerate(self.homes.tolist()):
                rows[at, reached_from(self.matrix, plot)] = 1.0
            return rows
        return np.asarray(self.matrix[self.homes].toarray(), dtype=np.float32)

    @cached_property
    def takers(self) -> RowSums:
        """Sums at each of n plots over the homes that reach it."""
        return row_sums(np.ascontiguousarray(self._of_homes().T))

    @cached_property
    def givers(self) -> RowSums:
        """Sums at each home over the n plots that it reaches."""
        return row_sums(self._of_homes())


class FirstRound(NamedTuple):
    """How one need stands when all that there is room for take it, split in proportion.

    All along n plots and M months; supply in homes (over the amount one home takes).

    Attributes
    ----------
    supply, within
        Shape (n, M): supply of each plot, and within reach of each plot.
    takers
        Shape (n,): homes that reach each plot.
    access
        Shape (n, M): what one home gets, or would get.
    least
        Shape (M,): the least of it at any home.
    lowest
        Shape (n,): the least of `within` in any month.
    no_less
        Shape (M, M): True where every plot supplies no less in the row's month than in the
        column's.
    """

    supply: Array
    within: Array
    takers: Array
    access: Array
    least: Array
    lowest: Array
    no_less: Flags


@dataclass(frozen=True, eq=False)
class Field:
    """One group in one neighbourhood of n plots, as trials need it.

    Attributes
    ----------
    group, knowledge, plots
        The group, the tables, and the ids of the plots.
    places
        Shape (n, 4), homes that there are places for (see `patchnet.assess.supply.anchor_places`).
    patch
        Shape (n,), True where a plot is a patch.
    reach, surface
        Which plots lie within reach of which; what a metre costs a group that walks, else None.
    demands
        The needs; supply of shape (n, M, 1).
    near
        Surroundings for each need; the same object where they are the same.
    anchor
        Surroundings within the anchor's reach.
    pool
        The ground that homes are spread over; None: no density is known.
    lengths
        Best routes between all plots.
    ways
        Ways of a group that walks, up to a hop, as they were grown; None: not yet.
    """

    group: Group
    knowledge: Knowledge
    plots: pd.Index
    places: Array
    patch: Flags
    reach: Reach
    surface: CostSurface | None
    demands: tuple[Demand, ...]
    near: tuple[Surroundings, ...]
    anchor: Surroundings
    pool: Pool | None
    lengths: RouteLengths
    ways: OverGround | None = None

    def _grown(self, *, compiled: bool | None) -> OverGround | None:
        """The ways between the patches, to be grown on from; worked out where it is first asked.

        None where ground is not grown on from: then they would be grown for nothing.
        """
        surface = self.surface
        if surface is None or not compiles(surface.cost.size, compiled=compiled):
            return None
        if self.ways is None and self.patch.any():
            hop = self.group.hop.value
            grown = ways_over(surface, self.plots, self.patch, longest_m=hop, compiled=compiled)
            object.__setattr__(self, "ways", grown)
        return self.ways

    @cached_property
    def homes(self) -> NDArray[np.intp]:
        """Positions of the plots with a place for (part of) a home."""
        return np.flatnonzero(self.places[:, 0] > 0)

    @cached_property
    def room(self) -> Array:
        """Shape (n,), homes each plot has room for."""
        places = self.places[:, :, None]
        return rooms_of(places, self.demands, self.anchor.sums, self.pool).room[:, 0]

    @cached_property
    def standing(self) -> Standing:
        """How places to live stand without any change."""
        return standing_of(self.places, self.demands, self.pool)

    @cached_property
    def first_rounds(self) -> tuple[FirstRound, ...]:
        """Each need as it stands so without any change."""
        return tuple(
            _first_round(demand, near.sums, self.room)
            for demand, near in zip(self.demands, self.near, strict=True)
        )

    def sums(self, needs: tuple[int, ...]) -> tuple[RowSums, RowSums]:
        """`Surroundings.takers` and `givers` of some of the needs, put together."""
        found = self.known_sums.get(needs)
        if found is None:
            near = [self.near[at] for at in needs]
            found = (
                stacked([one.takers for one in near]),
                stacked([one.givers for one in near]),
            )
            while len(self.known_sums) >= _SUMS:
                self.known_sums.pop(next(iter(self.known_sums)), None)
            self.known_sums[needs] = found
        return found

    @cached_property
    def known_sums(self) -> dict[tuple[int, ...], tuple[RowSums, RowSums]]:
        """What `sums` has put together so far, by positions of the needs."""
        return {}

    def chances(self) -> Array:
        """Shape (n, n): probability of the best route between two patches, 0 below the cut."""
        cluster = self.lengths.cluster
        return np.asarray(self._chances[np.ix_(cluster, cluster)])

    @cached_property
    def _chances(self) -> Array:
        """The same between clusters of patches that touch, shape (c, c): see `RouteLengths`."""
        patch = np.zeros(len(self.lengths.between), dtype=bool)
        patch[self.lengths.cluster[self.patch]] = True
        least = self.knowledge.setting("p_cut")
        chances = self.lengths.chances(self.group.d50.value, least)
        chances[~patch] = 0.0
        chances[:, ~patch] = 0.0
        return chances

    @cached_property
    def _in_clusters(self) -> "sp.csr_array":
        """Shape (c, h): which clusters the `homes` are in."""
        cluster = self.lengths.cluster[self.homes]
        places = (cluster, np.arange(len(cluster)))
        shape = (len(self.lengths.between), len(cluster))
        return sp.coo_array((np.ones(len(cluster)), places), shape=shape).tocsr()

    def linked_homes(self, others: Array, own: Array, plot: int) -> Array:
        """Linked homes from homes held: the root of a P a, taken cluster by cluster.

        Parameters
        ----------
        others, own
            Homes on `homes`, shape (h, K), none on the plot; and those on the plot, shape (K,).
        plot
            Position of the plot.

        Returns
        -------
        array
            Shape (K,), homes.
        """
        held = self._in_clusters @ others
        among = np.einsum("ck,ck->k", self._chances @ held, held)
        apart = self._chances[self.lengths.cluster[plot]] @ held
        linked: Array = np.sqrt(among + own * (2 * apart + own))
        return linked

    def turned(self, plot: int, *, compiled: bool | None) -> "Field":
        """Return the field in which a plot that was no patch is one, or the other way round."""
        if plot in self._turned:
            return self._turned[plot]
        patch = self.patch.copy()
        patch[plot] = not patch[plot]
        # Nothing is grown on from there: what was grown takes most of the memory.
        field = replace(self.with_patches(patch, compiled=compiled), ways=None)
        if self.surface is not None and len(patch) <= _TURNED_PLOTS:  # ground takes longest
            while len(self._turned) >= _TURNED:
                self._turned.pop(next(iter(self._turned)), None)
            self._turned[plot] = field
        return field

    @cached_property
    def _turned(self) -> "dict[int, Field]":
        return {}

    def with_patches(self, patch: Flags, *, compiled: bool | None) -> "Field":
        """Return the field in which other plots are patches.

        Over the ground all links are found again on the same surface, since the territory of each
        patch bends those of the others.

        Parameters
        ----------
        patch
            Shape (n,), True where a plot is one.
        compiled
            Routes and growth compiled: True, False, or None: by size.
        """
        moves = ground = None
        if self.surface is not None:
            # No move is longer than a hop; what is beyond matters to breaks alone.
            hop = self.group.hop.value
            ground = self._grown(compiled=compiled)
            if ground is None or not np.array_equal(patch, self.patch):
                ground = ways_over(
                    self.surface, self.plots, patch, longest_m=hop, compiled=compiled, like=ground
                )
            moves = ground.moves
        reach = self.reach.with_stops(patch, moves=moves)
        others = np.flatnonzero(patch != self.patch).tolist()
        if moves is None and patch[others].all():
            lengths = self.lengths
            for stop in others:
                lengths = lengths.with_stop(stop)
        else:
            lengths = route_lengths(
                reach.moves, patch, hop_m=self.group.hop.value, compiled=compiled
            )
        known: dict[int, Surroundings] = {}

        def along(old: Surroundings, reach_m: float) -> Surroundings:
            if reach.in_one_move(reach_m):
                return old
            mm = round(reach_m * 1000)
            if mm not in known:
                known[mm] = self._along(old, reach, lengths, reach_m)
            return known[mm]

        near = tuple(
            along(old, need.reach.value)
            for old, need in zip(self.near, self.group.needs, strict=True)
        )
        anchor = along(self.anchor, self.group.anchor_reach.value)
        changed = replace(
            self,
            patch=patch,
            ways=ground,
            reach=reach,
            near=near,
            demands=tuple(
                demand if new is old else replace(demand, reach=new.matrix, net=None, ready=None)
                for demand, old, new in zip(self.demands, self.near, near, strict=True)
            ),
            anchor=anchor,
            pool=self.pool
            if self.pool is None or anchor is self.anchor
            else self.pool.on(anchor.matrix),
            lengths=lengths,
        )
        return _with_known_sums(changed, self)

    def _along(
        self, old: Surroundings, reach: Reach, lengths: RouteLengths, reach_m: float
    ) -> Surroundings:
        """What lies within a reach by other routes; the old where that is the same."""
        if isinstance(old.matrix, BunchedReach):
            return Surroundings(reach.within(reach_m), self.homes)
        matrix = _along(reach.straight(reach_m), lengths, round(reach_m * 1000))
        same = np.array_equal(matrix.indptr, old.matrix.indptr) and np.array_equal(
            matrix.indices, old.matrix.indices
        )
        return old if same else Surroundings(matrix, self.homes)

    def opened(self, gaps: Sequence[int], *, compiled: bool | None) -> "Field":
        """Return the field in which gaps are made in barriers; itself where the group flies.

        Parameters
        ----------
        gaps
            Keys of the steps between two cells (see `patchnet.movement.barrier_steps.Steps`);
            those that nothing closes for this group are passed over.
        compiled
            As in `with_patches`.
        """
        if self.surface is None:
            return self
        steps = self.surface.steps
        at = np.flatnonzero(np.isin(steps.key, np.asarray(gaps, dtype=steps.key.dtype)))
        at = at[steps.opened[at] < steps.extra[at]]
        if not len(at):
            return self
        surface = replace(self.surface, steps=opened_steps(steps, at))
        field = replace(self, surface=surface, ways=None)
        return field.with_patches(self.patch, compiled=compiled)

    def with_plots(
        self,
        rows: NDArray[np.intp],
        places: Array,
        supplies: Sequence[Array],
        patch: Flags,
        *,
        compiled: bool | None,
    ) -> "Field":
        """Return the field in which some plots have other places and supplies; the rest is kept.

        Parameters
        ----------
        rows
            Shape (r,), their positions.
        places
            Shape (r, 4), homes.
        supplies
            For each need shape (r, M): what each of them supplies, in the resource's unit.
        patch
            Shape (r,), True where one is a patch.
        compiled
            As in `with_patches`.
        """
        base = self
        if not np.array_equal(patch, self.patch[rows]):
            all_patches = self.patch.copy()
            all_patches[rows] = patch
            base = self.with_patches(all_patches, compiled=compiled)
        all_places = self.places.copy()
        all_places[rows] = places
        places = all_places
        homes = np.flatnonzero(places[:, 0] > 0)
        known: dict[int, Surroundings] = {}

        def around(old: Surroundings) -> Surroundings:
            if np.array_equal(homes, old.homes):
                return old
            return known.setdefault(id(old), Surroundings(old.matrix, homes))

        changed = replace(
            base,
            places=places,
            demands=tuple(
                _supplied(demand, rows, supply)
                for demand, supply in zip(base.demands, supplies, strict=True)
            ),
            near=tuple(around(old) for old in base.near),
            anchor=around(base.anchor),
        )
        return _with_known_sums(changed, base)


def field_of(assessment: Assessment, key: str, *, compiled: bool | None) -> Field:
    """Make the field of one group as it was assessed.

    Parameters
    ----------
    assessment
        The answer.
    key
        Key of the group.
    compiled
        True, False, or None: by size.
    """
    answer, knowledge = assessment.groups[key], assessment.knowledge
    group, reach = answer.group, answer.reach
    homes = np.flatnonzero(answer.places[:, 0] > 0)
    patch = answer.patch.to_numpy()
    known: dict[int, Surroundings] = {}

    def within(reach_m: float) -> Surroundings:
        mm = round(reach_m * 1000)
        if mm not in known:
            known[mm] = Surroundings(reach.within(reach_m), homes)
        return known[mm]

    near = tuple(within(need.reach.value) for need in group.needs)
    demands = demands_of(group, knowledge, [assessment.supply], reach)
    return Field(
        group=group,
        knowledge=knowledge,
        plots=assessment.neighbourhood.plots.index,
        places=answer.places,
        patch=patch,
        reach=reach,
        surface=None if answer.ground is None else answer.ground.surface,
        # Of each trial the needs are others, who reaches whom is not.
        demands=tuple(
            replace(demand, ready=around.quick)
            for demand, around in zip(demands, near, strict=True)
        ),
        near=near,
        anchor=within(group.anchor_reach.value),
        pool=answer.pool,
        lengths=route_lengths(reach.moves, patch, hop_m=group.hop.value, compiled=compiled),
    )


def _with_known_sums(field: Field, like: Field) -> Field:
    """Keep what was put together for a field in another that has the same surroundings."""
    if all(new is old for new, old in zip(field.near, like.near, strict=True)):
        field.__dict__["known_sums"] = like.known_sums
    return field


def _supplied(demand: Demand, rows: NDArray[np.intp], supply: Array) -> Demand:
    whole = demand.supply.copy()
    whole[rows, :, 0] = supply
    return replace(demand, supply=whole, net=demand.blocks)


def _first_round(demand: Demand, sums: "sp.csr_array | Array", room: Array) -> FirstRound:
    supply = demand.supply[:, :, 0] / demand.amount
    takers = np.asarray(sums @ room)
    given = supply * np.where(takers > 0, 1 / np.where(takers > 0, takers, 1), 0.0)[:, None]
    access, within = np.hsplit(np.asarray(sums @ np.hstack([given, supply])), 2)
    access = np.minimum(access, within)
    return FirstRound(
        supply=supply,
        within=within,
        takers=takers,
        access=access,
        least=access[room > 0].min(axis=0, initial=np.inf),
        lowest=within.min(axis=1, initial=np.inf),
        no_less=no_less(supply),
    )


def _along(straight: "sp.csr_array", lengths: RouteLengths, reach_mm: int) -> "sp.csr_array":
    """Keep the part of the straight reach that a route reaches too."""
    rows = np.repeat(np.arange(straight.shape[0]), np.diff(straight.indptr))
    keep = lengths.of_pairs(rows, straight.indices) <= reach_mm
    before = np.r_[0, np.cumsum(keep)]
    return sp.csr_array(
        (
            straight.data[keep],
            straight.indices[keep],
            before[straight.indptr].astype(straight.indptr.dtype),
        ),
        shape=straight.shape,
    )
