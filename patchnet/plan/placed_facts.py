"""The facts behind the sentence that says where a thing goes."""

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.core.texts import _
from patchnet.plan.placed import Placed, SunThere
from patchnet.plan.plot_ground import PlotGround
from patchnet.plan.positions import Positions
from patchnet.plan.wanted import Thing, in_view, off_aspect
from patchnet.sun.course import Course
from patchnet.sun.sunny_walls import compass, is_between

__all__ = ["facts_of", "part_of", "sun_there"]

Array = NDArray[np.float64]
_MIDDLE = 0.35  # nearer the middle than this share of the half width is the middle
_EDGE_M = 0.3  # nearer the boundary than this a strip lies along it
_ALONG = 0.5  # of a strip's side is at a barrier: it lies along that


def facts_of(
    thing: Thing,
    positions: Positions,
    at: int,
    ground: PlotGround,
    *,
    seat: shapely.Geometry | None,
    new: Sequence[tuple[str, shapely.Geometry, Collection[str]]] = (),
) -> Placed:
    """Gather the facts of a place.

    Parameters
    ----------
    thing
        What is placed.
    positions, at
        The places that were found for it, and which was taken, from 0.
    ground
        The plot.
    seat
        Where one sits, metres; None: nowhere, or it is the seat itself.
    new
        New trees and bushes beside it: feature, shape, whether ``tree`` or ``cover``.
    """
    shape = positions.shapes[at]
    wall = int(positions.wall[at])
    walls = positions.walls if wall >= 0 else None
    lit = _lit(shape, ground) if walls is None else walls.lit[wall : wall + 1]
    months = (ground.months[0], ground.months[2])
    if thing.use is not None and thing.use.sun:
        months = (ground.months[1], ground.months[2])
    sun: tuple[SunThere, ...] = ()
    if ground.lit is not None and lit is not None:
        sun = tuple(sun_there(lit, ground.course, month) for month in months)
    trees = [*ground.trees, *(one for __, one, kinds in new if "tree" in kinds)]
    bushes = [*ground.bushes, *((key, one) for key, one, kinds in new if "cover" in kinds)]
    nearest = min(
        ((float(shapely.distance(shape, one)), key) for key, one in bushes), default=(None, "")
    )
    height = None if thing.placing is None else thing.placing.height
    placed = Placed(
        thing=thing.key,
        amount=thing.amount,
        geometry=shape,
        part=part_of(shape, ground),
        at_wall=_along(thing, shape, ground) if walls is None else walls.names[wall],
        faces="" if walls is None else compass(float(walls.faces[wall])),
        height_m=None if height is None else (height.low, height.high),
        sun=sun,
        house_m=None if ground.house is None else float(shapely.distance(shape, ground.house)),
        boundary_m=float(shapely.distance(shape, shapely.boundary(ground.outline))),
        tree_m=min((float(shapely.distance(shape, one)) for one in trees), default=None),
        cover_m=nearest[0],
        cover=nearest[1],
        seat_m=None if seat is None else float(shapely.distance(shape, seat)),
        in_view=None
        if seat is None
        else bool(in_view(np.array([shape], dtype=object), seat, ground)[0]),
        low=_is_low(shape, ground),
        is_use=thing.use is not None,
    )
    faces = None if walls is None else float(walls.faces[wall])
    return replace(placed, lacks=_lacks(placed, thing, faces))


def _lacks(placed: Placed, thing: Thing, faces: float | None) -> tuple[str, ...]:
    """What a thing wants and does not have at its place."""
    wants = thing.placing
    if wants is None:
        return ()
    lacks = []
    if placed.sun:
        hours = placed.sun[0].hours
        if wants.sun_least is not None and hours < wants.sun_least.low:
            lacks.append("sun")
        if wants.sun_most is not None and hours > wants.sun_most.high:
            lacks.append("shade")
    if faces is not None and wants.aspects and off_aspect(np.array([faces]), wants.aspects)[0] > 0:
        lacks.append("aspect")
    for what in ("house", "boundary", "tree", "cover") if faces is None else ():
        away = getattr(placed, f"{what}_m")
        least, most = getattr(wants, f"{what}_least"), getattr(wants, f"{what}_most", None)
        near = least is not None and away is not None and away < least.low
        far = most is not None and away is not None and away > most.high
        if near or far:
            lacks.append(what)
    return tuple(lacks)


