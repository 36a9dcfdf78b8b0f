"""What hides the sun: buildings and fences of known height, and a measured surface."""

import dataclasses
from dataclasses import dataclass
from functools import cached_property
from typing import Self

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.sun.course import Course
from patchnet.sun.shadows import Walls
from patchnet.sun.surface_heights import SurfaceHeights

__all__ = ["Screens", "areas_of"]

# Less ground than this (m2) outside buildings is drawing tolerance, not ground.
_NO_GROUND_M2 = 1e-6
# Spots that the surface is looked at from at once; and share of a plot's spots it must cover.
_AT_ONCE = 512


@dataclass(frozen=True, eq=False)
class Screens:
    """What stands around the plots.

    Attributes
    ----------
    footprints
        Shape (b,): outlines of all buildings.
    heights
        Shape (b,): metres; NaN not known.
    measured
        Shape (b,): whether the surface shows the building, so that its walls are not needed.
    fences
        Fences, walls and hedges of known height.
    surface
        Measured heights; None if there are none.
    least_slope
        Tangent of the sun's least altitude.
    """

    footprints: NDArray[np.object_]
    heights: NDArray[np.float64]
    measured: NDArray[np.bool_]
    fences: Walls
    surface: SurfaceHeights | None
    least_slope: float

    @classmethod
    def of(
        cls,
        neighbourhood: Neighbourhood,
        knowledge: Knowledge,
        *,
        surface: SurfaceHeights | None = None,
    ) -> Self:
        """Gather what stands around the plots of a neighbourhood."""
        buildings = neighbourhood.buildings
        footprints = np.asarray(buildings.geometry.array, dtype=object)
        heights = np.full(len(buildings), np.nan)
        if "height_m" in buildings.columns:
            heights = np.asarray(buildings["height_m"], dtype=float)
        measured = np.zeros(len(buildings), np.bool_)
        if surface is not None and len(buildings):
            inner = shapely.get_coordinates(shapely.point_on_surface(footprints))
            measured = surface.covers(inner)
        return cls(
            footprints,
            heights,
            measured,
            _fences(neighbourhood.barriers, knowledge),
            surface,
            float(np.tan(np.radians(knowledge.setting("sun_altitude_min_deg")))),
        )

    @cached_property
    def walls(self) -> Walls:
        """Walls of the buildings of known height that no surface shows, and the fences."""
        tall = ~np.isnan(self.heights) & ~self.measured
        buildings = Walls.of(self.footprints[tall], self.heights[tall])
        return buildings.without_party_walls() + self.fences

    @cached_property
    def guessed(self) -> Self:
        """The buildings of unknown height alone, as high as the middle one of the others."""
        known = ~np.isnan(self.heights)
        middle = float(np.median(self.heights[known])) if known.any() else np.nan
        return dataclasses.replace(
            self,
            heights=np.where(known, np.nan, middle),
            fences=Walls.of(self.footprints[:0], self.heights[:0]),
            surface=None,
        )

    @property
    def range_m(self) -> float:
        """Length of the longest shadow of a building; NaN where no building has a height."""
        tall = self.heights[~np.isnan(self.heights)]
        if not len(tall):
            return float("nan")
        # Where the sun counts down to the horizon shadows have no end: every building is near.
        return float(tall.max() / self.least_slope) if self.least_slope > 0 else float("inf")

    @cached_property
    def _buildings(self) -> shapely.STRtree:
        return shapely.STRtree(self.footprints)

    @cached_property
    def _lines(self) -> shapely.STRtree:
        return shapely.STRtree(self.walls.lines())

    def ground(self, plots: NDArray[np.object_]) -> NDArray[np.object_]:
        """Return each plot without the buildings on it."""
        ground = plots.copy()
        touched, by = self._buildings.query(plots, predicate="intersects")
        for plot in np.unique(touched):
            built = shapely.union_all(self.footprints[by[touched == plot]])
            ground[plot] = areas_of(shapely.difference(plots[plot], built))
        return ground

    def known(self, ground: NDArray[np.object_]) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
        """Return whether anything is known around each ground, and how many buildings are not.

        Known: a building of known height stands within the longest shadow, or the surface has
        data in the middle of the ground. Not known: buildings without height, and not shown by
        the surface, within that range.
        """
        real = shapely.area(ground) > _NO_GROUND_M2
        none = np.zeros(len(ground), dtype=np.int64)
        seen = none.astype(bool)
        if self.surface is not None:
            middles = shapely.get_coordinates(shapely.point_on_surface(ground[real]))
            seen[real] = self.surface.covers(middles)
        has = ~np.isnan(self.heights)
        lacks = ~has & ~self.measured
        reach = self.range_m
        if np.isnan(reach):
            return seen & real, none
        if np.isinf(reach):
            return real, none + np.count_nonzero(lacks)
        plot, building = self._buildings.query(ground, predicate="dwithin", distance=reach)
        count = np.bincount(plot[has[building]], minlength=len(ground))
        uncounted = np.bincount(plot[lacks[building]], minlength=len(ground))
        return ((count > 0) | seen) & real, uncounted

    def horizon(
        self,
        spots: NDArray[np.float64],
        days: Course,
        *,
        above_m: float = 0.0,
    ) -> NDArray[np.float32]:
        """Return how steeply what stands nearby rises, see `Walls.horizon`.

        Parameters
        ----------
        spots
            Shape (n, 2): metres, near one another: what stands near is looked up once.
        days
            For the directions that are looked in.
        above_m
            How far above the ground the spots are.
        """
        found = self._near(spots).raised(above_m).towards(spots, days).horizon(spots, days)
        if self.surface is None:
            return found
        for first in range(0, len(spots), _AT_ONCE):
            rows = slice(first, first + _AT_ONCE)
            rise = self.surface.horizon(spots[rows], days, above_m=above_m)
            np.maximum(found[rows], rise, out=found[rows])
        return found

    def _near(self, spots: NDArray[np.float64]) -> Walls:
        """Return the walls within the longest shadow of any, and some more."""
        if not len(self.walls) or self.least_slope <= 0:
            return self.walls
        longest = float(self.walls.height.max()) / self.least_slope
        around = shapely.box(*(spots.min(axis=0) - longest), *(spots.max(axis=0) + longest))
        return self.walls.take(np.sort(self._lines.query(around)))


def _fences(barriers: gpd.GeoDataFrame, knowledge: Knowledge) -> Walls:
    """Return the walls that barriers of known height make."""
    nothing = Walls.of(np.empty(0, object), np.empty(0))
    if "height_m" not in barriers.columns or not len(barriers):
        return nothing
    heights = np.asarray(barriers["height_m"], dtype=float)
    shapes = np.asarray(barriers.geometry.array, dtype=object)
    clear = [key for key, one in knowledge.barrier_kinds.items() if one.see_through]
    hides = (heights > 0) & ~np.isin(barriers["kind"].astype(str), clear)
    flat = hides & (shapely.get_dimensions(shapes) == 1)
    thick = hides & (shapely.get_dimensions(shapes) == 2)
    return Walls.along(shapes[flat], heights[flat]) + Walls.of(shapes[thick], heights[thick])


def areas_of(shape: shapely.Geometry) -> shapely.Geometry:
    """Return what of a shape has an area: edges that only touch leave lines and points.

    Parameters
    ----------
    shape
        Of any kind, metres.
    """
    if shape.geom_type in {"Polygon", "MultiPolygon"}:
        return shape
    parts = shapely.get_parts(shape)
    return shapely.union_all(parts[shapely.get_dimensions(parts) == 2])
