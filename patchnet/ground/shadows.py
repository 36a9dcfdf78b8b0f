"""Shadows of buildings on level ground, as polygons."""

from dataclasses import dataclass
from typing import Self

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.polygon import orient

__all__ = ["Walls"]

# Narrower strips than this (metres) come from walls that run along the light.
_THINNEST_M = 1e-9


@dataclass(frozen=True, eq=False)
class Walls:
    """Walls of upright buildings with level tops, seen from above.

    Attributes
    ----------
    start, end
        Shape (k, 2): ends of each wall in metres, the building on its left hand.
    height
        Shape (k,): metres.
    """

    start: NDArray[np.float64]
    end: NDArray[np.float64]
    height: NDArray[np.float64]

    @classmethod
    def of(cls, footprints: NDArray[np.object_], heights: NDArray[np.float64]) -> Self:
        """Return the walls of footprints (Polygon or MultiPolygon) with their heights in metres."""
        starts, ends, tall = [np.empty((0, 2))], [np.empty((0, 2))], [np.empty(0)]
        for footprint, height in zip(footprints, heights, strict=True):
            for part in shapely.get_parts(footprint):
                upright = orient(part)
                for ring in (upright.exterior, *upright.interiors):
                    corners = shapely.get_coordinates(ring)
                    starts.append(corners[:-1])
                    ends.append(corners[1:])
                    tall.append(np.full(len(corners) - 1, height))
        return cls(np.concatenate(starts), np.concatenate(ends), np.concatenate(tall))

    def shadows(self, bearing: float, altitude: float) -> NDArray[np.object_]:
        """Return the ground that walls keep from the sun, as one parallelogram a wall.

        A building's shadow is its footprint swept along the shadow vector. What of it lies
        outside the footprint is exactly the union of the parallelograms swept by the walls
        that face away from the sun, whatever the shape of the footprint: a point in shade,
        moved towards the sun, enters the footprint through such a wall.

        Parameters
        ----------
        bearing
            Of the sun, degrees clockwise from the y axis.
        altitude
            Of the sun, degrees, above 0.

        Returns
        -------
        ndarray of Polygon
            Shadow length is height / tan(altitude).
        """
        turn = np.radians(bearing)
        away = -np.array([np.sin(turn), np.cos(turn)])
        along = self.end - self.start
        # With the building on the left, (dy, -dx) points out of it.
        facing = along[:, 1] * away[0] - along[:, 0] * away[1]
        far = facing > _THINNEST_M
        reach = (self.height[far] / np.tan(np.radians(altitude)))[:, None] * away
        start, end = self.start[far], self.end[far]
        corners = np.stack([start, end, end + reach, start + reach], axis=1)
        return np.asarray(shapely.polygons(corners), dtype=object)
