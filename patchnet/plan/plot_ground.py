"""The ground of one plot on which new things can lie: what is in their way, and its sun."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
import shapely.affinity
import shapely.ops
from numpy.typing import NDArray

from patchnet.knowledge.records import Knowledge
from patchnet.plan.placed import NOWHERE
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.sun.course import Course, Place, month_of_midsummer, place_of
from patchnet.sun.light import in_sun
from patchnet.sun.screens import Screens, areas_of
from patchnet.sun.surface_heights import SurfaceHeights

__all__ = ["PlotGround", "plot_ground"]

Array = NDArray[np.float64]
_FAR_M = 40.0  # things farther from the plot than this have no say in where anything lies
_INSIDE = float(np.cos(np.pi / 32))  # a buffer of shapely's has corners: it lies inside the circle


@dataclass(frozen=True, eq=False)
class PlotGround:
    """What is known of one plot for putting things on it; metres in the CRS of the plots.

    Attributes
    ----------
    plot, kind
        Its id and the key of its kind.
    outline
        The plot.
    free
        Where a thing can lie: the plot without buildings, drawn features that stay, things of the
        street and the way to the door.
    covers
        Drawn covers that can be taken up, by feature: ground of those that stay is not free.
    buildings, house
        Buildings near; the house of the plot, else the nearest building, or None.
    street_side
        What of the boundary looks on a road or footway; empty where nothing does.
    way, way_known
        The way to the door, and whether a door is on the map.
    trees, bushes
        Drawn trees; drawn bushes and hedges, with their features; those of neighbours too.
    edges
        Drawn barriers near, with their kinds.
    turn_deg
        How far the plot's longer side is turned from east, degrees, against the clock.
    cells
        Shape (s, 2): middles of the cells of a grid along that side, on the plot.
    cell_m
        Side of a cell.
    course
        The sun in the month before midsummer, at midsummer and at midwinter, m moments.
    lit
        Shape (s, m), 0 or 1; None: not known.
    rise
        Shape (s,): height of the ground, metres; None: not known.
    place, screens
        Where on Earth it is; what hides the sun.
    not_drawn
        Features that are on the plot, and nobody drew where.
    """

    plot: str
    kind: str
    outline: shapely.Geometry
    free: shapely.Geometry
    covers: Mapping[str, shapely.Geometry]
    buildings: tuple[shapely.Geometry, ...]
    house: shapely.Geometry | None
    street_side: shapely.Geometry
    way: shapely.Geometry
    way_known: bool
    trees: tuple[shapely.Geometry, ...]
    bushes: tuple[tuple[str, shapely.Geometry], ...]
    edges: tuple[tuple[str, shapely.Geometry], ...]
    turn_deg: float
    cells: Array
    cell_m: float
    course: Course
    lit: Array | None
    rise: Array | None
    place: Place
    screens: Screens
    not_drawn: tuple[str, ...]

    @property
    def months(self) -> tuple[int, int, int]:
        """The month before midsummer, midsummer, midwinter."""
        summer = month_of_midsummer(self.place)
        return summer - 1, summer, (summer + 5) % 12 + 1

    def hours(self, month: int) -> Array | None:
        """Shape (s,): hours of sun of each cell in one of the months; None: not known."""
        if self.lit is None:
            return None
        return np.asarray(self.lit @ (self.course.hours * (self.course.month == month)))

    def without(self, gone: Collection[str]) -> shapely.Geometry:
        """Return the free ground where the drawn covers `gone` are taken up, and no others."""
        stay = [shape for key, shape in self.covers.items() if key not in gone]
        return areas_of(shapely.difference(self.free, shapely.union_all(stay)))


def plot_ground(
    neighbourhood: Neighbourhood,
    plot: str,
    knowledge: Knowledge,
    *,
    has: Mapping[str, float],
    surface: SurfaceHeights | None = None,
) -> PlotGround:
    """Gather what is known of a plot for putting things on it.

    Parameters
    ----------
    neighbourhood
        With what is drawn: buildings, barriers, features, doors and covers.
    plot
        Id of the plot.
    knowledge
        The tables.
    has
        What is known to be on the plot: feature to amount, in its unit.
    surface
        Measured heights, or None.
    """
    setting = knowledge.setting
    kind = str(neighbourhood.plots.at[plot, "kind"])
    outline = neighbourhood.plots.geometry.loc[plot]
    around = shapely.buffer(outline, _FAR_M)
    raised = knowledge.plot_is(kind, "raised")
    buildings = () if raised else _near(neighbourhood.buildings, around)
    house = _house(buildings, outline, setting("wall_near_m"))
    street_side = _street_side(neighbourhood, outline, kind, knowledge)
    way, way_known = _way(neighbourhood, outline, house, street_side, kind, knowledge)
    drawn = _drawn(neighbourhood.features, around)
    mine = [(key, shape) for of, key, shape in drawn if of == plot]
    soft = {one.key for one in knowledge.gives_way}
    stays = [_stands(key, shape, knowledge) for key, shape in mine if key not in soft]
    objects = [
        shapely.buffer(shape, setting("place_clear_m") / _INSIDE)
        for shape in _near(neighbourhood.street_objects, outline)
    ]
    taken = shapely.union_all([*buildings, *stays, *objects, way])
    free = areas_of(shapely.difference(outline, taken))
    turn = _turn(outline)
    cells, cell_m = _cells(outline, turn, setting("place_grid_m"), setting("place_spots"))
    place = place_of(neighbourhood.plots)
    summer = month_of_midsummer(place)
    course = Course.of(place, [summer - 1, summer, (summer + 5) % 12 + 1], knowledge)
    screens = Screens.of(neighbourhood, knowledge, surface=surface)
    ground = screens.ground(np.array([outline], dtype=object))
    known, __ = screens.known(ground)
    rise = None
    if surface is not None and not surface.guessed:
        heights = surface.bare_earth(cells)
        rise = heights if np.isfinite(heights).all() else None
    woody = [(key, shape) for __, key, shape in drawn if knowledge.features[key].sort == "woody"]
    trees = [shape for key, shape in woody if knowledge.features[key].measure == "count"]
    drawn_here = {key for key, __ in mine}
    return PlotGround(
        plot=plot,
        kind=kind,
        outline=outline,
        free=free,
        covers={
            key: shapely.union_all([shape for of, shape in mine if of == key])
            for key in sorted(soft & drawn_here)
        },
        buildings=buildings,
        house=house,
        street_side=street_side,
        way=way,
        way_known=way_known,
        trees=tuple(trees),
        bushes=tuple(
            (key, shape) for key, shape in woody if knowledge.features[key].measure != "count"
        ),
        edges=_edges(neighbourhood, outline, setting("wall_near_m")),
        turn_deg=turn,
        cells=cells,
        cell_m=cell_m,
        course=course,
        lit=in_sun(screens, cells, course) if known[0] else None,
        rise=rise,
        place=place,
        screens=screens,
        not_drawn=tuple(
            key
            for key, amount in has.items()
            if amount > 0 and key not in drawn_here and knowledge.features[key].ground.value > 0
        ),
    )


def _near(table: gpd.GeoDataFrame | None, around: shapely.Geometry) -> tuple[shapely.Geometry, ...]:
    """Shapes of a table that touch an area, in an order of their own."""
    if table is None or not len(table):
        return ()
    found = table.geometry.to_numpy()[table.sindex.query(around, predicate="intersects")]
    return tuple(sorted(found, key=lambda one: shapely.to_wkb(shapely.normalize(one))))


def _house(
    buildings: tuple[shapely.Geometry, ...], outline: shapely.Geometry, near_m: float
) -> shapely.Geometry | None:
    """The building with the longest wall on the plot; else the nearest."""
    if not buildings:
        return None
    by_plot = shapely.buffer(outline, near_m)
    walls = [
        float(shapely.length(shapely.intersection(shapely.boundary(one), by_plot)))
        for one in buildings
    ]
    if max(walls) > 0:
        return buildings[int(np.argmax(walls))]
    return buildings[int(np.argmin(shapely.distance(np.array(buildings), outline)))]


def _street_side(
    neighbourhood: Neighbourhood, outline: shapely.Geometry, kind: str, knowledge: Knowledge
) -> shapely.Geometry:
    """What of the boundary looks on the nearest road or footway; empty if it is no home's front."""
    if not knowledge.plot_is(kind, "home") or knowledge.plot_is(kind, "back"):
        return NOWHERE
    reach = knowledge.setting("place_street_m")
    ways = []
    for table in (neighbourhood.roads, neighbourhood.footways):
        for shape, wide in zip(table.geometry, table["width_m"], strict=True):
            half = 0.0 if np.isnan(wide) else float(wide) / 2
            away = float(shapely.distance(shape, outline)) - half
            if away <= reach:
                ways.append((max(away, 0.0), shapely.to_wkb(shape), shape))
    if not ways:
        return NOWHERE
    __, __, shape = min(ways, key=lambda one: one[:2])
    return _side_towards(outline, shape, knowledge.setting("place_way_m"))


