"""Cautions about what a plot has already: a pond and small children, a feeder and a cat."""

from collections.abc import Iterable

from patchnet.assess.assessment import HasFeature
from patchnet.knowledge.records import Knowledge
from patchnet.plan.facts import PlotFacts

__all__ = ["cautions_there"]


def cautions_there(
    knowledge: Knowledge, facts: PlotFacts, has: Iterable[HasFeature]
) -> tuple[tuple[str, str], ...]:
    """Return features that are there and the caution each asks for, whatever is added.

    Open water asks for one unless it is said that no small children come; what draws birds, where
    a cat is kept.

    Parameters
    ----------
    knowledge
        For the cautions.
    facts
        What the householder said.
    has
        What the plot has.

    Returns
    -------
    tuple
        Pairs of the key of a feature and the key of a caution; each caution once.
    """
    children = set(knowledge.cautions_about("small_children"))
    cats = knowledge.cautions_about("cats")
    found: dict[str, str] = {}
    for one in has:
        feature = knowledge.features[one.feature]
        asked: list[str] = []
        if feature.open_water and facts.small_children is not False:
            asked += [key for key in feature.cautions if key in children]
        if "for_birds" in feature.traits and "cat" in facts.pets:
            asked += cats
        for key in asked:
            found.setdefault(key, one.feature)
    return tuple((feature, caution) for caution, feature in found.items())
