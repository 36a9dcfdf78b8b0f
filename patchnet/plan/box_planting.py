"""What is planted in one street box, and how much of each feature that makes.

One planting is what is assessed, drawn, billed and watered: counts from a tested mix for the size
of the box, and from these the area of every feature, so that nothing counts that is not planted.
"""

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from patchnet.core.errors import PatchnetError
from patchnet.core.texts import _, source_of
from patchnet.knowledge.records import Knowledge, Plant, Recipe
from patchnet.plan.facts import Light, PlotFacts
from patchnet.plan.planting import choose_planting
from patchnet.plan.planting_fits import Where, shrub_crown
from patchnet.plan.plot_plan import Planting

__all__ = ["BoxPlanting", "plant_box"]

_BASE = 1.0  # a month of the season counts at least this, next to 1 for the hungriest
_SLACK = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class BoxPlanting:
    """What stands in one box.

    Attributes
    ----------
    mix
        Key of the mix it was planted from; empty: none would do.
    planting
        Plants, calendar, hazards and notes.
    numbers
        Number of each plant in the box, by its key.
    amounts
        m2 of each feature: shrubs by their crowns, the rest of the soil by the crowns on it. All
        together they are the soil of the box.
    soil_m2
        Soil of the box, m2.
    """

    mix: str
    planting: Planting
    numbers: Mapping[str, int]
    amounts: Mapping[str, float]
    soil_m2: float

    @property
    def bare(self) -> tuple[int, ...]:
        """Months, 1-12, with nothing in flower."""
        return tuple(one.month for one in self.planting.calendar if not one.plants)

    def same_as(self, other: "BoxPlanting") -> bool:
        """Whether the two are planted alike."""
        return self.numbers == other.numbers and self.soil_m2 == other.soil_m2

    def plants(self, knowledge: Knowledge) -> int:
        """Plants besides bulbs."""
        return sum(
            number
            for key, number in self.numbers.items()
            if knowledge.plants[key].layer != "bulb"
        )  # fmt: skip


def plant_box(
    knowledge: Knowledge,
    recipe: Recipe,
    *,
    soil_m2: float,
    depth_m: float,
    turn: int = 0,
    avoid: Collection[str] = (),
    hungry: Mapping[int, float] | None = None,
    wants: Mapping[str, float] | None = None,
    light: Light | None = None,
    country: str = "",
) -> BoxPlanting:
    """Fill a street box from the mixes of its recipe, at real spacing.

    No plant that harms children or dogs, no thorns, nothing that spreads into the wild or grows
    out of a box. Something is in flower in every month of the street's season as far as any plant
    that may stand here is; a plant to avoid is taken only for a month that nothing else covers.

    Parameters
    ----------
    knowledge
        Plants, mixes, settings.
    recipe
        Whose mixes; shrubs, kitchen herbs and tufts of grass stand only where it has them.
    soil_m2, depth_m
        Soil of the box, m2 and m.
    turn
        Number of the box along the road: the mixes are taken in turn.
    avoid
        Kinds that the box beside it has.
    hungry
        Weight of each month, 1-12, in which flowers are short round here.
    wants
        Weight of each job of plants that is wanted.
    light
        Light of the place; None: not known, taken as half shade.
    country
        Key of the country, for what its law says.

    Returns
    -------
    BoxPlanting

    Raises
    ------
    PatchnetError
        If no plant of the tables may stand in it.
    """
    hungry = dict(hungry or {})
    box = _box(knowledge)
    fit = {plant.key for plant in knowledge.plants.values() if _suits(plant, recipe, knowledge)}
    season = _season(knowledge)
    weights = _weights(hungry, season)

    def planted(kept: Collection[str]) -> Planting:
        return choose_planting(
            knowledge,
            # Potting soil with loam.
            PlotFacts(soil="loam", small_children=True, pets=("dog",)),
            hungry=weights,
            features={box: soil_m2},
            wants=wants or {},
            light=light,
            exclude=[key for key in knowledge.plants if key not in kept],
            country=country,
            where=Where(
                street=True, passers_by=True, soil_depth_m=depth_m,
                mixes=_in_turn(knowledge, recipe, light, turn), full=True,
            ),
        )  # fmt: skip

    def of(found: Planting) -> BoxPlanting:
        numbers: dict[str, int] = {}
        for line in found.lines:
            numbers[line.plant] = numbers.get(line.plant, 0) + line.number
        return BoxPlanting(
            next((mix for __, mix in found.mixes), ""),
            _with_hunger(found, hungry),
            numbers,
            _amounts(numbers, recipe, soil_m2, knowledge),
            soil_m2,
        )

    answer = of(planted(fit - set(avoid)))
    back = fit & _wanted_back(answer, avoid, recipe, season, knowledge)
    if back:
        answer = of(planted((fit - set(avoid)) | back))
    if not answer.numbers:
        raise PatchnetError(_("Nothing grows by the recipe {key}.").format(key=recipe.key))
    return answer


