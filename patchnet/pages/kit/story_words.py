"""What is wrong in a neighbourhood and what would help most, in the words that people read first.

Every form of sentence stands here once. A number in a text is the record's, rounded; before +
change = after (`numbers.before_after`). Texts are plain: a page's template escapes them.
"""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from shapely import Point

from patchnet.assess.assessment import Assessment
from patchnet.assess.spread import Spread
from patchnet.core.language_forms import capital_first, in_sentence, listed
from patchnet.core.texts import N_, Words, _, ngettext
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.candidate_words import amount_words, asked_words, hours_words
from patchnet.pages.kit.numbers import MONTH_NAMES, before_after, currency, figure, month_spans
from patchnet.plan.finding import Finding
from patchnet.plan.lacks import Lack
from patchnet.plan.most_help import MostHelp, Thing
from patchnet.plan.street_houses import column_of
from patchnet.plan.stretches import Stretch
from patchnet.read.neighbourhood import Neighbourhood

__all__ = [
    "Room",
    "Story",
    "StoryThing",
    "begin_with",
    "plot_names",
    "room_of",
    "story",
    "stretch_words",
]

_DRAWN = 10  # houses drawn for one animal
_SAID = 2  # animals named in one sentence
_ONE = 0.5  # homes, from which on they are told as one
_LITTLE = 0.02  # share of the homes before; less is told without figures
_LONG = 70  # letters of a headline that is still read at a glance

_PARTS: Words[str, str] = Words(
    {
        "": "{street}",
        "middle": N_("the middle of {street}"),
        "north": N_("the north end of {street}"),
        "east": N_("the east end of {street}"),
        "south": N_("the south end of {street}"),
        "west": N_("the west end of {street}"),
    }
)
_HEADLINES: Words[str, str] = Words(
    {
        "nothing": N_("There is nothing on this map yet."),
        "unseen": N_("Nobody has looked at what grows here yet."),
        "seldom": N_("Hardly anybody has looked at what grows here yet."),
        "bare": N_("No animal we asked about has room for even one home here."),
        "enough": N_("Nothing is clearly short here: keep what there is."),
        "coarse": N_("Told in classes, nothing here stands out as short."),
    }
)
_SEASONS: Words[str, str] = Words(
    {
        "spring": N_("{resource} in spring"),
        "summer": N_("{resource} in summer"),
        "autumn": N_("{resource} in autumn"),
        "winter": N_("{resource} in winter"),
    }
)
_DO: Words[str, str] = Words(
    {
        "flowers": N_("Plant {thing} at {plot}."),
        "woody": N_("Plant {thing} at {plot}."),
        "grass": N_("Leave room for {thing} at {plot}."),
    }
)
_DO_HERE: Words[str, str] = Words(
    {
        "flowers": N_("Plant {thing}."),
        "woody": N_("Plant {thing}."),
        "grass": N_("Leave room for {thing}."),
    }
)
_DO_ALONG: Words[str, str] = Words(
    {
        "flowers": N_("Plant {thing} somewhere along {street}."),
        "woody": N_("Plant {thing} somewhere along {street}."),
        "grass": N_("Leave room for {thing} somewhere along {street}."),
    }
)


@dataclass(frozen=True, slots=True)
class StoryThing:
    """One numbered thing.

    Attributes
    ----------
    number
        1 first.
    title, words, small
        What to do; whom it helps; what it takes.
    plots
        Ids of the plots it is about.
    point
        Where its number goes on the map, in the neighbourhood's CRS; None: nowhere.
    cautions
        What to mind and whom to ask first, each a short sentence.
    """

    number: int
    title: str
    words: str
    small: str
    plots: tuple[str, ...]
    point: Point | None
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Room:
    """Room for one animal, as houses.

    Attributes
    ----------
    animal
        Its name.
    solid, dashed
        Whole homes there is room for now; homes more that are possible, or that nobody has seen
        yet. Together ten at most.
    more
        Whether there are more than are drawn.
    about
        How many, in words.
    """

    animal: str
    solid: int
    dashed: int
    more: bool
    about: str


