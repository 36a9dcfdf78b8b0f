"""Where things go on the plot, in words."""

from patchnet.core.language_forms import capital_first, in_sentence, without_noughts
from patchnet.core.texts import N_, Words, _, counted
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.candidate_words import place_words
from patchnet.pages.kit.numbers import MONTH_NAMES, figure
from patchnet.plan.placed import Placed, Places, SunThere
from patchnet.plan.plot_plan import Candidate, PlotPlan

__all__ = [
    "HAND_WORDS",
    "kept_words",
    "metres_words",
    "not_put_words",
    "place_notes",
    "placed_sentence",
    "position_words",
    "put_words",
    "sun_there_words",
    "where_sentence",
    "where_words",
]

_LITTLE_H = 0.25  # hours of sun; less is none
_NEAR_M = 0.3  # nearer than this is at it
_SAID_BY_PLACE = ("under", "habit")  # `place_words` says all there is to say of these
_PACED_M = 10.0  # from here on to the metre

_LACKS: Words[str, str] = Words(
    {
        "sun": N_("less sun than it wants"),
        "shade": N_("more sun than it wants"),
        "aspect": N_("no free wall faces the way it should"),
        "house": N_("the house is not as far as it should be"),
        "boundary": N_("the boundary is not as far as it should be"),
        "tree": N_("a tree is nearer than it should be"),
        "cover": N_("cover is not as far as it should be"),
    }
)
HAND_WORDS: Words[str, str] = Words(
    {
        "put": N_("Where you put it: {facts}."),
        "sun": N_("about {hours} hours of sun in {month}"),
        "house": N_("{metres} from the house"),
        "boundary": N_("{metres} from the boundary"),
        "metres": N_("{metres} m"),
        "outside": N_("Not here: that is not on the plot."),
        "house_in_way": N_("Not here: the house is in the way."),
        "way_in_way": N_("Not here: this is the way to the door."),
        "thing_in_way": N_("Not here: something else is in the way."),
        "back": N_("Put back: {name}"),
        "hand": N_("{name}: drag it, or move it with the arrow keys"),
        "was_back": N_("{name} is back. {where}"),
        "at_wall": N_("on the {wall}"),
    }
)
"""Words of the card's script, for what is moved by hand."""


def put_words(
    candidate: Candidate, plan: PlotPlan, knowledge: Knowledge, *, every: bool = True
) -> str:
    """Where a thing of the best set goes; where that is not known, what it goes on.

    Parameters
    ----------
    candidate
        The thing.
    plan
        With its places.
    knowledge
        For what the thing wants.
    every
        All that is known, the sun of midwinter too; else the part of the plot, the sun, and the
        first distance.
    """
    there = None if plan.places is None else plan.places.of(candidate.feature)
    if there is None or there.geometry is None:
        return place_words(candidate)
    return where_words(there, knowledge, every=every, winter=every)


def not_put_words(candidate: Candidate, plan: PlotPlan) -> str:
    """Why no place is known for a thing; empty where one is.

    Parameters
    ----------
    candidate
        The thing.
    plan
        With its places.
    """
    there = None if plan.places is None else plan.places.of(candidate.feature)
    return "" if there is None or candidate.place in _SAID_BY_PLACE else there.why_not


def where_words(
    there: Placed, knowledge: Knowledge, *, every: bool = True, winter: bool = False
) -> str:
    """Where a thing goes, and the facts that speak for it, as part of a sentence.

    Parameters
    ----------
    there
        Its place.
    knowledge
        For what it wants.
    every
        All that is known; else the part of the plot, the sun, and the first distance.
    winter
        The sun of midwinter too.
    """
    if there.geometry is None:
        return there.why_not
    if there.is_use:
        return _use_words(there, knowledge)
    facts = [*_told_of(there, knowledge), *_distances(there)]
    parts = [
        position_words(there, every=every),
        *(sun_there_words(one) for one in there.sun[: 2 if winter else 1]),
    ]
    return _with_lacks(", ".join([*parts, *(facts if every else facts[:1])]), there)


def _use_words(there: Placed, knowledge: Knowledge) -> str:
    """Where ground is kept for a use: its sun, if it wants some, and how far from the house."""
    wanted = knowledge.keep_uses[there.thing].sun
    parts = [position_words(there, every=True)]
    if there.seat_hours is not None and there.sun:
        said = figure(there.seat_hours)
        words = (
            _("{hours} of morning sun in {month}")
            if wanted == "morning"
            else _("{hours} of evening sun in {month}")
        )
        hours = counted(1 if said == "1" else 2, "hour", said=said)
        parts.append(words.format(hours=hours, month=MONTH_NAMES[there.sun[0].month - 1]))
    return _with_lacks(", ".join([*parts, *_distances(there)[:1]]), there)


def _with_lacks(words: str, there: Placed) -> str:
    lacks = [_LACKS[one] for one in there.lacks]
    return f"{words} ({'; '.join(lacks)})" if lacks else words


def where_sentence(
    candidate: Candidate, there: Placed | None, knowledge: Knowledge, *, every: bool = True
) -> str:
    """Where a thing goes, as a sentence; what it goes on where no place was looked for.

    Parameters
    ----------
    candidate
        The thing.
    there
        Its place; None: none was looked for.
    knowledge
        For what the thing wants.
    every
        As for `where_words`.
    """
    if there is None or candidate.place in _SAID_BY_PLACE:
        return f"{capital_first(place_words(candidate))}."
    return placed_sentence(there, knowledge, every=every)


