"""Mouths of alleys that the drawn footway shows: it runs far back over a short stretch."""

import numpy as np
import shapely

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.street.cross_sections import outward
from patchnet.street.site import StreetObject, StreetSide

__all__ = ["openings_of"]

_AROUND_M = 10.0  # each way, for what the footway is like elsewhere


def openings_of(
    line: shapely.LineString, sides: tuple[StreetSide, StreetSide], *, knowledge: Knowledge
) -> list[StreetObject]:
    """Return the alley mouths along both sides of a road.

    Parameters
    ----------
    line
        Of the road.
    sides
        Its sides, with the back of the footway at each station.
    knowledge
        For how much deeper, over how short a stretch.
    """
    kind = next((one for one in knowledge.street_kinds.values() if one.opening), None)
    if kind is None:
        return []
    deep = knowledge.street_rule("opening_deep_m")
    most = knowledge.setting("street_mouth_m")
    found = []
    for side in sides:
        depth = side.drawn
        known = np.flatnonzero(np.isfinite(depth))
        near = np.abs(side.chainage[known, None] - side.chainage[None, known]) <= _AROUND_M
        usual = np.nanmedian(np.where(near, depth[None, known], np.nan), axis=1)
        deeper = known[depth[known] > usual + deep] if len(known) else known
        for run in np.split(deeper, np.flatnonzero(np.diff(deeper) > 1) + 1):
            if not len(run):
                continue
            start, stop = float(side.chainage[run[0]]), float(side.chainage[run[-1]])
            if stop - start <= most:
                points, away = outward(line, side.chainage[run], side.side)
                mouth = (
                    points + (side.near[run] + usual[np.searchsorted(known, run)])[:, None] * away
                )
                shape = shapely.MultiPoint(mouth).convex_hull
                name = _("the passage at {start:.0f} m").format(start=(start + stop) / 2)
                found.append(StreetObject(kind, name, shape, (start, stop), (side.side,), True))
    return found
