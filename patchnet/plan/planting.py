"""What to plant: plants that fit the plot, chosen together for its hungry months."""

from collections.abc import Iterable, Mapping

from patchnet.core.errors import WrongUse
from patchnet.core.texts import N_, Words, _, source_of
from patchnet.knowledge.records import Knowledge, Plant
from patchnet.plan.facts import Light, PlotFacts
from patchnet.plan.plant_names import match_plant, planting_mistakes, unlawful
from patchnet.plan.planting_choice import Aim, choose
from patchnet.plan.planting_fits import REASONS, Option, Site, fitting, sites
from patchnet.plan.plot_plan import Bloom, HazardLine, Planting, PlantingLine

__all__ = ["choose_planting"]

_LAWS: Words[str, str] = Words(
    {
        "schedule_9": (
            N_(
                "planting it in the wild is an offence (Wildlife and Countryside Act 1981, "
                "schedule 9)"
            )
        ),
        "sale_ban": N_("it may not be sold in {law}"),
        "ias_order": N_("it may not be kept or grown at all in {law}"),
    }
)


def choose_planting(
    knowledge: Knowledge,
    facts: PlotFacts,
    *,
    hungry: Mapping[int, float],
    features: Mapping[str, float],
    wants: Mapping[str, float],
    light: Light | None,
    exclude: Iterable[str] = (),
    country: str = "",
) -> Planting:
    """Choose the plants of a plot together.

    First of all something is in flower in as many hungry months as can be (by their weight);
    then plants do the jobs wanted, do several jobs each, give a second kind to hungry months and
    use every layer. The aim is stated in full in `patchnet.plan.planting_choice`.

    Parameters
    ----------
    knowledge
        The knowledge tables: plants, places to plant, lists, settings.
    facts
        What the householder said: soil, damp, pots only, small children, pets, edible. Plants
        poisonous to small children or pets are left out where there are any.
    hungry
        Weight of each month, 1-12, in which the plot's surroundings are short of flowers; months
        not named, or of weight 0, are not hungry.
    features
        What is planted: amount of each feature in its own unit (m2, m, pieces). Features in
        which nothing is planted are ignored.
    wants
        Weight of each job of plants (roles of the plant table) that is wanted here.
    light
        Light of the plot; None: as the facts say, else taken as between sun and shade.
    exclude
        Plants not wanted, by key, English or Latin name.
    country
        Key of the country it is for; where the tables name no law of it, whom to ask is said with
        what British law keeps out. Empty: that is not said.

    Returns
    -------
    Planting

    Raises
    ------
    WrongUse
        If anything asked cannot be: everything wrong at once, one line each.
    """
    unwanted = tuple(exclude)
    wrong = planting_mistakes(
        knowledge, facts, hungry=hungry, features=features, wants=wants, exclude=unwanted
    )
    if wrong:
        raise WrongUse("\n".join(wrong))
    keys = frozenset(match_plant(word, knowledge) or "" for word in unwanted)
    places = sites(knowledge, facts, features)
    options, left_out = fitting(knowledge, facts, places, light=light or facts.light, exclude=keys)
    short = {month: weight for month, weight in sorted(hungry.items()) if weight > 0}
    aim = Aim(short, dict(sorted(wants.items())), bool(facts.edible))
    choice = choose(knowledge, places, options, aim)
    chosen = [options[at] for at in choice.options]
    numbers = _numbers(places, chosen)
    calendar = _calendar(chosen, short)
    return Planting(
        lines=_lines(knowledge, places, chosen, numbers),
        calendar=calendar,
        hazards=_hazards(chosen),
        uncovered=tuple(
            month for month in short if not any(month in option.months for option in options)
        ),
        left_out=tuple((REASONS[reason], len(plants)) for reason, plants in left_out.items()),
        exact=choice.exact,
        no_room=tuple(
            bloom.month
            for bloom in calendar
            if bloom.hungry
            and not bloom.plants
            and any(bloom.month in option.months for option in options)
        ),
        refused=_refused(knowledge, left_out.get("unlawful", ()), country),
        also_fit=_also(options, chosen),
        cover=choice.cover,
        worth=choice.worth,
    )


