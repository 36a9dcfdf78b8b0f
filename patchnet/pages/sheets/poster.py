"""The poster for the noticeboard: what is wrong with the street, drawn, and what to do about it."""

from pathlib import Path
from typing import Literal

import shapely

from patchnet.assess.assessment import Assessment
from patchnet.core.files import ensure_may_write, write_text
from patchnet.core.texts import _, ngettext
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.garden_drawing import GARDEN_STYLE, GardenDrawing, garden_legend
from patchnet.pages.kit.inline import asset
from patchnet.pages.kit.page import sheet
from patchnet.pages.kit.place_name import place_name
from patchnet.pages.kit.story_words import Story, story
from patchnet.pages.kit.templates import Markup
from patchnet.pages.kit.to_scale import fitting_paper
from patchnet.pages.privacy import assessment_for
from patchnet.pages.public_view import public_ground
from patchnet.plan.most_help import most_help
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.survey.release import Released

__all__ = [
    "poster",
    "poster_style",
    "shown_words",
    "street_drawing",
    "write_poster",
]

# Of A4 and A3: width and height of the drawing and height of the page inside its margins, mm, and
# the size of ordinary letters, pt: A3 is the same page, seen from a step further away.
_SHEETS = {False: (180, 100, 272, 10.0), True: (267, 155, 395, 14.5)}
_ROOMS = 9  # animals whose room is drawn


def write_poster(
    assessment: Assessment,
    path: Path | str,
    *,
    audience: Literal["public", "group"] = "public",
    released: Released | None = None,
    title: str | None = None,
    meet: str = "",
    a3: bool = False,
    overwrite: bool = False,
) -> Path:
    """Write a poster for the noticeboard, one page to print, and return the path.

    Parameters
    ----------
    assessment
        The answers; what its audience may not see is left out before anything is worked out.
    path
        The file; its folder must be there.
    audience
        ``"public"``: from the released classes alone. ``"group"``: with every plot that did not
        say no; it says in its head that it is not for the lamp post.
    released
        For the public, where the answers are not for the public yet: the table that may be told,
        as in `patchnet.for_audience`.
    title
        Name of the place; None: its streets.
    meet
        When and where people meet; empty: no such line.
    a3
        Whether it is A3, not A4.
    overwrite
        Also replace a file that patchnet did not make.

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    WrongUse
        If it is for the public and there is no table, or every animal is one that is shown to
        nobody.
    CannotWrite
        If it cannot be written, or a file that patchnet did not make stands there.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren", "robin"])
    >>> patchnet.write_poster(answer, "poster.html", audience="group", meet="Saturday 10 am").name
    'poster.html'
    """
    answer = assessment_for(assessment, audience, released=released)
    ensure_may_write(path, overwrite=overwrite)
    write_text(path, poster(answer, title=title, meet=meet, a3=a3))
    return Path(path)


def poster(
    assessment: Assessment, *, title: str | None = None, meet: str = "", a3: bool = False
) -> str:
    """Return the poster as HTML text: for whom its answers are, `write_poster` has seen to.

    Parameters
    ----------
    assessment
        Answers for the group or the public.
    title, meet, a3
        As for `write_poster`.
    """
    hood, knowledge = assessment.neighbourhood, assessment.knowledge
    told = story(most_help(assessment), assessment)
    drawing, drawn = street_drawing(assessment, told, a3=a3)
    more = len(told.rooms) - _ROOMS
    place = title or place_name(hood)
    return sheet(
        "sheets/poster.html",
        title=_("{place}: what would help").format(place=place),
        style=poster_style(a3=a3),
        place=place,
        public=hood.audience == "public",
        story=told,
        things=[
            (one, [words for words in (one.small, *one.cautions) if words]) for one in told.things
        ],
        do=_do(len(told.things)),
        drawing=drawn,
        legend=garden_legend(drawing.kinds),
        rooms=told.rooms[:_ROOMS],
        more_rooms=ngettext(
            "{n} more animal was worked out.", "{n} more animals were worked out.", more
        ).format(n=more)
        if more > 0
        else "",
        meet=meet,
        shown=shown_words(hood, knowledge),
        credits="; ".join(hood.credits),
    )


def street_drawing(
    assessment: Assessment, told: Story, *, a3: bool
) -> tuple[GardenDrawing, Markup]:
    """Draw the street for a poster, with the numbers of what to do where a place may be told.

    Parameters
    ----------
    assessment
        Answers for the group or the public.
    told
        What the page says.
    a3
        Whether it is for A3.
    """
    hood = assessment.neighbourhood
    public = hood.audience == "public"
    wide, high, *_rest = _SHEETS[a3]
    shown = public_ground(hood) if public else hood
    ground = shapely.union_all(shapely.envelope(shown.plots.geometry.to_numpy()))
    paper = fitting_paper(ground, wide_mm=wide, high_mm=high, margin_mm=4, step=50)
    drawing = GardenDrawing(shown, assessment.knowledge, paper)
    for thing in told.things:
        if thing.point is not None and not public:
            drawing.mark(thing.number, thing.point)
    return drawing, drawing.svg(title=_("Plan of the gardens"), to_scale=False)


def poster_style(*, a3: bool) -> str:
    """Return the style sheet of a poster: the drawing takes the room that the words leave.

    Parameters
    ----------
    a3
        Whether it is for A3.
    """
    *_rest, high, letters = _SHEETS[a3]
    size = "A3" if a3 else "A4"
    return "".join(
        (
            asset("kit/paper.css"),
            GARDEN_STYLE,
            asset("sheets/poster.css"),
            f"@page {{ size: {size}; margin: 12mm 15mm; }}\n",
            f"@media print {{ html {{ font-size: {letters:g}pt; }}\n",
            f".poster {{ height: {high}mm; }} }}\n",
        )
    )


def _do(things: int) -> str:
    if things == 0:
        return _("What to do")
    return _("Do this") if things == 1 else _("Do one of these")


def shown_words(hood: Neighbourhood, knowledge: Knowledge) -> str:
    """What of the gardens is shown, and of whom.

    Parameters
    ----------
    hood
        For the group or the public.
    knowledge
        For how many households a figure is of at least.
    """
    if hood.audience != "public":
        return _("Plots whose household said no are drawn as not seen.")
    return _(
        "Gardens are drawn together and plain, never one household's: all figures are of at least "
        "{least} households."
    ).format(least=int(knowledge.setting("public_households_min")))
