"""Rows of all returns in one table: matched with plots, features and times, word by word once."""

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from patchnet.core.cells import as_text, whole_number
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import nearest
from patchnet.core.folding import folded_ident
from patchnet.core.read_limits import read_limit
from patchnet.core.texts import N_, _
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.words import match_feature, near_feature_words
from patchnet.read.doors import PlotNames
from patchnet.read.feature_lists import Problem
from patchnet.survey.dates import mangled_idents
from patchnet.survey.one_return import SAID, Return
from patchnet.survey.survey_record import listed
from patchnet.survey.to_mend import Unread

__all__ = [
    "Asked",
    "clean",
    "mapped",
    "plot_matcher",
    "say_problems",
    "table_of",
    "with_features",
    "with_plots",
]

_LONGEST = 2000  # characters of a note: a page of handwriting
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]+")
_ROWS_NAMED = 12
_FAULTS_LISTED = int(read_limit("faults_listed"))

Matcher = Callable[[str], tuple[str | None, Problem | None]]


@dataclass(frozen=True, eq=False)
class Asked:
    """What rows are checked with: returns, tables, today, where faults and unread rows go."""

    returns: Sequence[Return]
    knowledge: Knowledge
    today: date
    faults: FaultList
    unread: Unread = field(default_factory=Unread)


