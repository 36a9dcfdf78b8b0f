"""The plots of each street in walking order, side by side."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.core.texts import N_, WordList, _
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["cut", "walking_order"]

Array = NDArray[np.float64]
_SIDES = WordList((N_("east side"), N_("north side"), N_("west side"), N_("south side")))


@dataclass(frozen=True, eq=False)
class _Line:
    """A street's middle line in parts, each from west to east (or south to north)."""

    parts: Sequence[shapely.LineString]

    def place(self, points: NDArray[np.object_]) -> tuple[Array, Array]:
        """Return metres along the line, and the way from the line to each point, (k, 2)."""
        away = np.array([shapely.distance(part, points) for part in self.parts])
        nearest = away.argmin(axis=0)
        begin = np.concatenate([[0.0], np.cumsum([part.length for part in self.parts])])
        along = np.empty(len(points))
        offset = np.empty((len(points), 2))
        for at, part in enumerate(self.parts):
            mine = nearest == at
            metres = shapely.line_locate_point(part, points[mine])
            on_line = shapely.get_coordinates(shapely.line_interpolate_point(part, metres))
            along[mine] = begin[at] + metres
            offset[mine] = shapely.get_coordinates(points[mine]) - on_line
        return along, offset

    def left(self, along: Array, offset: Array) -> NDArray[np.bool_]:
        """Whether a way from the line leads to its left."""
        begin = np.concatenate([[0.0], np.cumsum([part.length for part in self.parts])])
        at = np.clip(np.searchsorted(begin, along, side="right") - 1, 0, len(self.parts) - 1)
        left = np.zeros(len(along), dtype=bool)
        for number, part in enumerate(self.parts):
            mine = at == number
            metres = along[mine] - begin[number]
            step = part.length / 1000
            ends = [np.clip(metres + sign * step, 0, part.length) for sign in (-1, 1)]
            a, b = (shapely.get_coordinates(shapely.line_interpolate_point(part, e)) for e in ends)
            ahead = b - a
            left[mine] = ahead[:, 0] * offset[mine, 1] - ahead[:, 1] * offset[mine, 0] > 0
        return left


def walking_order(neighbourhood: Neighbourhood) -> pd.DataFrame:
    """Return the street, side and place in walking order of every plot.

    A plot belongs to the street that it names, or else to the nearest road with a name. Sides are
    called by the compass where that tells them apart.

    Parameters
    ----------
    neighbourhood
        Plots, and roads where there are any; without roads a street is walked along its plots.

    Returns
    -------
    DataFrame
        Index as the plots'; columns street, side (both may be empty), along (m) and order (place
        in the whole walk, 0 first).
    """
    plots = neighbourhood.plots
    points = shapely.centroid(plots.geometry.to_numpy())
    street = _streets(neighbourhood, points)
    along = np.zeros(len(plots))
    side = np.full(len(plots), "", dtype=object)
    for name in sorted(set(street)):
        mine = np.flatnonzero(street == name)
        line, has_road = _middle_line(neighbourhood.roads, name, points[mine])
        along[mine], offset = line.place(points[mine])
        if has_road:
            side[mine] = _sides(line.left(along[mine], offset), offset)
    table = pd.DataFrame({"street": street, "side": side, "along": along}, index=plots.index)
    order = np.lexsort((plots.index.astype(str), along, side.astype(str), street.astype(str)))
    place = np.empty(len(table), dtype=np.int64)
    place[order] = np.arange(len(table))
    return table.assign(order=place)


def cut(count: int, size: int) -> list[int]:
    """Cut so many plots into stretches as even as may be, none smaller than `size`.

    Returns the length of each; one shorter stretch where there are fewer plots than `size`.

    Parameters
    ----------
    count
        How many plots.
    size
        Fewest plots of a stretch.

    Examples
    --------
    >>> cut(13, 5), cut(4, 5), cut(0, 5)
    ([7, 6], [4], [])
    """
    if count == 0:
        return []
    parts = max(1, count // size)
    return [count // parts + (at < count % parts) for at in range(parts)]


def _streets(neighbourhood: Neighbourhood, points: NDArray[np.object_]) -> NDArray[np.object_]:
    street: NDArray[np.object_] = (
        neighbourhood.plots["street"].astype(str).to_numpy(dtype=object).copy()
    )
    roads = neighbourhood.roads
    named = roads[roads["name"] != ""] if len(roads) else roads
    blank = np.flatnonzero(street == "")
    if len(blank) and len(named):
        tree = shapely.STRtree(named.geometry.to_numpy())
        nearest = tree.nearest(points[blank])
        street[blank] = named["name"].to_numpy(dtype=object)[nearest]
    return street


def _middle_line(
    roads: gpd.GeoDataFrame, name: Hashable, points: NDArray[np.object_]
) -> tuple[_Line, bool]:
    """Return the line of a street, and whether there is a road of that name to take it from."""
    mine = roads[roads["name"] == name] if len(roads) and name else roads[:0]
    lines = []
    for shape in mine.geometry:
        lines += [
            part if part.geom_type == "LineString" else _long_axis(part)
            for part in shapely.get_parts(shape)
        ]
    lines = [line for line in lines if line.length > 0]
    if lines:
        joined = shapely.line_merge(shapely.MultiLineString(lines))
        return _Line(_in_order(shapely.get_parts(joined).tolist())), True
    return _Line([_long_axis(shapely.MultiPoint(points.tolist()))]), False


def _in_order(parts: Sequence[shapely.LineString]) -> list[shapely.LineString]:
    turned = []
    for part in parts:
        first, last = shapely.get_coordinates(part)[[0, -1]].tolist()
        turned.append(part if first <= last else shapely.reverse(part))
    return sorted(turned, key=lambda part: shapely.get_coordinates(part)[0].tolist())


def _long_axis(shape: shapely.Geometry) -> shapely.LineString:
    """Return the line through the middle of a shape along its longer extent."""
    # Each corner once: the first of a ring is its last as well and would tilt the axis.
    points = np.unique(shapely.get_coordinates(shape), axis=0)
    middle = points.mean(axis=0)
    spread = np.linalg.svd(points - middle, full_matrices=False)[2]
    axis = spread[0] if len(spread) else np.array([1.0, 0.0])
    if tuple(axis) < (0.0, 0.0):
        axis = -axis
    reach = (points - middle) @ axis
    low, high = float(reach.min()) - 1, float(reach.max()) + 1
    return shapely.LineString([middle + low * axis, middle + high * axis])


def _sides(left: NDArray[np.bool_], offset: Array) -> NDArray[np.object_]:
    words = {}
    for on_left in (True, False):
        mean = offset[left == on_left].mean(axis=0) if (left == on_left).any() else np.zeros(2)
        turn = np.degrees(np.arctan2(mean[1], mean[0]))
        words[on_left] = _SIDES[round(turn / 90) % 4]
    if words[True] == words[False]:
        words = {True: _("left side"), False: _("right side")}
    return np.array([words[bool(one)] for one in left], dtype=object)
