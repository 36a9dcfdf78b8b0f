"""A plot's plan as plain text for a terminal, short first, and as JSON."""

from dataclasses import asdict, replace
from typing import Any

from shapely import Point
from shapely.geometry import mapping
from shapely.geometry.base import BaseGeometry

from patchnet.assess.assessment import ANCHOR
from patchnet.core.language_forms import in_sentence
from patchnet.core.texts import _, ngettext
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.candidate_words import (
    amount_words,
    asked_first,
    cautions_of,
    hours_words,
    money_words,
    stage_words,
    takes,
    thing,
)
from patchnet.pages.kit.doubt_words import often_words
from patchnet.pages.kit.move_words import move_lines
from patchnet.pages.kit.numbers import figure, metres, month_spans
from patchnet.pages.kit.placing_words import kept_words, not_put_words, place_notes, put_words
from patchnet.pages.kit.plan_words import (
    CHOSEN,
    DEFER,
    INDEX,
    ORDER,
    STAGE_NAMES,
    beside_words,
    best_words,
    competition_words,
    exact_words,
    fills,
    gap_often_words,
    homes_words,
    in_a_sentence,
    nearest_words,
    need_name,
    one_more_words,
    plant_notes,
    serves,
    set_doubt_words,
    there_words,
    wish_words,
    would_change_words,
)
from patchnet.pages.kit.planting_calendar import calendar_text
from patchnet.pages.kit.planting_words import how_to_get, planting_notes
from patchnet.pages.kit.reason_words import reasons_words
from patchnet.pages.kit.taking_up_words import taken_up_first
from patchnet.pages.kit.text_table import paragraph, text_table
from patchnet.pages.terminal.json_text import json_text
from patchnet.pages.terminal.short_plan import plan_title, short_plan, watching_words
from patchnet.plan.plot_plan import Addition, PlotPlan, Suggestion

__all__ = ["plan_json", "plan_text"]

_REASONS_NAMED = 12


def plan_json(plan: PlotPlan) -> str:
    """The whole plan as JSON; the same plan gives the same bytes.

    One object whose keys are the fields of `PlotPlan`, in that order, and so on inside: each
    record is an object with the fields that its class documents (`Suggestion`, `Addition`,
    `Candidate`, `NeedGain`, `GroupGain`, `Wished`, `RuledOut`, `WouldChange`, `Planting`,
    `Stage`, `Places`, `Placed`, and `PlotFacts` and `PlotAnswer` for what was said and what
    there is today). Tuples are lists; a pair such as a feature's nearest plots is a list of
    two; what is not known or not there is null; a point is an object of x and y, another shape
    a GeoJSON geometry, both in metres (of the coordinate system `crs` of `places`); keys of
    features, groups, plants, cautions and sources are those of the tables. Numbers are not
    rounded; lengths are metres, areas square metres, months 1-12, money and hours as in the
    tables. Fields may be added in later versions, at any level; none is renamed or changes its
    unit.
    """
    places = None if plan.places is None else replace(plan.places, by_hand=None)
    record = asdict(replace(plan, assessment=None, sun=None, places=places))
    if record["places"] is not None:
        del record["places"]["by_hand"]
    del record["assessment"], record["sun"]
    return json_text(_pointless(record))


