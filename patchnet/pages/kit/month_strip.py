"""The months in which flowers run short near a plot, by animal: a strip to print."""

from collections.abc import Sequence
from typing import NamedTuple

from patchnet.assess.assessment import PlotAnswer
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.colours import DO_THIS, INK
from patchnet.pages.kit.numbers import MONTHS, month_spans
from patchnet.pages.kit.templates import Markup, render

__all__ = ["STRIP_STYLE", "FlowerYear", "flower_years", "month_strip", "short_sentence"]

STRIP_STYLE = f"""
.month-strip {{ display: block; font-size: 13px; break-inside: avoid; print-color-adjust: exact; }}
.month-strip text {{ fill: {INK}; }}
.month-strip .month {{ font-weight: 700; }}
.month-strip .none {{ fill: #eef1e6; }}
.month-strip .enough {{ fill: #cfe0a6; }}
.month-strip .few {{ fill: {DO_THIS}; }}
.month-strip .cross {{ stroke: #fff; stroke-width: 2.2; stroke-linecap: round; }}
.month-strip .dot {{ fill: {INK}; }}
"""
"""For pages with such a strip, beside their own."""

_MOST = 6  # animals drawn
_NAMES, _COLUMN, _ROW, _TOP = 150, 20, 20, 18
_LONGEST = 21  # letters of a name that fit beside the months


class FlowerYear(NamedTuple):
    """An animal, the months in which it needs flowers, and those of them that are short."""

    name: str
    months: tuple[int, ...]
    short: tuple[int, ...]


def flower_years(answer: PlotAnswer, knowledge: Knowledge) -> list[FlowerYear]:
    """List the animals that need flowers near a plot, those that go short most first.

    Animals that find no room within reach are left out: nothing runs short for them.

    Parameters
    ----------
    answer
        The plot's balance sheets.
    knowledge
        For names, and which needs are of flowers.
    """
    found: list[FlowerYear] = []
    for group in answer.groups:
        flowers = [
            need
            for need in group.needs
            if knowledge.resources[need.resource].by_month and need.room > 0
        ]
        months = {month for need in flowers for month, _enough in need.months}
        short = {month for need in flowers for month in need.hungry_months}
        if months:
            name = knowledge.groups[group.group].name
            found.append(FlowerYear(name, tuple(sorted(months)), tuple(sorted(short))))
    return sorted(found, key=lambda one: -len(one.short))[:_MOST]


def short_sentence(years: Sequence[FlowerYear]) -> str:
    """Say in a sentence for whom flowers run short when; the same as `month_strip` draws."""
    if not years:
        return _("None of the animals that need flowers finds room near here yet.")
    said = [
        _("{name}: too few in {months}.").format(name=name, months=month_spans(short))
        for name, _months, short in years
        if short
    ]
    return " ".join(said) or _("No animal goes short of flowers near here.")


def month_strip(years: Sequence[FlowerYear]) -> Markup:
    """The strip as an SVG, its words inside; empty where no animal goes short of flowers.

    Parameters
    ----------
    years
        From `flower_years`; those that go short are drawn.
    """
    years = [one for one in years if one.short]
    if not years:
        return Markup()
    return render(
        "kit/month_strip.svg",
        title=_("When flowers run short near here"),
        words=short_sentence(years),
        wide=_NAMES + 12 * _COLUMN,
        high=_TOP + _ROW * len(years),
        months=[(_middle(month), MONTHS[month - 1][0]) for month in range(1, 13)],
        rows=[
            (
                _cut(name),
                _TOP + _ROW * at,
                [
                    (_middle(month), "few" if month in short else "enough" if month in months
                     else "none")
                    for month in range(1, 13)
                ],
            )
            for at, (name, months, short) in enumerate(years)
        ],
    )  # fmt: skip


def _middle(month: int) -> int:
    return _NAMES + (month - 1) * _COLUMN + _COLUMN // 2


def _cut(name: str) -> str:
    return name if len(name) <= _LONGEST else f"{name[: _LONGEST - 1]}\N{HORIZONTAL ELLIPSIS}"
