"""The answer for one plot as plain text for a terminal, and as JSON."""

from dataclasses import asdict

from patchnet.assess.assessment import ANCHOR, NeedAtPlot, PlotAnswer, PlotGroup, Shortage
from patchnet.core.texts import _, counted
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.numbers import MONTHS, UNITS, figure, metres, span
from patchnet.pages.kit.text_table import paragraph, text_table
from patchnet.pages.terminal.json_text import json_text

__all__ = ["plot_json", "plot_text"]

_NAMED = 8  # unknown neighbours named one by one; the rest are only counted


def plot_json(answer: PlotAnswer) -> str:
    """The whole answer as JSON (UTF-8, keys as in `PlotAnswer`, numbers unrounded)."""
    return json_text(asdict(answer))


def plot_text(answer: PlotAnswer, knowledge: Knowledge) -> str:
    """The answer in words, short lines, most useful first."""
    kind = knowledge.plot_kinds[answer.kind].name
    head = f"Plot {answer.plot}"
    if answer.label and answer.label != answer.plot:
        head += f", {answer.label}"
    parts = [
        f"{head}: {kind.lower()}, {figure(answer.area_m2)} m²",
        _has(answer, knowledge),
        _assumed(answer, knowledge),
        _scarcest(answer, knowledge),
        _months(answer, knowledge),
        _near(answer, knowledge),
        _plenty(answer, knowledge),
        _not_known(answer, knowledge),
        paragraph(
            "Homes are an index of room for wildlife, not a forecast of animals. Most figures "
            "behind them are our own working assumptions: 'patchnet source KEY' says where each "
            "comes from."
        ),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _has(answer: PlotAnswer, knowledge: Knowledge) -> str:
    if not answer.has:
        return "WHAT IT HAS\n  Nothing is recorded here."
    rows = []
    for has in answer.has:
        feature = knowledge.features[has.feature]
        doubts = [
            word
            for word, applies in (("size assumed", not has.sized), ("not sure", not has.sure))
            if applies
        ]
        rows.append(
            (
                feature.name,
                f"{figure(has.amount)} {UNITS[feature.measure]}".strip(),
                ", ".join(doubts),
            )
        )
    cautions = dict.fromkeys(
        key for has in answer.has for key in knowledge.features[has.feature].cautions
    )
    lines = ["WHAT IT HAS", text_table(rows, indent="  ")]
    lines += [
        paragraph(f"Take care: {knowledge.cautions[key].words}", indent="  ") for key in cautions
    ]
    return "\n".join(lines)


def _assumed(answer: PlotAnswer, knowledge: Knowledge) -> str:
    """What nobody can see from outside, and is taken to be there."""
    if not answer.assumed:
        return ""
    rows = []
    for key, amount in answer.assumed:
        feature = knowledge.features[key]
        rows.append((feature.name, f"{figure(amount)} {UNITS[feature.measure]}".strip()))
    head = "NOT SEEN FROM OUTSIDE, ASSUMED (our guess by houses and planting; say what you know)"
    return f"{head}\n" + text_table(rows, indent="  ")


def _scarcest(answer: PlotAnswer, knowledge: Knowledge) -> str:
    rows: list[tuple[str, ...]] = [
        (
            "Animal",
            "Homes here",
            "Missing most within reach",
            "Enough for",
            "Room for",
            "Shared with",
        )
    ]
    rows += [_scarcest_row(group, knowledge) for group in answer.groups]
    return "WHAT IS MISSING MOST, ANIMAL BY ANIMAL\n" + text_table(rows, indent="  ", header=True)


def _scarcest_row(at_plot: PlotGroup, knowledge: Knowledge) -> tuple[str, ...]:
    group = knowledge.groups[at_plot.group]
    homes = span(at_plot.homes_low, at_plot.homes, at_plot.homes_high)
    if at_plot.scarcest == ANCHOR:
        anchors = " or ".join(
            knowledge.resources[anchor.resource].name.lower() for anchor in group.anchors
        )
        return (
            group.name,
            homes,
            f"a home: {anchors}",
            "",
            f"{figure(at_plot.room_within)} homes",
            "",
        )
    need = next(need for need in at_plot.needs if need.need == at_plot.scarcest)
    return (
        group.name,
        homes,
        f"{need.name} within {metres(need.reach_m)}{_in_month(at_plot.shortage, need)}",
        span(need.enough_low, need.enough, need.enough_high),
        f"{figure(need.room)} homes",
        _sharers(at_plot.shortage),
    )


def _in_month(shortage: Shortage | None, need: NeedAtPlot) -> str:
    """Which month is short, where one month decides."""
    if shortage is None or len(shortage.months) > 1 or len(need.months) == 1:
        return ""
    return f", {MONTHS[shortage.months[0] - 1]}"


def _sharers(shortage: Shortage | None) -> str:
    """How many other plots live on the same supplies."""
    others = 0 if shortage is None else len(shortage.sharers) - 1
    if shortage is None:
        return ""
    return _("nobody") if others == 0 else counted(others, "plot")


def _months(answer: PlotAnswer, knowledge: Knowledge) -> str:
    """How many homes the flowers within reach can feed each month, hungry months starred."""
    rows: list[tuple[str, ...]] = [("Flowers for", *MONTHS, "Room")]
    resources = knowledge.resources
    for at_plot in answer.groups:
        flowers = [need for need in at_plot.needs if resources[need.resource].by_month]
        if flowers:
            rows.append((knowledge.groups[at_plot.group].name, *_month_cells(flowers)))
    if len(rows) == 1:
        return ""
    return (
        "MONTH BY MONTH: how many homes the flowers within reach can feed (* a hungry month)\n"
        + text_table(rows, indent="  ", header=True)
    )


def _month_cells(needs: list[NeedAtPlot]) -> list[str]:
    cells = ["" for _ in MONTHS]
    for need in needs:
        for month, enough in need.months:
            cells[month - 1] = figure(enough) + ("*" if month in need.hungry_months else "")
    return [*cells, figure(max(need.room for need in needs))]


def _near(answer: PlotAnswer, knowledge: Knowledge) -> str:
    title = f"WHAT THE NEIGHBOURS HAVE (within {metres(answer.view_m)})"
    if not answer.near:
        return f"{title}\n  Nothing is recorded on any plot nearby."
    rows = [
        (
            knowledge.features[near.feature].name,
            counted(near.plots, "plot"),
            _("nearest: {plots}").format(
                plots="; ".join(f"{plot}, {metres(away)}" for plot, away in near.nearest)
            ),
        )
        for near in answer.near
    ]
    return f"{title}\n" + text_table(rows, indent="  ")


def _plenty(answer: PlotAnswer, knowledge: Knowledge) -> str:
    found: dict[str, list[str]] = {}
    for at_plot in answer.groups:
        for need in at_plot.needs:
            if need.standing == "plenty":
                name = knowledge.groups[at_plot.group].name.lower()
                found.setdefault(need.name, []).append(name)
    if not found:
        return ""
    lines = ["PLENTY WITHIN REACH: no need for more"]
    lines += [
        paragraph(f"{name}: for {', '.join(whom)}", indent="  ") for name, whom in found.items()
    ]
    return "\n".join(lines)


def _not_known(answer: PlotAnswer, knowledge: Knowledge) -> str:
    lines = []
    if answer.not_known:
        total = sum(not feature.unseen for feature in knowledge.features.values())
        if len(answer.not_known) == total:
            lines.append("  Nothing is known of this plot.")
        else:
            names = ", ".join(knowledge.features[key].name.lower() for key in answer.not_known)
            lines.append(paragraph(f"On this plot: {names}.", indent="  "))
    if answer.neighbours_not_known:
        named = "; ".join(
            f"{plot} ({metres(away)}, {share:.0%} of the features)"
            for plot, away, share in answer.neighbours_not_known[:_NAMED]
        )
        more = len(answer.neighbours_not_known) - _NAMED
        tail = f"; and {more} more plots" if more > 0 else ""
        lines.append(paragraph(f"Plots nearby, nearest first: {named}{tail}.", indent="  "))
    if not lines:
        return ""
    return "\n".join(
        ["NOT KNOWN (we assume it is like surveyed plots of the same kind; look here next)", *lines]
    )
