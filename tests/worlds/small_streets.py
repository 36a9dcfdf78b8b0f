"""Small streets to plan together: few plots, few things, so that all plans can be tried."""

import dataclasses
import itertools
import math

import numpy as np
from worlds.garden_rows import TABLES, garden_row

from patchnet.assess import assess
from patchnet.assess.what_if import Trials
from patchnet.plan.joint_worth import common_currency
from patchnet.plan.plot_sets import PlotSets, plan_sets
from patchnet.plan.street_in_draws import StreetInDraws
from patchnet.plan.waiting import in_time

__all__ = ["THINGS", "few_things", "in_one_draw", "most_of_all", "small_street"]

THINGS = ("pond", "dead_wood_pile", "hedge_native", "bee_hotel", "flower_border", "leaf_pile")


def small_street(seed, *, plots, groups):
    """Return the assessment of a row of gardens, drawn by a seed."""
    rng = np.random.default_rng(seed)
    place = garden_row(rng, count=plots, share=0.12)
    return assess(place, knowledge=TABLES, groups=list(groups), straight=True)


def few_things(assessment, *, things, size):
    """Return what each plot can take, cut down to some things."""
    found = {}
    for plot in map(str, assessment.neighbourhood.plots.index):
        sets = plan_sets(assessment, plot, size=size)
        kept = tuple(one for one in sets.candidates if one.feature in things)
        found[plot] = dataclasses.replace(sets, candidates=kept, living=frozenset(), _known={})
    return found


def in_one_draw(assessment):
    """Return the street with the figures in use alone."""
    currency = common_currency(assessment)
    return StreetInDraws(assessment, None, weight=currency.weight, first=currency.first)


def every_set(sets: PlotSets):
    """Every set of a plot that fits, nothing too."""
    members = range(len(sets.candidates))
    chosen = (one for size in range(sets.size + 1) for one in itertools.combinations(members, size))
    return [one for one in chosen if sets.of(one) is not None]


def most_of_all(assessment, sets, gaps=()):
    """Try every plan: the most joint worth that any wins, with some gaps in fences open.

    The last plot's sets are judged at once, exactly.
    """
    trials = Trials(assessment, compiled=False).opened(gaps)
    currency = common_currency(assessment)
    *others, last = sets
    choices = [every_set(sets[plot]) for plot in others]
    final = [in_time(sets[last].of(one).change, TABLES) for one in every_set(sets[last])]
    best = -math.inf
    for chosen in itertools.product(*choices):
        plan = {
            plot: in_time(sets[plot].of(one).change, TABLES)
            for plot, one in zip(others, chosen, strict=True)
        }
        linked = trials.committed(plan).at(last).linked_homes(final)
        best = max(best, float(currency.worth(linked).max()))
    return best
