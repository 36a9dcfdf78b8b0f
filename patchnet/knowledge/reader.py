"""The one reader: rows of any declared table to its records, every cell and reference checked."""

import math
from collections.abc import Callable, Collection, Mapping
from typing import Any, TypeVar

from patchnet.core.faults import Fault
from patchnet.core.texts import _
from patchnet.knowledge.columns import Column, Reading, parts_of
from patchnet.knowledge.kept import Asked, Found, Kept
from patchnet.knowledge.owned import Owned
from patchnet.knowledge.parts import (
    Basis,
    FromCell,
    Made,
    MonthShares,
    Names,
    Number,
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
    before
        What was read of such tables before: records of tables that have not changed since are
        taken from it.

    Attributes
    ----------
    figures, origins
        Every number and every other founded statement read so far, by address.
    """

    def __init__(
        self, tables: Mapping[str, list[Row]], faults: list[Fault], before: Kept | None = None
    ) -> None:
        self.tables = tables
        self.faults = faults
        self.figures: dict[str, Figure] = {}
        self.origins: dict[str, Origin] = {}
        self._before = before
        self._changed = Asked(set(tables)) if before is None else before.changed(tables)
        self._keys: dict[str, Mapping[str, Row]] = {
            table: keyed
            for table, keyed in (before.keyed if before else {}).items()
            if not self.changed(table)
        }
        self._found: dict[type, Found] = {}
        self._asked = Asked()
        self._made: dict[Callable[[Any], Any], tuple[Any, Asked]] = {}

    def kept(self) -> Kept:
        """Return what was read, for other tables of which many are the same."""
        return Kept(self.tables, self._found, self._keys)

    def changed(self, table: str) -> bool:
        """Whether a table has other rows than what was read before."""
        return table in self._changed.rows

    # what columns ask for --------------------------------------------------------------------

    def keys(self, table: str) -> Mapping[str, Row]:
        """Return rows of a table by key, its parts joined by ``/``."""
        self._asked.rows.add(table)
        return self._keyed(table)

    def has(self, table: str, key: str) -> bool:
        """Whether a table has a row of a key, its parts joined by ``/``."""
        self._asked.names.add(table)
        return key in self._keyed(table)

    def rows_of(self, table: str) -> list[Row]:
        """Return the rows of a table as text."""
        self._asked.rows.add(table)
        return self.tables[table]

    def _keyed(self, table: str) -> Mapping[str, Row]:
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
        found: Collection[str] = self._once(of)
        return found

    def _once(self, of: Callable[[Any], Any]) -> Any:  # noqa: ANN401 - what `of` makes
        """Make something of other tables once, and note each time what it asked them for."""
        if of not in self._made:
            outside, self._asked = self._asked, Asked()
            self._made[of] = of(self), self._asked
            self._asked = outside
        found, asked = self._made[of]
        self._asked.update(asked)
        return found

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
        before = self._before
        found = None if before is None else before.still(record, self._changed)
        if found is None:
            outside = self.figures, self.origins, self._asked
            self.figures, self.origins, self._asked = {}, {}, Asked()
            found = Found(self._read(record), self.figures, self.origins, self._asked)
            self.figures, self.origins, self._asked = outside
        self._found[record] = found
        self.figures.update(found.figures)
        self.origins.update(found.origins)
        self._asked.update(found.asked)
        return list(found.rows)

    def _read(self, record: type[R]) -> list[tuple[Row, R]]:
        table = table_of(record)
        below = {
            name: self._rows_of(part) for name, part in table.parts if isinstance(part, RowsOf)
        }
        owned = None if table.figures is None else Owned(self, table, table.figures)
        steps = [(name, self._step(table, name, part, below, owned)) for name, part in table.parts]
        found = []
        for row in self.rows_of(table.file) if owned is None else owned.owners:
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
        owned: "Owned | None",
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
            number = self._once(number.by_key).get(row.key[0], number)
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


def _as_number(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return math.inf  # said already when the row was read
