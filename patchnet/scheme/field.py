"""What a street's planters could do for one group: the measure that the scheme search climbs.

What planters come to is decided by filling alike with them there (`patchnet.scheme.filled`). The
search needs millions of trials, so it climbs a promise that can be carried along from planter to
planter: what homes get today, and for each planter a share of what it gives, split among the homes
within reach that are short of it. The best schemes found are then filled exactly, and the bound is
one on the exact worth. Routes are exact in both: a planter that is a stop joins the best routes of
all patches.

What both leave out, against assessing anew:

- *Reach is held.* What lies within reach of what was found over today's stops. A planter that is
  a new stop joins best routes, but does not bring food within reach that could not be got to.
- *A planter is a stop from the first day* if what grows in it will be one once it has grown.

What the promise alone leaves out: homes that rise take nothing from others, and those in the
planters take from nobody; a planter that no short home reaches today feeds nobody.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from patchnet.assess.lodging import Pool, Standing, standing_of
from patchnet.assess.sharing import Demand, combine_months, quality_of
from patchnet.knowledge.records import Group
from patchnet.scheme.kernels import Layout

__all__ = ["GroupField", "NeedField", "Offer", "columns"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class NeedField:
    """One need of a group over n places (plots, then sites).

    Attributes
    ----------
    demand
        The need.
    reach
        Shape (n, n): 1 where the column's place supplies the row's.
    access
        Shape (n, M): what a home gets today, in the need's months.
    takers
        Shape (n,): homes that are short of it and would share what a place supplies.
    given
        Shape (s, recipes, M): what a planter supplies.
    """

    demand: Demand
    reach: "sp.csr_array"
    access: Array
    takers: Array
    given: Array

    @cached_property
    def reached(self) -> "sp.csc_array":
        """Columns of `reach`: which homes a place supplies."""
        return self.reach.tocsc()


@dataclass(frozen=True, eq=False)
class Offer:
    """What one recipe at one site gives one group.

    Attributes
    ----------
    shares
        Per need, shape (M,): what each home within reach gets of it; None where nothing.
    room
        Homes there is room for in the planter itself.
    stop
        Whether the group can stop at it.
    places
        Shape (4,): homes that there are places for in it (see `Field.places`).
    """

    shares: tuple[Array | None, ...]
    room: float
    stop: bool
    places: Array

    @property
    def idle(self) -> bool:
        """Whether it does nothing for the group."""
        return (
            not self.stop and not self.places.any() and all(share is None for share in self.shares)
        )


@dataclass(frozen=True, eq=False)
class GroupField:
    """One group over n places: the plots of the neighbourhood, then the sites.

    Attributes
    ----------
    group, plots
        The group, and the number of plots; places from there on are sites.
    places
        Shape (n, 4): homes that there are places for (see `Field.places`); none at the sites.
    pool
        The ground that homes are spread over; None: no density is known.
    today
        Shape (n,): homes held today, filled exactly.
    anchor
        Shape (n, n): within the anchor's reach.
    needs
        The needs.
    chances
        Shape (n, n): chance along the best route between any two places that rests only on
        patches of today, 0 where there is none, 1 with itself.
    patch
        Shape (n,): patches today.
    neighbours, links
        Per site, the places one move away (patches and sites) and the chances of the moves.
        Moves that a way over a nearer patch makes as good may be left out.
    offers
        Per site and recipe, what it gives.
    """

    group: Group
    plots: int
    places: Array
    pool: Pool | None
    today: Array
    anchor: "sp.csr_array"
    needs: tuple[NeedField, ...]
    chances: Array
    patch: Flags
    neighbours: tuple[Ints, ...]
    links: tuple[Array, ...]
    offers: tuple[tuple[Offer, ...], ...]

    @cached_property
    def standing(self) -> Standing:
        """How places to live stand today."""
        return standing_of(self.places, [need.demand for need in self.needs], self.pool)

    @cached_property
    def thin(self) -> Array:
        """Shape (n,): part of the homes expected at each place that there is room for today."""
        share = self.standing.share
        return np.ones(len(self.places)) if share is None else share

    @cached_property
    def room(self) -> Array:
        """Shape (n,): homes there is room for today."""
        return self.standing.expected * self.thin

    @cached_property
    def within(self) -> Array:
        """Shape (n,): homes that there are places for within the anchor's reach."""
        return np.asarray(self.anchor @ self.places[:, 0])

    def quality(self, access: Sequence[Array], within: Array) -> Array:
        """Share of a home's needs met at some places, 0-1.

        Parameters
        ----------
        access
            Per need, shape (places, M).
        within
            Shape (places,): homes that there are places for within the anchor's reach.
        """
        if not self.needs:
            return np.minimum(1.0, within)
        met = [
            combine_months(np.minimum(1.0, got / need.demand.amount), worst=need.demand.worst)
            for need, got in zip(self.needs, access, strict=True)
        ]
        worth = quality_of(met, [need.demand for need in self.needs], form="scarcest", lowest=0.0)
        return np.minimum(np.minimum(1.0, within), worth)

    def layout(self, least: float) -> Layout:
        """Return the group as the kernels read it; routes less likely than `least` are none."""
        sizes = [need.access.shape[1] for need in self.needs]
        months = np.cumsum([0, *sizes])
        share = np.array(
            [
                [
                    np.concatenate(
                        [np.zeros(0)]
                        + [
                            np.zeros(size) if part is None else part
                            for part, size in zip(offer.shares, sizes, strict=True)
                        ]
                    )
                    for offer in offers
                ]
                for offers in self.offers
            ]
        )
        given = np.array(
            [[[part is not None for part in offer.shares] for offer in row] for row in self.offers],
            dtype=bool,
        )
        touched = [self._touched(site) for site in range(len(self.offers))]
        return Layout(
            plots=self.plots,
            amount=np.array([need.demand.amount for need in self.needs], dtype=float),
            worst=np.array([need.demand.worst for need in self.needs], dtype=bool),
            floor=np.array([need.demand.floor for need in self.needs], dtype=float),
            months=months.astype(np.int64),
            start=np.cumsum([0, *(len(rows) for rows, _ in touched)]),
            rows=np.concatenate([rows for rows, _ in touched]),
            bits=np.concatenate([bits for _, bits in touched]),
            share=share,
            given=given,
            room=np.array([[offer.room for offer in row] for row in self.offers], dtype=float),
            places=np.array([[o.places[0] for o in row] for row in self.offers], dtype=float),
            stop=np.array([[offer.stop for offer in row] for row in self.offers], dtype=bool),
            near_start=np.cumsum([0, *(len(near) for near in self.neighbours)]),
            near=np.concatenate([np.zeros(0, np.int32), *self.neighbours]).astype(np.int32),
            links=np.concatenate([np.zeros(0), *self.links]),
            least=least,
        )

    def _touched(self, site: int) -> tuple[Ints, Ints]:
        """Places where there may be homes and that a site touches; by which needs, bit by bit."""
        place = self.plots + site
        bits = np.zeros(len(self.room), dtype=np.int32)
        for at, need in enumerate(self.needs):
            bits[columns(need.reached, place)] |= 1 << at
        bits[columns(self.anchor_columns, place)] |= 1 << len(self.needs)
        bits[~self.habitable] = 0
        rows = np.flatnonzero(bits).astype(np.int32)
        return rows, bits[rows]

    @cached_property
    def habitable(self) -> Flags:
        """Shape (n,): places for homes today, or in a planter that could be put there."""
        planters = [any(offer.places[0] > 0 for offer in offers) for offers in self.offers]
        return np.asarray(
            (self.places[:, 0] > 0) | np.r_[np.zeros(self.plots, dtype=bool), planters]
        )

    @cached_property
    def anchor_columns(self) -> "sp.csc_array":
        """Columns of `anchor`."""
        return self.anchor.tocsc()

    @cached_property
    def homes(self) -> Array:
        """Shape (n,): homes held today as the promise has it: those of `today`, to rounding."""
        return self.room * self.quality([need.access for need in self.needs], self.within)


def columns(matrix: "sp.csc_array", place: int) -> NDArray[np.intp]:
    """Rows of the entries in one column of a matrix.

    Parameters
    ----------
    matrix
        Shape (n, n).
    place
        Which column.

    Returns
    -------
    array
        Shape (entries,): positions.
    """
    span = slice(matrix.indptr[place], matrix.indptr[place + 1])
    rows: NDArray[np.intp] = matrix.indices[span].astype(np.intp)
    return rows
