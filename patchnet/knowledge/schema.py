"""What a table declares: a record class with a kind of column at each field.

A record *is* its table. ``@table("features.csv", ...)`` over a frozen dataclass, whose fields are
``Annotated`` with kinds of column, is the one place that says which columns there are, what may
stand in them, in which unit and between which bounds, and what it means. Reading, checking,
``patchnet source``, ``patchnet tables`` and the tests all read it there.

A number can stand in a row of its own in a second table (``feature_figures.csv``), so that each
has unit, range, class, source and note: such a field is a `Quantity`.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from types import MappingProxyType
from typing import Any, Literal, TypeVar, get_args, get_origin

from patchnet.core.texts import N_
from patchnet.knowledge.columns import (
    Choice,
    Column,
    Reading,
    Ref,
    Refs,
    Text,
    Unit,
)
from patchnet.knowledge.parts import (
    CELL,
    Basis,
    Figures,
    MonthShares,
    Names,
    Number,
    Quantities,
    Quantity,
)
from patchnet.knowledge.row import Row

__all__ = [
    "TABLES",
    "Table",
    "table",
    "table_of",
    "unit_of",
]

R = TypeVar("R")

# What cells of these columns are called in a unit, and what one of them is called after "per".
_IN_UNIT = {
    "measure": {"m2": ("m2", "m2"), "m": ("m", "m"), "count": ("items", "item")},
    "counted": {"m2": ("m2 planted", "m2 planted"), "plants": ("plants", "plant")},
}


@dataclass(frozen=True)
class Table:
    """One table, as its record class declares it.

    Parameters
    ----------
    file
        Name of the file.
    meaning
        What a row is.
    called
        What a row is called in a sentence.
    key
        Columns that together name a row.
    columns
        Every column, in the order of a new file.
    record
        The class that a row becomes; None: rows are figures of another table's records.
    address
        What the addresses of its figures and bases begin with.
    fixed
        Whether only keys and units that ship mean anything.
    """

    file: str
    meaning: str
    called: str
    key: tuple[str, ...]
    columns: tuple[tuple[str, Column], ...]
    record: type | None = None
    address: str = ""
    fixed: bool = False
    bases: tuple[Basis, ...] = ()
    figures: Figures | None = None
    parts: tuple[tuple[str, Any], ...] = ()
    also: tuple[tuple[str, Column], ...] = ()
    quantities: Mapping[str, Quantity] = field(default_factory=dict)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The names of its columns."""
        return tuple(name for name, _ in self.columns)

    @cached_property
    def required(self) -> tuple[str, ...]:
        """Columns that every file of it must have: the key, and those never empty."""
        return tuple(name for name, kind in self.columns if kind.needed or name in self.key)

    @cached_property
    def refs(self) -> Mapping[str, str]:
        """Tables that its columns hold keys of, by column."""
        return {name: kind.table for name, kind in self.columns if isinstance(kind, Ref | Refs)}

    def refs_of(self, name: str) -> Ref | None:
        """Return one of its columns if it holds keys of another table."""
        kind = dict(self.columns).get(name)
        return kind if isinstance(kind, Ref) else None

    def column(self, name: str) -> Column:
        """Return one of its columns."""
        return dict(self.columns)[name]

    def address_of(self, cells: Mapping[str, str]) -> str:
        """Return what the addresses of a row's figures begin with."""
        return self.address.format_map(cells)


TABLES: dict[str, Table] = {}
"""Every table by its file, in the order in which they are declared."""
_OF: dict[type, Table] = {}


def table_of(record: type) -> Table:
    """Return the table that a record class declares."""
    return _OF[record]


def table(
    file: str,
    meaning: str,
    *,
    called: str,
    address: str = "",
    key: Sequence[str] = ("key",),
    also: Mapping[str, Column] = MappingProxyType({}),
    bases: Sequence[Basis] = (),
    figures: Figures | None = None,
    fixed: bool = False,
) -> Callable[[type[R]], type[R]]:
    """Declare the table of a record class; see `Table`.

    Parameters
    ----------
    file, meaning, called, address, key, bases, figures, fixed
        As in `Table`; if no address is given it is the file's name and the key.
    also
        Columns in front that are no fields of the record.
    """

    def declare(record: type[R]) -> type[R]:
        # What there are several of comes last, so that addresses stand in that order.
        parts = tuple(sorted(_parts(record), key=lambda part: isinstance(part[1], Quantities)))
        own_rows = figures is None or figures.file != file
        columns = [*also.items(), *_columns(parts)]
        columns += [pair for basis in bases for pair in basis.columns()]
        if any(isinstance(part, Number) and not isinstance(part, Quantity) for _, part in parts):
            columns = _notes_last(columns)
        stem = file.removesuffix(".csv")
        made = Table(
            file, meaning, key=tuple(key), columns=tuple(columns), record=record, fixed=fixed,
            bases=tuple(bases), figures=figures, parts=parts, also=tuple(also.items()),
            called=called, address=address or _address(stem, key),
        )  # fmt: skip
        if own_rows:
            TABLES[file] = made
        if figures is not None:
            TABLES[figures.file] = _figure_table(made, figures)
        _OF[record] = made
        return record

    return declare


