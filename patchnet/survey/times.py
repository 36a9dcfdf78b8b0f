"""The dates of statements, and clocks that are wrong by a year."""

from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.core.texts import _
from patchnet.knowledge.table_words import TableWords
from patchnet.read.feature_lists import Problem
from patchnet.survey.dates import When, day_first, parse_when
from patchnet.survey.one_return import Return
from patchnet.survey.rows import Asked, mapped, say_problems
from patchnet.survey.survey_record import listed

__all__ = ["with_times"]

_NEVER = "0001-01-01T00:00:00.000000"
_ISO = len("2026-05-02T10:00:00")
_DAY = len("2026-05-02")

Days = NDArray[np.int64]
"""Days as Python's ordinals (day 1 is 1 January of year 1); 0: no date."""


def with_times(table: pd.DataFrame, asked: Asked, *, tell: bool = True) -> pd.DataFrame:
    """Read the dates, and doubt those that cannot be: the year that they count for is put right.

    Parameters
    ----------
    table
        As from `table_of`: column ``when``, as written.
    asked
        The returns, and where faults go.
    tell
        Whether doubts go to the faults as well.

    Returns
    -------
    DataFrame
        With columns when (as written), utc (sorts by time), dated (a doubt, or empty), year.
    """
    texts = np.array(listed(table["when"]), dtype=object)
    utc, days = _read_iso(texts)
    written = texts.copy()
    for at, rows in _odd_rows(table, days).items():
        _read_others(asked.returns[at], rows, (written, utc, days), asked)
    unread = (texts != "") & (days == 0)
    say_problems(
        table[unread],
        mapped(
            table.loc[unread, "when"],
            lambda text: Problem(
                _("{text!r} is no date.").format(text=text[:30]), _("Write it as 2026-05-02.")
            ),
        ),
        asked,
        error=False,
    )
    dated, years = _doubts(table["at"].to_numpy(dtype=np.int64), days, asked)
    if tell:
        _say_doubts(table, dated, years, asked)
    written[days == 0] = ""
    return table.assign(
        when=pd.Series(written, index=table.index, dtype=object),
        utc=pd.Series(utc, index=table.index, dtype=object),
        dated=pd.Series(dated, index=table.index, dtype=object),
        year=years,
    )


def _read_iso(texts: NDArray[np.object_]) -> tuple[NDArray[np.object_], Days]:
    """Read all times in ISO 8601 at once, as devices write them."""
    utc = np.full(len(texts), _NEVER, dtype=object)
    days = np.zeros(len(texts), dtype=np.int64)
    iso = np.array([len(text) >= _ISO and text[_DAY] == "T" for text in texts], dtype=bool)
    if not iso.any():
        return utc, days
    found = pd.to_datetime(texts[iso], format="ISO8601", utc=True, errors="coerce")
    read = np.flatnonzero(iso)[~found.isna()]
    moments = found[~found.isna()].tz_localize(None).to_numpy()
    utc[read] = np.datetime_as_string(moments, unit="us").astype(object)
    heads = [text[:_DAY] for text in texts[read]]
    ordinal = {head: _ordinal(head) for head in set(heads)}
    days[read] = [ordinal[head] for head in heads]
    return utc, days


def _ordinal(text: str) -> int:
    try:
        return date.fromisoformat(text).toordinal()
    except ValueError:
        return 0


def _odd_rows(table: pd.DataFrame, days: Days) -> dict[int, NDArray[np.intp]]:
    """Return the rows, by return, whose date is not read yet."""
    left = np.flatnonzero(days == 0)
    at = table["at"].to_numpy(dtype=np.int64)[left]
    return {int(one): left[at == one] for one in np.unique(at)}


def _read_others(
    one: Return,
    rows: NDArray[np.intp],
    into: tuple[NDArray[np.object_], NDArray[np.object_], Days],
    asked: Asked,
) -> None:
    """Read dates as spreadsheets and people write them; where there is none, that of the round."""
    written, utc, days = into
    first, assumed = day_first([*written[rows], *one.about.values()])
    if assumed:
        asked.faults.warn(
            one.where,
            _("Its dates can be read in two ways (2/5 or 5/2): the day was taken to stand first."),
            _("Write dates as 2026-05-02."),
        )
    words = asked.knowledge.table_words
    heads = (_head_time(one, key, words, first=first) for key in ("began", "saved"))
    spare = next((head for head in heads if head is not None), None)
    known: dict[str, When | None] = {"": spare}
    for row in rows.tolist():
        text = written[row]
        if text not in known:
            known[text] = parse_when(text, days_first=first, words=words)
        when = known[text]
        if when is not None:
            written[row], utc[row], days[row] = when.text, when.utc, when.day.toordinal()


def _head_time(one: Return, key: str, words: TableWords, *, first: bool = True) -> When | None:
    return parse_when(one.about.get(key, ""), days_first=first, words=words)


def _doubts(
    at: NDArray[np.int64], days: Days, asked: Asked
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Say of each row how its date is to be doubted, and the year that it counts for."""
    slack = int(asked.knowledge.setting("clock_slack_days"))
    latest = asked.today.toordinal() + slack
    heads = np.zeros((3, max(len(asked.returns), 1)), dtype=np.int64)
    for column, one in enumerate(asked.returns):
        for row, key in enumerate(("began", "saved", "made")):
            when = _head_time(one, key, asked.knowledge.table_words)
            heads[row, column] = 0 if when is None else when.day.toordinal()
    began, saved, made = heads[:, at]
    tests = [
        (_("no date"), days == 0, np.full(len(days), asked.today.toordinal())),
        (_("in the future"), days > latest, np.full(len(days), asked.today.toordinal())),
        (
            _("before the sheet was made"),
            (made > 0) & (made <= latest) & (days < made - slack),
            made,
        ),
        (
            _("outside the round"),
            (began > 0)
            & (saved > 0)
            & (saved <= latest)
            & ((days < began - slack) | (days > saved + slack)),
            saved,
        ),
    ]
    holds = [test for __, test, ___ in tests]
    dated = np.select(holds, [np.full(len(days), name) for name, __, ___ in tests], "")
    counted = np.select(holds, [day for __, ___, day in tests], days)
    return dated.astype(object), _years(counted)


def _years(days: Days) -> NDArray[np.int64]:
    different, place = np.unique(days, return_inverse=True)
    years = np.array([date.fromordinal(day).year for day in different.tolist()], dtype=np.int64)
    return years[place] if len(days) else np.zeros(0, dtype=np.int64)


def _say_doubts(
    table: pd.DataFrame,
    dated: NDArray[np.object_],
    years: NDArray[np.int64],
    asked: Asked,
) -> None:
    frame = pd.DataFrame({"at": table["at"], "doubt": dated, "year": years})
    doubted = frame[frame["doubt"] != ""]
    groups: Any = doubted.groupby(["at", "doubt", "year"], sort=False)
    for (at, doubt, year), rows in groups:
        many = _("{n_rows} of its answers").format(n_rows=len(rows))
        where = asked.returns[at].where
        if doubt == "no date":
            what = _("{many} have no date: they were counted for {year}.").format(
                many=many, year=year
            )
            asked.faults.warn(where, what, _("Fill in the date of the round."))
            continue
        asked.faults.warn(
            where,
            _(
                "{many} are dated {doubt}: is the clock of the device wrong by a year? They are "
                "kept as they stand and counted for {year}."
            ).format(many=many, doubt=doubt, year=year),
            _("Set the clock right; for another year, mend the dates and hand it in again."),
        )
