"""Whether latitude and longitude are swapped, told by the right angles of plots and houses.

Swapped coordinates are often a valid place elsewhere (51 N 0 E becomes 0 N 51 E, open sea), so
numbers alone do not give them away. But a degree of longitude is shorter than a degree of
latitude by the cosine of the latitude; seen the wrong way round, what was built square comes out
askew.
"""

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.knowledge.records import Knowledge

__all__ = ["look_swapped"]

Floats = NDArray[np.float64]


def look_swapped(shapes: NDArray[np.object_], knowledge: Knowledge) -> bool:
    """Whether outlines in degrees are square only with x and y exchanged.

    Parameters
    ----------
    shapes
        Shape (n,): geometries in degrees, x taken as longitude.
    knowledge
        For ``settings/square_corner_deg`` (how far from 90 degrees still counts as square),
        ``square_corners_min`` (least number of square corners to judge by) and
        ``square_corners_ratio`` (how many times more must be square when exchanged).
    """
    turns = _turns(shapes)
    if turns is None:
        return False
    before, after, centre = turns
    within = knowledge.setting("square_corner_deg")
    as_given = _square(before, after, np.cos(np.radians(centre[1])), within)
    exchanged = _square(before[:, ::-1], after[:, ::-1], np.cos(np.radians(centre[0])), within)
    return bool(
        exchanged >= knowledge.setting("square_corners_min")
        and exchanged >= knowledge.setting("square_corners_ratio") * as_given
    )


def _turns(shapes: NDArray[np.object_]) -> "tuple[Floats, Floats, Floats] | None":
    """Edges before and after each corner of the outer rings, and the middle of them all."""
    polygons = shapely.get_parts(shapes[shapely.get_dimensions(shapes) == 2])
    rings = shapely.get_exterior_ring(polygons)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    if len(xy) < 4 or not np.isfinite(xy).all():
        return None
    edge, same = np.diff(xy, axis=0), np.diff(ring) == 0
    corner = same[:-1] & same[1:]
    return edge[:-1][corner], edge[1:][corner], xy.mean(axis=0)


def _square(before: Floats, after: Floats, shrink: float, within_deg: float) -> int:
    """Number of corners within so many degrees of 90, x being shorter by `shrink`."""
    scale = np.array([shrink, 1.0])
    a, b = before * scale, after * scale
    lengths = np.hypot(*a.T) * np.hypot(*b.T)
    cosine = np.divide((a * b).sum(axis=1), lengths, out=np.ones(len(a)), where=lengths > 0)
    return int((np.abs(cosine) <= np.sin(np.radians(within_deg))).sum())
