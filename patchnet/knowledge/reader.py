"""The one reader: rows of any declared table to its records, every cell and reference checked."""

import math
from collections.abc import Callable, Collection, Mapping
from typing import Any, TypeVar

from patchnet.core.faults import Fault, nearest_hint
from patchnet.core.texts import _
from patchnet.knowledge.columns import Column, Reading, parts_of
from patchnet.knowledge.parts import (
    Basis,
    Figures,
    FromCell,
    Made,
    MonthShares,
    Names,
    Number,
    Quantities,
    Quantity,
    RowsOf,
    SourcesOf,
)
from patchnet.knowledge.row import Row
from patchnet.knowledge.schema import TABLES, Table, table_of, unit_of
from patchnet.knowledge.sources import Figure, Origin

__all__ = ["Reader"]

R = TypeVar("R")
# Sources that are no published work: a number of theirs cannot be of class "published".
_NOT_PUBLISHED = frozenset({"patchnet", "common_practice", "memory", "memory_plants"})
_FOUND = ("published", "second-hand")


class Reader:
    """Reads records out of rows and keeps what is found on the way.

    Parameters
    ----------
    tables
        Rows of every table, by file name.
    faults
        List that faults are added to.

    Attributes
    ----------
    figures, origins
        Every number and every other founded statement read so far, by address.
    """

    def __init__(self, tables: Mapping[str, list[Row]], faults: list[Fault]) -> None:
        self.tables = tables
        self.faults = faults
        self.figures: dict[str, Figure] = {}
        self.origins: dict[str, Origin] = {}
        self._keys: dict[str, dict[str, Row]] = {}
        self._words: dict[Callable[[Reading], Collection[str]], Collection[str]] = {}
        self._by_key: dict[Callable[[Any], Mapping[str, Number]], Mapping[str, Number]] = {}

    # what columns ask for --------------------------------------------------------------------

    def keys(self, table: str) -> Mapping[str, Row]:
        """Return rows of a table by key, its parts joined by ``/``."""
        found = self._keys.get(table)
        if found is None:
            found = {"/".join(row.key): row for row in self.tables[table]}
            self._keys[table] = found
        return found

    def called(self, table: str) -> str:
        """Return what a row of a table is called."""
        return _(TABLES[table].called)

    def words(self, of: Callable[[Reading], Collection[str]]) -> Collection[str]:
        """Return words that depend on other tables, worked out once."""
        if of not in self._words:
            self._words[of] = of(self)
        return self._words[of]

    def say(self, row: Row, what: str, mend: str) -> None:
        """Add a fault of a row."""
        self.faults.append(row.fault(what, mend))

    def must_have(self, table: str, wanted: Collection[str], called: str) -> None:
        """Add a fault for each key that a table with a fixed list of keys does not have."""
        found = self.keys(table)
        for key in wanted if found else ():
            if key not in found:
                what = _("There is no {called} '{key}'.").format(called=called, key=key)
                self.say(
                    self.tables[table][-1],
                    what,
                    _("Add a row for it to {table}.").format(table=table),
                )

    # records ---------------------------------------------------------------------------------

    def keyed(self, record: type[R]) -> dict[str, R]:
        """Return the records of a table by the key of their rows."""
        return {"/".join(row.key): one for row, one in self.rows(record)}

    def all(self, record: type[R]) -> tuple[R, ...]:
        """Return the records of a table in its order."""
        return tuple(one for _, one in self.rows(record))

    def rows(self, record: type[R]) -> list[tuple[Row, R]]:
        """Return the rows of a table with the record that each becomes."""
        table = table_of(record)
        below = {
            name: self._rows_of(part) for name, part in table.parts if isinstance(part, RowsOf)
        }
        owned = None if table.figures is None else _Owned(self, table, table.figures)
        steps = [(name, self._step(table, name, part, below, owned)) for name, part in table.parts]
        found = []
        for row in self.tables[table.file] if owned is None else owned.owners:
            for name, kind in table.also:
                kind.read(self, row, name)
            for basis in table.bases:
                self._basis(table, basis, row)
            found.append((row, record(**{name: step(row) for name, step in steps})))
        return found

    def _step(
        self,
        table: Table,
        name: str,
        part: object,
        below: Mapping[str, Mapping[str, list[tuple[Row, Any]]]],
        owned: "_Owned | None",
    ) -> Callable[[Row], object]:
        """Return what reads one field of a record out of its row."""
        match part:
            case Column():
                column = part.name or name
                return lambda row: part.read(self, row, column)
            case Quantity() if owned is not None:
                called = part.called or name
                return lambda row: owned.quantity(row, called, part)
            case Number():
                return lambda row: self._own_figure(table, row, part)
            case RowsOf():
                return lambda row: self._gathered(part, row, below[name].get(row.key[0], []))
        return self._composed(name, part)

    def _composed(self, name: str, part: object) -> Callable[[Row], object]:
        """Return what makes one field of several columns, or of none."""
        match part:
            case MonthShares():
                months = part.columns()
                return lambda row: tuple([kind.read(self, row, month) for month, kind in months])
            case Names():
                return lambda row: self._names(part, row, name)
            case FromCell():
                return lambda row: row.cells[part.name]
            case SourcesOf():
                column = f"{part.of}_source" if part.of else "source"
                return lambda row: parts_of(row.cells[column])
            case Made():
                return lambda row: part.of(row.key[0])
        raise TypeError(f"{part!r} is no kind of column.")

    def _names(self, part: Names, row: Row, name: str) -> tuple[object, ...]:
        (first, one), (others, more) = part.columns(name)
        rest = more.read(self, row, others)
        return (one.read(self, row, first), *(rest if isinstance(rest, tuple) else ()))

    # rows of other tables ----------------------------------------------------------------------

    def _rows_of(self, part: RowsOf) -> Mapping[str, list[tuple[Row, Any]]]:
        found: dict[str, list[tuple[Row, Any]]] = {}
        rows: list[tuple[Row, Any]] = self.rows(part.record)
        for row, record in rows:
            found.setdefault(row.cells[part.by], []).append((row, record))
        return found

    def _gathered(self, part: RowsOf, row: Row, found: list[tuple[Row, Any]]) -> object:
        if not found and part.missing:
            self.say(
                row,
                part.missing,
                _("Add rows for it to {file}.").format(file=table_of(part.record).file),
            )
        if part.order:
            found = sorted(found, key=lambda pair: _as_number(pair[0].cells[part.order]))
        if part.mapped is not None:
            key, value = part.mapped
            return {one.cells[key]: getattr(record, value) for one, record in found}
        return tuple(record for __, record in found)

    # numbers and what they are founded on ------------------------------------------------------

    def _own_figure(self, table: Table, row: Row, number: Number) -> Figure:
        if number.by_key is not None:
            if number.by_key not in self._by_key:
                self._by_key[number.by_key] = number.by_key(self)
            number = self._by_key[number.by_key].get(row.key[0], number)
        unit = number.unit and unit_of(number.unit, row.cells, table.refs, self)
        return self.figure(row, table.address_of(row.cells), number, unit)

    def figure(self, row: Row, address: str, number: Number, unit: str | None) -> Figure:
        """Return the number of a row, and keep it under its address."""
        cells, read = row.cells, number.amount.number
        value = read(self, row, "value")
        # Many numbers have no range: what is written alike is read once.
        low = value if cells["low"] == cells["value"] else read(self, row, "low")
        high = value if cells["high"] == cells["value"] else read(self, row, "high")
        if low > value or value > high:
            mend = _("low must be at most value, and value at most high.")
            self.say(
                row,
                _("The range {low:g} to {high:g} does not hold {value:g}.").format(
                    low=low, high=high, value=value
                ),
                mend,
            )
        written = cells["unit"]
        if not written:
            self.say(
                row,
                _("The cell 'unit' is empty."),
                _("Write {unit}.").format(unit=unit or _("the unit")),
            )
        elif unit is not None and written != unit:
            self.say(
                row,
                _("The unit is '{written}'.").format(written=written),
                _("This number must be in '{unit}'.").format(unit=unit),
            )
        kind, keys = self._founded(row, _PLAIN)
        found = Figure(address, value, written, low, high, kind, keys, cells["note"], row.place)
        self.figures[address] = found
        return found

    def _basis(self, table: Table, basis: Basis, row: Row) -> tuple[str, ...]:
        kind, keys = self._founded(row, basis)
        says = basis.says
        words = says(row.cells) if callable(says) else says.format_map(row.cells)
        key = table.address_of(row.cells) + (f"/{basis.at}" if basis.at else "")
        note = row.cells[f"{basis.stem}note"] if basis.noted else ""
        self.origins[key] = Origin(key, words, kind, keys, note, row.place)
        return keys

    def _founded(self, row: Row, basis: Basis) -> tuple[Any, tuple[str, ...]]:
        (first, klass), (second, source) = basis.founded
        kind = klass.read(self, row, first)
        if not row.cells[second]:
            mend = _("Name a key of sources.csv; 'patchnet' is for our own assumptions.")
            self.say(row, _("The cell '{second}' names no source.").format(second=second), mend)
            return kind, ()
        keys = source.read(self, row, second)
        named: tuple[str, ...] = keys if isinstance(keys, tuple) else ()
        if row.cells[first] in _FOUND and _NOT_PUBLISHED.issuperset(named):
            what = _(
                "The class '{kind}' needs a published work or named body as its source."
            ).format(kind=kind)
            self.say(row, what, _("Name one in sources.csv, or change the class."))
        return kind, named


