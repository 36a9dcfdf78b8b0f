"""Returns as a table: CSV or xlsx, laid out as the survey sheet or with one row a plot.

The header is matched by the words of the sheet, by words people change them to, in their own
language too, and by likeness; what is not recognised is named. A row whose answer is empty says
nothing. A table of one row a plot (a column ``features``, or one a feature) is kept as it is:
`plot_table` makes statements of it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from patchnet.core.errors import CannotRead
from patchnet.core.fault_list import FaultList
from patchnet.core.table import Row, Sheet, heading, read_sheets
from patchnet.core.texts import _
from patchnet.survey.one_return import SAID, PlotTable, Return
from patchnet.survey.sheet_headings import NEEDED, SheetWords, matched
from patchnet.survey.sheet_words import in_english, words_of_headings

__all__ = ["read_sheet_return"]

_LOOKED_AT = 12  # rows within which the header is looked for
_CALLED = "street name"
_ABOUT_WORDS: Mapping[str, str] = {
    "street": "street", "street id": "street", "return": "id", "return id": "id", "id": "id",
    "surveyor": "surveyor", "name": "surveyor", "seen from": "seen_from", "date": "began",
    "began": "began", "saved": "saved", "made": "made", "street name": _CALLED,
}  # fmt: skip
_REPEATED = ("plot", "surveyor", "when", "seen_from")


@dataclass(frozen=True)
class _Head:
    """The header of a sheet: which row it is, and which column is which.

    `table` says whether there is one row a plot; `found` how much of a header it is.
    """

    at: int
    columns: Mapping[str, int]
    guessed: Mapping[str, str]
    table: bool
    found: int


@dataclass(frozen=True)
class _Sheet:
    """Rows of a sheet with its header."""

    head: _Head
    names: Sequence[str]
    rows: Sequence[Row]


def read_sheet_return(path: Path, faults: FaultList, words: SheetWords) -> Return:
    """Read one return that is a CSV or xlsx table.

    Parameters
    ----------
    path
        The file.
    faults
        List that faults are added to: columns and rows that cannot be read.
    words
        What headings are called.

    Raises
    ------
    CannotRead
        If it cannot be opened, or has no header that says anything of plots.
    """
    sheets = read_sheets(path, faults, known=words.known | words_of_headings())
    about = _about(sheets)
    called = about.pop(_CALLED, "")
    heads = [(_header(one.rows, words), one.rows) for one in sheets]
    head, rows = max(heads, key=lambda pair: pair[0].found if pair[0] else 0)
    sheet = _sheet(path, head, rows, words, faults)
    said = {key: _column(sheet, key, words) for key in SAID if key != "row"}
    table = pd.DataFrame(said, columns=list(SAID), dtype=object)
    table["row"] = [number for number, __ in sheet.rows]
    streets = sorted({text for text in _column(sheet, "street", words) if text}) or [""]
    if len(streets) > 1:
        faults.error(
            path.name,
            _("Its rows are of {n_streets} streets: {streets}.").format(
                n_streets=len(streets), streets=", ".join(streets[:4])
            ),
            _("Make one file of each street."),
        )
    form = _plot_table(sheet, words) if sheet.head.table else None
    filled = (table[["answer", "amount", "consent"]] != "").any(axis=1) | (form is not None)
    return Return(
        path.name,
        about.get("id", ""),
        "sheet",
        about.get("street", "") or streets[0],
        about,
        table[filled].reset_index(drop=True),
        plot_table=form,
        named=frozenset(
            role for role, name in words.said.items() if heading(name) in map(heading, sheet.names)
        ),
        called=called,
    )


def _column(sheet: _Sheet, key: str, words: SheetWords) -> list[str]:
    at = sheet.head.columns.get(key)
    if at is None:
        return [""] * len(sheet.rows)
    cells = [row[at] if at < len(row) else "" for _, row in sheet.rows]
    if key in _REPEATED:
        for place, cell in enumerate(cells):
            if place and cell.casefold() in words.dittos:
                cells[place] = cells[place - 1]
    return cells


def _plot_table(sheet: _Sheet, words: SheetWords) -> PlotTable:
    """Return what stands in a table of one row a plot beside who, when and where."""
    own = {"features", "seen", "amount"}
    taken = {at for role, at in sheet.head.columns.items() if role not in own}
    kept = [at for at, name in enumerate(sheet.names) if name and at not in taken]
    cells = [[row[at] if at < len(row) else "" for at in kept] for _, row in sheet.rows]
    frame = pd.DataFrame(cells, columns=[sheet.names[at] for at in kept], dtype=object)
    roles = {role: sheet.names[at] for role, at in sheet.head.columns.items() if role in own}
    features = {key: name for key, name in words.said.items() if key not in words.heads}
    return PlotTable(frame.loc[:, ~frame.columns.duplicated()], roles | features)


def _about(sheets: Sequence[Sheet]) -> dict[str, str]:
    """Return what the sheet About of a workbook says of the whole round."""
    about: dict[str, str] = {}
    for sheet in sheets:
        for __, cells in sheet.rows if heading(in_english(sheet.name)) == "about" else ():
            word = _ABOUT_WORDS.get(heading(in_english(cells[0])))
            if word is not None:
                about.setdefault(word, cells[1] if len(cells) > 1 else "")
    return about


def _sheet(
    path: Path, head: _Head | None, rows: Sequence[Row], words: SheetWords, faults: FaultList
) -> _Sheet:
    if head is None:
        raise CannotRead(
            _(
                "{path} has no header of a survey sheet: its first row must say {needed} and so "
                "on. Where its columns have other names, say which is which: --column plot=House "
                "--column 'features=What we saw'."
            ).format(path=path, needed=", ".join(key.replace("_", " ") for key in NEEDED))
        )
    number, names = rows[head.at]
    for key, name in head.guessed.items():
        faults.warn(
            path.name,
            _("The column '{name}' was taken as '{replace}'.").format(
                name=name, replace=key.replace("_", " ")
            ),
            _("Leave the header of the sheet as it is."),
            row=number,
        )
    if not head.table:
        _check_columns(path, head, names, number, faults)
    return _Sheet(head, names, _body(path, head, rows, words, faults))


def _check_columns(
    path: Path, head: _Head, names: Sequence[str], number: int, faults: FaultList
) -> None:
    there = {"answer" if key == "amount" else key for key in head.columns}
    lacking = [key for key in NEEDED if key not in there]
    if lacking:
        raise CannotRead(
            _(
                "{path} has no column {lacking}; its columns are {names}. Name them as in the "
                "sheet, or say which is which: --column {first}=NAME."
            ).format(
                path=path,
                lacking=_(" and no column ").join(lacking),
                names=", ".join(name for name in names if name),
                first=lacking[0],
            )
        )
    taken = set(head.columns.values())
    unread = [name for place, name in enumerate(names) if name and place not in taken]
    if unread:
        faults.warn(
            path.name,
            _("These columns were not read: {unread}.").format(unread=", ".join(unread[:12])),
            _("Name a column as in the sheet, if it should be."),
            row=number,
        )


def _body(
    path: Path, head: _Head, rows: Sequence[Row], words: SheetWords, faults: FaultList
) -> list[Row]:
    """Return the rows under the header, without headers that stand there again and totals."""
    names = [heading(name) for name in rows[head.at].cells]
    at = head.columns["plot"]
    body = []
    for row in rows[head.at + 1 :]:
        # Cell by cell: the first tells most rows from a header, and there may be a million.
        if len(row.cells) == len(names) and all(
            heading(cell) == name for cell, name in zip(row.cells, names, strict=True)
        ):
            continue
        if at < len(row.cells) and heading(row.cells[at]) in words.totals:
            faults.warn(path.name, _("It is a row of totals: it was left out."), "", row=row.number)
            continue
        body.append(_together(path, head, row, len(names), faults))
    return body


def _together(path: Path, head: _Head, row: Row, width: int, faults: FaultList) -> Row:
    """Put a list of features together again that the separator in it has cut into cells."""
    over = len(row.cells) - width
    at = head.columns.get("features")
    if over <= 0 or not head.table or at is None:
        return row
    faults.warn(
        path.name,
        _("There are more cells than columns: the list of features was put together again."),
        _("Put a list that holds the separator in quotation marks."),
        row=row.number,
    )
    whole = "; ".join(row.cells[at : at + over + 1])
    return Row(row.number, [*row.cells[:at], whole, *row.cells[at + over + 1 :]])


def _header(rows: Sequence[Row], words: SheetWords) -> _Head | None:
    """Return the row that is most like a header; None where none is."""
    found = [
        one
        for at, (__, cells) in enumerate(rows[:_LOOKED_AT])
        for one in (_sheet_head(at, cells, words), _table_head(at, cells, words))
        if one is not None
    ]
    return max(found, key=lambda one: one.found, default=None)


def _sheet_head(at: int, cells: Sequence[str], words: SheetWords) -> _Head | None:
    """Take a row for the header of a survey sheet, of one row a plot and feature."""
    columns, guessed = matched(cells, words, table=False)
    answered = "answer" in columns or "amount" in columns
    if answered and "feature" not in columns and "features" in columns:
        # The features of a sheet may be called so, too.
        clear, _guessed = matched(cells, words, table=True)
        if "answer" in clear or ("amount" in clear and "seen" not in clear):
            columns = {**columns, "feature": columns["features"]}
    there = {"answer" if key == "amount" else key for key in columns}
    count = sum(key in there for key in NEEDED)
    return _Head(at, columns, guessed, table=False, found=count) if count > 1 else None


def _table_head(at: int, cells: Sequence[str], words: SheetWords) -> _Head | None:
    """Take a row for the header of a table of one row a plot."""
    columns, guessed = matched(cells, words, table=True)
    if "plot" not in columns or {"feature", "answer"} & set(columns):
        return None
    taken = set(columns.values())
    single = [
        name for place, name in enumerate(cells) if place not in taken and words.feature(name)
    ]
    count = len(single) + 2 * ("features" in columns)
    return _Head(at, columns, guessed, table=True, found=1 + count) if count else None
