"""One row of a table of the knowledge room, as text."""

from collections.abc import Mapping
from dataclasses import dataclass

from patchnet.core.faults import Fault
from patchnet.core.texts import _

__all__ = ["Row"]


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table: its file, the line it starts at (header is 1), its cells as text.

    `named_by` are the columns that name the row; `absent` are columns that its file does not
    have, whose cells are empty.
    """

    table: str
    where: str
    line: int
    cells: Mapping[str, str]
    named_by: tuple[str, ...]
    absent: frozenset[str] = frozenset()

    @property
    def ident(self) -> str:
        """The row's key, its parts joined by ``/``."""
        return "/".join(part for part in self.key if part)

    @property
    def key(self) -> tuple[str, ...]:
        """The cells that name the row."""
        return tuple([self.cells[column] for column in self.named_by])

    @property
    def place(self) -> str:
        """File and line, as a `Figure` carries it."""
        return _("{where} line {line}").format(where=self.where, line=self.line)

    def fault(self, what: str, mend: str) -> Fault:
        """Return a fault of this row."""
        return Fault("error", self.where, self.line, self.ident, what, mend)
