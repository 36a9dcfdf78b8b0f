"""A planting's year, twelve months by plants: as text, and as a figure to print."""

from collections.abc import Sequence
from dataclasses import dataclass

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.colours import INK, MOTIFS, MUTED, PANEL, RULE, WOAD
from patchnet.pages.kit.numbers import MONTHS, month_spans
from patchnet.pages.kit.templates import Markup, render
from patchnet.pages.kit.text_table import paragraph, text_table
from patchnet.plan.plot_plan import Planting

__all__ = ["CALENDAR_STYLE", "calendar_figure", "calendar_text", "calendar_words"]

CALENDAR_STYLE = ".calendar-figure{display:block;break-inside:avoid}"
"""Style of the figure, for the page that they stand in."""

# Measures of the figure in px at its own size: as wide as half an A4 page, or a phone.
_WIDTH = 360
_NAMES = 160
_COLUMN = 16
_ROW = 18
_TOP = 22
_FONT = 12.8  # 9 pt on paper, in half the width of an A4 page
_LONGEST = 23  # letters of a name that fit beside the months
_RIGHT = _NAMES + 12 * _COLUMN


@dataclass(frozen=True, slots=True)
class _Row:
    name: str
    months: tuple[int, ...]


def _rows(
    planting: Planting, knowledge: Knowledge, *, numbered: bool = False
) -> tuple[list[_Row], list[str]]:
    """Plants in flower, by their first month and name; and names of those with no flowers."""
    months: dict[str, tuple[int, ...]] = {}
    for line in planting.lines:
        months[line.plant] = months.get(line.plant) or line.months
    numbers: dict[str, int] = {}
    for line in planting.lines:
        numbers[line.plant] = numbers.get(line.plant, 0) + line.number
    flowering = sorted(
        ((when[0], knowledge.plants[key].name, key, when) for key, when in months.items() if when),
    )
    rows = [
        _Row(f"{numbers[key]} {name}" if numbered else name, when)
        for __, name, key, when in flowering
    ]
    others = sorted(knowledge.plants[key].name for key, when in months.items() if not when)
    return rows, others


def calendar_words(planting: Planting, knowledge: Knowledge) -> str:
    """The calendar in sentences: what stands for the figure where it cannot be seen."""
    rows, others = _rows(planting, knowledge)
    if not rows and not others:
        return _("No plants are chosen, so there is no calendar.")
    sentences = [
        _("{name} flowers {months}.").format(name=row.name, months=month_spans(row.months))
        for row in rows
    ]
    sentences += _doubts(planting, knowledge)
    if others:
        sentences.append(_("Not grown for flowers: {others}.").format(others=", ".join(others)))
    return " ".join(sentences)


def _doubts(planting: Planting, knowledge: Knowledge) -> list[str]:
    """What is said of hungry months: which they are, and which stay without flowers."""
    hungry = [bloom.month for bloom in planting.calendar if bloom.hungry]
    if not hungry:
        return [_("No month is short of flowers here."), *_holes(planting, knowledge)]
    said = [
        _("Hungry months here (few flowers within reach): {hungry}.").format(
            hungry=month_spans(hungry)
        )
    ]
    if planting.uncovered:
        said.append(
            _(
                "Still without flowers: {uncovered}; no plant that fits this plot flowers then."
            ).format(uncovered=month_spans(planting.uncovered))
        )
    if planting.no_room:
        said.append(
            _("Still without flowers for want of room beside the others: {no_room}.").format(
                no_room=month_spans(planting.no_room)
            )
        )
    return [*said, *_holes(planting, knowledge)]


def _holes(planting: Planting, knowledge: Knowledge) -> list[str]:
    """What is said of other months without flowers from spring to autumn."""
    said = []
    bare = [month for month in planting.bare if month not in planting.uncovered]
    if bare:
        said.append(
            _("Nothing that fits here and harms nobody flowers in {months}.").format(
                months=month_spans(bare)
            )
        )
    if planting.shared:
        names = dict.fromkeys(knowledge.plants[key].name for __, key in planting.shared)
        said.append(
            _(
                "Left to neighbours, who get other kinds than you: flowers in {months}. If none of "
                "them plants any, add {names}."
            ).format(
                months=month_spans([month for month, __ in planting.shared]),
                names=_(" or ").join(names),
            )
        )
    return said


