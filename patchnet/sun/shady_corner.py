"""The part of a plot with least sun at midsummer."""

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.core.texts import _
from patchnet.sun.course import Place
from patchnet.sun.light import Light
from patchnet.sun.sunny_walls import compass, is_between

__all__ = ["ShadyCorner", "shady_corner"]

# A corner is what lies further from the middle than this share of the half width; and has at
# least this share of the spots.
_MIDDLE = 0.35
_SPOTS_LEAST = 0.04


class ShadyCorner(NamedTuple):
    """The part of a plot with least sun at midsummer.

    Attributes
    ----------
    words
        ``north-east corner``, ``south side``, ``middle``.
    hours
        Hours of direct sun a day at midsummer, on average over that part.
    place
        The spot in it with least sun, in the coordinate system of the plots.
    """

    words: str
    hours: float
    place: shapely.Point


def shady_corner(light: Light, ground: shapely.Geometry, place: Place) -> ShadyCorner | None:
    """Return the eighth of the compass, or the middle, with least sun at midsummer.

    None where no part has notably less sun (``sun_corner_less_h``) than the whole, or all have
    full sun.

    Parameters
    ----------
    light
        The sun on the ground.
    ground
        An area, metres.
    place
        Where on Earth it is.
    """
    hours = light.high
    left, low, right, high = ground.bounds
    off = (light.spots - [(left + right) / 2, (low + high) / 2]) / [
        max(right - left, 1e-9) / 2,
        max(high - low, 1e-9) / 2,
    ]
    bearing = np.degrees(np.arctan2(off[:, 0], off[:, 1])) - place.north
    words = np.array([_part(one) for one in bearing.tolist()], dtype=object)
    words[np.abs(off).max(axis=1) < _MIDDLE] = _("middle")
    best: ShadyCorner | None = None
    for part in np.unique(words).tolist():
        here = np.flatnonzero(words == part)
        mean = float(hours[here].mean())
        if len(here) < _SPOTS_LEAST * len(hours) or (best and mean >= best.hours - 1e-9):
            continue
        best = ShadyCorner(part, mean, shapely.Point(_darkest(light.spots[here], hours[here])))
    if best is None or best.hours > light.knowledge.setting("sun_full_h"):
        return None
    less = float(hours.mean()) - best.hours
    return best if less >= light.knowledge.setting("sun_corner_less_h") else None


def _darkest(spots: NDArray[np.float64], hours: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the spot of least sun among some; of several, that nearest their middle."""
    least = spots[hours <= hours.min() + 1e-9]
    away = np.hypot(*(least - least.mean(axis=0)).T)
    darkest: NDArray[np.float64] = least[int(away.argmin())]
    return darkest


def _part(bearing: float) -> str:
    words = compass(bearing)
    return (
        _("{words} corner").format(words=words)
        if is_between(bearing)
        else _("{words} side").format(words=words)
    )
