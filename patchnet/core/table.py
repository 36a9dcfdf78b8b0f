"""A table as people's programs save it, read the one way for the whole program.

What is read
    CSV with commas, semicolons or tabs (told by the heading, or by a line ``sep=;`` as some
    programs write), quoted as RFC 4180 has it, in UTF-8, UTF-16 or Windows-1252; an xlsx
    workbook (ISO/IEC 29500), of which the sheet with the heading counts.
What comes out
    Text in every cell: numbers with a decimal point, dates as ISO 8601, truth values as yes and
    no, without blanks round it. Empty rows are left out and every row keeps the number that the
    user's program gives it.
"""

from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from patchnet.core.csv_text import csv_rows
from patchnet.core.errors import CannotRead
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import Fault
from patchnet.core.numbers import with_points, writes_decimal_comma
from patchnet.core.reader_child import read_in_child
from patchnet.core.table_rows import NoTable, Row, Sheet, cell_text, heading, visible
from patchnet.core.texts import _

__all__ = [
    "SUFFIXES", "NoTable", "Row", "Sheet", "Table", "cell_text", "heading", "read_sheets",
    "read_table", "sheets_of", "table_of",
]  # fmt: skip

SUFFIXES = (".csv", ".tsv", ".xlsx")
"""Endings of the files that are read as tables."""

_HEADINGS = 12  # rows among which there is the heading
_LONGEST = 32_767  # characters of a cell, in any spreadsheet program
_ROWS_NAMED = 20
_PACKED = b"PK\x03\x04"
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"  # also what a workbook with a password begins with


@dataclass(frozen=True)
class Table:
    """A heading and the rows under it.

    Attributes
    ----------
    where
        How faults name it.
    head
        Number of the row of the heading.
    columns
        Its cells, blanks tidied; empty where a column between others has none.
    rows
        Rows under it, each with as many cells as there are columns.
    """

    where: str
    head: int
    columns: Sequence[str]
    rows: Sequence[Row]

    def column_of(self, words: Collection[str]) -> int | None:
        """Return the place of the first column called by one of some words (`heading`)."""
        found = (at for at, name in enumerate(self.columns) if heading(name) in words)
        return next(found, None)

    def records(self) -> Iterator[tuple[int, dict[str, str]]]:
        """Give each row's number, and its cells by the folded heading (the first of alike)."""
        names = [heading(name) for name in self.columns]
        for number, cells in self.rows:
            record: dict[str, str] = {}
            for name, cell in zip(names, cells, strict=True):
                record.setdefault(name, cell)
            yield number, record

    def frame(self) -> pd.DataFrame:
        """Return the cells as a frame; alike headings are numbered, a missing one is its place."""
        seen: Counter[str] = Counter()
        names = []
        for at, name in enumerate(self.columns, 1):
            bare = name or _("column {at}").format(at=at)
            seen[bare] += 1
            names.append(bare if seen[bare] == 1 else f"{bare} ({seen[bare]})")
        return pd.DataFrame([row.cells for row in self.rows], columns=names, dtype=object)


def read_table(path: Path, faults: FaultList, *, known: Collection[str] = ()) -> Table:
    """Read the table of one file.

    Parameters
    ----------
    path
        CSV or xlsx; what it is, is told by its first bytes.
    faults
        List that faults are added to: an encoding that was assumed, quotation marks not closed,
        cells beyond the last column, cells that are too long, headings that stand there twice.
    known
        Words that a heading of the table may be, as `heading` folds them. They tell the
        separator and the sheet; of these none may stand there twice.

    Raises
    ------
    NoTable
        If it is missing, empty, damaged, or no table.
    """
    return table_of(read_sheets(path, faults, known=known), path.name, faults, known=known)


def read_sheets(path: Path, faults: FaultList, *, known: Collection[str] = ()) -> list[Sheet]:
    """Read every sheet of one file (a CSV is one), whatever its heading; see `read_table`.

    Parameters
    ----------
    path, faults, known
        As in `read_table`.

    Raises
    ------
    NoTable
        If it is missing, empty, damaged, or no table.
    """
    sheets, said = read_in_child(_sheets_here, path, tuple(known))
    faults.extend(said)
    return sheets


def _sheets_here(path: Path, known: Collection[str]) -> tuple[list[Sheet], tuple[Fault, ...]]:
    faults = FaultList()
    return _sheets_of_file(path, faults, known), faults.faults


def _sheets_of_file(path: Path, faults: FaultList, known: Collection[str]) -> list[Sheet]:
    if path.is_dir():
        raise NoTable(str(path), _("is a folder, not a CSV or xlsx file"))
    if not path.exists():
        raise CannotRead(_("There is no file {path}.").format(path=path))
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise CannotRead(
            _("{path} cannot be read: {strerror}.").format(
                path=path, strerror=error.strerror or error
            )
        ) from error
    return sheets_of(raw, str(path), faults, known=known, named=path.name)


