"""The householder's whole answer as frozen records."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from patchnet.assess.assessment import Assessment, FenceGap, PlotAnswer
from patchnet.assess.spread import Spread
from patchnet.core.shown import Shown
from patchnet.plan.facts import PlotFacts
from patchnet.plan.placed import Places
from patchnet.sun.at_plot import PlotSun

__all__ = [
    "Addition",
    "Bloom",
    "Candidate",
    "GroupGain",
    "HazardLine",
    "NeedGain",
    "Planting",
    "PlantingLine",
    "PlotPlan",
    "RuledOut",
    "SetDoubt",
    "Stage",
    "Suggestion",
    "Wished",
    "WouldChange",
]


@dataclass(frozen=True, slots=True)
class Candidate:
    """Something that could be added to this plot, in an amount that fits by itself.

    Attributes
    ----------
    feature, amount
        Key of the feature, and how much of it, in the feature's own unit.
    place
        Where it goes: ``"ground"``, ``"standing"`` (on any floor), ``"wall"``, ``"fence"``,
        ``"sill"``, ``"roof"``, ``"under"`` (under what grows there already) or ``"habit"`` (done
        on the whole plot).
    ground_m2, length_m
        Free ground it takes, and length of wall, fence or sill.
    hours_month, cost
        Upkeep, hours a month; money in the first year (middle of its class).
    months
        When it is made, planted or put up, 1-12.
    cautions, asks
        Keys of the cautions that belong to it; questions that must be answered first
        (a pond: whether small children come there).
    moves
        Keys of moves (ways to make it where room is small) that suit what is there, those that
        start from something that is there first.
    """

    feature: str
    amount: float
    place: str
    ground_m2: float
    length_m: float
    hours_month: float
    cost: float
    months: tuple[int, ...]
    cautions: tuple[str, ...]
    asks: tuple[str, ...]
    moves: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RuledOut:
    """A feature that is not offered here, and why, in plain words."""

    feature: str
    why: str
    kind: str


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a thing is asked for, as a fact that can be checked.

    Attributes
    ----------
    kind
        ``nobody`` within `metres` has one, as far as was seen; ``few`` have, these `plots`;
        ``some`` have, so many (`counts`), the nearest of them in `plots`; it ``joins`` parts of an
        animal's network, of so many patches each (`counts`); it ``feeds`` the homes of an animal on
        so many plots (`counts`); its flowers close hungry `months` here; what it gives is
        ``shared`` by so many plots (`counts`), more than half of all, and too little for them.
    group, need
        Of ``joins``, ``feeds`` and ``shared``.
    metres
        How far was looked.
    counts, plots, months
        See `kind`; plots with their distance, metres; months 1-12.
    """

    kind: Literal["nobody", "few", "some", "joins", "feeds", "months", "shared"]
    group: str = ""
    need: str = ""
    metres: float = 0.0
    counts: tuple[int, ...] = ()
    plots: tuple[tuple[str, float], ...] = ()
    months: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Addition:
    """One candidate as part of a set.

    `alone` and `given_the_others` are linked homes it wins by itself and on top of the rest of
    the set; `worth` is what it adds to the joint worth on top of the rest. `groups` pairs
    the groups it serves with the linked homes it wins each on top of the rest, most first;
    `needs` are the needs (group, need) that it gives something of and that are met better by
    the set. `often` is the share of draws in which it is part of the best set, 0-1; None where
    nothing was drawn. `reasons` are facts that speak for it.
    """

    candidate: Candidate
    alone: float
    given_the_others: float
    worth: float
    groups: tuple[tuple[str, float], ...]
    needs: tuple[tuple[str, str], ...]
    often: float | None = None
    reasons: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class NeedGain:
    """What a set does for one need of one group.

    ``plots`` are the first few of the ``plots_count`` plots (this one among them) whose share
    met rises, with the rise, the largest first; ``hungry_months_closed`` are months in which
    this plot's surroundings were short before and are not now.
    """

    group: str
    need: str
    met_before: float
    met_after: float
    enough_before: float
    enough_after: float
    plots: tuple[tuple[str, float], ...]
    plots_count: int
    hungry_months_closed: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class GroupGain:
    """What a set does for one group: linked homes before and after, homes here and around.

    `won_low` and `won_high` are the ends of the middle 90 in 100 draws of the linked homes that
    it wins; None where nothing was drawn. Homes here and around are with the figures in use.
    """

    group: str
    linked_before: float
    linked_after: float
    homes_here_before: float
    homes_here_after: float
    homes_around: float
    share: float
    won_low: float | None = None
    won_high: float | None = None