@dataclass(frozen=True, slots=True)
class Story:
    """What a page says first.

    Attributes
    ----------
    headline, why
        A sentence each; why may be empty.
    things
        What would help most.
    rooms
        Room for each animal, fewest first.
    lead
        Which thing answers the headline, where that is not the first, and why another comes
        before it; may be empty.
    note
        What to know of how the things were found; may be empty.
    homes
        What a home is of each animal whose homes are told with the things, and that they were
        not counted; empty where none are told.
    """

    headline: str
    why: str
    things: tuple[StoryThing, ...]
    rooms: tuple[Room, ...]
    note: str = ""
    lead: str = ""
    homes: str = ""


def story(most_help: MostHelp, assessment: Assessment) -> Story:
    """Say what is wrong in a neighbourhood and what would help most.

    Parameters
    ----------
    most_help
        The facts, from `patchnet.plan.most_help.most_help`.
    assessment
        The answer that they are of.

    Returns
    -------
    Story
        Plain texts, in the language of this process.
    """
    know = assessment.knowledge
    names = plot_names(
        assessment.neighbourhood, [plot for one in most_help.things for plot in one.plots]
    )
    things = tuple(
        _thing(number, one, names, assessment) for number, one in enumerate(most_help.things, 1)
    )
    rooms = [room_of(know.groups[one.group].name, one.homes) for one in most_help.rooms]
    order = sorted(
        range(len(rooms)), key=lambda at: (most_help.rooms[at].homes.mean, rooms[at].animal)
    )
    note = ""
    if most_help.finding.plots and not things and not most_help.public:
        note = _("No single thing on one plot would make much of a difference here.")
    elif not most_help.judged and any(one.kind == "add" for one in most_help.things):
        note = _("There are many plots here, so these things are estimates, told without figures.")
    return Story(
        _headline(most_help, know),
        _why(most_help, know),
        things,
        tuple(rooms[at] for at in order),
        note,
        _lead(most_help, know),
        _homes(most_help, know),
    )


def begin_with(most_help: MostHelp, plot: str, know: Knowledge) -> list[StoryThing]:
    """Say what one plot might begin with, best first; nothing where nothing was found.

    Parameters
    ----------
    most_help
        The facts.
    plot
        Its id.
    know
        For names and cautions.
    """
    told = []
    for number, one in enumerate(most_help.on_plots.get(plot, ()), 1):
        sort = know.features[one.feature].sort
        title = (_DO_HERE[sort] if sort in _DO_HERE else _("Make {thing}.")).format(
            thing=know.sitings[one.feature].said
        )
        amount = amount_words(one.feature, one.amount, know)
        words = _("{amount}.").format(amount=capital_first(amount)) if amount else ""
        told.append(
            StoryThing(number, title, words, _takes(one, know), one.plots, None, _mind(one, know))
        )
    return told


def _mind(one: Thing, know: Knowledge) -> tuple[str, ...]:
    """Whom to ask first, and every caution once."""
    cautions = [] if one.kind == "doors" else [know.cautions[key].brief for key in one.cautions]
    return (*asked_words(one.asks), *dict.fromkeys(cautions))


def room_of(animal: str, homes: Spread) -> Room:
    """Draw room for an animal as houses.

    Parameters
    ----------
    animal
        Its name.
    homes
        Homes, and between what.

    Examples
    --------
    >>> room_of("Wren", Spread(2.4, 1.0, 4.6))
    Room(animal='Wren', solid=2, dashed=3, more=False, about='about 2')
    >>> room_of("Wren", Spread(0.3, 0.1, 0.9)).about, room_of("Moth", Spread(270, 200, 400)).more
    ('not even one yet', True)
    """
    now, most = _whole(homes.mean), max(_whole(homes.high), _whole(homes.mean))
    solid = min(now, _DRAWN)
    dashed = min(most, _DRAWN) - solid
    about = _("about {n}").format(n=figure(now)) if now else _("not even one yet")
    return Room(animal, solid, dashed, most > _DRAWN, about)


def _whole(homes: float) -> int:
    return int(homes + 0.5)


