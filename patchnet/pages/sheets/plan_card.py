"""The plot card: one A4 page with a plan of the plot, the answer, the calendar, the cautions."""

from pathlib import Path

import numpy as np
import shapely

from patchnet.assess.assessment import Assessment
from patchnet.core.errors import WrongUse
from patchnet.core.files import ensure_may_write, write_text
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.doubt_words import drawn_words, often_words, range_words
from patchnet.pages.kit.escape import json_inside_script
from patchnet.pages.kit.inline import asset
from patchnet.pages.kit.move_words import move_lines
from patchnet.pages.kit.numbers import figure
from patchnet.pages.kit.page import script_of, sheet
from patchnet.pages.kit.placing_words import kept_words, place_notes, where_sentence
from patchnet.pages.kit.plan_parts import draw_marked, draw_words
from patchnet.pages.kit.plan_words import (
    CARD_INDEX,
    DEFER,
    STAGE_NAMES,
    amount_words,
    asked_first,
    best_words,
    competition_words,
    cost_words,
    gap_often_words,
    homes_words,
    hours_words,
    in_a_sentence,
    kind_words,
    place_words,
    stage_words,
    there_words,
    thing,
    upkeep_words,
    when_words,
    wish_words,
    would_change_words,
)
from patchnet.pages.kit.planting_calendar import CALENDAR_STYLE, calendar_figure
from patchnet.pages.kit.planting_words import harm_words, how_to_get, planting_notes
from patchnet.pages.kit.reason_words import reasons_words
from patchnet.pages.kit.sun_figure import sun_figure
from patchnet.pages.kit.taking_up_words import taken_up_first
from patchnet.pages.kit.templates import Markup, together
from patchnet.pages.kit.to_scale import Paper, fitting_paper
from patchnet.pages.sheets.moving import movable, moving_payload
from patchnet.plan.placed import Places
from patchnet.plan.plot_plan import PlotPlan, Suggestion
from patchnet.sun.at_plot import PlotSun

__all__ = ["plan_card", "write_card"]

_WIDE_MM, _HIGH_MM = 84, 50
_NAME_MM = 9  # a piece of plot smaller than this, each way, carries no name
_FEW_PLANTS = 8  # of more kinds the calendar is drawn smaller, so that the page holds it
_RING_MM = 6  # what is smaller than this carries its number beside it
_SCRIPTS = ("kit/script/base.js", "sheets/script/places.js")
_SERVED = 4  # groups named for one thing
_CHANGES = 3


def write_card(plan: PlotPlan, path: Path | str, *, overwrite: bool = False) -> Path:
    """Write a plot's plan as a card of one A4 page, and return the path.

    The card is one HTML file that opens and prints without network.

    Parameters
    ----------
    plan
        From `patchnet.plan_plot`.
    path
        The file; its folder must be there.
    overwrite
        Also replace a file that patchnet did not make.

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    WrongUse
        If the plan does not know the answer that it was made from.
    CannotWrite
        If it cannot be written, or a file that patchnet did not make stands there.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["mason_bee"])
    >>> patchnet.write_card(patchnet.plan_plot(answer, "M15B", month=5), "card.html").name
    'card.html'
    """
    if plan.assessment is None:
        raise WrongUse(_("This plan was not made from an assessment, so no card can be drawn."))
    ensure_may_write(path, overwrite=overwrite)
    write_text(path, plan_card(plan, plan.assessment, sun=plan.sun))
    return Path(path)


