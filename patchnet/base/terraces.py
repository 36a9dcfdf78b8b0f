"""One outline with several front doors cut into its houses.

A terrace, or the buildings round a court, may be drawn as one. Where each door has a place, the
outline goes to the nearest door (a Voronoi diagram of doors; on a straight terrace with doors at
even steps its borders are the party walls). Where places are not known nothing is cut.
"""

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from patchnet.base.addresses import Door
from patchnet.base.gathered import areas_only
from patchnet.core.folding import folded
from patchnet.knowledge.records import Knowledge
from patchnet.read.doors import fold_number

__all__ = ["split_by_doors"]

_NOT_HOUSE = ("outbuilding", "none")


def split_by_doors(buildings: gpd.GeoDataFrame, knowledge: Knowledge) -> gpd.GeoDataFrame:
    """Return the buildings, those with several numbers of one street in as many pieces.

    A piece smaller than ``base_house_piece_min_m2`` is no house: then the outline stays whole.

    Parameters
    ----------
    buildings
        Table of buildings with ``doors``.
    knowledge
        For the setting.
    """
    least = knowledge.setting("base_house_piece_min_m2")
    kept: list[int] = []
    pieces: list[tuple[int, shapely.Geometry, tuple[Door, ...]]] = []
    shapes = buildings.geometry.to_numpy()
    for at, (doors, use) in enumerate(zip(buildings["doors"], buildings["use"], strict=True)):
        found = _houses(shapes[at], doors, least) if use not in _NOT_HOUSE else []
        if found:
            pieces += [(at, shape, own) for shape, own in found]
        else:
            kept.append(at)
    if not pieces:
        return buildings
    cut = buildings.iloc[[at for at, _, _ in pieces]].copy()
    cut["doors"] = pd.Series([own for _, _, own in pieces], index=cut.index, dtype=object)
    cut = cut.set_geometry([shape for _, shape, _ in pieces], crs=buildings.crs)
    return gpd.GeoDataFrame(
        pd.concat([buildings.iloc[kept], cut]).sort_index(kind="stable").reset_index(drop=True)
    )


def _houses(
    shape: shapely.Geometry, doors: tuple[Door, ...], least: float
) -> list[tuple[shapely.Geometry, tuple[Door, ...]]]:
    """Pieces with the doors of each; nothing where the outline stays whole."""
    by_street: dict[str, dict[str, list[Door]]] = {}
    for door in doors:
        if door.number:
            numbers = by_street.setdefault(folded(door.street), {})
            numbers.setdefault(fold_number(door.number), []).append(door)
    if not by_street:
        return []
    # A corner house has a number in each of two streets: that alone is no reason to cut it.
    numbers = max(by_street.values(), key=len)
    if len(numbers) < 2:
        return []
    places = {
        key: shapely.Point(np.mean([(d.x, d.y) for d in own if np.isfinite(d.x)], axis=0))
        for key, own in numbers.items()
        if any(np.isfinite(door.x) for door in own)
    }
    if len(places) < len(numbers):
        return []
    points = list(places.values())
    cells = shapely.get_parts(shapely.voronoi_polygons(shapely.MultiPoint(points), extend_to=shape))
    if len(cells) < len(points):
        return []
    found: list[tuple[shapely.Geometry, tuple[Door, ...]]] = []
    used = {id(door) for own in numbers.values() for door in own}
    others = [door for door in doors if id(door) not in used]
    tree = shapely.STRtree(points)
    for key, point in places.items():
        cell = cells[int(np.argmin(shapely.distance(cells, point)))]
        piece = areas_only(shapely.intersection(shape, cell))
        if piece is None or piece.area < least:
            return []
        here = len(found)
        more = [
            door for door in others
            if (int(tree.nearest(shapely.Point(door.x, door.y))) if np.isfinite(door.x) else 0)
            == here
        ]  # fmt: skip
        found.append((piece, (*numbers[key], *more)))
    return found
