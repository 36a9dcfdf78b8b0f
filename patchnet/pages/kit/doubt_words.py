"""How sure a figure is, in the words people read."""

from patchnet.core.texts import _, ngettext

__all__ = ["draws_words", "of_draws"]


def draws_words(count: int) -> str:
    """Say what a draw is, and how many were taken.

    Parameters
    ----------
    count
        How many draws; 0: none.
    """
    if count == 0:
        return _(
            "This was worked out once, with the figures in use, so nothing is said of how sure it "
            "is."
        )
    return ngettext(
        "We worked it out once, with figures from the ranges in our tables and a guess of what "
        "nobody looked at: that is one draw.",
        "We worked it out {n} times, each time with other figures from the ranges in our tables "
        "and other guesses of what nobody looked at: each time is one draw.",
        count,
    ).format(n=count)


def of_draws(share: float, count: int) -> str:
    """How many of the draws a share of them is.

    Parameters
    ----------
    share
        Of the draws, 0-1.
    count
        How many there were.

    Examples
    --------
    >>> of_draws(0.97, 100), of_draws(0.5, 50)
    ('97 of 100', '25 of 50')
    """
    return _("{n} of {count}").format(n=round(share * count), count=count)
