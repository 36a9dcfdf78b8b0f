"""How the language of the process writes numbers, days, lists, and names inside a sentence.

Decimal signs, names of months and the like are those of CLDR, which Babel carries. English is
written as the code writes it, without Babel. What is stored, compared or read by programs is never
written with these.
"""

import re
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from patchnet.core import texts

if TYPE_CHECKING:
    from babel import Locale

__all__ = [
    "capital_first",
    "day_told",
    "in_sentence",
    "listed",
    "nouns_keep_capitals",
    "number",
    "without_noughts",
]

_PLAIN = re.compile(r"(?P<sign>[+-]?)(?P<digits>\d+(?:\.(?P<decimals>\d+))?)(?P<percent>%?)")
_NOUNS_HAVE_CAPITALS = frozenset(("de", "gsw", "lb", "nds"))
"""Languages that write every noun with a capital letter: German and its neighbours."""


def number(value: float, spec: str = "") -> str:
    """Write a number as the language does.

    Parameters
    ----------
    value
        Any unit.
    spec
        As for `format`; ``,`` asks for the language's own thousands sign.

    Examples
    --------
    >>> number(1234.5, ",.1f"), number(0.25, ".0%")
    ('1,234.5', '25%')
    """
    if texts.language() == texts.ENGLISH:
        return format(value, spec)
    plain = format(value, spec.replace(",", ""))
    return _written(plain, texts.language_code(), grouped="," in spec)


def without_noughts(value: float, places: int = 2) -> str:
    """Write a number with so many decimals, but no noughts at their end.

    Parameters
    ----------
    value
        Any unit.
    places
        Decimals, at most.

    Examples
    --------
    >>> without_noughts(1200.5, 2), without_noughts(3.0, 2), without_noughts(30, 0)
    ('1,200.5', '3', '30')
    """
    decimals = f"{value:.{places}f}".rstrip("0").partition(".")[2] if places > 0 else ""
    return number(value, f",.{len(decimals)}f")


@lru_cache(maxsize=4096)
def _written(plain: str, code: str, *, grouped: bool) -> str:
    found = _PLAIN.fullmatch(plain)
    locale = _locale(code)
    if found is None:  # "nan", "1e-07"
        return plain.replace(".", locale.number_symbols["latn"]["decimal"])
    from babel.numbers import format_decimal, format_percent  # noqa: PLC0415 - not for English

    decimals = "." + "0" * len(found["decimals"]) if found["decimals"] else ""
    digits = Decimal(found["digits"])
    if found["percent"]:
        pattern = locale.percent_formats[None].pattern.replace("##0", "##0" + decimals)
        written = format_percent(digits / 100, format=pattern, locale=locale)
    else:
        pattern = ("#,##0" if grouped else "0") + decimals
        written = format_decimal(digits, format=pattern, locale=locale)
    return found["sign"] + written


def day_told(day: date | str) -> str:
    """Write a day in words; in English as 2026-05-03. Other text stays as it is.

    Parameters
    ----------
    day
        A day, or text such as ``"2026-05-03"``.

    Examples
    --------
    >>> day_told(date(2026, 5, 3)), day_told("the next survey")
    ('2026-05-03', 'the next survey')
    """
    if texts.language() == texts.ENGLISH:
        return str(day)
    if isinstance(day, str):
        try:
            day = date.fromisoformat(day)
        except ValueError:
            return str(day)
    from babel.dates import format_date  # noqa: PLC0415 - not for English

    return str(format_date(day, format="long", locale=_locale(texts.language_code())))


def listed(names: Sequence[str], between: Literal["and", "or"] = "and") -> str:
    """Names as one says them.

    Parameters
    ----------
    names
        Any number.
    between
        What stands before the last.

    Examples
    --------
    >>> listed([]), listed(["a"]), listed(["a", "b", "c"]), listed(["a", "b"], "or")
    ('', 'a', 'a, b and c', 'a or b')
    """
    if len(names) < 2:
        return "".join(names)
    if texts.language() == texts.ENGLISH:
        return f"{', '.join(names[:-1])} {between} {names[-1]}"
    from babel.lists import format_list  # noqa: PLC0415 - not for English

    style: Literal["standard", "or"] = "standard" if between == "and" else "or"
    return format_list(list(names), style=style, locale=_locale(texts.language_code()))


def in_sentence(name: str) -> str:
    """Return a name as it stands inside a sentence: small, where nouns are written small.

    Parameters
    ----------
    name
        A name of the tables, in the language of the process.

    Examples
    --------
    >>> in_sentence("House sparrow")
    'house sparrow'
    """
    return name if nouns_keep_capitals() else name.lower()


def capital_first(words: str) -> str:
    """Return words as they begin a sentence; no other letter changes (German nouns).

    Parameters
    ----------
    words
        One word or more.

    Examples
    --------
    >>> capital_first("hecke im Garten")
    'Hecke im Garten'
    """
    return words[:1].upper() + words[1:]


def nouns_keep_capitals() -> bool:
    """Whether the language writes nouns with a capital letter inside a sentence too."""
    return texts.language_code().partition("-")[0] in _NOUNS_HAVE_CAPITALS


@lru_cache(maxsize=4)
def _locale(code: str) -> "Locale":
    from babel import Locale, UnknownLocaleError  # noqa: PLC0415 - not for English

    try:
        return Locale.parse(code, sep="-")
    except (UnknownLocaleError, ValueError):
        return Locale(texts.ENGLISH)
