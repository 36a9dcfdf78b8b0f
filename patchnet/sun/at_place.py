"""The sun at places that are no plots, such as a box in the street: its class at midsummer."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.sun.course import Course, month_of_midsummer, place_of
from patchnet.sun.light import Light, SunClass
from patchnet.sun.screens import Screens

__all__ = ["PlaceSun", "places_sun"]


@dataclass(frozen=True, slots=True)
class PlaceSun:
    """Direct sun at one place.

    Attributes
    ----------
    cls
        By the mean hours at midsummer and the settings ``sun_full_h`` and ``sun_part_h``; None:
        not known.
    hours
        At midsummer, hours a day; NaN: not known.
    why_not
        Why the class is not known, in plain words; empty if it is.
    """

    cls: SunClass | None
    hours: float
    why_not: str = ""


def places_sun(
    neighbourhood: Neighbourhood,
    places: Sequence[shapely.Polygon],
    above_m: Sequence[float],
    *,
    knowledge: Knowledge,
) -> tuple[PlaceSun, ...]:
    """Work out how sunny some places are: as `plots_sun` does, at the height of their soil.

    Parameters
    ----------
    neighbourhood
        With ``height_m`` of buildings; walls and fences with their heights.
    places
        n areas in the CRS of the plots, metres.
    above_m
        Height of the soil of each above the ground, metres, n of them.
    knowledge
        For the settings of the sun.

    Returns
    -------
    tuple of PlaceSun
        In the order of `places`. Not known where no building with a height is near, where those
        without a height could make it another class, or where the plots have no coordinate system.

    Examples
    --------
    >>> import patchnet
    >>> hood = patchnet.read_demo()
    >>> box = hood.roads.geometry.iloc[0].interpolate(20).buffer(0.5)
    >>> places_sun(hood, [box], [0.5], knowledge=patchnet.load_knowledge())[0].hours > 0
    True
    """
    if neighbourhood.plots.crs is None:
        why = _("the plots have no coordinate system, so the sun's place is not known")
        return (PlaceSun(None, float("nan"), why),) * len(places)
    place = place_of(neighbourhood.plots)
    midsummer = month_of_midsummer(place)
    day = Course.of(place, [midsummer], knowledge)
    screens = Screens.of(neighbourhood, knowledge)
    ground = np.array([*places, None], dtype=object)[:-1]
    known, uncounted = screens.known(ground)
    found = []
    for at, (shape, above) in enumerate(zip(ground, above_m, strict=True)):
        if not known[at]:
            why = _("no building near it has a height or storeys on the map")
            found.append(PlaceSun(None, float("nan"), why))
            continue
        light = Light.on(
            shape, screens, day, midsummer, knowledge, uncounted=bool(uncounted[at]), above_m=above
        )
        if light.least_class() != light.sun_class():
            why = _("buildings near it have no height on the map, and could take its sun away")
            found.append(PlaceSun(None, float("nan"), why))
            continue
        found.append(PlaceSun(light.sun_class(), sum(light.halves())))
    return tuple(found)