def plan_card(plan: PlotPlan, assessment: Assessment, *, sun: PlotSun | None = None) -> str:
    """Return the card as HTML text."""
    knowledge = assessment.knowledge
    kind = kind_words(plan, knowledge)
    label = plan.answer.label
    name = plan.plot if label in ("", plan.plot) else f"{plan.plot}, {label}"
    drawn, paper, names = _plan_drawing(plan, assessment)
    moving = movable(plan.places)
    calendar = calendar_figure(plan.planting, knowledge)
    return sheet(
        "sheets/plan_card.html",
        title=_("Plot {plot}: what to add").format(plot=plan.plot),
        style=asset("sheets/plan_card.css") + CALENDAR_STYLE,
        scripts=[script_of(_SCRIPTS)] if moving else (),
        payload=json_inside_script(
            moving_payload(
                plan.places,
                assessment.neighbourhood.plots.geometry.loc[plan.plot],
                paper,
                knowledge,
            )
        )
        if plan.places is not None and moving
        else None,
        heading=_("What plot {name} should add").format(name=name),
        kind=f"{kind}, {figure(plan.answer.area_m2)} m²",
        street=assessment.neighbourhood.name,
        best=best_words(plan),
        sentence=in_a_sentence(plan, knowledge),
        street_plan=plan.street,
        warnings=[*there_words(plan, knowledge), *plan.warnings],
        plan=drawn,
        scale=paper.scale,
        key=f" {'; '.join(names)}." if names else "",
        first=[] if plan.best is None else taken_up_first(plan.best, plan.facts, knowledge),
        things=[] if plan.best is None else _things(plan.best, plan, knowledge),
        together="" if plan.best is None else _together(plan.best, knowledge),
        stages=[
            (
                STAGE_NAMES[stage.when],
                stage_words(stage.additions, knowledge),
                hours_words(stage.hours),
            )
            for stage in plan.stages
        ],
        kept="" if plan.places is None else _kept(plan.places, knowledge),
        notes="" if plan.places is None else " ".join(_place_notes(plan.places)),
        gap=_gap(plan, knowledge),
        wishes=_wishes(plan, knowledge),
        calendar=calendar,
        many=len(plan.planting.lines) > _FEW_PLANTS,
        plants=_plants(plan, knowledge) if plan.planting.lines else "",
        get=" ".join(
            [
                *how_to_get(plan.planting, knowledge),
                *planting_notes(plan.planting, knowledge, short=True),
            ]
        ),
        sun_told=sun is not None,
        sun=Markup() if sun is None else sun_figure(sun),
        sun_words="" if sun is None else _sun_words(sun),
        cautions=_cautions(plan, knowledge),
        changes=would_change_words(plan, knowledge)[:_CHANGES],
        index=_(CARD_INDEX),
        defer=_(DEFER),
        credits=" ".join(assessment.neighbourhood.credits),
    )


def _things(best: Suggestion, plan: PlotPlan, knowledge: Knowledge) -> list[dict[str, object]]:
    blocks: list[dict[str, object]] = []
    moving = [one.thing for one in movable(plan.places)]
    for addition in best.additions:
        one = addition.candidate
        feature = knowledge.features[one.feature]
        facts = [
            _("wins {given_the_others}").format(
                given_the_others=homes_words(addition.given_the_others)
            ),
            cost_words(feature.cost, knowledge),
            upkeep_words(one.hours_month, knowledge),
            when_words(one),
        ]
        blocks.append(
            {
                "name": thing(one, knowledge),
                "served": ", ".join(
                    knowledge.groups[key].name.lower() for key, __ in addition.groups[:_SERVED]
                ),
                "why": reasons_words(addition, best, knowledge),
                "place": "" if one.feature in moving else place_words(one),
                "where": where_sentence(one, plan, knowledge),
                "by_hand": moving.index(one.feature) if one.feature in moving else None,
                "facts": "; ".join(facts),
                "often": ""
                if addition.often is None
                else often_words(addition.often, sure=knowledge.setting("sure_in")),
                "steps": [step.words for step in knowledge.sitings[one.feature].steps],
                "moves": move_lines(one, knowledge, besides=best.gives_way)[:1],
                "asks": asked_first(one),
            }
        )
    return blocks


def _together(best: Suggestion, knowledge: Knowledge) -> str:
    many = len(best.additions) > 1
    they = _("Together they win") if many else _("It wins")
    words = f"{they} {homes_words(best.linked_homes)}."
    if best.doubt is not None:
        words = f"{words[:-1]} ({range_words(best.doubt.won)}). {drawn_words(best.doubt.draws)}"
    if best.gives_way:
        given = ", ".join(
            _("{amount_words} of {feature_name}").format(
                amount_words=amount_words(key, amount, knowledge),
                feature_name=knowledge.features[key].name.lower(),
            )
            for key, amount in best.gives_way.items()
        )
        words += _(" {words} the place of {given}.").format(
            words=_("They take") if many else _("It takes"), given=given
        )
    competition = competition_words(best, knowledge)
    return f"{words} {competition}" if competition else words


def _wishes(plan: PlotPlan, knowledge: Knowledge) -> list[str]:
    """What becomes of the wishes, and the set with something to eat."""
    lines = [wish_words(one, plan, knowledge) for one in plan.wished]
    if plan.to_eat is not None:
        things = "; ".join(thing(one.candidate, knowledge) for one in plan.to_eat.additions)
        lines.append(_("With something to eat: {things}.").format(things=things))
    return lines


def _gap(plan: PlotPlan, knowledge: Knowledge) -> str:
    if not plan.gaps:
        return ""
    key, gap = plan.gaps[0]
    side = f"{knowledge.setting('gap_side_m') * 100:.0f}"
    sides = " and ".join(plot or _("open ground") for plot in gap.plots)
    return _(
        "With the neighbour's consent: a gap of {side} x {side} cm in the {kind} between {sides} "
        "would win {homes_won} for the {group_name}."
    ).format(
        side=side,
        kind=gap.kinds[0],
        sides=sides,
        homes_won=homes_words(gap.homes_won),
        group_name=knowledge.groups[key].name.lower(),
    ) + gap_often_words(gap)


