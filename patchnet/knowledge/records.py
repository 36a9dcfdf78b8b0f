"""Every record of the tables under one roof; the families stand in files of their own."""

from patchnet.knowledge.base_map import OSM_ROLES, OsmTag
from patchnet.knowledge.countries import Country
from patchnet.knowledge.families import Family
from patchnet.knowledge.features import (
    About,
    Caution,
    Feature,
    FeatureTrait,
    Measure,
    Resource,
    Sort,
    Supply,
    Visible,
)
from patchnet.knowledge.ground import BarrierCrossing, GroundCosts, GroundCover, MovementCost
from patchnet.knowledge.groups import Anchor, Group, Need
from patchnet.knowledge.knowledge import Knowledge
from patchnet.knowledge.lodging import Density, Use
from patchnet.knowledge.mixes import Mix, MixCount, MixLine, PlantForm
from patchnet.knowledge.moves import Move, MoveStep
from patchnet.knowledge.parts import CLASSES, Class
from patchnet.knowledge.plants import Plant, PlantingPlace, PlantListing, PlantRole, UnlawfulPlant
from patchnet.knowledge.plots import BarrierKind, PlotKind, PlotTrait
from patchnet.knowledge.regions import Lives, Region, RegionAnimal
from patchnet.knowledge.schema import TABLES
from patchnet.knowledge.scheme import (
    ConsentPart,
    Recipe,
    RecipeAmount,
    SchemeConsent,
    SchemeFigure,
    SchemePrice,
    SchemeRisk,
    UpkeepTask,
)
from patchnet.knowledge.siting import KeepUse, Place, Siting, Step
from patchnet.knowledge.sources import Figure, Origin, Regression, Setting, Source
from patchnet.knowledge.street import (
    PlanterSize,
    SightRule,
    StoppingSight,
    StreetObjectKind,
    StreetRule,
    StreetTest,
)
from patchnet.knowledge.survey import SurveyQuestion, SurveyRule
from patchnet.knowledge.taking_up import TakingUp, TakingUpStep
from patchnet.knowledge.unseen import Unseen
from patchnet.knowledge.watching import Watching

__all__ = [
    "CLASSES",
    "OSM_ROLES",
    "TABLES",
    "About",
    "Anchor",
    "BarrierCrossing",
    "BarrierKind",
    "Caution",
    "Class",
    "ConsentPart",
    "Country",
    "Density",
    "Family",
    "Feature",
    "FeatureTrait",
    "Figure",
    "GroundCosts",
    "GroundCover",
    "Group",
    "KeepUse",
    "Knowledge",
    "Lives",
    "Measure",
    "Mix",
    "MixCount",
    "MixLine",
    "Move",
    "MoveStep",
    "MovementCost",
    "Need",
    "Origin",
    "OsmTag",
    "Place",
    "Plant",
    "PlantForm",
    "PlantListing",
    "PlantRole",
    "PlanterSize",
    "PlantingPlace",
    "PlotKind",
    "PlotTrait",
    "Recipe",
    "RecipeAmount",
    "Region",
    "RegionAnimal",
    "Regression",
    "Resource",
    "SchemeConsent",
    "SchemeFigure",
    "SchemePrice",
    "SchemeRisk",
    "Setting",
    "SightRule",
    "Siting",
    "Sort",
    "Source",
    "Step",
    "StoppingSight",
    "StreetObjectKind",
    "StreetRule",
    "StreetTest",
    "Supply",
    "SurveyQuestion",
    "SurveyRule",
    "TakingUp",
    "TakingUpStep",
    "UnlawfulPlant",
    "Unseen",
    "UpkeepTask",
    "Use",
    "Visible",
    "Watching",
]
