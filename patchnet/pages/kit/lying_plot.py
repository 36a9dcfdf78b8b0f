"""A plot turned so that its longer side lies level: for laying things out on it."""

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["LyingPlot", "lying_plots"]

Array = NDArray[np.float64]
_STEPS = 65  # places along a plot at which its area so far is worked out
_FINER = 8  # parts of a step in which something is cut


class LyingPlot:
    """One plot turned so that its longer side lies level and its house is on the left."""

    def __init__(self, outline: shapely.Geometry, envelope: Array) -> None:
        sides = np.diff(envelope[:3], axis=0)
        east, north = sides[int(np.argmax(np.round(np.hypot(*sides.T), 6)))]
        size = float(np.hypot(east, north)) or 1.0
        self.cos, self.sin = east / size, north / size
        edges = [
            shapely.get_coordinates(ring)
            for part in shapely.get_parts(shapely.normalize(outline))
            for ring in (part.exterior, *part.interiors)
        ]
        ends = [(self.flat(ring[:-1]), self.flat(ring[1:])) for ring in edges]
        self._set(np.concatenate([a for a, __ in ends]), np.concatenate([b for __, b in ends]))

    def _set(self, start: Array, end: Array) -> None:
        self.start, self.end = start, end
        self.west, self.east = float(start[:, 0].min()), float(start[:, 0].max())

    def flat(self, points: Array) -> Array:
        """Turn points of the ground, shape (n, 2), to where they lie."""
        east, north = points.T
        return np.column_stack(
            [east * self.cos + north * self.sin, north * self.cos - east * self.sin]
        )

    def ground(self, points: Array) -> Array:
        """Turn lying points (n, 2) back to the ground."""
        along, across = points.T
        return np.column_stack(
            [along * self.cos - across * self.sin, along * self.sin + across * self.cos]
        )

    def turn_round(self) -> None:
        """Let the other end be the left one."""
        self.cos, self.sin = -self.cos, -self.sin
        self._set(-self.start, -self.end)

    def area_to(self, along: Array) -> Array:
        """Shape (k,): area of the plot left of each place along it, m2; no curve, hence exact."""
        (x0, y0), (x1, y1) = self.start.T[:, :, None], self.end.T[:, :, None]
        low, high = np.minimum(x0, x1), np.maximum(x0, x1)
        upto = np.clip(along[None, :], low, high)
        wide = np.where(x1 == x0, 1.0, x1 - x0)
        under = np.where(x0 <= x1, y0, y1)
        there = y0 + (upto - x0) * (y1 - y0) / wide
        sums = np.sum(np.sign(x1 - x0) * (upto - low) * (under + there) / 2, axis=0)
        return np.asarray(sums if sums[-1] >= 0 else -sums, dtype=np.float64)

    def cuts(self, areas: Array) -> Array:
        """Shape (k,): places along the plot up to which it has these areas, m2, ascending."""
        along = np.linspace(self.west, self.east, _STEPS)
        # In the spikes of a star a whole step is too long: those that are cut are halved thrice.
        step = np.searchsorted(self.area_to(along), areas).clip(1, _STEPS - 1)
        part = np.linspace(0.0, 1.0, _FINER, endpoint=False)
        finer = along[step - 1, None] + part * (along[step] - along[step - 1])[:, None]
        along = np.unique(np.concatenate([along, finer.ravel()]))
        return np.interp(areas, self.area_to(along), along)

    def across(self, along: float) -> tuple[float, float]:
        """From where to where the plot reaches across, at its widest piece there."""
        (x0, y0), (x1, y1) = self.start.T, self.end.T
        meets = (np.minimum(x0, x1) <= along) & (along < np.maximum(x0, x1))
        part = (along - x0[meets]) / (x1[meets] - x0[meets])
        found = np.sort(y0[meets] + part * (y1[meets] - y0[meets]))
        if len(found) < 2:
            return 0.0, 0.0
        pairs = found[: len(found) // 2 * 2].reshape(-1, 2)
        low, high = pairs[int(np.argmax(pairs[:, 1] - pairs[:, 0]))]
        return float(low), float(high)

    def place(self, part: tuple[float, float], margin: float) -> tuple[float, float]:
        """A point part of the way along and across, on the ground; `margin` m from its sides."""
        room = (self.east - self.west) / 2
        inset = min(margin, room)
        along = self.west + inset + part[0] * (self.east - self.west - 2 * inset)
        low, high = self.across(along)
        inset = min(margin, (high - low) / 2)
        across = low + inset + part[1] * (high - low - 2 * inset)
        point = self.ground(np.array([[along, across]]))[0]
        return float(point[0]), float(point[1])


def lying_plots(
    neighbourhood: Neighbourhood, shapes: NDArray[np.object_]
) -> list[LyingPlot | None]:
    """Turn each plot so that it lies level, its house (else the nearest road) on the left.

    Parameters
    ----------
    neighbourhood
        With buildings and roads.
    shapes
        Shape (n,): what is left of each plot; None is returned where nothing is.
    """
    envelopes = shapely.oriented_envelope(shapes)
    made = [
        LyingPlot(shape, shapely.get_coordinates(envelope))
        if shapely.area(shape) > 0 and envelope.geom_type == "Polygon"
        else None
        for shape, envelope in zip(shapes, envelopes, strict=True)
    ]
    there = [one for one in made if one is not None]
    for table in (neighbourhood.buildings, neighbourhood.roads):
        near = [shape for shape in table.geometry if shape is not None and not shape.is_empty]
        if not near or not there:
            continue
        tree = shapely.STRtree(near)
        ends = [one.place(part, 0.0) for one in there for part in ((0.02, 0.5), (0.98, 0.5))]
        points = shapely.points(np.array(ends))
        away = shapely.distance(points, tree.geometries[tree.nearest(points)]).reshape(-1, 2)
        for one, (left, right) in zip(there, np.round(away, 1), strict=True):
            if right < left:
                one.turn_round()
        break
    return made
