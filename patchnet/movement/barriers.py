"""The barriers of a neighbourhood as steps that cost more or are closed, with their gaps."""

from collections.abc import Collection
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely import Point

from patchnet.core.faults import Fault
from patchnet.core.texts import _
from patchnet.knowledge.records import GroundCosts, Knowledge
from patchnet.movement.barrier_steps import (
    Crossings,
    Segments,
    Steps,
    crossings,
    gather_steps,
)
from patchnet.movement.ground_grid import Grid
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["Lines", "barrier_lines", "barrier_steps"]

_BUILDING = -1
_FAR = 2  # cells along the barrier within which a gap is looked for beside its place


@dataclass(frozen=True, eq=False)
class Lines:
    """The barriers as lines, n of them.

    Attributes
    ----------
    tree
        Finds lines by place.
    closed
        Shape (n,): True where nothing of the group gets through anywhere along the barrier.
    """

    tree: shapely.STRtree
    closed: NDArray[np.bool_]


def barrier_lines(neighbourhood: Neighbourhood, costs: GroundCosts, knowledge: Knowledge) -> Lines:
    """Find the barriers that are closed all along to an animal.

    Parameters
    ----------
    neighbourhood
        For its barriers and the buildings that are none.
    costs
        What each kind of barrier costs the group, cost metres.
    knowledge
        For the kinds of barriers.
    """
    shapes = np.asarray(neighbourhood.barriers.geometry.array, dtype=object)
    gaps, through = _gap_points(neighbourhood, shapes, knowledge)
    closed = np.isinf(_solid_costs(neighbourhood.barriers, costs, knowledge, gaps))
    closed[sorted(gaps.keys() | through)] = False
    return Lines(shapely.STRtree(shapes), closed)


def barrier_steps(
    neighbourhood: Neighbourhood,
    costs: GroundCosts,
    knowledge: Knowledge,
    grid: Grid,
    passable: NDArray[np.bool_],
    faults: list[Fault],
) -> Steps:
    """Find the steps that barriers and building outlines close or make costlier.

    A barrier with a gap is closed as far as its kind closes it, but for one step: the one
    nearest to the middle of the line, where the gap is assumed. Gaps mapped on it as features
    take the place of the assumed one: the steps nearest to them open, and no other.
    A barrier of which the gap is not known costs the same all along. Where a barrier ends just
    short of another or of a building it is drawn on to it.

    Parameters
    ----------
    passable
        Shape of the grid: cells that can be entered.
    faults
        List to which warnings are added (barriers off the map, gaps that lead nowhere).
    """
    closed = knowledge.setting("closed_cost")
    table = neighbourhood.barriers
    shapes = np.asarray(table.geometry.array, dtype=object)
    joined = _drawn_on(shapes, neighbourhood.buildings, knowledge.setting("barrier_snap_m"))
    parts = [_segments(joined, np.arange(len(joined)))]
    if costs.covers[_building_cover(knowledge)].value >= closed:
        outlines = shapely.boundary(np.asarray(neighbourhood.buildings.geometry.array, object))
        parts.append(_segments(outlines, np.full(len(outlines), _BUILDING)))
    found = crossings(_together(parts), grid.west, grid.north, grid.cell_m, grid.shape)
    found = _between(found, passable)
    _say_outside(table, shapes, grid, faults)

    gaps, __ = _gap_points(neighbourhood, shapes, knowledge)
    # The last is for buildings (-1).
    solid = np.r_[_solid_costs(table, costs, knowledge, gaps), np.inf]
    opened = np.r_[[costs.crossings[kind, "yes"].value for kind in table["kind"]], np.inf]
    opened[opened >= closed] = np.inf
    extra = solid[found.barrier]
    is_gap = np.zeros(len(found.key), np.bool_)
    near = _Near(shapes, knowledge.setting("barrier_snap_m"))
    half = knowledge.setting("gap_side_m") / 2
    reach = _FAR * grid.cell_m
    order = np.argsort(found.barrier, kind="stable")
    ends = np.searchsorted(found.barrier[order], np.arange(len(table) + 1))
    lost: dict[int, bool] = {}
    for barrier, points in gaps.items():
        own = order[ends[barrier] : ends[barrier + 1]]
        for point in points:
            steps = _steps_at(found, own, shapes[barrier].project(point), half, reach)
            lost[barrier] = lost.get(barrier, False) or not len(steps)
            through = _on_steps(found, steps)
            through = through[np.isin(found.barrier[through], near.point(point))]
            extra[through] = opened[found.barrier[through]]
            is_gap[through] = True
    for barrier, nowhere in lost.items():
        if nowhere:
            what = _("The gap in this barrier leads nowhere: no open ground on both its sides.")
            mend = _("Look at the map; smaller cells may find the ground beside it.")
            faults.append(_warning(table, barrier, what, mend))
    keep = extra > 0  # a crossing that costs nothing is not a barrier
    keep |= is_gap
    found = Crossings(found.key[keep], found.barrier[keep], found.along[keep])
    return gather_steps(found, extra[keep], opened[found.barrier], is_gap[keep])


