"""Whether a straight line from one plot is stopped by somebody else's ground."""

import numpy as np
import shapely
from numpy.typing import NDArray

__all__ = ["blocked"]

Shapes = NDArray[np.object_]


def blocked(
    lines: Shapes, own: NDArray[np.intp], grounds: Shapes, least: float
) -> NDArray[np.bool_]:
    """Whether each line runs over other ground than its own for more than `least` metres.

    Parameters
    ----------
    lines
        Shape (n,).
    own
        Position in `grounds` of the plot that each line starts from, shape (n,).
    grounds
        Outlines of plots, shape (p,).
    least
        Metres that count as a touch.

    Returns
    -------
    array
        Shape (n,).
    """
    # A line along a common border, as that from the edge of a terraced house, is not stopped.
    inner = shapely.buffer(grounds, -least / 2, quad_segs=2)
    line, other = shapely.STRtree(inner).query(lines, predicate="intersects")
    foreign = own[line] != other
    line, other = line[foreign], other[foreign]
    far = shapely.length(shapely.intersection(lines[line], inner[other])) > least
    stopped = np.zeros(len(lines), dtype=bool)
    stopped[line[far]] = True
    return stopped