def part_of(shape: shapely.Geometry, ground: PlotGround) -> str:
    """Return which part of the plot a shape is in, in words.

    Parameters
    ----------
    shape
        In the CRS of the plots.
    ground
        The plot.
    """
    west, south, east, north = ground.outline.bounds
    middle = shapely.get_coordinates(shape.centroid)[0]
    half = np.maximum([(east - west) / 2, (north - south) / 2], 1e-9)
    off = (middle - [(west + east) / 2, (south + north) / 2]) / half
    if np.abs(off).max() < _MIDDLE:
        return _("in the middle")
    bearing = float(np.degrees(np.arctan2(off[0], off[1]))) - ground.place.north
    words = compass(bearing)
    if is_between(bearing):
        return _("in the {words} corner").format(words=words)
    return _("on the {words} side").format(words=words)


def sun_there(lit: Array, course: Course, month: int) -> SunThere:
    """Return the hours of sun of a place in a month, and their longest spell.

    Parameters
    ----------
    lit
        Shape (s, m), 0 or 1: spots of the place at the moments of the course.
    course
        The sun.
    month
        1-12, one of those of the course.
    """
    now = np.flatnonzero(course.month == month)
    order = now[np.argsort(course.after_noon[now])]
    share = lit[:, order].mean(axis=0)
    step = course.hours[order]
    on = np.r_[False, share >= 0.5, False]
    starts, ends = np.flatnonzero(~on[:-1] & on[1:]), np.flatnonzero(on[:-1] & ~on[1:])
    if not len(starts):
        return SunThere(month, float(share @ step), None, None)
    spells = np.array([step[a:b].sum() for a, b in zip(starts, ends, strict=True)])
    best = int(np.argmax(spells))
    first, last = order[starts[best]], order[ends[best] - 1]
    return SunThere(
        month,
        float(share @ step),
        float(12 + course.after_noon[first] - course.hours[first] / 2),
        float(12 + course.after_noon[last] + course.hours[last] / 2),
    )


def _lit(shape: shapely.Geometry, ground: PlotGround) -> Array | None:
    """The sun on the cells under a shape; on the nearest where it is smaller than one."""
    if ground.lit is None:
        return None
    shapely.prepare(shape)
    under = shapely.contains_xy(shape, ground.cells[:, 0], ground.cells[:, 1])
    if under.any():
        return np.asarray(ground.lit[under])
    away = np.hypot(*(ground.cells - shapely.get_coordinates(shape.centroid)).T)
    return np.asarray(ground.lit[[int(np.argmin(away))]])


def _along(thing: Thing, shape: shapely.Geometry, ground: PlotGround) -> str:
    """What a strip lies along: a fence, wall or hedge on the map, or the boundary; else nothing."""
    if thing.placing is None or thing.placing.shape != "strip":
        return ""
    side = shapely.intersection(shapely.boundary(ground.outline), shapely.buffer(shape, _EDGE_M))
    if side.length <= 0:
        return ""
    for kind, line in ground.edges:
        if shapely.intersection(side, shapely.buffer(line, _EDGE_M)).length > _ALONG * side.length:
            return kind
    return "boundary"


def _is_low(shape: shapely.Geometry, ground: PlotGround) -> bool | None:
    """Whether a shape lies in the lower half of the plot; None where slopes are not known."""
    if ground.rise is None:
        return None
    away = np.hypot(*(ground.cells - shapely.get_coordinates(shape.centroid)).T)
    return bool(ground.rise[int(np.argmin(away))] <= np.median(ground.rise))