@dataclass(frozen=True, slots=True)
class SetDoubt:
    """How sure a set is, over the draws.

    Attributes
    ----------
    draws
        How many were taken.
    won
        Linked homes that it wins over all animals: mean, and the middle 90 in 100.
    share
        What it wins over what the best set of each draw wins: mean, at most 1.
    harm
        Share of draws in which it makes things worse, 0-1.
    cautious
        Whether it was chosen by what is won even in the worse draws.
    sorts
        Sorts of things (``sort`` of the features), and the share of draws in which the best set
        has one, the most often first.
    """

    draws: int
    won: Spread
    share: float
    harm: float
    cautious: bool = False
    sorts: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A set of additions that fits together, and what it wins.

    Attributes
    ----------
    additions
        The additions: what is planted, watered or opened first, then habits, boxes, feeding; of
        these the one that adds most given the others first.
    gives_way
        What gives way to them: feature to amount (short lawn under a new bed).
    score
        Change of the joint worth (sum over groups of their votes times the log of linked homes,
        see `patchnet.plan.joint_worth`); what the sets are ranked by.
    linked_homes
        Linked homes won, summed over the groups: the mean of the draws, where it was drawn.
    doubt
        How sure that is; None where nothing was drawn.
    """

    additions: tuple[Addition, ...]
    gives_way: Mapping[str, float]
    score: float
    linked_homes: float
    groups: tuple[GroupGain, ...]
    needs: tuple[NeedGain, ...]
    doubt: SetDoubt | None = None


@dataclass(frozen=True, slots=True)
class Wished:
    """What a thing that was wished for wins.

    Attributes
    ----------
    feature, asked, amount
        Key of the feature; the amount wished for, in its own unit, or None; the amount that
        fits, and at which it was judged.
    alone
        Linked homes it wins by itself.
    with_best
        Linked homes it wins on top of the rest of the best set; None where it does not fit
        beside the set, or there is none.
    in_best
        Whether it is one of the best set.
    why_not
        Why it cannot be had, or nothing.
    """

    feature: str
    asked: float | None
    amount: float
    alone: float
    with_best: float | None
    in_best: bool
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class WouldChange:
    """An answer that would change the suggestion: what is asked, and what would come out."""

    fact: str
    words: str
    features: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlantingLine:
    """One plant of the planting: how many, where, what for, when it flowers.

    Attributes
    ----------
    plant, number
        Key of the plant, and how many of it.
    place, layer
        Feature it stands in; its layer (``bulb``, ``herb``, ``shrub``, ``climber``, ``tree``,
        ``aquatic``).
    months
        Months in which its flowers feed something; empty where they feed nothing, or not for
        years.
    jobs
        What it does (roles of the plant table).
    hazard, note
        Its hazard, and what else the table says (buy cultivated stock only), or nothing.
    depth_m
        Depth of soil it needs in a pot, metres; 0 in the ground.
    form, when
        How it is bought (key of ``plant_forms.csv``), and the months in which it is planted.
    price
        Price of one, in the currency of the ``cost`` settings.
    free
        How it can be had for next to nothing: ``sow``, ``divide``, ``cuttings``.
    strength
        How bad its harm is: ``low``, ``mild``, ``serious``, ``grave``, or nothing.
    """

    plant: str
    number: int
    place: str
    layer: str
    months: tuple[int, ...]
    jobs: tuple[str, ...]
    hazard: str
    note: str = ""
    depth_m: float = 0.0
    form: str = ""
    when: tuple[int, ...] = ()
    price: float = 0.0
    free: tuple[str, ...] = ()
    strength: str = ""


@dataclass(frozen=True, slots=True)
class Bloom:
    """Plants of the planting in flower in one month, and whether the month is hungry here."""

    month: int
    plants: tuple[str, ...]
    hungry: bool


@dataclass(frozen=True, slots=True)
class HazardLine:
    """A plant with a hazard, its words and where they come from (source keys)."""

    plant: str
    words: str
    source: str


@dataclass(frozen=True, slots=True)
class Planting:
    """Plants chosen together.

    Attributes
    ----------
    lines, calendar, hazards
        The plants, place by place; the twelve months; every hazard among the plants.
    uncovered
        Hungry months for which no plant that fits flowers.
    no_room
        Hungry months in which some plant that fits flowers, but not beside the others.
    left_out
        Why plants were not offered, in plain words, and how many.
    refused
        Plants of the user's own tables that the law keeps out, and why.
    also_fit
        Plants that fit as well, where one of the planting cannot be had.
    exact
        Whether the choice is proved best for its stated aim.
    cover, worth
        Value of the aim: weight of the hungry months covered, and the worth of the rest.
    bare
        Months of the growing year (``planting_year_first`` to ``planting_year_last``) in which no
        plant that fits here flowers.
    shared
        Months of that year in which only plants of the neighbours' share flower, each with one.
    mixes
        Features that start from a tested mix, and its key.
    cost
        Money for the plants: least, usual and most.
    planted_share
        Share of it that the money is enough for this year, 0-1.
    thread
        Plants of it that are meant to be in many plots of the street.
    gap_share
        Share of the beds that are there which it fills, as gaps between what grows there, 0-1; 0:
        it is for what is added.
    """

    lines: tuple[PlantingLine, ...]
    calendar: tuple[Bloom, ...]
    hazards: tuple[HazardLine, ...]
    uncovered: tuple[int, ...]
    left_out: tuple[tuple[str, int], ...]
    exact: bool
    no_room: tuple[int, ...] = ()
    refused: tuple[tuple[str, str], ...] = ()
    also_fit: tuple[str, ...] = ()
    cover: float = 0.0
    worth: float = 0.0
    bare: tuple[int, ...] = ()
    shared: tuple[tuple[int, str], ...] = ()
    mixes: tuple[tuple[str, str], ...] = ()
    cost: tuple[float, float, float] = (0.0, 0.0, 0.0)
    planted_share: float = 1.0
    thread: tuple[str, ...] = ()
    gap_share: float = 0.0


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage of the plan over years: free things, the best set by its months, and what is next.

    `when` is ``"weekend"``, ``"season"``, ``"next_year"`` or ``"when_owned"``; `linked_homes`
    (None where draws were taken, for stages are judged with the figures in use alone) and `score`
    are what this stage adds; `hours`, `cost` what it takes; `change` is what is
    changed after it, with the stages before: feature to amount in its own unit.
    """

    when: str
    additions: tuple[Candidate, ...]
    linked_homes: float | None
    score: float
    hours: float
    cost: float
    change: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, repr=False)
