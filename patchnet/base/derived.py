"""Plots where there is no cadastre: each street block tessellated round its buildings.

The ground of a block goes to the nearest house: a Voronoi tessellation of points along the
outlines of buildings, drawn in a little so that the border runs along party walls, as in
morphological tessellation (Fleischmann, Feliciotti, Romice & Porta 2020, Computers, Environment
and Urban Systems 80). Believable to the eye, and no boundary: every such plot is marked.
"""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.base.overlay import united
from patchnet.knowledge.records import Knowledge

__all__ = ["Derived", "bridges", "derive_plots", "street_corridor"]

Shapes = NDArray[np.object_]
_JITTER = 0.005  # metres: keeps the points of walls that run exactly parallel from tying
_GRID = 0.001  # metres: points closer than this are one
_FAR = 10  # times as far as the houses lie apart: no border reaches there


@dataclass(frozen=True, eq=False)
class Derived:
    """Plots derived from buildings, and what they tile.

    Attributes
    ----------
    plots
        Polygons or multipolygons, shape (n,); the buildings lie in them.
    house
        Position of the building that each plot was derived from.
    block
        Position of the block that it lies in.
    blocks
        Street blocks, shape (b,).
    rest
        Ground of each block too far from any house to be anybody's; may be empty.
    """

    plots: Shapes
    house: NDArray[np.intp]
    block: NDArray[np.intp]
    blocks: Shapes
    rest: Shapes


def street_corridor(roads: gpd.GeoDataFrame, knowledge: Knowledge) -> shapely.Geometry:
    """Return the ground of streets as far as widths tell: carriageway and a footway each side.

    A lane has no footway, a drive belongs to its plot.

    Parameters
    ----------
    roads
        Columns ``kind`` and ``width_m``, metres (NaN: not known).
    knowledge
        For the usual widths.
    """
    usual = knowledge.setting("carriageway_width_m")
    footway = knowledge.setting("footway_width_m")
    kind = roads["kind"].to_numpy()
    lane = kind == "lane"
    width = roads["width_m"].to_numpy(dtype=float)
    width = np.where(np.isnan(width), np.where(lane, footway, usual), width)
    half = width / 2 + np.where(lane, 0.0, footway)
    used = (kind != "drive") & ~bridges(roads)
    return united(shapely.buffer(roads.geometry.to_numpy()[used], half[used]))


def bridges(roads: gpd.GeoDataFrame) -> NDArray[np.bool_]:
    """Whether each road is a bridge; none is where the table does not say.

    Parameters
    ----------
    roads
        r roads.

    Returns
    -------
    array
        Shape (r,).
    """
    if "bridge" not in roads.columns:
        return np.zeros(len(roads), dtype=bool)
    return np.asarray(roads["bridge"], dtype=bool)


def derive_plots(
    houses: Shapes,
    buildings: shapely.Geometry,
    corridor: shapely.Geometry,
    taken: shapely.Geometry,
    knowledge: Knowledge,
) -> Derived:
    """Tessellate the ground between streets among houses.

    Parameters
    ----------
    houses
        Polygons in metres that a plot is derived for, shape (n,).
    buildings
        All buildings as one: where they reach into the street, the street gives way.
    corridor
        Ground of the streets.
    taken
        Ground that is somebody's already: parcels, parks.
    knowledge
        For ``base_derived_depth_m``, ``base_densify_m`` and ``base_shrink_m``.
    """
    depth = knowledge.setting("base_derived_depth_m")
    if not len(houses):
        none, at = np.empty(0, dtype=object), np.empty(0, dtype=np.intp)
        return Derived(none, at, at, none, none)
    around = shapely.box(*shapely.total_bounds(houses)).buffer(depth, join_style="mitre")
    street = shapely.difference(corridor, buildings)
    ground = shapely.difference(around, shapely.union(street, taken))
    blocks = np.array(
        [part for part in shapely.get_parts(ground) if part.geom_type == "Polygon"], dtype=object
    )
    tree = shapely.STRtree(blocks)
    inside = shapely.point_on_surface(houses)
    at, block_of = tree.query(inside, predicate="intersects")
    found: list[tuple[int, int, shapely.Geometry]] = []
    used: list[int] = []
    rest: list[shapely.Geometry] = []
    for block in np.unique(block_of).tolist():
        members = np.sort(at[block_of == block])
        cells = _tessellate(houses[members], blocks[block], knowledge)
        cells, left = _within_depth(cells, houses[members], depth)
        found += [(len(used), int(k), cell) for k, cell in zip(members, cells, strict=True)]
        used.append(block)
        rest.append(left)
    return Derived(
        np.array([cell for _, _, cell in found], dtype=object),
        np.array([house for _, house, _ in found], dtype=np.intp),
        np.array([block for block, _, _ in found], dtype=np.intp),
        blocks[used],
        np.array(rest, dtype=object),
    )


