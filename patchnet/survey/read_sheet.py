"""Returns as a sheet: CSV or xlsx, one row a plot and feature, as the survey sheet is laid out.

The header is matched by the words of the sheet, by words people change them to, and by likeness;
what is not recognised is named. A row whose answer is empty says nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from patchnet.core.errors import CannotRead
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import nearest
from patchnet.core.table import Row, Sheet, heading, read_sheets
from patchnet.core.texts import _
from patchnet.survey.one_return import SAID, Return
from patchnet.survey.sheet_words import in_english, words_of_headings

__all__ = ["read_sheet_return"]

_HEADS: Mapping[str, tuple[str, ...]] = {
    "plot": (
        "plot",
        "plot no",
        "plot number",
        "plot id",
        "id",
        "number",
        "no",
        "garden",
        "house",
        "door",
        "door number",
    ),
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
    # For people alone: not read.
    "called": ("called", "door", "door number", "address", "label"),
    "credit": ("credit", "credits", "map data"),
}
_WORDS = frozenset(word for words in _HEADS.values() for word in words)
_NEEDED = ("plot", "feature", "answer")
_LOOKED_AT = 12  # rows within which the header is looked for
_LIKENESS_LETTERS = 4  # a shorter header is too short to be told by its likeness
_ABOUT_WORDS: Mapping[str, str] = {
    "street": "street", "street id": "street", "return": "id", "return id": "id", "id": "id",
    "surveyor": "surveyor", "name": "surveyor", "seen from": "seen_from", "date": "began",
    "began": "began", "saved": "saved", "made": "made",
}  # fmt: skip


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
    sheets = read_sheets(path, faults, known=_WORDS | words_of_headings())
    about = _about(sheets)
    with_heading = (one.rows for one in sheets if _header(one.rows) is not None)
    sheet = _sheet(path, next(with_heading, sheets[0].rows), faults)
    table = pd.DataFrame(
        {key: _column(sheet, key) for key in SAID if key != "row"}, columns=list(SAID), dtype=object
    )
    table["row"] = [number for number, __ in sheet.rows]
    filled = (table[["answer", "amount", "consent"]] != "").any(axis=1)
    streets = sorted({text for text in _column(sheet, "street") if text}) or [""]
    if len(streets) > 1:
        faults.error(
            path.name,
            _("Its rows are of {n_streets} streets: {streets}.").format(
                n_streets=len(streets), streets=", ".join(streets[:4])
            ),
            _("Make one file of each street."),
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
    return [row[at] if at < len(row) else "" for _, row in sheet.rows]


def _about(sheets: Sequence[Sheet]) -> dict[str, str]:
    """Return what the sheet About of a workbook says of the whole round."""
    about: dict[str, str] = {}
    for sheet in sheets:
        for __, cells in sheet.rows if heading(in_english(sheet.name)) == "about" else ():
            word = _ABOUT_WORDS.get(heading(in_english(cells[0])))
            if word is not None:
                about.setdefault(word, cells[1] if len(cells) > 1 else "")
    return about


def _sheet(path: Path, rows: Sequence[Row], faults: FaultList) -> _Sheet:
    at = _header(rows)
    if at is None:
        raise CannotRead(
            _(
                "{path} has no header of a survey sheet: its first row must say {needed} and so on."
            ).format(path=path, needed=", ".join(key.replace("_", " ") for key in _NEEDED))
        )
    names = rows[at].cells
    columns, guessed = _matched(names)
    for key, name in guessed.items():
        faults.warn(
            path.name,
            _("The column '{name}' was taken as '{replace}'.").format(
                name=name, replace=key.replace("_", " ")
            ),
            _("Leave the header of the sheet as it is."),
            row=rows[at].number,
        )
    lacking = [key for key in _NEEDED if key not in columns]
    if lacking:
        raise CannotRead(
            _(
                "{path} has no column {lacking}; its columns are {names}. Name them as in the "
                "sheet."
            ).format(
                path=path,
                lacking=_(" and no column ").join(lacking),
                names=", ".join(name for name in names if name),
            )
        )
    taken = set(columns.values())
    unread = [name for place, name in enumerate(names) if name and place not in taken]
    if unread:
        faults.warn(
            path.name,
            _("These columns were not read: {unread}.").format(unread=", ".join(unread[:12])),
            _("Name a column as in the sheet, if it should be."),
            row=rows[at].number,
        )
    return _Sheet(columns, rows[at + 1 :], unread)


def _header(rows: Sequence[Row]) -> int | None:
    """Return the position of the row that is most like the header; None where none is."""
    best, found = 1, None
    for at, (__, cells) in enumerate(rows[:_LOOKED_AT]):
        columns, _ = _matched(cells)
        count = sum(key in columns for key in _NEEDED)
        if count > best:
            best, found = count, at
    return found


def _matched(names: Sequence[str]) -> tuple[dict[str, int], dict[str, str]]:
    """Return role -> position, and the roles that were told by likeness alone."""
    plain = [heading(in_english(name)) for name in names]
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
