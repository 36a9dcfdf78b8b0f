"""Numbers of a record that stand in rows of their own, in a second table."""

import math
from typing import TYPE_CHECKING

from patchnet.core.faults import nearest_hint
from patchnet.core.texts import _
from patchnet.knowledge.parts import Figures, Quantities, Quantity
from patchnet.knowledge.row import Row
from patchnet.knowledge.schema import TABLES, Table, unit_of
from patchnet.knowledge.sources import Figure

if TYPE_CHECKING:
    from patchnet.knowledge.reader import Reader

__all__ = ["Owned"]


class Owned:
    """The rows of a table of figures, sorted by the records that they belong to."""

    def __init__(self, reader: "Reader", table: Table, place: Figures) -> None:
        self.reader, self.table, self.place = reader, table, place
        self.declared = TABLES[self.place.file]
        self.rows: dict[str, dict[str, Row]] = {}
        self.several: dict[str, dict[str, list[Row]]] = {}
        if table.file == self.place.file:
            firsts: dict[str, Row] = {}
            for row in reader.rows_of(table.file):
                firsts.setdefault(row.cells[self.place.owner[0]], row)
            self.owners = list(firsts.values())
        else:
            self.owners = reader.rows_of(table.file)
            self._check_owners(table.file)
        self.by = [
            one.by for one in self.declared.quantities.values() if isinstance(one, Quantities)
        ]
        for row in reader.rows_of(self.place.file):
            self._sort(row)

    def _owner(self, row: Row) -> str:
        return "/".join([row.cells[column] for column in self.place.owner])

    def _check_owners(self, file: str) -> None:
        """A key of one column is checked as any other; one of several as a whole."""
        known = self.reader.keys(file)
        for row in self.reader.rows_of(self.place.file):
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
