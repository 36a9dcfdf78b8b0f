"""The joint worth of all groups: the log of linked homes, each group with its votes."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.worth import vote_shares, worth_gained

__all__ = ["Currency", "amounts_at", "common_currency"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Currency:
    """Sum over groups of weight x log(linked homes + first).

    It cannot be ruled by one group, and is safe where a group starts from nothing (see
    `patchnet.assess.worth`).

    Attributes
    ----------
    groups
        Keys of the groups, G of them.
    weight
        Shape (G,), votes of the groups, summing to 1.
    now
        Shape (G,), linked homes today.
    first
        Homes, as in `worth_gained`.
    """

    groups: tuple[str, ...]
    weight: Array
    now: Array
    first: float

    def parts(self, linked: Array) -> Array:
        """Change of the joint worth by group, from linked homes after; any shape (..., G)."""
        return worth_gained(linked, self.now, self.first) * self.weight

    def worth(self, linked: Array) -> Array:
        """Change of the joint worth, shape (S,), from linked homes after, shape (S, G)."""
        return np.asarray(self.parts(linked).sum(axis=-1))

    def voting(self, cared_for: Sequence[str]) -> "Currency":
        """Return the joint worth in which only some groups vote; all where none of them is here."""
        if not set(cared_for) & set(self.groups):
            return self
        weight = np.where([key in cared_for for key in self.groups], self.weight, 0.0)
        return replace(self, weight=weight / weight.sum())


def common_currency(assessment: Assessment) -> Currency:
    """Make the joint worth of a neighbourhood as it is.

    A group's weight is its number of votes in the tables over the votes of all groups asked for.

    Parameters
    ----------
    assessment
        The street as it is.
    """
    answers = assessment.groups
    weight = vote_shares(answer.group for answer in answers.values())
    now = np.array([answer.measures.eca for answer in answers.values()])
    first = assessment.knowledge.setting("worth_first_homes")
    return Currency(tuple(answers), weight, now, first)


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