def plot_names(neighbourhood: Neighbourhood, plots: Sequence[str]) -> dict[str, str]:
    """Return what plots are called on a map: the label, after the street where it says too little.

    Parameters
    ----------
    neighbourhood
        The street.
    plots
        Ids.
    """
    table = neighbourhood.plots
    labels = column_of(neighbourhood, "label").str.strip().tolist()
    streets = column_of(neighbourhood, "street").str.strip().tolist()
    often = Counter(labels)
    names = {}
    for plot in plots:
        row = int(table.index.get_loc(plot))
        name, street = labels[row] or str(plot), streets[row]
        bare = name[:1].isdigit() or often[labels[row]] > 1
        names[plot] = f"{street} {name}" if bare and street and street not in name else name
    return names


def stretch_words(stretch: Stretch) -> str:
    """A part of a street, inside a sentence.

    Parameters
    ----------
    stretch
        One of a street that has a name.
    """
    return _PARTS[stretch.part].format(street=stretch.street)


def _animal(key: str, know: Knowledge) -> str:
    return _("the {group_name}").format(group_name=_lower(know.groups[key].name))


def _lower(name: str) -> str:
    return in_sentence(name[:1]) + name[1:]


def _animals(keys: Sequence[str], know: Knowledge) -> str:
    return listed([_animal(key, know) for key in keys[:_SAID]])


def _resource(lack: Lack, know: Knowledge, *, months: tuple[int, ...] = ()) -> str:
    """What is short, without what stands in brackets; with its season or months."""
    name = re.sub(r"\s*\(.*\)", "", know.resources[lack.resource].name)
    if not lack.season:
        return name
    if months and len(months) <= _SAID:
        said = listed([MONTH_NAMES[month - 1] for month in months])
        return _("{resource} in {months}").format(resource=name, months=said)
    return _SEASONS[lack.season].format(resource=name)


def _headline(most_help: MostHelp, know: Knowledge) -> str:
    finding = most_help.finding
    if finding.kind == "broken":
        return _stopped(finding, know)
    if finding.kind == "short":
        return _short(finding, know)
    if finding.kind == "bare" and len(most_help.rooms) == 1:
        animal = _animal(most_help.rooms[0].group, know)
        return _("Not even one home here for {animal}.").format(animal=animal)
    kind: str = finding.kind
    if kind == "unseen" and finding.unseen < finding.plots:
        kind = "seldom"
    elif kind == "enough" and most_help.public:
        kind = "coarse"
    return _HEADLINES[kind]


def _stopped(finding: Finding, know: Knowledge) -> str:
    animals = _animals([one.group for one in finding.animals], know)
    if finding.stretch is None:
        words = _("On the way through here {animals} cannot get on.")
        if not finding.sure:
            words = _("On the way through here {animals} perhaps cannot get on.")
        return words.format(animals=animals)
    where = stretch_words(finding.stretch)
    if finding.cover and finding.sure:
        return _("{where} is mostly {cover}: {animals} cannot get past.").format(
            where=capital_first(where), cover=_cover(finding, know), animals=animals
        )
    words = _("{animals} cannot get past {where}.")
    if not finding.sure:
        words = _("{animals} perhaps cannot get past {where}.")
    return capital_first(words.format(animals=animals, where=where))


def _cover(finding: Finding, know: Knowledge) -> str:
    return _lower(know.features[finding.cover].name)


def _short(finding: Finding, know: Knowledge) -> str:
    lack = finding.lack
    assert lack is not None  # noqa: S101 - `_headline` has looked
    months = finding.animals[0].months
    resource = _resource(lack, know, months=months)
    animals = _animals([one.group for one in finding.animals], know)
    where = "" if finding.stretch is None else stretch_words(finding.stretch)
    if where and finding.cover:
        words = _("{where} is mostly {cover}: not enough {resource}.")
        if not finding.sure:
            words = _("{where} is mostly {cover}: perhaps not enough {resource}.")
        return words.format(
            where=capital_first(where), cover=_cover(finding, know), resource=_resource(lack, know)
        )
    if not finding.sure:
        return _("Perhaps not enough {resource} for {animals}.").format(
            resource=resource, animals=animals
        )
    if where:
        words = _("Not enough {resource} for {animals}, least in {where}.")
        said = words.format(resource=resource, animals=animals, where=where)
        if len(said) <= _LONG:
            return said
    return _("Not enough {resource} for {animals}.").format(resource=resource, animals=animals)


