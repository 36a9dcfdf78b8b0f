"""Parts of a record that are more or less than one column: numbers, bases, rows of other tables."""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Literal, get_args

from patchnet.core.texts import N_
from patchnet.knowledge.columns import MONTHS, NEEDED, Amount, Choice, Column, Refs, Text, Unit

__all__ = [
    "CELL",
    "CLASSES",
    "Basis",
    "Class",
    "Figures",
    "FromCell",
    "Made",
    "MonthShares",
    "Names",
    "Number",
    "Quantities",
    "Quantity",
    "RowsOf",
    "SourcesOf",
]

Class = Literal["published", "second-hand", "derived", "common-practice", "memory", "assumption"]
CLASSES: tuple[Class, ...] = get_args(Class)
CELL = re.compile(r"\{(\w+)(?:\.(\w+))?\}")
"""How a unit names a cell, see `Number`."""


@dataclass(frozen=True)
class Number:
    """A number with its range, unit, class, source and note: seven columns.

    Parameters
    ----------
    meaning
        What it is, in plain words.
    unit
        The unit it must be in; ``{measure}`` stands for the cell of that column, and
        ``{feature.measure}`` for that of the row which the column `feature` names. None: any.
    least, most
        Bounds of value, low and high; ``over``: `least` itself is refused as well.
    by_key
        What gives unit and bounds by the key of the row, for tables with a fixed list of keys.
    """

    meaning: str
    unit: str | None = field(default=None, kw_only=True)
    least: float = field(default=0.0, kw_only=True)
    most: float = field(default=math.inf, kw_only=True)
    over: bool = field(default=False, kw_only=True)
    by_key: "Callable[[Any], Mapping[str, Number]] | None" = field(default=None, kw_only=True)

    @cached_property
    def amount(self) -> Amount:
        """The kind of column that value, low and high are."""
        return Amount("", least=self.least, most=self.most, over=self.over)

    @property
    def unit_in_words(self) -> str:
        """The unit with words for what stands in other cells."""
        if self.unit is None:
            return N_("any") if self.by_key is None else N_("that of its key")

        def said(found: re.Match[str]) -> str:
            return f"({found[2] or found[1]}{f' of the {found[1]}' if found[2] else ''})"

        return CELL.sub(said, self.unit)

    def columns(self) -> tuple[tuple[str, Column], ...]:
        """Return the seven columns."""
        amount = self.amount
        return (
            ("value", replace(amount, meaning=self.meaning)),
            ("unit", Unit(N_("its unit: {unit}", unit=self.unit_in_words))),
            ("low", replace(amount, meaning=N_("least it may be"))),
            ("high", replace(amount, meaning=N_("most it may be"))),
            *Basis("").columns(),
        )


@dataclass(frozen=True)
class Quantity(Number):
    """A number of a record that stands in a row of the table of its figures.

    Parameters
    ----------
    called
        What stands in the column `quantity`, where it is another than the name of the field.
    needed
        Whether every record must have it.
    bare
        Whether the record holds the bare value instead of the `Figure`.
    """

    called: str = field(default="", kw_only=True)
    needed: bool = field(default=True, kw_only=True)
    bare: bool = field(default=False, kw_only=True)


@dataclass(frozen=True)
class Quantities(Quantity):
    """A quantity that a record has several of, each a `record` told apart by the column `by`."""

    record: type = field(kw_only=True)
    by: str = field(kw_only=True)


@dataclass(frozen=True)
class Basis:
    """How well something other than a number is founded: columns class, source and note.

    Parameters
    ----------
    of
        What it is the basis of, and the first part of the columns' names (``months_class``).
    says
        What `patchnet source` says of it, with cells as ``{months}``; or what makes it of them.
    at
        End of its address; nothing: that of the row.
    noted
        Whether there is a column for a note.
    """

    of: str
    says: str | Callable[[Mapping[str, str]], str] = ""
    at: str = ""
    noted: bool = True

    @property
    def stem(self) -> str:
        """What the names of its columns begin with."""
        return f"{self.of}_" if self.of else ""

    @cached_property
    def founded(self) -> tuple[tuple[str, Column], tuple[str, Column]]:
        """The columns of class and source."""
        klass, source, *_ = self.columns()
        return klass, source

    def columns(self) -> tuple[tuple[str, Column], ...]:
        """Return the columns."""
        what = N_("what is said of its {of}", of=self.of) if self.of else N_("it")
        found: list[tuple[str, Column]] = [
            (f"{self.stem}class", Choice(N_("how well {what} is founded", what=what), of=CLASSES)),
            (
                f"{self.stem}source",
                Refs(N_("where {what} comes from", what=what), table="sources.csv", blank=NEEDED),
            ),
        ]
        if self.noted:
            found.append(
                (
                    f"{self.stem}note",
                    Text(N_("how {what} was got, in words", what=what), blank="", shown=False),
                )
            )
        return tuple(found)


@dataclass(frozen=True)
class MonthShares:
    """Twelve columns, jan to dec, with shares from 0 to 1."""

    meaning: str

    def columns(self) -> tuple[tuple[str, Column], ...]:
        """Return the twelve columns."""
        return tuple((month, Amount(self.meaning, least=0, most=1)) for month in MONTHS)


@dataclass(frozen=True)
class Names:
    """A name, and in a second column others that it goes by."""

    first: Column
    others: Column

    def columns(self, name: str) -> tuple[tuple[str, Column], ...]:
        """Return the two columns."""
        return ((self.first.name or name, self.first), (self.others.name, self.others))


@dataclass(frozen=True)
class FromCell:
    """The text of a cell of a basis, as it stands there."""

    name: str


@dataclass(frozen=True)
class SourcesOf:
    """The sources that a basis names."""

    of: str = ""


@dataclass(frozen=True)
class Made:
    """What is made of the key, and has no column."""

    of: Callable[[str], object]


@dataclass(frozen=True)
class RowsOf:
    """Rows of another table that belong to this one.

    Parameters
    ----------
    record
        Their class.
    by
        Column of theirs that names this record's row.
    order
        Column that they are sorted by; nothing: as they stand there.
    mapped
        Column and field that make a mapping of them instead of a tuple.
    missing
        What is wrong where there is none; nothing: there may be none.
    """

    record: type
    by: str
    order: str = ""
    mapped: tuple[str, str] | None = None
    missing: str = ""


@dataclass(frozen=True)
class Figures:
    """The table in which the quantities of a record stand, by its columns of the record's key."""

    file: str
    owner: tuple[str, ...]
