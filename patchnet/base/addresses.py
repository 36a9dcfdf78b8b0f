"""Addresses mapped as points, given to the buildings they lie on."""

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.knowledge.records import Knowledge

__all__ = ["STREET", "with_addresses"]

STREET, _HOUSE = "addr:street", "addr:housenumber"


def with_addresses(
    buildings: gpd.GeoDataFrame,
    points: NDArray[np.object_],
    tags: Sequence[Mapping[str, str]],
    knowledge: Knowledge,
) -> gpd.GeoDataFrame:
    """Return buildings with ``street`` and ``house`` from address points, where they have none.

    A building takes a street only if all points on it name the same one: an entrance to each of
    two streets tells nothing of which is the front.

    Parameters
    ----------
    buildings
        Table of buildings.
    points
        Points with an address, shape (p,).
    tags
        Tags of each.
    knowledge
        For ``base_shared_edge_m``: how far beside a wall an entrance may lie.
    """
    if not len(points) or not len(buildings):
        return buildings
    at, which = shapely.STRtree(buildings.geometry.to_numpy()).query(
        points, predicate="dwithin", distance=knowledge.setting("base_shared_edge_m")
    )
    street = buildings["street"].tolist()
    house = buildings["house"].tolist()
    found: dict[int, list[Mapping[str, str]]] = {}
    for point, building in sorted(zip(at.tolist(), which.tolist(), strict=True)):
        found.setdefault(building, []).append(tags[point])
    for building, said in found.items():
        streets = {one[STREET] for one in said if one.get(STREET)}
        numbers = sorted({one[_HOUSE] for one in said if one.get(_HOUSE)})
        if not street[building] and len(streets) == 1:
            street[building] = streets.pop()
            house[building] = house[building] or "; ".join(numbers)
    return buildings.assign(street=street, house=house)
