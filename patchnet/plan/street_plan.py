"""A plan for a whole street as frozen records."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from patchnet.assess.assessment import Assessment, FenceGap
from patchnet.assess.spread import Spread
from patchnet.core.shown import Shown
from patchnet.plan.placed import Placed
from patchnet.plan.plot_plan import Candidate

__all__ = [
    "AnimalTogether",
    "BoughtTogether",
    "House",
    "HouseJob",
    "StreetDoubt",
    "StreetGap",
    "StreetPart",
    "StreetPlan",
]


@dataclass(frozen=True, slots=True)
class HouseJob:
    """One thing that one plot adds.

    Attributes
    ----------
    plot
        Id of the plot.
    candidate
        What it adds, in an amount that fits.
    loses
        Share of the whole street's worth that is lost if this is left out, everything else of
        the plan done, and the best other things put in its place, 0-1.
    instead
        Those things: features that the plot would add then.
    placed
        Where it goes on the plot, as in the plot's own plan (`patchnet.plan.placing`).
    """

    plot: str
    candidate: Candidate
    loses: float = 0.0
    instead: tuple[str, ...] = ()
    placed: Placed | None = None


@dataclass(frozen=True, slots=True)
class House:
    """What one household does, and what that is worth.

    Attributes
    ----------
    name
        How it is called: its door with the street, or its label.
    plots
        Ids of its plots.
    jobs
        At most three a plot.
    answer
        ``"open"``, ``"yes"`` (settled) or ``"no"`` (takes no part).
    order
        Place in the order of doing, from 1; 0 where there is nothing to do.
    alone, part
        Linked homes over all animals that its things win if only this house does them; and that
        the street loses if all others do theirs and this one does not.
    share
        The same part as a share of the joint worth of the whole plan.
    cost, hours
        Money in the first year and upkeep, hours a month.
    gives_way
        Plot id to what gives way there: feature to amount.
    """

    name: str
    plots: tuple[str, ...]
    jobs: tuple[HouseJob, ...]
    answer: str = "open"
    order: int = 0
    alone: float = 0.0
    part: float = 0.0
    share: float = 0.0
    cost: float = 0.0
    hours: float = 0.0
    gives_way: Mapping[str, Mapping[str, float]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class StreetGap:
    """A gap in a fence that the plan opens, for all animals that walk.

    `group` is the one that wins most by it. `homes` are the linked homes of all, and `share` the
    part of the plan's joint worth, that would be lost without it.
    """

    group: str
    gap: FenceGap
    homes: float
    share: float


@dataclass(frozen=True, slots=True)
class AnimalTogether:
    """Linked homes of one animal today and with the plan: means, and the middle 90 in 100."""

    group: str
    before: float
    after: float
    won: Spread
    scarcest: str
    short: int


@dataclass(frozen=True, slots=True)
class StreetPart:
    """One part of the street: plots, those that take part, jobs, and homes more (all animals)."""

    name: str
    plots: int
    taking_part: int
    jobs: int
    homes: float


@dataclass(frozen=True, slots=True)
class BoughtTogether:
    """One thing that several houses add: bought or done together. Amounts in its own unit."""

    feature: str
    houses: tuple[str, ...]
    amount: float


@dataclass(frozen=True, slots=True)
class StreetDoubt:
    """The plan in draws that it was not chosen by.

    Attributes
    ----------
    draws
        How many.
    homes
        Linked homes won over all animals.
    worth, own_worth
        Joint worth won by the plan, and by every plot's own best set done together.
    ratio
        Median of what the first is over the second.
    better
        Share of the draws in which the plan wins more, 0-1.
    """

    draws: int
    homes: Spread
    worth: Spread
    own_worth: Spread
    ratio: float
    better: float


@dataclass(frozen=True, slots=True, repr=False)
class StreetPlan(Shown):
    """What a street does together.

    Attributes
    ----------
    name
        Of the street's file.
    houses
        Those that take part, in the order of the file, also those that have nothing to do.
    changes
        Plot id to feature to amount more than today, in its own unit; negative: gives way.
    own
        The same of every plot's own best set, with nothing done elsewhere.
    gaps
        Gaps in fences that the plan opens.
    animals
        What each animal wins.
    now, linked
        Linked homes of each animal today and with the plan, with the figures in use.
    worth, own_worth
        Joint worth won by the plan, its gaps open, and by the own best sets done together: mean of
        the draws that it was chosen by.
    promised
        Sum of what the own best sets promise one by one, joint worth: not to be had.
    bound
        Joint worth that no plan of things on these plots, and of gaps between them, can pass in
        these draws, mean; `bound_of` what this plan wins in the same ones.
    draws, seed
        How many draws it was chosen by (0: the figures in use alone), and their seed.
    doubt
        The plan in other draws; None where none were taken.
    curve
        Number of houses and the joint worth won once the first so many have done theirs.
    parts
        Who is served how much.
    together
        What is best bought or done together.
    effective
        Effective number of different jobs: exp of the entropy of their shares.
    judged, settled
        How many moves were judged; whether the last pass of exchanges moved next to nothing.
    refused
        Plots whose households said no.
    fair
        Whether money, hours and jobs were shared out among the parts.
    assessment
        The answer that it was made from; no part of the plan written as JSON.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["mason_bee"])
    >>> plan = patchnet.plan_together(answer, plots=["M15B", "M17B"])
    >>> [house.plots for house in plan.houses]
    [('M15B',), ('M17B',)]
    """

    name: str
    houses: tuple[House, ...]
    changes: Mapping[str, Mapping[str, float]]
    own: Mapping[str, Mapping[str, float]]
    gaps: tuple[StreetGap, ...]
    animals: tuple[AnimalTogether, ...]
    now: Mapping[str, float]
    linked: Mapping[str, float]
    worth: float
    own_worth: float
    promised: float
    bound: float
    bound_of: float
    draws: int
    seed: int
    doubt: StreetDoubt | None
    curve: tuple[tuple[int, float], ...]
    parts: tuple[StreetPart, ...]
    together: tuple[BoughtTogether, ...]
    effective: float
    judged: int
    settled: bool
    refused: tuple[str, ...] = ()
    fair: bool = False
    assessment: Assessment | None = field(default=None, compare=False)

    @property
    def jobs(self) -> tuple[HouseJob, ...]:
        """Every job of every house."""
        return tuple(job for house in self.houses for job in house.jobs)

    def house_of(self, plot: str) -> House | None:
        """Return the house that a plot belongs to; None where it takes no part."""
        return next((house for house in self.houses if plot in house.plots), None)

    @property
    def share_of_bound(self) -> float:
        """What it wins over what no plan can pass, 0-1."""
        known = np.isfinite(self.bound) and self.bound > 0
        return min(1.0, self.bound_of / self.bound) if known else 0.0