def _tessellate(houses: Shapes, block: shapely.Polygon, knowledge: Knowledge) -> Shapes:
    """Return the share of a block that each house has; they tile it."""
    if len(houses) == 1:
        return np.array([block], dtype=object)
    west, south, _, _ = block.bounds  # a local origin keeps all digits
    shift = np.array([west, south])
    local = shapely.transform(houses, lambda xy: xy - shift)
    seeds = _drawn_in(local, knowledge.setting("base_shrink_m"))
    edges = shapely.segmentize(seeds, knowledge.setting("base_densify_m"))
    xy, owner = shapely.get_coordinates(edges, return_index=True)
    rng = np.random.default_rng(0)
    xy = np.round(xy + rng.uniform(-_JITTER, _JITTER, xy.shape), 3)
    xy, first = np.unique(np.round(xy / _GRID).astype(np.int64), axis=0, return_index=True)
    home = shapely.transform(block, lambda corner: corner - shift)
    shares = _nearest_ground(xy * _GRID, owner[first], len(houses))
    shapely.prepare(home)
    crossing = ~shapely.contains_properly(home, shares)
    shares[crossing] = shapely.intersection(shares[crossing], home)
    whole = _joined_up(shares, local)
    moved: Shapes = shapely.transform(whole, lambda corner: corner + shift)
    return moved


def _nearest_ground(xy: NDArray[np.float64], owner: NDArray[np.intp], count: int) -> Shapes:
    """Return the ground that is nearest to the points of each owner, shape (count,).

    Only edges between cells of different owners are borders; they meet in the vertices of the
    Voronoi diagram, so what they enclose tiles the plane without a gap.
    """
    from scipy.spatial import Voronoi

    low, high = xy.min(axis=0), xy.max(axis=0)
    middle, far = (low + high) / 2, _FAR * float(np.hypot(*(high - low)) + 1)
    turn = np.linspace(0, 2 * np.pi, 16, endpoint=False)
    beyond = middle + far * np.column_stack([np.cos(turn), np.sin(turn)])
    diagram = Voronoi(np.vstack([xy, beyond]))
    whose = np.concatenate([owner, np.full(len(beyond), -1)])
    side = whose[diagram.ridge_points]
    ends = np.array(diagram.ridge_vertices)
    border = (side[:, 0] != side[:, 1]) & (ends >= 0).all(axis=1)
    lines = diagram.vertices[ends[border]]
    lines = lines[(lines[:, 0] != lines[:, 1]).any(axis=1)]
    faces = shapely.get_parts(shapely.polygonize(shapely.linestrings(lines)))
    point, face = shapely.STRtree(faces).query(shapely.points(xy), predicate="within")
    pairs = np.unique(np.column_stack([owner[point], face]), axis=0)
    groups = np.split(faces[pairs[:, 1]], np.searchsorted(pairs[:, 0], np.arange(1, count)))
    return np.array(
        [group[0] if len(group) == 1 else shapely.MultiPolygon(list(group)) for group in groups],
        dtype=object,
    )


def _drawn_in(houses: Shapes, step: float) -> Shapes:
    """Draw outlines in; a house too narrow for it less so, the narrowest not at all."""
    seeds = houses.copy()
    left = np.arange(len(houses))
    for share in (1.0, 0.25):
        drawn = shapely.buffer(houses[left], -step * share, join_style="mitre")
        good = ~shapely.is_empty(drawn)
        seeds[left[good]] = drawn[good]
        left = left[~good]
    return seeds


def _joined_up(shares: Shapes, houses: Shapes) -> Shapes:
    """Give parts that are cut off from their house to the neighbour with the longest border."""
    parts, owner = shapely.get_parts(shares, return_index=True)
    area = shapely.get_dimensions(parts) == 2
    parts, owner = parts[area], owner[area]
    meets = shapely.intersects(parts, houses[owner])
    main = np.zeros(len(parts), dtype=bool)
    for house in np.flatnonzero(np.bincount(owner, minlength=len(houses)) > 1).tolist():
        own = np.flatnonzero(owner == house)
        if not meets[own].any():
            meets[own[np.argmax(shapely.area(parts[own]))]] = True
    main[:] = meets
    out = owner.copy()
    loose = np.flatnonzero(~main & (np.bincount(owner, minlength=len(houses))[owner] > 1))
    if len(loose):
        tree = shapely.STRtree(parts)
        for at in loose.tolist():
            near = np.sort(tree.query(parts[at], predicate="intersects"))
            near = near[(near != at) & main[near]]
            if len(near):
                border = shapely.length(shapely.intersection(parts[near], parts[at]))
                out[at] = owner[near[int(np.argmax(border))]]
    joined = shares.copy()
    for house in np.unique(np.concatenate([owner[loose], out[loose]])).tolist():
        joined[house] = united(parts[out == house])
    return joined


def _within_depth(cells: Shapes, houses: Shapes, depth: float) -> tuple[Shapes, shapely.Geometry]:
    """Cut off what is further than `depth` from the house; return that as well."""
    reach = shapely.buffer(houses, depth)
    far = ~shapely.within(cells, reach)
    if not far.any():
        return cells, shapely.Polygon()
    near = cells.copy()
    near[far] = shapely.intersection(cells[far], reach[far])
    left = shapely.difference(cells[far], reach[far])
    return near, united(left)
