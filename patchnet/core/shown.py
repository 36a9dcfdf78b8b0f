"""How records show themselves at a prompt and in a notebook: one short line a field."""

import html
from collections.abc import Collection, Mapping
from dataclasses import fields
from typing import Any

from patchnet.core.texts import _

__all__ = ["Shown"]

_LINES = 20
_WIDE = 76  # letters of one value
_NAMED = 6  # keys or words shown before the rest is only counted


class Shown:
    """Base of a frozen dataclass (made with ``repr=False``) that holds tables and arrays.

    Its repr has at most 20 lines and says of every table, array and collection only how large it
    is, so that a record of a whole town can be looked at; in a notebook the same is a table.
    """

    __slots__ = ()

    def _rows(self) -> list[tuple[str, str]]:
        """Name and short words of each part; a record may tell what matters most of it."""
        parts: Any = self
        return [(part.name, in_short(getattr(self, part.name))) for part in fields(parts)]

    def __repr__(self) -> str:
        """The class and one line a part, at most 20 lines."""
        return "\n".join(
            [type(self).__name__, *(f"  {name}: {words}" for name, words in _few(self))]
        )

    def _repr_html_(self) -> str:
        rows = "".join(
            f'<tr><th style="text-align:left">{html.escape(name)}</th>'
            f'<td style="text-align:left">{html.escape(words)}</td></tr>'
            for name, words in _few(self)
        )
        return f"<table><caption>{type(self).__name__}</caption>{rows}</table>"


def _few(record: Shown) -> list[tuple[str, str]]:
    rows = record._rows()  # noqa: SLF001 - of the same module
    if len(rows) < _LINES:
        return rows
    left = len(rows) - (_LINES - 2)
    return [*rows[: _LINES - 2], ("...", _("{left} more").format(left=left))]


def in_short(value: object) -> str:
    """Return one short line about any value.

    Parameters
    ----------
    value
        A number, text, table, array, collection or record.
    """
    shape = getattr(value, "shape", None)
    if isinstance(shape, tuple) and shape:
        size = " x ".join(f"{side:,}" for side in shape)
        rows = _(" rows and columns") if len(shape) == 2 and hasattr(value, "columns") else ""
        words = f"{type(value).__name__}, {size}{rows}"
    elif value is None or (isinstance(value, str) and not value):
        words = "none"
    elif isinstance(value, str | int | float | bool):
        words = f"{value:g}" if isinstance(value, float) else str(value)
    elif isinstance(value, Mapping):
        words = f"{len(value):,}: {_named(value)}" if value else "none"
    elif isinstance(value, Collection):
        plain = all(isinstance(one, str | int | float) for one in value)
        words = f"{len(value):,}" + (f": {_named(value)}" if plain else "") if value else "none"
    elif isinstance(value, Shown):
        words = f"{type(value).__name__} {getattr(value, 'name', '')}".rstrip()
    else:
        words = " ".join(str(value).split())
    return words if len(words) <= _WIDE else f"{words[: _WIDE - 4]} ..."


def _named(values: Collection[object]) -> str:
    some = ", ".join(str(value) for value, _ in zip(values, range(_NAMED), strict=False))
    return f"{some}, ..." if len(values) > _NAMED else some
