"""A planting's year, twelve months by plants: as text, as a table, and as a figure to print."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.colours import INK, MOTIFS, MUTED, PANEL, RULE, WOAD
from patchnet.pages.kit.escape import attribute, text
from patchnet.pages.kit.numbers import MONTHS, month_spans
from patchnet.pages.kit.text_table import paragraph, text_table
from patchnet.pages.map.map_words import MONTHS as LONG_MONTHS
from patchnet.plan.plot_plan import Planting

__all__ = ["CALENDAR_STYLE", "calendar_figure", "calendar_table", "calendar_text", "calendar_words"]

CALENDAR_STYLE = (
    ".calendar{border-collapse:collapse}"
    ".calendar caption{text-align:left;font-weight:600}"
    ".calendar th,.calendar td{padding:0.1em 0.25em;text-align:center;font-weight:400;"
    "position:relative}"
    ".calendar th:first-child{padding-left:0;text-align:left}"
    f".calendar tbody tr{{border-top:1px solid {RULE}}}"
    ".calendar-figure{display:block;break-inside:avoid}"
)
"""Style of the table and figure, for the page that they stand in."""

# Measures of the figure in px at its own size: as wide as half an A4 page, or a phone.
_WIDTH = 360
_NAMES = 136
_COLUMN = 18
_ROW = 18
_TOP = 22
_FONT = 11.5
_LONGEST = 23  # letters of a name that fit beside the months
_RIGHT = _NAMES + 12 * _COLUMN


@dataclass(frozen=True, slots=True)
class _Row:
    name: str
    months: tuple[int, ...]


def _rows(planting: Planting, knowledge: Knowledge) -> tuple[list[_Row], list[str]]:
    """Plants in flower, by their first month and name; and names of those with no flowers."""
    months: dict[str, tuple[int, ...]] = {}
    for line in planting.lines:
        months[line.plant] = months.get(line.plant) or line.months
    rows = [_Row(knowledge.plants[key].name, when) for key, when in sorted(months.items()) if when]
    rows.sort(key=lambda row: (row.months[0], row.name))
    others = sorted(knowledge.plants[key].name for key, when in months.items() if not when)
    return rows, others


def calendar_words(planting: Planting, knowledge: Knowledge) -> str:
    """The calendar in sentences: what stands for the figure where it cannot be seen."""
    rows, others = _rows(planting, knowledge)
    if not rows and not others:
        return "No plants are chosen, so there is no calendar."
    sentences = [f"{row.name} flowers {month_spans(row.months)}." for row in rows]
    sentences += _doubts(planting)
    if others:
        sentences.append(f"Not grown for flowers: {', '.join(others)}.")
    return " ".join(sentences)


def _doubts(planting: Planting) -> list[str]:
    """What is said of hungry months: which they are, and which stay without flowers."""
    hungry = [bloom.month for bloom in planting.calendar if bloom.hungry]
    if not hungry:
        return ["No month is short of flowers here."]
    said = [f"Hungry months here (few flowers within reach): {month_spans(hungry)}."]
    if planting.uncovered:
        said.append(
            f"Still without flowers: {month_spans(planting.uncovered)}; no plant that fits this "
            "plot flowers then."
        )
    if planting.no_room:
        said.append(f"Still without flowers for want of room: {month_spans(planting.no_room)}.")
    return said


def calendar_text(planting: Planting, knowledge: Knowledge) -> str:
    """The calendar as plain text: ``#`` in flower, ``!`` a hungry month."""
    rows, others = _rows(planting, knowledge)
    if not rows and not others:
        return calendar_words(planting, knowledge)
    hungry = ["!" if bloom.hungry else "" for bloom in planting.calendar]
    counts = [str(len(bloom.plants)) for bloom in planting.calendar]
    cells = [["", *MONTHS], ["Hungry here", *hungry]]
    cells += [
        [row.name, *("#" if month in row.months else "" for month in _year())] for row in rows
    ]
    cells.append(["Plants in flower", *counts])
    said = _doubts(planting)
    if others:
        said.append(f"Not grown for flowers: {', '.join(others)}.")
    return text_table(cells, header=True) + "\n\n" + paragraph(" ".join(said))


def calendar_table(planting: Planting, knowledge: Knowledge) -> str:
    """The calendar as an HTML table, empty where nothing flowers.

    A cell says "flowers" to those who do not see the dot. It needs the style `CALENDAR_STYLE` and
    a class ``unseen`` that hides words from view, not from a screen reader.
    """
    rows, _ = _rows(planting, knowledge)
    if not rows:
        return ""
    head = "".join(
        f'<th scope="col"><span aria-hidden="true">{name[0]}</span>'
        f'<span class="unseen">{name}</span></th>'
        for name in LONG_MONTHS
    )
    body = [
        _table_row(row.name, ["\N{BLACK CIRCLE}" if at in row.months else "" for at in _year()],
                   "flowers")
        for row in rows
    ]  # fmt: skip
    hungry = ["!" if bloom.hungry else "" for bloom in planting.calendar]
    counts = "".join(f"<td>{len(bloom.plants)}</td>" for bloom in planting.calendar)
    return (
        '<table class="calendar"><caption>When the plants flower</caption>'
        f'<thead><tr><th scope="col">Plant</th>{head}</tr></thead>'
        f"<tbody>{_table_row('Hungry here', hungry, 'hungry')}{''.join(body)}</tbody>"
        f'<tfoot><tr><th scope="row">Plants in flower</th>{counts}</tr></tfoot></table>'
    )


