"""Rows of all returns in one table: matched with plots, features and times, word by word once."""

import re
from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
import pandas as pd

from patchnet.faults import nearest
from patchnet.ground.cells import as_text, whole_number
from patchnet.ground.fault_list import FaultList
from patchnet.ground.feature_words import Problem
from patchnet.ground.returns import SAID, Return
from patchnet.ground.returns_dates import When, day_first, mangled_idents, parse_when
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.words import match_feature, near_feature_words

__all__ = [
    "Asked",
    "clean",
    "mapped",
    "plot_matcher",
    "say_problems",
    "table_of",
    "with_features",
    "with_plots",
    "with_times",
]

_LONGEST = 2000  # characters of a note: a page of handwriting
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]+")
_ROWS_NAMED = 12
_NEVER = "0001-01-01T00:00:00.000000"

Matcher = Callable[[str], tuple[str | None, Problem | None]]


@dataclass(frozen=True, eq=False)
class Asked:
    """What rows are checked with: their returns, the tables, today, and where faults go."""

    returns: Sequence[Return]
    knowledge: Knowledge
    today: date
    faults: FaultList


def table_of(frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Join one frame a return (columns `SAID` and others); `at` is the return's position.

    Every cell of `SAID` but the row number becomes clean text.
    """
    tables = [frame.assign(at=at) for at, frame in enumerate(frames) if len(frame)]
    empty = pd.DataFrame(columns=[*SAID, "at"], dtype=object)
    table = pd.concat(tables, ignore_index=True) if tables else empty
    for key in SAID:
        if key != "row":
            table[key] = pd.Series(_texts(table[key]), index=table.index, dtype=object)
    table["at"] = table["at"].astype(np.int64)
    return table


def plot_matcher(idents: Iterable[Hashable]) -> Matcher:
    """Return what finds the plot that a text means: its id and, where it was doubted, why."""
    exact = {str(ident) for ident in idents}
    loose: dict[str, list[str]] = {}
    for ident in sorted(exact):
        loose.setdefault(_loose(ident), []).append(ident)

    def match(text: str) -> tuple[str | None, Problem | None]:
        # The survey sheet puts an apostrophe before an id that would be a formula.
        ident = text if text in exact else whole_number(text.removeprefix("'"))
        if ident in exact:
            return ident, None
        near = loose.get(_loose(ident), [])
        if len(near) == 1:
            return near[0], None
        meant = sorted(exact & set(mangled_idents(text)))
        if len(meant) == 1:
            what = f"{text[:40]!r} was taken as plot {meant[0]}: a spreadsheet made a date of it."
            return meant[0], Problem(what, "Format the column of plots as text.")
        if meant:
            what = f"{text[:40]!r} is a plot that a spreadsheet made a date of: "
            return None, Problem(f"{what}{' or '.join(meant)}?", "Write the plot anew, as text.")
        if not ident:
            return None, Problem("There is no plot in it.", "Fill in the plot's number.")
        close = nearest(ident, exact)
        hint = f" Did you mean {' or '.join(close)}?" if close else ""
        return None, Problem(f"There is no plot {ident[:40]!r} here.{hint}", "Mend the number.")

    return match


def _loose(ident: str) -> str:
    return re.sub(r"\s+", "", ident.casefold()).lstrip("0")


def _texts(column: "pd.Series[Any]") -> list[str]:
    """Return cells as clean text; each different one is cleaned once."""
    found = [value if type(value) is str else as_text(value) for value in column]
    return mapped(pd.Series(found, dtype=object), clean).tolist()


def clean(text: str) -> str:
    """Return text without control characters, at most a page of it."""
    whole = text.encode("utf-8", "replace").decode("utf-8")
    return _CONTROL.sub(" ", whole).strip()[:_LONGEST]


def mapped(column: "pd.Series[Any]", function: Callable[[str], object]) -> "pd.Series[Any]":
    """Apply a function to each different value."""
    codes, values = pd.factorize(column)
    results = np.empty(len(values), dtype=object)
    for at, value in enumerate(values):
        results[at] = function(value)
    return pd.Series(results[codes] if len(values) else [], index=column.index, dtype=object)


def say_problems(
    table: pd.DataFrame, problems: "pd.Series[Any]", asked: Asked, *, error: bool
) -> None:
    """Tell each different problem of each return once, with its rows."""
    told = problems.notna()
    if not told.any():
        return
    frame = pd.DataFrame(
        {"at": table.loc[told, "at"], "row": table.loc[told, "row"], "say": problems[told]}
    )
    groups: Any = frame.groupby(["at", "say"], sort=False)["row"]
    for (at, problem), rows in groups:
        numbers = [str(row) for row in rows]
        more = f" and {len(numbers) - _ROWS_NAMED} more" if len(numbers) > _ROWS_NAMED else ""
        where = asked.returns[at].where
        row = int(rows.iloc[0]) if len(numbers) == 1 else None
        named = "" if row is not None else f"Rows {', '.join(numbers[:_ROWS_NAMED])}{more}: "
        add = asked.faults.error if error else asked.faults.warn
        add(where, named + problem.what, problem.mend, row=row)


def with_plots(table: pd.DataFrame, match: Matcher, asked: Asked) -> pd.DataFrame:
    """Match the plots; rows of none are told and left out."""
    found = mapped(table["plot"], match)
    plots = [plot for plot, _ in found]
    problems = pd.Series([problem for _, problem in found], index=table.index, dtype=object)
    good = np.array([plot is not None for plot in plots], dtype=bool)
    say_problems(table[~good], problems[~good], asked, error=True)
    say_problems(table[good], problems[good], asked, error=False)
    return table.assign(plot=plots)[good].reset_index(drop=True)


def with_times(table: pd.DataFrame, asked: Asked, *, tell: bool = True) -> pd.DataFrame:
    """Read the dates, and doubt those that cannot be: the year that they count for is put right."""
    times: list[When | None] = [None] * len(table)
    groups: Any = table.groupby("at", sort=False).indices
    for at, rows in groups.items():
        one = asked.returns[at]
        texts = table["when"].to_numpy(dtype=object)[rows]
        first, assumed = day_first([*texts, *one.about.values()])
        if assumed:
            asked.faults.warn(
                one.where,
                "Its dates can be read in two ways (2/5 or 5/2): the day was taken to stand first.",
                "Write dates as 2026-05-02.",
            )
        spare = next(
            (w for key in ("began", "saved") if (w := _head_time(one, key, days_first=first))), None
        )
        known: dict[str, When | None] = {}
        for row, text in zip(rows.tolist(), texts, strict=True):
            if text not in known:
                known[text] = parse_when(text, days_first=first) if text else spare
            times[row] = known[text]
    unread = [bool(text) and time is None for text, time in zip(table["when"], times, strict=True)]
    say_problems(
        table[unread],
        mapped(
            table.loc[unread, "when"],
            lambda text: Problem(f"{text[:30]!r} is no date.", "Write it as 2026-05-02."),
        ),
        asked,
        error=False,
    )
    dated, years = _doubts(table, times, asked)
    if tell:
        _say_doubts(table, dated, years, asked)
    return table.assign(
        when=[time.text if time else "" for time in times],
        utc=[_sortable(time.utc) if time else _NEVER for time in times],
        dated=dated,
        year=years,
    )


def _sortable(utc: datetime) -> str:
    return utc.replace(tzinfo=None).isoformat(timespec="microseconds")


def _head_time(one: Return, key: str, *, days_first: bool = True) -> When | None:
    return parse_when(one.about.get(key, ""), days_first=days_first)


def _doubts(
    table: pd.DataFrame, times: Sequence[When | None], asked: Asked
) -> tuple[list[str], list[int]]:
    """Say of each row how its date is to be doubted, and the year that it counts for."""
    slack = timedelta(days=asked.knowledge.setting("clock_slack_days"))
    latest = asked.today + slack
    heads: list[tuple[date | None, date | None, date | None]] = []
    for one in asked.returns:
        found = [_head_time(one, key) for key in ("began", "saved", "made")]
        began, saved, made = (when.day if when else None for when in found)
        heads.append((began, saved, made))
    dated, years = [], []
    for at, time in zip(table["at"].tolist(), times, strict=True):
        began, saved, made = heads[at]
        doubt, year = "", asked.today.year if time is None else time.day.year
        if time is None:
            doubt = "no date"
        elif time.day > latest:
            doubt, year = "in the future", asked.today.year
        elif made is not None and time.day < made - slack and made <= latest:
            doubt, year = "before the sheet was made", made.year
        elif (
            began is not None
            and saved is not None
            and saved <= latest
            and not (began - slack <= time.day <= saved + slack)
        ):
            doubt, year = "outside the round", saved.year
        dated.append(doubt)
        years.append(year)
    return dated, years


def _say_doubts(
    table: pd.DataFrame, dated: Sequence[str], years: Sequence[int], asked: Asked
) -> None:
    frame = pd.DataFrame({"at": table["at"], "doubt": list(dated), "year": list(years)})
    doubted = frame[frame["doubt"] != ""]
    groups: Any = doubted.groupby(["at", "doubt", "year"], sort=False)
    for (at, doubt, year), rows in groups:
        said = "have no date" if doubt == "no date" else f"are dated {doubt}"
        asked.faults.warn(
            asked.returns[at].where,
            f"{len(rows)} of its statements {said}: is the clock of the device wrong by a year? "
            f"They are kept as they stand and counted for {year}.",
            "Set the clock right; for another year, mend the dates and hand it in again.",
        )


def with_features(table: pd.DataFrame, asked: Asked) -> pd.DataFrame:
    """Match the features; rows of none are told and left out."""
    know = asked.knowledge

    def read(text: str) -> str | Problem:
        key = text if text in know.features else match_feature(text, know)
        if key is not None:
            return key
        near = near_feature_words(text, know)
        hint = f" Did you mean {' or '.join(repr(one) for one in near)}?" if near else ""
        what = f"'{text[:40]}' is not a feature that patchnet knows.{hint}"
        return Problem(what, "'patchnet features' lists the words.")

    said = mapped(table["feature"], read)
    good = np.array([isinstance(one, str) for one in said], dtype=bool)
    say_problems(table[~good], said[~good], asked, error=True)
    return table.assign(feature=said)[good].reset_index(drop=True)
