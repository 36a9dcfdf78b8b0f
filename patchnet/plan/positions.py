"""Where one thing could lie on a plot: places tried on a grid, along the boundary, at walls."""

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import shapely
import shapely.affinity
import shapely.ops
from numpy.typing import NDArray

from patchnet.knowledge.records import Knowledge
from patchnet.plan.plot_ground import PlotGround
from patchnet.plan.wanted import Thing, cost_of
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.sun.sunny_walls import WallPlaces, wall_places

__all__ = ["Positions", "ground_positions", "wall_positions"]

Array = NDArray[np.float64]
Shapes = NDArray[np.object_]
_RATIOS = (1.0, 1.5, 2.0, 3.0)  # sides of a patch, one to the other
_OFF_EDGE_M = 0.02  # past drawing tolerance of the boundary
_STRIP_STARTS = 60  # places along the boundary at which a strip can begin
_STRIP_KEPT = 0.8  # of a strip must be there once what is in its way is cut out
_CLOSE = 1e-3  # of the area wanted: nearer is as good
_BISECT = 40
_LINE_M = 1.0  # what is shorter than this at a wall is drawn as a point


@dataclass(frozen=True, eq=False)
class Positions:
    """Places for one thing, n of them, the best first.

    Attributes
    ----------
    shapes
        Shape (n,): polygons, lines or points, metres in the CRS of the plots.
    cost
        Shape (n,): how ill each suits it; 0 where it has all it wants.
    taken
        Shape (n,): what nothing else of its kind may touch.
    wall
        Shape (n,): which of `walls` each is at; -1 on the ground.
    walls
        The places at walls.
    """

    shapes: Shapes
    cost: Array
    taken: Shapes
    wall: NDArray[np.int64]
    walls: WallPlaces | None = field(default=None)

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.cost)

    def some(self, at: NDArray[np.int64]) -> "Positions":
        """Return some of them."""
        return Positions(self.shapes[at], self.cost[at], self.taken[at], self.wall[at], self.walls)


# on the ground ----------------------------------------------------------------------------


def ground_positions(
    thing: Thing,
    ground: PlotGround,
    knowledge: Knowledge,
    *,
    taken: shapely.Geometry,
    seat: shapely.Geometry | None = None,
) -> Positions:
    """Return where a thing can lie on the ground, the best place first.

    Parameters
    ----------
    thing
        With the ground that it takes, m2.
    ground
        The plot.
    knowledge
        For the settings.
    taken
        Ground of other things.
    seat
        Where one sits, or None.
    """
    free = shapely.difference(ground.without(thing.takes_up), taken)
    free = shapely.intersection(free, shapely.buffer(ground.outline, -_OFF_EDGE_M))
    found: list[shapely.Geometry] = []
    if not free.is_empty and free.area >= thing.ground_m2:
        if _is_strip(thing):
            found = list(_strips(thing, ground, free))
        if not found:
            found = _boxes(thing, ground, free)
            # A hedge has its depth wherever it stands; bins and seats stand together if they can.
            if thing.measure != "m" and (thing.use is None or not found):
                found += _ends(thing, ground, free)
    shapes = np.array(found, dtype=object)
    if not len(shapes):
        return _none()
    cost = cost_of(shapes, thing, ground, knowledge, seat)
    return _sorted(Positions(shapes, cost, shapes, np.full(len(shapes), -1)))


def _is_strip(thing: Thing) -> bool:
    return thing.placing is not None and thing.placing.shape == "strip"


def _flat(shape: shapely.Geometry, ground: PlotGround) -> shapely.Geometry:
    """A shape near nought, turned so that the plot's longer side lies level."""
    middle = ground.outline.centroid
    moved = shapely.affinity.translate(shape, -middle.x, -middle.y)
    return shapely.make_valid(shapely.affinity.rotate(moved, -ground.turn_deg, origin=(0, 0)))


def _back(shapes: Shapes, ground: PlotGround) -> Shapes:
    """Shapes back at where they are."""
    middle, turn = ground.outline.centroid, np.radians(ground.turn_deg)
    rotation = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return np.asarray(
        shapely.transform(shapes, lambda xy: xy @ rotation + [middle.x, middle.y]), dtype=object
    )


