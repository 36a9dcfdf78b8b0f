"""Shapes cut by others nearby, many at a time."""

import numpy as np
import shapely
from numpy.typing import NDArray

__all__ = ["areas_of", "cut_away", "united"]

Shapes = NDArray[np.object_]


_GRID = 1e-6  # metres
_COLLECTION = int(shapely.GeometryType.GEOMETRYCOLLECTION)


def united(shapes: "Shapes | list[shapely.Geometry]") -> shapely.Geometry:
    """Return the union of shapes.

    On a grid of a micrometre, which no survey comes near: without one GEOS 3.14 was seen to lose
    a piece of a union of many that touch (`tests/base/test_derived.py` holds it).

    Parameters
    ----------
    shapes
        Shape (n,), n from 1 on, in metres.
    """
    if len(shapes) == 1:
        return shapes[0]
    return shapely.union_all(shapes, grid_size=_GRID)


def areas_of(shapes: Shapes) -> Shapes:
    """Return shapes without the lines and points that an overlay leaves where outlines touch.

    Parameters
    ----------
    shapes
        Shape (n,).

    Returns
    -------
    array
        Shape (n,): areas; an empty polygon where nothing else was there.
    """
    out = shapes.copy()
    for at in np.flatnonzero(shapely.get_type_id(shapes) == _COLLECTION).tolist():
        parts = [part for part in shapely.get_parts(shapes[at]) if part.geom_type == "Polygon"]
        out[at] = shapely.MultiPolygon(parts)
    out[shapely.get_dimensions(out) < 2] = shapely.Polygon()
    return out


def cut_away(shapes: Shapes, others: Shapes) -> Shapes:
    """Return each shape without what any of the others covers of it, shape (n,).

    Parameters
    ----------
    shapes
        Shape (n,), in metres.
    others
        Shape (m,): what is cut away.
    """
    at, which = shapely.STRtree(others).query(shapes, predicate="intersects")
    order = np.lexsort((which, at))
    at, which = at[order], which[order]
    turn = np.arange(len(at)) - np.searchsorted(at, at)  # one after the other of each shape
    out = shapes.copy()
    for one in range(int(turn.max(initial=-1)) + 1):
        now = turn == one
        out[at[now]] = shapely.difference(out[at[now]], others[which[now]])
    return out