def _numbers(places: tuple[Site, ...], chosen: list[Option]) -> list[int]:
    """How many of each: the fewest first, then one by one to the kind with least room so far."""
    numbers = [option.least for option in chosen]
    layers: dict[tuple[int, str], list[int]] = {}
    for at, option in enumerate(chosen):
        layers.setdefault((option.site, option.tier), []).append(at)
    for (site, tier), members in layers.items():
        room = places[site].room
        if tier == "plants":
            each, over = divmod(int(room), len(members))
            for place, at in enumerate(members):
                numbers[at] = each + (place < over)
            continue
        left = room - sum(numbers[at] * chosen[at].each for at in members)
        while True:
            growing = [
                at
                for at in members
                if numbers[at] < chosen[at].most and chosen[at].each <= left + 1e-9
            ]
            if not growing:
                break
            # Rounded: areas alike on paper are alike here, and the earlier plant comes first.
            at = min(growing, key=lambda one: (round(numbers[one] * chosen[one].each, 6), one))
            numbers[at] += 1
            left -= chosen[at].each
    return numbers


def _lines(
    knowledge: Knowledge, places: tuple[Site, ...], chosen: list[Option], numbers: list[int]
) -> tuple[PlantingLine, ...]:
    lines = [
        (
            option.site,
            PlantingLine(
                plant=option.plant.key,
                number=number,
                place=places[option.site].feature,
                layer=option.plant.layer,
                months=option.months,
                jobs=option.jobs,
                hazard=_hazard(option.plant),
                note=option.plant.note,
                depth_m=_depth(knowledge, option.plant) if places[option.site].pot else 0.0,
            ),
        )
        for option, number in zip(chosen, numbers, strict=True)
    ]
    return tuple(line for _, line in sorted(lines, key=lambda pair: pair[0]))


def _depth(knowledge: Knowledge, plant: Plant) -> float:
    if plant.layer == "aquatic":
        return 0.0
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


def _calendar(chosen: list[Option], short: Mapping[int, float]) -> tuple[Bloom, ...]:
    return tuple(
        Bloom(
            month,
            tuple(dict.fromkeys(one.plant.key for one in chosen if month in one.months)),
            month in short,
        )
        for month in range(1, 13)
    )


def _hazard(plant: Plant) -> str:
    harmless = source_of(plant.hazard).casefold().startswith("none")
    return "" if harmless else plant.hazard


def _hazards(chosen: list[Option]) -> tuple[HazardLine, ...]:
    plants = {option.plant.key: option.plant for option in chosen}
    return tuple(
        HazardLine(key, _hazard(plant), plant.hazard_source)
        for key, plant in plants.items()
        if _hazard(plant)
    )


def _refused(
    knowledge: Knowledge, keys: Iterable[str], country: str
) -> tuple[tuple[str, str], ...]:
    law = next((one.law for one in knowledge.countries.values() if one.law), "")
    here = knowledge.countries.get(country)
    ask = (
        _("; for the law here: {ask}").format(ask=here.ask)
        if here is not None and not here.law
        else ""
    )
    said = []
    for key in keys:
        entry = unlawful(knowledge.plants[key], knowledge)
        if entry is not None:
            why = "; ".join(_LAWS[one].format(law=law) for one in entry.laws) + ask
            said.append((key, f"{entry.name} ({entry.latin[0]}): {why}"))
    return tuple(said)


def _also(options: Iterable[Option], chosen: list[Option]) -> tuple[str, ...]:
    taken = {option.plant.key for option in chosen}
    return tuple(dict.fromkeys(one.plant.key for one in options if one.plant.key not in taken))
