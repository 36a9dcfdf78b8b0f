"""Mouths of alleys that the drawn footway shows: it runs far back over a short stretch."""

from bisect import bisect_left, insort

import numpy as np
import shapely

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.street.cross_sections import outward
from patchnet.street.site import Floats, StreetObject, StreetSide

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
        usual = _usual(side.chainage[known], depth[known])
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


def _usual(chainage: Floats, depth: Floats) -> Floats:
    """Shape (n,): the median of what lies `_AROUND_M` each way, of stations along a road."""
    along, depths = chainage.tolist(), depth.tolist()
    usual = np.empty(len(along))
    window: list[float] = []  # in order of depth
    first = last = 0
    for at, here in enumerate(along):
        while last < len(along) and along[last] - here <= _AROUND_M:
            insort(window, depths[last])
            last += 1
        while here - along[first] > _AROUND_M:
            del window[bisect_left(window, depths[first])]
            first += 1
        count = len(window)
        usual[at] = (window[(count - 1) // 2] + window[count // 2]) / 2
    return usual