def _side_towards(
    outline: shapely.Geometry, shape: shapely.Geometry, wide: float
) -> shapely.Geometry:
    """The side of a plot that lies towards a road, without half the width of a way at its ends."""
    outer = max(shapely.get_parts(outline), key=lambda one: float(one.area))
    corners = shapely.get_coordinates(shapely.normalize(outer).exterior)
    sides = shapely.linestrings(np.stack([corners[:-1], corners[1:]], axis=1))
    away = shapely.distance(shapely.line_interpolate_point(sides, 0.5, normalized=True), shape)
    front = shapely.line_merge(shapely.union_all(sides[away <= away.min() + wide / 2]))
    longest = max(shapely.get_parts(front), key=lambda one: float(one.length))
    if longest.length <= wide:
        return longest
    return shapely.ops.substring(longest, wide / 2, longest.length - wide / 2)


def _way(
    neighbourhood: Neighbourhood,
    outline: shapely.Geometry,
    house: shapely.Geometry | None,
    street_side: shapely.Geometry,
    kind: str,
    knowledge: Knowledge,
) -> tuple[shapely.Geometry, bool]:
    """The way to the door, and whether a door is on the map; else what is assumed of it."""
    wide = knowledge.setting("place_way_m")
    objects = neighbourhood.street_objects
    doors: tuple[shapely.Geometry, ...] = ()
    if objects is not None and len(objects):
        near = shapely.buffer(outline, wide)
        doors = _near(objects[objects["kind"] == "door"], near)
    touches = house is not None and shapely.distance(house, outline) <= knowledge.setting(
        "wall_near_m"
    )
    from_ = [shapely.Point(shapely.get_coordinates(one)[0]) for one in doors]
    if not from_ and not (touches and knowledge.plot_is(kind, "home")):
        return NOWHERE, False
    if not from_ and street_side.is_empty:
        return shapely.intersection(outline, shapely.buffer(house, wide)), False
    starts: list[shapely.Geometry] = list(from_) or [house]
    ways = [
        shapely.buffer(one, knowledge.setting("place_landing_m"))
        if street_side.is_empty
        else shapely.buffer(shapely.shortest_line(one, street_side), wide / 2, cap_style="square")
        for one in starts
    ]
    return shapely.intersection(outline, shapely.union_all(ways)), bool(from_)