def _parts(record: type) -> list[tuple[str, Any]]:
    """Each field's name and what it is annotated with; words of a Literal are its choices."""
    found = []
    for one in fields(record):
        kind, part = one.type, None
        if hasattr(kind, "__metadata__"):
            part = kind.__metadata__[0]
            if isinstance(part, Choice) and not callable(part.of) and not part.of:
                part = replace(part, of=_literal_words(get_args(kind)[0]))
        if part is None:
            raise TypeError(f"{record.__name__}.{one.name} says no kind of column.")
        found.append((one.name, part))
    return found


def _literal_words(kind: object) -> tuple[str, ...]:
    if get_origin(kind) is Literal:
        return tuple(word for word in get_args(kind) if word)
    return tuple(word for part in get_args(kind) for word in _literal_words(part))


def _columns(parts: Sequence[tuple[str, Any]]) -> list[tuple[str, Column]]:
    found: list[tuple[str, Column]] = []
    for name, part in parts:
        if isinstance(part, Column):
            found.append((part.name or name, part))
        elif isinstance(part, Names):
            found += part.columns(name)
        elif isinstance(part, MonthShares) or type(part) is Number:
            found += part.columns()
    return found


def _notes_last(columns: list[tuple[str, Column]]) -> list[tuple[str, Column]]:
    """A note is long: it stands at the end of the row."""
    return sorted(columns, key=lambda pair: pair[0] == "note")


def _address(stem: str, key: Sequence[str]) -> str:
    return "/".join([stem, *(f"{{{column}}}" for column in key)])


def _figure_table(owner: Table, figures: Figures) -> Table:
    quantities = {
        part.called or name: part for name, part in owner.parts if isinstance(part, Quantity)
    }
    several = [part for part in quantities.values() if isinstance(part, Quantities)]
    own_rows = owner.file != figures.file
    columns: list[tuple[str, Column]] = []
    for name in figures.owner:
        meaning = (
            N_("key of the {called}", called=owner.called)
            if len(figures.owner) == 1
            else N_("its {name}", name=name)
        )
        if not own_rows:
            columns.append((name, _key_of(owner)))
        elif len(figures.owner) == 1:
            columns.append((name, Ref(meaning, table=owner.file)))
        else:
            columns.append((name, owner.refs_of(name) or Text(meaning, shown=False)))
    columns.append(("quantity", Choice(N_("which number it is"), of=tuple(quantities))))
    for part in several:
        kind = dict(_parts(part.record))[part.by]
        columns.append(
            (
                part.by,
                replace(kind, blank="", meaning=N_("{meaning}; else empty", meaning=kind.meaning)),
            )
        )
    figure = dict(Number(N_("the number"), least=-math.inf).columns())
    figure["unit"] = Unit(N_("its unit, that of the quantity"))
    columns += figure.items()
    return Table(
        figures.file,
        N_("The numbers of each {called}, one a row.", called=owner.called),
        called=N_("number of a {called}", called=owner.called),
        key=(*figures.owner, "quantity", *(part.by for part in several)),
        columns=tuple(columns),
        address=owner.address,
        quantities=quantities,
    )


def _key_of(owner: Table) -> Column:
    return next(part for _, part in owner.parts if isinstance(part, Column))


def unit_of(
    unit: str, cells: Mapping[str, str], refs: Mapping[str, str], at: Reading
) -> str | None:
    """Return a unit with what stands in cells; None where a cell names nothing known."""
    if "{" not in unit:
        return unit
    said, end = "", 0
    for found in CELL.finditer(unit):
        said += unit[end : found.start()]
        end = found.end()
        column, other = found[1], found[2]
        cell = cells.get(column, "")
        if other:
            row: Row | None = at.keys(refs[column]).get(cell)
            if row is None:
                return None
            column, cell = other, row.cells[other]
        words = _IN_UNIT[column].get(cell) if column in _IN_UNIT else (cell, cell)
        if not cell or words is None:
            return None
        said += words[said.endswith("per ")]
    return said + unit[end:]
