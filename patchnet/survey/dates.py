"""Dates as devices and spreadsheet programs write them, and what they make of plot ids."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from patchnet.knowledge.table_words import TableWords

__all__ = ["When", "day_first", "mangled_idents", "parse_when", "sortable"]

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_NUMBERS = re.compile(r"(\d{1,2})[./ -](\d{1,2})[./ -](\d{4}|\d{2})(?:[ ,T]+(\d{1,2}):(\d{2}).*)?")
_YEAR_FIRST = re.compile(r"(\d{4})[./ -](\d{1,2})[./ -](\d{1,2})(?:[ ,T]+(\d{1,2}):(\d{2}).*)?")
_DAY_WORD = re.compile(
    r"(\d{1,2})(?:st|nd|rd|th|er)?[ ./-]*([^\W\d_]{3,14})\.?,?[ ./-]*(\d{4}|\d{2})?"
)
_WORD_DAY = re.compile(
    r"([^\W\d_]{3,14})\.?[ ./-]*(\d{1,2})(?:st|nd|rd|th)?,?(?:[ ./-]+(\d{4}|\d{2}))?"
)
# Spreadsheet programs count days from the end of 1899 (ECMA-376 part 1, 18.17.4.1: the 1900 base).
_EPOCH = date(1899, 12, 30)
_SERIAL = re.compile(r"(\d{5})(?:[.,]\d+)?")


@dataclass(frozen=True, slots=True)
class When:
    """One point in time: as written down, its day on the spot, and UTC as text that sorts."""

    text: str
    utc: str
    day: date


def parse_when(  # noqa: PLR0911 - one a form
    text: str, *, days_first: bool, words: TableWords | None = None
) -> When | None:
    """Return the time that a text says, or None.

    Parameters
    ----------
    text
        ISO 8601, ``2/5/2026``, ``2 May 2026``, or the number a spreadsheet keeps a day as.
    days_first
        Whether ``2/5/2026`` is the second of May.
    words
        Names of months in other languages.
    """
    bare = text.strip()
    try:
        found = datetime.fromisoformat(bare)
    except ValueError:
        pass
    else:
        if len(bare) <= len("2026-05-02"):
            return _day(found.date())
        return When(found.isoformat(), sortable(found), found.date())
    low = bare.casefold()
    serial = _SERIAL.fullmatch(low)
    if serial:
        return _day(_EPOCH + timedelta(days=int(serial[1])))
    year_first = _YEAR_FIRST.fullmatch(low)
    if year_first:
        return _made(year_first[1], year_first[2], year_first[3])
    numbers = _NUMBERS.fullmatch(low)
    if numbers:
        day, month = (numbers[1], numbers[2]) if days_first else (numbers[2], numbers[1])
        return _made(numbers[3], month, day)
    day_word, word_day = _DAY_WORD.fullmatch(low), _WORD_DAY.fullmatch(low)
    if day_word and day_word[3] and (month := _month(day_word[2], words)):
        return _made(day_word[3], month, day_word[1])
    if word_day and word_day[3] and (month := _month(word_day[1], words)):
        return _made(word_day[3], month, word_day[2])
    return None


def _month(name: str, words: TableWords | None) -> str | None:
    """Return the number of a month by its name; an English one may be cut off or run on."""
    named = words.meaning("month", name) if words is not None else None
    if named or name[:3] not in _MONTHS:
        return named
    return str(_MONTHS.index(name[:3]) + 1)


def sortable(when: datetime) -> str:
    """Return a time in UTC as text that sorts by time; one without an offset is taken as UTC."""
    offset = when.utcoffset()
    try:
        utc = when if offset is None else when - offset
    except OverflowError:
        utc = when
    return utc.replace(tzinfo=None).isoformat(timespec="microseconds")


def day_first(texts: Iterable[str]) -> tuple[bool, bool]:
    """Whether days stand before months in dates of numbers, and whether that had to be assumed.

    One date with a number above twelve tells for all dates of its file. Where none does, days
    first is assumed, as in most of the world (ISO 8601 dates are never in doubt).

    Parameters
    ----------
    texts
        All dates of a table, as written.

    Returns
    -------
    tuple
        Whether the day stands first; whether that had to be assumed.
    """
    months_first = doubtful = False
    for text in texts:
        found = _NUMBERS.fullmatch(text.strip().casefold())
        if not found:
            continue
        first, second = int(found[1]), int(found[2])
        if first > 12:
            return True, False
        months_first |= second > 12
        doubtful |= first != second
    return not months_first, doubtful and not months_first


def mangled_idents(text: str) -> list[str]:
    """List the plot ids that a spreadsheet program may have made this date of.

    Parameters
    ----------
    text
        A date.

    Examples
    --------
    >>> mangled_idents("01-Feb")
    ['1-2', '2-1', '1/2', '2/1', '1.2', '2.1']
    """
    low = text.strip().casefold()
    pairs: list[tuple[int, int]] = []
    whole = re.fullmatch(r"(\d{4})-(\d{2})-(\d{2})(?:t00:00:00)?", low)
    day_word, word_day = _DAY_WORD.fullmatch(low), _WORD_DAY.fullmatch(low)
    if whole:
        day, month, year = int(whole[3]), int(whole[2]), int(whole[1]) % 100
        pairs = [(day, month), (month, day)]
        if day == 1:
            pairs += [(month, year), (year, month)]
    elif day_word and not day_word[3] and day_word[2][:3] in _MONTHS:
        day, month = int(day_word[1]), _MONTHS.index(day_word[2][:3]) + 1
        pairs = [(day, month), (month, day)]
    elif word_day and not word_day[3] and word_day[1][:3] in _MONTHS:
        month, other = _MONTHS.index(word_day[1][:3]) + 1, int(word_day[2])
        pairs = [(month, other), (other, month)]
    return [f"{a}{sign}{b}" for sign in "-/." for a, b in pairs]


def _day(day: date) -> When:
    return When(day.isoformat(), f"{day.isoformat()}T00:00:00.000000", day)


def _made(year: str, month: str, day: str) -> When | None:
    whole = int(year) + (2000 if len(year) == 2 else 0)
    try:
        return _day(date(whole, int(month), int(day)))
    except ValueError:
        return None