def _drawn(
    features: gpd.GeoDataFrame, around: shapely.Geometry
) -> list[tuple[str, str, shapely.Geometry]]:
    """Drawn features near: plot, feature, shape; in an order of their own."""
    near = features.iloc[features.sindex.query(around, predicate="intersects")]
    rows = zip(near["plot"].astype(str), near["feature"].astype(str), near.geometry, strict=True)
    return sorted(rows, key=lambda one: (one[0], one[1], shapely.to_wkb(one[2])))


def _stands(key: str, shape: shapely.Geometry, knowledge: Knowledge) -> shapely.Geometry:
    """The ground that a drawn feature stands on: points and lines have as much as the table says.

    A feature that takes no ground of its own (a box on a wall) has none.
    """
    if shapely.get_dimensions(shape) == 2:
        return shape
    each = knowledge.features[key].ground.value
    if knowledge.features[key].measure == "count" and each:
        each = max(each, knowledge.setting("place_spot_m2"))
    if not each:
        return NOWHERE
    across = each / 2 if shapely.get_dimensions(shape) == 1 else float(np.sqrt(each / np.pi))
    return shapely.buffer(shape, across)


def _edges(
    neighbourhood: Neighbourhood, outline: shapely.Geometry, near_m: float
) -> tuple[tuple[str, shapely.Geometry], ...]:
    lines = neighbourhood.barriers
    near = lines.iloc[lines.sindex.query(shapely.buffer(outline, near_m))]
    rows = zip(near["kind"].astype(str), near.geometry, strict=True)
    return tuple(sorted(rows, key=lambda one: (one[0], shapely.to_wkb(one[1]))))


def _turn(outline: shapely.Geometry) -> float:
    """Direction of the longer side of the narrowest rectangle round a plot, 0-90 degrees."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(outline))
    sides = np.diff(corners[:3], axis=0)
    side = sides[int(np.argmax(np.round(np.hypot(*sides.T), 6)))]
    return float(np.degrees(np.arctan2(side[1], side[0])) % 90)


def _cells(outline: shapely.Geometry, turn: float, step: float, most: float) -> tuple[Array, float]:
    """Middles of grid cells that lie on the plot, and their side."""
    step = max(step, float(np.sqrt(outline.area / most)))
    middle = outline.centroid
    flat = shapely.affinity.rotate(outline, -turn, origin=middle)
    west, south, east, north = flat.bounds
    x, y = np.meshgrid(
        np.arange(west + step / 2, east, step), np.arange(south + step / 2, north, step)
    )
    inside = shapely.contains_xy(flat, x.ravel(), y.ravel())
    spots = np.column_stack([x.ravel(), y.ravel()])[inside]
    if not len(spots):
        spots = shapely.get_coordinates(shapely.point_on_surface(flat))
    turned = shapely.affinity.rotate(shapely.MultiPoint(spots), turn, origin=middle)
    return shapely.get_coordinates(turned), step
