"""The card for the fridge door: a plot's jobs on one A4 page, and on its back how to do them."""

import re
from collections.abc import Mapping
from pathlib import Path

from patchnet.assess.assessment import Assessment
from patchnet.core.errors import WrongUse
from patchnet.core.files import ensure_may_write, write_text
from patchnet.core.language_forms import in_sentence, listed
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.candidate_words import amount_words, hours_words, stage_words, thing
from patchnet.pages.kit.doubt_words import drawn_words, range_words
from patchnet.pages.kit.escape import json_inside_script
from patchnet.pages.kit.garden_drawing import GARDEN_STYLE, garden_legend
from patchnet.pages.kit.inline import asset
from patchnet.pages.kit.month_strip import STRIP_STYLE, flower_years, month_strip, short_sentence
from patchnet.pages.kit.numbers import MONTH_NAMES, figure
from patchnet.pages.kit.page import script_of, sheet
from patchnet.pages.kit.plan_words import (
    CARD_INDEX,
    DEFER,
    STAGE_NAMES,
    competition_words,
    gap_often_words,
    homes_words,
    in_a_sentence,
    kind_words,
    one_more_words,
    wish_words,
    would_change_words,
)
from patchnet.pages.kit.planting_calendar import CALENDAR_STYLE, calendar_figure
from patchnet.pages.kit.planting_words import (
    beds_words,
    harm_words,
    how_to_get,
    planting_notes,
)
from patchnet.pages.kit.story_words import plot_names
from patchnet.pages.kit.sun_figure import hours_words as sun_hours_words
from patchnet.pages.kit.sun_figure import sun_figure
from patchnet.pages.kit.taking_up_words import taken_up_first
from patchnet.pages.kit.templates import Markup
from patchnet.pages.sheets.card_jobs import cautions_of_card, heading_of, jobs_of
from patchnet.pages.sheets.moving import movable, moving_payload
from patchnet.pages.sheets.plot_drawing import kept_lines, plot_drawing, plot_key
from patchnet.plan.plot_plan import PlotPlan, Suggestion
from patchnet.sun.at_plot import PlotSun

__all__ = ["card_style", "leaves_of", "plan_card", "write_card"]

_SCRIPTS = ("kit/script/base.js", "sheets/script/places.js")
_CHANGES = 3
_MAIN = re.compile(r"<main\b[^>]*>(.*?)</main\s*>", re.DOTALL)
_BY_HAND = re.compile(r'<div\b id="backs".*?</p\s*>')


