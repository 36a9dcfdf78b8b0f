"""What was read already of tables that have not changed, so that only the others are read anew.

A user's own table changes a few of the many: the records of the rest are taken over as they are.
While a record's rows are read it is noted which tables they are read from, and whose keys alone
they name; they are read anew only where one of these has changed.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from patchnet.knowledge.row import Row
from patchnet.knowledge.sources import Figure, Origin

__all__ = ["Asked", "Found", "Kept"]


@dataclass(slots=True)
class Asked:
    """Tables that were asked for their rows, and those asked only whether they have a key."""

    rows: set[str] = field(default_factory=set)
    names: set[str] = field(default_factory=set)

    def update(self, other: "Asked") -> None:
        """Add what was asked further down."""
        self.rows |= other.rows
        self.names |= other.names


@dataclass(frozen=True, slots=True)
class Found:
    """What the rows of one record came to."""

    rows: list[tuple[Row, Any]]
    figures: Mapping[str, Figure]
    origins: Mapping[str, Origin]
    asked: Asked


@dataclass(frozen=True)
class Kept:
    """Tables without a fault, and what was found in them in this language.

    Parameters
    ----------
    tables
        Their rows, by file name.
    found
        What was found of each record.
    keyed
        Rows of tables by key.
    """

    tables: Mapping[str, list[Row]]
    found: Mapping[type, Found]
    keyed: Mapping[str, Mapping[str, Row]]

    def changed(self, tables: Mapping[str, list[Row]]) -> Asked:
        """Return which tables have other rows now, and which of them lack a key they had."""
        now = Asked()
        for name, before in self.tables.items():
            rows = tables[name]
            if len(rows) == len(before) and all(map(_same, rows, before)):
                continue
            now.rows.add(name)
            if not {row.key for row in before} <= {row.key for row in rows}:
                now.names.add(name)
        return now

    def still(self, record: type, changed: Asked) -> Found | None:
        """Return what was found of a record, if nothing that it asked for has changed."""
        found = self.found.get(record)
        if found is None or found.asked.rows & changed.rows or found.asked.names & changed.names:
            return None
        return found


def _same(one: Row, other: Row) -> bool:
    return one is other
