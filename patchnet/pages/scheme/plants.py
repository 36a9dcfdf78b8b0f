"""What is planted in the planters of a scheme: one planting for planters that are alike."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import shapely

from patchnet.assess.assessment import Assessment
from patchnet.assess.plot import plot_answer
from patchnet.core.errors import PatchnetError
from patchnet.core.texts import _, source_of
from patchnet.knowledge.records import Knowledge, Plant, Recipe
from patchnet.knowledge.street import PlanterSize
from patchnet.plan.facts import PlotFacts
from patchnet.plan.planting import choose_planting
from patchnet.plan.planting_aims import planting_wishes
from patchnet.plan.planting_fits import Where
from patchnet.plan.plot_plan import Bloom, Planting
from patchnet.plan.variety import deal
from patchnet.scheme.planter_scheme import PlacedPlanter, Scheme

__all__ = ["PlantGroup", "plant_groups"]


@dataclass(frozen=True, slots=True, eq=False)
class PlantGroup:
    """Planters of one recipe, one size and one share of the plants, and the planting of each.

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
        Number of each plant in one planter, by its key; bulbs stand beneath all else, so that
        those of several layers are not added up.
    missing
        Features of the recipe for which no plant of the tables fits.
    """

    letter: str
    planters: tuple[PlacedPlanter, ...]
    recipe: Recipe
    size: PlanterSize
    planting: Planting
    numbers: dict[str, int]
    missing: tuple[str, ...]


def plant_groups(scheme: Scheme) -> tuple[PlantGroup, ...]:
    """Choose the plants of each kind of planter for the hungry months round where they stand.

    Each starts from a tested mix, and planters near each other from different ones: the kinds of
    plant are dealt out among them (see `patchnet.plan.variety`).

    The months are those of the plots nearest to the planters *before* the scheme. Left out are
    plants poisonous to children or dogs, trees, garden escapes, plants that live in no container
    or grow larger than a street planter holds, or need deeper soil. Each part of a recipe (shrubs,
    herbs, wild grassland, bulbs) is planted with plants of its own.
    """
    middle = shapely.get_coordinates(
        shapely.centroid([planter.site.polygon for planter in scheme.planters])
    )
    shares = deal([one.plot for one in scheme.planters], middle, scheme.before.knowledge)
    alike: dict[tuple[str, str, int], list[PlacedPlanter]] = {}
    for planter, share in zip(scheme.planters, shares, strict=True):
        key = planter.recipe.key, planter.site.size.key, share
        alike.setdefault(key, []).append(planter)
    groups = []
    for at, ((_recipe, _size, share), members) in enumerate(alike.items()):
        planting, missing = _planting(scheme.before, members, share)
        numbers: dict[str, int] = {}
        for line in planting.lines:
            before = numbers.get(line.plant, 0)
            beneath = line.layer == "bulb"
            numbers[line.plant] = max(before, line.number) if beneath else before + line.number
        first = members[0]
        groups.append(
            PlantGroup(
                _letters(at),
                tuple(members),
                first.recipe,
                first.site.size,
                planting,
                numbers,
                missing,
            )
        )
    return tuple(groups)


def _letters(at: int) -> str:
    """A ... Z, AA, AB ..."""
    return (_letters(at // 26 - 1) if at >= 26 else "") + chr(ord("A") + at % 26)


def _planting(
    before: Assessment, planters: list[PlacedPlanter], share: int
) -> tuple[Planting, tuple[str, ...]]:
    knowledge = before.knowledge
    first = planters[0]
    hungry, wants = _wishes(before, planters)
    size = first.site.size
    fit = [plant for plant in knowledge.plants.values() if _suits(plant, knowledge)]
    shares = {key: share.value for key, share in first.recipe.amounts.items()}
    # What takes only some plants is filled first; the open rest takes any, best another kind.
    box = _box(knowledge)
    order = sorted(shares, key=lambda key: key == box)
    whole: Planting | None = None
    taken: set[str] = set()
    missing = []
    for feature in order:
        kept = {plant.key for plant in fit if _belongs(plant, feature, knowledge)} - taken
        part = choose_planting(
            knowledge,
            # Potting soil with loam; the light of the place was not measured.
            PlotFacts(soil="loam", small_children=True, pets=("dog",)),
            hungry=hungry,
            features={box: shares[feature] * size.plan_m2},
            wants=wants,
            light=None,
            exclude=(key for key in knowledge.plants if key not in kept),
            country=before.neighbourhood.country,
            where=Where(street=True, passers_by=True, soil_depth_m=size.soil_depth_m, share=share),
        )
        if not part.lines:
            missing.append(feature)
        taken |= {line.plant for line in part.lines}
        whole = part if whole is None else _together(whole, part)
    if whole is None:
        raise PatchnetError(
            _("Nothing grows by the recipe {recipe_key}.").format(recipe_key=first.recipe.key)
        )
    return whole, tuple(missing)


def _box(knowledge: Knowledge) -> str:
    """Feature that the whole of a planter in the street is."""
    return str(knowledge.plot_kinds[knowledge.plot_kind_for("box")].implies)


def _belongs(plant: Plant, feature: str, knowledge: Knowledge) -> bool:
    """Whether a plant is one of those that make a feature what it is."""
    place = knowledge.planting_places.get(feature)
    if place is not None and place.main_layer is not None:
        return plant.layer == place.main_layer
    if place is None or plant.layer not in place.layers:
        return False
    return place.only is None or plant.key in knowledge.plant_lists[place.only]


def _together(one: Planting, other: Planting) -> Planting:
    """Two plantings of one box as one."""
    calendar = tuple(
        Bloom(a.month, tuple(dict.fromkeys((*a.plants, *b.plants))), a.hungry or b.hungry)
        for a, b in zip(one.calendar, other.calendar, strict=True)
    )
    dry = {bloom.month for bloom in calendar if bloom.hungry and not bloom.plants}
    return replace(
        one,
        lines=(*one.lines, *other.lines),
        calendar=calendar,
        hazards=tuple(dict.fromkeys((*one.hazards, *other.hazards))),
        uncovered=tuple(month for month in other.uncovered if month in dry),
        no_room=tuple(month for month in other.no_room if month in dry),
        left_out=other.left_out,
        exact=one.exact and other.exact,
        refused=tuple(dict.fromkeys((*one.refused, *other.refused))),
        also_fit=other.also_fit,
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


def _suits(plant: Plant, knowledge: Knowledge) -> bool:
    place = knowledge.planting_places.get(_box(knowledge))
    small = place is None or (
        (place.height is None or plant.height.value <= place.height.value)
        and (place.spread is None or plant.spread.value <= place.spread.value)
    )
    stays = "escape" not in source_of(plant.hazard).casefold()
    return plant.container and small and stays and plant.layer != "tree"
