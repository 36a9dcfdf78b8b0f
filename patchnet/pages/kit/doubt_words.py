"""How sure a figure is, in the words people read."""

from patchnet.assess.links_in_draws import BreakDoubt
from patchnet.core.texts import _, ngettext
from patchnet.pages.kit.numbers import figure

__all__ = ["break_words", "draws_words", "of_draws"]


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
        animal=animal.lower(), width=f"{gap.width_m:.0f}", n=of_draws(one.shunned, draws)
    )
    won = _("It wins {mean} homes ({low} to {high} in 9 of 10 draws), anything at all in {n}.")
    won = won.format(
        mean=figure(one.won.mean),
        low=figure(one.won.low),
        high=figure(one.won.high),
        n=of_draws(one.often, draws),
    )
    return _("{where}. {told} {won}").format(where=where, told=told, won=won)
