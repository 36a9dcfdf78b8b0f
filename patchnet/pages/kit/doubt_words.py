"""How sure something is, in plain words: counts of draws, never a probability or an interval."""

from patchnet.assess.spread import Spread
from patchnet.core.texts import _, ngettext
from patchnet.pages.kit.numbers import figure

__all__ = ["SURE", "change_figure", "drawn_words", "often_words", "range_words", "times_in_ten"]

SURE = 0.95
"""Share of draws from which on something is called sure."""


def drawn_words(draws: int) -> str:
    """Say once on a page what a draw is.

    Parameters
    ----------
    draws
        How many there were.
    """
    return ngettext(
        "We worked this out {draws} time, with figures from the ranges in our tables and guesses "
        "of what nobody looked at.",
        "We worked this out {draws} times, each time with other figures from the ranges in our "
        "tables and other guesses of what nobody looked at.",
        draws,
    ).format(draws=draws)


def times_in_ten(share: float) -> str:
    """How often, of ten times; at the ends in words.

    Parameters
    ----------
    share
        Share of the draws, 0-1.

    Examples
    --------
    >>> times_in_ten(0.87), times_in_ten(0.96), times_in_ten(0.03), times_in_ten(0.1)
    ('about 9 times in 10', 'nearly always', 'hardly ever', 'about once in 10')
    """
    if share >= SURE:
        return _("nearly always")
    tenths = round(share * 10)
    if tenths == 0:
        return _("hardly ever")
    if tenths == 10:
        return _("more than 9 times in 10")
    return ngettext("about once in 10", "about {tenths} times in 10", tenths).format(tenths=tenths)


def often_words(share: float) -> str:
    """How often a thing is among the best things of a draw.

    Parameters
    ----------
    share
        Share of the draws, 0-1.
    """
    if share >= SURE:
        return _("Sure: it is nearly always among the best three.")
    return _("It is among the best three {often}.").format(often=times_in_ten(share))


def change_figure(value: float) -> str:
    """A change with its sign: ``+3.4``, ``-0.2``, ``0``.

    Parameters
    ----------
    value
        Any unit.

    Examples
    --------
    >>> change_figure(3.44), change_figure(-0.2), change_figure(0.0)
    ('+3.4', '-0.2', '0')
    """
    words = figure(abs(value))
    return words if words == "0" else f"{'+' if value > 0 else '-'}{words}"


def range_words(spread: Spread) -> str:
    """The middle 90 in 100 of a number.

    Parameters
    ----------
    spread
        The number over the draws, any unit.

    Examples
    --------
    >>> range_words(Spread(2.0, 0.94, 3.4))
    'between 0.94 and 3.4, 9 times in 10'
    """
    low, high = figure(spread.low), figure(spread.high)
    if low == high:
        return _("{low} each time").format(low=low)
    return _("between {low} and {high}, 9 times in 10").format(low=low, high=high)
