"""Door numbers: how they are compared, how they are said, and which plot somebody means by one.

A volunteer stands at a door and knows its number; the file knows ids (`IP-30F`). Every command
takes either, or the label, where only one plot is meant.
"""

import re
import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import pandas as pd

from patchnet.core.cells import as_text
from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.folding import folded
from patchnet.core.texts import _

__all__ = [
    "PlotNames", "Resolved", "door_key", "door_label", "door_numbers", "fold_number",
    "household_plots", "plots_meant", "resolve_plot",
]  # fmt: skip

_BETWEEN = re.compile(r"\s*[;,]\s*")
_TOKEN = re.compile(r"\d+|[A-Z]")
_SAID = re.compile(
    r"^(?:nos?\.?|number|numbers|house|door|nr\.?|haus(?:nummer|nr\.?)?|n°|talo|#)\s*(?=\d)",
    re.IGNORECASE,
)
_WORDS = frozenset(("no", "nos", "nr", "number"))
_LISTED = 8  # plots named in a message before the rest is only counted
_FEW = 3  # door numbers said one by one


@dataclass(frozen=True)
class Resolved:
    """The plot that was meant, and how it was told.

    Attributes
    ----------
    plot
        Id of the plot.
    told
        What was taken for what, in a sentence; empty where the id itself was given.
    """

    plot: str
    told: str


def fold_number(number: str) -> str:
    """Return what is compared of a door number.

    Examples
    --------
    >>> fold_number("30 A") == fold_number("30a")
    True
    >>> fold_number("No. 12 - 14")
    '12-14'
    """
    text = unicodedata.normalize("NFKC", number).strip()
    text = _SAID.sub("", text).casefold()
    text = re.sub(r"[\N{EN DASH}\N{EM DASH}\N{HYPHEN}]", "-", text)
    return re.sub(r"\s+", "", text)


def door_numbers(cell: str) -> tuple[str, ...]:
    """Return the door numbers that one cell holds: ``12; 14`` are two, ``12-14`` is one.

    Examples
    --------
    >>> door_numbers("12; 14a")
    ('12', '14a')
    """
    return tuple(dict.fromkeys(one for one in _BETWEEN.split(cell.strip()) if one))


def door_key(cell: str) -> str:
    """Return a door number as a part of an id: figures and letters with hyphens between.

    The letter stands behind a hyphen, for `30B` is the back of number 30.

    Examples
    --------
    >>> [door_key(one) for one in ("30", "30a", "12-14", "30/2", "12; 14; 16", "bell")]
    ['30', '30-A', '12-14', '30-2', '12-16', '']
    """
    keys = []
    for number in door_numbers(cell):
        text = unicodedata.normalize("NFKD", number).encode("ascii", "ignore").decode().upper()
        tokens = _TOKEN.findall(text)
        if tokens and tokens[0].isdigit():
            keys.append("-".join(tokens))
    if not keys:
        return ""
    return keys[0] if len(keys) == 1 else f"{keys[0]}-{keys[-1]}"


def door_label(cell: str) -> str:
    """Return a door number as people say it; empty where it is not known.

    Examples
    --------
    >>> door_label("30"), door_label("12; 14"), door_label("")
    ('No. 30', 'Nos. 12, 14', '')
    """
    numbers = door_numbers(cell)
    if not numbers:
        return ""
    if len(numbers) == 1:
        spread = re.fullmatch(r"(\d+\w?)\s*[-\N{EN DASH}]\s*(\d+\w?)", numbers[0])
        if spread:
            return _("Nos. {spread}\N{EN DASH}{spread_2}").format(
                spread=spread[1], spread_2=spread[2]
            )
        return _("No. {number}").format(number=numbers[0])
    if len(numbers) > _FEW:
        return _("Nos. {number}\N{EN DASH}{number_2} ({n_numbers} doors)").format(
            number=numbers[0], number_2=numbers[-1], n_numbers=len(numbers)
        )
    return _("Nos. {numbers}").format(numbers=", ".join(numbers))


