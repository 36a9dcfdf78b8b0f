"""Where things go on the plot, in words."""

import math

from patchnet.core.texts import N_, Words, _, counted
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.numbers import MONTH_NAMES, figure
from patchnet.pages.kit.plan_words import place_words
from patchnet.plan.placed import Placed, Places, SunThere
from patchnet.plan.plot_plan import Candidate, PlotPlan

__all__ = [
    "HAND_WORDS",
    "kept_words",
    "not_put_words",
    "place_notes",
    "put_words",
    "sun_there_words",
    "where_words",
]

_LITTLE_H = 0.25  # hours of sun; less is none
_NEAR_M = 0.3  # nearer than this is at it

HAND_WORDS: Words[str, str] = Words(
    {
        "put": N_("Where you put it: {facts}."),
        "sun": N_("about {hours} hours of sun in {month}"),
        "house": N_("{metres} m from the house"),
        "boundary": N_("{metres} m from the boundary"),
        "outside": N_("Not here: that is not on the plot."),
        "house_in_way": N_("Not here: the house is in the way."),
        "way_in_way": N_("Not here: this is the way to the door."),
        "thing_in_way": N_("Not here: something else is in the way."),
        "back": N_("Put back"),
        "hand": N_("{name}: drag it, or move it with the arrow keys"),
        "was_back": N_("{name} is back. {where}"),
        "at_wall": N_("on the {wall}"),
    }
)
"""Words of the card's script, for what is moved by hand."""


def put_words(
    candidate: Candidate, plan: PlotPlan, knowledge: Knowledge, *, winter: bool = False
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
    winter
        Whether the sun of midwinter is told too.
    """
    there = None if plan.places is None else plan.places.of(candidate.feature)
    if there is None or there.geometry is None:
        return place_words(candidate)
    return where_words(there, knowledge, winter=winter)


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
    return "" if there is None else there.why_not


def where_words(there: Placed, knowledge: Knowledge, *, winter: bool = False) -> str:
    """Where a thing goes, and the facts that speak for it, as part of a sentence.

    Parameters
    ----------
    there
        Its place.
    knowledge
        For what it wants.
    winter
        Whether the sun of midwinter is told too.
    """
    if there.geometry is None:
        return there.why_not
    wants = knowledge.placings.get(there.thing)
    parts = [_position(there)]
    parts += [sun_there_words(one) for one in there.sun[: 2 if winter else 1]]
    if there.house_m is not None and not there.faces:
        parts.append(
            _("by the house")
            if there.house_m < _NEAR_M
            else _("{metres} m from the house").format(metres=figure(there.house_m))
        )
    along = bool(there.at_wall)
    if there.boundary_m is not None and there.boundary_m >= _NEAR_M and not along:
        parts.append(
            _("{metres} m from the boundary").format(metres=figure(there.boundary_m))
        )
    if wants is not None and wants.cover_least is not None and there.cover_m is not None:
        bush = knowledge.features[there.cover].name.split(" (")[0].lower()
        parts.append(
            _("{metres} m from cover ({bush})").format(metres=figure(there.cover_m), bush=bush)
        )
    if wants is not None and wants.tree_least is not None and there.tree_m is not None:
        parts.append(_("{metres} m from a tree").format(metres=figure(there.tree_m)))
    if wants is not None and wants.in_view and there.seat_m is not None:
        words = (
            _("{metres} m from the seat and seen from it")
            if there.in_view
            else _("{metres} m from the seat, not seen from it")
        )
        parts.append(words.format(metres=figure(there.seat_m)))
    if wants is not None and wants.low and there.low:
        parts.append(_("where the ground is low"))
    return ", ".join(part for part in parts if part)


def _position(there: Placed) -> str:
    """Which part of the plot, and which wall."""
    if there.faces:
        words = _("on the {aspect}-facing {wall} {part}").format(
            aspect=there.faces, wall=there.at_wall, part=there.part
        )
        if there.height_m is None:
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
    'in the sun from 10 to 16 o\u2019clock in May'
    >>> sun_there_words(SunThere(12, 0.0, float("nan"), float("nan")))
    'no sun in December'
    """
    month = MONTH_NAMES[sun.month - 1]
    if sun.hours < _LITTLE_H:
        return _("no sun in {month}").format(month=month)
    if math.isnan(sun.from_h) or round(sun.from_h) == round(sun.to_h):
        hours = counted(1 if figure(sun.hours) == "1" else 2, "hour", said=figure(sun.hours))
        return _("{hours} of sun in {month}").format(hours=hours, month=month)
    return _("in the sun from {first} to {last} o\u2019clock in {month}").format(
        first=round(sun.from_h), last=round(sun.to_h), month=month
    )


def kept_words(places: Places, knowledge: Knowledge) -> list[str]:
    """Where ground is kept for the uses that stay, a line each.

    Parameters
    ----------
    places
        Of the plan.
    knowledge
        For the names of the uses.
    """
    return [
        _("Kept free, {use}: {where}.").format(
            use=knowledge.keep_uses[one.thing].name,
            where=where_words(one, knowledge).rstrip(".")
            if one.part or one.geometry is None
            else _("the way to the house"),
        )
        for one in places.kept
    ]


def place_notes(places: Places) -> list[str]:
    """What is not known of the places, and how hours are counted.

    Parameters
    ----------
    places
        Of the plan.
    """
    notes = list(places.notes)
    if any(one.sun for one in (*places.placed, *places.kept)):
        notes.append(_("Hours are by the sun, which is highest at 12."))
    return notes
