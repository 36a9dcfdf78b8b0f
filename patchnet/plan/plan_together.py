"""What should a whole street add, so that neighbours do different jobs? One plan for all plots."""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.over_draws import draws_of
from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.plan.facts import PlotFacts
from patchnet.plan.joint_worth import common_currency
from patchnet.plan.street_fresh_draws import in_fresh_draws
from patchnet.plan.street_houses import meant_plots, parts_of, taking_part
from patchnet.plan.street_in_draws import SomeDraws, StreetInDraws
from patchnet.plan.street_plan import (
    StreetPlan,
)
from patchnet.plan.street_plots import Making
from patchnet.plan.street_rules import StreetRules
from patchnet.plan.street_search import StreetSearch
from patchnet.plan.street_told import Told

__all__ = ["plan_together"]

Array = NDArray[np.float64]
Progress = Callable[[Iterable[Any], str], Iterable[Any]]
_BREAKS = 3  # of each animal, the plots about so many breaks are tried in pairs
_PAIRS = 12  # pairs of plots at most
_LEAST_DRAWS = 5
# All sets are ranked by two draws; the best of them are judged in more, or in all.
_RANKED_BY = SomeDraws(runs=2, last=1)
_TOLD_BY = SomeDraws(last=1)  # draws that each house's part is worked out in


def plan_together(
    assessment: Assessment,
    *,
    plots: Iterable[str] | None = None,
    facts: Mapping[str, PlotFacts] | None = None,
    budget: float | None = None,
    hours: float | None = None,
    jobs: int | None = None,
    fair: bool = False,
    earlier: StreetPlan | Mapping[str, Sequence[str]] | None = None,
    yes: Iterable[str] = (),
    no: Iterable[str] = (),
    draws: int = 0,
    seed: int = 0,
    processes: int | None = 1,
    progress: Progress | None = None,
) -> StreetPlan:
    """Choose what each plot of a street adds, so that together they win most.

    A plot's own plan asks what it should add while nobody else does anything: then neighbours are
    told the same cure, and it is shared. Here every thing is judged beside all others.

    Parameters
    ----------
    assessment
        The street as it is today.
    plots
        Ids, labels or door numbers of those that take part; None: all whose household said yes,
        or all where none was asked. The rest stays as it is.
    facts
        What the people of each plot say, by id (money and hours a plot among it).
    budget, hours, jobs
        Most money in the first year, hours of upkeep a month, and things, over the whole street.
    fair
        Share money, hours and jobs out among the parts of the street by their plots.
    earlier
        A plan made before, or the features of each plot: where the search begins too.
    yes, no
        Plots that accepted their things of the earlier plan, which stay; and plots that refused,
        which are taken out. The others are planned anew.
    draws
        In how many draws of all that is not sure the plan is judged at the end (see
        `patchnet.doubt_of`); it is chosen by the mean of ``settings/together_draws`` others. 0:
        with the figures in use alone.
    seed, processes
        As in `patchnet.doubt_of`.
    progress
        Wraps what is worked through, with words for it, such as a progress bar.

    Returns
    -------
    StreetPlan
        The jobs of each house and what they win, its bound, and what is still scarce.

    Raises
    ------
    WrongUse
        If there is no such plot (the nearest spellings are offered), nobody takes part, a plot has
        accepted that has no earlier things or cannot have them any more, or a limit is below 0.

    Notes
    -----
    Lazy evaluation as Minoux (1978, Optimization Techniques 7:234-243), where the gain need not be
    submodular; then exchanges. The bound is a linear programme (`patchnet.plan.street_bound`).

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["mason_bee"])
    >>> plan = patchnet.plan_together(answer, plots=["M15B", "M17B"])
    >>> len(plan.jobs) <= 6 and plan.worth >= plan.own_worth
    True
    """
    hood = assessment.neighbourhood
    for limit in (budget, hours, jobs):
        if limit is not None and limit < 0:
            raise WrongUse(_("A limit of the street must be 0 or more, not {n:g}.").format(n=limit))
    before = _earlier(earlier)
    settled = meant_plots(hood, yes)
    refused = tuple(meant_plots(hood, no))
    chosen_plots = taking_part(hood, plots, refused)
    lost = [plot for plot in settled if plot not in chosen_plots]
    if lost:
        raise WrongUse(
            _("These cannot both have said yes and take no part: {plots}.").format(
                plots=", ".join(lost)
            )
        )
    said = {} if facts is None else dict(facts)
    for plot in said:
        hood.row_of(plot)
    making = Making(
        assessment, chosen_plots, said, refused, fair=fair, seed=seed, processes=processes
    )
    parts = parts_of(hood, chosen_plots, round(assessment.knowledge.setting("together_part")))
    making.parts = dict(parts)
    rules = StreetRules(chosen_plots, budget, hours, jobs, parts if fair else {})
    fixed = making.members({plot: before.get(plot, ()) for plot in settled}, strict=True)
    for plot in settled:
        if plot not in before:
            raise WrongUse(
                _("{plot} said yes, but has nothing in an earlier plan: give it.").format(plot=plot)
            )
    starts = []
    if before:
        known = {plot: before.get(plot, ()) for plot in chosen_plots}
        starts = [making.members(known, strict=False)]
    if not rules.allows({plot: making.set_of(plot, one) for plot, one in fixed.items()}):
        raise WrongUse(_("What was accepted takes more than the street has: raise the limit."))
    count = _choosing_draws(assessment, draws)
    uncertain = draws_of(assessment, count, seed) if count else None
    currency = common_currency(assessment)
    with StreetInDraws(
        assessment,
        uncertain,
        weight=currency.weight,
        first=currency.first,
        numbers=range(max(count, 1)),
        processes=processes,
    ) as street:
        large = len(hood.plots) > assessment.knowledge.setting("together_plots")
        few = _RANKED_BY if count > (2 if large else _LEAST_DRAWS) else None
        search = StreetSearch(
            street,
            making.sets,
            rules,
            fixed,
            pairs=_pairs(assessment, chosen_plots),
            gaps_of=making.gaps_beside if making.walked else None,
            most_gaps=round(assessment.knowledge.setting("together_gaps")),
            variety=assessment.knowledge.setting("together_variety"),
            few=few,
            told=progress,
        )
        found = search.search(starts)
        told = Told(making, search, found, currency, settled, few and _TOLD_BY)
        plan = told.plan(count)
    if draws:
        plan = replace(
            plan, doubt=in_fresh_draws(assessment, plan, currency, draws, processes, progress)
        )
    return plan


