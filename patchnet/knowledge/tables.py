"""Tables of the knowledge room as rows: reading, laying over."""

import csv
import io
from collections.abc import Iterable
from dataclasses import replace

from patchnet.core.faults import Fault, nearest_hint
from patchnet.knowledge.columns import MONTHS
from patchnet.knowledge.row import Row
from patchnet.knowledge.schema import TABLES, Table

__all__ = ["MONTHS", "lay_over", "read_shipped", "read_table"]

# A cell in a file saved by a spreadsheet program is never longer than 32,767 characters.
_CELL_LIMIT = 32_767


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
        File name of the table, a key of `TABLES`.
    data
        The file: UTF-8 with or without a byte order mark, commas or semicolons between cells.
    where
        How to name the file in faults and places.
    faults
        List that faults are added to.

    Returns
    -------
    list of Row
        Rows in the order of the file; blank lines are left out.
    """
    text = _decode(data, where, faults)
    if text is None:
        return []
    layout = TABLES[table]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_separator(text, layout))
    rows: list[Row] = []
    line = 1
    columns: list[str] | None = None
    seen: dict[tuple[str, ...], int] = {}
    try:
        for cells in reader:
            start, line = line, reader.line_num + 1
            stripped = [cell.strip() for cell in cells]
            if not any(stripped):
                continue
            if columns is None:
                columns = _header(stripped, layout, where, start, faults)
                if columns is None:
                    return []
                continue
            row = _row(table, where, start, columns, stripped, faults)
            if row.key in seen:
                faults.append(
                    row.fault(
                        f"This key stands already in line {seen[row.key]}.", "Keep one of the two."
                    )
                )
                continue
            seen[row.key] = start
            rows.append(row)
    except csv.Error as error:
        faults.append(
            Fault(
                "error",
                where,
                reader.line_num,
                None,
                f"The line cannot be read as CSV: {error}.",
                "Look for a quotation mark that is not closed, or save the table again as CSV.",
            )
        )
    if columns is None:
        faults.append(
            Fault("error", where, None, None, "The table is empty.", _columns_wanted(layout))
        )
    return rows


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


def _columns_wanted(layout: Table) -> str:
    return f"Its first line must name the columns: {', '.join(layout.names)}."


def _decode(data: bytes, where: str, faults: list[Fault]) -> str | None:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        faults.append(
            Fault(
                "error",
                where,
                line,
                None,
                "The table is not UTF-8 text, so letters such as é would come out wrong.",
                "Save it from the spreadsheet as 'CSV UTF-8'.",
            )
        )
        return None


def _separator(text: str, layout: Table) -> str:
    """Return the separator under which the first line names more of the columns."""
    first = next((line for line in text.splitlines() if line.strip()), "")

    def known(separator: str) -> int:
        names = {cell.strip().strip('"').casefold() for cell in first.split(separator)}
        return len(names & set(layout.names))

    return ";" if known(";") > known(",") else ","


def _header(
    cells: list[str], layout: Table, where: str, line: int, faults: list[Fault]
) -> list[str] | None:
    columns = [cell.casefold() for cell in cells]
    named = [column for column in columns if column]
    before = len(faults)
    for column in dict.fromkeys(named):
        if column not in layout.names:
            hint = nearest_hint(column, layout.names)
            faults.append(
                Fault(
                    "error",
                    where,
                    line,
                    None,
                    f"The column '{column}' is not one of this table.{hint}",
                    _columns_wanted(layout),
                )
            )
        if named.count(column) > 1:
            what = f"The column '{column}' stands there more than once."
            faults.append(Fault("error", where, line, None, what, "Keep one of them."))
    missing = [column for column in layout.required if column not in named]
    if missing:
        faults.append(
            Fault(
                "error",
                where,
                line,
                None,
                f"Missing column: {', '.join(missing)}.",
                _columns_wanted(layout),
            )
        )
    return columns if len(faults) == before else None


def _row(
    table: str, where: str, line: int, columns: list[str], cells: list[str], faults: list[Fault]
) -> Row:
    padded = cells + [""] * (len(columns) - len(cells))
    declared = TABLES[table]
    values = dict.fromkeys(declared.names, "")
    values.update({column: cell for column, cell in zip(columns, padded, strict=False) if column})
    row = Row(table, where, line, values, declared.key, frozenset(values) - set(columns))
    stray = [cell for column, cell in zip(columns, padded, strict=False) if not column and cell]
    stray += [cell for cell in padded[len(columns) :] if cell]
    if stray:
        what = f"There are cells beyond the last column: '{stray[0][:40]}'."
        mend = "Put text that holds a comma or semicolon in quotation marks."
        faults.append(row.fault(what, mend))
    long = [column for column, cell in values.items() if len(cell) > _CELL_LIMIT]
    if long:
        what = f"The cell '{long[0]}' is longer than any spreadsheet allows."
        faults.append(row.fault(what, "Shorten it; look for a quotation mark not closed."))
    return row
