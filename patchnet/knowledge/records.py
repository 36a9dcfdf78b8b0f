"""The knowledge tables as typed records: every number has unit, class and source."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from patchnet.core.faults import Fault
from patchnet.knowledge.scheme_records import SchemeConsent, SchemeRisk, UpkeepTask
from patchnet.knowledge.street_records import PlanterSize, SightRule, StreetObjectKind

__all__ = [
    "CLASSES",
    "BarrierKind",
    "Caution",
    "Class",
    "Feature",
    "FeatureTrait",
    "Figure",
    "GroundCosts",
    "GroundCover",
    "Group",
    "KeepUse",
    "Knowledge",
    "Need",
    "Origin",
    "OsmTag",
    "Place",
    "Plant",
    "PlantListing",
    "PlantRole",
    "PlantingPlace",
    "PlotKind",
    "PlotTrait",
    "Recipe",
    "Resource",
    "Siting",
    "Source",
    "Step",
    "Supply",
    "SurveyQuestion",
    "SurveyRule",
    "UnlawfulPlant",
]

Place = Literal["ground", "standing", "wall", "fence", "sill", "roof", "under"]
Class = Literal["published", "second-hand", "derived", "common-practice", "memory", "assumption"]
FeatureTrait = Literal[
    "open_water", "only_one", "lawn", "bed", "for_birds", "way_through", "in_a_pit"
]
"""What a feature is, see `Feature`."""
PlotTrait = Literal[
    "plain", "home", "asks_keeper", "in_street", "nobodys", "raised", "pots_only", "sill",
    "whole", "front", "back", "strip", "pit", "box", "unnamed",
]  # fmt: skip
"""What a kind of plot is, see `PlotKind`."""
About = Literal["", "small_children", "neighbour", "street", "load", "cats", "protected"]
"""What a caution is about, where more hangs on it than its words; see `Caution`."""
CLASSES: tuple[Class, ...] = (
    "published",
    "second-hand",
    "derived",
    "common-practice",
    "memory",
    "assumption",
)


@dataclass(frozen=True, slots=True)
class Source:
    """Where a number comes from: a paper, a handbook, a standard, or our own assumption."""

    key: str
    citation: str
    doi: str


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of the tables.

    Parameters
    ----------
    key
        Its address, ``"groups/mason_bee/hop"``; what ``patchnet source`` takes.
    value, low, high
        The number in use and its range, in `unit`.
    kind
        How well it is founded (see `CLASSES`).
    sources
        Keys of `Source` records.
    note
        What was done to get it, in words.
    place
        File and line it stands at.
    """

    key: str
    value: float
    unit: str
    low: float
    high: float
    kind: Class
    sources: tuple[str, ...]
    note: str
    place: str


@dataclass(frozen=True, slots=True)
class Origin:
    """Where something that is not one number comes from: a calendar, a hazard, plant traits.

    `key` is its address, ``"groups/mason_bee/active_months"``; `words` say what stands there.
    """

    key: str
    words: str
    kind: Class
    sources: tuple[str, ...]
    note: str
    place: str


@dataclass(frozen=True, slots=True)
class Resource:
    """Something an animal needs and a feature can give (flowers in bloom, nest holes ...).

    Parameters
    ----------
    key, name, unit
        Key in the tables, name in plain words, unit of its amounts.
    plant_roles
        Roles of plants that give something of it.
    by_month
        Whether a month short of it is a hungry month, told by its name (flowers).
    """

    key: str
    name: str
    unit: str
    plant_roles: tuple[str, ...] = ()
    by_month: bool = False


@dataclass(frozen=True, slots=True)
class PlantRole:
    """What a plant does for animals.

    Parameters
    ----------
    key, name
        Key in the tables and name in plain words.
    flowers
        Whether its flowers do it, so that its months in flower count: wind-pollinated flowers
        close no hungry month.
    waits_for_flower
        Whether a plant that is slow to flower does not do it for years.
    """

    key: str
    name: str
    flowers: bool
    waits_for_flower: bool


@dataclass(frozen=True, slots=True)
class Caution:
    """A warning that goes with a feature, in plain words.

    `about` says what else hangs on it: ``small_children``, what has it is open water;
    ``neighbour``, the neighbour is asked first; ``street``, it goes with all that is put in a
    street; ``load``, with what a balcony or roof bears; ``cats``, with what draws birds where a
    cat is kept; ``protected``, where it applies is told to nobody else.
    """

    key: str
    words: str
    sources: tuple[str, ...]
    about: About = ""