def _wanted_back(
    found: BoxPlanting,
    avoid: Collection[str],
    recipe: Recipe,
    season: range,
    knowledge: Knowledge,
) -> set[str]:
    """Kinds to avoid without which a month is bare or the recipe not what it says.

    Never more than half of the kinds of a box: neighbours are to differ.
    """
    bare = set(found.bare) & set(season)
    thin = [
        feature
        for feature, share in recipe.amounts.items()
        if feature != _box(knowledge)
        and found.amounts.get(feature, 0.0) < share.low * found.soil_m2 - _SLACK
    ]
    ours = [plant for plant in knowledge.plants.values() if plant.key in avoid]
    flowering = [plant.key for plant in ours if bare & set(plant.flower_months)]
    making = [
        plant.key for plant in ours if any(_makes(plant, feature, knowledge) for feature in thin)
    ]
    return set([*flowering, *making][: len(found.numbers) // 2])


def _season(knowledge: Knowledge) -> range:
    """Months in which something is to be in flower in every box."""
    first, last = (int(knowledge.setting(f"planting_box_month_{end}")) for end in ("first", "last"))
    return range(first, last + 1)


def _weights(hungry: Mapping[int, float], season: range) -> dict[int, float]:
    most = max(hungry.values(), default=0.0) or 1.0
    return {
        month: (_BASE if month in season else 0.0) + hungry.get(month, 0.0) / most
        for month in range(1, 13)
        if month in season or hungry.get(month, 0.0) > 0
    }


def _with_hunger(planting: Planting, hungry: Mapping[int, float]) -> Planting:
    """Tell of hungry months only those that are: the season was asked for as well."""
    return replace(
        planting,
        calendar=tuple(
            replace(one, hungry=hungry.get(one.month, 0.0) > 0) for one in planting.calendar
        ),
        uncovered=tuple(month for month in planting.uncovered if hungry.get(month, 0.0) > 0),
        no_room=tuple(month for month in planting.no_room if hungry.get(month, 0.0) > 0),
    )


def _in_turn(
    knowledge: Knowledge, recipe: Recipe, light: Light | None, turn: int
) -> tuple[str, ...]:
    """Mixes of a recipe: those for the light one after the other along the road, then the rest."""
    shade = light == "shade"
    lit = [key for key in recipe.mixes if (knowledge.mixes[key].light == "shade") == shade]
    rest = [key for key in recipe.mixes if key not in lit]
    first = turn % len(lit) if lit else 0
    return (*lit[first:], *lit[:first], *rest)


def _amounts(
    numbers: Mapping[str, int], recipe: Recipe, soil_m2: float, knowledge: Knowledge
) -> dict[str, float]:
    """m2 of each feature of a planting; together the soil of the box."""
    box = _box(knowledge)
    crowns: dict[str, float] = dict.fromkeys(recipe.amounts, 0.0) | {box: 0.0}
    shrubs = next((key for key in recipe.amounts if _is_shrubs(key, knowledge)), None)
    for key, number in numbers.items():
        plant = knowledge.plants[key]
        if plant.layer == "bulb":  # stands beneath the others
            continue
        part = next((one for one in crowns if one != box and _makes(plant, one, knowledge)), box)
        crowns[part] += number * math.pi / 4 * plant.width_m**2
    woody = min(crowns.pop(shrubs), soil_m2) if shrubs else 0.0
    ground = sum(crowns.values())
    rest = soil_m2 - woody
    amounts = {key: rest * crown / ground if ground else 0.0 for key, crown in crowns.items()}
    if not ground:
        amounts[box] = rest
    return amounts | ({shrubs: woody} if shrubs else {})


def _box(knowledge: Knowledge) -> str:
    """Feature that the whole of a planter in the street is."""
    return str(knowledge.plot_kinds[knowledge.plot_kind_for("box")].implies)


def _is_shrubs(feature: str, knowledge: Knowledge) -> bool:
    place = knowledge.planting_places.get(feature)
    return place is not None and place.main_layer == "shrub"


def _makes(plant: Plant, feature: str, knowledge: Knowledge) -> bool:
    """Whether a plant is one of those that make a feature what it is."""
    if _is_shrubs(feature, knowledge):
        return shrub_crown(plant) > 0
    place = knowledge.planting_places.get(feature)
    if place is None:
        return False
    grass = "lawn" in knowledge.features[feature].traits
    lists = [place.only, "grass" if grass else None]
    return any(plant.key in knowledge.plant_lists.get(one or "", {}) for one in lists)


def _suits(plant: Plant, recipe: Recipe, knowledge: Knowledge) -> bool:
    place = knowledge.planting_places.get(_box(knowledge))
    small = place is None or (
        (place.height is None or plant.height.value <= place.height.value)
        and (place.spread is None or plant.spread.value <= place.spread.value)
    )
    stays = "escape" not in source_of(plant.hazard).casefold()
    shrubs = any(_is_shrubs(feature, knowledge) for feature in recipe.amounts)
    listed = any(_makes(plant, feature, knowledge) for feature in recipe.amounts)
    return (
        plant.container and small and stays and plant.layer != "tree"
        and (shrubs or listed or shrub_crown(plant) == 0)
    )  # fmt: skip
