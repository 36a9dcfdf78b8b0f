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

import codecs
import csv
import io
import re
import unicodedata
import zipfile
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

import openpyxl
import pandas as pd
from openpyxl.utils.cell import range_boundaries

from patchnet.core.numbers import with_points, writes_decimal_comma
from patchnet.errors import CannotRead
from patchnet.ground.cells import as_text
from patchnet.ground.fault_list import FaultList
from patchnet.ground.open_file import trouble

__all__ = [
    "SUFFIXES", "NoTable", "Row", "Sheet", "Table", "cell_text", "heading", "read_sheets",
    "read_table", "sheets_of", "table_of",
]  # fmt: skip

SUFFIXES = (".csv", ".tsv", ".xlsx")
"""Endings of the files that are read as tables."""

_SIGNS = ("\t", ";", ",")  # where two fit alike, the one that is rarer in words
_LOOKED_AT = 50  # rows by which the separator is told
_HEADINGS = 12  # rows among which there is the heading
_LONGEST = 32_767  # characters of a cell, in any spreadsheet program
_LINE = 100_000  # characters of a line that are read where cells cannot be told apart
_UNPACKED_MOST = 2**30  # bytes: a workbook that swells beyond this is no table
_MERGED_MOST = 2_000_000  # cells
_CELLS_MOST = 50_000_000  # of a sheet with merged cells, empty ones too
_MERGED = re.compile(rb"mergeCell\s[^>]*?ref=[\"']([A-Z]+[0-9]+:[A-Z]+[0-9]+)[\"']")
_ROWS_NAMED = 20
_UNSEEN = "\N{ZERO WIDTH SPACE}\N{ZERO WIDTH NO-BREAK SPACE}\N{SOFT HYPHEN}"
_PACKED = b"PK\x03\x04"
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"  # also what a workbook with a password begins with


class NoTable(CannotRead):
    """A file that is no table: `what` it is instead and how to `mend` it, `where`."""

    def __init__(self, where: str, what: str, mend: str = "") -> None:
        self.where, self.what, self.mend = where, what, mend
        super().__init__(f"{where} {what}" + (f": {mend}." if mend else "."))


class Row(NamedTuple):
    """One row that is not empty: its number in the user's program, and its cells as text."""

    number: int
    cells: Sequence[str]


@dataclass(frozen=True)
class Sheet:
    """Every row of a CSV file or of one sheet of a workbook that holds anything."""

    name: str
    rows: Sequence[Row]


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
            bare = name or f"column {at}"
            seen[bare] += 1
            names.append(bare if seen[bare] == 1 else f"{bare} ({seen[bare]})")
        return pd.DataFrame([row.cells for row in self.rows], columns=names, dtype=object)


def heading(name: str) -> str:
    """Return a heading as it is compared: ``Plot_ID``, ``plot-id`` and ``Plot (ID)`` are alike."""
    bare = "".join(sign for sign in name if sign not in _UNSEEN)
    return re.sub(r"[\W_]+", " ", unicodedata.normalize("NFC", bare)).strip().casefold()


