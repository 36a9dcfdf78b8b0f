"""What is planted in the boxes of a scheme, one after the other along the road."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.plot import plot_answer
from patchnet.core.errors import PatchnetError
from patchnet.knowledge.records import Knowledge, Recipe
from patchnet.plan.box_planting import BoxPlanting, plant_box
from patchnet.plan.facts import Light
from patchnet.plan.planting_aims import planting_wishes
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.scheme.group_fields import with_sites
from patchnet.street.site import Site

__all__ = ["plant_boxes", "planted_amounts", "with_scheme"]

Array = NDArray[np.float64]


def planted_amounts(
    sites: Sequence[Site], recipes: Sequence[Recipe], knowledge: Knowledge, country: str
) -> Array:
    """Return what a box of each site holds of each feature if it is planted by each recipe.

    Whole plants at real spacing, so that a small box promises no more than finds room in it. What
    is planted in the end may differ a little: mixes alternate along the road.

    Parameters
    ----------
    sites, recipes
        Where a box may stand, and what may grow in it.
    knowledge
        Plants, mixes, settings.
    country
        Key of the country.

    Returns
    -------
    ndarray
        m2, shape (sites, recipes, F).
    """
    keys = list(knowledge.features)
    found = np.zeros((len(sites), len(recipes), len(keys)))
    for at, site in enumerate(sites):
        for place, recipe in enumerate(recipes):
            size = site.size
            held = _held(knowledge, recipe.key, size.plan_m2, size.soil_depth_m, country)
            for feature, area in held.items():
                found[at, place, keys.index(feature)] = area
    return found


@lru_cache(maxsize=64)
def _held(
    knowledge: Knowledge, recipe: str, soil_m2: float, depth_m: float, country: str
) -> Mapping[str, float]:
    """m2 of each feature in a box that stands alone; none where nothing grows."""
    try:
        return plant_box(
            knowledge, knowledge.recipes[recipe], soil_m2=soil_m2, depth_m=depth_m, country=country
        ).amounts
    except PatchnetError:
        return {}


def plant_boxes(
    before: Assessment, picks: Sequence[tuple[Site, Recipe]], lights: Sequence[Light | None] = ()
) -> tuple[BoxPlanting, ...]:
    """Plant the boxes of a scheme: mixes alternate along the road, neighbours differ.

    The hungry months and the jobs wanted are those round all the boxes, *before* the scheme, so
    that boxes of one kind are planted alike and plants are ordered together.

    Parameters
    ----------
    before
        The street as it is.
    picks
        Where the boxes stand and what is to grow in them, in any order.
    lights
        Light of each place; empty: not known.

    Returns
    -------
    tuple of BoxPlanting
        In the order of `picks`.
    """
    knowledge = before.knowledge
    hungry, wants = _wishes(before, [site for site, _ in picks])
    along = sorted(
        range(len(picks)), key=lambda at: (picks[at][0].chainage_m, picks[at][0].side, at)
    )
    thread = set(knowledge.plant_lists.get("thread", {}))
    planted: dict[int, BoxPlanting] = {}
    avoid: set[str] = set()
    for turn, at in enumerate(along):
        site, recipe = picks[at]
        planted[at] = plant_box(
            knowledge,
            recipe,
            soil_m2=site.size.plan_m2,
            depth_m=site.size.soil_depth_m,
            turn=turn,
            avoid=avoid,
            hungry=hungry,
            wants=wants,
            light=lights[at] if lights else None,
            country=before.neighbourhood.country,
        )
        avoid = set(planted[at].numbers) - thread
    return tuple(planted[at] for at in range(len(picks)))


def with_scheme(
    assessment: Assessment, sites: Sequence[Site], planted: Sequence[BoxPlanting]
) -> Neighbourhood:
    """Return the neighbourhood as it was read, with the planters as plots.

    What is not known stays so. A planter has the features that its planting makes, no more.

    Parameters
    ----------
    assessment
        The street as it is.
    sites, planted
        Where the n boxes stand, and what is in them.
    """
    hood = assessment.neighbourhood
    width = max(2, len(str(len(sites))))
    ids: list[str] = []
    for at in range(1, len(sites) + 1):
        name = f"S{at:0{width}d}"
        while name in hood.plots.index:
            name = f"{name}x"
        ids.append(name)
    grown = with_sites(assessment, sites, ids)
    amount = np.vstack([hood.answers.amount, np.zeros((len(sites), len(hood.answers.features)))])
    for at, box in enumerate(planted, len(hood.plots)):
        for feature, area in box.amounts.items():
            amount[at, hood.answers.features.index(feature)] = area
    extra = np.ones((len(sites), amount.shape[1]), dtype=bool)
    answers = replace(
        grown.answers,
        amount=amount,
        sized=np.vstack([hood.answers.sized, extra]),
        sure=np.vstack([hood.answers.sure, extra]),
    )
    return replace(grown, answers=answers)


def _wishes(before: Assessment, sites: Sequence[Site]) -> tuple[dict[int, float], dict[str, float]]:
    """Hungry months and wanted jobs round the plots nearest to the boxes, added up."""
    plots = before.neighbourhood.plots
    months: dict[int, float] = {}
    jobs: dict[str, float] = {}
    nearest = {plots.geometry.distance(site.polygon).idxmin() for site in sites}
    for plot in sorted(nearest):
        hungry, wants = planting_wishes(before, plot_answer(before, plot))
        for month, weight in hungry.items():
            months[month] = months.get(month, 0.0) + weight
        for job, weight in wants.items():
            jobs[job] = jobs.get(job, 0.0) + weight
    return months, jobs
