"""A CSV as people's programs write it: comma, semicolon or tab, in several encodings."""

import codecs
import csv
import io
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from patchnet.core.errors import CannotRead
from patchnet.core.open_file import trouble

__all__ = ["FIRST_ROW", "CsvTable", "decoded", "read_csv_table"]

FIRST_ROW = 2
"""Number of the first row under the header, as a spreadsheet program counts."""

_DELIMITERS = ",;\t"
_UTF16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


@dataclass(frozen=True, eq=False)
class CsvTable:
    """Rows of a CSV as text.

    Attributes
    ----------
    where
        The file's name.
    table
        Every cell as text; empty rows at the end are left out.
    encoding
        The encoding that had to be assumed, if it is not UTF-8 or UTF-16.
    long_rows
        Rows (numbered as in a spreadsheet) with more cells than the header.
    """

    where: str
    table: pd.DataFrame
    encoding: str | None
    long_rows: tuple[int, ...]


def read_csv_table(path: Path) -> CsvTable:
    """Read a CSV; the delimiter is the one that occurs most in the header.

    Raises
    ------
    CannotRead
        If it is missing, empty, not text, or not a table.
    """
    text, encoding = decoded(path)
    header = text.lstrip("\r\n").split("\n", 1)[0]
    delimiter = max(_DELIMITERS, key=header.count)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    except csv.Error as error:
        raise CannotRead(
            f"{path} cannot be read as a CSV table: a cell is far too long, or a quotation mark "
            "is not closed."
        ) from error
    while rows and not any(cell.strip() for cell in rows[0]):
        del rows[0]
    names = [name.strip() for name in rows[0]]
    while names and not names[-1]:
        names.pop()
    width = len(names)
    body = rows[1:]
    while body and not any(cell.strip() for cell in body[-1]):
        body.pop()
    long_rows = tuple(
        at for at, row in enumerate(body, FIRST_ROW) if any(cell.strip() for cell in row[width:])
    )
    cells = [[*row[:width], *[""] * (width - len(row))] for row in body]
    unique = _unique(names)
    return CsvTable(
        path.name, pd.DataFrame(cells, columns=unique, dtype=object), encoding, long_rows
    )


def decoded(path: Path) -> tuple[str, str | None]:
    """Return the text of a file, and the encoding if one had to be assumed.

    Raises
    ------
    CannotRead
        If it is missing, empty, or not text.
    """
    if path.is_dir():
        raise CannotRead(f"{path} is a folder, not a CSV file.")
    if not path.exists():
        raise CannotRead(f"There is no file {path}.")
    with trouble(path):
        raw = path.read_bytes()
    text, encoding = _decode(path, raw)
    if not text.strip():
        raise CannotRead(f"{path} is empty.")
    return text, encoding


def _decode(path: Path, raw: bytes) -> tuple[str, str | None]:
    if raw.startswith(_UTF16):
        with trouble(path):
            return raw.decode("utf-16"), None
    try:
        return raw.decode("utf-8-sig"), None
    except UnicodeDecodeError:
        pass  # not UTF-8: older spreadsheet programs write Windows-1252
    if b"\0" in raw:
        raise CannotRead(f"{path} is not a text file: save the table as CSV (UTF-8).")
    try:
        return raw.decode("cp1252"), "Windows-1252"
    except UnicodeDecodeError as error:
        raise CannotRead(
            f"{path} is not text in UTF-8, UTF-16 or Windows-1252: save it as CSV (UTF-8)."
        ) from error


def _unique(names: list[str]) -> list[str]:
    """Give columns of the same or no name a number, so that each can be told from the others."""
    seen: dict[str, int] = {}
    out = []
    for at, name in enumerate(names, 1):
        bare = name or f"column {at}"
        seen[bare] = seen.get(bare, 0) + 1
        out.append(bare if seen[bare] == 1 else f"{bare} ({seen[bare]})")
    return out
