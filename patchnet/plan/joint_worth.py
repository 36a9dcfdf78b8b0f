"""The joint worth of all groups: linked homes as a share of what the plots could hold."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.plan.candidates import candidates_for, fitted
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plot_plan import Candidate
from patchnet.plan.space import Space, space_of

__all__ = ["Currency", "amounts_at", "common_currency", "everything_that_fits"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Currency:
    """Sum over groups of weight x linked homes / linked homes if everything that fits were there.

    It lies in 0-1, cannot be ruled by one group, and is safe where a group starts from nothing.

    Attributes
    ----------
    groups
        Keys of the groups, G of them.
    weight
        Shape (G,), votes of the groups, summing to 1.
    full
        Shape (G,), linked homes with everything that fits on every plot; at least today's.
    now
        Shape (G,), linked homes today.
    """

    groups: tuple[str, ...]
    weight: Array
    full: Array
    now: Array

    def parts(self, linked: Array) -> Array:
        """Change of the joint worth by group, from linked homes after; any shape (..., G)."""
        whole = np.where(self.full > 0, self.full, 1.0)
        part: Array = np.where(self.full > 0, (linked - self.now) / whole, 0.0) * self.weight
        return part

    def worth(self, linked: Array) -> Array:
        """Change of the joint worth, shape (S,), from linked homes after, shape (S, G)."""
        return np.asarray(self.parts(linked).sum(axis=-1))

    def voting(self, cared_for: Sequence[str]) -> "Currency":
        """Return the joint worth in which only some groups vote (all where none is named)."""
        if not cared_for:
            return self
        weight = np.where([key in cared_for for key in self.groups], self.weight, 0.0)
        return Currency(self.groups, weight / weight.sum(), self.full, self.now)


def common_currency(assessment: Assessment, full: Array) -> Currency:
    """Make the joint worth from the linked homes with everything that fits, shape (groups,).

    A group's weight is its number of votes in the tables over the votes of all groups asked for.

    Parameters
    ----------
    assessment
        The street as it is.
    full
        Shape (groups,): linked homes of each group with everything that fits.
    """
    answers = assessment.groups
    votes = np.array([answer.group.weight.value for answer in answers.values()])
    now = np.array([answer.measures.eca for answer in answers.values()])
    return Currency(tuple(answers), votes / votes.sum(), np.maximum(full, now), now)


def amounts_at(assessment: Assessment, plot: str) -> dict[str, float]:
    """What a plot has, feature to amount; what is not known as it was drawn in.

    Parameters
    ----------
    assessment
        The street as it is.
    plot
        Id of the plot.

    Returns
    -------
    dict
        Feature -> amount in its unit (m2, m, count).

    Raises
    ------
    KeyError
        If there is no such plot.
    """
    at = assessment.neighbourhood.plots.index.get_loc(plot)
    row = assessment.amounts[at]
    return dict(zip(assessment.neighbourhood.answers.features, row.tolist(), strict=True))


def everything_that_fits(assessment: Assessment) -> dict[str, Mapping[str, float]]:
    """For each plot, every addition that fits at once, those on the ground shrunk to fit.

    Additions are taken in from the one that needs least room on; one that cannot stand beside
    the others even at its smallest is left out, so that everything stays inside the free ground.

    Parameters
    ----------
    assessment
        The street as it is.

    Returns
    -------
    dict
        Id of a plot -> feature -> amount more, in its unit (m2, m, count).
    """
    knowledge, neighbourhood = assessment.knowledge, assessment.neighbourhood
    facts = PlotFacts()
    everything: dict[str, Mapping[str, float]] = {}
    for plot, kind in neighbourhood.plots["kind"].items():
        space = space_of(
            neighbourhood, str(plot), facts, knowledge, amounts=amounts_at(assessment, str(plot))
        )
        offered, _ = candidates_for(knowledge, facts, space, kind=str(kind))
        everything[str(plot)] = _together(offered, space, assessment)
    return everything


def _together(
    offered: Sequence[Candidate], space: Space, assessment: Assessment
) -> Mapping[str, float]:
    chosen: list[Candidate] = []
    change: Mapping[str, float] = {}
    for one in sorted(offered, key=lambda each: (each.ground_m2, each.length_m)):
        result = fitted([*chosen, one], space, assessment.knowledge, PlotFacts())
        if result is not None:
            chosen.append(one)
            change = result[1]
    return change
