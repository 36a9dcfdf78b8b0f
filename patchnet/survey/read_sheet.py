"""Returns as a sheet: CSV or xlsx, one row a plot and feature, as the survey sheet is laid out.

The header is matched by the words of the sheet, by words people change them to, and by likeness;
what is not recognised is named. A row whose answer is empty says nothing.
"""

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path

import openpyxl
import pandas as pd

from patchnet.core.cells import as_text
from patchnet.core.errors import CannotRead
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import nearest
from patchnet.core.open_file import trouble
from patchnet.read.csv_table import decoded
from patchnet.survey.one_return import SAID, Return

__all__ = ["read_sheet_return"]

_HEADS: Mapping[str, tuple[str, ...]] = {
    "plot": ("plot", "plot no", "plot number", "plot id", "id", "number", "no", "garden", "house"),
    "feature": ("feature", "features", "what", "thing", "habitat feature", "habitat", "item"),
    "answer": ("answer", "there", "is it there", "seen", "present", "found", "yes no"),
    "amount": ("amount", "size", "how much", "how many", "quantity", "qty"),
    "unit": ("unit", "units", "in", "measured in"),
    "sure": ("how sure", "sure", "certain", "confidence", "how certain"),
    "seen_from": ("seen from", "from where", "viewed from", "view point", "viewpoint", "from"),
    "surveyor": ("surveyor", "who", "name", "observer", "by", "recorder", "recorded by"),
    "when": ("date", "when", "day", "date seen", "survey date"),
    "note": ("note", "notes", "remarks", "remark", "comment", "comments"),
    "photo": ("photo", "photos", "picture", "photo name", "photograph"),
    "consent": ("consent", "agreed", "household agrees"),
    "street": ("street", "street id"),
}
_NEEDED = ("plot", "feature", "answer")
_LOOKED_AT = 12  # rows within which the header is looked for
_LIKENESS_LETTERS = 4  # a shorter header is too short to be told by its likeness
_DELIMITERS = ",;\t"
_ABOUT_WORDS: Mapping[str, str] = {
    "street": "street", "street id": "street", "return": "id", "return id": "id", "id": "id",
    "surveyor": "surveyor", "name": "surveyor", "seen from": "seen_from", "date": "began",
    "began": "began", "saved": "saved", "made": "made",
}  # fmt: skip

Row = tuple[int, list[object]]
"""Number of a row in its file, and its cells."""


@dataclass(frozen=True)
class _Sheet:
    """Rows of a sheet with its header."""

    columns: Mapping[str, int]
    rows: Sequence[Row]
    unread: Sequence[str] = field(default=())


def read_sheet_return(path: Path, faults: FaultList) -> Return:
    """Read one return that is a CSV or xlsx sheet.

    Parameters
    ----------
    path
        The file.
    faults
        List that faults are added to: columns and rows that cannot be read.

    Raises
    ------
    CannotRead
        If it cannot be opened, or has no header of a survey sheet.
    """
    about: dict[str, str] = {}
    if path.suffix.casefold() == ".xlsx":
        rows, about = _xlsx(path)
    else:
        rows = _csv(path, faults)
    sheet = _sheet(path, rows, faults)
    table = pd.DataFrame(
        {key: _column(sheet, key) for key in SAID if key != "row"}, columns=list(SAID), dtype=object
    )
    table["row"] = [number for number, _ in sheet.rows]
    filled = (table[["answer", "amount", "consent"]] != "").any(axis=1)
    streets = sorted({text for text in _column(sheet, "street") if text}) or [""]
    if len(streets) > 1:
        faults.error(
            path.name,
            f"Its rows are of {len(streets)} streets: {', '.join(streets[:4])}.",
            "Make one file of each street.",
        )
    return Return(
        path.name,
        about.get("id", ""),
        "sheet",
        about.get("street", "") or streets[0],
        about,
        table[filled].reset_index(drop=True),
    )


def _column(sheet: _Sheet, key: str) -> list[str]:
    at = sheet.columns.get(key)
    if at is None:
        return [""] * len(sheet.rows)
    return [_cell(row[at]) if at < len(row) else "" for _, row in sheet.rows]


def _cell(value: object) -> str:
    """Return a cell as text; a date that a spreadsheet program made of it as ISO 8601."""
    if isinstance(value, datetime):
        midnight = value.time() == time()
        return value.date().isoformat() if midnight else value.isoformat(timespec="seconds")
    return value.isoformat() if isinstance(value, date) else as_text(value)


def _csv(path: Path, faults: FaultList) -> list[Row]:
    text, encoding = decoded(path)
    if encoding:
        faults.warn(
            path.name,
            f"The text is not UTF-8; it was read as {encoding}.",
            "If letters look wrong, save it again as CSV (UTF-8).",
        )
    told = re.match(r"sep=(.)\r?\n", text)
    first = 1
    if told:
        text, first = text[told.end() :], 2
    head = "\n".join(text.splitlines()[:_LOOKED_AT])
    delimiter = told[1] if told else max(_DELIMITERS, key=head.count)
    if text.count('"') % 2:
        return _unclosed(path, text, delimiter, first, faults)
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
        return [(number, list(row)) for number, row in enumerate(reader, first)]
    except csv.Error:
        return _unclosed(path, text, delimiter, first, faults)


