"""The kinds of column that a table can have: what a cell may hold, and how it is read.

Each kind says its `meaning` in plain words and what `may_stand` in its cells, so that the same
words serve the reader of a table, its faults and the page of tables.
"""

import math
import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from typing import Literal, Protocol

from patchnet.core.faults import nearest_hint
from patchnet.core.texts import _
from patchnet.knowledge.row import Row

__all__ = [
    "MONTHS",
    "NEEDED",
    "Amount",
    "Choice",
    "Choices",
    "Column",
    "Flag",
    "Key",
    "Months",
    "Reading",
    "Ref",
    "Refs",
    "Tags",
    "Text",
    "Unit",
    "Words",
    "parts_of",
]

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
NEEDED: Literal["needed"] = "needed"
"""What `Column.blank` is where a cell must be filled in."""

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
_TO = re.compile(r"\s*[-\u2013]\s*")
_MONTH_NUMBERS = {str(number): number for number in range(1, 13)}
_MONTH_NAMES = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september",
    "october", "november", "december",
)  # fmt: skip


class Reading(Protocol):
    """What a column needs to know of the tables while a cell is read."""

    def keys(self, table: str) -> Mapping[str, Row]:
        """Rows of another table by key."""
        ...

    def has(self, table: str, key: str) -> bool:
        """Whether another table has a row of a key."""
        ...

    def called(self, table: str) -> str:
        """What a row of another table is called in a sentence."""
        ...

    def words(self, of: Callable[["Reading"], Collection[str]]) -> Collection[str]:
        """Words that depend on other tables."""
        ...

    def say(self, row: Row, what: str, mend: str) -> None:
        """Add a fault of a row."""
        ...


@dataclass(frozen=True)
class Column:
    """One column of a table.

    Parameters
    ----------
    meaning
        What it says, in plain words.
    name
        Heading in the file, where it is another than the name of the record's field.
    blank
        What an empty cell stands for; `NEEDED`: it must be filled in. A file need not have a
        column whose cells may be empty.
    """

    meaning: str
    name: str = field(default="", kw_only=True)
    blank: object = field(default=NEEDED, kw_only=True)

    @property
    def needed(self) -> bool:
        """Whether a cell must be filled in."""
        return self.blank is NEEDED

    @property
    def may_stand(self) -> str:
        """What a cell may hold, in plain words."""
        return "text"

    def read(self, at: Reading, row: Row, name: str) -> object:
        """Return what a cell says; where it says nothing, add a fault and return a stand-in."""
        cell = row.cells[name]
        if cell:
            return self.value(at, row, name, cell)
        if self.needed:
            at.say(
                row,
                _("The cell '{name}' is empty.").format(name=name),
                _("Write {may_stand}.").format(may_stand=self.may_stand),
            )
            return self.stand_in(at)
        return self.blank

    def value(self, at: Reading, row: Row, name: str, cell: str) -> object:
        """Return what a cell that is not empty says."""
        del at, row, name
        return cell

    def stand_in(self, at: Reading) -> object:
        """Return the value to use after a fault."""
        del at
        return ""


@dataclass(frozen=True)
class Text(Column):
    """Words in a sentence's or a name's form; those that are `shown` stand in the catalogue."""

    shown: bool = field(default=True, kw_only=True)

    def value(self, at: Reading, row: Row, name: str, cell: str) -> str:
        """Return what a cell says, in the language of this process."""
        del at, row, name
        return _(cell) if self.shown else cell


@dataclass(frozen=True)
class Key(Column):
    """The word that names a row; with `dashes` it may have them."""

    dashes: bool = field(default=False, kw_only=True)

    @property
    def may_stand(self) -> str:
        """See `Column.may_stand`."""
        return _("small letters, digits{words} and underscores").format(
            words=", dashes" if self.dashes else ""
        )

    def value(self, at: Reading, row: Row, name: str, cell: str) -> str:
        """See `Column.value`."""
        del name
        bare = cell.replace("-", "_") if self.dashes else cell
        if not (bare.isascii() and bare.replace("_", "a").isalnum() and bare == bare.lower()):
            at.say(
                row,
                _("'{cell}' is not a valid key.").format(cell=cell),
                _("Use {may_stand}.").format(may_stand=self.may_stand),
            )
        return cell


@dataclass(frozen=True)
class Words(Column):
    """Several texts with ``;`` between them; none if the cell is empty."""

    blank: object = field(default=(), kw_only=True)

    @property
    def may_stand(self) -> str:
        """See `Column.may_stand`."""
        return _("words with ; between them")

    def value(self, at: Reading, row: Row, name: str, cell: str) -> tuple[str, ...]:
        """See `Column.value`."""
        return _parts_of(at, row, name, cell)

    def stand_in(self, at: Reading) -> object:
        """See `Column.stand_in`."""
        del at
        return ()


