"""The drawing on a plot's card: its garden to scale, with where the new things go."""

from dataclasses import replace

import numpy as np
import shapely

from patchnet.assess.assessment import Assessment
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.garden_drawing import GardenDrawing
from patchnet.pages.kit.placing_words import kept_words, place_notes
from patchnet.pages.kit.plan_parts import draw_marked
from patchnet.pages.kit.templates import Markup
from patchnet.pages.kit.to_scale import Paper, fitting_paper
from patchnet.pages.sheets.moving import movable
from patchnet.plan.placed import Places
from patchnet.plan.plot_plan import PlotPlan
from patchnet.read.neighbourhood import Answers, Neighbourhood

__all__ = ["WIDE_MM", "kept_lines", "plot_drawing", "plot_key"]

WIDE_MM, _HIGH_MM = 84, 92
_RING_MM = 6  # what is smaller than this carries its number beside it
_AROUND_M = 5.0  # beyond the paper: what lies across its edge is drawn, too


def plot_drawing(plan: PlotPlan, assessment: Assessment) -> tuple[GardenDrawing, Markup]:
    """Draw a plot to scale as a garden plan, with what is new and what is kept free.

    Parameters
    ----------
    plan
        With its places.
    assessment
        For the neighbourhood.

    Returns
    -------
    tuple
        The drawing with its paper and kinds, and the drawing as markup.
    """
    hood, knowledge = assessment.neighbourhood, assessment.knowledge
    plot = hood.plots.geometry.loc[plan.plot]
    paper = fitting_paper(plot, wide_mm=WIDE_MM, high_mm=_HIGH_MM, margin_mm=3)
    drawing = GardenDrawing(_near(hood, paper), knowledge, paper)
    drawing.choose(plot)
    for part in _placed(plan, paper, knowledge):
        drawing.add(part)
    title = _("Plan of plot {plot}, 1 to {scale}").format(plot=plan.plot, scale=paper.scale)
    return drawing, drawing.svg(title=title, bar_mm=30)


def _near(hood: Neighbourhood, paper: Paper) -> Neighbourhood:
    """The plots that the paper shows: the rest need not be laid out."""
    window = shapely.buffer(paper.window(), _AROUND_M)
    rows = np.sort(hood.plots.sindex.query(window, predicate="intersects"))
    plots, known = hood.plots.iloc[rows], hood.answers
    return replace(
        hood,
        plots=plots,
        answers=Answers(
            plots.index, known.features, known.amount[rows], known.sized[rows], known.sure[rows]
        ),
        features=hood.features[hood.features["plot"].isin(plots.index)],
    )


def _placed(plan: PlotPlan, paper: Paper, knowledge: Knowledge) -> list[Markup]:
    """Where the new things go, with their numbers, and what is kept free, with letters."""
    places = plan.places
    if places is None:
        return []
    parts = []
    if not places.way.is_empty:
        parts.append(paper.path(places.way, css="way", label=_("Kept free: the way to the door")))
    for one, letter in zip(places.kept, _letters(places), strict=True):
        if letter:
            name = knowledge.keep_uses[one.thing].name
            parts.append(_mark(paper, one.geometry, letter, "kept", name))
    numbers = (
        {}
        if plan.best is None
        else {one.candidate.feature: at for at, one in enumerate(plan.best.additions, 1)}
    )
    for at, one in enumerate(movable(places)):
        name = knowledge.features[one.thing].name
        parts.append(_mark(paper, one.geometry, numbers[one.thing], "new", name, thing=at))
    return parts


def _letters(places: Places) -> list[str]:
    """A letter for each use that stays and is drawn by itself; none for the way to the door."""
    drawn = [one.geometry is not None and bool(one.part) for one in places.kept]
    return [chr(65 + sum(drawn[:at])) if there else "" for at, there in enumerate(drawn)]


def plot_key(places: Places | None, knowledge: Knowledge, *, laid: bool = False) -> str:
    """What letters and dots on the drawing stand for, in a few words.

    Parameters
    ----------
    places
        Of the plan.
    knowledge
        For the names of uses.
    laid
        Whether anything on the plot is drawn where it need not be.
    """
    laid_words = [_("Where each ground lies is not known.")] if laid else []
    if places is None:
        return " ".join(laid_words)
    words = [
        _("{letter}: {use}, kept.").format(letter=letter, use=knowledge.keep_uses[one.thing].name)
        for one, letter in zip(places.kept, _letters(places), strict=True)
        if letter
    ]
    if not places.way.is_empty:
        words.append(_("Dotted: the way to the door."))
    return " ".join([*words, *laid_words])


def kept_lines(places: Places | None, knowledge: Knowledge) -> list[str]:
    """What is kept free and where, and what is not known of the places, in full.

    Parameters
    ----------
    places
        Of the plan.
    knowledge
        For the names of uses.
    """
    if places is None:
        return []
    said = [
        f"{letter}: {words}" if letter else words
        for letter, words in zip(_letters(places), kept_words(places, knowledge), strict=True)
    ]
    return [*said, *place_notes(places)]


def _mark(
    paper: Paper,
    shape: shapely.Geometry | None,
    number: object,
    css: str,
    name: str,
    *,
    thing: int | None = None,
) -> Markup:
    if shape is None:
        return Markup()
    points = paper.mm(shapely.get_coordinates(shape))
    x, y = float(points[:, 0].mean()), float(points[:, 1].mean())
    if shapely.get_dimensions(shape) == 2 and np.ptp(points, axis=0).min() < _RING_MM:
        # It would lie under its own number: that stands at its corner.
        x, y = float(points[:, 0].max()) + 1, float(points[:, 1].min()) - 1
    drawn = paper.path(shape, css=css, label=name) if shapely.get_dimensions(shape) else ""
    return draw_marked(thing, drawn, x, y, number)
