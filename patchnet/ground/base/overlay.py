"""Shapes cut by others nearby, many at a time."""

import numpy as np
import shapely
from numpy.typing import NDArray

__all__ = ["cut_away", "grouped_union"]

Shapes = NDArray[np.object_]


def cut_away(shapes: Shapes, others: Shapes) -> Shapes:
    """Return each shape without what any of the others covers of it, shape (n,)."""
    at, which = shapely.STRtree(others).query(shapes, predicate="intersects")
    out = shapes.copy()
    hit, over = grouped_union(at, others[which])
    out[hit] = shapely.difference(out[hit], over)
    return out


def grouped_union(group: NDArray[np.intp], shapes: Shapes) -> tuple[NDArray[np.intp], Shapes]:
    """Return the groups that there are, in order, and the union of the shapes of each."""
    order = np.argsort(group, kind="stable")
    found, start = np.unique(group[order], return_index=True)
    parts = np.split(shapes[order], start[1:]) if len(found) else []
    return found, np.array([shapely.union_all(part) for part in parts], dtype=object)
