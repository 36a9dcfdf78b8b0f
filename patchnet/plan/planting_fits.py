"""Which plants fit where on a plot, and why the others do not."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from patchnet.core.texts import N_, Words
from patchnet.knowledge.records import Knowledge, Plant, PlantingPlace
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plant_names import unlawful

__all__ = ["REASONS", "Option", "Site", "fitting", "sites", "toxic_to"]

REASONS: Words[str, str] = Words(
    {
        "asked": N_("you asked to leave it out"),
        "unlawful": N_("the law keeps it out"),
        "invasive": N_("spreads into the wild"),
        "children": N_("poisonous to small children"),
        "pets": N_("poisonous to pets"),
        "place": N_("no place here for plants of its kind"),
        "pot": N_("does not live in pots"),
        "light": N_("wrong light"),
        "soil": N_("wrong soil"),
        "size": N_("grows too big, or is not big enough"),
        "room": N_("not enough room for the fewest to plant"),
    }
)
"""Why a plant is left out, by key, in the order in which it is asked."""

# Soils of plants that suit the ground of a plot: common practice of gardening books. Lime-free
# soil is not taken for granted anywhere, so lime haters grow in potting soil only.
_DRY = frozenset({"well-drained", "dry", "any"})
_MIDDLE = frozenset({"moist", "well-drained", "any"})
_BY_SOIL = {"sand": _DRY, "chalk": _DRY, "clay": _MIDDLE, "loam": _MIDDLE | {"dry"}, None: _MIDDLE}
_MOIST = frozenset({"moist", "any"})
_POTTING = frozenset({"well-drained", "moist", "any", "dry", "acid well-drained"})
_LIGHTS = ("sun", "part", "shade")
_SAFE = frozenset({"cat", "dog"})


@dataclass(frozen=True, slots=True)
class Site:
    """A feature of the plot that is planted: how much it holds, of how many kinds."""

    feature: str
    place: PlantingPlace
    pot: bool
    room: float
    kinds: int


@dataclass(frozen=True, slots=True)
class Option:
    """One plant in one place.

    Attributes
    ----------
    plant, site, tier
        The plant; number of its site; the layer it shares room with.
    least, most
        Fewest and most of it; `least` is 1 or more.
    each
        Room that one takes: m2, or 1 where plants are counted.
    light
        Share of its worth it keeps in this light.
    months, jobs
        Months in which its flowers feed something; what it does. Of a plant that flowers only
        when old, without flowers and berries.
    """

    plant: Plant
    site: int
    tier: str
    least: int
    most: int
    each: float
    light: float
    months: tuple[int, ...]
    jobs: tuple[str, ...]


def sites(
    knowledge: Knowledge, facts: PlotFacts, features: Mapping[str, float]
) -> tuple[Site, ...]:
    """Return what of the plot can be planted, in the order of the table.

    Parameters
    ----------
    knowledge
        For the places that can be planted.
    facts
        What the householder said.
    features
        Feature -> amount in its unit (m2, m, count).
    """
    found = []
    for key, place in knowledge.planting_places.items():
        room = features.get(key, 0.0) * place.room.value
        if place.counted == "plants":
            room = math.floor(room + 1e-9)
        if room <= 0:
            continue
        if place.counted == "plants":
            most = int(knowledge.setting("planting_mix_kinds"))
            kinds = min(most, max(1, int(room) // _fewest(knowledge, key, place)))
        else:
            most = int(knowledge.setting("planting_kinds_most"))
            by_area = int(knowledge.setting("planting_kinds_m2") * room + 1e-9)
            kinds = min(most, max(int(knowledge.setting("planting_kinds_least")), by_area))
        found.append(Site(key, place, place.pot or bool(facts.pots_only), room, kinds))
    return tuple(found)


def toxic_to(plant: Plant, knowledge: Knowledge) -> frozenset[str]:
    """Return for whom the plant is poisonous: ``children``, ``cat``, ``dog``, ``livestock``.

    A plant on no list (a user's own) whose hazard speaks of poison counts for everyone.

    Parameters
    ----------
    plant
        A plant of the tables, or a user's own.
    knowledge
        For the lists.
    """
    listed = knowledge.plant_lists["toxic"].get(plant.key)
    if listed is not None:
        return frozenset(listed.what)
    everyone = {"children", "cat", "dog", "livestock"}
    return frozenset(everyone) if plant.told_poisonous else frozenset()


def fitting(
    knowledge: Knowledge,
    facts: PlotFacts,
    places: tuple[Site, ...],
    *,
    light: str | None,
    exclude: frozenset[str],
) -> tuple[tuple[Option, ...], dict[str, tuple[str, ...]]]:
    """Return every plant in every place it fits, and the plants left out by reason.

    Parameters
    ----------
    places
        What is planted (see `sites`).
    light
        Light of the plot; None is taken as between sun and shade.
    exclude
        Keys of plants that are not wanted.

    Returns
    -------
    options, left_out
        Options in the order of the plants; keys of plants under keys of `REASONS`. A plant that
        fits nowhere stands under the last question it came to in its best place.
    """
    options: list[Option] = []
    left_out: dict[str, list[str]] = {reason: [] for reason in REASONS}
    order = list(REASONS)
    for plant in knowledge.plants.values():
        reason = _refused(plant, knowledge, facts, exclude)
        if reason is None:
            answers = [_fit(plant, at, site, knowledge, facts, light) for at, site in
                       enumerate(places)]  # fmt: skip
            here = [answer for answer in answers if isinstance(answer, Option)]
            options += here
            if here:
                continue
            reasons = [answer for answer in answers if isinstance(answer, str)]
            reason = max(reasons, key=order.index, default="place")
        left_out[reason].append(plant.key)
    return tuple(options), {reason: tuple(keys) for reason, keys in left_out.items() if keys}


def _refused(
    plant: Plant, knowledge: Knowledge, facts: PlotFacts, exclude: frozenset[str]
) -> str | None:
    if plant.key in exclude:
        return "asked"
    if unlawful(plant, knowledge) is not None:
        return "unlawful"
    if plant.key in knowledge.plant_lists["invasive"]:
        return "invasive"
    harmed = toxic_to(plant, knowledge)
    if facts.small_children and "children" in harmed:
        return "children"
    # Of other animals than cats and dogs the tables know little: whatever harms any is left out.
    pets = set(facts.pets)
    if harmed & pets or (pets - _SAFE and harmed):
        return "pets"
    return None


def _fit(
    plant: Plant,
    at: int,
    site: Site,
    knowledge: Knowledge,
    facts: PlotFacts,
    light: str | None,
) -> Option | str:
    place = site.place
    early = plant.layer == "bulb" and 0 < plant.flower_start <= knowledge.setting(
        "planting_early_bulb_month"
    )
    listed = place.only is not None and plant.key in knowledge.plant_lists[place.only]
    tier = _tier(plant, place, knowledge, early=early)
    kept = _light_share(plant, knowledge, light, shaded=place.cover and tier == "herb")
    each = _each(plant, place, tier, knowledge)
    least = _least(plant, site, tier, knowledge)
    asked = {
        "place": _belongs(plant, place, knowledge, listed=listed, early=early),
        "pot": plant.container or not site.pot,
        "light": kept > 0,
        "soil": plant.soil in _soils(site, facts),
        "size": _size_fits(plant, place),
        "room": least * each <= site.room + 1e-9,
    }
    for reason, answer in asked.items():
        if not answer:
            return reason
    holds = int(site.room / each + 1e-9)
    most = holds if place.counted == "plants" else min(holds, _most(tier, site, knowledge))
    months = plant.flower_months if knowledge.flower_roles & set(plant.roles) else ()
    jobs = plant.roles
    if plant.key in knowledge.plant_lists["slow_to_flower"] and not listed:
        months = ()
        jobs = tuple(job for job in jobs if not _waits(job, knowledge))
    return Option(plant, at, tier, least, max(least, most), each, kept, months, jobs)


def _waits(job: str, knowledge: Knowledge) -> bool:
    return job in knowledge.plant_roles and knowledge.plant_roles[job].waits_for_flower


def _belongs(
    plant: Plant, place: PlantingPlace, knowledge: Knowledge, *, listed: bool, early: bool
) -> bool:
    if plant.layer not in place.layers or (place.only is not None and not listed):
        return False
    if plant.layer == "bulb" and "herb" not in place.layers and not early:
        return False
    return listed or plant.key not in knowledge.plant_lists["elsewhere"]


def _tier(plant: Plant, place: PlantingPlace, knowledge: Knowledge, *, early: bool) -> str:
    if place.counted == "plants":
        return "plants"
    if plant.layer == "bulb":
        return "bulb" if early else "herb"
    low = plant.height.value <= knowledge.setting("planting_low_shrub_m")
    if plant.layer == "shrub" and (low or not place.cover):
        return "herb"
    return plant.layer


def _light_share(plant: Plant, knowledge: Knowledge, light: str | None, *, shaded: bool) -> float:
    if plant.light == "any":
        return 1.0
    here = _LIGHTS.index(light or "part") + (1 if shaded else 0)
    off = abs(min(here, 2) - _LIGHTS.index(plant.light))
    return (1.0, knowledge.setting("planting_off_light"), 0.0)[off]


def _soils(site: Site, facts: PlotFacts) -> frozenset[str]:
    if site.place.soils:
        return frozenset(site.place.soils)
    if site.pot:
        return _POTTING
    if facts.damp:
        return _MOIST
    if facts.damp is False:
        return _DRY
    return frozenset(_BY_SOIL[facts.soil])


def _size_fits(plant: Plant, place: PlantingPlace) -> bool:
    height, spread, least = place.height, place.spread, place.spread_least
    return (
        (height is None or plant.height.value <= height.value)
        and (spread is None or plant.spread.value <= spread.value)
        and (least is None or plant.spread.value >= least.value)
    )


def _each(plant: Plant, place: PlantingPlace, tier: str, knowledge: Knowledge) -> float:
    """Room one plant takes: its own square, or its circle where it is kept by pruning."""
    if place.counted == "plants":
        return 1.0
    spread = plant.spread.value
    kept = knowledge.setting("planting_pruned_share") * spread
    if tier == "climber":
        return kept * min(plant.height.value, knowledge.setting("planting_wall_height_m"))
    low = plant.height.value <= knowledge.setting("planting_low_shrub_m")
    if plant.layer == "shrub" and not low:
        return math.pi / 4 * kept**2
    return float(spread**2)


def _fewest(knowledge: Knowledge, key: str, place: PlantingPlace) -> int:
    """Fewest of one kind where plants are counted: single trees, or groups in hedge and grass."""
    single = place.counted == "plants" and knowledge.features[key].measure == "count"
    return 1 if single else max(1, int(knowledge.setting("planting_hedge_least")))


def _least(plant: Plant, site: Site, tier: str, knowledge: Knowledge) -> int:
    if tier == "plants":
        return min(int(site.room), _fewest(knowledge, site.feature, site.place))
    kind = f"{tier}s" if tier in ("bulb", "herb") else None
    low = plant.height.value <= knowledge.setting("planting_low_shrub_m")
    if kind is None or (plant.layer == "shrub" and not low):
        return 1
    where = "planting_pot" if site.pot else "planting"
    return max(1, int(knowledge.setting(f"{where}_{kind}_least")))


def _most(tier: str, site: Site, knowledge: Knowledge) -> int:
    if tier == "bulb":
        where = "planting_pot" if site.pot else "planting"
        return int(knowledge.setting(f"{where}_bulbs_most"))
    return int(knowledge.setting("planting_most"))