def calendar_text(planting: Planting, knowledge: Knowledge) -> str:
    """The calendar as plain text: ``#`` in flower, ``!`` a hungry month."""
    rows, others = _rows(planting, knowledge)
    if not rows and not others:
        return calendar_words(planting, knowledge)
    hungry = ["!" if bloom.hungry else "" for bloom in planting.calendar]
    counts = [str(len(bloom.plants)) for bloom in planting.calendar]
    cells = [["", *MONTHS], [_("Hungry here"), *hungry]]
    cells += [
        [row.name, *("#" if month in row.months else "" for month in _year())] for row in rows
    ]
    cells.append([_("Plants in flower"), *counts])
    said = _doubts(planting, knowledge)
    if others:
        said.append(_("Not grown for flowers: {others}.").format(others=", ".join(others)))
    return text_table(cells, header=True) + "\n\n" + paragraph(" ".join(said))


def calendar_figure(
    planting: Planting, knowledge: Knowledge, *, ident: str = "calendar", numbered: bool = False
) -> Markup:
    """The calendar as an SVG that needs nothing else and reads in black and white.

    Bars are months in flower, hatched columns are hungry months, the row below counts.

    Parameters
    ----------
    planting
        The plants.
    knowledge
        For their names.
    ident
        Start of the ids in it; must differ between figures on one page.
    numbered
        Whether each plant has its number before it.

    Returns
    -------
    str
        An ``<svg>`` element, its words in ``<desc>``; empty where nothing flowers.
    """
    rows, _ = _rows(planting, knowledge, numbered=numbered)
    if not rows:
        return Markup()
    foot = _TOP + _ROW * len(rows)
    hungry = [bloom.month for bloom in planting.calendar if bloom.hungry]
    return render(
        "kit/planting_calendar.svg",
        ident=ident,
        wide=_WIDTH,
        high=foot + _ROW + (28 if hungry else 12),
        font=_FONT,
        ink=INK,
        muted=MUTED,
        rule=RULE,
        woad=WOAD,
        panel=PANEL,
        words=calendar_words(planting, knowledge),
        motif=MOTIFS["lines"],
        hungry=[_left(month) for month in hungry],
        top=_TOP,
        foot=foot,
        column=_COLUMN,
        row=_ROW,
        names=_NAMES,
        grid=_grid(foot),
        months=[
            (_left(month) + _COLUMN / 2, MONTHS[month - 1][0], 700 if month in hungry else 400)
            for month in _year()
        ],
        rows=[
            (_short(row.name), _TOP + _ROW * at, _bars(row.months)) for at, row in enumerate(rows)
        ],
        # An empty hungry month is boxed.
        counts=[
            (_left(bloom.month), len(bloom.plants), bloom.hungry and not bloom.plants)
            for bloom in planting.calendar
        ],
    )


def _year() -> range:
    return range(1, 13)


def _left(month: int) -> int:
    return _NAMES + (month - 1) * _COLUMN


def _grid(foot: int) -> str:
    level = [f"M0 {y}H{_RIGHT}" for y in (_TOP, foot)]
    upright = [f"M{_left(month)} {_TOP - 18}V{foot + _ROW}" for month in range(1, 14)]
    return "".join(level + upright)


def _short(name: str) -> str:
    return name if len(name) <= _LONGEST else f"{name[: _LONGEST - 1]}\N{HORIZONTAL ELLIPSIS}"


def _bars(months: Sequence[int]) -> list[tuple[int, int]]:
    """Left end and length of every run of months in flower, px."""
    return [(_left(first) + 1, (last - first + 1) * _COLUMN - 2) for first, last in _runs(months)]


def _runs(months: Sequence[int]) -> list[tuple[int, int]]:
    """First and last month of every run inside the year."""
    found: list[tuple[int, int]] = []
    for month in sorted(months):
        if found and found[-1][1] == month - 1:
            found[-1] = (found[-1][0], month)
        else:
            found.append((month, month))
    return found
