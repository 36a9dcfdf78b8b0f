"""Tables and lists of a page: every cell escaped, every table named."""

from collections.abc import Callable

from markupsafe import Markup

from patchnet.pages.kit.templates import drawn_by

__all__ = ["blank", "facts", "listed", "table"]

table: Callable[..., Markup] = drawn_by("kit/table.html", "table")
"""``table(name, heads, rows, css="")``: a table whose first cells name their rows.

Each cell is escaped unless a template wrote it.
"""
listed: Callable[..., Markup] = drawn_by("kit/table.html", "listed")
"""``listed(lines, css="")``: a list; nothing where there are no lines."""
facts: Callable[..., Markup] = drawn_by("kit/table.html", "facts")
"""``facts(rows)``: names and words, as the inside of a ``<dl>``."""
blank: Callable[..., Markup] = drawn_by("kit/table.html", "blank")
"""``blank(of="")``: a line to write on; `of` says what for."""
