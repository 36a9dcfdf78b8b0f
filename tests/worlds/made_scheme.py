"""A scheme put together by hand, so that its pages are tested without a search."""

import dataclasses

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from patchnet.assess import assess
from patchnet.assess.compare import compare
from patchnet.read.neighbourhood import Answers
from patchnet.scheme.planted import plant_boxes
from patchnet.scheme.planter_scheme import Keeper, PlacedPlanter, Scheme, SchemeAsk, SchemeStep

GROUPS = ("mason_bee", "bumblebee")
CHOSEN = 4


def with_planters(hood, picks, planted):
    """The neighbourhood with the picked sites as plots S01, S02 ...: known through and through."""
    ids = [f"S{at + 1:02d}" for at in range(len(picks))]
    rows = gpd.GeoDataFrame(
        {
            "kind": "planter",
            "label": "",
            "street": "",
            "consent": "",
            "area_m2": [site.polygon.area for site, _ in picks],
        },
        geometry=[site.polygon for site, _ in picks],
        index=pd.Index(ids, name="plot"),
        crs=hood.plots.crs,
    )
    features = hood.answers.features
    amount = np.zeros((len(picks), len(features)))
    for at, box in enumerate(planted):
        for feature, area in box.amounts.items():
            amount[at, features.index(feature)] = area
    plots = pd.concat([hood.plots, rows])
    return dataclasses.replace(
        hood,
        plots=plots,
        answers=Answers(
            plots.index,
            features,
            np.vstack([hood.answers.amount, amount]),
            np.vstack([hood.answers.sized, np.ones_like(amount, dtype=bool)]),
            np.vstack([hood.answers.sure, np.ones_like(amount, dtype=bool)]),
        ),
    )


def made_scheme(hood, street, sites, knowledge):
    open_sites = [site for site in sites if site.verdict in ("fits", "ask", "measure")]
    rank = {"fits": 0, "ask": 1, "measure": 2}
    chosen = []
    for site in sorted(open_sites, key=lambda one: (rank[one.verdict], one.key)):
        if all(site.polygon.distance(other.polygon) > 1.9 for other in chosen):
            chosen.append(site)
    recipes = list(knowledge.recipes.values())
    picks = [(site, recipes[at % 3]) for at, site in enumerate(chosen[:CHOSEN])]
    before = assess(hood, knowledge=knowledge, groups=GROUPS, straight=True)
    planted = plant_boxes(before, picks)
    after_hood = with_planters(hood, picks, planted)
    after = assess(
        after_hood, knowledge=knowledge, groups=GROUPS, straight=True, prior=before.prior
    )
    worth = [0.004, 0.003, 0.0021, 0.0001]
    planters = tuple(
        PlacedPlanter(
            number=at + 1,
            plot=f"S{at + 1:02d}",
            site=site,
            recipe=recipe,
            worth=worth[at] / 2,
            linked={"mason_bee": 0.4 / (at + 1), "bumblebee": 0.02},
            forage=5 - at,
            when_built=worth[at],
            cost=300.0 + at,
            keeper="Ann of No. 4" if at < 2 else None,
            carry_m=12.5 if at < 2 else None,
            planting=planted[at],
        )
        for at, (site, recipe) in enumerate(picks)
    )
    curve = tuple(
        SchemeStep(
            planters=count,
            sites=tuple((one.site.key, one.recipe.key) for one in planters[:count]),
            value=sum(worth[:count]),
            linked={"mason_bee": 0.4 * count, "bumblebee": 0.02 * count},
            cost=sum(one.cost for one in planters[:count]),
            bound=sum(worth[:count]) * 1.05,
        )
        for count in range(len(planters) + 1)
    )
    return Scheme(
        ask=SchemeAsk(
            planters=len(planters),
            budget=2000.0,
            groups=GROUPS,
            keepers=(Keeper("Ann of No. 4", shapely.Point(chosen[0].centre), 45.0),),
        ),
        street=street,
        sites=tuple(sites),
        planters=planters,
        curve=curve,
        exact=False,
        before=before,
        after=after,
        comparison=compare(before, after),
        neighbourhood=after_hood,
        notes=("The width of the footway on the right was taken from the map.",),
    )
