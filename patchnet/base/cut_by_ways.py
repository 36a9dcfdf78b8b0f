"""Derived gardens cut by the lanes and drives that run through them.

A drive to one house divides its garden and leaves both pieces to that house. A lane, or a drive
that several houses share, parts the ground: what lies beyond it goes to the house whose garden it
touches there, else to nobody.
"""

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.base.gathered import areas_only
from patchnet.base.overlay import united
from patchnet.knowledge.records import Knowledge

__all__ = ["cut_by_ways", "way_ground"]

Shapes = NDArray[np.object_]
_LEAST = 2.0  # metres of a way inside a garden: less is a slip of the pen
_WAYS = ("lane", "drive")


def way_ground(roads: gpd.GeoDataFrame, knowledge: Knowledge) -> Shapes:
    """Return the ground of each lane and drive, shape (w,); a bridge has none.

    Parameters
    ----------
    roads
        With ``kind``, ``bridge`` and ``width_m``, metres (NaN: not known).
    knowledge
        For the usual widths.
    """
    kind = roads["kind"].to_numpy(dtype=object)
    used = np.isin(kind, _WAYS) & ~roads["bridge"].to_numpy(dtype=bool)
    width = roads["width_m"].to_numpy(dtype=float)[used]
    usual = np.where(
        kind[used] == "lane",
        knowledge.setting("footway_width_m"),
        knowledge.setting("base_drive_width_m"),
    )
    half = np.where(np.isnan(width), usual, width) / 2
    return np.asarray(shapely.buffer(roads.geometry.to_numpy()[used], half), dtype=object)


def cut_by_ways(cells: Shapes, houses: Shapes, built: Shapes, ways: Shapes) -> Shapes:
    """Return derived plots without the ways in them.

    Parameters
    ----------
    cells
        Plots derived from buildings, tiling the ground, shape (n,); houses lie in them.
    houses
        The house of each, shape (n,).
    built
        Shape (b,): all buildings; a way that is drawn through one leaves it as it is.
    ways
        Ground of lanes and drives, shape (w,).

    Returns
    -------
    array
        Shape (n,).
    """
    if not len(cells) or not len(ways):
        return cells
    cell, way = shapely.STRtree(ways).query(cells, predicate="intersects")
    inside = shapely.area(shapely.intersection(cells[cell], ways[way]))
    counts = inside > _LEAST
    cell, way = cell[counts], way[counts]
    shared = np.bincount(way, minlength=len(ways)) > 1
    tree = shapely.STRtree(built)
    out = cells.copy()
    main: dict[int, shapely.Geometry] = {}
    loose: list[tuple[int, shapely.Geometry]] = []
    for at in np.unique(cell).tolist():
        own = way[cell == at]
        ground = united(ways[own])
        standing = built[tree.query(ground, predicate="intersects")]
        if len(standing):
            ground = shapely.difference(ground, united(standing))
        left = areas_only(shapely.difference(cells[at], ground))
        if left is None:
            continue
        parting = ways[own[shared[own]]]
        kept = left
        if len(parting):
            parts = shapely.get_parts(left)
            home = shapely.intersects(parts, houses[at])
            if not home.any():
                home[int(np.argmin(shapely.distance(parts, houses[at])))] = True
            # What only the house's own drive parts from it is still its garden.
            block = shapely.get_parts(areas_only(shapely.difference(cells[at], united(parting))))
            mine = block[shapely.intersects(block, united(parts[home]))]
            home |= shapely.intersects(parts, united(mine).buffer(-0.01)) if len(mine) else home
            kept = united(parts[home])
            loose += [(at, part) for part in parts[~home]]
        main[at] = out[at] = kept
    _given_on(out, loose)
    return out


def _given_on(plots: Shapes, loose: list[tuple[int, shapely.Geometry]]) -> None:
    """Give pieces beyond a way to the plot that they touch most of; the rest is nobody's."""
    if not loose:
        return
    tree = shapely.STRtree(plots)
    for at, part in loose:
        near = tree.query(part, predicate="intersects")
        near = np.sort(near[near != at])
        if not len(near):
            continue
        border = shapely.length(shapely.intersection(plots[near], part))
        if border.max() > _LEAST:
            to = int(near[int(np.argmax(border))])
            plots[to] = united(np.array([plots[to], part], dtype=object))
