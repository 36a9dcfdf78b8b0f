"""Everything that the tables say, as one object."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from patchnet.core.digest import digest_of
from patchnet.core.faults import Fault
from patchnet.core.shown import Shown
from patchnet.knowledge.base_map import OsmTag
from patchnet.knowledge.countries import Country
from patchnet.knowledge.families import Family
from patchnet.knowledge.features import About, Caution, Feature, FeatureTrait, Resource, Supply
from patchnet.knowledge.ground import GroundCosts, GroundCover
from patchnet.knowledge.groups import Group
from patchnet.knowledge.lodging import Density, Use
from patchnet.knowledge.mixes import Mix, PlantForm
from patchnet.knowledge.moves import Move
from patchnet.knowledge.placing import Placing
from patchnet.knowledge.plants import Plant, PlantingPlace, PlantListing, PlantRole, UnlawfulPlant
from patchnet.knowledge.plots import BarrierKind, PlotKind, PlotTrait
from patchnet.knowledge.scheme import (
    Recipe,
    SchemeConsent,
    SchemePrice,
    SchemeRisk,
    UpkeepTask,
)
from patchnet.knowledge.siting import KeepUse, Siting
from patchnet.knowledge.sources import Figure, Origin, Source
from patchnet.knowledge.street import PlanterSize, SightRule, StreetObjectKind
from patchnet.knowledge.survey import SurveyQuestion, SurveyRule
from patchnet.knowledge.table_words import TableWords
from patchnet.knowledge.taking_up import TakingUp
from patchnet.knowledge.unseen import Unseen
from patchnet.knowledge.watching import Watching

if TYPE_CHECKING:
    from patchnet.knowledge.country_rules import CountryRule
    from patchnet.knowledge.regions import Region, RegionAnimal

__all__ = ["Knowledge"]


@dataclass(frozen=True, eq=False, repr=False)
class Knowledge(Shown):
    """All tables together, in the order of the files.

    Attributes
    ----------
    settings
        Numbers of the method itself (floors, rounds, tolerances), by key.
    figures
        Every `Figure` of every table, by its key.
    plant_roles, plant_forms, mixes
        What plants do for animals; how they are bought; tested mixes of them: by key.
    unseen
        How much of what cannot be seen goes with each house, tree or planting.
    densities, uses
        Homes counted on a hectare, by group; how often places that a feature gives are in use.
    families
        Which figures are drawn for doubt, and what goes together, by what they say.
    warnings
        What a user's own tables leave out that is not needed, each with what that means.
    countries
        Whom to ask, money, speeds and law, by country; ``elsewhere`` where it is not known.
    country_rules
        Street rules as they are in other countries.
    regions, region_animals
        Regions by key; whether an animal lives in one, by ``region/group``.
    origins
        Every `Origin` of every table, by its key.
    ground_costs
        What moving over the ground costs, by group; only groups that have such costs.
    street_rules, street_kinds, planter_sizes
        Rules for a planter in a footway, things it keeps clear of, its sizes, by key.
    stopping_sight
        Published stopping sight distances, by upper end of the speed band (mph) and vehicle.
    sight_rules
        What a planter in each kind of sight area means, by key.
    sitings
        Where each feature that can be added goes, by feature.
    moves
        Ways to make something where room is small, by key.
    watching
        What to look for in a year of watching first, by key.
    table_words, feature_words
        What people write in tables, and what they call features in other languages, by feature.
    taking_up
        Covers that can be taken up to make open ground, by feature.
    placings
        Where on a plot features are put, by feature; what is missing is not worked out.
    keep_uses
        Uses of a plot that must stay, by key.
    recipes
        What can grow in a street planter, by key.
    planting_places, plant_lists, unlawful_plants
        What can be planted in a feature, by feature; lists of plants, by name and plant; plants
        that the law keeps out, by key.

    Examples
    --------
    >>> import patchnet
    >>> knowledge = patchnet.load_knowledge()
    >>> knowledge.features["pond"].measure, knowledge.supply_array.shape[2]
    ('m2', 12)
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
    taking_up: Mapping[str, TakingUp] = field(default_factory=dict)
    placings: Mapping[str, Placing] = field(default_factory=dict)
    recipes: Mapping[str, Recipe] = field(default_factory=dict)
    planting_places: Mapping[str, PlantingPlace] = field(default_factory=dict)
    plant_lists: Mapping[str, Mapping[str, PlantListing]] = field(default_factory=dict)
    unlawful_plants: Mapping[str, UnlawfulPlant] = field(default_factory=dict)
    survey_questions: Mapping[str, SurveyQuestion] = field(default_factory=dict)
    survey_rules: Mapping[str, SurveyRule] = field(default_factory=dict)
    scheme_figures: Mapping[str, Figure] = field(default_factory=dict)
    upkeep_tasks: tuple[UpkeepTask, ...] = ()
    scheme_prices: Mapping[str, SchemePrice] = field(default_factory=dict)
    scheme_risks: tuple[SchemeRisk, ...] = ()
    scheme_consents: tuple[SchemeConsent, ...] = ()
    plant_roles: Mapping[str, PlantRole] = field(default_factory=dict)
    plant_forms: Mapping[str, PlantForm] = field(default_factory=dict)
    mixes: Mapping[str, Mix] = field(default_factory=dict)
    moves: Mapping[str, Move] = field(default_factory=dict)
    watching: Mapping[str, Watching] = field(default_factory=dict)
    table_words: TableWords = field(default_factory=TableWords)
    feature_words: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    countries: Mapping[str, Country] = field(default_factory=dict)
    country_rules: "tuple[CountryRule, ...]" = ()
    regions: "Mapping[str, Region]" = field(default_factory=dict)
    region_animals: "Mapping[str, RegionAnimal]" = field(default_factory=dict)
    unseen: tuple[Unseen, ...] = ()
    densities: Mapping[str, Density] = field(default_factory=dict)
    uses: tuple[Use, ...] = ()
    families: Mapping[str, Family] = field(default_factory=dict)
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
    def digest(self) -> str:
        """A digest of all that the tables say, worked out once (see `patchnet.core.digest`)."""
        return digest_of([(one.name, getattr(self, one.name)) for one in fields(self)])

    def use_of(self, group: str) -> NDArray[np.float64]:
        """Shape (features, 3): share of places in use by a group, low, usual and high; else 1."""
        share = np.ones((len(self.features), 3))
        at = {key: place for place, key in enumerate(self.features)}
        for use in self.uses:
            if use.group == group:
                one = use.share
                share[at[use.feature]] = (one.low, one.value, one.high)
        return share

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
        return self._with_trait.get(trait, ())

    @cached_property
    def _with_trait(self) -> Mapping[FeatureTrait, tuple[str, ...]]:
        # Asked for each of the thousands of sets of things that a plan tries
        found: dict[FeatureTrait, list[str]] = {}
        for key, one in self.features.items():
            for trait in dict.fromkeys(one.traits):
                found.setdefault(trait, []).append(key)
        return {trait: tuple(keys) for trait, keys in found.items()}

    def given_by(self, feature: str) -> frozenset[str]:
        """Keys of the resources that a feature gives something of."""
        return frozenset(one.resource for one in self.supplies if one.feature == feature)

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