def write_card(plan: PlotPlan, path: Path | str, *, overwrite: bool = False) -> Path:
    """Write a plot's plan as a card for the fridge door, and return the path.

    The card is one HTML file that opens and prints without network: the jobs on one A4 page, and
    how to do them on its back.

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
    knowledge, hood = assessment.knowledge, assessment.neighbourhood
    names = plot_names(hood, [str(plot) for plot in hood.plots.index])
    drawing, drawn = plot_drawing(plan, assessment)
    moving = movable(plan.places)
    years = flower_years(plan.answer, knowledge)
    strip = month_strip(years)
    payload = None
    if plan.places is not None and moving:
        outline = hood.plots.geometry.loc[plan.plot]
        payload = json_inside_script(moving_payload(plan.places, outline, drawing.paper, knowledge))
    kind = kind_words(plan, knowledge)
    return sheet(
        "sheets/plan_card.html",
        title=_("Plot {plot}: what to add").format(plot=plan.plot),
        style=card_style(),
        scripts=[script_of(_SCRIPTS)] if moving else (),
        payload=payload,
        place=names[plan.plot],
        heading=heading_of(plan, knowledge),
        kind=_("{kind}, {area} m²").format(kind=kind, area=figure(plan.answer.area_m2)),
        plot=plan.plot,
        jobs=jobs_of(plan, knowledge, names),
        sentence=in_a_sentence(plan, knowledge),
        plan=drawn,
        scale=drawing.paper.scale,
        key=plot_key(plan.places, knowledge, laid=plan.plot in drawing.plan.laid),
        legend=garden_legend(drawing.kinds),
        strip=strip,
        short="" if strip else short_sentence(years),
        cautions=cautions_of_card(plan, knowledge),
        defer=_(DEFER),
        first=[] if plan.best is None else taken_up_first(plan.best, plan.facts, knowledge),
        together="" if plan.best is None else _together(plan.best, knowledge),
        stages=[
            (
                STAGE_NAMES[stage.when],
                stage_words(stage.additions, knowledge),
                hours_words(stage.hours),
            )
            for stage in plan.stages
        ],
        street_plan=plan.street,
        gap=_gap(plan, knowledge, names),
        wishes=_wishes(plan, knowledge),
        calendar=calendar_figure(plan.planting, knowledge, numbered=True),
        plants=_plants(plan, knowledge),
        get=" ".join(
            [
                beds_words(plan.planting, knowledge),
                *how_to_get(plan.planting, knowledge),
                *planting_notes(plan.planting, knowledge, short=True),
            ]
        ),
        sun=Markup() if sun is None else sun_figure(sun),
        sun_words="" if sun is None else _sun_words(sun),
        changes=would_change_words(plan, knowledge)[:_CHANGES],
        notes=" ".join([*plan.warnings, *kept_lines(plan.places, knowledge)]),
        index=_(CARD_INDEX),
        more=one_more_words(plan.planting_with, knowledge),
        planted=bool(plan.planting.lines),
        credits=" ".join(hood.credits),
    )


def card_style() -> str:
    """The style sheet of a card."""
    return "".join(
        (
            asset("kit/paper.css"),
            GARDEN_STYLE,
            STRIP_STYLE,
            CALENDAR_STYLE,
            asset("sheets/plan_card.css"),
        )
    )


def leaves_of(card: str) -> Markup:
    """Both sides of a card as they are to be put into another page, where nothing is moved by hand.

    Parameters
    ----------
    card
        A whole card of ours, from `plan_card`.
    """
    inside = _MAIN.search(card)
    assert inside is not None  # noqa: S101 - a card of ours has it
    return Markup(_BY_HAND.sub("", inside[1]).replace(' id="drawing"', ""))


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
                feature_name=in_sentence(knowledge.features[key].name),
            )
            for key, amount in best.gives_way.items()
        )
        words += _(" {words} the place of {given}.").format(
            words=_("They take") if many else _("It takes"), given=given
        )
    if competition_words(best, knowledge):
        words += " " + _(
            "Homes here share food and shelter with plots round about; what those lose is taken "
            "off already."
        )
    return words


def _wishes(plan: PlotPlan, knowledge: Knowledge) -> list[str]:
    """What becomes of the wishes, and the set with something to eat."""
    lines = [wish_words(one, plan, knowledge) for one in plan.wished]
    if plan.to_eat is not None:
        things = "; ".join(thing(one.candidate, knowledge) for one in plan.to_eat.additions)
        lines.append(_("With something to eat: {things}.").format(things=things))
    return lines


def _gap(plan: PlotPlan, knowledge: Knowledge, names: Mapping[str, str]) -> str:
    """The gap in a fence that wins most, where it wins anything worth naming."""
    if not plan.gaps or plan.gaps[0][1].homes_won < knowledge.setting("plan_gain_least"):
        return ""
    key, gap = plan.gaps[0]
    side = f"{knowledge.setting('gap_side_m') * 100:.0f}"
    sides = listed([names.get(plot, plot) if plot else _("open ground") for plot in gap.plots])
    return _(
        "With the neighbour's consent: a gap of {side} x {side} cm in the {kind} between {sides} "
        "would win {homes_won} for the {group_name}."
    ).format(
        side=side,
        kind=gap.kinds[0],
        sides=sides,
        homes_won=homes_words(gap.homes_won),
        group_name=in_sentence(knowledge.groups[key].name),
    ) + gap_often_words(gap)


def _plants(plan: PlotPlan, knowledge: Knowledge) -> str:
    """What the calendar does not say of the plants: those without flowers, and every hazard."""
    numbers: dict[str, int] = {}
    harms: dict[str, list[str]] = {}
    flowering = {line.plant for line in plan.planting.lines if line.months}
    for line in plan.planting.lines:
        numbers[line.plant] = numbers.get(line.plant, 0) + line.number
        harm = harm_words(line, knowledge)
        name = knowledge.plants[line.plant].name
        if harm and name not in harms.setdefault(harm, []):
            harms[harm].append(name)
    others = [
        f"{number} {knowledge.plants[key].name}"
        for key, number in numbers.items()
        if key not in flowering
    ]
    words = (
        [_("Not grown for flowers: {others}.").format(others=", ".join(others))] if others else []
    )
    words += [
        _("{hazard}: {names}.").format(hazard=f"{harm[:1].upper()}{harm[1:]}", names=listed(names))
        for harm, names in harms.items()
        if names
    ]
    return " ".join(words)


def _sun_words(sun: PlotSun) -> str:
    if not sun.known:
        return sun.why_not
    winter = (sun.midsummer + 5) % 12 + 1
    words = [
        _("Sun a day: {summer} in {june}, {winter} in {december}.").format(
            summer=sun_hours_words(sun.hours[sun.midsummer - 1]),
            june=MONTH_NAMES[sun.midsummer - 1],
            winter=sun_hours_words(sun.hours[winter - 1]),
            december=MONTH_NAMES[winter - 1],
        )
    ]
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
