"""Pieces of ground told apart by the public road between them."""

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.base.overlay import united

__all__ = ["PublicRoads", "sides"]

Shapes = NDArray[np.object_]
PUBLIC = ("street", "highway")


class PublicRoads:
    """Middle lines of public roads on the ground: a bridge and a tunnel part nothing below.

    Parameters
    ----------
    lines, kind, bridge
        Lines, kinds (street, highway, lane, drive) and whether each is a bridge, shape (r,).
    """

    def __init__(self, lines: Shapes, kind: NDArray[np.object_], bridge: NDArray[np.bool_]) -> None:
        self.lines: Shapes = lines[np.isin(kind, PUBLIC) & ~bridge]
        self._tree = shapely.STRtree(self.lines)

    def between(self, ways: Shapes) -> NDArray[np.bool_]:
        """Whether a road runs across each way, shape (n,)."""
        found = np.zeros(len(ways), dtype=bool)
        found[np.unique(self._tree.query(ways, predicate="intersects")[0])] = True
        return found

    def near(self, shape: shapely.Geometry) -> bool:
        """Whether any road comes into the box round a shape."""
        return bool(len(self._tree.query(shapely.box(*shape.bounds))))


def sides(shape: shapely.Geometry, roads: PublicRoads) -> list[shapely.Geometry]:
    """Return a shape as one piece for each side of the roads, the largest first.

    Parts that lie apart for another reason (a lane, a building) stay together.
    """
    parts = shapely.get_parts(shape)
    if len(parts) == 1 or not roads.near(shape):
        return [shape]
    group = np.arange(len(parts))
    i, j = np.triu_indices(len(parts), k=1)
    joined = ~roads.between(shapely.shortest_line(parts[i], parts[j]))
    for one, other in zip(i[joined].tolist(), j[joined].tolist(), strict=True):
        group[group == group[other]] = group[one]
    found = [united(parts[group == one]) for one in np.unique(group).tolist()]
    return sorted(found, key=lambda one: (-one.area, one.bounds))