def _why(most_help: MostHelp, know: Knowledge) -> str:
    finding, lack = most_help.finding, most_help.finding.lack
    if finding.kind == "unseen":
        words = _("{unseen} of {plots} plots have not been seen: what they have is only assumed.")
        return words.format(unseen=finding.unseen, plots=finding.plots)
    if finding.kind == "enough" and most_help.public:
        return ""
    if finding.kind == "enough":
        return _("More of any one thing would not make room for many more homes.")
    if lack is not None:
        return _won_by(most_help, lack, know)
    return _("Whatever is planted here is a start.") if finding.kind == "bare" else ""


def _won_by(most_help: MostHelp, lack: Lack, know: Knowledge) -> str:
    """What would win most, and what comes next."""
    finding = most_help.finding
    first = _helps(lack, [one.group for one in finding.animals], know)
    other = next((one for one in most_help.lacks if one is not lack), None)
    if other is None or finding.kind == "bare":
        words = _("It would take {first}.")
        if not finding.sure:
            words = _("It may take {first}: we cannot tell for sure yet.")
        return words.format(first=first)
    second = _helps(other, [one.group for one in other.animals], know)
    words = _("Over the whole map, most would be won by {first}; next comes {second}.")
    if lack.broken:
        words = _("Most would be won by {first}; next comes {second}.")
    if not finding.sure:
        words = _("{first}, or {second}: we cannot tell yet which would help more.")
    elif any(one.often is not None for one in (*finding.animals, *other.animals)):
        words = _("Sure to help: {first}. Perhaps also {second}.")
    elif lack is not most_help.lacks[0]:
        words = _("Would help: {first}, and {second}.")
    return capital_first(words.format(first=first, second=second))


def _lead(most_help: MostHelp, know: Knowledge) -> str:
    """What the headline has to do with the first thing, where that does not say it itself."""
    lack = most_help.finding.lack
    made = [one for one in most_help.things if one.kind in {"add", "gap"}]
    if lack is None or lack.broken or not made or made[0].lack is not None:
        return ""
    resource = _resource(lack, know, months=lack.animals[0].months if lack.season else ())
    number = next((at for at, one in enumerate(made, 1) if one.lack is not None), None)
    if number is None:
        words = _("One plot alone cannot give enough {resource}: this helps most besides.")
        return words.format(resource=resource)
    return _(
        "Thing {number} gives {resource}. Thing 1 comes first: as far as we can reckon, no other "
        "single thing does more for all animals together."
    ).format(number=number, resource=resource)


def _homes(most_help: MostHelp, know: Knowledge) -> str:
    """What a home is, for the animals whose homes `_wins` tells."""
    told = [one.animals[0] for one in most_help.things if one.animals and _in_figures(one)]
    keys = list(dict.fromkeys(one.group for one in told))
    if not keys:
        return ""
    homes = [
        _("{home} ({animal})").format(
            home=know.groups[key].home_is, animal=_lower(know.groups[key].name)
        )
        for key in keys
    ]
    return _(
        "Homes are worked out from this map; nobody counted animals. A home is room for {homes}."
    ).format(homes=listed(homes))


def _helps(lack: Lack, animals: Sequence[str], know: Knowledge) -> str:
    who = _animals(animals, know)
    if lack.broken:
        if lack.stretch is not None and lack.stretch.street:
            return _("a way past {where} for {animals}").format(
                animals=who, where=stretch_words(lack.stretch)
            )
        return _("a way through for {animals}").format(animals=who)
    months = lack.animals[0].months if lack.season else ()
    return _("more {resource} for {animals}").format(
        animals=who, resource=_resource(lack, know, months=months)
    )


def _thing(number: int, one: Thing, names: dict[str, str], assessment: Assessment) -> StoryThing:
    know = assessment.knowledge
    make = {"add": _added, "gap": _gap, "doors": _doors, "street": _along}[one.kind]
    title, words, small = make(one, names, know)
    return StoryThing(number, title, words, small, one.plots, one.point, _mind(one, know))


