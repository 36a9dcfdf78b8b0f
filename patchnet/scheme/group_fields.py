"""The fields of the animals that fly, made of an assessment and of the places for planters."""

import itertools
from collections.abc import Sequence
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess.assess import assess
from patchnet.assess.assessment import Assessment, GroupAnswer
from patchnet.assess.lodging import in_use
from patchnet.assess.sharing import Demand
from patchnet.assess.supply import anchor_places, resource_months, stops, supply_of
from patchnet.assess.what_if_field import Field, field_of
from patchnet.knowledge.records import Knowledge, Recipe
from patchnet.read.neighbourhood import Answers, Neighbourhood
from patchnet.scheme.field import GroupField, NeedField, Offer
from patchnet.scheme.kernels import not_dominated
from patchnet.street import Site

__all__ = [
    "by_month",
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
    cluster = field.lengths.cluster
    chances = field.lengths.chances(field.group.d50.value, least)
    return np.asarray(chances[np.ix_(cluster, cluster)])


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