def placed_sentence(there: Placed, knowledge: Knowledge, *, every: bool = True) -> str:
    """Where a thing goes, as a sentence.

    Parameters
    ----------
    there
        Its place.
    knowledge
        For what it wants.
    every
        As for `where_words`.
    """
    words = where_words(there, knowledge, every=every).rstrip(".")
    return f"{capital_first(words)}."


def _distances(there: Placed) -> list[str]:
    """How far from the house and the boundary, as far as its position does not say it."""
    parts = []
    if there.house_m is not None and not there.faces:
        parts.append(
            _("by the house")
            if there.house_m < _NEAR_M
            else _("{metres} from the house").format(metres=metres_words(there.house_m))
        )
    if there.boundary_m is not None and there.boundary_m >= _NEAR_M and not there.at_wall:
        parts.append(_("{metres} from the boundary").format(metres=metres_words(there.boundary_m)))
    return parts


def _told_of(there: Placed, knowledge: Knowledge) -> list[str]:
    """What of bushes, trees, the seat and low ground the thing has a wish about."""
    wants = knowledge.placings.get(there.thing)
    parts: list[str] = []
    if wants is None:
        return parts
    if wants.cover_least is not None and there.cover_m is not None:
        bush = in_sentence(knowledge.features[there.cover].name.split(" (")[0])
        parts.append(
            _("{metres} from cover ({bush})").format(metres=metres_words(there.cover_m), bush=bush)
        )
    if wants.tree_least is not None and there.tree_m is not None:
        parts.append(_("{metres} from a tree").format(metres=metres_words(there.tree_m)))
    if wants.in_view and there.seat_m is not None:
        words = (
            _("{metres} from the seat and seen from it")
            if there.in_view
            else _("{metres} from the seat, not seen from it")
        )
        parts.append(words.format(metres=metres_words(there.seat_m)))
    if wants.low and there.low:
        parts.append(_("where the ground is low"))
    return parts


def metres_words(length: float) -> str:
    """A length as one would pace it: to 10 cm, from 10 m on to the metre.

    Parameters
    ----------
    length
        Metres.

    Examples
    --------
    >>> metres_words(0.53), metres_words(3.04), metres_words(12.4)
    ('0.5 m', '3 m', '12 m')
    """
    words = without_noughts(length, 0 if length >= _PACED_M else 1)
    return _("{metres} m").format(metres=words)


def position_words(there: Placed, *, every: bool) -> str:
    """Which part of the plot, and which wall.

    Parameters
    ----------
    there
        Its place.
    every
        The height too, and which part of the plot the wall is at.
    """
    if there.faces:
        words = _("on the {aspect}-facing {wall} {part}").format(
            aspect=there.faces, wall=there.at_wall, part=there.part
        )
        if not every:
            words = _("on the {aspect}-facing {wall}").format(
                aspect=there.faces, wall=there.at_wall
            )
        if there.height_m is None or not every:
            return words
        low, high = there.height_m
        return _("{where}, {low} to {high} m up").format(
            where=words, low=figure(low), high=figure(high)
        )
    if there.at_wall:
        return _("along the {edge} {part}").format(edge=_(there.at_wall), part=there.part)
    return there.part


def sun_there_words(sun: SunThere) -> str:
    """When the sun is there in a month.

    Parameters
    ----------
    sun
        The sun there, hours by the sun.

    Examples
    --------
    >>> sun_there_words(SunThere(5, 6.1, 9.9, 16.0))
    'in the sun from 10 to 16 in May'
    >>> sun_there_words(SunThere(12, 0.0, None, None))
    'no sun in December'
    """
    month = MONTH_NAMES[sun.month - 1]
    if sun.hours < _LITTLE_H:
        return _("no sun in {month}").format(month=month)
    if sun.from_h is None or sun.to_h is None or round(sun.from_h) == round(sun.to_h):
        hours = counted(1 if figure(sun.hours) == "1" else 2, "hour", said=figure(sun.hours))
        return _("{hours} of sun in {month}").format(hours=hours, month=month)
    return _("in the sun from {first} to {last} in {month}").format(
        first=round(sun.from_h), last=round(sun.to_h), month=month
    )


def kept_words(places: Places, knowledge: Knowledge, *, every: bool = True) -> list[str]:
    """Where ground is kept for the uses that stay, a line each.

    Parameters
    ----------
    places
        Of the plan.
    knowledge
        For the names of the uses.
    every
        As for `where_words`.
    """
    return [
        _("Kept free, {use}: {where}.").format(
            use=knowledge.keep_uses[one.thing].name,
            where=where_words(one, knowledge, every=every).rstrip(".")
            if one.part or one.geometry is None
            else _("the way to the house"),
        )
        for one in places.kept
    ]


def place_notes(places: Places, *, every: bool = True) -> list[str]:
    """What is not known of the places, and how hours are counted.

    Parameters
    ----------
    places
        Of the plan.
    every
        All of it; else what must be looked at on the ground.
    """
    notes = list(places.notes if every else places.notes[:1])
    if any(one.sun for one in (*places.placed, *places.kept)):
        notes.append(_("At 12 the sun is highest."))
    return notes
