"""The notice for residents: one page with what is known of the street, and one wish.

It is for everybody, so it is made from what may be told in public, and from nothing else.
"""

from pathlib import Path
from typing import Any

from patchnet.assess.assessment import Assessment
from patchnet.core.errors import WrongUse
from patchnet.core.files import ensure_may_write, write_bytes, write_text
from patchnet.core.texts import _, ngettext
from patchnet.pages.kit.garden_drawing import GardenDrawing, garden_legend
from patchnet.pages.kit.page import sheet
from patchnet.pages.kit.place_name import place_name
from patchnet.pages.kit.story_words import Room, Story, story
from patchnet.pages.kit.templates import Markup
from patchnet.pages.privacy import assessment_for
from patchnet.pages.sheets.notice_picture import notice_picture
from patchnet.pages.sheets.poster import poster_style, shown_words, street_drawing
from patchnet.plan.most_help import most_help
from patchnet.survey.release import Released

__all__ = ["PICTURE", "facts_of", "residents_notice", "residents_picture", "write_notice"]

PICTURE = ".png"
"""The ending of a notice that is a picture."""

_FACTS = 3


def write_notice(
    assessment: Assessment,
    path: Path | str,
    *,
    released: Released | None = None,
    title: str | None = None,
    meet: str = "",
    overwrite: bool = False,
) -> Path:
    """Write a notice for residents, one page with three facts and one wish; return the path.

    Parameters
    ----------
    assessment
        The answers, for the public.
    path
        The file; its folder must be there. Where it ends in ``.png`` it is a picture for
        messengers, else an A4 page as HTML.
    released
        Where the answers are not for the public yet: the table that may be told, as in
        `patchnet.for_audience`.
    title
        Name of the place; None: its streets.
    meet
        When and where people meet; empty: no such line.
    overwrite
        Also replace a file that patchnet did not make.

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    WrongUse
        If there is no table, or every animal is one that is shown to nobody.
    CannotWrite
        If it cannot be written, or a file that patchnet did not make stands there.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> patchnet.write_notice(answer, "notice.html")
    Traceback (most recent call last):
    ...
    patchnet.core.errors.WrongUse: What is for the public is made from the table of its ...
    """
    answer = assessment_for(assessment, "public", released=released)
    ensure_may_write(path, overwrite=overwrite)
    if Path(path).suffix.lower() == PICTURE:
        write_bytes(path, residents_picture(answer, title=title, meet=meet))
    else:
        write_text(path, residents_notice(answer, title=title, meet=meet))
    return Path(path)


def residents_notice(assessment: Assessment, *, title: str | None = None, meet: str = "") -> str:
    """Return the notice as HTML text.

    Parameters
    ----------
    assessment
        Answers for the public.
    title, meet
        As for `write_notice`.

    Raises
    ------
    WrongUse
        If the answers are for anybody else.
    """
    told, drawing, drawn = _told(assessment, title=title, meet=meet)
    return sheet(
        "sheets/residents_notice.html",
        title=_("{place}: to everybody who lives here").format(place=told["place"]),
        style=poster_style(a3=False),
        drawing=drawn,
        legend=garden_legend(drawing.kinds),
        credits="; ".join(assessment.neighbourhood.credits),
        **told,
    )


def residents_picture(assessment: Assessment, *, title: str | None = None, meet: str = "") -> bytes:
    """Return the notice as a picture for messengers, the bytes of a PNG.

    Parameters
    ----------
    assessment, title, meet
        As for `residents_notice`.

    Raises
    ------
    WrongUse
        If the answers are for anybody but the public.
    """
    told, _drawing, drawn = _told(assessment, title=title, meet=meet)
    credit = "; ".join(assessment.neighbourhood.credits)
    return notice_picture({**told, "credits": credit}, drawn)


def _told(
    assessment: Assessment, *, title: str | None, meet: str
) -> tuple[dict[str, Any], GardenDrawing, Markup]:
    """What a notice says, by the names of its templates, and the plan of the street on it."""
    hood = assessment.neighbourhood
    if hood.audience != "public":
        raise WrongUse(_("A notice for residents is made from what may be told in public."))
    told = story(most_help(assessment), assessment)
    drawing, drawn = street_drawing(assessment, told, a3=False)
    first = told.things[0] if told.things else None
    words = {
        "place": title or place_name(hood),
        "to": _("to everybody who lives here"),
        "headline": told.headline,
        "alt": _("Plan of the gardens"),
        "known": _("What we know"),
        "facts": facts_of(told),
        "asked": _("Our one wish"),
        "wish": first.title if first else _("Tell us what is in your garden."),
        "words": first.words if first else _("Two minutes: tick what you have."),
        "notes": [words for words in (first.small, *first.cautions) if words] if first else [],
        "meet": meet,
        "shown": shown_words(hood, assessment.knowledge),
        "no_promise": _("Room for wildlife, not a promise of animals."),
    }
    return words, drawing, drawn


def facts_of(told: Story) -> list[str]:
    """Three facts at most: what would help, for whom there is least room, and for whom most.

    Parameters
    ----------
    told
        What the page says first.
    """
    facts = [told.why] if told.why else []
    if told.rooms:
        facts.append(_("Least room: {room}.").format(room=_room(told.rooms[0])))
    if len(told.rooms) > 1:
        facts.append(_("Most room: {room}.").format(room=_room(told.rooms[-1])))
    return facts[:_FACTS]


def _room(room: Room) -> str:
    if room.solid == 0:
        return _("{animal}, not even one home yet").format(animal=room.animal)
    return ngettext("{animal}, {about} home", "{animal}, {about} homes", room.solid).format(
        animal=room.animal, about=room.about
    )