def table_of(frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Join one frame a return (columns `SAID` and others); `at` is the return's position.

    Every cell of `SAID` but the row number becomes clean text.

    Parameters
    ----------
    frames
        One table a return, columns `SAID` and others.
    """
    tables = [frame.assign(at=at) for at, frame in enumerate(frames) if len(frame)]
    empty = pd.DataFrame(columns=[*SAID, "at"], dtype=object)
    table = pd.concat(tables, ignore_index=True) if tables else empty
    for key in SAID:
        if key != "row":
            table[key] = pd.Series(_texts(table[key]), index=table.index, dtype=object)
    table["at"] = table["at"].astype(np.int64)
    return table


_ID = N_("Write the plot's id from the sheet to be sure.")
_LISTED = 6  # plots named where several could be meant


def plot_matcher(plots: pd.DataFrame) -> Matcher:
    """Return what finds the plot that a text means: its id and, where it was doubted, why.

    A label or a door number will do where only one plot has it (see `PlotNames`).

    Parameters
    ----------
    plots
        Table of plots whose index is the ids.
    """
    names = PlotNames(plots)
    exact = set(names.idents)
    loose: dict[str, list[str]] = {}
    for ident in sorted(exact):
        loose.setdefault(folded_ident(ident), []).append(ident)
    hints = _Hints(lambda ident: nearest(ident, exact))

    def match(text: str) -> tuple[str | None, Problem | None]:
        # The survey sheet puts an apostrophe before an id that would be a formula.
        ident = text if text in exact else whole_number(text.removeprefix("'"))
        if ident in exact:
            return ident, None
        near = loose.get(folded_ident(ident), [])
        if len(near) == 1:
            return near[0], None
        meant = sorted(exact & set(mangled_idents(text)))
        if len(meant) == 1:
            what = _("{text!r} was taken as plot {meant}: a spreadsheet made a date of it.").format(
                text=text[:40], meant=meant[0]
            )
            return meant[0], Problem(what, _("Format the column of plots as text."))
        if meant:
            what = _("{text!r} is a plot that a spreadsheet made a date of: ").format(
                text=text[:40]
            )
            return None, Problem(f"{what}{' or '.join(meant)}?", _("Write the plot anew, as text."))
        if not ident:
            return None, Problem(_("There is no plot in it."), _("Fill in the plot's number."))
        return _by_door(text, ident, names, hints)

    return match


class _Hints:
    """Spellings that are near: looked for as long as anybody reads them, for it takes its time."""

    def __init__(self, near: Callable[[str], Sequence[str]]) -> None:
        self._near, self._left = near, _FAULTS_LISTED

    def __call__(self, text: str) -> Sequence[str]:
        self._left -= 1
        return self._near(text) if self._left >= 0 else []


def _by_door(
    text: str, ident: str, names: PlotNames, hints: _Hints
) -> tuple[str | None, Problem | None]:
    """Find the plot by its label or door number."""
    found, told = names.meant(text)
    if len(found) == 1:
        return found[0], Problem(
            _("{text!r} was taken as plot {found}, {told}.").format(
                text=text[:40], found=found[0], told=told
            ),
            _(_ID),
        )
    if found:
        several = _(" or ").join(found[:_LISTED])
        return None, Problem(
            _("{text!r} could be {several}.").format(text=text[:40], several=several),
            _("Say which plot it is."),
        )
    close = hints(ident)
    hint = _(" Did you mean {close}?").format(close=_(" or ").join(close)) if close else ""
    return None, Problem(
        _("There is no plot {ident!r} here.{hint}").format(ident=ident[:40], hint=hint),
        _("Mend the number."),
    )


def _texts(column: "pd.Series[Any]") -> list[str]:
    """Return cells as clean text; each different one is cleaned once."""
    found = [value if type(value) is str else as_text(value) for value in listed(column)]
    return mapped(pd.Series(found, dtype=object), clean).tolist()


def clean(text: str) -> str:
    """Return text without control characters, at most a page of it.

    Parameters
    ----------
    text
        As written.
    """
    whole = text.encode("utf-8", "replace").decode("utf-8")
    return _CONTROL.sub(" ", whole).strip()[:_LONGEST]


def mapped(column: "pd.Series[Any]", function: Callable[[str], object]) -> "pd.Series[Any]":
    """Apply a function to each different value.

    Parameters
    ----------
    column
        Any values that can be told apart.
    function
        Called once for each different one.

    Returns
    -------
    Series
        What it gives, index of `column`.
    """
    codes, values = pd.factorize(column)
    results = np.empty(len(values), dtype=object)
    for at, value in enumerate(values):
        results[at] = function(value)
    return pd.Series(results[codes] if len(values) else [], index=column.index, dtype=object)


def say_problems(
    table: pd.DataFrame,
    problems: "pd.Series[Any]",
    asked: Asked,
    *,
    error: bool,
    mend: bool | None = None,
) -> None:
    """Tell each different problem of each return once, with its rows.

    Parameters
    ----------
    table
        Columns ``at`` (position of the return) and ``row``.
    problems
        A `Problem` or nothing for each row of it.
    asked
        The returns, and where faults go.
    error
        Whether they are errors, or warnings.
    mend
        Whether the rows come back to be mended; None: those with errors do.
    """
    told = problems.notna()
    if not told.any():
        return
    if error if mend is None else mend:
        asked.unread.add(table[told], problems[told])
    frame = pd.DataFrame(
        {"at": table.loc[told, "at"], "row": table.loc[told, "row"], "say": problems[told]}
    )
    # Each kind of problem of a return once; of a hundred thousand kinds the first are gone through.
    kinds = frame.groupby(["at", "say"], sort=False).ngroup().to_numpy()
    of_return = frame["at"][~pd.Series(kinds).duplicated().to_numpy()].reset_index(drop=True)
    first = of_return.groupby(of_return, sort=False).cumcount().to_numpy() < _FAULTS_LISTED
    groups: Any = frame[first[kinds]].groupby(["at", "say"], sort=False)["row"]
    add = asked.faults.error if error else asked.faults.warn
    for (at, problem), rows in groups:
        numbers = [str(row) for row in rows]
        more = (
            _(" and {n_numbers} more").format(n_numbers=len(numbers) - _ROWS_NAMED)
            if len(numbers) > _ROWS_NAMED
            else ""
        )
        where = asked.returns[at].where
        row = int(rows.iloc[0]) if len(numbers) == 1 else None
        named = (
            ""
            if row is not None
            else _("Rows {numbers}{more}: ").format(
                numbers=", ".join(numbers[:_ROWS_NAMED]), more=more
            )
        )
        add(where, named + problem.what, problem.mend, row=row)
    for at, count in Counter(of_return.tolist()).items():
        if count > _FAULTS_LISTED:
            add(
                asked.returns[at].where,
                _("... and {count} more of the kind.").format(count=count - _FAULTS_LISTED),
                _("Mend those that are listed first."),
            )


def with_plots(table: pd.DataFrame, match: Matcher, asked: Asked) -> pd.DataFrame:
    """Match the plots; rows of none are told and left out.

    Parameters
    ----------
    table
        As from `table_of`.
    match
        Finds the plot that a text means.
    asked
        The returns, and where faults go.
    """
    found = mapped(table["plot"], match)
    plots = [plot for plot, _ in found]
    problems = pd.Series([problem for _, problem in found], index=table.index, dtype=object)
    good = np.array([plot is not None for plot in plots], dtype=bool)
    say_problems(table[~good], problems[~good], asked, error=True)
    say_problems(table[good], problems[good], asked, error=False)
    return table.assign(plot=plots)[good].reset_index(drop=True)


def with_features(table: pd.DataFrame, asked: Asked) -> pd.DataFrame:
    """Match the features; rows of none are told and left out.

    Parameters
    ----------
    table
        As from `table_of`.
    asked
        The returns, the tables, and where faults go.
    """
    know = asked.knowledge

    hints = _Hints(lambda text: list(near_feature_words(text, know)))

    def read(text: str) -> str | Problem:
        key = text if text in know.features else match_feature(text, know)
        if key is not None:
            return key
        near = hints(text)
        hint = (
            _(" Did you mean {near}?").format(near=_(" or ").join(repr(one) for one in near))
            if near
            else ""
        )
        what = _("'{text}' is not a feature that patchnet knows.{hint}").format(
            text=text[:40], hint=hint
        )
        return Problem(what, _("'patchnet features' lists the words."))

    said = mapped(table["feature"], read)
    good = np.array([isinstance(one, str) for one in said], dtype=bool)
    say_problems(table[~good], said[~good], asked, error=True)
    return table.assign(feature=said)[good].reset_index(drop=True)