@dataclass(frozen=True)
class Flag(Column):
    """Yes or no."""

    @property
    def may_stand(self) -> str:
        """See `Column.may_stand`."""
        return _("y or n")

    def value(self, at: Reading, row: Row, name: str, cell: str) -> bool:
        """See `Column.value`."""
        if cell not in ("n", "y"):
            what = _("'{cell}' in the column '{name}' is neither y nor n.").format(
                cell=cell, name=name
            )
            at.say(row, what, _("Write one of: n, y."))
        return cell == "y"

    def stand_in(self, at: Reading) -> object:
        """See `Column.stand_in`."""
        del at
        return False


@dataclass(frozen=True)
class Choice(Column):
    """One of some words.

    Parameters
    ----------
    of
        The words, or what works them out of other tables; if left out, those of the field's
        ``Literal``.
    told
        What may stand there, where it is worked out.
    """

    of: Collection[str] | Callable[[Reading], Collection[str]] = field(default=(), kw_only=True)
    told: str = field(default="", kw_only=True)

    @property
    def may_stand(self) -> str:
        """See `Column.may_stand`."""
        if callable(self.of):
            return self.told
        return _("one of: {of}").format(of=", ".join(self.of))

    def choices(self, at: Reading) -> Collection[str]:
        """Return the words."""
        return at.words(self.of) if callable(self.of) else self.of

    def value(self, at: Reading, row: Row, name: str, cell: str) -> object:
        """See `Column.value`."""
        choices = self.choices(at)
        if cell in choices:
            return cell
        hint = nearest_hint(cell, choices)
        what = _("'{cell}' in the column '{name}' is not one of the words for it.{hint}").format(
            cell=cell, name=name, hint=hint
        )
        at.say(row, what, _("Write one of: {choices}.").format(choices=", ".join(choices)))
        return next(iter(choices))

    def stand_in(self, at: Reading) -> object:
        """See `Column.stand_in`."""
        return next(iter(self.choices(at)))


@dataclass(frozen=True)
class Choices(Choice):
    """Some of some words, ``;`` between them, as a tuple or as what `into` makes of it."""

    blank: object = field(default=(), kw_only=True)
    into: Callable[[tuple[str, ...]], object] = field(default=tuple, kw_only=True)

    @property
    def may_stand(self) -> str:
        """See `Column.may_stand`."""
        words = self.told if callable(self.of) else ", ".join(self.of)
        return _("some of these, with ; between them: {words}").format(words=words)

    def value(self, at: Reading, row: Row, name: str, cell: str) -> object:
        """See `Column.value`."""
        choices, parts = self.choices(at), _parts_of(at, row, name, cell)
        for part in parts:
            if part not in choices:
                hint = nearest_hint(part, choices)
                what = _("'{part}' in the column '{name}' is not a word for it.{hint}").format(
                    part=part, name=name, hint=hint
                )
                at.say(row, what, _("Write some of: {choices}.").format(choices=", ".join(choices)))
        return self.into(tuple(part for part in parts if part in choices))

    def stand_in(self, at: Reading) -> object:
        """See `Column.stand_in`."""
        del at
        return self.into(())


@dataclass(frozen=True)
class Ref(Column):
    """The key of a row of another table."""

    table: str = field(kw_only=True)

    @property
    def may_stand(self) -> str:
        """See `Column.may_stand`."""
        return _("a key of {table}").format(table=self.table)

    def value(self, at: Reading, row: Row, name: str, cell: str) -> object:
        """See `Column.value`."""
        _must_be_known(at, row, name, cell, self.table)
        return cell


@dataclass(frozen=True)
class Refs(Column):
    """Keys of rows of another table, ``;`` between them; none if the cell may be empty."""

    table: str = field(kw_only=True)
    blank: object = field(default=(), kw_only=True)

    @property
    def may_stand(self) -> str:
        """See `Column.may_stand`."""
        return _("keys of {table} with ; between them").format(table=self.table)

    def value(self, at: Reading, row: Row, name: str, cell: str) -> tuple[str, ...]:
        """See `Column.value`."""
        parts = _parts_of(at, row, name, cell)
        for part in parts:
            _must_be_known(at, row, name, part, self.table)
        return parts

    def stand_in(self, at: Reading) -> object:
        """See `Column.stand_in`."""
        del at
        return ()


@dataclass(frozen=True)
class Months(Column):
    """Months 1-12 from text such as ``mar-jun``, ``nov-feb`` or ``3-5;9``.

    The tables that ship write names: spreadsheet programs turn ``3-6`` into a date.
    """

    @property
    def may_stand(self) -> str:
        """See `Column.may_stand`."""
        return _("months such as mar-jun, nov-feb or mar-may;sep")

    def value(self, at: Reading, row: Row, name: str, cell: str) -> tuple[int, ...]:
        """See `Column.value`."""
        months: list[int] = []
        for part in _parts_of(at, row, name, cell):
            ends = [_month(end) for end in _TO.split(part)]
            if len(ends) > 2 or 0 in ends:
                what = _(
                    "'{part}' in the column '{name}' is not a month or span of months."
                ).format(part=part, name=name)
                at.say(row, what, _("Write {may_stand}.").format(may_stand=self.may_stand))
                continue
            first, last = ends[0], ends[-1]
            months += [(first - 1 + step) % 12 + 1 for step in range((last - first) % 12 + 1)]
        return tuple(dict.fromkeys(months))

    def stand_in(self, at: Reading) -> object:
        """See `Column.stand_in`."""
        del at
        return ()