def _plants(plan: PlotPlan, knowledge: Knowledge) -> str:
    """Every plant with its number, those of several places added up, and its hazard."""
    numbers: dict[str, int] = {}
    for line in plan.planting.lines:
        numbers[line.plant] = numbers.get(line.plant, 0) + line.number
    hazards = {line.plant: harm_words(line, knowledge) for line in plan.planting.lines}
    return "; ".join(
        f"{number} {knowledge.plants[key].name}" + (f" ({hazards[key]})" if hazards[key] else "")
        for key, number in numbers.items()
    )


def _sun_words(sun: PlotSun) -> str:
    if not sun.known:
        return sun.why_not
    words = []
    if sun.sunny_wall is not None:
        words.append(
            _("Sunny wall for a bee box: {sunny_wall_words}.").format(
                sunny_wall_words=sun.sunny_wall.words
            )
        )
    if sun.shady_corner is not None:
        words.append(
            _("Shady place for ferns: {shady_corner_words}.").format(
                shady_corner_words=sun.shady_corner.words
            )
        )
    if sun.seat in ("morning", "evening"):
        words.append(_("Seat in the sun: in the {seat}.").format(seat=sun.seat))
    return " ".join(words)


def _cautions(plan: PlotPlan, knowledge: Knowledge) -> list[str]:
    """Each caution once: in full where lives, the law or a load hang on it, else in brief."""
    if plan.best is None:
        return []
    first = taken_up_first(plan.best, plan.facts, knowledge)
    words = [brief for one in first for brief in one.brief]
    for key in dict.fromkeys(key for one in plan.best.additions for key in one.candidate.cautions):
        caution = knowledge.cautions[key]
        words.append(caution.words if caution.about else caution.brief)
    return list(dict.fromkeys(words))


def _plan_drawing(plan: PlotPlan, assessment: Assessment) -> tuple[Markup, Paper, list[str]]:
    """The plot to scale with what is mapped on it and what is new, its neighbours and houses.

    Returns the drawing, the paper it is on, and what its letters stand for.
    """
    hood, knowledge = assessment.neighbourhood, assessment.knowledge
    plot = hood.plots.geometry.loc[plan.plot]
    paper = fitting_paper(plot, wide_mm=_WIDE_MM, high_mm=_HIGH_MM, margin_mm=3)
    window = paper.window()
    others = hood.plots.iloc[hood.plots.sindex.query(window)]
    parts = [
        paper.path(shape, css="neighbour", label=_("Plot {other}").format(other=other))
        for other, shape in others.geometry.items()
        if other != plan.plot
    ]
    parts.append(paper.path(plot, css="own", label=_("Plot {plot}").format(plot=plan.plot)))
    for table, css in ((hood.buildings, "house"), (hood.roads, "road")):
        near = table.iloc[table.sindex.query(window)]
        parts += [paper.path(shape, css=css) for shape in near.geometry]
    mine = hood.features[hood.features["plot"] == plan.plot]
    names = []
    for order, row in enumerate(mine.itertuples(), 1):
        name = knowledge.features[str(row.feature)].name
        parts.append(paper.path(row.geometry, css="feature", label=name))
        x, y = paper.place(row.geometry.representative_point())
        parts.append(draw_words("key", x, y, chr(96 + order), anchor=""))
        names.append(f"{chr(96 + order)} {name.lower()}")
    fences = hood.barriers.iloc[hood.barriers.sindex.query(window)]
    parts += [
        paper.path(row.geometry, css=f"barrier {row.kind}", label=_(str(row.kind)))
        for row in fences.itertuples()
    ]
    parts += [
        _name_on(paper, other, shapely.intersection(shape, window))
        for other, shape in others.geometry.items()
    ]
    parts += _placed(plan, paper, knowledge)
    parts.append(paper.bar_and_north(longest_mm=30))
    drawn = paper.svg(
        together(parts),
        title=_("Plan of plot {plot}, 1 to {scale}").format(plot=plan.plot, scale=paper.scale),
    )
    return drawn, paper, names


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


def _kept(places: Places, knowledge: Knowledge) -> str:
    words = zip(_letters(places), kept_words(places, knowledge), strict=True)
    return " ".join(f"{letter}: {each}" if letter else each for letter, each in words)


def _place_notes(places: Places) -> list[str]:
    dotted = [] if places.way.is_empty else [_("Dotted: kept free for the door.")]
    return dotted + place_notes(places)


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


def _name_on(paper: Paper, plot: object, seen: shapely.Geometry) -> Markup:
    """The plot's id on what is seen of it, where there is room for it."""
    room = np.sqrt(seen.area) * 1000 / paper.scale
    if room < _NAME_MM:
        return Markup()
    x, y = paper.place(seen.representative_point())
    return draw_words("name", x, y, plot)
