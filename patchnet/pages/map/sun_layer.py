"""Hours of sun for the map page: what its script draws from, and the words it says."""

from typing import Any

import pandas as pd

from patchnet.core.errors import WrongUse
from patchnet.core.texts import N_, Words, _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.encode import two_digit_codes
from patchnet.sun.shade import SunHours

__all__ = ["SUN_SHOW", "SUN_WORDS", "sun_layer"]

SUN_SHOW: Words[str, str] = Words({"sun": N_("Hours of sun")})
"""The layer's name in the list of what the plots can be shaded by."""

SUN_WORDS: Words[str, object] = Words(
    {
        "sun_midsummer": N_("Midsummer"),
        "title_sun_midsummer": N_("Hours of direct sun a day at midsummer"),
        "title_sun": N_("Hours of direct sun a day in {month}"),
        "note_sun": (
            N_(
                "A cloudless day, on average over the open ground of each plot, from the heights "
                "of buildings, walls, fences and hedges that somebody gave. Trees and hills are "
                "not counted. A place in the open has {open} hours."
            )
        ),
        "note_sun_measured": (
            N_(
                "A cloudless day, on average over the open ground of each plot, from heights "
                "measured from the air. Trees count as solid, also when bare. A place in the open "
                "has {open} hours."
            )
        ),
        "sun_unknown": N_("not known: no building near it has a height or storeys"),
        "sun_first": N_("up to {to} h"),
        "sun_middle": N_("{from} to {to} h"),
        "sun_last": N_("over {from} h"),
        "sun_named": N_("{name}: {words}"),
        "sun_classes": [N_("shade"), N_("shade"), N_("part shade"), N_("full sun"), N_("full sun")],
        "head_sun": N_("Hours of sun"),
        "head_sun_morning": N_("First half of the day"),
        "head_sun_afternoon": N_("Second half"),
        "doubt_sun": N_("turns on buildings whose height is not known"),
        "card_sun": N_("Sun and shade"),
        "card_sun_words": (
            N_(
                "{hours} hours of direct sun a day at midsummer, on average over its open ground: "
                "{class}. {morning} of them in the first half of the day, {afternoon} in the "
                "second."
            )
        ),
        "card_sun_caption": N_("Hours of direct sun a day, month by month:"),
        "card_sun_table": N_("Hours of sun month by month"),
        "card_sun_least": (
            N_(
                "Buildings near here without a height on the map: {n}. If they are as high as "
                "most, it is {least} hours at midsummer."
            )
        ),
        "card_sun_unknown": (
            N_(
                "Not known: no building near here has a height or storeys on the map. Put them "
                "into the layer of buildings."
            )
        ),
    }
)
"""Words for the script."""


def sun_layer(sun: SunHours, plots: pd.Index, knowledge: Knowledge) -> dict[str, Any]:
    """Return the hours of sun of every month as the columns that the page's script reads.

    Parameters
    ----------
    sun
        Hours of all twelve months; plots that are not in it count as not known.
    plots
        Ids of the plots in the order of the page.
    knowledge
        For the hours of the classes.

    Raises
    ------
    WrongUse
        If a month is missing.
    """
    if set(map(int, sun.hours.columns)) != set(range(1, 13)):
        raise WrongUse(_("The map shows the sun of all twelve months: work out all of them."))
    part, full = knowledge.setting("sun_part_h"), knowledge.setting("sun_full_h")
    hours, least, morning = (one.reindex(plots) for one in (sun.hours, sun.least, sun.morning))
    return {
        "hours": [two_digit_codes(hours[month]) for month in range(1, 13)],
        "least": [two_digit_codes(least[month]) for month in range(1, 13)],
        "morning": [two_digit_codes(morning[month]) for month in range(1, 13)],
        "open": [round(float(sun.open_hours[month]), 1) for month in range(1, 13)],
        "uncounted": two_digit_codes(sun.uncounted.reindex(plots, fill_value=0)),
        "midsummer": sun.midsummer,
        # A third of part shade, and half as much again as full sun, tell more in other months.
        "bounds": [part / 3, part, full, full * 1.5],
        "measured": sun.measured,
    }
