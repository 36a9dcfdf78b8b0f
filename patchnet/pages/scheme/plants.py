"""What is planted in the planters of a scheme: one planting for planters that are alike."""

from collections.abc import Iterable
from dataclasses import dataclass

import shapely

from patchnet.advice.plan_records import Planting
from patchnet.advice.planting import choose_planting
from patchnet.advice.planting_wishes import planting_wishes
from patchnet.advice.plot import plot_answer
from patchnet.advice.plot_facts import PlotFacts
from patchnet.advice.records import Assessment
from patchnet.advice.scheme_records import PlacedPlanter, Scheme
from patchnet.knowledge.records import Knowledge, Plant, Recipe
from patchnet.knowledge.street_records import PlanterSize

__all__ = ["PlantGroup", "plant_groups"]


@dataclass(frozen=True, slots=True, eq=False)
class PlantGroup:
    """Planters of one recipe and one size, and the planting of each of them.

    Attributes
    ----------
    letter
        A, B ... in the order of building.
    planters
        The planters.
    recipe, size
        What grows in them, and the box.
    planting
        The plants of one planter.
    numbers
        Number of each plant in one planter, by its key.
    """

    letter: str
    planters: tuple[PlacedPlanter, ...]
    recipe: Recipe
    size: PlanterSize
    planting: Planting
    numbers: dict[str, int]


def plant_groups(scheme: Scheme) -> tuple[PlantGroup, ...]:
    """Choose the plants of each kind of planter for the hungry months round where they stand.

    The months are those of the plots nearest to the planters *before* the scheme. Left out are
    plants poisonous to children or dogs, trees, plants that live in no container or grow larger
    than a street planter holds, and shrubs where the soil is not deep enough.
    """
    alike: dict[tuple[str, str], list[PlacedPlanter]] = {}
    for planter in scheme.planters:
        alike.setdefault((planter.recipe.key, planter.site.size.key), []).append(planter)
    groups = []
    for at, members in enumerate(alike.values()):
        planting = _planting(scheme.before, members)
        numbers: dict[str, int] = {}
        for line in planting.lines:
            numbers[line.plant] = numbers.get(line.plant, 0) + line.number
        first = members[0]
        groups.append(
            PlantGroup(
                _letters(at), tuple(members), first.recipe, first.site.size, planting, numbers
            )
        )
    return tuple(groups)


def _letters(at: int) -> str:
    """A ... Z, AA, AB ..."""
    return (_letters(at // 26 - 1) if at >= 26 else "") + chr(ord("A") + at % 26)


def _planting(before: Assessment, planters: list[PlacedPlanter]) -> Planting:
    knowledge = before.knowledge
    first = planters[0]
    hungry, wants = _wishes(before, planters)
    features = {
        feature: share.value * first.site.size.plan_m2
        for feature, share in first.recipe.amounts.items()
        if feature in knowledge.planting_places
    }
    unfit = (
        plant.key
        for plant in knowledge.plants.values()
        if not _suits(plant, first.site.size, knowledge)
    )
    return choose_planting(
        knowledge,
        PlotFacts(small_children=True, pets=("dog",)),
        hungry=hungry,
        features=features,
        wants=wants,
        light=None,
        exclude=unfit,
    )


def _wishes(
    before: Assessment, planters: Iterable[PlacedPlanter]
) -> tuple[dict[int, float], dict[str, float]]:
    """Sum the hungry months and jobs wanted at the plot nearest to each planter."""
    plots = before.neighbourhood.plots
    months: dict[int, float] = {}
    jobs: dict[str, float] = {}
    for planter in planters:
        apart = shapely.distance(plots.geometry.to_numpy(), planter.site.polygon)
        nearest = str(plots.index[int(apart.argmin())])
        hungry, wants = planting_wishes(before, plot_answer(before, nearest))
        for month, weight in hungry.items():
            months[month] = months.get(month, 0.0) + weight
        for job, weight in wants.items():
            jobs[job] = jobs.get(job, 0.0) + weight
    return months, jobs


def _suits(plant: Plant, size: PlanterSize, knowledge: Knowledge) -> bool:
    place = knowledge.planting_places.get("planter")
    small = place is None or (
        (place.height is None or plant.height.value <= place.height.value)
        and (place.spread is None or plant.spread.value <= place.spread.value)
    )
    woody = plant.layer in ("shrub", "climber")
    deep = not woody or size.soil_depth_m >= knowledge.setting("planting_depth_shrub_m")
    return plant.container and small and deep and plant.layer != "tree"
