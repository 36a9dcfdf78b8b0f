"""Numbers as people and their programs write them: ``2.5``, ``2,5``, ``1,200``, ``1.200,5``."""

import re
from collections.abc import Iterable

__all__ = ["NUMBER", "parse_number", "with_points", "writes_decimal_comma"]

NUMBER = (
    r"(?:\d{1,3}(?:,\d{3})+(?:\.\d+)?|[1-9]\d{0,2}(?:\.\d{3})+,\d+"
    r"|[1-9]\d{0,2}(?:[ \u00a0\u202f']\d{3})+(?:[.,]\d+)?|\d+(?:[.,]\d+)?|[.,]\d+)(?:e[+-]?\d+)?"
)
"""A number without its sign, as a regular expression for text in small letters."""

_SIGN = r"[+\-\N{MINUS SIGN}]?"
_GAPS = re.compile(r"(?<=\d)[ \u00a0\u202f'](?=\d{3})")  # between thousands (ISO 80000-1: a blank)
_POINTED = re.compile(r"[1-9]\d{0,2}(?:\.\d{3})+,\d+")
_THOUSANDS = re.compile(r"[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?")
_POINT = re.compile(rf"{_SIGN}\d*\.\d+(?:[eE][+-]?\d+)?")
_COMMA = re.compile(rf"{_SIGN}(?:[1-9]\d{{0,2}}(?:\.\d{{3}})+|\d*),\d+(?:[eE][+-]?\d+)?")


def parse_number(text: str) -> float | None:
    """Return the number that `text` is, or None: decimal point or comma, ``1,200`` is 1200.

    So are ``1 200`` and ``1'200``; ``1.200,5`` is 1200.5, but ``1.200`` alone is 1.2.

    Parameters
    ----------
    text
        A cell, with any spaces round it.

    Returns
    -------
    float or None
        In the unit of the cell; None where it is no number.
    """
    bare = text.strip().casefold()
    if not re.fullmatch(NUMBER, bare):
        return None
    bare = _GAPS.sub("", bare)
    if _POINTED.fullmatch(bare):
        bare = bare.replace(".", "")
    elif _THOUSANDS.fullmatch(bare):
        bare = bare.replace(",", "")
    return float(bare.replace(",", "."))


def writes_decimal_comma(cells: Iterable[str]) -> bool | None:
    """Whether a table writes its decimals with a comma; None where its cells do not tell.

    One cell such as ``2,5`` or ``0,125`` tells, for no thousands are written so; ``1,200`` does
    not. A table that writes points anywhere is taken at its word.

    Parameters
    ----------
    cells
        Every cell of a table.
    """
    found: bool | None = None
    for cell in cells:
        if _POINT.fullmatch(cell):
            return False
        if _COMMA.fullmatch(cell) and not _THOUSANDS.fullmatch(cell.lstrip("+-\N{MINUS SIGN}")):
            found = True
    return found


def with_points(cell: str) -> str:
    """Return a cell of a table with decimal commas with a point, if it is a number."""
    return cell.replace(".", "").replace(",", ".") if _COMMA.fullmatch(cell) else cell
