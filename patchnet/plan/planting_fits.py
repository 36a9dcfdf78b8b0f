"""Which plants fit where on a plot, and why the others do not."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from patchnet.core.texts import N_, Words
from patchnet.knowledge.records import Knowledge, Mix, Plant, PlantingPlace
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plant_names import unlawful

__all__ = [
    "LINE",
    "REASONS",
    "Option",
    "Site",
    "Where",
    "fitting",
    "harms",
    "shrub_crown",
    "side_of",
    "sites",
    "soil_depth",
    "toxic_to",
]

REASONS: Words[str, str] = Words(
    {
        "asked": N_("you asked to leave it out"),
        "there": N_("you have it already"),
        "unlawful": N_("the law keeps it out"),
        "invasive": N_("spreads into the wild"),
        "children": N_("poisonous to small children"),
        "sharp": N_("thorns, spines or stings where small children come"),
        "pets": N_("poisonous to pets"),
        "place": N_("no place here for plants of its kind"),
        "pot": N_("does not live in pots"),
        "light": N_("wrong light"),
        "soil": N_("wrong soil"),
        "depth": N_("needs deeper soil"),
        "size": N_("grows too big, or is not big enough"),
        "room": N_("not enough room for the fewest to plant"),
    }
)
"""Why a plant is left out, by key, in the order in which it is asked."""

# Soils of plants that suit the ground of a plot: common practice of gardening books. Lime-free
# soil is not taken for granted anywhere, so lime haters grow in potting soil only.
_DRY = frozenset({"well-drained", "dry", "any"})
_MIDDLE = frozenset({"moist", "well-drained", "any"})
_MOIST = frozenset({"moist", "any"})
_BY_SOIL = {"sand": _DRY, "chalk": _DRY, "clay": _MOIST, "loam": _MIDDLE | {"dry"}, None: _MIDDLE}
_POTTING = frozenset({"well-drained", "moist", "any", "dry", "acid well-drained"})
_LIGHTS = ("sun", "part", "shade")
_SAFE = frozenset({"cat", "dog"})


# Which side of the gate a soil stands on: dry and well-drained go together, moist and wet do;
# what grows anywhere goes with both. The two sides never share a bed or a box.
_SIDES = {
    "dry": "dry", "well-drained": "dry", "acid well-drained": "dry",
    "moist": "moist", "wet": "moist", "submerged": "moist",
}  # fmt: skip


def side_of(soil: str) -> str:
    """Return the moisture that a soil shares with others: ``dry``, ``moist``, or either (empty).

    Parameters
    ----------
    soil
        Soil of a plant, or of a mix.
    """
    return _SIDES.get(soil, "")


@dataclass(frozen=True, slots=True)
class Where:
    """What else is known of the place to plant.

    Attributes
    ----------
    street
        Whether it is a public street: low plants only, and mixes for streets.
    passers_by
        Whether children and dogs come there, so that nothing may harm them.
    soil_depth_m
        Depth of soil in boxes and pots, m, where it was measured; None: that of the tables.
    has
        Features that stand there or near: some mixes stand beside a hedge.
    share
        Which share of the street's kinds is this plot's (see `patchnet.plan.variety`); None: any.
    money
        What the plants may cost, in the currency of the ``cost`` settings; None: anything.
    mixes
        Keys of mixes, whatever the tables say of streets: the first of which enough can be had is
        taken. Empty: those that suit the place.
    full
        Whether boxes are closed up with low plants to the density of a street box, and shrubs
        take no more than their part of one.
    """

    street: bool = False
    passers_by: bool = False
    soil_depth_m: float | None = None
    has: frozenset[str] = frozenset()
    share: int | None = None
    money: float | None = None
    mixes: tuple[str, ...] = ()
    full: bool = False


@dataclass(frozen=True, slots=True)
class Site:
    """A feature of the plot that is planted: how much it holds, of how many kinds.

    Attributes
    ----------
    feature, place, pot
        What is planted; what the tables say of it; whether plants stand in pots or boxes there.
    room, kinds
        m2 or plants that it holds; most kinds.
    soil_m2, depth_m
        Soil in it, m2; its depth in m, None in the ground.
    mix
        The tested mix that it starts from, or None.
    counts
        Of a mix: how many of each of its lines stand here, 0 or more.
    plants_least, shrub_most
        Fewest plants besides bulbs, and most crown of shrubs (m2), where a mix stands in a full
        street box; None: as the mix says.
    """

    feature: str
    place: PlantingPlace
    pot: bool
    room: float
    kinds: int
    soil_m2: float = 0.0
    depth_m: float | None = None
    mix: Mix | None = None
    counts: tuple[int, ...] = ()
    plants_least: float | None = None
    shrub_most: float | None = None


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
    tested
        1 for the plant that a mix names, a half for one that may stand in for it, else 0.
    price
        Price of one, in the currency of the ``cost`` settings.
    ours
        Whether it is of this plot's share of the street's kinds, where they are dealt out.
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
    tested: float = 0.0
    price: float = 0.0
    ours: bool = False

    @property
    def fixed(self) -> bool:
        """Whether its number is that of a line of a mix."""
        return self.tier.startswith(LINE)


_ANYWHERE = Where()
LINE = "line "
"""What the tier of a plant in a mix begins with: each line of a mix is a tier of its own."""


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
        pot = place.pot or bool(facts.pots_only)
        soil = room if place.soil_m2 is None else features[key] * float(place.soil_m2.value)
        depth = float(place.soil_depth.value) if pot and place.soil_depth is not None else None
        found.append(Site(key, place, pot, room, kinds, soil, depth))
    return tuple(found)


def shrub_crown(plant: Plant) -> float:
    """Return the crown of one shrub as it is kept, m2; 0 for a plant that is none.

    Low woody plants that stand among the herbs (thyme, heath) are no shrubs here.

    Parameters
    ----------
    plant
        A plant of the tables, or a user's own.
    """
    return math.pi / 4 * plant.width_m**2 if plant.tier == "shrub" else 0.0


def toxic_to(plant: Plant, knowledge: Knowledge) -> frozenset[str]:
    """Return for whom the plant is poisonous: ``children``, ``cat``, ``dog``, ``livestock``.

    A plant on no list (a user's own) whose hazard speaks of poison counts for everyone. What is
    poisonous on paper but hardly ever harms (strength ``low``: apple pips) counts for nobody.

    Parameters
    ----------
    plant
        A plant of the tables, or a user's own.
    knowledge
        For the lists.
    """
    listed = knowledge.plant_lists["toxic"].get(plant.key)
    if listed is not None:
        return frozenset() if listed.strength == "low" else frozenset(listed.what)
    everyone = {"children", "cat", "dog", "livestock"}
    return frozenset(everyone) if plant.told_poisonous else frozenset()


def harms(plant: Plant, knowledge: Knowledge) -> str:
    """Return how bad the worst is that a plant can do: ``low``, ``mild``, ``serious``, ``grave``.

    Parameters
    ----------
    plant
        A plant of the tables, or a user's own.
    knowledge
        For the lists.

    Returns
    -------
    str
        Empty where no list says.
    """
    order = ("", "low", "mild", "serious", "grave")
    listed = [knowledge.plant_lists.get(name, {}).get(plant.key) for name in ("toxic", "sharp")]
    return max((one.strength for one in listed if one is not None), key=order.index, default="")


def _is_sharp(plant: Plant, knowledge: Knowledge) -> bool:
    listed = knowledge.plant_lists.get("sharp", {}).get(plant.key)
    return listed is not None and listed.strength != "low"


def fitting(
    knowledge: Knowledge,
    facts: PlotFacts,
    places: tuple[Site, ...],
    *,
    light: str | None,
    exclude: frozenset[str],
    where: Where = _ANYWHERE,
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
    where
        What else is known of the place.

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
        reason = _refused(plant, knowledge, facts, exclude, where)
        if reason is None:
            answers = [_fit(plant, at, site, knowledge, facts, light, where) for at, site in
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
    plant: Plant, knowledge: Knowledge, facts: PlotFacts, exclude: frozenset[str], where: Where
) -> str | None:
    harmed = toxic_to(plant, knowledge)
    children = facts.small_children or where.passers_by
    # Of other animals than cats and dogs the tables know little: whatever harms any is left out.
    pets = {*facts.pets, *(("dog",) if where.passers_by else ())}
    asked = {
        "asked": plant.key in exclude,
        "there": plant.key in facts.plants,
        "unlawful": unlawful(plant, knowledge) is not None,
        "invasive": plant.key in knowledge.plant_lists["invasive"],
        "children": children and "children" in harmed,
        "sharp": children and _is_sharp(plant, knowledge),
        "pets": bool(harmed & pets or (pets - _SAFE and harmed)),
    }
    return next((reason for reason, against in asked.items() if against), None)


def _fit(
    plant: Plant,
    at: int,
    site: Site,
    knowledge: Knowledge,
    facts: PlotFacts,
    light: str | None,
    where: Where,
) -> Option | str:
    if where.street and plant.height.value > knowledge.setting("planting_street_height_m"):
        return "size"
    place = site.place
    early = plant.layer == "bulb" and 0 < plant.flower_start <= knowledge.setting(
        "planting_early_bulb_month"
    )
    listed = place.only is not None and plant.key in knowledge.plant_lists[place.only]
    tier = _tier(plant, place, knowledge, early=early)
    kept = _light_share(plant, knowledge, light, shaded=place.cover and tier == "herb")
    each = _each(plant, site, tier, knowledge)
    least = _least(plant, site, tier, knowledge)
    asked = {
        "place": _belongs(plant, place, knowledge, listed=listed, early=early),
        "pot": plant.container or not site.pot,
        "light": kept > 0,
        "soil": plant.soil in _soils(site, facts),
        "depth": site.depth_m is None or soil_depth(plant, knowledge) <= site.depth_m + 1e-9,
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
    price = _price(plant, place, knowledge)
    most = max(least, most)
    return Option(plant, at, tier, least, most, each, kept, months, jobs, price=price)


def _price(plant: Plant, place: PlantingPlace, knowledge: Knowledge) -> float:
    """Price of one, as a plug or with bare roots where such are set there."""
    form = knowledge.plant_forms.get(place.form or "")
    if form is not None and form.price is not None:
        return float(form.price.value)
    return 0.0 if plant.price is None else float(plant.price.value)


def soil_depth(plant: Plant, knowledge: Knowledge) -> float:
    """Return the depth of soil that a plant needs in a pot, m: its own, or that of its kind.

    Parameters
    ----------
    plant
        The plant.
    knowledge
        For the depths of kinds of plant.
    """
    if plant.layer == "aquatic":
        return 0.0
    if plant.pot_depth is not None:
        return float(plant.pot_depth.value)
    if plant.layer == "tree":
        kind = "tree"
    elif plant.layer in ("shrub", "climber"):
        kind = "shrub"
    elif plant.layer == "herb" and plant.soil == "dry":
        kind = "low"
    elif plant.layer == "herb" and plant.height.value > knowledge.setting("planting_tall_herb_m"):
        kind = "perennial"
    else:
        kind = "herb"
    return knowledge.setting(f"planting_depth_{kind}_m")


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


def _each(plant: Plant, site: Site, tier: str, knowledge: Knowledge) -> float:
    """Room one plant takes: its own square, or its circle where it is kept by pruning."""
    if site.place.counted == "plants":
        return 1.0
    spread = plant.width_m if site.pot else plant.spread.value
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