def _pointless(value: Any) -> Any:  # noqa: ANN401 - walks any record
    if isinstance(value, Point):
        return {"x": value.x, "y": value.y}
    if isinstance(value, BaseGeometry):
        return None if value.is_empty else dict(mapping(value))
    if isinstance(value, dict):
        return {key: _pointless(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_pointless(item) for item in value]
    return value


def plan_text(
    plan: PlotPlan, knowledge: Knowledge, *, every: bool = True, watch: bool = False
) -> str:
    """The plan in words: the answer first, then what it is based on.

    Parameters
    ----------
    plan
        The plan.
    knowledge
        For names and warnings.
    every
        All of it, with steps, figures and what was ruled out; else what is to be done and why.
    watch
        Also what to look for in a year of watching first.
    """
    if not every:
        return short_plan(plan, knowledge, watch=watch)
    parts = [
        plan_title(plan, knowledge),
        paragraph(in_a_sentence(plan, knowledge)),
        "\n".join(
            paragraph(_("Take care: {words}").format(words=words), then="  ")
            for words in there_words(plan, knowledge)
        ),
        _warnings(plan),
        _section(_("IN YOUR STREET'S PLAN"), [paragraph(x, indent="  ") for x in plan.street]),
        _best(plan, knowledge),
        _places(plan, knowledge),
        _wished(plan, knowledge),
        _to_eat(plan, knowledge),
        _runner_up(plan, knowledge),
        _gaps(plan, knowledge),
        _stages(plan, knowledge),
        watching_words(plan, knowledge) if watch else "",
        _planting(plan, knowledge),
        _balance(plan, knowledge),
        _plentiful(plan, knowledge),
        _ruled_out(plan, knowledge),
        _would_change(plan, knowledge),
        paragraph(_(INDEX)),
        paragraph(_(DEFER)),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _section(title: str, lines: list[str]) -> str:
    return "\n".join([title, *lines]) if lines else ""


def _warnings(plan: PlotPlan) -> str:
    return "\n".join(
        paragraph(_("Note: {words}").format(words=words), then="  ") for words in plan.warnings
    )


def _best(plan: PlotPlan, knowledge: Knowledge) -> str:
    best = plan.best
    if best is None:
        return _section(
            _("WHAT TO ADD"),
            [
                paragraph(
                    _(
                        "Keep what is there and go on caring for it. Below you see why other "
                        "things were ruled out."
                    ),
                    indent="  ",
                )
            ],
        )
    count = len(best.additions)
    lines = [
        paragraph(
            ngettext(
                "It makes room for {homes}, counting all animals.",
                "Together they make room for {homes}, counting all animals.",
                count,
            ).format(homes=homes_words(best.linked_homes, "more"))
            + f"{_way(best, knowledge)} {_(CHOSEN)}"
            + (f" {_(ORDER)}" if count > 1 else ""),
            indent="  ",
        )
    ]
    sure = set_doubt_words(best, knowledge)
    lines += ["", paragraph(sure, indent="  ")] if sure else []
    for first in taken_up_first(best, plan.facts, knowledge):
        lines += [
            "",
            paragraph(
                _("First: {title}: {takes}.").format(title=first.title, takes=first.takes),
                indent="  ",
                then="     ",
            ),
        ]
        details = [f"{step}) {words}" for step, words in zip("abcd", first.steps, strict=False)]
        details += [
            *first.asks,
            *(_("Take care: {words}").format(words=words) for words in first.cautions),
        ]
        lines += [paragraph(line, indent="     ", then="       ") for line in details]
    for order, addition in enumerate(best.additions, 1):
        one = addition.candidate
        lines.append("")
        lines.append(
            paragraph(
                f"{order}. {thing(one, knowledge)}: {put_words(one, plan, knowledge)}. "
                f"{_wins(addition, alone=count == 1)}",
                indent="  ",
                then="     ",
            )
        )
        details = [reasons_words(addition, best, knowledge)]
        details += (
            [_("For: {serves}.").format(serves=serves(addition, best, knowledge))]
            if addition.groups
            else []
        )
        details += [
            _("Gives: {line}.").format(line=line) for line in fills(addition, best, knowledge)[:3]
        ]
        if not_put_words(one, plan):
            details.insert(0, not_put_words(one, plan))
        if addition.often is not None:
            details.insert(1, often_words(addition.often, sure=knowledge.setting("sure_in")))
        details.append(_("Takes: {takes}.").format(takes=takes(one, knowledge)))
        owner = plan.facts.tenure == "own"
        details += move_lines(one, knowledge, owner=owner, gives_way=best.gives_way)
        steps = knowledge.sitings[one.feature].steps
        details += [f"{step}) {each.words}" for step, each in zip("abcd", steps, strict=False)]
        details += asked_first(one)
        details += [
            _("Take care: {words}").format(words=words) for words in cautions_of([one], knowledge)
        ]
        lines += [paragraph(line, indent="     ", then="       ") for line in details]
    competition = competition_words(best, knowledge)
    lines += ["", *([paragraph(competition, indent="  ")] if competition else [])]
    lines.append(paragraph(exact_words(plan), indent="  "))
    return _section(best_words(plan).upper(), lines)


def _places(plan: PlotPlan, knowledge: Knowledge) -> str:
    if plan.places is None:
        return ""
    lines = [*kept_words(plan.places, knowledge), *place_notes(plan.places)]
    return _section(_("WHERE IT GOES"), [paragraph(line, indent="  ") for line in lines])


def _way(best: Suggestion, knowledge: Knowledge) -> str:
    if not best.gives_way:
        return ""
    given = ", ".join(
        _("{amount_words} of {feature_name}").format(
            amount_words=amount_words(key, amount, knowledge),
            feature_name=in_sentence(knowledge.features[key].name),
        )
        for key, amount in best.gives_way.items()
    )
    they = _("They take") if len(best.additions) > 1 else _("It takes")
    return _(" {they} the place of {given}.").format(they=they, given=given)


def _wins(addition: Addition, *, alone: bool) -> str:
    more, by_itself = homes_words(addition.given_the_others, "more"), figure(addition.alone)
    if alone:
        return _("It makes room for {alone}.").format(alone=homes_words(addition.alone, "more"))
    if figure(addition.given_the_others) == by_itself:
        return _("It makes room for {more}, with or without the others.").format(more=more)
    return _("It makes room for {more} beside the others, {by_itself} by itself.").format(
        more=more, by_itself=by_itself
    )


def _wished(plan: PlotPlan, knowledge: Knowledge) -> str:
    return _section(
        _("WHAT YOU WISHED FOR"),
        [
            paragraph(wish_words(one, plan, knowledge), indent="  ", then="    ")
            for one in plan.wished
        ],
    )


def _to_eat(plan: PlotPlan, knowledge: Knowledge) -> str:
    if plan.to_eat is None or plan.best is None:
        return ""
    things = "; ".join(thing(one.candidate, knowledge) for one in plan.to_eat.additions)
    words = f"{things}. {beside_words(plan.to_eat, plan.best)}"
    return _section(_("WITH SOMETHING TO EAT"), [paragraph(words, indent="  ")])


def _runner_up(plan: PlotPlan, knowledge: Knowledge) -> str:
    other = plan.runner_up
    if other is None or plan.best is None:
        return ""
    first = knowledge.sitings[plan.best.additions[0].candidate.feature].said
    things = "; ".join(thing(one.candidate, knowledge) for one in other.additions)
    words = _("If you do not want {first}: {things}. {beside_words}").format(
        first=first, things=things, beside_words=beside_words(other, plan.best)
    )
    return _section(_("SECOND BEST"), [paragraph(words, indent="  ")])


def _gaps(plan: PlotPlan, knowledge: Knowledge) -> str:
    lines = []
    for key, gap in plan.gaps:
        sides = _(" and ").join(side or _("open ground") for side in gap.plots)
        lines.append(
            paragraph(
                _(
                    "{group_name}: a gap of {gap_size} in the {kind} between {sides} would make "
                    "room for {homes_won}."
                ).format(
                    group_name=knowledge.groups[key].name,
                    gap_size=_gap_size(knowledge),
                    kind=gap.kinds[0],
                    sides=sides,
                    homes_won=homes_words(gap.homes_won, "more"),
                )
                + gap_often_words(gap),
                indent="  ",
                then="    ",
            )
        )
    if lines:
        for key in knowledge.cautions_about("neighbour"):
            words = knowledge.cautions[key].words
            lines.append(
                paragraph(_("Take care: {words}").format(words=words), indent="  ", then="    ")
            )
    return _section(_("A GAP IN A FENCE, WITH THE NEIGHBOUR"), lines)


def _gap_size(knowledge: Knowledge) -> str:
    side = f"{knowledge.setting('gap_side_m') * 100:.0f}"
    return _("{side} x {side} cm").format(side=side)


def _stages(plan: PlotPlan, knowledge: Knowledge) -> str:
    lines = []
    for stage in plan.stages:
        words = _("{stage_name}: {stage_words}. About {hours} of work, {money}.").format(
            stage_name=STAGE_NAMES[stage.when],
            stage_words=stage_words(stage.additions, knowledge),
            hours=hours_words(stage.hours),
            money=money_words(stage.cost, knowledge),
        )
        if stage.linked_homes is not None:
            words += " " + _("It makes room for {homes}.").format(
                homes=homes_words(stage.linked_homes, "more")
            )
        lines.append(paragraph(words, indent="  ", then="    "))
    best = () if plan.best is None else plan.best.additions
    done = {one.feature for stage in plan.stages for one in stage.additions}
    if lines and any(one.candidate.feature not in done for one in best):
        words = _("What is free takes some of the room that the best things would need.")
        lines.append(paragraph(words, indent="  "))
    return _section(
        _("STEP BY STEP: free things first, then the best things by their months"), lines
    )


def _planting(plan: PlotPlan, knowledge: Knowledge) -> str:
    planting = plan.planting
    if not planting.lines:
        return ""
    rows: list[tuple[str, ...]] = [(_("Plant"), _("How many"), _("Where"), _("Flowers"), _("Note"))]
    rows += [
        (
            f"{knowledge.plants[line.plant].name} ({knowledge.plants[line.plant].latin})",
            str(line.number),
            in_sentence(knowledge.features[line.place].name),
            month_spans(line.months) if line.months else "",
            "; ".join(plant_notes(line)),
        )
        for line in planting.lines
    ]
    told = [*how_to_get(planting, knowledge), *planting_notes(planting, knowledge)]
    parts = [
        text_table(rows, indent="  ", header=True),
        "",
        *(paragraph(one, indent="  ", then="    ") for one in told),
        "",
        calendar_text(planting, knowledge),
    ]
    if more := one_more_words(plan.planting_with, knowledge):
        parts.insert(0, paragraph(more, indent="  "))
    parts += [
        paragraph(
            _("Not offered: {why} ({count}).").format(why=why, count=count),
            indent="  ",
            then="    ",
        )
        for why, count in planting.left_out
    ]
    parts += [
        paragraph(
            _("Kept out: {plant_name}: {why}.").format(
                plant_name=knowledge.plants[key].name, why=why
            ),
            indent="  ",
            then="    ",
        )
        for key, why in planting.refused
    ]
    return _section(_("WHAT TO PLANT, chosen together"), parts)


def _balance(plan: PlotPlan, knowledge: Knowledge) -> str:
    rows: list[tuple[str, ...]] = [
        (_("Animal"), _("Missing most here"), _("Enough for"), _("Room for"))
    ]
    for group in plan.answer.groups:
        record = knowledge.groups[group.group]
        if group.scarcest == ANCHOR:
            anchors = _(" or ").join(
                knowledge.resources[anchor.resource].name for anchor in record.anchors
            )
            rows.append(
                (
                    record.name,
                    _("a home: {anchors}").format(anchors=anchors),
                    "",
                    figure(group.room_within),
                )
            )
            continue
        need = next(need for need in group.needs if need.need == group.scarcest)
        name = _("{need_name} within {reach_m}").format(
            need_name=need_name(group.group, need.need, knowledge), reach_m=metres(need.reach_m)
        )
        rows.append((record.name, name, figure(need.enough), figure(need.room)))
    return _section(
        _("WHAT IS MISSING TODAY, in homes"), [text_table(rows, indent="  ", header=True)]
    )


def _plentiful(plan: PlotPlan, knowledge: Knowledge) -> str:
    return _section(
        _("YOUR NEIGHBOURS HAVE IT: no need for another"),
        [
            paragraph(
                _("{feature_name}: {count} plots, nearest {nearest_words}").format(
                    feature_name=knowledge.features[key].name,
                    count=count,
                    nearest_words=nearest_words(nearest),
                ),
                indent="  ",
                then="    ",
            )
            for key, nearest, count in plan.plentiful
        ],
    )


def _ruled_out(plan: PlotPlan, knowledge: Knowledge) -> str:
    named: dict[str, list[str]] = {}
    for out in plan.ruled_out:
        named.setdefault(out.why, []).append(knowledge.features[out.feature].name)
    shown = list(named.items())[:_REASONS_NAMED]
    lines = [
        paragraph(f"{'; '.join(names)}: {why}", indent="  ", then="    ") for why, names in shown
    ]
    more = len(plan.ruled_out) - sum(len(names) for __, names in shown)
    if more > 0:
        lines.append(_("  ... and {more} more; --format json lists them all.").format(more=more))
    return _section(_("RULED OUT, AND WHY"), lines)


def _would_change(plan: PlotPlan, knowledge: Knowledge) -> str:
    lines = [
        paragraph(line, indent="  ", then="    ") for line in would_change_words(plan, knowledge)
    ]
    return _section(_("WHAT WOULD CHANGE THE ANSWER"), lines)
