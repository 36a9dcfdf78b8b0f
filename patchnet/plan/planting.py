"""What to plant: plants that fit the plot, chosen together for its hungry months."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from patchnet.core.errors import WrongUse
from patchnet.core.texts import N_, Words, _, source_of
from patchnet.knowledge.records import Knowledge, Plant
from patchnet.plan.facts import Light, PlotFacts
from patchnet.plan.plant_names import match_plant, planting_mistakes, unlawful
from patchnet.plan.planting_choice import Aim, choose
from patchnet.plan.planting_fits import (
    REASONS,
    Option,
    Site,
    Where,
    fitting,
    harms,
    sites,
    soil_depth,
)
from patchnet.plan.planting_mixes import in_mixes
from patchnet.plan.planting_numbers import cost_of, numbers_of, too_few
from patchnet.plan.plot_plan import Bloom, HazardLine, Planting, PlantingLine
from patchnet.plan.variety import of_share

__all__ = ["choose_planting"]

_ANYWHERE = Where()
_SLACK = 1e-9
_BARE = 1e-6  # next to any weight of a hungry month
_TRIES = 6  # times that a planting is made smaller to fit the money
_CLOSER = 0.95  # a little below, because plants come whole

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
    where: Where = _ANYWHERE,
) -> Planting:
    """Choose the plants of a plot together.

    Beds and boxes start from a tested mix for their light and moisture, of which the programme
    changes what does not fit or serves less here (`patchnet.plan.planting_mixes`). First of all
    something is in flower in as many hungry months as can be (by their weight); then plants do the
    jobs wanted, do several jobs each, give a second kind to hungry months, leave no hole in the
    year and use every layer. The aim is stated in full in `patchnet.plan.planting_choice`.

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
    where
        Whether it is a street, who passes, how deep the soil of boxes is, which share of the
        street's kinds is this plot's, and what the plants may cost.

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
    task = _Task(
        knowledge,
        facts,
        where,
        frozenset(match_plant(word, knowledge) or "" for word in unwanted),
        light or facts.light,
        Aim(
            {month: weight for month, weight in sorted(hungry.items()) if weight > 0},
            dict(sorted(wants.items())),
            bool(facts.edible),
            where.money,
        ),
        country,
    )
    return _within_money(task, features)


@dataclass(frozen=True, slots=True)
class _Task:
    """What is asked of a planting, apart from what is planted."""

    knowledge: Knowledge
    facts: PlotFacts
    where: Where
    exclude: frozenset[str]
    light: Light | None
    aim: Aim
    country: str


def _within_money(task: _Task, features: Mapping[str, float]) -> Planting:
    """Plant all of it, or as much of it this year as the money is enough for.

    Fewer plants on all of it would leave bare soil between them: so less of it is planted, as
    densely as is good.
    """
    money = task.aim.money
    if money is None:
        return _planted(task, features)
    whole = _planted(replace(task, aim=replace(task.aim, money=None)), features)
    found, share = whole, 1.0
    for __ in range(_TRIES):
        if found.cost[1] <= money + _SLACK:
            return replace(found, planted_share=share)
        share *= min(_CLOSER * money / found.cost[1], _CLOSER)
        part = {key: amount * share for key, amount in features.items()}
        found = _planted(task, part)
    if found.cost[1] <= money + _SLACK:
        return replace(found, planted_share=share)
    nothing = _planted(task, {})
    return replace(nothing, planted_share=0.0, also_fit=whole.also_fit)


def _planted(task: _Task, features: Mapping[str, float]) -> Planting:
    """Choose the plants of all that is planted."""
    knowledge, short = task.knowledge, task.aim.hungry
    bare = _places(task, features)
    fit, left_out = fitting(
        knowledge, task.facts, bare, light=task.light, exclude=task.exclude, where=task.where
    )
    first, last = (int(knowledge.setting(f"planting_year_{end}")) for end in ("first", "last"))
    year = range(first, last + 1)
    # A hungry month weighs more than all others together; others only for their being bare.
    months = dict.fromkeys(year, _BARE) | {month: weight + _BARE for month, weight in short.items()}
    refused: set[int] = set()
    while True:
        places, options = in_mixes(
            knowledge, task.facts, bare, fit, light=task.light, where=task.where,
            months=months, without=refused,
        )  # fmt: skip
        options = of_share(knowledge, options, task.where.share, places)
        choice = choose(knowledge, places, options, task.aim)
        chosen = [options[at] for at in choice.options]
        numbers = numbers_of(places, chosen, task.aim.money)
        thin = too_few(knowledge, places, chosen, numbers)
        if not thin:
            break
        refused |= thin
    calendar = _calendar(chosen, short)
    flowering = {month for option in fit for month in option.months}
    ours = of_share(knowledge, fit, task.where.share, bare)
    in_share = {month for option in ours for month in option.months}
    lines = _lines(knowledge, places, chosen, numbers)
    return Planting(
        lines=lines,
        calendar=calendar,
        hazards=_hazards(chosen),
        uncovered=tuple(month for month in short if month not in flowering),
        left_out=tuple((REASONS[reason], len(plants)) for reason, plants in left_out.items()),
        exact=choice.exact,
        no_room=tuple(
            bloom.month
            for bloom in calendar
            if bloom.hungry and not bloom.plants and bloom.month in in_share
        ),
        refused=_refused(knowledge, left_out.get("unlawful", ()), task.country),
        also_fit=_also(fit, chosen),
        cover=choice.cover,
        worth=choice.worth,
        bare=tuple(
            month for month in year if lines and month not in flowering
        ),
        shared=tuple(
            (month, next(one.plant.key for one in fit if month in one.months))
            for month in year
            if lines and month in flowering - in_share
        ),
        mixes=tuple(
            (site.feature, site.mix.key) for site in places if site.mix is not None
        ),
        cost=cost_of(knowledge, chosen, numbers, places),
        thread=tuple(
            key
            for key in knowledge.plant_lists.get("thread", {})
            if task.where.share is not None and any(key == line.plant for line in lines)
        ),
    )  # fmt: skip


def _places(task: _Task, features: Mapping[str, float]) -> tuple[Site, ...]:
    found = sites(task.knowledge, task.facts, features)
    return tuple(_as_found(task, site) if site.pot else site for site in found)


def _as_found(task: _Task, site: Site) -> Site:
    """A box or pot with the depth that was measured, and as full as a street box is to be."""
    depth = task.where.soil_depth_m
    site = site if depth is None else replace(site, depth_m=depth)
    if not task.where.full:
        return site
    know = task.knowledge
    return replace(
        site,
        plants_least=know.setting("planting_box_plants_m2") * site.soil_m2,
        shrub_most=know.setting("planting_box_shrub_m2") * site.soil_m2,
    )


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
                depth_m=soil_depth(option.plant, knowledge) if places[option.site].pot else 0.0,
                form=_form(option.plant, places[option.site]),
                when=_when(knowledge, _form(option.plant, places[option.site])),
                price=option.price,
                free=option.plant.raised,
                strength=harms(option.plant, knowledge),
            ),
        )
        for option, number in zip(chosen, numbers, strict=True)
    ]
    return tuple(line for _, line in sorted(lines, key=lambda pair: pair[0]))


def _form(plant: Plant, site: Site) -> str:
    return site.place.form or plant.form


def _when(knowledge: Knowledge, form: str) -> tuple[int, ...]:
    return knowledge.plant_forms[form].months if form in knowledge.plant_forms else ()


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
