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

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import geopandas as gpd
import numpy as np
import pandas as pd
import scipy.sparse as sp
from numpy.typing import NDArray

from patchnet.assess.assess import assess
from patchnet.assess.assessment import Assessment, GroupAnswer
from patchnet.assess.lodging import Pool, Standing, in_use, standing_of
from patchnet.assess.routes_with_one_more import NO_ROUTE
from patchnet.assess.sharing import Demand, combine_months, quality_of
from patchnet.assess.supply import anchor_places, resource_months, stops, supply_of
from patchnet.assess.what_if_field import Field, field_of
from patchnet.knowledge.records import Group, Knowledge, Recipe
from patchnet.network.routes import cut_length
from patchnet.read.neighbourhood import Answers, Neighbourhood
from patchnet.scheme.kernels import Layout, not_dominated
from patchnet.street import Site

__all__ = [
    "GroupField",
    "NeedField",
    "Offer",
    "by_month",
    "columns",
    "group_fields",
    "need_field",
    "offer_of",
    "split",
    "taking_part",
    "with_sites",
]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Ints = NDArray[np.int32]
_MET = 1 - 1e-9  # of a need: as good as all
_HALVINGS = 60


def with_sites(assessment: Assessment, sites: Sequence[Site], ids: Sequence[str]) -> Neighbourhood:
    """The neighbourhood with a plot for each site on which there is nothing yet.

    What is not known elsewhere stands as it was drawn in, so that empty boxes do not change
    what is expected of other plots.

    Parameters
    ----------
    assessment
        The street as it is.
    sites
        The sites.
    ids
        Id of the new plot at each.
    """
    hood = assessment.neighbourhood
    more = gpd.GeoDataFrame(
        {
            "kind": assessment.knowledge.plot_kind_for("box"),
            "label": list(ids),
            "street": "",
            "area_m2": [site.polygon.area for site in sites],
        },
        geometry=[site.polygon for site in sites],
        index=pd.Index(list(ids), name=hood.plots.index.name),
        crs=hood.plots.crs,
    )
    plots = gpd.GeoDataFrame(
        pd.concat([hood.plots, more]).reindex(columns=hood.plots.columns), crs=hood.plots.crs
    )
    count = len(hood.answers.features)
    empty = np.zeros((len(sites), count))
    answers = Answers(
        plots=plots.index,
        features=hood.answers.features,
        amount=np.vstack([assessment.amounts, empty]),
        sized=np.ones((len(plots), count), dtype=bool),
        sure=np.ones((len(plots), count), dtype=bool),
    )
    return replace(hood, plots=plots, answers=answers)


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


def group_fields(
    assessment: Assessment,
    sites: Sequence[Site],
    ids: Sequence[str],
    recipes: Sequence[Recipe],
    groups: Sequence[str],
    amounts: Array | None = None,
) -> tuple[GroupField, ...]:
    """Prepare the groups that fly for the search; all links are straight lines.

    Parameters
    ----------
    assessment
        The street as it is.
    sites
        The sites.
    ids
        Id of the new plot at each.
    recipes
        What can grow in a planter.
    groups
        Keys of the groups.
    amounts
        What stands of each of F features in a planter, m2, shape (sites, recipes, F); None: what
        the recipe says of a square metre of soil.
    """
    hood = with_sites(assessment, sites, ids)
    whole = assess(hood, knowledge=assessment.knowledge, groups=groups, straight=True)
    if amounts is None:
        amounts = _recipe_amounts(sites, recipes, assessment.knowledge)
    return tuple(
        _field(answer, whole, amounts, len(assessment.neighbourhood.plots))
        for answer in whole.groups.values()
    )


def _recipe_amounts(
    sites: Sequence[Site], recipes: Sequence[Recipe], knowledge: Knowledge
) -> Array:
    """Shape (sites, recipes, F)."""
    keys = list(knowledge.features)
    per_m2 = np.zeros((len(recipes), len(keys)))
    for at, recipe in enumerate(recipes):
        for feature, amount in recipe.amounts.items():
            per_m2[at, keys.index(feature)] = amount.value
    soil = np.array([site.size.plan_m2 for site in sites])
    return np.asarray(soil[:, None, None] * per_m2[None])


def _field(answer: GroupAnswer, whole: Assessment, amounts: Array, plots: int) -> GroupField:
    field = field_of(whole, answer.group.key, compiled=None)
    met = [np.asarray(sheet.met, dtype=np.float64) for sheet in answer.needs]
    supply = supply_of(amounts.reshape(-1, amounts.shape[2]), whole.knowledge)
    given = [
        resource_months(supply, whole.knowledge, need.resource, need.months).reshape(
            *amounts.shape[:2], -1
        )
        for need in answer.group.needs
    ]
    needs = tuple(
        need_field(demand, share, taking_part(field.demands, met, field.room), stock)
        for demand, share, stock in zip(field.demands, met, given, strict=True)
    )
    chances = _all_chances(field, whole.knowledge.setting("p_cut"))
    neighbours, links = _moves(field, chances, plots)
    made = GroupField(
        group=answer.group,
        plots=plots,
        places=field.places,
        pool=field.pool,
        today=np.asarray(answer.homes, dtype=np.float64),
        anchor=field.anchor.matrix,
        needs=needs,
        chances=chances,
        patch=field.patch,
        neighbours=neighbours,
        links=links,
        offers=(),
    )
    return replace(made, offers=_offers(made, whole.knowledge, amounts, supply))


def taking_part(demands: Sequence[Demand], met: Sequence[Array], room: Array) -> Array:
    """Shape (n,): homes that take part in the sharing of vital needs.

    Parameters
    ----------
    demands
        Needs of the group.
    met
        For each need shape (n,): share of it that is met, 0-1.
    room
        Shape (n,), homes.
    """
    taking = room.copy()
    for demand, share in zip(demands, met, strict=True):
        taking *= demand.floor + (1 - demand.floor) * share if demand.floor > 0 else 1.0
    return taking


