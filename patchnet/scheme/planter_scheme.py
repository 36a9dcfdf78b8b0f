"""A planter scheme as frozen records."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from patchnet.assess.assessment import Assessment
from patchnet.assess.comparison import Comparison
from patchnet.core.shown import Shown
from patchnet.knowledge.records import Recipe
from patchnet.plan.box_planting import BoxPlanting
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.street import Finding, Site, Street
from patchnet.street.keepers import Keeper
from patchnet.sun.at_place import PlaceSun

__all__ = [
    "CaseLimit",
    "Keeper",
    "PlacedPlanter",
    "Scheme",
    "SchemeAsk",
    "SchemeChoice",
    "SchemeDoubt",
    "SchemeStage",
    "SchemeStep",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class SchemeAsk:
    """What a scheme is asked to be.

    Attributes
    ----------
    planters
        Most planters; None: as many as the budget allows.
    budget
        Most money for the whole bill (see `patchnet.scheme.bill`); None: no limit.
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
        Verdicts of the street rules that may be chosen from. Places that fit come first: see
        `Scheme.choices`.
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
        Its part of the whole bill but for watering kits, in the currency of the tables.
    keeper
        Name of who waters it, or None; `carry_m` how far the cans are carried.
    often
        Share of the draws in which the best scheme has a planter there, or at a place alike: so
        close by that not both could stand, or on the same side and worth the same alone (0-1);
        None: nothing was drawn.
    planting, sun
        What stands in it, and how sunny its place is; None: nothing was planted, or nobody looked.
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
    sun: PlaceSun | None = None


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
class SchemeChoice:
    """The best scheme where only places of some verdicts may be used.

    Attributes
    ----------
    verdicts
        Those verdicts: fits; then also ask; then also measure.
    sites
        Keys of the sites, and of what grows there; empty: nothing there wins anything.
    value
        What it wins of the goal with the figures in use.
    homes
        Linked homes that it wins, all animals together: the mean of the draws, or with the
        figures in use where nothing was drawn.
    low, high
        The middle 90 in 100 of the draws; None: nothing was drawn.
    linked
        The mean for each animal, by its key.
    cost
        The whole bill.
    ask, measure
        At how many of its places somebody must be asked, and something be measured first.
    within
        By what share of its own gain a better scheme of its verdicts could beat it, at most.
    taken
        Whether it is the one that was handed over.
    """

    verdicts: tuple[str, ...]
    sites: tuple[tuple[str, str], ...]
    value: float
    homes: float
    low: float | None
    high: float | None
    linked: Mapping[str, float]
    cost: float
    ask: int
    measure: int
    within: float
    taken: bool


@dataclass(frozen=True, slots=True)
class SchemeStage:
    """Planters that are built together, as a stage of the scheme.

    Attributes
    ----------
    numbers
        Numbers of the planters.
    gain
        What they add to the goal on top of the stages before.
    stands
        What stands after it.
    together
        Whether part of it would win nothing, or next to nothing: build all of it, or none.
    """

    numbers: tuple[int, ...]
    gain: float
    stands: float
    together: bool


@dataclass(frozen=True, slots=True)
class CaseLimit:
    """How far one figure may move before the case for a scheme fails.

    Attributes
    ----------
    group
        The animal that wins most of what the scheme is worth.
    figure
        Key of its figure, such as ``groups/moth/hop``, which is `value` in use.
    value
        The figure in use, in metres.
    below, above
        The case fails where the figure is less than `below`, or more than `above`; None: it
        holds as far as was looked.
    looked
        From where to where: the range of the tables.
    share
        It fails where the scheme wins less than this share of what it wins now.
    """

    group: str
    figure: str
    value: float
    below: float | None
    above: float | None
    looked: tuple[float, float]
    share: float


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
        The whole bill.
    bound
        No scheme with at most this many planters wins more than this, what is taken off for
        places to ask about or to measure counted alike.
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
    choices
        Three schemes side by side: only places that fit, with places to ask about, and after
        measuring. Handed over is the first that wins nearly as much as the last.
    stages
        The planters in the stages in which they are built, none of which wins nothing.
    limit
        How far the figure that decides may move; None: nothing decides.
    narrowings
        What the planters together do to the way along each side (`narrowing_findings`).

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
    choices: tuple[SchemeChoice, ...] = ()
    stages: tuple[SchemeStage, ...] = ()
    limit: CaseLimit | None = None
    narrowings: tuple[Finding, ...] = ()