def _table_row(name: str, cells: Iterable[str], means: str) -> str:
    inside = "".join(
        f'<td><span aria-hidden="true">{cell}</span><span class="unseen">{means}</span></td>'
        if cell
        else "<td></td>"
        for cell in cells
    )
    return f'<tr><th scope="row">{text(name)}</th>{inside}</tr>'


def calendar_figure(planting: Planting, knowledge: Knowledge, *, ident: str = "calendar") -> str:
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

    Returns
    -------
    str
        An ``<svg>`` element, its words in ``<desc>``; empty where nothing flowers.
    """
    rows, _ = _rows(planting, knowledge)
    if not rows:
        return ""
    foot = _TOP + _ROW * len(rows)
    hungry = [bloom.month for bloom in planting.calendar if bloom.hungry]
    height = foot + _ROW + (28 if hungry else 12)
    own = attribute(ident)
    opening = (
        '<svg xmlns="http://www.w3.org/2000/svg" class="calendar-figure" role="img" '
        f'aria-labelledby="{own}-title" aria-describedby="{own}-words" '
        f'viewBox="0 0 {_WIDTH} {height}" width="{_WIDTH}" height="{height}" '
        'style="max-width:100%;height:auto" '
        f'font-family="system-ui, sans-serif" font-size="{_FONT}" fill="{INK}">'
    )
    parts = [
        opening,
        f'<title id="{own}-title">When the plants flower</title>',
        f'<desc id="{own}-words">{text(calendar_words(planting, knowledge))}</desc>',
        _hatching(own),
        *(
            f'<rect x="{_left(month)}" y="{_TOP}" width="{_COLUMN}" '
            f'height="{foot - _TOP}" fill="url(#{own}-hungry)"/>'
            for month in hungry
        ),
        _grid(foot),
        *(
            f'<text x="{_left(month) + _COLUMN / 2:g}" y="{_TOP - 6}" text-anchor="middle" '
            f'font-weight="{700 if month in hungry else 400}">{MONTHS[month - 1][0]}</text>'
            for month in _year()
        ),
        *(_bars(row, _TOP + _ROW * at) for at, row in enumerate(rows)),
        _counts(planting, foot),
        _key(own, foot + _ROW + 8) if hungry else "",
        "</svg>",
    ]
    return "".join(parts)


def _year() -> range:
    return range(1, 13)


def _left(month: int) -> int:
    return _NAMES + (month - 1) * _COLUMN


def _hatching(ident: str) -> str:
    side, width, path = MOTIFS["lines"]
    return (
        f'<defs><pattern id="{ident}-hungry" width="{side:g}" height="{side:g}" '
        f'patternUnits="userSpaceOnUse"><path d="{path}" stroke="{MUTED}" '
        f'stroke-width="{width}" fill="none"/></pattern></defs>'
    )


def _grid(foot: int) -> str:
    level = [f"M0 {y}H{_RIGHT}" for y in (_TOP, foot)]
    upright = [f"M{_left(month)} {_TOP - 18}V{foot + _ROW}" for month in range(1, 14)]
    return f'<path d="{"".join(level + upright)}" stroke="{RULE}" stroke-width="0.5" fill="none"/>'


def _bars(row: _Row, top: int) -> str:
    short = (
        row.name
        if len(row.name) <= _LONGEST
        else f"{row.name[: _LONGEST - 1]}\N{HORIZONTAL ELLIPSIS}"
    )
    bars = "".join(
        f'<rect x="{_left(first) + 1}" y="{top + 4}" width="{(last - first + 1) * _COLUMN - 2}" '
        f'height="{_ROW - 8}" rx="3" fill="{WOAD}" stroke="{PANEL}"/>'
        for first, last in _runs(row.months)
    )
    return f'<text x="2" y="{top + 13}">{text(short)}</text>{bars}'


def _runs(months: Sequence[int]) -> list[tuple[int, int]]:
    """First and last month of every run inside the year."""
    found: list[tuple[int, int]] = []
    for month in sorted(months):
        if found and found[-1][1] == month - 1:
            found[-1] = (found[-1][0], month)
        else:
            found.append((month, month))
    return found


def _counts(planting: Planting, foot: int) -> str:
    """How many plants are in flower; an empty hungry month is boxed."""
    parts = [f'<text x="2" y="{foot + 13}" font-weight="700">Plants in flower</text>']
    for bloom in planting.calendar:
        middle = _left(bloom.month) + _COLUMN / 2
        parts.append(
            f'<text x="{middle:g}" y="{foot + 13}" text-anchor="middle">{len(bloom.plants)}</text>'
        )
        if bloom.hungry and not bloom.plants:
            parts.append(
                f'<rect x="{_left(bloom.month) + 1.5:g}" y="{foot + 1.5:g}" '
                f'width="{_COLUMN - 3}" height="{_ROW - 3}" fill="none" stroke="{INK}" '
                'stroke-width="1.5"/>'
            )
    return "".join(parts)


def _key(ident: str, top: int) -> str:
    return (
        f'<rect x="{_NAMES}" y="{top}" width="14" height="12" fill="url(#{ident}-hungry)" '
        f'stroke="{RULE}" stroke-width="0.5"/>'
        f'<text x="{_NAMES + 20}" y="{top + 10}">hungry month: few flowers near</text>'
    )
