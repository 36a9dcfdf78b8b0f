"""A garden split at the building line: what lies before the house, and the rest.

The building line runs along the front wall of the house, parallel to the wall that faces the
street; what lies behind it, beside the house as well, is the back (the usual meaning of a
principal elevation in British planning; common practice). A bay, porch or other narrow piece
that stands forward does not move the line (``settings/base_front_wall_share``).
"""

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.knowledge.records import Knowledge

__all__ = ["building_line", "split_garden", "usable_ground"]

Vector = NDArray[np.float64]
_FRONTAL = np.cos(np.radians(45))  # a wall whose outward side is within 45 degrees of the front


def building_line(
    house: shapely.Geometry, toward: Vector, knowledge: Knowledge
) -> tuple[Vector, float]:
    """Return the way to the front (unit vector) and how far along it the front wall stands.

    Parameters
    ----------
    house
        Outline of the house.
    toward
        Point on the street that it faces, shape (2,).
    knowledge
        For ``base_front_wall_share``.

    Returns
    -------
    front
        Shape (2,): unit vector.
    offset
        Metres along it from the origin of the CRS.
    """
    near = shapely.get_coordinates(shapely.shortest_line(house, shapely.Point(toward)))
    way = near[1] - near[0]
    if not np.hypot(*way) > 0:  # the street touches the house
        way = toward - shapely.get_coordinates(house.centroid)[0]
    way = way / max(np.hypot(*way), 1e-9)
    front = _along_walls(house, way)
    middle, wall = _front_walls(house, front)
    if not len(wall):
        return front, float((shapely.get_coordinates(house) @ front).max())
    offset = middle @ front
    order = np.argsort(-offset, kind="stable")
    passed = np.cumsum(wall[order]) >= knowledge.setting("base_front_wall_share") * wall.sum()
    return front, float(offset[order][int(np.argmax(passed))])


def split_garden(
    garden: shapely.Geometry, front: Vector, offset: float
) -> tuple[shapely.Geometry, shapely.Geometry]:
    """Return what of a garden lies before the building line, and what behind it.

    Parameters
    ----------
    garden
        Its ground.
    front
        Shape (2,): unit vector towards the street.
    offset
        How far along it the building line lies, in metres from the origin of the CRS.
    """
    across = np.array([-front[1], front[0]])
    west, south, east, north = garden.bounds
    size = 2 * (east - west + north - south)
    middle = np.array([(west + east) / 2, (south + north) / 2])
    foot = middle + (offset - middle @ front) * front
    before = shapely.Polygon(
        [foot - size * across, foot + size * across,
         foot + size * across + size * front, foot - size * across + size * front]
    )  # fmt: skip
    return shapely.intersection(garden, before), shapely.difference(garden, before)


def usable_ground(
    shape: shapely.Geometry, knowledge: Knowledge, *, derived: bool = False
) -> shapely.Geometry | None:
    """Return the parts of what is left beside buildings that can be a garden, or None.

    Where borders are `derived`, narrow parts are slack of the guess: those must be wider
    (``base_derived_width_min_m``).
    """
    least = knowledge.setting("base_garden_area_min_m2")
    width = "base_derived_width_min_m" if derived else "base_garden_width_min_m"
    half = knowledge.setting(width) / 2
    parts = [
        part
        for part in shapely.get_parts(shape)
        if part.geom_type == "Polygon" and part.area >= least and not part.buffer(-half).is_empty
    ]
    if not parts:
        return None
    return parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)


def _along_walls(house: shapely.Geometry, way: Vector) -> Vector:
    """Turn a direction to that of the nearest side of the house."""
    box = shapely.minimum_rotated_rectangle(house)
    if box.geom_type != "Polygon":
        return way
    edge = np.diff(shapely.get_coordinates(box)[:3], axis=0)
    sides = [edge[0], -edge[0], edge[1], -edge[1]]
    units = np.array([side / max(np.hypot(*side), 1e-9) for side in sides])
    best: Vector = units[int(np.argmax(units @ way))]
    return best


def _front_walls(house: shapely.Geometry, front: Vector) -> tuple[Vector, Vector]:
    """Middles and lengths (as seen from the front) of walls that look to the front."""
    middles, lengths = [np.empty((0, 2))], [np.empty(0)]
    for part in shapely.get_parts(house):
        xy = shapely.get_coordinates(shapely.normalize(part).exterior)  # clockwise
        step = np.diff(xy, axis=0)
        size = np.hypot(*step.T)
        outward = np.column_stack([-step[:, 1], step[:, 0]]) / np.maximum(size, 1e-9)[:, None]
        facing = outward @ front
        frontal = (facing >= _FRONTAL) & (size > 0)
        middles.append((xy[1:] + xy[:-1])[frontal] / 2)
        lengths.append((size * facing)[frontal])
    return np.concatenate(middles), np.concatenate(lengths)