def _solid_costs(
    table: gpd.GeoDataFrame, costs: GroundCosts, knowledge: Knowledge, gaps: Collection[int]
) -> NDArray[np.float64]:
    """Cost metres of crossing each barrier beside its gaps; inf: nothing gets through there."""
    low, closed = knowledge.setting("barrier_low_m"), knowledge.setting("closed_cost")
    solid = np.empty(len(table))
    for at, (kind, gap, height) in enumerate(
        zip(table["kind"], table["gap"], _heights(table), strict=True)
    ):
        known = "no" if gap == "yes" or at in gaps else gap
        solid[at] = costs.crossings[kind, "yes" if height <= low else known].value
    solid[solid >= closed] = np.inf
    return solid


def _building_cover(knowledge: Knowledge) -> str:
    return next(key for key, cover in knowledge.ground_covers.items() if cover.role == "building")


def _heights(table: gpd.GeoDataFrame) -> NDArray[np.float64]:
    if "height_m" not in table:
        return np.full(len(table), np.nan)
    heights: NDArray[np.float64] = pd.to_numeric(table["height_m"], errors="coerce").to_numpy(
        np.float64
    )
    return heights


def _drawn_on(
    shapes: NDArray[np.object_], buildings: gpd.GeoDataFrame, reach: float
) -> list[shapely.Geometry]:
    """Barriers, each end that stops just short of something drawn on to it."""
    solid = np.r_[shapes, shapely.boundary(np.asarray(buildings.geometry.array, dtype=object))]
    tree = shapely.STRtree(solid)
    joined: list[shapely.Geometry] = []
    for at, shape in enumerate(shapes):
        extra = []
        for line in shapely.get_parts(shape):
            if line.is_closed:
                continue
            for end in (Point(line.coords[0]), Point(line.coords[-1])):
                others = [
                    other for other in tree.query(end, predicate="dwithin", distance=reach)
                    if other != at
                ]  # fmt: skip
                if not others:
                    continue
                to = min(others, key=lambda other: (solid[other].distance(end), other))
                bridge = shapely.shortest_line(end, solid[to])
                if bridge.length > 0:
                    extra.append(bridge)
        joined.append(shapely.GeometryCollection([shape, *extra]) if extra else shape)
    return joined


def _segments(shapes: list[shapely.Geometry], numbers: NDArray[np.int64]) -> Segments:
    """Straight pieces; metres along a barrier run on through its parts."""
    lines, owner = shapely.get_parts(np.asarray(shapes, dtype=object), return_index=True)
    inner, again = shapely.get_parts(lines, return_index=True)  # multi-lines in collections
    owner = owner[again]
    points, line = shapely.get_coordinates(inner, return_index=True)
    same = line[1:] == line[:-1]
    begin, end = points[:-1][same], points[1:][same]
    which = owner[line[:-1][same]]
    length = np.hypot(*(end - begin).T)
    run = np.cumsum(length) - length
    first = np.searchsorted(which, which)
    return Segments(
        x0=begin[:, 0], y0=begin[:, 1], x1=end[:, 0], y1=end[:, 1],
        start=run - run[first] if len(run) else run,
        barrier=numbers[which].astype(np.int32),
    )  # fmt: skip


def _together(parts: list[Segments]) -> Segments:
    return Segments(
        *(
            np.concatenate([getattr(part, name) for part in parts])
            for name in ("x0", "y0", "x1", "y1", "start", "barrier")
        )
    )


