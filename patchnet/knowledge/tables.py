"""Tables of the knowledge room as rows: reading, laying over."""

import csv
from collections.abc import Iterable
from dataclasses import replace

from patchnet.core.fault_list import FaultList
from patchnet.core.faults import Fault, nearest_hint
from patchnet.core.table import NoTable, Table, heading, sheets_of, table_of
from patchnet.core.texts import _
from patchnet.knowledge.columns import MONTHS
from patchnet.knowledge.row import Row
from patchnet.knowledge.schema import TABLES
from patchnet.knowledge.schema import Table as Declared

__all__ = ["MONTHS", "lay_over", "read_shipped", "read_table"]


def read_shipped(table: str, text: str) -> list[Row]:
    """Read a table that ships, which is known to be as a program of ours would write it.

    Loading them is on the way of every command: what `read_table` looks for in people's files
    was looked for in these when they were tested.

    Parameters
    ----------
    table
        Name of the table, a key of `TABLES`.
    text
        The file: comma, a heading with every column, no empty line.
    """
    declared = TABLES[table]
    rows = csv.reader(text.splitlines())
    head = next(rows)
    return [
        Row(table, table, line, dict(zip(head, cells, strict=True)), declared.key)
        for line, cells in enumerate(rows, 2)
    ]


def read_table(table: str, data: bytes, where: str, faults: list[Fault]) -> list[Row]:
    """Read one table; add what is wrong with it to `faults`.

    Parameters
    ----------
    table
        Name of the table, a key of `TABLES`.
    data
        The file: CSV of any kind, or xlsx (see `core.table`).
    where
        How to name the file in faults and places.
    faults
        List that faults are added to.

    Returns
    -------
    list of Row
        Rows in the order of the file; blank lines are left out.
    """
    layout = TABLES[table]
    folded = {heading(column): column for column in layout.names}
    found = FaultList()
    try:
        sheets = sheets_of(data, where, found, known=folded)
    except NoTable as error:
        mend = f"{error.mend[:1].upper()}{error.mend[1:]}." if error.mend else ""
        mend = mend or _columns_wanted(layout)
        faults += [
            *found.faults,
            Fault("error", where, None, None, _("It {what}.").format(what=error.what), mend),
        ]
        return []
    read = table_of(sheets, where, found, known=folded)
    columns = [folded.get(heading(name), "") for name in read.columns]
    _check_columns(read, columns, layout, found)
    faults += found.faults
    # Twice the same column or one too few: its cells would be read wrongly.
    if any(fault.row == read.head and fault.severity == "error" for fault in found.faults):
        return []
    rows: dict[tuple[str, ...], Row] = {}
    for line, cells in read.rows:
        values = dict.fromkeys(layout.names, "")
        values.update({name: cell for name, cell in zip(columns, cells, strict=True) if name})
        row = Row(table, where, line, values, layout.key, frozenset(values) - set(columns))
        before = rows.setdefault(row.key, row)
        if before is not row:
            what = _("This key stands already in line {line}.").format(line=before.line)
            faults.append(row.fault(what, _("Keep one of the two.")))
    return list(rows.values())


def lay_over(below: Iterable[Row], above: Iterable[Row]) -> list[Row]:
    """Lay rows over others: the same key replaces in its place, a new key comes last.

    Columns that the file of a row does not have stay as they were: tables written before there
    was a column keep what it says.
    """
    merged = {row.key: row for row in below}
    for row in above:
        old = merged.get(row.key)
        kept = {} if old is None else {column: old.cells[column] for column in row.absent}
        merged[row.key] = replace(row, cells={**row.cells, **kept})
    return list(merged.values())


def _columns_wanted(layout: Declared) -> str:
    return _("Its first line must name the columns: {names}.").format(names=", ".join(layout.names))


def _check_columns(read: Table, columns: list[str], layout: Declared, faults: FaultList) -> None:
    for name in dict.fromkeys(read.columns):
        if name and not columns[read.columns.index(name)]:
            hint = nearest_hint(heading(name), layout.names)
            what = _("The column '{name}' is not one of this table.{hint}").format(
                name=name, hint=hint
            )
            faults.error(read.where, what, _columns_wanted(layout), row=read.head)
    missing = [name for name in layout.required if name not in columns]
    if missing:
        what = _("Missing column: {missing}.").format(missing=", ".join(missing))
        faults.error(read.where, what, _columns_wanted(layout), row=read.head)
    bare = [at for at, name in enumerate(read.columns) if not name]
    for line, cells in read.rows:
        for at in bare:
            if cells[at]:
                what = _("The cell '{cell}' stands in a column without a heading.").format(
                    cell=cells[at][:40]
                )
                faults.error(read.where, what, _("Delete it, or name the column."), row=line)