class PlotNames:
    """What the plots of one street can be called, made ready for many questions.

    Parameters
    ----------
    plots
        Table whose index is the ids; columns ``label``, ``street``, ``door`` and ``also`` where
        there: the last holds addresses in other streets, ``Mill Lane 4; Mill Lane 6``.
    """

    def __init__(self, plots: pd.DataFrame) -> None:
        self.idents = tuple(str(ident) for ident in plots.index)
        self._exact = frozenset(self.idents)
        columns = {
            name: [as_text(one) for one in plots[name]]
            if name in plots.columns
            else [""] * len(plots)
            for name in ("label", "street", "door", "also")
        }
        doors = [tuple(map(fold_number, door_numbers(cell))) for cell in columns["door"]]
        places = [folded(street) for street in columns["street"]]
        spots = [
            tuple(
                called
                for number in map(_bare, mine)
                for called in (f"{number} {place}", f"{place} {number}")
            )
            if place
            else ()
            for mine, place in zip(doors, places, strict=True)
        ]
        others = [
            tuple(called for one in door_numbers(cell) for called in _both_ways(_spot(one)))
            for cell in columns["also"]
        ]
        self._ways: tuple[tuple[str, Callable[[str], str], dict[str, list[str]]], ...] = (
            (_("by its id"), str.casefold, self._index((one.casefold(),) for one in self.idents)),
            (
                _("by its label"),
                folded,
                self._index((folded(one),) for one in columns["label"]),
            ),
            (_("by its door number"), fold_number, self._index(doors)),
            (_("by its door number and street"), _spot, self._index(spots)),
            (_("by its address in the other street"), _spot, self._index(others)),
            (
                _("by its id"),
                str.casefold,
                self._index((re.sub(r"[FB]$", "", one).casefold(),) for one in self.idents),
            ),
        )

    def _index(self, words: Iterable[Iterable[str]]) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for ident, called in zip(self.idents, words, strict=True):
            for word in called:
                if word:
                    found.setdefault(word, []).append(ident)
        return found

    def meant(self, said: str) -> tuple[tuple[str, ...], str]:
        """Return the ids of the plots that somebody may mean, and what was taken for what.

        Tried in this order, the first that finds any: the id, the id without regard to case, the
        label, the door number, the door number with its street, an address of it in another
        street, the id without its part.
        """
        text = said.strip()
        if text in self._exact:
            return (text,), ""
        folds: dict[Callable[[str], str], str] = {}
        for told, fold, known in self._ways:
            if not known:
                continue
            if fold not in folds:
                folds[fold] = fold(text)
            found = known.get(folds[fold], ())
            if found:
                return tuple(dict.fromkeys(found)), told
        return (), ""


def plots_meant(plots: pd.DataFrame, said: str) -> tuple[tuple[str, ...], str]:
    """Return the ids of the plots that somebody may mean (see `PlotNames.meant`).

    Parameters
    ----------
    plots
        Index plot, and columns ``label``, ``street`` and ``door`` where it has them.
    said
        What somebody wrote.
    """
    return PlotNames(plots).meant(said)


def household_plots(plots: pd.DataFrame, said: str, *, where: str = "") -> tuple[str, ...]:
    """Return every plot of one household: a door number means the front and the back.

    Parameters
    ----------
    plots
        Table whose index is the ids (see `plots_meant`).
    said
        An id, a label, or a door number.
    where
        What the plots are of, for the message.

    Raises
    ------
    WrongUse
        If no plot is meant, or plots of several doors could be.
    """
    found, _ = plots_meant(plots, said)
    if len(found) > 1 and {"street", "door"} <= set(plots.columns):
        rows = plots.loc[list(found), ["street", "door"]].astype(str)
        if len(rows.drop_duplicates()) == 1 and rows["door"].iloc[0]:
            return found
    return (resolve_plot(plots, said, where=where).plot,)


def resolve_plot(plots: pd.DataFrame, said: str, *, where: str = "") -> Resolved:
    """Return the one plot that is meant by a door number, a label or an id.

    Parameters
    ----------
    plots
        Table whose index is the ids (see `plots_meant`).
    said
        What was typed.
    where
        What the plots are of, for the message.

    Raises
    ------
    WrongUse
        If no plot is meant, or several could be: they are listed.
    """
    found, told = plots_meant(plots, said)
    if len(found) == 1:
        took = (
            _("{said} was taken as plot {found}, {told}.").format(
                said=said.strip(), found=found[0], told=told
            )
            if told
            else ""
        )
        return Resolved(found[0], took)
    place = _(" in {where}").format(where=where) if where else ""
    if not found:
        labels = plots["label"] if "label" in plots.columns else ()
        words = [*map(str, plots.index), *(str(one) for one in labels if one)]
        raise WrongUse(
            _("There is no plot {said!r}{place}.{nearest_hint}").format(
                said=said, place=place, nearest_hint=nearest_hint(said, words)
            )
        )
    listed = ", ".join(found[:_LISTED])
    more = (
        _(" and {n_found} more").format(n_found=len(found) - _LISTED)
        if len(found) > _LISTED
        else ""
    )
    raise WrongUse(
        _("{said!r} could be {n_found} plots{place}: {listed}{more}. Say which.").format(
            said=said, n_found=len(found), place=place, listed=listed, more=more
        )
    )


def _bare(number: str) -> str:
    return folded(number).replace(" ", "")


def _spot(said: str) -> str:
    """Fold a number with its street: ``No. 30 a, Elm Road`` is ``30a elm road``."""
    words = [one for one in folded(said).split() if one not in _WORDS]
    text = " ".join(words)
    return re.sub(r"(?<![^ ])(\d+) ([a-z])(?![^ ])", r"\1\2", text)


def _both_ways(spot: str) -> tuple[str, ...]:
    """Return ``elm road 4`` and ``4 elm road``: some say the number first, some last."""
    place, _, number = spot.rpartition(" ")
    return (spot, f"{number} {place}") if place and number[0].isdigit() else (spot,)
