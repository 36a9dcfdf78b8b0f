"""Columns of plain text that line up."""

from collections.abc import Sequence

__all__ = ["text_table"]


def text_table(rows: Sequence[Sequence[str]], *, indent: str = "", header: bool = False) -> str:
    """Left-aligned columns two blanks apart; a rule under the first row where it is a header.

    >>> print(text_table([("a", "bee"), ("newt", "")], header=True))
    a     bee
    ----  ---
    newt
    """
    widths = [max(len(row[at]) for row in rows) for at in range(len(rows[0]))]
    ruled = [*rows[:1], ["-" * width for width in widths], *rows[1:]] if header else rows
    return "\n".join(
        (
            indent + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        ).rstrip()
        for row in ruled
    )
