"""A planter scheme as frozen records."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from patchnet.assess.assessment import Assessment
from patchnet.assess.compare import Comparison
from patchnet.core.shown import Shown
from patchnet.knowledge.records import Recipe
from patchnet.plan.box_planting import BoxPlanting
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.street import Site, Street
from patchnet.street.keepers import Keeper

__all__ = ["Keeper", "PlacedPlanter", "Scheme", "SchemeAsk", "SchemeDoubt", "SchemeStep"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SchemeAsk:
    """What a scheme is asked to be.

    Attributes
    ----------
    planters
        Most planters; None: as many as the budget allows.
    budget
        Most money for boxes, soil and plants; None: no limit.
    goal
        ``"links"``: linked homes, in the joint worth; ``"cover"``: the share of what homes
        lack for which some planter gives something within reach (solved exactly).
    groups
        Keys of the animals; only groups that fly can be served by planters.
    sides
        ``"left"``, ``"right"`` or ``"both"``.
    spacing_m
        Least distance between two boxes, edge to edge; None: as in the tables.
    locked_in, locked_out
        Keys of sites that must, and must not, be used.
    verdicts
        Verdicts of the street rules that may be chosen from.
    recipes
        Keys of what may grow in them; empty: everything of the tables.
    keepers
        Who waters; empty: nobody named yet.
    unkept
        Most planters without a keeper within carrying distance; None: no limit.

    Examples
    --------
    >>> import patchnet
    >>> patchnet.SchemeAsk(planters=6, budget=2500).goal
    'links'
    """

    planters: int | None = None
    budget: float | None = None
    goal: Literal["links", "cover"] = "links"
    groups: tuple[str, ...] = ()
    sides: str = "both"
    spacing_m: float | None = None
    locked_in: tuple[str, ...] = ()
    locked_out: tuple[str, ...] = ()
    verdicts: tuple[str, ...] = ("fits", "ask", "measure")
    recipes: tuple[str, ...] = ()
    keepers: tuple[Keeper, ...] = ()
    unkept: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class PlacedPlanter:
    """One planter of the scheme.

    Attributes
    ----------
    number
        Its number in the order of building, from 1.
    plot
        Id of its plot in the neighbourhood with the scheme, ``S01``.
    site, recipe
        Where it stands and what grows in it.
    worth
        What it adds to the goal (0-1) on top of all the others.
    linked
        Linked homes that it wins each group on top of all the others, by the measure searched.
    forage
        Plots within reach that are short of flowers and get some from it.
    when_built
        What it adds to the goal when it is built, on top of those before it.
    cost
        Box, soil and plants, in the currency of the tables.
    keeper
        Name of who waters it, or None; `carry_m` how far the cans are carried.
    often
        Share of the draws in which the best scheme has a planter there, or so close by that not
        both could stand (0-1); None: nothing was drawn.
    """

    number: int
    plot: str
    site: Site
    recipe: Recipe
    worth: float
    linked: Mapping[str, float]
    forage: int
    when_built: float
    cost: float
    keeper: str | None
    carry_m: float | None
    often: float | None = None
    planting: BoxPlanting | None = None


@dataclass(frozen=True, slots=True)
class SchemeDoubt:
    """How a scheme was chosen over draws of all that is not sure.

    Attributes
    ----------
    draws, tried
        In how many draws schemes were judged, and how many.
    share
        What the choice wins, over what the best scheme of the draw does: mean, 0-1.
    harm
        Share of the draws in which the street would be better without it, 0-1.
    value
        What the choice wins of the goal with the figures in use (0-1); the curve's scheme of that
        size wins as much or more.
    """

    draws: int
    tried: int
    share: float
    harm: float
    value: float


@dataclass(frozen=True, slots=True)
class SchemeStep:
    """The best scheme found with at most this many planters, and how much better any could be.

    Attributes
    ----------
    planters
        Most planters. Where one more does not help, the scheme is that of the step before.
    sites
        Keys of the sites, and of what grows there, in no order.
    value
        What it wins of the goal (0-1), by the measure searched.
    linked
        Linked homes with it, by group, by the measure searched.
    cost
        Money.
    bound
        No scheme with at most this many planters wins more than this.
    """

    planters: int
    sites: tuple[tuple[str, str], ...]
    value: float
    linked: Mapping[str, float]
    cost: float
    bound: float

    @property
    def within(self) -> float:
        """By what share of its own gain a better scheme could beat this one, at most."""
        if self.bound <= self.value:
            return 0.0
        return (self.bound - self.value) / self.value if self.value > 0 else float("inf")


@dataclass(frozen=True, eq=False, repr=False)
class Scheme(Shown):
    """A planter scheme along one street.

    Attributes
    ----------
    ask
        What was asked.
    street
        The street, its sides and what is known of them.
    sites
        Every site looked at, with its verdict.
    planters
        The planters, in the order of building.
    curve
        The best scheme found for every number of planters, from 0 (or from those locked in).
    exact
        Whether every scheme was judged (few sites), so that none can be better.
    before, after
        The neighbourhood without and with the planters, assessed again from the start.
    comparison
        What that wins, for whom and where.
    neighbourhood
        The street with the planters as plots.
    notes
        What had to be assumed or left out, in plain words.
    doubt
        How it was chosen over draws; None: with the figures in use.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["bumblebee"], straight=True)
    >>> ask = patchnet.SchemeAsk(planters=1, groups=("bumblebee",))
    >>> len(patchnet.plan_scheme(answer, "Wickthorn Street", ask=ask).planters)
    1
    """

    ask: SchemeAsk
    street: Street
    sites: tuple[Site, ...]
    planters: tuple[PlacedPlanter, ...]
    curve: tuple[SchemeStep, ...]
    exact: bool
    before: Assessment
    after: Assessment
    comparison: Comparison
    neighbourhood: Neighbourhood
    notes: tuple[str, ...]
    doubt: SchemeDoubt | None = None
