"""Which house stands on which ground, and where it leans on its neighbours."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.base.overlay import united
from patchnet.knowledge.records import Knowledge

__all__ = ["Standing", "houses_on", "with_sheds"]

Shapes = NDArray[np.object_]
_NOT_HOUSE = ("outbuilding", "none")
_MOST = 0.5


@dataclass(frozen=True, eq=False)
class Standing:
    """What stands on each ground, shape (n,).

    Attributes
    ----------
    house
        The house on it (its part inside the ground); None where there is none, or several.
    count
        Number of houses that stand apart from each other.
    main
        Position of the building that the house is (most of it); -1 where there is none.
    built
        Everything built that touches it; None where there is nothing.
    party
        Direction of party walls, shape (n, 2); NaN where the house leans on no other.
    homes
        Positions of all houses on each ground.
    """

    house: Shapes
    count: NDArray[np.intp]
    main: NDArray[np.intp]
    built: Shapes
    party: NDArray[np.float64]
    homes: tuple[NDArray[np.intp], ...]


def with_sheds(buildings: gpd.GeoDataFrame, knowledge: Knowledge) -> gpd.GeoDataFrame:
    """Return buildings with those that look like sheds and garages as outbuildings.

    Where nobody says what a building is, it is taken as one if it is small
    (``base_shed_max_m2``), stands close to a building that is several times as large
    (``base_shed_near_m``, ``base_shed_ratio``), and leans on no other of its own size, as the
    houses of a terrace do. A building with an address is never one.

    Parameters
    ----------
    buildings
        Columns ``use``, ``sure`` (whether somebody said it) and ``doors``.
    knowledge
        For the settings.
    """
    shapes = buildings.geometry.to_numpy()
    area = shapely.area(shapes)
    home = ~buildings["use"].isin(_NOT_HOUSE).to_numpy()
    doubt = home & ~buildings["sure"].to_numpy(dtype=bool)
    doubt &= area < knowledge.setting("base_shed_max_m2")
    doubt &= ~np.array([bool(own) for own in buildings["doors"]], dtype=bool)
    at, homes = np.flatnonzero(doubt), np.flatnonzero(home)
    if not len(at):
        return buildings
    ratio = knowledge.setting("base_shed_ratio")
    tree = shapely.STRtree(shapes[homes])
    i, j = tree.query(
        shapes[at], predicate="dwithin", distance=knowledge.setting("base_shed_near_m")
    )
    one, other = at[i], homes[j]
    larger = area[other] >= ratio * area[one]
    alike = ~larger & (area[one] < ratio * area[other]) & (one != other)
    touch = shapely.distance(shapes[one], shapes[other]) <= knowledge.setting("base_shared_edge_m")
    shed = np.setdiff1d(one[larger], one[alike & touch])
    use = buildings["use"].to_numpy(dtype=object).copy()
    use[shed] = _NOT_HOUSE[0]
    return buildings.assign(use=use)


def houses_on(grounds: Shapes, buildings: gpd.GeoDataFrame, knowledge: Knowledge) -> Standing:
    """Find the house on each ground.

    A part of a building is the house of the ground if it is as large as a house
    (``base_outbuilding_max_m2``), or most of a building that says it is one.

    Parameters
    ----------
    grounds
        Outlines that do not overlap, shape (n,).
    buildings
        Table of buildings.
    knowledge
        For the settings.
    """
    count = len(grounds)
    house = np.empty(count, dtype=object)
    built = np.empty(count, dtype=object)
    number = np.zeros(count, dtype=np.intp)
    main = np.full(count, -1, dtype=np.intp)
    lived_in: list[NDArray[np.intp]] = [np.empty(0, dtype=np.intp) for _ in range(count)]
    shapes = buildings.geometry.to_numpy()
    ground, building = shapely.STRtree(shapes).query(grounds, predicate="intersects")
    piece = shapely.intersection(grounds[ground], shapes[building])
    size = shapely.area(piece)
    some = size > 0
    ground, building, piece, size = ground[some], building[some], piece[some], size[some]
    use, sure = buildings["use"].to_numpy(), buildings["sure"].to_numpy(dtype=bool)
    large = size >= knowledge.setting("base_outbuilding_max_m2")
    most = size > _MOST * shapely.area(shapes)[building]
    lived = ~np.isin(use[building], _NOT_HOUSE) & (large | (sure[building] & most))
    order = np.lexsort((building, ground))
    starts = np.searchsorted(ground[order], np.arange(count + 1))
    for at in range(count):
        own = order[starts[at] : starts[at + 1]]
        if not len(own):
            continue
        built[at] = united(shapes[building[own]])
        homes = own[lived[own]]
        if not len(homes):
            continue
        lived_in[at] = building[homes]
        main[at] = building[homes[int(np.argmax(size[homes]))]]
        apart = _apart(piece[homes], knowledge)
        number[at] = len(apart)
        if len(apart) == 1:
            house[at] = apart[0]
    party = _party_walls(grounds, house, shapes, knowledge)
    return Standing(house, number, main, built, party, tuple(lived_in))


def _apart(pieces: Shapes, knowledge: Knowledge) -> list[shapely.Geometry]:
    """Return houses that stand apart; much smaller ones than the largest are left out."""
    if len(pieces) == 1:
        return list(pieces)
    grown = united(shapely.buffer(pieces, knowledge.setting("base_pieces_gap_m"), quad_segs=2))
    groups = shapely.get_parts(grown)
    joined = [united(pieces[shapely.intersects(pieces, group)]) for group in groups]
    largest = max(one.area for one in joined)
    return [
        one for one in joined if one.area >= knowledge.setting("base_second_house_share") * largest
    ]


def _party_walls(
    grounds: Shapes, house: Shapes, buildings: Shapes, knowledge: Knowledge
) -> NDArray[np.float64]:
    """Directions of the walls that houses share with what is built on other ground."""
    party = np.full((len(grounds), 2), np.nan)
    there = np.flatnonzero(np.array([one is not None for one in house], dtype=bool))
    if not len(there):
        return party
    near = knowledge.setting("base_shared_edge_m")
    at, other = shapely.STRtree(buildings).query(house[there], predicate="dwithin", distance=near)
    strange = shapely.difference(buildings[other], shapely.buffer(grounds[there[at]], near))
    outside = ~shapely.is_empty(strange)
    at, other = at[outside], other[outside]
    rest = shapely.difference(buildings[other], grounds[there[at]])
    wall = shapely.intersection(
        shapely.boundary(house[there[at]]), shapely.buffer(rest, near, cap_style="flat")
    )
    length = shapely.length(wall)
    for own in np.unique(at).tolist():
        mine = np.flatnonzero(at == own)
        best = mine[int(np.argmax(length[mine]))]
        if length[best] <= 2 * near:
            continue
        party[there[own]] = _longest_way(wall[best])
    return party


def _longest_way(wall: shapely.Geometry) -> NDArray[np.float64]:
    """Unit vector of the longest straight piece of a wall."""
    xy, part = shapely.get_coordinates(shapely.get_parts(wall), return_index=True)
    step = np.diff(xy, axis=0)
    step = step[np.diff(part) == 0]
    size = np.hypot(*step.T)
    longest = int(np.argmax(size))
    way: NDArray[np.float64] = step[longest] / size[longest]
    return way