def cell_text(value: object) -> str:
    """Return a cell of any type as text; a date that a program made of it as ISO 8601."""
    if isinstance(value, str):
        return as_text(value).strip(_UNSEEN).strip()
    if isinstance(value, datetime):
        midnight = value.time() == time()
        return value.date().isoformat() if midnight else value.isoformat(timespec="seconds")
    if isinstance(value, date | time):
        return value.isoformat()
    return as_text(value)


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

    Raises
    ------
    NoTable
        If it is missing, empty, damaged, or no table.
    """
    if path.is_dir():
        raise NoTable(str(path), "is a folder, not a CSV or xlsx file")
    if not path.exists():
        raise CannotRead(f"There is no file {path}.")
    with trouble(path):
        raw = path.read_bytes()
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
        sheets = _workbook(raw, where)
        sign = ""
    elif raw.startswith(_OLD_WORKBOOK):
        what = "is a workbook of an old kind, or locked by a password"
        raise NoTable(where, what, "save it as xlsx without a password, or as CSV (UTF-8)")
    else:
        rows, sign = _csv(raw, where, named or where, faults, known)
        sheets = [Sheet("", rows)]
    filled = [Sheet(one.name, _pointed(one.rows, sign)) for one in sheets if one.rows]
    if not filled:
        raise NoTable(where, "is empty")
    return filled


def table_of(
    sheets: Sequence[Sheet], where: str, faults: FaultList, *, known: Collection[str] = ()
) -> Table:
    """Take the sheet that has the heading, and check its shape; see `read_table`."""
    sheet = max(sheets, key=lambda one: _rank(one.rows, known))  # of alike ones the first
    at = _heading_at(sheet.rows)
    head, cells = sheet.rows[at]
    columns = ["".join(s for s in name if s not in _UNSEEN) for name in cells]
    columns = [" ".join(name.split()) for name in columns]
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
            what = f"The column '{shown}' stands there more than once."
            (faults.error if name in known else faults.warn)(
                where, what, "Keep one of them.", row=head
            )
    beyond = [(number, cells[len(columns) :]) for number, cells in rows if any(cells)]
    stray = [(number, next(filter(None, rest))) for number, rest in beyond if any(rest)]
    for number, cell in stray[:_ROWS_NAMED]:
        more = ""
        if number == stray[0][0] and len(stray) > _ROWS_NAMED:
            more = f" So it is in {len(stray)} rows."
        faults.error(
            where,
            f"There are cells beyond the last column: '{cell[:40]}'.{more}",
            "Put text that holds the separator in quotation marks, or give the column a name.",
            row=number,
        )
    for number, cells in rows:
        for name, cell in zip(columns, cells, strict=False):
            if len(cell) > _LONGEST:
                what = f"The cell '{name}' is longer than any spreadsheet allows."
                mend = "Shorten it; look for a quotation mark not closed."
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


# CSV -----------------------------------------------------------------------------------------


def _csv(
    raw: bytes, where: str, named: str, faults: FaultList, known: Collection[str]
) -> tuple[list[Row], str]:
    text, assumed = _decoded(raw, where)
    if assumed:
        faults.warn(
            named,
            f"The text is not UTF-8; it was read as {assumed}.",
            "If letters look wrong, save it again as CSV (UTF-8).",
        )
    told = re.match(r"sep=(.)(?:\r\n|\r|\n|$)", text)
    if told:
        text = text[told.end() :]
    sign = told[1] if told else _separator(text, known)
    rows = []
    for number, cells in enumerate(_records(text, sign, named, faults), 1):
        tidy = [cell_text(cell) for cell in cells]
        while tidy and not tidy[-1]:
            tidy.pop()
        if tidy:
            rows.append(Row(number, tidy))
    return rows, sign


def _decoded(raw: bytes, where: str) -> tuple[str, str | None]:
    """Return the text, and the encoding if one had to be assumed."""
    for mark, coding in ((codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be")):
        # Without its mark it is told by the noughts beside letters of English headings.
        bare = raw[1:8:2] if coding == "utf-16-le" else raw[0:8:2]
        other = raw[0:8:2] if coding == "utf-16-le" else raw[1:8:2]
        if raw.startswith(mark) or (len(bare) == 4 and not any(bare) and all(other)):
            try:
                return raw.removeprefix(mark).decode(coding), None
            except UnicodeDecodeError as error:
                what = "cannot be read: it is damaged or cut off, or not the UTF-16 it says"
                raise NoTable(where, what, "save the table again as CSV (UTF-8)") from error
    try:
        return raw.decode("utf-8-sig"), None
    except UnicodeDecodeError:
        pass  # not UTF-8: older spreadsheet programs write Windows-1252
    if b"\0" in raw:
        raise NoTable(where, "is not a text file", "save the table as CSV (UTF-8) or xlsx")
    try:
        return raw.decode("cp1252"), "Windows-1252"
    except UnicodeDecodeError as error:
        what = "is not text in UTF-8, UTF-16 or Windows-1252"
        raise NoTable(where, what, "save it as CSV (UTF-8)") from error


def _separator(text: str, known: Collection[str]) -> str:
    """Return the sign between cells: it makes most known headings, or else the best table."""
    samples = {sign: _sample(text, sign) for sign in _SIGNS}
    heads = {sign: _first_wide(rows) for sign, rows in samples.items()}
    first = min(heads.values())

    def fit(sign: str) -> tuple[int, int]:
        rows, head = samples[sign], heads[sign]
        folded = [{heading(cell) for cell in cells} for cells in rows[:_HEADINGS]]
        words = max((len(cells.intersection(known)) for cells in folded), default=0)
        # Lists in the cells can have more signs between them than the cells: the heading tells.
        if head > first or head == len(rows):
            return words, 0
        wide = len(rows[head])
        return words, (wide - 1) * sum(len(cells) == wide for cells in rows[head:])

    ranks = {sign: fit(sign) for sign in _SIGNS}
    best = max(_SIGNS, key=ranks.__getitem__)
    return best if any(ranks[best]) else ","


def _sample(text: str, sign: str) -> list[list[str]]:
    rows: list[list[str]] = []
    try:
        for cells in islice(csv.reader(io.StringIO(text, newline=""), delimiter=sign), _LOOKED_AT):
            if any(cell.strip() for cell in cells):
                rows.append(cells)  # noqa: PERF401 - what was read before an error counts
    except csv.Error:
        pass  # told when the whole is read
    return rows


def _first_wide(rows: Sequence[Sequence[str]]) -> int:
    return next((at for at, cells in enumerate(rows) if len(cells) > 1), len(rows))


def _records(text: str, sign: str, named: str, faults: FaultList) -> list[list[str]]:
    if text.count('"') % 2 == 0:
        try:
            return list(csv.reader(io.StringIO(text, newline=""), delimiter=sign))
        except csv.Error:
            pass  # a cell without end: read by lines, and told by its length
    return _by_lines(text, sign, named, faults)


def _by_lines(text: str, sign: str, named: str, faults: FaultList) -> list[list[str]]:
    """Read each line as a row where a quotation mark is not closed, so that it swallows none."""
    records, odd = [], []
    for number, whole in enumerate(re.split(r"\r\n|\r|\n", text), 1):
        line = whole
        if line.count('"') % 2:
            odd.append(str(number))
            line = line.replace('"', "")
        line = line[:_LINE]
        records.append(next(csv.reader([line], delimiter=sign), []))
    if odd:
        faults.warn(
            named,
            f"A quotation mark is not closed (row {', '.join(odd[:_ROWS_NAMED])}): each line was "
            "read as a row of its own.",
            "Look at the notes of these rows.",
        )
    return records


# xlsx ----------------------------------------------------------------------------------------


def _workbook(raw: bytes, where: str) -> list[Sheet]:
    try:
        with trouble(Path(where)):
            merged = _unpacks(raw, where)
            # Read row by row where that will do: it takes a tenth of the memory.
            book = openpyxl.load_workbook(
                io.BytesIO(raw), read_only=not merged, data_only=True, keep_links=False
            )
            sheets = [Sheet(str(one.title), _sheet_rows(one, merged)) for one in book.worksheets]
            book.close()
    except NoTable:
        raise
    except CannotRead as error:
        what = "cannot be read: it is damaged, cut off, locked by a password, or no xlsx workbook"
        mend = "open it in your spreadsheet program and save it again"
        raise NoTable(where, what, mend) from error
    return sheets


def _unpacks(raw: bytes, where: str) -> bool:
    """Look at a workbook before it is unpacked; return whether cells of it are merged."""
    with zipfile.ZipFile(io.BytesIO(raw)) as packed:
        members = packed.infolist()
        names = {member.filename for member in members}
        if "xl/workbook.xml" not in names:
            kind = packed.read("mimetype") if "mimetype" in names else b""
            what = "is packed, but no xlsx workbook"
            mend = "save it as xlsx or CSV (UTF-8)" if b"opendocument" in kind else "unpack it"
            raise NoTable(where, what, mend)
        if sum(member.file_size for member in members) > _UNPACKED_MOST:
            raise NoTable(where, "unpacks to more than a gigabyte", "delete what is no table")
        areas = [
            area
            for member in members
            if member.filename.startswith("xl/worksheets/")
            for area in _merged_areas(packed, member.filename)
        ]
    if sum((right - left + 1) * (low - top + 1) for left, top, right, low in areas) > _MERGED_MOST:
        raise NoTable(where, "has millions of merged cells", "take the merging back")
    return bool(areas)


def _merged_areas(packed: zipfile.ZipFile, name: str) -> list[tuple[int, int, int, int]]:
    """Return left, top, right and bottom of each merged area, which stand behind the cells."""
    before = b""
    with packed.open(name) as content:
        while chunk := content.read(1 << 20):
            text = before + chunk
            if b"mergeCells" in text:
                found = _MERGED.findall(text[text.index(b"mergeCells") :] + content.read())
                return [range_boundaries(area.decode()) for area in found]
            before = chunk[-len(b"mergeCells") :]
    return []


def _sheet_rows(sheet: Any, merged: bool) -> list[Row]:  # noqa: ANN401, FBT001 - either kind of sheet
    # A cell merged over rows counts in each of them; over columns (a title) in the first.
    down: dict[int, dict[int, str]] = {}
    if merged:
        if sheet.max_row * sheet.max_column > _CELLS_MOST:
            raise CannotRead(f"The sheet {sheet.title} is too large.")
        for area in sheet.merged_cells.ranges:
            text = cell_text(sheet.cell(area.min_row, area.min_col).value)
            for number in range(area.min_row + 1, area.max_row + 1) if text else ():
                down.setdefault(number, {})[area.min_col - 1] = text
    else:
        sheet.reset_dimensions()  # some programs write a size that is too small
    rows = []
    for number, values in enumerate(sheet.iter_rows(values_only=True), 1):
        cells = [cell_text(value) for value in values]
        for at, text in down.get(number, {}).items():
            cells[at] = text
        while cells and not cells[-1]:
            cells.pop()
        if cells:
            rows.append(Row(number, cells))
    return rows
