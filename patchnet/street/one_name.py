"""Which things of one name are of one street: roads, and houses whose address names it."""

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

__all__ = ["streets_of_one_name"]


def streets_of_one_name(
    shapes: Sequence[shapely.Geometry] | NDArray[np.object_], apart_m: float
) -> NDArray[np.intp]:
    """Tell the streets of one name apart.

    Things that touch or lie near one another are of one street, and so is what several of them
    lead to, one after the other; what lies further from all of them is another street of that name.

    Parameters
    ----------
    shapes
        Roads and houses of the name, shape (n,), metres.
    apart_m
        How far from one to the next is still near, metres (``base_same_street_m``); infinite: all
        are one street.

    Returns
    -------
    ndarray
        Number of each one's street, from 0 in the order in which they come, shape (n,).

    Examples
    --------
    >>> road, house = shapely.LineString([(0, 0), (100, 0)]), shapely.Point(390, 0)
    >>> streets_of_one_name([road, house, shapely.Point(900, 0)], 300).tolist()
    [0, 0, 1]
    """
    count = len(shapes)
    if not np.isfinite(apart_m):
        return np.zeros(count, dtype=np.intp)
    each = np.array(shapes, dtype=object)
    one, other = shapely.STRtree(each).query(each, predicate="dwithin", distance=apart_m)
    near = coo_array((np.ones(len(one), dtype=bool), (one, other)), shape=(count, count))
    street: NDArray[np.intp] = connected_components(near, directed=False)[1].astype(np.intp)
    return street
