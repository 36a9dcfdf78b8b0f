"""What a scheme must keep to, made of what was asked: number, money, spacing, water, tolls."""

import math
from collections.abc import Sequence
from functools import partial

import numpy as np

from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge, Recipe
from patchnet.knowledge.street import PlanterSize
from patchnet.scheme.bill import box_cost, whole_cost
from patchnet.scheme.planter_scheme import (
    Keeper,
    SchemeAsk,
)
from patchnet.scheme.together import SchemeRules
from patchnet.street.site import Site

__all__ = ["rules_of"]


def rules_of(
    sites: tuple[Site, ...], recipes: Sequence[Recipe], ask: SchemeAsk, knowledge: Knowledge
) -> SchemeRules:
    """Return what a scheme must keep to.

    Parameters
    ----------
    sites, recipes
        Where a planter may stand, and what may grow in it.
    ask
        What was asked.
    knowledge
        Prices, settings.

    Raises
    ------
    WrongUse
        If the budget is less than the cheapest planter.
    """
    box = np.array([box_cost(site.size, knowledge) for site in sites])
    kit = whole_cost([sites[0].size], knowledge) - float(box[0])
    budget = np.inf if ask.budget is None else ask.budget
    least = float(box.min()) + kit
    if budget < least:
        raise WrongUse(
            _(
                "The budget of {budget:g} is less than the cheapest planter with all that belongs "
                "to it, {least:.0f}."
            ).format(budget=budget, least=math.ceil(least))
        )
    by_money = int((budget - kit) // box.min()) if np.isfinite(budget) else len(sites)
    planters = min(len(sites) if ask.planters is None else ask.planters, by_money, len(sites))
    spacing = knowledge.setting("scheme_spacing_m") if ask.spacing_m is None else ask.spacing_m
    litres = np.array([site.size.plan_m2 for site in sites]) * knowledge.setting("visit_litres_m2")
    tolls = {
        "fits": 0.0,
        "ask": knowledge.setting("scheme_ask_toll"),
        "measure": knowledge.setting("scheme_measure_toll"),
    }
    toll = np.array([tolls[site.verdict] for site in sites])
    return SchemeRules(
        sites=sites,
        costs=np.repeat(box[:, None], len(recipes), axis=1),
        planters=max(planters, 1),
        budget=budget,
        spacing_m=spacing,
        litres=litres,
        keepers=tuple(sorted(ask.keepers, key=_keeper_key)),
        carry_m=knowledge.setting("carry_m"),
        unkept=ask.unkept,
        kit=kit,
        bill=partial(_bill, tuple(site.size for site in sites), knowledge),
        # A toll is for choosing between places: where all must be measured, it rules out none.
        toll=toll - toll.min(),
    )


def _keeper_key(keeper: Keeper) -> tuple[str, float, float, float]:
    return keeper.name, keeper.place.x, keeper.place.y, keeper.litres


def _bill(
    sizes: Sequence[PlanterSize], knowledge: Knowledge, places: Sequence[int], kits: int
) -> float:
    """The whole bill of boxes at some places."""
    return whole_cost([sizes[site] for site in places], knowledge, kits=kits)
