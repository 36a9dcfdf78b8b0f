"""The answer for one plot as plain text for a terminal, and as JSON."""

from dataclasses import asdict

from patchnet.assess.assessment import ANCHOR, NeedAtPlot, PlotAnswer, PlotGroup, Shortage
from patchnet.core.language_forms import in_sentence
from patchnet.core.texts import _, counted
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.doubt_words import drawn_words
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
    head = _("Plot {plot}").format(plot=answer.plot)
    if answer.label and answer.label != answer.plot:
        head += f", {answer.label}"
    parts = [
        _("{head}: {kind}, {area_m2} m²").format(
            head=head, kind=in_sentence(kind), area_m2=figure(answer.area_m2)
        ),
        _has(answer, knowledge),
        _assumed(answer, knowledge),
        _scarcest(answer, knowledge),
        _months(answer, knowledge),
        _near(answer, knowledge),
        _plenty(answer, knowledge),
        _not_known(answer, knowledge),
        _drawn(answer),
        paragraph(
            _(
                "Homes are an index of room for wildlife, not a forecast of animals. Most figures "
                "behind them are our own working assumptions: 'patchnet source KEY' says where "
                "each comes from."
            )
        ),
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _drawn(answer: PlotAnswer) -> str:
    """What the figures in brackets are."""
    if not answer.draws:
        return ""
    return paragraph(
        drawn_words(answer.draws)
        + _(" Homes are the mean; in brackets stands between what 9 in 10 of them lie.")
    )


def _has(answer: PlotAnswer, knowledge: Knowledge) -> str:
    if not answer.has:
        return _("WHAT IT HAS\n  Nothing is recorded here.")
    rows = []
    for has in answer.has:
        feature = knowledge.features[has.feature]
        doubts = [
            word
            for word, applies in ((_("size assumed"), not has.sized), (_("not sure"), not has.sure))
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
    lines = [_("WHAT IT HAS"), text_table(rows, indent="  ")]
    lines += [
        paragraph(
            _("Take care: {caution_words}").format(caution_words=knowledge.cautions[key].words),
            indent="  ",
        )
        for key in cautions
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
    head = _("NOT SEEN FROM OUTSIDE, ASSUMED (our guess by houses and planting; say what you know)")
    return f"{head}\n" + text_table(rows, indent="  ")


def _scarcest(answer: PlotAnswer, knowledge: Knowledge) -> str:
    rows: list[tuple[str, ...]] = [
        (
            _("Animal"),
            _("Homes here"),
            _("Missing most within reach"),
            _("Enough for"),
            _("Room for"),
            _("Shared with"),
        )
    ]
    rows += [_scarcest_row(group, knowledge) for group in answer.groups]
    return _("WHAT IS MISSING MOST, ANIMAL BY ANIMAL\n") + text_table(
        rows, indent="  ", header=True
    )


def _scarcest_row(at_plot: PlotGroup, knowledge: Knowledge) -> tuple[str, ...]:
    group = knowledge.groups[at_plot.group]
    homes = span(at_plot.homes_low, at_plot.homes, at_plot.homes_high)
    if at_plot.scarcest == ANCHOR:
        anchors = _(" or ").join(
            in_sentence(knowledge.resources[anchor.resource].name) for anchor in group.anchors
        )
        return (
            group.name,
            homes,
            _("a home: {anchors}").format(anchors=anchors),
            "",
            _("{room_within} homes").format(room_within=figure(at_plot.room_within)),
            "",
        )
    need = next(need for need in at_plot.needs if need.need == at_plot.scarcest)
    return (
        group.name,
        homes,
        _("{need_name} within {reach_m}{in_month}").format(
            need_name=need.name,
            reach_m=metres(need.reach_m),
            in_month=_in_month(at_plot.shortage, need),
        ),
        span(need.enough_low, need.enough, need.enough_high),
        _("{room} homes").format(room=figure(need.room)),
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
    rows: list[tuple[str, ...]] = [(_("Flowers for"), *MONTHS, _("Room"))]
    resources = knowledge.resources
    for at_plot in answer.groups:
        flowers = [need for need in at_plot.needs if resources[need.resource].by_month]
        if flowers:
            rows.append((knowledge.groups[at_plot.group].name, *_month_cells(flowers)))
    if len(rows) == 1:
        return ""
    return _(
        "MONTH BY MONTH: how many homes the flowers within reach can feed (* a hungry month)\n"
    ) + text_table(rows, indent="  ", header=True)


def _month_cells(needs: list[NeedAtPlot]) -> list[str]:
    cells = ["" for _ in MONTHS]
    for need in needs:
        for month, enough in need.months:
            cells[month - 1] = figure(enough) + ("*" if month in need.hungry_months else "")
    return [*cells, figure(max(need.room for need in needs))]


def _near(answer: PlotAnswer, knowledge: Knowledge) -> str:
    title = _("WHAT THE NEIGHBOURS HAVE (within {view_m})").format(view_m=metres(answer.view_m))
    if not answer.near:
        return _("{title}\n  Nothing is recorded on any plot nearby.").format(title=title)
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
                name = in_sentence(knowledge.groups[at_plot.group].name)
                found.setdefault(need.name, []).append(name)
    if not found:
        return ""
    lines = [_("PLENTY WITHIN REACH: no need for more")]
    lines += [
        paragraph(_("{name}: for {whom}").format(name=name, whom=", ".join(whom)), indent="  ")
        for name, whom in found.items()
    ]
    return "\n".join(lines)


def _not_known(answer: PlotAnswer, knowledge: Knowledge) -> str:
    lines = []
    if answer.not_known:
        total = sum(not feature.unseen for feature in knowledge.features.values())
        if len(answer.not_known) == total:
            lines.append(_("  Nothing is known of this plot."))
        else:
            names = ", ".join(in_sentence(knowledge.features[key].name) for key in answer.not_known)
            lines.append(paragraph(_("On this plot: {names}.").format(names=names), indent="  "))
    if answer.neighbours_not_known:
        named = "; ".join(
            _("{plot} ({away}, {share:.0%} of the features)").format(
                plot=plot, away=metres(away), share=share
            )
            for plot, away, share in answer.neighbours_not_known[:_NAMED]
        )
        more = len(answer.neighbours_not_known) - _NAMED
        tail = _("; and {more} more plots").format(more=more) if more > 0 else ""
        lines.append(
            paragraph(
                _("Plots nearby, nearest first: {named}{tail}.").format(named=named, tail=tail),
                indent="  ",
            )
        )
    if not lines:
        return ""
    return "\n".join(
        [
            _("NOT KNOWN (we assume it is like surveyed plots of the same kind; look here next)"),
            *lines,
        ]
    )