def _added(one: Thing, names: dict[str, str], know: Knowledge) -> tuple[str, str, str]:
    sort = know.features[one.feature].sort
    title = (_DO[sort] if sort in _DO else _("Make {thing} at {plot}.")).format(
        thing=know.sitings[one.feature].said, plot=names[one.plots[0]]
    )
    amount = amount_words(one.feature, one.amount, know)
    parts = [_("{amount}.").format(amount=capital_first(amount))] if amount else []
    if one.lack is not None:
        months = one.lack.animals[0].months if one.lack.season else ()
        given = _resource(one.lack, know, months=months)
        parts.append(_("It gives {resource}.").format(resource=given))
    return title, " ".join([*parts, _wins(one, know)]).strip(), _takes(one, know)


def _gap(one: Thing, names: dict[str, str], know: Knowledge) -> tuple[str, str, str]:
    kind = one.barriers[0] if one.barriers else ""
    opened = _("Make a gap")
    if kind in know.barrier_kinds:
        opened = _("Open the {barrier}").format(barrier=know.barrier_kinds[kind].name)
    sides = [names[plot] for plot in one.plots]
    if len(sides) > 1:
        title = _("{opened} between {one} and {other}.").format(
            opened=opened, one=sides[0], other=sides[1]
        )
        ask = _("A hole a hand long, at the ground. Ask both households.")
    else:
        title = _("{opened} at {plot}.").format(opened=opened, plot=sides[0])
        ask = _("A hole a hand long, at the ground. Ask whose it is.")
    return title, _wins(one, know), ask


def _doors(one: Thing, _names: dict[str, str], _know: Knowledge) -> tuple[str, str, str]:
    count = len(one.plots)
    title = ngettext(
        "Tell us about the {n} plot nobody has seen.",
        "Tell us about the {n} plots nobody has seen.",
        count,
    ).format(n=count)
    return title, _("What is missing may already be there."), _("Two minutes: tick what you have.")


def _along(one: Thing, _names: dict[str, str], know: Knowledge) -> tuple[str, str, str]:
    sort, said = know.features[one.feature].sort, know.sitings[one.feature].said
    if one.stretch is not None and one.stretch.street:
        form = _DO_ALONG[sort] if sort in _DO_ALONG else _("Make {thing} somewhere along {street}.")
        title = form.format(thing=said, street=one.stretch.street)
    else:
        title = _("Find a place for {thing}.").format(thing=said)
    lack = one.lack
    words = ""
    if lack is not None:
        words = capital_first(_helps(lack, [each.group for each in lack.animals], know)) + "."
    return title, words, _when(one)


def _wins(one: Thing, know: Knowledge) -> str:
    """Whom it helps, and for the first of them linked homes before and after."""
    if not one.animals:
        return ""
    first = one.animals[0]
    who = _animals([each.group for each in one.animals], know)
    if first.after < _ONE:
        return _("It is a first step for {who}: not one whole home yet.").format(who=who)
    if not _in_figures(one):
        return _("It helps {who} a little.").format(who=who)
    before, _won, after = before_after(first.before, first.won)
    words = _(
        "It helps {who} most. Homes for {first} in its reach: {before} today, {after} with it."
    )
    if one.on_top:
        words = _(
            "It helps {who} most. Homes for {first} in its reach, once the things above are "
            "done: {before}, and {after} with it."
        )
    elif before == "0":
        words = _(
            "It helps {who} most. Homes for {first} in its reach: none today, {after} with it."
        )
    return words.format(who=who, first=_animal(first.group, know), before=before, after=after)


def _in_figures(one: Thing) -> bool:
    """Whether homes are told of the first animal that a thing helps."""
    first = one.animals[0]
    return first.after >= _ONE and first.won >= _LITTLE * first.before


def _takes(one: Thing, know: Knowledge) -> str:
    parts = []
    if one.cost is not None:
        low, high = (figure(end) for end in one.cost)
        unit = currency(know)
        if one.cost[1] <= know.settings["cost_none"].high:
            parts.append(_("costs next to nothing"))
        else:
            parts.append(_("about {low} to {high} {unit}").format(low=low, high=high, unit=unit))
    if one.hours:
        parts.append(_("about {hours} of work").format(hours=hours_words(max(1, round(one.hours)))))
    parts.append(_when(one))
    return capital_first(" · ".join(parts))


def _when(one: Thing) -> str:
    months = month_spans(one.months)
    return _("any month") if len(set(one.months)) == 12 else months
