"""Tables of a user's own to start from: empty ones, or what ships of a like thing."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence

from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.texts import _
from patchnet.knowledge.columns import Key, Ref
from patchnet.knowledge.row import Row
from patchnet.knowledge.schema import TABLES, Table

__all__ = ["blank_tables", "declared", "tables_like"]


def declared(name: str) -> Table:
    """Return the table of a name, with or without ``.csv``.

    Raises
    ------
    WrongUse
        If there is no such table; the message offers the nearest names.
    """
    file = name.strip().casefold().removesuffix(".csv") + ".csv"
    if file not in TABLES:
        names = [one.removesuffix(".csv") for one in TABLES]
        hint = nearest_hint(file.removesuffix(".csv"), names)
        raise WrongUse(
            _("There is no table '{name}'.{hint} 'patchnet tables' lists them.").format(
                name=name, hint=hint
            )
        )
    return TABLES[file]


def blank_tables(table: Table) -> dict[str, str]:
    """Return a table and that of its numbers with nothing but a heading, by file name."""
    files = [table.file]
    if table.figures is not None and table.figures.file != table.file:
        files.append(table.figures.file)
    return {file: _as_csv(TABLES[file], []) for file in files}


def tables_like(
    table: Table, like: str, rows: Mapping[str, Sequence[Row]], *, key: str | None = None
) -> dict[str, str]:
    """Return the rows of one thing in every table that tells of it, by file name, as CSV.

    Parameters
    ----------
    table
        The table in which the thing has its key.
    like
        Its key.
    rows
        Rows of all tables, by file name.
    key
        Another key under which the rows are given, to add something of the kind; its name is
        made of the key, and other words for it are left out.

    Raises
    ------
    WrongUse
        If the table has no such key.
    """
    column = table.key[0]
    known = {row.key[0] for row in rows[table.file]}
    if like not in known:
        hint = nearest_hint(like, known)
        raise WrongUse(
            _("{file} has no key '{like}'.{hint}").format(file=table.file, like=like, hint=hint)
        )
    found = {}
    for file, name in [(table.file, column), *_telling_of(table)]:
        declared_as = TABLES[file]
        cells = [dict(row.cells) for row in rows[file] if row.cells[name] == like]
        if key is not None:
            for one in cells:
                one[name] = key
                if isinstance(declared_as.column(name), Key):
                    one.update(_named_anew(declared_as, key))
        if cells:
            found[file] = _as_csv(declared_as, cells)
    return found


def _telling_of(table: Table) -> list[tuple[str, str]]:
    """Tables whose rows belong to one of this, and the column that says to which."""
    firsts = {}
    for file, other in TABLES.items():
        first = next((name for name in other.key if isinstance(other.column(name), Ref)), None)
        if first is not None and file != table.file:
            firsts[file] = first
    direct = [file for file, name in firsts.items() if TABLES[file].refs[name] == table.file]
    # What is keyed by the same word can have numbers and steps of its own.
    within = {file for file in direct if TABLES[file].key == (firsts[file],)}
    found = {*direct, *(file for file, name in firsts.items() if TABLES[file].refs[name] in within)}
    return [(file, firsts[file]) for file in TABLES if file in found]


def _named_anew(table: Table, key: str) -> dict[str, str]:
    """The cells that must not be those of the other: one word stands for one thing."""
    named = {"name": key.replace("_", " ").capitalize(), "words": ""}
    return {name: cell for name, cell in named.items() if name in table.names}


def _as_csv(table: Table, rows: Iterable[Mapping[str, str]]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, table.names, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