@dataclass(frozen=True)
class Amount(Column):
    """A number without a unit of its own.

    Parameters
    ----------
    least, most
        Bounds; ``over``: `least` itself is refused as well.
    whole
        Whether it has no decimals.
    """

    least: float = field(default=-math.inf, kw_only=True)
    most: float = field(default=math.inf, kw_only=True)
    over: bool = field(default=False, kw_only=True)
    whole: bool = field(default=False, kw_only=True)

    @property
    def may_stand(self) -> str:
        """See `Column.may_stand`."""
        return f"{(_('a whole number') if self.whole else _('a number'))}{self.bounds}"

    @property
    def bounds(self) -> str:
        """The bounds in words, with a blank before them; nothing where there are none."""
        if self.least > -math.inf and self.most < math.inf:
            return _(" {least:g} to {most:g}").format(least=self.least, most=self.most)
        if self.least > -math.inf:
            return f" {(_('above') if self.over else _('of at least'))} {self.least:g}"
        return ""

    def value(self, at: Reading, row: Row, name: str, cell: str) -> float | int:
        """See `Column.value`."""
        del cell
        number = self.number(at, row, name)
        if not self.whole or math.isnan(number):
            return number
        if number != int(number):
            at.say(
                row,
                _("'{name}' is {number:g}.").format(name=name, number=number),
                _("Write a whole number."),
            )
        return int(number)

    def number(self, at: Reading, row: Row, name: str) -> float:
        """Return the number in a cell; NaN where it is none."""
        cell = row.cells[name]
        if not _NUMBER.fullmatch(cell) or math.isinf(number := float(cell)):
            what = _("'{cell}' in the column '{name}' is not a number.").format(
                cell=cell, name=name
            )
            mend = _("Write digits and a decimal point, without the unit.")
            if not cell:
                what, mend = (
                    _("The cell '{name}' is empty.").format(name=name),
                    _("Write {may_stand}.").format(may_stand=self.may_stand),
                )
            at.say(row, what, mend)
            return math.nan
        if number < self.least or number > self.most or (self.over and number == self.least):
            called = f"{number:g}"
            at.say(
                row,
                _("'{name}' is {called}.").format(name=name, called=called),
                self._bound(number),
            )
        return number

    def _bound(self, number: float) -> str:
        if number < 0 == self.least:
            return _("It cannot be negative.")
        if self.most < math.inf:
            return _("It must lie between {least:g} and {most:g}.").format(
                least=self.least, most=self.most
            )
        least = f"{self.least:g}"
        return _("It must be {words} {least}.").format(
            words=_("more than") if self.over else _("at least"), least=least
        )

    def stand_in(self, at: Reading) -> object:
        """See `Column.stand_in`."""
        del at
        return math.nan


@dataclass(frozen=True)
class Unit(Text):
    """The unit of a number, which may be fixed by the table."""


@dataclass(frozen=True)
class Tags(Column):
    """Pairs of key and value, ``&`` between them."""

    @property
    def may_stand(self) -> str:
        """See `Column.may_stand`."""
        return "key=value, or key=*, with & between several"

    def value(self, at: Reading, row: Row, name: str, cell: str) -> tuple[tuple[str, str], ...]:
        """See `Column.value`."""
        del name
        pairs = [part.partition("=") for part in cell.split("&")]
        for part in pairs:
            if not all(part):
                what = _("'{part}' is not a tag.").format(part="".join(part)[:40])
                at.say(row, what, _("Write key=value, or key=*."))
        return tuple((key.strip(), value.strip()) for key, __, value in pairs)

    def stand_in(self, at: Reading) -> object:
        """See `Column.stand_in`."""
        del at
        return ()


def parts_of(cell: str) -> tuple[str, ...]:
    """Return the parts of a cell that has ``;`` between them."""
    if ";" not in cell:
        return (cell,) if cell else ()
    return tuple([part for one in cell.split(";") if (part := one.strip())])


def _parts_of(at: Reading, row: Row, name: str, cell: str) -> tuple[str, ...]:
    parts = parts_of(cell)
    if not parts:
        at.say(
            row,
            _("'{cell}' in the column '{name}' names nothing.").format(cell=cell, name=name),
            _("Write what is meant."),
        )
    return parts


def _month(text: str) -> int:
    """Return the month of a number, a name or at least three of its letters; 0 if it is none."""
    word = text.casefold()
    if word in _MONTH_NUMBERS or len(word) < 3:
        return _MONTH_NUMBERS.get(word, 0)
    return next((at for at, name in enumerate(_MONTH_NAMES, 1) if name.startswith(word)), 0)


def _must_be_known(at: Reading, row: Row, name: str, cell: str, table: str) -> None:
    if at.has(table, cell):
        return
    known, called = at.keys(table), at.called(table)
    at.say(
        row,
        _("'{cell}' in the column '{name}' is not a known {called}.{nearest_hint}").format(
            cell=cell, name=name, called=called, nearest_hint=nearest_hint(cell, known)
        ),
        _("Write a key of {table}, or add it there.").format(table=table),
    )
