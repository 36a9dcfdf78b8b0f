"""The knowledge tables for a terminal: their columns, units, words and bounds."""

from collections.abc import Iterator, Mapping

from patchnet.core.texts import _
from patchnet.knowledge.columns import Column
from patchnet.knowledge.parts import Number, Quantity
from patchnet.knowledge.reader import Reader
from patchnet.knowledge.schema import TABLES, Table
from patchnet.pages.kit.text_table import paragraph, text_table

__all__ = ["table_text", "tables_text"]


def tables_text() -> str:
    """Every table, and what one row of it is."""
    rows = [(_("Table"), _("A row is"))]
    rows += [
        (name.removesuffix(".csv"), _(table.meaning)) for name, table in sorted(TABLES.items())
    ]
    return text_table(rows, header=True) + "\n"


def table_text(table: Table, reader: Reader) -> str:
    """Columns of one table: what each says, and what it may hold.

    Parameters
    ----------
    table
        The table.
    reader
        Knows what the other tables hold: some keys depend on them.
    """
    lines = [f"{table.file}: {_(table.meaning)}", ""]
    named = _(" and ").join(table.key)
    said = _("A row is named by {named}; a row of yours with the same name replaces ours.").format(
        named=named
    )
    if table.fixed:
        said += _(" Only the rows that patchnet has are read, each in the unit it has there.")
    if table.figures is not None and table.figures.file != table.file:
        said += _(" Its numbers are in {file}, one per row.").format(file=table.figures.file)
    lines += [paragraph(said), "", _("Columns:")]
    lines += [_column(name, kind) for name, kind in table.columns]
    numbers = list(_numbers(table, reader))
    if numbers:
        lines += ["", _("Numbers, by the column '{table_key}':").format(table_key=table.key[-1])]
        lines += [_folded(f"{name}: {words}") for name, words in numbers]
    return "\n".join(lines) + "\n"


def _column(name: str, kind: Column) -> str:
    may = [] if kind.may_stand == "text" else [kind.may_stand]
    if not kind.needed:
        may.append(_("may be empty"))
    return _folded(f"{name}: {_(kind.meaning)}" + (f" ({'; '.join(may)})" if may else ""))


def _folded(text: str) -> str:
    return paragraph(text, indent="  ", then="      ")


def _numbers(table: Table, reader: Reader) -> Iterator[tuple[str, str]]:
    """Each number that a row can hold, with what it says, its unit and its bounds."""
    found: Mapping[str, Number] = table.quantities
    for __, part in table.parts:
        if isinstance(part, Number) and part.by_key is not None:
            found = part.by_key(reader)
    for name, number in found.items():
        bounds = number.amount.bounds
        words = [
            _("in {unit}").format(unit=_(number.unit_in_words)) + (f",{bounds}" if bounds else "")
        ]
        if number.meaning:
            words.insert(0, _(number.meaning))
        if isinstance(number, Quantity) and not number.needed:
            words.append(_("may be left out"))
        yield name, "; ".join(words)
