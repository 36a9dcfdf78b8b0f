"""What could be added to a plot, how much of it fits, and what is ruled out and why."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from patchnet.core.language_forms import in_sentence, number
from patchnet.core.texts import _
from patchnet.knowledge.records import Feature, Knowledge, Siting
from patchnet.plan.facts import LIGHT_WORDS, PlotFacts
from patchnet.plan.plot_plan import Candidate, RuledOut
from patchnet.plan.space import Space

__all__ = [
    "candidates_for",
    "fitted",
    "hours_of",
    "money_of",
    "moves_for",
    "planted_m2",
    "taking_up_of",
]

_CHILDREN = "small_children"
_LANDLORD = "landlord"
_KEEPER = "keeper"
_NEIGHBOUR = "neighbour"
_BORNE = ("standing", "sill", "wall")
_SLACK = 1e-9


def candidates_for(
    knowledge: Knowledge, facts: PlotFacts, space: Space, *, kind: str
) -> tuple[tuple[Candidate, ...], tuple[RuledOut, ...]]:
    """Everything that fits by itself, in the order of the tables, and what is ruled out.

    Parameters
    ----------
    kind
        Kind of the plot (in a street planter or verge some things have no place).
    """
    offered: list[Candidate] = []
    ruled: list[RuledOut] = []
    wishes = dict(facts.wishes)
    for key, feature in knowledge.features.items():
        if not feature.addable or "way_through" in feature.traits:
            continue  # a gap changes ways, not supply: it is judged over the ground
        siting = knowledge.sitings.get(key)
        why = _why_not(feature, siting, facts, space, kind, knowledge)
        if why is None and siting is not None:
            amount = _fits(feature, siting, space, knowledge, wished=wishes.get(key))
            if amount >= feature.smallest.value:
                one = _candidate(feature, siting, amount, facts, kind, knowledge)
                offered.append(replace(one, moves=moves_for(key, facts, space, kind, knowledge)))
                continue
            why = _no_room(feature, siting, space)
        if why is not None:
            ruled.append(RuledOut(key, *why))
    return tuple(offered), tuple(ruled)


def moves_for(
    feature: str, facts: PlotFacts, space: Space, kind: str, knowledge: Knowledge
) -> tuple[str, ...]:
    """Return moves that make a feature on a plot, those that start from what is there first.

    Parameters
    ----------
    feature
        Key of what is made.
    facts
        Whether it is rented, and what must stay.
    space
        What is there, and what may give way.
    kind
        Key of the kind of plot: nothing is lifted in a street.
    """
    from_there: list[str] = []
    others: list[str] = []
    pots = facts.pots_only or knowledge.plot_is(kind, "pots_only")
    for key, move in knowledge.moves.items():
        if feature not in move.features or (facts.tenure == "rent" and move.tenancy == "own"):
            continue
        if not move.there:
            others.append(key)
        elif not pots and any(space.convertible.get(one, 0.0) > 0 for one in move.there):
            from_there.append(key)
    return (*from_there, *others)


def hours_of(feature: Feature, knowledge: Knowledge) -> float:
    """Hours a month that the usual amount of a feature takes.

    Parameters
    ----------
    feature
        What is added.
    knowledge
        For its upkeep.
    """
    return knowledge.sitings[feature.key].upkeep_hours.value


def money_of(feature: Feature, knowledge: Knowledge) -> float:
    """Money that the usual amount of a feature takes in the first year.

    Parameters
    ----------
    feature
        What is added.
    knowledge
        For its cost.

    Returns
    -------
    float
        Money in pounds, as the tables have it.
    """
    return knowledge.setting(f"cost_{feature.cost}")


def _why_not(
    feature: Feature,
    siting: Siting | None,
    facts: PlotFacts,
    space: Space,
    kind: str,
    knowledge: Knowledge,
) -> tuple[str, str] | None:
    """The reason against it, in words, and its kind; None where there is none."""
    if siting is None:
        return _("No table says where it can go."), "table"
    reasons = (
        _unsafe(feature, facts),
        _out_of_place(feature, siting, facts, kind, knowledge),
        _not_for_this_plot(siting, facts),
        _there_already(feature, siting, space, knowledge),
        _too_big_or_slow(feature, siting, space, knowledge),
    )
    return next((reason for reason in reasons if reason is not None), None)


def _unsafe(feature: Feature, facts: PlotFacts) -> tuple[str, str] | None:
    if not (facts.small_children and feature.open_water):
        return None
    words = _(
        "Small children come here, and they drown in very little water. A bird bath or a boggy "
        "bed gives drink and damp without open water."
    )
    return words, "safety"


def _out_of_place(
    feature: Feature, siting: Siting, facts: PlotFacts, kind: str, knowledge: Knowledge
) -> tuple[str, str] | None:
    if knowledge.plot_is(kind, "in_street") and not siting.street:
        return _("It does not belong in a public street."), "place"
    # A balcony has no soil of its own, whether somebody says so or not.
    pots = facts.pots_only or (facts.pots_only is None and knowledge.plot_is(kind, "pots_only"))
    if pots and (feature.rooted or siting.in_ground):
        if feature.container:
            return _("It needs open ground here; think of a planter instead."), "pots"
        return _("It cannot grow in pots."), "pots"
    return None


def _not_for_this_plot(siting: Siting, facts: PlotFacts) -> tuple[str, str] | None:
    if facts.tenure == "rent" and siting.tenancy == "own":
        return _("It is for owners: it stays behind when you leave."), "tenancy"
    if facts.light is not None and facts.light not in siting.lights:
        likes = _(" or ").join(LIGHT_WORDS[light] for light in siting.lights)
        return _("It wants {likes}.").format(likes=likes), "light"
    return None


def _too_big_or_slow(
    feature: Feature, siting: Siting, space: Space, knowledge: Knowledge
) -> tuple[str, str] | None:
    if space.area_m2 < siting.open_ground.value:
        least, area = siting.open_ground.value, space.area_m2
        return _("It suits a plot of {least:g} m2 or more; this one has {area:.0f}.").format(
            least=least, area=area
        ), "room"
    years = feature.years_to_work.value
    if years > knowledge.setting("plan_horizon_years"):
        return _("It needs about {years:g} years to be at its best.").format(years=years), "slow"
    return None


def _there_already(
    feature: Feature, siting: Siting, space: Space, knowledge: Knowledge
) -> tuple[str, str] | None:
    if "only_one" in feature.traits and space.has.get(feature.key, 0) > 0:
        return _("There is one already."), "there"
    # A part of a pond, taken as the mean where nobody looked, is no pond.
    least = {key: knowledge.features[key].smallest.value for key in siting.beside}
    if siting.beside and not any(space.has.get(key, 0) >= least[key] for key in siting.beside):
        names = _(" or ").join(knowledge.sitings[key].said for key in siting.beside)
        return _("It goes with {names}; there is none.").format(names=names), "room"
    sources = siting.made_from if siting.made_only else ()
    if not sources or any(space.convertible.get(key, 0.0) > 0 for key in sources):
        return None
    there = any(space.has.get(key, 0) > 0 for key in sources)
    if "lawn" in knowledge.features[sources[0]].traits:
        words = _("There is no lawn to spare") if there else _("No lawn here")
        return _("{words} that could be mown less.").format(words=words), "room"
    name = _(" or ").join(in_sentence(knowledge.features[key].name) for key in sources)
    return _("It is made from {name} only; there is none{words}.").format(
        name=name, words=_(" to spare") if there else ""
    ), "room"


def _fits(
    feature: Feature,
    siting: Siting,
    space: Space,
    knowledge: Knowledge,
    *,
    wished: float | None = None,
) -> float:
    """The amount wished for or else the usual one, or as much of it as there is room for."""
    most = feature.typical.value if wished is None else wished
    ground = feature.ground.value
    if siting.place == "ground" and ground > 0:
        room = space.ground_m2
        if siting.made_only and siting.made_from:
            room = sum(space.convertible.get(key, 0.0) for key in siting.made_from)
        most = min(most, room / ground)
    elif siting.place == "standing" and ground > 0:
        most = min(most, space.floor_m2 / ground)
    length = siting.length.value
    if siting.place == "under":
        room = max(space.ground_m2 + planted_m2(space, knowledge), 0.0)
        most = min(most, room, space.area_m2)
    elif siting.place == "roof":
        most = min(most, space.roof_m2)
    elif length > 0:
        run = {
            "wall": space.wall_m + space.fence_m,
            "fence": space.fence_m + space.wall_m,
            "sill": space.sill_m,
        }.get(siting.place)
        if run is not None:
            most = min(most, run / length)
    if feature.measure == "count":
        return float(int(most + 1e-9))
    return most


def planted_m2(space: Space, knowledge: Knowledge) -> float:
    """Return the ground, m2, under what grows on the plot: bulbs go in between.

    Parameters
    ----------
    space
        What the plot has.
    knowledge
        For the ground that each feature takes.
    """
    return sum(
        knowledge.features[key].ground.value * amount
        for key, amount in space.has.items()
        if knowledge.features[key].green
    )


def _no_room(feature: Feature, siting: Siting, space: Space) -> tuple[str, str]:
    unit = {"m2": "m2", "m": "m"}.get(feature.measure, "")
    least = f"{number(feature.smallest.value, 'g')} {unit}".strip()
    if siting.place == "ground":
        have = _("there is {ground_m2:.1f} m2 of ground that may be changed").format(
            ground_m2=space.ground_m2
        )
    elif siting.place == "standing":
        have = _("there is {floor_m2:.1f} m2 of free floor").format(floor_m2=space.floor_m2)
    elif siting.place == "sill":
        have = _("there is {sill_m:.1f} m of sill").format(sill_m=space.sill_m)
    elif siting.place == "roof":
        have = _("there is {roof_m2:.1f} m2 of low roof").format(roof_m2=space.roof_m2)
    else:
        have = _("there is {wall_m:.1f} m of wall and fence").format(
            wall_m=space.wall_m + space.fence_m
        )
    return _("It needs at least {least}; {have}.").format(least=least, have=have), "room"


def _candidate(
    feature: Feature,
    siting: Siting,
    amount: float,
    facts: PlotFacts,
    kind: str,
    knowledge: Knowledge,
) -> Candidate:
    asks = []
    if feature.open_water and facts.small_children is None:
        asks.append(_CHILDREN)
    if knowledge.plot_is(kind, "asks_keeper"):
        asks.append(_KEEPER)
    elif siting.tenancy == "ask" and facts.tenure != "own":
        asks.append(_LANDLORD)
    if set(knowledge.cautions_about("neighbour")) & set(feature.cautions):
        asks.append(_NEIGHBOUR)
    cautions = list(feature.cautions)
    if knowledge.plot_is(kind, "in_street"):
        cautions += knowledge.cautions_about("street")
    if knowledge.plot_is(kind, "raised") and siting.place in _BORNE:
        cautions += knowledge.cautions_about("load")
    if "cat" in facts.pets and "for_birds" in feature.traits:
        cautions += knowledge.cautions_about("cats")
    return Candidate(
        feature=feature.key,
        amount=amount,
        place=siting.place,
        ground_m2=feature.ground.value * amount,
        length_m=siting.length.value * amount,
        hours_month=hours_of(feature, knowledge),
        cost=money_of(feature, knowledge),
        months=feature.months,
        cautions=tuple(dict.fromkeys(cautions)),
        asks=tuple(asks),
    )


def _give_way(
    grounded: Sequence[Candidate], space: Space, knowledge: Knowledge
) -> dict[str, float]:
    """What gives way to things on the ground: lawn to other lawns; else bare ground first.

    What can be made of some covers only takes those, the first there is; other lawns take lawn.
    """
    lawn = set(knowledge.features_with("lawn"))
    given: dict[str, float] = {}
    for one in grounded:
        siting = knowledge.sitings[one.feature]
        covers: Sequence[str] = siting.made_from if siting.made_only else ()
        if not covers and one.feature in lawn:
            covers = [key for key in space.convertible if key in lawn]
        left = one.ground_m2
        for cover in covers:
            taken = min(left, space.convertible.get(cover, 0.0) - given.get(cover, 0.0))
            if taken > 0:
                given[cover] = given.get(cover, 0.0) + taken
                left -= taken
    beds = sum(one.ground_m2 for one in grounded) - sum(given.values())
    left = max(beds - space.bare_m2, 0.0)
    for cover, amount in space.convertible.items():
        taken = min(amount - given.get(cover, 0.0), left)
        if taken > _SLACK:
            given[cover] = given.get(cover, 0.0) + taken
            left -= taken
    return given


def fitted(
    chosen: Sequence[Candidate], space: Space, knowledge: Knowledge, facts: PlotFacts
) -> tuple[tuple[Candidate, ...], Mapping[str, float]] | None:
    """Make a set of candidates fit together, and say what changes on the plot.

    Where they do not fit at their own amounts, those on the ground shrink alike towards their
    smallest useful size, so that one set has one answer; and a little more where they would take
    up less of a hard cover than is worth lifting (``settings/taking_up_least_m2``). Floor, walls,
    fences, sills, hours and money must do as they are.

    Parameters
    ----------
    chosen
        The set.
    space
        What room there is.
    knowledge
        For how things make way.
    facts
        What the householder said.

    Returns
    -------
    tuple or None
        The candidates at the amounts that fit, and the change of each feature's amount
        (negative where something gives way); None where they cannot stand together.
    """
    if _too_much(chosen, space, knowledge, facts):
        return None
    standing = _sum([one for one in chosen if one.place == "standing"], "ground_m2")
    room = min(space.ground_m2, space.floor_m2 - standing)
    wanted = [one for one in chosen if one.place == "ground"]
    grounded = _shrunk(wanted, room, knowledge)
    if grounded is None:
        return None
    given = _give_way(grounded, space, knowledge)
    if sliver := _slivers(given, knowledge):
        # Nobody lifts part of a slab: things that can do with a little less ground do.
        smaller = _shrunk(wanted, _sum(grounded, "ground_m2") - sliver, knowledge)
        if smaller is not None:
            less = _give_way(smaller, space, knowledge)
            if not _slivers(less, knowledge):
                grounded, given = smaller, less
    sized = {one.feature: one for one in grounded}
    result = tuple(sized.get(one.feature, one) for one in chosen)
    change = {one.feature: one.amount for one in result}
    for cover, amount in given.items():
        change[cover] = change.get(cover, 0.0) - amount
    cost = _sum(chosen, "cost") + taking_up_of(change, knowledge)[1]
    if facts.budget is not None and cost > facts.budget + _SLACK:
        return None
    return result, change


def _too_much(
    chosen: Sequence[Candidate], space: Space, knowledge: Knowledge, facts: PlotFacts
) -> bool:
    """Whether there is too little time, floor or wall for things that do not shrink."""
    features = [knowledge.features[one.feature] for one in chosen]
    # What the stages before have made counts, where there would be more of the kind now.
    planned = [knowledge.features[key] for key in space.planned]
    waters = sum(one.open_water for one in features)
    trees = [one for one in features if one.tree]
    if trees:
        trees += [one for one in planned if one.tree]

    def of(part: str, *places: str) -> float:
        return _sum([one for one in chosen if one.place in places], part)

    hours = math.inf if facts.hours_month is None else facts.hours_month
    return (
        # One pond or tub is enough to begin with (common practice).
        (waters > 0 and waters + sum(one.open_water for one in planned) > 1)
        # Each tree wants so much of the plot to itself.
        or (len(trees) > 1 and _wanted_by(trees, knowledge) > space.area_m2)
        or _sum(chosen, "hours_month") > hours + _SLACK
        or of("ground_m2", "standing") > space.floor_m2 + _SLACK
        or of("length_m", "sill") > space.sill_m + _SLACK
        or of("length_m", "wall", "fence") > space.wall_m + space.fence_m + _SLACK
        or of("amount", "roof") > space.roof_m2 + _SLACK
    )


def _wanted_by(trees: Sequence[Feature], knowledge: Knowledge) -> float:
    return sum(knowledge.sitings[one.key].open_ground.value for one in trees)


def _slivers(given: Mapping[str, float], knowledge: Knowledge) -> float:
    """Square metres of hard covers to take up of which there is less than is worth lifting."""
    least = knowledge.setting("taking_up_least_m2")
    return sum(
        m2 for cover, m2 in given.items() if cover in knowledge.taking_up and m2 < least - _SLACK
    )


def taking_up_of(change: Mapping[str, float], knowledge: Knowledge) -> tuple[float, float]:
    """Hours and money that taking up hard covers adds to a change of amounts.

    Parameters
    ----------
    change
        Feature to change of its amount (m2, m, count); what gives way is negative.

    Returns
    -------
    tuple
        Hours, and money in the currency of the ``cost`` settings; 0 and 0 where none is taken up.
    """
    taken = [(how, -change[key]) for key, how in knowledge.taking_up.items()
             if change.get(key, 0.0) < 0]  # fmt: skip
    hours = sum(how.hours.value * m2 for how, m2 in taken)
    return float(hours), float(sum(how.cost.value * m2 for how, m2 in taken))


def _sum(chosen: Sequence[Candidate], part: str) -> float:
    return float(sum(getattr(one, part) for one in chosen))


def _shrunk(
    grounded: Sequence[Candidate], room_m2: float, knowledge: Knowledge
) -> tuple[Candidate, ...] | None:
    """Scale things on the ground alike so that they fit, none below its smallest useful size."""
    needed = _sum(grounded, "ground_m2")
    if needed <= room_m2 + _SLACK:
        return tuple(grounded)
    least = [
        one.ground_m2
        if knowledge.features[one.feature].measure == "count"
        else one.ground_m2 * knowledge.features[one.feature].smallest.value / one.amount
        for one in grounded
    ]
    spare = room_m2 - sum(least)
    if spare < -_SLACK:
        return None
    share = max(spare, 0.0) / (needed - sum(least)) if needed > sum(least) else 0.0
    return tuple(
        _resized(one, (small + share * (one.ground_m2 - small)) / one.ground_m2)
        if one.ground_m2 > small
        else one
        for one, small in zip(grounded, least, strict=True)
    )


def _resized(one: Candidate, factor: float) -> Candidate:
    return replace(
        one,
        amount=one.amount * factor,
        ground_m2=one.ground_m2 * factor,
        length_m=one.length_m * factor,
    )