def _boxes(thing: Thing, ground: PlotGround, free: shapely.Geometry) -> list[shapely.Geometry]:
    """Rectangles of several proportions at every corner of the grid at which they fit."""
    level = _flat(free, ground)
    shapely.prepare(level)
    west, south, east, north = level.bounds
    columns, rows = np.meshgrid(
        np.arange(west, east, ground.cell_m), np.arange(south, north, ground.cell_m)
    )
    x, y = columns.ravel(), rows.ravel()
    ratios: tuple[float, ...] = _RATIOS if thing.ground_m2 >= 1 else _RATIOS[:1]
    if thing.measure == "m":
        ratios = (1.0, thing.amount**2 / thing.ground_m2)  # as long as it is to be
    found = []
    turned = tuple(1 / one for one in ratios[1:])
    for ratio in (*ratios[thing.measure == "m" :], *turned):
        wide = np.sqrt(thing.ground_m2 * ratio)
        high = thing.ground_m2 / wide
        # Up to the far edges too, where the grid does not end.
        left = np.minimum(x, max(east - wide, west))
        low = np.minimum(y, max(north - high, south))
        maybe = np.flatnonzero(shapely.contains_xy(level, left + wide / 2, low + high / 2))
        left, low = np.unique(np.column_stack([left[maybe], low[maybe]]), axis=0).reshape(-1, 2).T
        boxes = shapely.box(left, low, left + wide, low + high)
        found += [*boxes[shapely.covers(level, boxes)]]
    return [*_back(np.array(found, dtype=object), ground)]


def _ends(thing: Thing, ground: PlotGround, free: shapely.Geometry) -> Iterator[shapely.Geometry]:
    """The ends of each free piece of ground, cut straight across, of the area that is wanted."""
    for piece in shapely.get_parts(_flat(free, ground)):
        if piece.area < thing.ground_m2:
            continue
        cuts = [_cut(piece, thing.ground_m2, side) for side in range(4)]
        whole = [one for one in cuts if isinstance(one, shapely.Polygon)]
        yield from _back(np.array(whole, dtype=object), ground)


def _cut(piece: shapely.Geometry, area: float, side: int) -> shapely.Geometry:
    """One end of a piece, of so many m2: west, south, east, north."""
    west, south, east, north = piece.bounds
    bounds = np.array([west - 1, south - 1, east + 1, north + 1])
    opposite = (side + 2) % 4
    near, far = piece.bounds[side], piece.bounds[opposite]
    part = piece
    for __ in range(_BISECT):
        if abs(part.area - area) <= _CLOSE * area / 10:
            break
        middle = (near + far) / 2
        ends = bounds.copy()
        ends[opposite] = middle
        part = shapely.intersection(piece, shapely.box(*ends))
        near, far = (middle, far) if part.area < area else (near, middle)
    return part


def _strips(thing: Thing, ground: PlotGround, free: shapely.Geometry) -> Iterator[shapely.Geometry]:
    """Strips along the boundary, round its corners too, of the area that is wanted."""
    outer = max(shapely.get_parts(ground.outline), key=lambda one: float(one.area))
    ring = shapely.normalize(outer).exterior
    twice = shapely.LineString([*ring.coords, *list(ring.coords)[1:]])
    around = float(ring.length)
    for depth in _depths(thing):
        for start in np.arange(0, around, max(ground.cell_m, around / _STRIP_STARTS)):
            strip = _strip(twice, float(start), depth, thing.ground_m2, free, around)
            if strip is not None:
                yield strip


def _depths(thing: Thing) -> tuple[float, ...]:
    if thing.measure == "m":
        return (thing.ground_m2 / thing.amount,)
    deep = None if thing.placing is None else thing.placing.depth
    if deep is None:
        return (float(np.sqrt(thing.ground_m2)),)
    return tuple(sorted({deep.low, deep.value, deep.high}))