@dataclass(frozen=True, slots=True)
class Feature:
    """Something a plot can have: a pond, a hedge, a window box.

    Parameters
    ----------
    key, name
        Key in the tables and name in plain words.
    measure
        In what it is counted: m2, m, or pieces.
    typical, smallest
        Amount that one household adds, and the least worth listing, in `measure`.
    ground
        Ground it takes, m2 per unit of `measure`.
    years_to_work
        Years until it gives most of what the supply table says.
    container
        Whether it can stand in a pot, tub or planter.
    effort, cost
        low, some, much; none, low, mid, high.
    free
        Whether it can be had for nothing (found, made or grown from what is there).
    months
        When it is usually made, planted or put up.
    cautions
        Keys of `Caution` records.
    addable, green
        Whether it can be offered as an addition, and whether it counts as living ground.
    words
        Other names people write for it.
    traits
        What it is: ``open_water``; ``only_one``, a plot needs no second; ``lawn``; ``bed``, a
        bed, pot or box in which flowers can be chosen; ``for_birds``; ``way_through`` a barrier;
        ``in_a_pit``, a tree that stands in the footway where it is mapped in a street.
    gives_way
        Place in the order in which ground covers are taken up for something else, or None:
        it stays.
    """

    key: str
    name: str
    measure: Literal["m2", "m", "count"]
    typical: Figure
    smallest: Figure
    ground: Figure
    years_to_work: Figure
    container: bool
    effort: str
    cost: str
    free: bool
    months: tuple[int, ...]
    cautions: tuple[str, ...]
    addable: bool
    green: bool
    words: tuple[str, ...]
    traits: frozenset[FeatureTrait] = frozenset()
    gives_way: int | None = None

    @property
    def open_water(self) -> bool:
        """Whether small children could drown in it."""
        return "open_water" in self.traits


@dataclass(frozen=True, slots=True)
class Supply:
    """What one unit of a feature gives of one resource; `month_weights` are twelve, 0-1."""

    feature: str
    resource: str
    amount: Figure
    month_weights: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Need:
    """What one home of a group takes of one resource, when, and from how far away."""

    key: str
    group: str
    name: str
    resource: str
    months: tuple[int, ...]
    month_rule: Literal["mean", "worst"]
    amount: Figure
    reach: Figure
    weight: Figure
    floor: Figure

    @property
    def vital(self) -> bool:
        """Whether there is no home at all without it (floor 0)."""
        return self.floor.value == 0


@dataclass(frozen=True, slots=True)
class Anchor:
    """What a group lives or breeds in, and how much of it one home takes."""

    resource: str
    per_home: Figure


@dataclass(frozen=True, slots=True)
class Group:
    """A wildlife group: what it lives in, what else it needs, how far it goes."""

    key: str
    name: str
    latin: str
    mode: Literal["air", "ground"]
    hop: Figure
    d50: Figure
    active_months: tuple[int, ...]
    anchors: tuple[Anchor, ...]
    anchor_reach: Figure
    step_resource: str
    step_min: Figure
    weight: Figure
    caution: str
    home_is: str
    needs: tuple[Need, ...]


@dataclass(frozen=True, slots=True)
class PlotKind:
    """A kind of plot.

    Parameters
    ----------
    key, name, words
        Key in the tables, name in plain words, other names people write for it.
    implies
        Feature that the whole plot is (a planter is one), or None.
    traits
        What it is: ``plain``, ground with soil that somebody keeps; somebody's ``home``;
        ``asks_keeper``, no household's: who looks after it is asked first; ``in_street``;
        ``nobodys``, telling of it tells of no person; ``raised`` above the ground;
        ``pots_only``, without soil of its own; ``sill``, with window sills or a rail. Parts that
        a base map makes: the ``whole`` garden, its ``front`` and ``back``, the ``strip`` of a
        verge, the ``pit`` of a tree, a planter's ``box``; ``unnamed``, what stands for a kind
        that nobody named.
    """

    key: str
    name: str
    words: tuple[str, ...]
    implies: str | None
    traits: frozenset[PlotTrait] = frozenset()


