"""Cells of a row as typed values; what cannot be read becomes a fault and a stand-in."""

import math
import re
from collections.abc import Collection, Mapping
from typing import cast

from patchnet.core.faults import Fault, nearest_hint
from patchnet.knowledge.records import CLASSES, Class, Figure, Source
from patchnet.knowledge.tables import Row

__all__ = ["PER", "Cells"]

PER = {"m2": "m2", "m": "m", "count": "item"}
"""What one unit of a feature's measure is called after "per"."""

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
_TO = re.compile(r"\s*[-\u2013]\s*")
_MONTH_NUMBERS = {str(number): number for number in range(1, 13)}
_MONTH_NAMES = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september",
    "october", "november", "december",
)  # fmt: skip
# Keys that name no published work: a number of theirs cannot be of class "published".
_NOT_PUBLISHED = frozenset({"patchnet", "common_practice", "memory", "memory_plants"})


def _month(text: str) -> int:
    """Return the month of a number, a name or at least three of its letters; 0 if it is none."""
    word = text.casefold()
    if word in _MONTH_NUMBERS or len(word) < 3:
        return _MONTH_NUMBERS.get(word, 0)
    return next((at for at, name in enumerate(_MONTH_NAMES, 1) if name.startswith(word)), 0)


class Cells:
    """Reads the cells of rows and keeps the list of faults.

    Parameters
    ----------
    sources
        Known sources, by key.
    faults
        List that faults are added to.
    """

    def __init__(self, sources: Mapping[str, Source], faults: list[Fault]) -> None:
        self.sources = sources
        self.faults = faults

    def text(self, row: Row, column: str) -> str:
        """Return a cell that must not be empty."""
        cell = row.cells[column]
        if not cell:
            self._say(row, f"The cell '{column}' is empty.", "Fill it in.")
        return cell

    def number(self, row: Row, column: str) -> float:
        """Return a number; NaN (with a fault) where it is none."""
        cell = row.cells[column]
        if _NUMBER.fullmatch(cell) and math.isfinite(float(cell)):
            return float(cell)
        mend = "Write digits and a decimal point, without the unit."
        self._say(row, f"'{cell}' in the column '{column}' is not a number.", mend)
        return math.nan

    def choice(self, row: Row, column: str, choices: Collection[str]) -> str:
        """Return one of some words; the first of them (with a fault) where it is none."""
        cell = row.cells[column]
        if cell in choices:
            return cell
        hint = nearest_hint(cell, choices)
        what = f"'{cell}' in the column '{column}' is not one of the words for it.{hint}"
        self._say(row, what, f"Write one of: {', '.join(choices)}.")
        return next(iter(choices))

    def plain_key(self, row: Row, column: str = "key") -> str:
        """Return a key, which must be a plain word."""
        key = row.cells[column]
        if not (key.isascii() and key.replace("_", "a").isalnum() and key == key.lower()):
            self._say(
                row, f"'{key}' cannot be a key.", "Use small letters, digits and underscores."
            )
        return key

    def flag(self, row: Row, column: str) -> bool:
        """Return whether a cell says y (yes) rather than n (no)."""
        return self.choice(row, column, ("n", "y")) == "y"

    def flag_or_no(self, row: Row, column: str) -> bool:
        """Return whether a cell says y (yes); an empty one says no."""
        return bool(row.cells[column]) and self.flag(row, column)

    def choices(self, row: Row, column: str, choices: Collection[str]) -> tuple[str, ...]:
        """Return words, ``;`` between them, each one of some (may be empty)."""
        parts = self.listed(row, column)
        for part in parts:
            if part not in choices:
                hint = nearest_hint(part, choices)
                what = f"'{part}' in the column '{column}' is not a word for it.{hint}"
                self._say(row, what, f"Write some of: {', '.join(choices)}.")
        return tuple(part for part in parts if part in choices)

    def choice_or_none(self, row: Row, column: str, choices: Collection[str]) -> str | None:
        """Return one of some words, or None where the cell is empty."""
        return self.choice(row, column, choices) if row.cells[column] else None

    def listed(self, row: Row, column: str) -> tuple[str, ...]:
        """Return the parts of a cell that has ``;`` between them (may be empty)."""
        parts = (part.strip() for part in row.cells[column].split(";"))
        return tuple(part for part in parts if part)

    def known(self, row: Row, column: str, table: Collection[str], what: str) -> str:
        """Return a key that must stand in another table."""
        cell = row.cells[column]
        self._known(row, column, cell, table, what)
        return cell

    def known_list(
        self, row: Row, column: str, table: Collection[str], what: str
    ) -> tuple[str, ...]:
        """Return keys, ``;`` between them, that must stand in another table."""
        parts = self.listed(row, column)
        for part in parts:
            self._known(row, column, part, table, what)
        return parts

    def months(self, row: Row, column: str) -> tuple[int, ...]:
        """Return months 1-12 from text such as ``mar-jun``, ``nov-feb`` or ``3-5;9``.

        The tables that ship write names: spreadsheet programs turn ``3-6`` into a date.
        """
        mend = "Write months such as mar-jun, nov-feb or mar-may;sep."
        months: list[int] = []
        for part in self.listed(row, column):
            ends = [_month(end) for end in _TO.split(part)]
            if len(ends) > 2 or 0 in ends:
                what = f"'{part}' in the column '{column}' is not a month or span of months."
                self._say(row, what, mend)
                continue
            first, last = ends[0], ends[-1]
            months += [(first - 1 + step) % 12 + 1 for step in range((last - first) % 12 + 1)]
        if not row.cells[column]:
            self._say(row, f"The cell '{column}' is empty.", mend)
        return tuple(dict.fromkeys(months))

    def origin(self, row: Row, kind: str, source: str) -> tuple[Class, tuple[str, ...]]:
        """Return class and source keys out of the two named columns."""
        klass = cast("Class", self.choice(row, kind, CLASSES))
        keys = self.known_list(row, source, self.sources, "source")
        if not keys:
            mend = "Name a key of sources.csv; 'patchnet' is for our own assumptions."
            self._say(row, f"The cell '{source}' names no source.", mend)
        elif row.cells[kind] in ("published", "second-hand") and _NOT_PUBLISHED.issuperset(keys):
            what = f"The class '{klass}' needs a published work or named body as its source."
            self._say(row, what, "Name one in sources.csv, or change the class.")
        return klass, keys

    def figure(
        self,
        row: Row,
        key: str,
        *,
        unit: str | None = None,
        least: float = 0,
        positive: bool = False,
        most: float = math.inf,
    ) -> Figure:
        """Return the number of a row with its range, unit, class and source, checked.

        Parameters
        ----------
        row
            A row with the columns of a figure.
        key
            Address of the figure.
        unit
            The unit it must be in; None takes any that is written.
        least, most
            Bounds of value, low and high, in the unit.
        positive
            Whether nought is refused as well.
        """
        value, low, high = (self.number(row, column) for column in ("value", "low", "high"))
        if low > value or value > high:
            mend = "low must be at most value, and value at most high."
            self._say(row, f"The range {low:g} to {high:g} does not hold {value:g}.", mend)
        for column, amount in (("value", value), ("low", low), ("high", high)):
            if amount < 0 and least == 0:
                self._say(row, f"'{column}' is {amount:g}.", "It cannot be negative.")
            elif amount < least or amount > most:
                mend = f"It must lie between {least:g} and {most:g}."
                self._say(row, f"'{column}' is {amount:g}.", mend)
            elif positive and amount == 0:
                self._say(row, f"'{column}' is nought.", "It must be more than nought.")
        written = self.text(row, "unit")
        if unit is not None and written and written != unit:
            self._say(row, f"The unit is '{written}'.", f"This number must be in '{unit}'.")
        kind, keys = self.origin(row, "class", "source")
        return Figure(key, value, written, low, high, kind, keys, row.cells["note"], row.place)

    def _known(self, row: Row, column: str, cell: str, table: Collection[str], what: str) -> None:
        if cell in table:
            return
        hint = nearest_hint(cell, table)
        self._say(
            row,
            f"'{cell}' in the column '{column}' is not a known {what}.{hint}",
            f"Write a key of the {what} table, or add it there.",
        )

    def _say(self, row: Row, what: str, mend: str) -> None:
        self.faults.append(row.fault(what, mend))