_PLAIN = Basis("")


class _Owned:
    """The rows of a table of figures, sorted by the records that they belong to."""

    def __init__(self, reader: Reader, table: Table, place: Figures) -> None:
        self.reader, self.table, self.place = reader, table, place
        self.declared = TABLES[self.place.file]
        self.rows: dict[str, dict[str, Row]] = {}
        self.several: dict[str, dict[str, list[Row]]] = {}
        if table.file == self.place.file:
            firsts: dict[str, Row] = {}
            for row in reader.tables[table.file]:
                firsts.setdefault(row.cells[self.place.owner[0]], row)
            self.owners = list(firsts.values())
        else:
            self.owners = reader.tables[table.file]
            self._check_owners(reader.keys(table.file))
        self.by = [
            one.by for one in self.declared.quantities.values() if isinstance(one, Quantities)
        ]
        for row in reader.tables[self.place.file]:
            self._sort(row)

    def _owner(self, row: Row) -> str:
        return "/".join([row.cells[column] for column in self.place.owner])

    def _check_owners(self, known: Mapping[str, Row]) -> None:
        """A key of one column is checked as any other; one of several as a whole."""
        for row in self.reader.tables[self.place.file]:
            owner = self._owner(row)
            if owner not in known:
                called = _(self.table.called)
                self.reader.say(
                    row,
                    _("'{owner}' is not a known {called}.{nearest_hint}").format(
                        owner=owner, called=called, nearest_hint=nearest_hint(owner, known)
                    ),
                    _("Write a key of {file}, or add it there.").format(file=self.table.file),
                )

    def _sort(self, row: Row) -> None:
        quantity = row.cells["quantity"]
        part = self.declared.quantities.get(quantity)
        if part is None:
            self.declared.column("quantity").read(self.reader, row, "quantity")
        for column in self.by:
            if not isinstance(part, Quantities) and row.cells[column]:
                mend = _("Leave the cell '{column}' empty: '{quantity}' has none.").format(
                    column=column, quantity=quantity
                )
                self.reader.say(
                    row,
                    _("'{quantity}' has a {column}.").format(quantity=quantity, column=column),
                    mend,
                )
                return
        owner = self._owner(row)
        if isinstance(part, Quantities):
            self.several.setdefault(owner, {}).setdefault(quantity, []).append(row)
        else:
            self.rows.setdefault(owner, {})[quantity] = row

    def quantity(self, row: Row, called: str, part: Quantity) -> object:
        """Return a number of a record, or several of them."""
        owner = self._owner(row) if self.table.file == self.place.file else "/".join(row.key)
        if isinstance(part, Quantities):
            return self._all(row, owner, called, part)
        found = self.rows.get(owner, {}).get(called)
        if found is None:
            if not part.needed:
                return None
            what = _("It has no number for '{called}'.").format(called=called)
            self.reader.say(
                row, what, _("Add a row for it to {file}.").format(file=self.place.file)
            )
            none = Figure("", math.nan, "", math.nan, math.nan, "assumption", (), "", row.place)
            return math.nan if part.bare else none
        figure = self._figure(row, found, f"{self.table.address_of(row.cells)}/{called}", part)
        return figure.value if part.bare else figure

    def _figure(self, owner: Row, row: Row, address: str, part: Quantity) -> Figure:
        unit = part.unit
        if unit is not None and "{" in unit:
            refs = {**self.declared.refs, **self.table.refs}
            unit = unit_of(unit, {**row.cells, **owner.cells}, refs, self.reader)
        return self.reader.figure(row, address, part, unit)

    def _all(self, owner: Row, key: str, called: str, part: Quantities) -> tuple[object, ...]:
        rows = self.several.get(key, {}).get(called, [])
        if not rows and part.needed:
            what = _("It has no {meaning}.").format(meaning=_(part.meaning))
            mend = _("Add a row with the quantity '{called}' and its {by} to {file}.").format(
                called=called, by=part.by, file=self.place.file
            )
            self.reader.say(owner, what, mend)
        base = f"{self.table.address_of(owner.cells)}/{called}"
        by = self.declared.column(part.by)
        return tuple(
            part.record(
                by.read(self.reader, row, part.by),
                self._figure(owner, row, f"{base}/{row.cells[part.by]}", part),
            )
            for row in rows
        )


def _as_number(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return math.inf  # said already when the row was read