def need_field(demand: Demand, met: Array, taking: Array, given: Array) -> NeedField:
    """One need: its months as far as it is met today, and who would share more of it.

    Parameters
    ----------
    demand
        The need.
    met
        Shape (n,): share of it that is met, 0-1.
    taking
        Shape (n,): homes that take part.
    given
        Shape (sites, recipes, months): what each planter gives of it, in its unit.
    """
    takers = np.asarray(demand.reach.T @ (taking * (met < _MET)))
    stock = demand.supply[:, :, 0] / demand.amount
    within = np.asarray(demand.reach @ stock)
    access = by_month(within, met, worst=demand.worst) * demand.amount
    return NeedField(demand, demand.reach, access, takers, given)


def by_month(within: Array, met: Array, *, worst: bool) -> Array:
    """Spread what is met of a need over its months, in proportion to what lies within reach.

    Parameters
    ----------
    within
        Shape (n, M): what lies within reach, in homes.
    met
        Shape (n,), 0-1: what comes of it, the worst month or the mean of the months.

    Returns
    -------
    ndarray
        Shape (n, M), whose worst month is `met`, or the mean of its months where none counts
        for more than 1.

    Examples
    --------
    >>> by_month(np.array([[2.0, 6]]), np.array([0.5]), worst=True).tolist()
    [[0.5, 1.5]]
    >>> by_month(np.array([[2.0, 6]]), np.array([0.75]), worst=False).round(6).tolist()
    [[0.5, 1.5]]
    """
    low = np.zeros(len(met))
    least = within.min(axis=1)
    if worst:
        scale = np.where(least > 0, met / np.where(least > 0, least, 1.0), 0.0)
        return within * scale[:, None]
    smallest = np.where(within > 0, within, np.inf).min(axis=1)
    high = np.where(np.isfinite(smallest), 1.0 / np.where(smallest > 0, smallest, 1.0), 0.0)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        enough = np.minimum(1.0, within * middle[:, None]).mean(axis=1) >= met
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    return within * high[:, None]


def _all_chances(field: Field, least: float) -> Array:
    """Chance of the best route between any two places, including sites that are not stops yet."""
    cut = cut_length(field.group.d50.value, least)
    linked = field.lengths <= min(cut, int(NO_ROUTE) - 1)
    decay = np.log(2) / field.group.d50.value / 1000
    chances = np.zeros(field.lengths.shape)
    chances[linked] = np.exp(-decay * field.lengths[linked])
    return chances


def _moves(field: Field, chances: Array, plots: int) -> tuple[tuple[Ints, ...], tuple[Array, ...]]:
    """Per site, the places (patches and sites) within one hop and the chances of getting there."""
    pairs = field.reach.moves
    near = pairs.length_mm <= round(field.group.hop.value * 1000)
    decay = np.log(2) / field.group.d50.value / 1000
    i = np.r_[pairs.i[near], pairs.j[near]]
    j = np.r_[pairs.j[near], pairs.i[near]]
    chance = np.exp(-decay * np.r_[pairs.length_mm[near], pairs.length_mm[near]])
    count = len(field.room)
    able = field.patch | (np.arange(count) >= plots)
    keep = (i >= plots) & able[j]
    i, j, chance = i[keep], j[keep], chance[keep]
    order = np.lexsort((j, i))
    i, j, chance = i[order], j[order], chance[order]
    starts = np.searchsorted(i, np.arange(plots, count + 1))
    neighbours, links = [], []
    for first, last in itertools.pairwise(starts.tolist()):
        near, link = j[first:last].astype(np.int32), chance[first:last]
        order = np.argsort(-link, kind="stable")
        keep = not_dominated(chances, field.patch, near, link, order)
        neighbours.append(near[keep])
        links.append(link[keep])
    return tuple(neighbours), tuple(links)


def _offers(
    field: GroupField, knowledge: Knowledge, amounts: Array, supply: Array
) -> tuple[tuple[Offer, ...], ...]:
    sites, recipes, features = amounts.shape
    places = anchor_places(amounts.reshape(-1, features), supply, knowledge, field.group)
    stopping = stops(supply, knowledge, field.group)
    return tuple(
        tuple(
            offer_of(
                field,
                site,
                [need.given[site, recipe] for need in field.needs],
                places[site * recipes + recipe],
                stop=bool(stopping[site * recipes + recipe]),
            )
            for recipe in range(recipes)
        )
        for site in range(sites)
    )


def offer_of(
    field: GroupField, site: int, given: Sequence[Array], places: Array, *, stop: bool
) -> Offer:
    """Return what a planter gives.

    Parameters
    ----------
    given
        Per need, shape (M,): what it supplies.
    places
        Shape (4,): homes that there are places for in it.
    stop
        Whether the group can stop at what grows in it.
    """
    place = field.plots + site
    met = field.standing.met
    here = None if met is None else met[[place], None]
    room = float(in_use(places[None, :, None], here)[0, 0] * field.thin[place])
    shares = tuple(
        split(stock, need.takers[place]) for stock, need in zip(given, field.needs, strict=True)
    )
    return Offer(shares, room, stop or bool(places[0] > 0), places)


def split(stock: Array, takers: float) -> Array | None:
    """Return what each of some homes gets; None where it is nothing.

    Parameters
    ----------
    stock
        Shape (months,), units of the resource.
    takers
        Homes that share it.

    Returns
    -------
    array or None
        Shape (months,): for each home, at most the whole.
    """
    if takers <= 0 or not (stock > 0).any():
        return None
    return np.asarray(np.minimum(stock / takers, stock))
