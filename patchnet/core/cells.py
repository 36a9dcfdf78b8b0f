"""Cells of any table as plain text, whatever type the file format gave them."""

import re
from collections.abc import Iterable

import numpy as np
import pandas as pd

__all__ = ["as_text", "as_written", "harmless", "texts", "whole_number"]

# Spreadsheet programs take text that begins with one of these for a formula.
_FORMULA = re.compile(r"[=+\-@\t\r\n]")
_PLAIN_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)?(?:[eE][+-]?\d+)?")
_WHOLE = re.compile(r"(\d+)\.0+")


def as_text(value: object) -> str:  # noqa: PLR0911 - one return a type is the plainest
    """Return a cell as text without blanks round it; empty where there is none.

    Truth values become ``yes`` and ``no``, whole numbers lose their ``.0`` (a column of ids
    with a gap in it is read as floating point).
    """
    if isinstance(value, str):  # first, for most cells are text
        return value.replace("\0", "").strip()
    if value is None or value is pd.NaT or value is pd.NA:
        return ""
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, (int, np.integer)):
        return str(int(value))
    if isinstance(value, (float, np.floating)):
        number = float(value)
        if np.isnan(number):
            return ""
        return str(int(number)) if number.is_integer() and abs(number) < 1e15 else repr(number)
    if isinstance(value, (list, tuple, np.ndarray)):
        return "; ".join(as_text(one) for one in value)
    return str(value).strip()


def harmless(cell: str) -> str:
    """Return a cell with an apostrophe before it where a spreadsheet would run it as a formula.

    Signs as OWASP's page on CSV injection names them (from memory); a number with a sign is one.

    >>> harmless("=1+1"), harmless("-2.5"), harmless("-x")
    ("'=1+1", '-2.5', "'-x")
    """
    formula = _FORMULA.match(cell) and not _PLAIN_NUMBER.fullmatch(cell)
    return f"'{cell}" if formula else cell


def as_written(cell: str) -> str:
    """Return a cell as it was before `harmless`.

    >>> as_written("'=1+1"), as_written("'s-Hertogenbosch")
    ('=1+1', "'s-Hertogenbosch")
    """
    bare = cell[1:]
    return bare if cell[:1] == "'" and harmless(bare) == cell else cell


def texts(column: Iterable[object]) -> list[str]:
    """Return a column as text (see `as_text`)."""
    return [as_text(value) for value in column]


def whole_number(text: str) -> str:
    """Return an id without the ``.0`` that a spreadsheet may have given it."""
    found = _WHOLE.fullmatch(text)
    return found[1] if found else text
