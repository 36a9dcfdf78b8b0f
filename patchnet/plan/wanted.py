"""What a thing that is to be placed wants, and how ill a place suits it."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.knowledge.placing import Placing
from patchnet.knowledge.records import Figure, KeepUse, Knowledge
from patchnet.plan.plot_ground import PlotGround
from patchnet.sun.sunny_walls import WallPlaces

__all__ = ["Thing", "cost_of", "in_view", "off_aspect", "seat_hours", "wall_hours"]

Array = NDArray[np.float64]
Shapes = NDArray[np.object_]
_POINTS = {"n": 0, "ne": 45, "e": 90, "se": 135, "s": 180, "sw": 225, "w": 270, "nw": 315}
_POINT_OFF = 22.5  # degrees: nearer than this a wall faces that point of the compass


@dataclass(frozen=True, slots=True)
class Thing:
    """Something that is to be placed.

    Attributes
    ----------
    key, amount
        Of the feature and in its unit; of a use that stays its key, and m2.
    place
        As of a `Candidate`.
    ground_m2, length_m
        Ground that it takes; length of wall, fence or sill.
    measure
        Unit of the amount: m2, m or count.
    placing
        What it wants; None of a use.
    use
        The use, if it is one.
    kinds
        What it counts as for others: ``tree``, ``bush``.
    takes_up
        Drawn covers that it may lie on.
    """

    key: str
    amount: float
    place: str
    ground_m2: float
    length_m: float
    measure: str
    placing: Placing | None = None
    use: KeepUse | None = None
    kinds: frozenset[str] = frozenset()
    takes_up: frozenset[str] = frozenset()


def cost_of(
    shapes: Shapes,
    thing: Thing,
    ground: PlotGround,
    knowledge: Knowledge,
    seat: shapely.Geometry | None,
    at_walls: tuple[WallPlaces, NDArray[np.int64]] | None = None,
) -> Array:
    """Return how ill each place suits a thing, shape (n,): 0 all it wants, about 1 for each lack.

    Parameters
    ----------
    shapes
        Shape (n,): the places, metres in the CRS of the plots.
    thing
        With what it wants.
    ground
        The plot.
    knowledge
        For the settings.
    seat
        Where one sits, or None.
    at_walls
        For places at walls: the walls, and which of them each is at, shape (n,).
    """
    if thing.use is not None:
        return _cost_of_use(shapes, thing.use, ground, knowledge)
    wants = thing.placing
    cost = np.zeros(len(shapes))
    if wants is None:
        return cost
    month = ground.months[0]
    hours = _hours(shapes, ground, month) if at_walls is None else wall_hours(ground, *at_walls)
    if hours is not None:
        cost += _short(hours, wants.sun_least) + _over(hours, wants.sun_most)
    if at_walls is not None:
        walls, wall = at_walls
        return cost + off_aspect(walls.faces[wall], wants.aspects)
    away: Mapping[str, tuple[shapely.Geometry, ...]] = {
        "house": ground.buildings,
        "boundary": (shapely.boundary(ground.outline),),
        "tree": ground.trees,
        "cover": tuple(shape for __, shape in ground.bushes),
    }
    for what, others in away.items():
        if others:
            distance = shapely.distance(shapes, shapely.union_all(others))
            cost += _short(distance, getattr(wants, f"{what}_least"))
            cost += _over(distance, getattr(wants, f"{what}_most", None))
    if wants.in_view and seat is not None:
        view = knowledge.setting("place_view_m")
        cost += np.maximum(shapely.distance(shapes, seat) / view - 1, 0)
        cost += ~in_view(shapes, seat, ground)
    if wants.low and ground.rise is not None:
        span = float(np.ptp(ground.rise))
        if span > 0:
            rise = _mean_over(shapes, ground, ground.rise)
            cost += (rise - ground.rise.min()) / span
    return cost + knowledge.setting("place_edge") * _in_the_middle(shapes, ground)


def _cost_of_use(shapes: Shapes, use: KeepUse, ground: PlotGround, knowledge: Knowledge) -> Array:
    cost = knowledge.setting("place_edge") * _in_the_middle(shapes, ground)
    hours = seat_hours(shapes, use, ground, knowledge)
    if hours is not None:
        # More of it is better still.
        cost -= hours / max(knowledge.setting("sun_seat_h"), 1e-9)
    target = {"house": ground.house, "street": ground.street_side}.get(use.near)
    if target is not None and not target.is_empty:
        distance = shapely.distance(shapes, target)
        cost += distance / max(float(distance.max()), 1e-9)
    return cost


def seat_hours(
    shapes: Shapes, use: KeepUse, ground: PlotGround, knowledge: Knowledge
) -> Array | None:
    """Return hours of the early or the late sun at midsummer, shape (n,), as a use wants it.

    None where it wants neither, or the sun is not known.

    Parameters
    ----------
    shapes
        Shape (n,): areas, metres.
    use
        The use.
    ground
        The plot.
    knowledge
        For what is early and late.
    """
    if not use.sun or ground.lit is None:
        return None
    course = ground.course
    away = knowledge.setting("sun_seat_from_noon_h")
    half = course.after_noon <= -away if use.sun == "morning" else course.after_noon >= away
    hours = ground.lit @ (course.hours * (course.month == ground.months[1]) * half)
    return _mean_over(shapes, ground, hours)


def _hours(shapes: Shapes, ground: PlotGround, month: int) -> Array | None:
    hours = ground.hours(month)
    return None if hours is None else _mean_over(shapes, ground, hours)


def wall_hours(ground: PlotGround, walls: WallPlaces, wall: NDArray[np.int64]) -> Array | None:
    """Return hours of sun at places at walls in the month before midsummer, shape (n,).

    Parameters
    ----------
    ground
        The plot, with the sun's course.
    walls
        The places.
    wall
        Shape (n,): which of them, from 0.
    """
    if ground.lit is None:
        return None
    course = ground.course
    return np.asarray(walls.lit[wall] @ (course.hours * (course.month == ground.months[0])))


def _mean_over(shapes: Shapes, ground: PlotGround, of_cells: Array) -> Array:
    """The mean of a value of the cells under each shape; of the nearest where none is."""
    tree = shapely.STRtree(shapely.points(ground.cells))
    shape, cell = tree.query(shapes, predicate="contains")
    count = np.bincount(shape, minlength=len(shapes))
    total = np.bincount(shape, weights=of_cells[cell], minlength=len(shapes))
    none = np.flatnonzero(count == 0)
    if len(none):
        total[none] = of_cells[tree.nearest(shapely.centroid(shapes[none]))]
        count[none] = 1
    return np.asarray(total / count)


def _short(value: Array, least: Figure | None) -> Array:
    """By which part a value falls short of what is wanted."""
    if least is None or least.value <= 0:
        return np.zeros(len(value))
    return np.maximum(least.value - value, 0) / least.value


def _over(value: Array, most: Figure | None) -> Array:
    """By which part a value is more than what suits; no more than 1."""
    if most is None or most.value <= 0:
        return np.zeros(len(value))
    return np.minimum(np.maximum(value - most.value, 0) / most.value, 1)


def off_aspect(faces: Array, wanted: tuple[str, ...]) -> Array:
    """Return how far walls face from the points of the compass that are wanted, shape (n,), 0-1.

    Parameters
    ----------
    faces
        Shape (n,): bearings, degrees from north.
    wanted
        Points of the compass, ``n`` to ``nw``; none: any.
    """
    if not wanted:
        return np.zeros(len(faces))
    points = np.array([_POINTS[one] for one in wanted], dtype=float)
    off = np.abs((faces[:, None] - points + 180) % 360 - 180).min(axis=1)
    return np.asarray(np.maximum(off - _POINT_OFF, 0) / (180 - _POINT_OFF))


def in_view(shapes: Shapes, seat: shapely.Geometry, ground: PlotGround) -> NDArray[np.bool_]:
    """Return whether no building stands between the seat and each shape, shape (n,).

    Parameters
    ----------
    shapes
        Shape (n,): geometries, metres.
    seat
        Where one sits.
    ground
        The plot, with the buildings.
    """
    if not ground.buildings:
        return np.ones(len(shapes), bool)
    middle = shapely.centroid(shapes)
    ends = np.stack(
        [
            np.broadcast_to(shapely.get_coordinates(seat.centroid), (len(shapes), 2)),
            shapely.get_coordinates(middle),
        ],
        axis=1,
    )
    return np.asarray(~shapely.intersects(shapely.linestrings(ends), _built(ground)))


def _built(ground: PlotGround) -> shapely.Geometry:
    built = shapely.union_all(ground.buildings)
    shapely.prepare(built)
    return built


def _in_the_middle(shapes: Shapes, ground: PlotGround) -> Array:
    """How far in from the boundary a shape lies, and how far from square it is, 0-2."""
    edge = shapely.boundary(ground.outline)
    deepest = float(shapely.distance(shapely.points(ground.cells), edge).max())
    inward = shapely.distance(shapely.centroid(shapes), edge) / max(deepest, 1e-9)
    around = shapely.length(shapes)
    square = np.where(around > 0, 4 * np.sqrt(shapely.area(shapes)) / np.maximum(around, 1e-9), 1)
    return np.asarray(np.minimum(inward, 1) + 1 - np.minimum(square, 1))