@dataclass(frozen=True, slots=True)
class BarrierKind:
    """A kind of barrier line.

    Parameters
    ----------
    key, name, words
        Key in the tables, name in plain words, other names people write for it.
    bears
        Whether things are hung on it as on a ``wall`` or a ``fence``; None: on neither.
    see_through
        Whether the sun shines through it.
    unnamed
        Whether it stands for a barrier of which nobody said what it is.
    """

    key: str
    name: str
    words: tuple[str, ...]
    bears: Literal["wall", "fence"] | None = None
    see_through: bool = False
    unnamed: bool = False


@dataclass(frozen=True, slots=True)
class OsmTag:
    """What tags of OpenStreetMap stand for.

    Parameters
    ----------
    role
        What they tell of: feature, barrier, plot, building or road.
    tags
        Pairs of key and value that must all be there; ``*`` is any value.
    drawn
        How such a thing is drawn: point, line, area.
    becomes
        Key of the feature, barrier kind or plot kind, or a word of the role.
    sure
        Whether the tags say all that the key claims.
    large
        Feature that it becomes where the tags state a large size, or None: the same.
    """

    role: str
    tags: tuple[tuple[str, str], ...]
    drawn: tuple[str, ...]
    becomes: str
    sure: bool
    large: str | None = None


@dataclass(frozen=True, slots=True)
class GroundCover:
    """A kind of ground that something walks over: beds, lawn, carriageway, building ...

    Parameters
    ----------
    key, name
        Key in the tables and name in plain words.
    role
        ``plot_cover``, or what else of the map it stands for: ``building``, ``footway``,
        ``carriageway_narrow``, ``carriageway_wide`` or ``unmapped``.
    features
        Features whose ground is this.
    plot_kinds
        Kinds of plot that are this where nothing is known of their features.
    """

    key: str
    name: str
    role: str
    features: tuple[str, ...]
    plot_kinds: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GroundCosts:
    """What moving over the ground costs one group.

    Parameters
    ----------
    group
        Key of the group.
    covers
        Cost per metre of each cover, in metres of the best ground.
    crossings
        Cost of crossing a barrier, in metres of the best ground, by kind of barrier and by
        whether it has a gap (``yes``: at the gap; ``no`` and ``not_known``: anywhere).
    """

    group: str
    covers: Mapping[str, Figure]
    crossings: Mapping[tuple[str, str], Figure]


@dataclass(frozen=True, slots=True)
class Plant:
    """One plant of the planting list (months 0-0: its flower does not matter).

    `months_source` and `hazard_source` are source keys, ``;`` between them; their class and
    note stand in the `Origin` of the plant.
    """

    key: str
    name: str
    latin: str
    layer: str
    flower_start: int
    flower_end: int
    light: str
    soil: str
    container: bool
    height: Figure
    spread: Figure
    roles: tuple[str, ...]
    native: bool
    hazard: str
    note: str
    months_source: str
    hazard_source: str

    @property
    def flower_months(self) -> tuple[int, ...]:
        """Months in flower, wrapping over new year."""
        if self.flower_start == 0:
            return ()
        span = (self.flower_end - self.flower_start) % 12 + 1
        return tuple((self.flower_start - 1 + step) % 12 + 1 for step in range(span))


