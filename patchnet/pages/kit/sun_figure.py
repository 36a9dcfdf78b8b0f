"""Hours of sun on one plot, month by month: as sentences, and as a figure to print."""

import math

from patchnet.core.language_forms import number
from patchnet.core.texts import N_, Words, _
from patchnet.pages.kit.colours import INK, RULE, STEPS
from patchnet.pages.kit.numbers import MONTH_NAMES, MONTHS
from patchnet.pages.kit.templates import Markup, render
from patchnet.sun.at_plot import PlotSun

__all__ = ["hours_words", "sun_figure", "sun_words"]

# Measures of the figure in px at its own size: as wide as half an A4 page, or a phone.
_WIDTH = 360
_LEFT = 4
_COLUMN = 29
_BAR = 21
_TOP = 30
_TALL = 104
_FOOT = _TOP + _TALL
_HEIGHT = _FOOT + 22
_FONT = 11.5

_CLASS: Words[str, str] = Words(
    {"sun": N_("in full sun"), "part": N_("in part shade"), "shade": N_("in shade")}
)
_SEAT: Words[str, str] = Words(
    {
        "both": N_("A seat can have morning sun, and one can have evening sun."),
        "morning": N_("A seat can have morning sun, but not evening sun."),
        "evening": N_("A seat can have evening sun, but not morning sun."),
        "neither": N_("No seat has much morning or evening sun."),
    }
)


def hours_words(hours: float) -> str:
    """Write hours a day as people say them, to the half hour below five.

    Parameters
    ----------
    hours
        Hours of sun a day.

    Examples
    --------
    >>> [hours_words(h) for h in (0.0, 0.2, 0.5, 1.1, 2.6, 6.4)]
    ['no sun', 'less than half an hour', 'half an hour', '1 hour', '2.5 hours', '6 hours']
    """
    if hours <= 0:
        return _("no sun")
    rounded = _rounded(hours)
    if rounded == 0 or hours < 0.3:
        return _("less than half an hour")
    if rounded == 0.5:
        return _("half an hour")
    return _("1 hour") if rounded == 1 else _("{rounded:g} hours").format(rounded=rounded)


def sun_words(sun: PlotSun) -> tuple[str, ...]:
    """Say in sentences what the sun does on a plot, and what is not known of it."""
    if not sun.known or sun.cls is None:
        return (sun.why_not,)
    high, low = sun.midsummer - 1, (sun.midsummer + 5) % 12
    winter = (
        _("there is none")
        if sun.hours[low] <= 0
        else _("it is {hour}").format(hour=hours_words(sun.hours[low]))
    )
    summer = (
        _("{hour} a day of direct").format(hour=hours_words(sun.hours[high]))
        if sun.hours[high] > 0
        else _("no direct")
    )
    said = [
        _("At midsummer the ground gets {summer} sun, on average: it lies {class_}.").format(
            summer=summer, class_=_CLASS[sun.cls]
        )
    ]
    if sun.hours[high] > 0:
        first, second = _about(sun.morning_hours), _about(sun.afternoon_hours)
        said.append(
            _("In the first half of the day it is {first}, in the second {second}.").format(
                first=first, second=second
            )
        )
    there = hours_words(sun.open_hours[low])
    said.append(
        _("In {month_name} {winter}; a place in the open has {there}.").format(
            month_name=MONTH_NAMES[low], winter=winter, there=there
        )
    )
    if sun.seat is not None:
        said.append(_SEAT[sun.seat])
    if sun.sunny_wall is not None:
        hours = hours_words(sun.sunny_wall.hours)
        said.append(
            _(
                "The sunniest place for a bee box is the {sunny_wall_words}: {hours} of sun a day "
                "in spring. Ask first if it is not yours."
            ).format(sunny_wall_words=sun.sunny_wall.words, hours=hours)
        )
    if sun.shady_corner is not None:
        hours = hours_words(sun.shady_corner.hours)
        said.append(
            _(
                "The {shady_corner_words} has least sun, {hours} a day at midsummer: a place for "
                "ferns and other plants of part shade."
            ).format(shady_corner_words=sun.shady_corner.words, hours=hours)
        )
    return (*said, *sun.notes)


def sun_figure(sun: PlotSun, *, ident: str = "sun") -> Markup:
    """Draw hours of direct sun by month as an SVG that needs nothing else.

    Bars with numbers are what the plot gets, the outlines behind them what a place in the open
    would get; it reads in black and white.

    Parameters
    ----------
    sun
        What is known of the plot.
    ident
        Start of the ids in it; must differ between figures on one page.

    Returns
    -------
    str
        An ``<svg>`` element, its numbers in ``<desc>``; empty where nothing is known.
    """
    if not sun.known:
        return Markup()
    most = max(*sun.open_hours, 1.0)
    return render(
        "kit/sun_figure.svg",
        ident=ident,
        wide=_WIDTH,
        high=_HEIGHT,
        font=_FONT,
        ink=INK,
        rule=RULE,
        tint=STEPS[-1].base,
        words=_numbers(sun),
        left=_LEFT,
        foot=_FOOT,
        bar=_BAR,
        column=_COLUMN,
        bars=[
            (
                _LEFT + month * _COLUMN + (_COLUMN - _BAR) / 2,
                _FOOT - there * _TALL / most,
                _FOOT - hours * _TALL / most,
                MONTHS[month],
                _short(hours),
            )
            for month, (hours, there) in enumerate(zip(sun.hours, sun.open_hours, strict=True))
        ],
    )


def _rounded(hours: float) -> float:
    return math.floor(hours * 2 + 0.5) / 2 if hours < 5 else float(math.floor(hours + 0.5))


def _about(hours: float) -> str:
    return _("about {hours}").format(hours=hours_words(hours)) if hours > 0 else _("none")


def _short(hours: float) -> str:
    """One number for a bar: whole from ten on, else halves; what is hardly any is marked so."""
    rounded = _rounded(hours)
    return "<½" if 0 < hours < 0.3 else number(rounded, "g")


def _numbers(sun: PlotSun) -> str:
    parts = [f"{month} {_short(one)}" for month, one in zip(MONTHS, sun.hours, strict=True)]
    there = [f"{month} {_short(one)}" for month, one in zip(MONTHS, sun.open_hours, strict=True)]
    return _("On this plot: {parts}. In the open: {there}.").format(
        parts=", ".join(parts), there=", ".join(there)
    )