def _unclosed(path: Path, text: str, delimiter: str, first: int, faults: FaultList) -> list[Row]:
    """Read line by line where a quotation mark is not closed, so that it swallows no row."""
    rows: list[Row] = []
    odd = []
    for number, line in enumerate(text.splitlines(), first):
        if line.count('"') % 2:
            odd.append(str(number))
            line = line.replace('"', "")  # noqa: PLW2901 - the mended line
        rows.append((number, list(next(csv.reader([line[:100_000]], delimiter=delimiter), []))))
    faults.warn(
        path.name,
        f"A quotation mark is not closed (row {', '.join(odd[:20])}): each line was read as a "
        "row of its own.",
        "Look at the notes of these rows.",
    )
    return rows


def _xlsx(path: Path) -> tuple[list[Row], dict[str, str]]:
    if not path.exists():
        raise CannotRead(f"There is no file {path}.")
    try:
        with trouble(path):
            book = openpyxl.load_workbook(path, read_only=True, data_only=True)
            sheets = [
                (str(one.title), [list(row) for row in one.iter_rows(values_only=True)])
                for one in book.worksheets
            ]
            book.close()
    except CannotRead as error:
        raise CannotRead(
            f"{path} cannot be read: it is damaged, cut off, locked by a password, or not an xlsx "
            "workbook. Open it in your spreadsheet program and save it again."
        ) from error
    about: dict[str, str] = {}
    for title, lines in sheets:
        if title.casefold().strip() == "about":
            for line in lines:
                word = _plain(_cell(line[0])) if line else ""
                if word in _ABOUT_WORDS and len(line) > 1:
                    about.setdefault(_ABOUT_WORDS[word], _cell(line[1]))
    tables = [list(enumerate(lines, 1)) for _, lines in sheets]
    with_header = [rows for rows in tables if _header(rows) is not None]
    return (with_header or tables or [[]])[0], about


def _sheet(path: Path, rows: Sequence[Row], faults: FaultList) -> _Sheet:
    at = _header(rows)
    if at is None:
        raise CannotRead(
            f"{path} has no header of a survey sheet: its first row must say "
            f"{', '.join(key.replace('_', ' ') for key in _NEEDED)} and so on."
        )
    names = [_cell(cell) for cell in rows[at][1]]
    columns, guessed = _matched(names)
    for key, name in guessed.items():
        faults.warn(
            path.name,
            f"The column '{name}' was taken as '{key.replace('_', ' ')}'.",
            "Leave the header of the sheet as it is.",
            row=rows[at][0],
        )
    lacking = [key for key in _NEEDED if key not in columns]
    if lacking:
        raise CannotRead(
            f"{path} has no column {' and no column '.join(lacking)}; its columns are "
            f"{', '.join(name for name in names if name)}. Name them as in the sheet."
        )
    taken = set(columns.values())
    unread = [name for place, name in enumerate(names) if name and place not in taken]
    if unread:
        faults.warn(
            path.name,
            f"These columns were not read: {', '.join(unread[:12])}.",
            "Name a column as in the sheet, if it should be.",
            row=rows[at][0],
        )
    body = [row for row in rows[at + 1 :] if any(_cell(cell) for cell in row[1])]
    return _Sheet(columns, body, unread)


def _header(rows: Sequence[Row]) -> int | None:
    """Return the position of the row that is most like the header; None where none is."""
    best, found = 1, None
    for at, (_, cells) in enumerate(rows[:_LOOKED_AT]):
        columns, _ = _matched([_cell(cell) for cell in cells])
        count = sum(key in columns for key in _NEEDED)
        if count > best:
            best, found = count, at
    return found


def _matched(names: Sequence[str]) -> tuple[dict[str, int], dict[str, str]]:
    """Return role -> position, and the roles that were told by likeness alone."""
    plain = [_plain(name) for name in names]
    columns: dict[str, int] = {}
    for key, words in _HEADS.items():
        for word in words:
            if word in plain and plain.index(word) not in columns.values() and key not in columns:
                columns[key] = plain.index(word)
    guessed: dict[str, str] = {}
    by_word = {words[0]: key for key, words in _HEADS.items()}
    for at, name in enumerate(plain):
        if at in columns.values() or len(name) < _LIKENESS_LETTERS:
            continue
        close = nearest(name, [word for word, key in by_word.items() if key not in columns], most=1)
        begun = [
            key for word, key in by_word.items() if key not in columns and word in name.split()
        ]
        if close or begun:
            key = by_word[close[0]] if close else begun[0]
            columns[key] = at
            guessed[key] = names[at]
    return columns, guessed


def _plain(name: str) -> str:
    return re.sub(r"[\W_]+", " ", name).strip().casefold()
