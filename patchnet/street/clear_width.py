"""The walking width that a planter leaves: the widest gap on the way past it, at its worst."""

from collections.abc import Sequence
from itertools import combinations
from typing import NamedTuple

import shapely

from patchnet.core.texts import N_, _

__all__ = ["BACK", "CLEAR_WIDTH", "ClearWidth", "clear_width"]

CLEAR_WIDTH = "clear_width"
"""Key of the rule that says how much must be left to walk in."""

BACK = N_("the back of the footway")


class ClearWidth(NamedTuple):
    """Width in metres, and the names of the two things it lies between."""

    width_m: float
    between: tuple[str, str]


def clear_width(
    planter: shapely.Geometry,
    back: shapely.Geometry,
    things: Sequence[tuple[str, shapely.Geometry]] = (),
    *,
    back_name: str = BACK,
) -> ClearWidth:
    """Return the width of the widest way between a planter and the back of a footway.

    Where something stands between the two, people take the wider side of it; where several
    stand about, the best way through. So the width is that of the best chain: over all chains
    planter, thing, ..., back, the least of each chain's widest gap. A disc no wider than this
    gets past, a wider one does not.

    Parameters
    ----------
    planter
        The planter with its plants full grown.
    back
        Back edge of the footway.
    things
        Name and shape of what stands on the walking side.
    back_name
        What to call the back edge.
    """
    names = [_("the plants"), _(back_name), *(name for name, __ in things)]
    shapes = [planter, back, *(shape for ___, shape in things)]
    gaps = sorted(
        (float(shapely.distance(shapes[one], shapes[two])), one, two)
        for one, two in combinations(range(len(shapes)), 2)
    )
    root = list(range(len(shapes)))

    def top(at: int) -> int:
        while root[at] != at:
            at = root[at]
        return at

    # Gaps closed from the narrowest up: the one that ties planter and back together decides.
    for width, one, two in gaps:
        root[top(one)] = top(two)
        if top(0) == top(1):
            return ClearWidth(width, (names[one], names[two]))
    return ClearWidth(0.0, (names[0], names[1]))
