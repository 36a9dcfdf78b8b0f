"""The list that faults are gathered in while a file is gone through."""

from collections.abc import Sequence

from patchnet.core.faults import Fault
from patchnet.core.texts import _

__all__ = ["FaultList", "Place"]

# Up to this many similar warnings are listed one by one; more become one line.
_ONE_BY_ONE = 8
_ROWS_NAMED = 60

Place = tuple[int, str | None]
"""Row number and the file's own id of one row."""


class FaultList:
    """Faults in the order they were found."""

    def __init__(self) -> None:
        self._faults: list[Fault] = []

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Every fault so far."""
        return tuple(self._faults)

    @property
    def errors(self) -> bool:
        """Whether any of them is an error."""
        return any(fault.severity == "error" for fault in self._faults)

    def extend(self, faults: Sequence[Fault]) -> None:
        """Add faults that were found elsewhere."""
        self._faults.extend(faults)

    def error(
        self, where: str, what: str, mend: str, *, row: int | None = None, ident: str | None = None
    ) -> None:
        """Add an error."""
        self._faults.append(Fault("error", where, row, ident, what, mend))

    def warn(
        self, where: str, what: str, mend: str, *, row: int | None = None, ident: str | None = None
    ) -> None:
        """Add a warning."""
        self._faults.append(Fault("warning", where, row, ident, what, mend))

    def warn_rows(
        self,
        where: str,
        rows: Sequence[tuple[Place, str]],
        *,
        together: str,
        mend: str,
    ) -> None:
        """Warn of alike rows: one by one if few, in one line that names them if many.

        Parameters
        ----------
        where
            File or layer.
        rows
            Place of each row and what is wrong with it.
        together
            What is wrong with all of them; ``{n}`` stands for how many.
        mend
            What to do about it.
        """
        if len(rows) <= _ONE_BY_ONE:
            for (row, ident), what in rows:
                self.warn(where, what, mend, row=row, ident=ident)
            return
        named = ", ".join(
            f"{row} ({ident})" if ident else str(row) for (row, ident), __ in rows[:_ROWS_NAMED]
        )
        rest = len(rows) - _ROWS_NAMED
        more = _(" and {rest} more").format(rest=rest) if rest > 0 else ""
        self.warn(
            where,
            _("{format} Rows {named}{more}.").format(
                format=together.format(n=len(rows)), named=named, more=more
            ),
            mend,
        )
