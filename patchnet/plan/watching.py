"""A year of watching first: what to look for on this plot, for what is proposed and for whom."""

from patchnet.knowledge.records import Knowledge, Watching
from patchnet.plan.plot_plan import PlotPlan

__all__ = ["watch_list"]


def watch_list(plan: PlotPlan, knowledge: Knowledge) -> tuple[Watching, ...]:
    """Return what to look for before the best set is made, in the order of the year.

    Parameters
    ----------
    plan
        The plan.
    knowledge
        For what there is to look for.

    Returns
    -------
    tuple
        What is always of use, what helps to place one of the things, and what tells of an animal
        that gains by them or that somebody cares for.
    """
    best = plan.best
    things = set() if best is None else {one.candidate.feature for one in best.additions}
    gain = [] if best is None else [key for one in best.additions for key, _won in one.groups]
    animals = {*gain, *plan.facts.groups}
    found = [
        one
        for one in knowledge.watching.values()
        if not (one.features or one.groups)
        or things & set(one.features)
        or animals & set(one.groups)
    ]
    return tuple(sorted(found, key=lambda one: (min(one.months), max(one.months))))