class PlotPlan(Shown):
    """The whole answer to "what should this plot add?".

    Attributes
    ----------
    answer
        What the plot has and its neighbours give (balance sheets).
    best, runner_up
        The best set and the next best that differs in more than an amount; None where nothing
        that fits wins anything.
    wished
        What was wished for, in the order it was said.
    to_eat
        Where things to eat are wanted and the best set holds none: the best set that does.
    exact, searched, bound
        Whether every set that fits was judged; how many were; and otherwise the most by which
        any set not judged can be better (score; 0 where exact).
    plentiful
        Features that are plentiful nearby and need not be repeated: feature, nearest plots with
        distances (m), on how many plots.
    ruled_out
        What is not offered, and why.
    would_change
        What would change the answer.
    planting, planting_with
        What to plant in what the best set adds (else in what is there); and the bed, pot or box
        that is planted beside it so that hungry months get flowers, or None.
    gaps
        For groups that walk: the gap in one of this plot's fences that wins most (group, gap).
    warnings
        Doubt to be said first (all neighbours unknown, no free ground ...), plain words.
    there
        Cautions about what is there already: feature and caution (see `patchnet.plan.safety`).
    street
        What the street's plan counts on this plot for, in words; empty where there is none.
    places
        Where the things go on the plot; None where that was not asked for (`Adviser.plan`).
    assessment, sun
        The answer that the plan was made from, and what the sun does on the plot where that was
        worked out: for the card. They are not part of the plan written as JSON.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["mason_bee"])
    >>> plan = patchnet.plan_plot(answer, "M15B", facts={"pots_only": "yes"}, month=5)
    >>> plan.facts.pots_only, plan.plot
    (True, 'M15B')
    """

    plot: str
    facts: PlotFacts
    answer: PlotAnswer
    best: Suggestion | None
    wished: tuple[Wished, ...]
    to_eat: Suggestion | None
    runner_up: Suggestion | None
    exact: bool
    searched: int
    bound: float
    plentiful: tuple[tuple[str, tuple[tuple[str, float], ...], int], ...]
    ruled_out: tuple[RuledOut, ...]
    would_change: tuple[WouldChange, ...]
    gaps: tuple[tuple[str, FenceGap], ...]
    planting: Planting
    planting_with: Candidate | None
    stages: tuple[Stage, ...]
    warnings: tuple[str, ...]
    there: tuple[tuple[str, str], ...]
    street: tuple[str, ...] = ()
    places: Places | None = field(default=None, compare=False)
    assessment: Assessment | None = field(default=None, compare=False)
    sun: PlotSun | None = field(default=None, compare=False)