def _earlier(
    earlier: StreetPlan | Mapping[str, Sequence[str]] | None,
) -> dict[str, tuple[str, ...]]:
    """Features of each plot in a plan made before."""
    if earlier is None:
        return {}
    if not isinstance(earlier, StreetPlan):
        return {plot: tuple(features) for plot, features in earlier.items()}
    found: dict[str, list[str]] = {plot: [] for house in earlier.houses for plot in house.plots}
    for job in earlier.jobs:
        found[job.plot].append(job.candidate.feature)
    return {plot: tuple(features) for plot, features in found.items()}


def _choosing_draws(assessment: Assessment, draws: int) -> int:
    """How many draws a plan is chosen by: fewer on a large street, none where none are wanted."""
    if not draws:
        return 0
    setting = assessment.knowledge.setting
    count = round(setting("together_draws"))
    many = len(assessment.neighbourhood.plots) / setting("together_plots")
    fewer = max(_LEAST_DRAWS, math.floor(count / many**2)) if many > 1 else count
    return min(fewer, draws)


def _pairs(assessment: Assessment, plots: Sequence[str]) -> list[tuple[str, str]]:
    """Pairs of plots that could close a listed break together: those along its crossing."""
    able = set(plots)
    found: dict[tuple[str, str], None] = {}
    shapes = assessment.neighbourhood.plots.geometry
    near_m = assessment.knowledge.setting("together_stop_m")
    ranked = sorted(
        (one for answer in assessment.groups.values() for one in answer.breaks[:_BREAKS]),
        key=lambda one: (-one.homes_won, one.from_plot, one.to_plot),
    )
    for one in ranked:
        near = shapes.index[shapes.distance(one.line) <= near_m]
        ends = dict.fromkeys([*one.plots_on_the_way, one.from_plot, one.to_plot, *map(str, near)])
        about = sorted(plot for plot in ends if plot in able)[:4]
        for at, first in enumerate(about):
            for second in about[at + 1 :]:
                found.setdefault((first, second), None)
    return list(found)[:_PAIRS]
