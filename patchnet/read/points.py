"""A point that somebody wrote down: in the metres of the map, or in degrees."""

import numpy as np
import shapely

from patchnet.core.crs_change import change_of
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["point_on_map"]

_WORLD = "EPSG:4326"
_EAST, _NORTH = 180.0, 90.0  # degrees go no farther


def point_on_map(
    x: float, y: float, neighbourhood: Neighbourhood, *, knowledge: Knowledge
) -> tuple[shapely.Point | None, str]:
    """Return a point as metres of the map, and what is odd about it.

    Numbers that are degrees are turned into metres, whichever of them stands first, if they then
    lie by the map.

    Parameters
    ----------
    x, y
        As they were written, metres or degrees.
    neighbourhood
        Whose map.
    knowledge
        For how far from its plots a point may lie.

    Returns
    -------
    point, words
        None where it lies far from the map; empty words where nothing is odd.
    """
    plots = neighbourhood.plots
    around = shapely.box(*plots.total_bounds).buffer(knowledge.setting("far_point_m"))
    point = shapely.Point(x, y)
    if around.contains(point):
        return point, ""
    for east, north in ((x, y), (y, x)):
        if abs(east) > _EAST or abs(north) > _NORTH or plots.crs is None:
            continue
        place = change_of(_WORLD, plots.crs).transform(east, north)
        if np.isfinite(place).all() and around.contains(shapely.Point(place)):
            words = _("{x:g}, {y:g} was read as degrees: {east:g} east, {north:g} north.")
            return shapely.Point(place), words.format(x=x, y=y, east=east, north=north)
    west, south, right, top = plots.total_bounds
    words = _(
        "{x:g}, {y:g} lies far from the map, which goes from {west:.0f}, {south:.0f} to "
        "{right:.0f}, {top:.0f} ({crs})."
    ).format(
        x=x, y=y, west=west, south=south, right=right, top=top,
        crs="" if plots.crs is None else plots.crs.name,
    )  # fmt: skip
    return None, words