def sheets_of(
    raw: bytes,
    where: str,
    faults: FaultList,
    *,
    known: Collection[str] = (),
    named: str | None = None,
) -> list[Sheet]:
    """Read every sheet of a file's bytes; see `read_sheets`.

    Parameters
    ----------
    where
        How an error names the file.
    named
        How faults name it, if otherwise.

    Raises
    ------
    NoTable
        If it is empty, damaged, or no table.
    """
    if raw.startswith(_PACKED):
        # Few tables are workbooks, and what reads them takes long to load.
        from patchnet.core.workbook import workbook_sheets  # noqa: PLC0415

        sheets = workbook_sheets(raw, where)
        sign = ""
    elif raw.startswith(_OLD_WORKBOOK):
        what = _("is a workbook of an old kind, or locked by a password")
        raise NoTable(where, what, _("save it as xlsx without a password, or as CSV (UTF-8)"))
    else:
        rows, sign = csv_rows(raw, where, named or where, faults, known)
        sheets = [Sheet("", rows)]
    filled = [Sheet(one.name, _pointed(one.rows, sign)) for one in sheets if one.rows]
    if not filled:
        raise NoTable(where, _("is empty"))
    return filled


def table_of(
    sheets: Sequence[Sheet], where: str, faults: FaultList, *, known: Collection[str] = ()
) -> Table:
    """Take the sheet that has the heading, and check its shape; see `read_table`.

    Parameters
    ----------
    sheets
        As from `read_sheets`.
    where
        How faults name the file.
    faults, known
        As in `read_table`.
    """
    sheet = max(sheets, key=lambda one: _rank(one.rows, known))  # of alike ones the first
    at = _heading_at(sheet.rows)
    head, cells = sheet.rows[at]
    columns = [" ".join(visible(name).split()) for name in cells]
    width = len(columns)
    body = [Row(number, _cut(row, width)) for number, row in sheet.rows[at + 1 :]]
    _check_shape(sheet.rows[at + 1 :], columns, head, where, faults, known)
    return Table(where, head, columns, [row for row in body if any(row.cells)])


def _cut(cells: Sequence[str], width: int) -> Sequence[str]:
    return [*cells[:width], *[""] * (width - len(cells))]


def _check_shape(
    rows: Sequence[Row],
    columns: Sequence[str],
    head: int,
    where: str,
    faults: FaultList,
    known: Collection[str],
) -> None:
    folded = [heading(name) for name in columns]
    for name, count in Counter(name for name in folded if name).items():
        if count > 1:
            shown = columns[folded.index(name)]
            what = _("The column '{shown}' stands there more than once.").format(shown=shown)
            (faults.error if name in known else faults.warn)(
                where, what, _("Keep one of them."), row=head
            )
    beyond = [(number, cells[len(columns) :]) for number, cells in rows if any(cells)]
    stray = [(number, next(filter(None, rest))) for number, rest in beyond if any(rest)]
    for number, cell in stray[:_ROWS_NAMED]:
        more = ""
        if number == stray[0][0] and len(stray) > _ROWS_NAMED:
            more = _(" So it is in {n_stray} rows.").format(n_stray=len(stray))
        faults.error(
            where,
            _("There are cells beyond the last column: '{cell}'.{more}").format(
                cell=cell[:40], more=more
            ),
            _("Put text that holds the separator in quotation marks, or give the column a name."),
            row=number,
        )
    for number, cells in rows:
        for name, cell in zip(columns, cells, strict=False):
            if len(cell) > _LONGEST:
                what = _("The cell '{name}' is longer than any spreadsheet allows.").format(
                    name=name
                )
                mend = _("Shorten it; look for a quotation mark not closed.")
                faults.error(where, what, mend, row=number)


def _heading_at(rows: Sequence[Row]) -> int:
    """Return the place of the heading: the first row of two cells or more (a title has one)."""
    found = (at for at, row in enumerate(rows[:_HEADINGS]) if sum(map(bool, row.cells)) > 1)
    return next(found, 0)


def _rank(rows: Sequence[Row], known: Collection[str]) -> tuple[int, bool]:
    """How much a sheet looks as if the table were in it."""
    cells = rows[_heading_at(rows)].cells
    return len({heading(cell) for cell in cells}.intersection(known)), sum(map(bool, cells)) > 1


def _pointed(rows: Sequence[Row], sign: str) -> Sequence[Row]:
    """Write numbers with a point where the table writes a comma."""
    comma = writes_decimal_comma(cell for row in rows for cell in row.cells)
    # Programs put semicolons between cells because their decimals have commas.
    if comma or (comma is None and sign == ";"):
        return [Row(row.number, [with_points(cell) for cell in row.cells]) for row in rows]
    return rows
