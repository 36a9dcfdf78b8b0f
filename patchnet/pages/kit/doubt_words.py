"""How sure something is, in plain words: counts of draws, never a probability or an interval."""

from patchnet.assess.links_in_draws import BreakDoubt
from patchnet.assess.spread import Spread
from patchnet.core.language_forms import in_sentence
from patchnet.core.texts import _, ngettext
from patchnet.pages.kit.numbers import ends, figure

__all__ = [
    "break_words",
    "drawn_or_not",
    "drawn_words",
    "of_draws",
    "often_words",
    "range_words",
    "times_in_ten",
]

_NEARLY = 0.95  # from here on words say more than a count of ten


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


def drawn_or_not(draws: int) -> str:
    """Say what a draw is, or that there were none, where counts of draws are told.

    Parameters
    ----------
    draws
        How many there were; 0: none.
    """
    if draws == 0:
        return _(
            "This was worked out once, with the figures in use, so nothing is said of how sure it "
            "is."
        )
    return _("{drawn} Each time is one draw.").format(drawn=drawn_words(draws))


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
    if share >= _NEARLY:
        return _("nearly always")
    tenths = round(share * 10)
    if tenths == 0:
        return _("hardly ever")
    if tenths == 10:
        return _("more than 9 times in 10")
    return ngettext("about once in 10", "about {tenths} times in 10", tenths).format(tenths=tenths)


def often_words(share: float, *, sure: float) -> str:
    """How often a thing is among the best things of a draw.

    Parameters
    ----------
    share
        Share of the draws, 0-1.
    sure
        Share from which on it is called sure, 0-1.
    """
    if share >= sure:
        return _("Sure: it is nearly always among the best three.")
    return _("It is among the best three {often}.").format(often=times_in_ten(share))


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
    low, high = (figure(one) for one in ends(spread.low, spread.high))
    if low == high:
        return _("{low} each time").format(low=low)
    return _("between {low} and {high}, 9 times in 10").format(low=low, high=high)


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


def break_words(one: BreakDoubt, animal: str, draws: int) -> str:
    """What closing a break wins, and in how many draws it is a break at all.

    Parameters
    ----------
    one
        The break over the draws.
    animal
        Its name.
    draws
        How many draws there were.
    """
    gap = one.gap
    walks = gap.cost_m != gap.width_m
    where = (
        _("From {from_plot} to {to_plot}, {width} m that cost {cost}").format(
            from_plot=gap.from_plot,
            to_plot=gap.to_plot,
            width=f"{gap.width_m:.0f}",
            cost=f"{gap.cost_m:.0f}",
        )
        if walks
        else _("From {from_plot} to {to_plot}, {width} m").format(
            from_plot=gap.from_plot, to_plot=gap.to_plot, width=f"{gap.width_m:.0f}"
        )
    )
    if one.shunned == 1:
        joins = _("Too far for one move of the {animal} in every draw.")
    elif one.shunned == 0:
        joins = _("The {animal} gets across in one move in every draw, so there is no break.")
    elif walks:
        joins = _(
            "Closing it joins the two sides only if the {animal} does not go so far in one move, "
            "which is so in {n} draws."
        )
    else:
        joins = _(
            "Closing it joins the two sides only if the {animal} shuns gaps of {width} m, which is "
            "so in {n} draws."
        )
    told = joins.format(
        animal=in_sentence(animal), width=f"{gap.width_m:.0f}", n=of_draws(one.shunned, draws)
    )
    won = _("It wins {mean} homes ({low} to {high} in 9 of 10 draws), anything at all in {n}.")
    won = won.format(
        mean=figure(one.won.mean),
        low=figure(one.won.low),
        high=figure(one.won.high),
        n=of_draws(one.often, draws),
    )
    return _("{where}. {told} {won}").format(where=where, told=told, won=won)
