"""One fault in a user's data: where, what, how to mend it."""

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from patchnet.core.texts import _

__all__ = ["Fault", "nearest", "nearest_hint"]


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault, as the user can find and mend it.

    Parameters
    ----------
    severity
        ``"error"``: nothing is computed until it is mended; ``"warning"``: the work goes on.
    where
        The file or layer, as the user named it.
    row
        Row in that file as the user's program numbers it (first data row of a GIS layer is 1;
        of a CSV the header is line 1, so the first data row is 2). None: the whole layer.
    ident
        The file's own id of the row, if it has one.
    what
        What is wrong.
    mend
        What to do about it.

    Examples
    --------
    >>> import patchnet
    >>> print(patchnet.Fault("warning", "plots", 3, "14", "It has no kind.", "Say what it is."))
    warning: plots, row 3 (14): It has no kind. Say what it is.
    """

    severity: Literal["error", "warning"]
    where: str
    row: int | None
    ident: str | None
    what: str
    mend: str

    def __str__(self) -> str:
        """One line: severity, place, what, mend."""
        place = self.where
        if self.row is not None:
            place += _(", row {row}").format(row=self.row)
        if self.ident is not None:
            place += f" ({self.ident})"
        severity = _("error") if self.severity == "error" else _("warning")
        return f"{severity}: {place}: {self.what} {self.mend}".rstrip()


def nearest(word: str, choices: Iterable[str], *, most: int = 3) -> list[str]:
    """Return the choices spelt most like `word`, best first (may be empty).

    Parameters
    ----------
    word
        As somebody wrote it.
    choices
        What it may be.
    most
        How many at most.
    """
    table = {choice.casefold(): choice for choice in choices}
    close = difflib.get_close_matches(word.casefold(), table, n=most, cutoff=0.6)
    return [table[key] for key in close]


def nearest_hint(word: str, choices: Iterable[str]) -> str:
    """Return ``" Did you mean a or b?"``, or nothing where no choice is spelt like `word`.

    Parameters
    ----------
    word
        As somebody wrote it.
    choices
        What it may be.
    """
    close = nearest(word, choices)
    return _(" Did you mean {close}?").format(close=_(" or ").join(close)) if close else ""
