"""Plain text for a terminal: paragraphs of one width, and columns that line up."""

from collections.abc import Sequence
from textwrap import fill

__all__ = ["paragraph", "text_table"]

_WIDTH = 96


def paragraph(text: str, *, indent: str = "", then: str | None = None) -> str:
    """Fold a text to the width of the page, indented; `then` indents all lines but the first.

    >>> paragraph("One two.", indent="  ")
    '  One two.'
    >>> [len(line) for line in paragraph("word " * 30, then="  ").splitlines()]
    [94, 56]
    """
    return fill(
        text, _WIDTH, initial_indent=indent, subsequent_indent=indent if then is None else then
    )


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