def _between(found: Crossings, passable: NDArray[np.bool_]) -> Crossings:
    """Keep crossings between two cells that can be entered: the others are closed anyway."""
    columns = passable.shape[1]
    cell, direction = np.divmod(found.key, 4)
    there = cell + np.array([1, columns, columns + 1, columns - 1])[direction]
    keep = passable.ravel()[cell] & passable.ravel()[there]
    return Crossings(found.key[keep], found.barrier[keep], found.along[keep])


def _gap_points(
    neighbourhood: Neighbourhood, shapes: NDArray[np.object_], knowledge: Knowledge
) -> tuple[dict[int, list[Point]], set[int]]:
    """Where the gaps are: mapped ones at their place on the line, others in its middle.

    A mapped gap goes through every barrier drawn along there (the second thing returned), and
    takes the place of the one assumed in each.
    """
    gaps: dict[int, list[Point]] = {}
    features = neighbourhood.features
    openings = knowledge.features_with("way_through")
    mapped = features[features["feature"].isin(openings)] if len(features) else features
    tree = shapely.STRtree(shapes)
    reach = knowledge.setting("gap_on_line_m")
    near = _Near(shapes, knowledge.setting("barrier_snap_m"))
    through: set[int] = set()
    for shape in mapped.geometry:
        place = shape.centroid
        nearest = sorted(
            tree.query(place, predicate="dwithin", distance=reach),
            key=lambda at: (shapely.distance(shapes[at], place), at),
        )
        if nearest:
            line = shapes[int(nearest[0])]
            point = line.interpolate(line.project(place))
            gaps.setdefault(int(nearest[0]), []).append(point)
            through.update(near.along(point))
    for at, gap in enumerate(neighbourhood.barriers["gap"]):
        if gap == "yes" and at not in gaps and at not in through:
            line = max(shapely.get_parts(shapes[at]), key=lambda part: part.length)
            gaps[at] = [line.interpolate(0.5, normalized=True)]
    return dict(sorted(gaps.items())), through


def _steps_at(
    found: Crossings, own: NDArray[np.int64], along: float, half: float, reach: float
) -> NDArray[np.int64]:
    """Steps a gap opens, of the crossings `own`: the nearest straight one, and any in its width."""
    own = own[np.abs(found.along[own] - along) <= reach]
    straight = own[found.key[own] % 4 < 2]
    if len(straight):
        own = straight
    away = np.abs(found.along[own] - along)
    nearest = own[np.lexsort((found.key[own], away))[:1]]
    return found.key[np.union1d(nearest, own[away <= half])]


def _on_steps(found: Crossings, steps: NDArray[np.int64]) -> NDArray[np.int64]:
    """Crossings on given steps (crossings are sorted by step)."""
    spans = [
        np.arange(np.searchsorted(found.key, step), np.searchsorted(found.key, step, "right"))
        for step in steps
    ]
    return np.concatenate([np.empty(0, np.int64), *spans])


class _Near:
    """Which barriers pass close to a point: a gap goes through all of them."""

    def __init__(self, shapes: NDArray[np.object_], reach: float) -> None:
        self._shapes = shapes
        self._tree = shapely.STRtree(shapes)
        self._reach = reach

    def point(self, point: Point) -> NDArray[np.int64]:
        near: NDArray[np.int64] = self._tree.query(point, predicate="dwithin", distance=self._reach)
        return near

    def along(self, point: Point) -> list[int]:
        """Those that run past the point, rather than end there and begin another way."""
        ends = {int(at): shapely.boundary(self._shapes[at]) for at in self.point(point)}
        return [at for at, end in ends.items() if not end.distance(point) <= self._reach]


def _say_outside(
    table: gpd.GeoDataFrame, shapes: NDArray[np.object_], grid: Grid, faults: list[Fault]
) -> None:
    south = grid.north - grid.shape[0] * grid.cell_m
    east = grid.west + grid.shape[1] * grid.cell_m
    ground = shapely.box(grid.west, south, east, grid.north)
    for at in np.flatnonzero(~shapely.intersects(shapes, ground)):
        what = _("The barrier lies outside the ground around the plots.")
        mend = _("It changes nothing; look whether it was meant for here.")
        faults.append(_warning(table, int(at), what, mend))


def _warning(table: gpd.GeoDataFrame, at: int, what: str, mend: str) -> Fault:
    return Fault("warning", "barriers", at + 1, str(table.index[at]), what, mend)
