"""Rows of tables as text, and how headings and cells of any type are made of what is found."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import NamedTuple

from patchnet.core.cells import as_text, as_written
from patchnet.core.errors import CannotRead
from patchnet.core.folding import UNSEEN, heading, visible

__all__ = ["NoTable", "Row", "Sheet", "cell_text", "heading", "tidied", "visible"]


class NoTable(CannotRead):
    """A file that is not a table: `what` it is instead and how to `mend` it, `where`."""

    def __init__(self, where: str, what: str, mend: str = "") -> None:
        self.where, self.what, self.mend = where, what, mend
        super().__init__(f"{where} {what}" + (f": {mend}." if mend else "."))

    def __reduce__(self) -> tuple[type["NoTable"], tuple[str, str, str]]:
        """Let it pass from the process that read the file."""
        return NoTable, (self.where, self.what, self.mend)


class Row(NamedTuple):
    """One row that is not empty: its number in the user's program, and its cells as text."""

    number: int
    cells: Sequence[str]


@dataclass(frozen=True)
class Sheet:
    """Every row of a CSV file or of one sheet of a workbook that holds anything."""

    name: str
    rows: Sequence[Row]


def cell_text(value: object) -> str:
    """Return a cell of any type as text; a date that a program made of it as ISO 8601."""
    if isinstance(value, str):
        text = as_text(value).strip(UNSEEN).strip()
        bare = as_written(text)
        # What we write begins with no blank: an apostrophe before one is its own.
        return text if bare[:1].isspace() else bare
    if isinstance(value, datetime):
        midnight = value.time() == time()
        return value.date().isoformat() if midnight else value.isoformat(timespec="seconds")
    if isinstance(value, date | time):
        return value.isoformat()
    return as_text(value)


def tidied(values: Iterable[object]) -> list[str]:
    """Return the cells of a row as text, without the empty ones at its end."""
    cells = [cell_text(value) for value in values]
    while cells and not cells[-1]:
        cells.pop()
    return cells