def _strip(
    twice: shapely.LineString,
    start: float,
    depth: float,
    area: float,
    free: shapely.Geometry,
    around: float,
) -> shapely.Polygon | None:
    """A strip that begins `start` metres along the boundary; None where it does not fit."""
    long = area / depth
    for __ in range(_BISECT):
        if long > around:
            return None
        line = shapely.ops.substring(twice, start, start + long)
        band = shapely.buffer(line, depth, cap_style="flat", join_style="mitre")
        strip = shapely.intersection(band, free)
        if strip.area < _STRIP_KEPT * long * depth * _CLOSE or not isinstance(
            strip, shapely.Polygon
        ):
            return None
        if abs(strip.area - area) <= _CLOSE * area:
            return strip if strip.area >= _STRIP_KEPT * long * depth else None
        long *= area / strip.area
    return None


# at walls ---------------------------------------------------------------------------------


def wall_positions(
    thing: Thing,
    ground: PlotGround,
    neighbourhood: Neighbourhood,
    knowledge: Knowledge,
    *,
    taken: shapely.Geometry,
    seat: shapely.Geometry | None = None,
) -> Positions:
    """Return where a thing can be at a wall, fence or sill, the best place first.

    Parameters
    ----------
    thing
        With the length that it takes, metres.
    ground
        The plot.
    neighbourhood
        With the walls.
    knowledge
        For the settings.
    taken
        Lengths of walls that others take.
    seat
        Where one sits, or None.
    """
    placing = thing.placing
    height = None if placing is None else placing.height
    above = 0.0 if height is None else height.low
    walls = wall_places(
        neighbourhood,
        ground.plot,
        ground.screens,
        ground.place,
        ground.course,
        knowledge,
        above_m=above,
    )
    allowed = {"fence": {"fence", "wall"}, "sill": {"house"}}.get(
        thing.place, {"house", "wall", "fence"}
    )
    lines, at = [], []
    for each, (spot, ends, bears) in enumerate(
        zip(walls.spots, walls.ends, walls.bears, strict=True)
    ):
        line = _along(spot, ends, thing.length_m)
        blocked = ground.way_known and shapely.intersects(ground.way, line)
        if bears in allowed and not blocked and _fits(line, spot, ends, ground, taken):
            lines.append(line)
            at.append(each)
    if not lines:
        return _none()
    taken_lines = np.array(lines, dtype=object)
    wall = np.array(at)
    spots = np.array([shapely.Point(walls.spots[each]) for each in at], dtype=object)
    shapes = taken_lines if thing.length_m >= _LINE_M else spots
    cost = cost_of(shapes, thing, ground, knowledge, seat, (walls, wall))
    return _sorted(Positions(shapes, cost, taken_lines, wall, walls))


def _along(spot: Array, ends: Array, length: float) -> shapely.LineString:
    """A length of a wall with a spot in its middle."""
    way = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    half = max(length, 1e-3) / 2
    return shapely.LineString([spot - half * way, spot + half * way])


def _fits(
    line: shapely.LineString,
    spot: Array,
    ends: Array,
    ground: PlotGround,
    taken: shapely.Geometry,
) -> bool:
    """Whether a length lies on its wall and on the plot, clear of what is there."""
    long = float(np.hypot(*(ends[1] - ends[0])))
    from_start = float((spot - ends[0]) @ (ends[1] - ends[0])) / long
    half = line.length / 2
    on_wall = half <= from_start + 1e-6 and from_start + half <= long + 1e-6
    return on_wall and ground.outline.covers(line) and not shapely.intersects(line, taken)


def _sorted(found: Positions) -> Positions:
    """The same, the best first; of those alike the one that comes first on the map."""
    middle = np.round(shapely.get_coordinates(shapely.centroid(found.shapes)), 3)
    order = np.lexsort((middle[:, 1], middle[:, 0], np.round(found.cost, 6)))
    return found.some(order)


def _none() -> Positions:
    nothing = np.empty(0, dtype=object)
    return Positions(nothing, np.empty(0), nothing, np.empty(0, np.int64))
