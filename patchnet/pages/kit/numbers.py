"""Numbers and months in the words people read."""

import math
from collections.abc import Iterable

from patchnet.core.language_forms import without_noughts
from patchnet.core.texts import N_, WordList, _
from patchnet.knowledge.records import Knowledge

__all__ = [
    "MONTHS",
    "MONTH_NAMES",
    "UNITS",
    "before_after",
    "currency",
    "ends",
    "figure",
    "metres",
    "month_spans",
    "span",
]

_BESIDE = 0.01  # two significant digits show no less beside the other end

UNITS = {"m2": "m²", "m": "m", "count": ""}
"""Unit of an amount, by the measure of its feature; pieces have none."""
MONTHS: WordList[str] = WordList(
    (
        N_("Jan"),
        N_("Feb"),
        N_("Mar"),
        N_("Apr"),
        N_("May"),
        N_("Jun"),
        N_("Jul"),
        N_("Aug"),
        N_("Sep"),
        N_("Oct"),
        N_("Nov"),
        N_("Dec"),
    )
)
MONTH_NAMES: WordList[str] = WordList(
    (
        N_("January"),
        N_("February"),
        N_("March"),
        N_("April"),
        N_("May"),
        N_("June"),
        N_("July"),
        N_("August"),
        N_("September"),
        N_("October"),
        N_("November"),
        N_("December"),
    )
)


def figure(value: float) -> str:
    """Two significant digits, no trailing zeros: these are estimates, not measurements.

    Parameters
    ----------
    value
        Any unit.

    Examples
    --------
    >>> [figure(x) for x in (0, 0.034, 0.5, 1.26, 34.4, 128, float("inf"))]
    ['0', '0.034', '0.5', '1.3', '34', '130', 'any number']
    """
    if math.isinf(value):
        return _("any number")
    if math.isnan(value):
        return _("not known")
    if value == 0:
        return "0"
    digits = 1 - math.floor(math.log10(abs(value)))
    rounded = round(float(value), digits)
    return without_noughts(rounded, digits)


def before_after(before: float, won: float) -> tuple[str, str, str]:
    """Write a number before a change, the change, and the number after, so that they add up.

    All three are whole multiples of one step: that of two significant digits of the number after,
    or of one of the change, whichever is finer.

    Parameters
    ----------
    before, won
        0 or more, any unit.

    Returns
    -------
    tuple
        Before, change and after.

    Examples
    --------
    >>> before_after(269.6, 80.1), before_after(3.05, 1.06), before_after(16.49, 0.03)
    (('270', '80', '350'), ('3', '1.1', '4.1'), ('16.49', '0.03', '16.52'))
    """
    if won <= 0:
        return figure(before), "0", figure(before)
    digits = max(1 - math.floor(math.log10(before + won)), -math.floor(math.log10(won)))
    first, change = round(before, digits), round(won, digits)
    return tuple(  # type: ignore[return-value]
        without_noughts(one, digits) for one in (first, change, first + change)
    )


def ends(low: float, high: float) -> tuple[float, float]:
    """Ends of a range as they are told: one that is next to nothing beside the other is 0.

    Parameters
    ----------
    low, high
        Any unit.

    Returns
    -------
    tuple
        Low and high, in the same unit.

    Examples
    --------
    >>> ends(-0.000013, 0.26), ends(0.01, 0.26), ends(-3.0, 0.002)
    ((0.0, 0.26), (0.01, 0.26), (-3.0, 0.0))
    """
    least = _BESIDE * max(abs(low), abs(high))
    return 0.0 if abs(low) < least else low, 0.0 if abs(high) < least else high


def metres(value: float) -> str:
    """A distance in whole metres; touching plots are "next door".

    Parameters
    ----------
    value
        Metres.

    Examples
    --------
    >>> metres(0), metres(0.4), metres(34.4)
    ('next door', '1 m', '34 m')
    """
    return _("next door") if value == 0 else f"{max(1, round(value))} m"


def span(low: float, value: float, high: float) -> str:
    """A figure with its range, the range left out where it says nothing more.

    Parameters
    ----------
    low, value, high
        The range and the figure in it, any unit.

    Examples
    --------
    >>> span(1, 2, 8), span(2, 2, 2)
    ('2 (1 to 8)', '2')
    """
    low_text, text, high_text = figure(low), figure(value), figure(high)
    return (
        text
        if low_text == text == high_text
        else _("{text} ({low_text} to {high_text})").format(
            text=text, low_text=low_text, high_text=high_text
        )
    )


def currency(knowledge: Knowledge) -> str:
    """Return the money that costs are in, in words.

    Parameters
    ----------
    knowledge
        The tables, whose costs are all in the same.
    """
    return _(knowledge.settings["cost_low"].unit)


def month_spans(months: Iterable[int]) -> str:
    """Months as spans, wrapping over new year.

    >>> month_spans([3, 4, 5, 9]), month_spans([11, 12, 1, 2]), month_spans(range(1, 13))
    ('Mar-May, Sep', 'Nov-Feb', 'all year')
    """
    chosen = sorted(set(months))
    if len(chosen) == 12:
        return _("all year")
    starts = [month for month in chosen if (month - 2) % 12 + 1 not in chosen]
    parts = []
    for start in starts:
        end = start
        while end % 12 + 1 in chosen:
            end = end % 12 + 1
        parts.append(
            MONTHS[start - 1] if start == end else f"{MONTHS[start - 1]}-{MONTHS[end - 1]}"
        )
    return ", ".join(parts)
