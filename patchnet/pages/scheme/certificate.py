"""How good a scheme is, in words: what no other can win more, and how many planters are enough."""

from dataclasses import replace

from patchnet.core.language_forms import number
from patchnet.core.texts import _, ngettext
from patchnet.pages.kit.doubt_words import drawn_or_not, times_in_ten
from patchnet.pages.kit.numbers import figure
from patchnet.scheme.planter_scheme import Scheme, SchemeStep

__all__ = ["certificate_words", "chosen_step", "enough_words", "levels_off", "over_draws_words"]


def levels_off(curve: tuple[SchemeStep, ...], share: float) -> int | None:
    """The number of planters from which each further one adds less than `share` of all won.

    None where the curve never levels off.

    Parameters
    ----------
    curve
        One step a planter, from none on.
    share
        Share of all that is won, 0-1.
    """
    if len(curve) < 2 or curve[-1].value <= 0:
        return None
    least = share * curve[-1].value
    flat = len(curve) - 1
    while flat > 0 and curve[flat].value - curve[flat - 1].value < least:
        flat -= 1
    return None if flat == len(curve) - 1 else curve[flat].planters


def chosen_step(scheme: Scheme) -> SchemeStep:
    """The step of the curve with as many planters as were chosen, and what the choice wins.

    A choice over draws may win less with the figures in use than the best scheme of its size.
    """
    count = len(scheme.planters)
    step = next((one for one in scheme.curve if one.planters == count), scheme.curve[-1])
    if scheme.doubt is None:
        return step
    return replace(step, value=scheme.doubt.value, bound=max(step.bound, scheme.doubt.value))


def certificate_words(step: SchemeStep, *, exact: bool, wide: float, blind: float) -> str:
    """By how much another scheme of the same size could be better, at most.

    From a share of `wide` on it is said that this leaves much open, from `blind` on that it tells
    nothing.

    Parameters
    ----------
    step
        The scheme and its bound.
    exact
        Whether every scheme there is was judged.
    wide, blind
        Shares of what is won.
    """
    if step.value <= 0 and not exact:
        return _("Nothing is won, so no share can be told.")
    if step.within == 0:
        return _proved(step, exact=exact)
    if step.within >= blind:
        return _(
            "How good this choice is cannot be told: a better one was not found, but by the "
            "measure searched one with as many planters could win up to {times} times as much."
        ).format(times=figure(1 + step.within))
    words = _(
        "No scheme with as many planters can win more than {within} % more than this one, by the "
        "measure searched."
    ).format(within=figure(100 * step.within))
    if step.within < wide:
        return words
    return _(
        "{words} That is a wide margin: a clearly better scheme was not found, but it is not "
        "ruled out."
    ).format(words=words)


def _proved(step: SchemeStep, *, exact: bool) -> str:
    if step.planters == 1 and not exact:
        return _("It is proved that no other planter wins more, by the measure searched.")
    if step.planters == 2 and not exact:
        return _("It is proved that no two planters win more, by the measure searched.")
    return _("It is proved that no scheme of this size is better, by the measure searched.")


def over_draws_words(scheme: Scheme) -> str:
    """How the scheme was chosen over draws of what is not sure; nothing where none were taken."""
    doubt = scheme.doubt
    if doubt is None:
        return ""
    words = ngettext(
        "It was chosen out of {tried} scheme.",
        "It was chosen out of {tried} good schemes of its size, since it does well whatever turns "
        "out to be so: of what the best of them would win each time, it wins {share} in 100 on "
        "average.",
        doubt.tried,
    ).format(tried=doubt.tried, share=round(100 * doubt.share))
    harm = (
        _("The street would be better without it {often}.").format(often=times_in_ten(doubt.harm))
        if doubt.harm
        else _("There was no draw in which the street would be better without it.")
    )
    return _("{drawn} {words} {harm}").format(
        drawn=drawn_or_not(doubt.draws), words=words, harm=harm
    )


def enough_words(scheme: Scheme) -> str:
    """From how many planters on a further one hardly helps, and what so many win."""
    curve = scheme.curve
    if len(curve) < 2 or curve[-1].value <= 0:
        return ""
    share = scheme.after.knowledge.scheme_figure("level_share")
    flat = levels_off(curve, share)
    if flat is None:
        return _("The last planter still helps: more planters might win more.")
    value = next(step.value for step in curve if step.planters == flat)
    won = f"{number(100 * value / curve[-1].value, '.0f')} %"
    best = (
        _("The best single planter wins")
        if flat == 1
        else _("The best {flat} planters win").format(flat=flat)
    )
    return _(
        "{best} {won} of what the best {planters} win; each further one adds less than "
        "{share:.0f} % of that."
    ).format(best=best, won=won, planters=curve[-1].planters, share=100 * share)