@dataclass(frozen=True, slots=True)
class PlantListing:
    """A plant on a list; `what` says more (toxic: for whom; edible: which part)."""

    plant: str
    what: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class UnlawfulPlant:
    """A plant that the law keeps out, with every Latin name it goes by (a genus: all of it)."""

    key: str
    name: str
    latin: tuple[str, ...]
    laws: tuple[str, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlantingPlace:
    """What can be planted in a feature.

    Parameters
    ----------
    feature
        Key of the feature.
    counted
        Whether its room is square metres of planting or a number of plants.
    layers
        Layers of plants that stand in it.
    main_layer
        The one of them that makes it what it is (shrubs, with herbs beneath), or None.
    soils
        Soils of plants that suit it; empty: those that suit the ground of the plot.
    pot
        Whether plants stand in pots, tubs or boxes there.
    cover
        Whether shrubs shade the lower layers.
    only
        List that its plants must be on, or None.
    room
        Square metres of planting, or plants, per unit of the feature.
    height, spread, spread_least
        Bounds on the size of full-grown plants, metres, or None.
    """

    feature: str
    counted: Literal["m2", "plants"]
    layers: tuple[str, ...]
    soils: tuple[str, ...]
    pot: bool
    cover: bool
    only: str | None
    room: Figure
    height: Figure | None
    spread: Figure | None
    spread_least: Figure | None
    main_layer: str | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """One plain step of making something, and where it comes from (source keys)."""

    words: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Siting:
    """Where a feature goes and what making it takes.

    Parameters
    ----------
    feature
        Key of the feature.
    said
        What one calls it in a sentence, with its article.
    place
        Open ground; standing on any floor; a wall, fence or sill; a roof; or under what grows
        there already.
    lights
        Light in which it gives about what the supply table says.
    tenancy
        ``free``: a tenant can undo it; ``ask``: a tenant asks the owner first; ``own``: only for
        who owns the plot.
    made_from
        Feature that it is made from where there is some (long grass from short lawn), or None.
    made_only
        Whether it can be made from nothing else (a lawn mown less often).
    edible
        Whether it gives something to eat.
    street
        Whether it has a place in a public street: a verge, a tree pit, a planter.
    length
        Length of wall, fence or sill that it takes, metres per unit of its measure.
    making_hours
        Hours to make the usual amount for the first time.
    open_ground
        Smallest plot it suits, m2.
    upkeep_hours
        Hours a month that the usual amount takes, averaged over the year.
    steps
        How it is made, in order.
    """

    feature: str
    said: str
    place: Place
    lights: tuple[str, ...]
    tenancy: Literal["free", "ask", "own"]
    made_from: str | None
    edible: bool
    street: bool
    length: Figure
    making_hours: Figure
    open_ground: Figure
    upkeep_hours: Figure
    steps: tuple[Step, ...]
    made_only: bool = False


@dataclass(frozen=True, slots=True)
class KeepUse:
    """A use of a plot that must stay; `feature` is what it keeps, `ground` its room in m2."""

    key: str
    name: str
    words: tuple[str, ...]
    feature: str | None
    ground: Figure


@dataclass(frozen=True, slots=True)
class SurveyQuestion:
    """How a street survey asks for a feature.

    Parameters
    ----------
    feature
        Key of the feature.
    part
        Heading it stands under.
    from_street
        Whether it can be seen from the street; if not, only the household can tell.
    hint
        What to look for, in a few words; may be empty.
    """

    feature: str
    part: str
    from_street: bool
    hint: str = ""


@dataclass(frozen=True, slots=True)
class SurveyRule:
    """A rule of a street survey; `part` is safety, seeing, privacy or organiser."""

    key: str
    part: str
    words: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Recipe:
    """What can grow in a street planter; `amounts` are m2 of features per m2 of soil."""

    key: str
    name: str
    words: str
    amounts: Mapping[str, Figure]


@dataclass(frozen=True, eq=False)
class Knowledge:
    """All tables together, in the order of the files.

    Attributes
    ----------
    settings
        Numbers of the method itself (floors, rounds, tolerances), by key.
    figures
        Every `Figure` of every table, by its key.
    plant_roles
        What plants do for animals, by key.
    warnings
        What a user's own tables leave out that is not needed, each with what that means.
    origins
        Every `Origin` of every table, by its key.
    ground_costs
        What moving over the ground costs, by group; only groups that have such costs.
    street_rules, street_kinds, planter_sizes
        Rules for a planter in a footway, things it keeps clear of, its sizes, by key.
    stopping_sight
        Published stopping sight distances, by upper end of the speed band (mph) and vehicle.
    sight_rules
        What a planter in each kind of sight area comes to, by key.
    sitings
        Where each feature that can be added goes, by feature.
    keep_uses
        Uses of a plot that must stay, by key.
    recipes
        What can grow in a street planter, by key.
    planting_places, plant_lists, unlawful_plants
        What can be planted in a feature, by feature; lists of plants, by name and plant; plants
        that the law keeps out, by key.
    """

    groups: Mapping[str, Group]
    features: Mapping[str, Feature]
    resources: Mapping[str, Resource]
    supplies: tuple[Supply, ...]
    cautions: Mapping[str, Caution]
    plants: Mapping[str, Plant]
    plot_kinds: Mapping[str, PlotKind]
    settings: Mapping[str, Figure]
    sources: Mapping[str, Source]
    figures: Mapping[str, Figure]
    barrier_kinds: Mapping[str, BarrierKind] = field(default_factory=dict)
    origins: Mapping[str, Origin] = field(default_factory=dict)
    ground_covers: Mapping[str, GroundCover] = field(default_factory=dict)
    ground_costs: Mapping[str, GroundCosts] = field(default_factory=dict)
    street_rules: Mapping[str, Figure] = field(default_factory=dict)
    street_kinds: Mapping[str, StreetObjectKind] = field(default_factory=dict)
    planter_sizes: Mapping[str, PlanterSize] = field(default_factory=dict)
    stopping_sight: Mapping[tuple[float, str], Figure] = field(default_factory=dict)
    sight_rules: Mapping[str, SightRule] = field(default_factory=dict)
    osm_tags: tuple[OsmTag, ...] = ()
    sitings: Mapping[str, Siting] = field(default_factory=dict)
    keep_uses: Mapping[str, KeepUse] = field(default_factory=dict)
    recipes: Mapping[str, Recipe] = field(default_factory=dict)
    planting_places: Mapping[str, PlantingPlace] = field(default_factory=dict)
    plant_lists: Mapping[str, Mapping[str, PlantListing]] = field(default_factory=dict)
    unlawful_plants: Mapping[str, UnlawfulPlant] = field(default_factory=dict)
    survey_questions: Mapping[str, SurveyQuestion] = field(default_factory=dict)
    survey_rules: Mapping[str, SurveyRule] = field(default_factory=dict)
    scheme_figures: Mapping[str, Figure] = field(default_factory=dict)
    upkeep_tasks: tuple[UpkeepTask, ...] = ()
    scheme_risks: tuple[SchemeRisk, ...] = ()
    scheme_consents: tuple[SchemeConsent, ...] = ()
    plant_roles: Mapping[str, PlantRole] = field(default_factory=dict)
    warnings: tuple[Fault, ...] = ()

    @cached_property
    def supply_array(self) -> NDArray[np.float64]:
        """Supply per unit of feature, shape (features, resources, 12), units of `resources`."""
        feature_at = {key: at for at, key in enumerate(self.features)}
        resource_at = {key: at for at, key in enumerate(self.resources)}
        array = np.zeros((len(feature_at), len(resource_at), 12))
        for supply in self.supplies:
            array[feature_at[supply.feature], resource_at[supply.resource]] = (
                supply.amount.value * np.asarray(supply.month_weights)
            )
        array.flags.writeable = False
        return array

    @cached_property
    def gives_way(self) -> tuple[Feature, ...]:
        """Ground covers that can be taken up for something else, in the order they are."""
        covers = [one for one in self.features.values() if one.gives_way is not None]
        return tuple(sorted(covers, key=lambda one: one.gives_way or 0))

    @cached_property
    def flower_roles(self) -> frozenset[str]:
        """Roles of plants that their flowers do."""
        return frozenset(key for key, role in self.plant_roles.items() if role.flowers)

    def features_with(self, trait: FeatureTrait) -> tuple[str, ...]:
        """Keys of the features that have a trait, in the order of the table."""
        return tuple(key for key, one in self.features.items() if trait in one.traits)

    def plot_kinds_with(self, trait: PlotTrait) -> tuple[str, ...]:
        """Keys of the kinds of plot that have a trait, in the order of the table."""
        return tuple(key for key, one in self.plot_kinds.items() if trait in one.traits)

    def plot_kind_for(self, trait: PlotTrait) -> str:
        """Key of the kind that stands for a part of a base map: the first with the trait."""
        return self.plot_kinds_with(trait)[0]

    def plot_is(self, kind: str, trait: PlotTrait) -> bool:
        """Whether plots of a kind have a trait; a kind that no table knows has none."""
        return kind in self.plot_kinds and trait in self.plot_kinds[kind].traits

    def cautions_about(self, about: About) -> tuple[str, ...]:
        """Keys of the cautions about something, in the order of the table."""
        return tuple(key for key, one in self.cautions.items() if one.about == about)

    def setting(self, key: str) -> float:
        """Value of one setting of the method."""
        return self.settings[key].value

    def street_rule(self, key: str) -> float:
        """Value of one street rule."""
        return self.street_rules[key].value

    def scheme_figure(self, key: str) -> float:
        """Value of one figure of planter schemes."""
        return self.scheme_figures[key].value
