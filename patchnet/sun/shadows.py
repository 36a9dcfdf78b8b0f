"""How steeply walls rise around a spot: what of the sky they hide from the sun."""

from dataclasses import dataclass
from typing import Self

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.polygon import orient

from patchnet.sun.course import Course

__all__ = ["Walls"]

# Twice the area (m2) between a spot and a wall: nearer to 0 the spot lies in the wall's line.
_IN_LINE_M2 = 1e-9
# Pairs of spot and wall that are worked out at once.
_PAIRS = 400_000
_TURN = 2 * np.pi


@dataclass(frozen=True, eq=False)
class Walls:
    """Upright walls with level tops, seen from above; each hides what is behind it from one side.

    Attributes
    ----------
    start, end
        Shape (k, 2): ends of each wall in metres. It stands in the way of a spot on its right
        hand: the building is on its left.
    height
        Shape (k,): metres.
    """

    start: NDArray[np.float64]
    end: NDArray[np.float64]
    height: NDArray[np.float64]

    @classmethod
    def of(cls, footprints: NDArray[np.object_], heights: NDArray[np.float64]) -> Self:
        """Return the walls of footprints (Polygon or MultiPolygon) with their heights in metres."""
        rings, tall = [], []
        for footprint, height in zip(footprints, heights, strict=True):
            for part in shapely.get_parts(footprint):
                upright = orient(part)
                rings += [upright.exterior, *upright.interiors]
                tall += [height] * (1 + len(upright.interiors))
        return cls._along(rings, tall)

    @classmethod
    def along(cls, lines: NDArray[np.object_], heights: NDArray[np.float64]) -> Self:
        """Return thin walls along lines; each stands in the way from both its sides."""
        parts, at = shapely.get_parts(lines, return_index=True)
        tall = np.asarray(heights, dtype=float)[at]
        both = [*parts, *shapely.reverse(parts)]
        return cls._along(both, [*tall, *tall])

    @classmethod
    def _along(cls, lines: list[shapely.Geometry], heights: list[float]) -> Self:
        starts, ends, tall = [np.empty((0, 2))], [np.empty((0, 2))], [np.empty(0)]
        for line, height in zip(lines, heights, strict=True):
            corners = shapely.get_coordinates(line)
            starts.append(corners[:-1])
            ends.append(corners[1:])
            tall.append(np.full(len(corners) - 1, height))
        return cls(np.concatenate(starts), np.concatenate(ends), np.concatenate(tall))

    def __len__(self) -> int:
        """Return the number of walls."""
        return len(self.height)

    def __add__(self, other: Self) -> Self:
        """Return both sets of walls as one."""
        return type(self)(
            np.concatenate([self.start, other.start]),
            np.concatenate([self.end, other.end]),
            np.concatenate([self.height, other.height]),
        )

    def take(self, chosen: NDArray[np.int64] | NDArray[np.bool_]) -> Self:
        """Return some of the walls, by position or mask."""
        return type(self)(self.start[chosen], self.end[chosen], self.height[chosen])

    def without_party_walls(self) -> Self:
        """Return the walls without those that a building as high or higher stands against.

        No light comes through there: the ends of the two walls agree to a centimetre.
        """
        if not len(self):
            return self
        ends = np.round(np.concatenate([self.start, self.end], axis=1) * 100).astype(np.int64)
        both = np.concatenate([ends, ends[:, [2, 3, 0, 1]]])
        _, name = np.unique(both, axis=0, return_inverse=True)
        own, turned = np.split(name.reshape(-1), 2)
        against = np.zeros(len(both))
        np.maximum.at(against, turned, self.height)
        return self.take(against[own] < self.height)

    def lines(self) -> NDArray[np.object_]:
        """Return the walls as lines."""
        return np.asarray(shapely.linestrings(np.stack([self.start, self.end], 1)), dtype=object)

    def raised(self, metres: float) -> Self:
        """Return the walls as seen from so many metres above the ground; the lower ones go."""
        seen = self.height > metres
        return type(self)(self.start[seen], self.end[seen], self.height[seen] - metres)

    def towards(self, spots: NDArray[np.float64], days: Course) -> Self:
        """Return the walls that may hide the sun from any of some spots that lie together.

        Looked at from the circle round all spots at once: left out is a wall that turns its back
        on it, or that even at its nearest rises no higher than the sun ever stands behind it.
        """
        low, high = spots.min(axis=0), spots.max(axis=0)
        middle = (low + high) / 2
        radius = float(np.hypot(*(high - low))) / 2
        sx, sy = (self.start - middle).T
        ex, ey = (self.end - middle).T
        wx, wy = ex - sx, ey - sy
        length = np.hypot(wx, wy)
        with np.errstate(divide="ignore", invalid="ignore"):
            beside = (sy * wx - sx * wy) / length
            along = np.clip(-(sx * wx + sy * wy) / length**2, 0, 1)
        away = np.hypot(sx + along * wx, sy + along * wy) - radius
        keep = (beside > -radius) & (self.height > days.lowest.min() * away)
        # Where the wall's line passes the circle by, it is seen within these directions.
        clear = np.flatnonzero(keep & (beside > radius) & (away > 0))
        ends = np.stack([sx, sy, ex, ey])[:, clear]
        from_, to = np.arctan2(ends[0], ends[1]), np.arctan2(ends[2], ends[3])
        span = (to - from_) % _TURN
        left = np.arcsin(np.minimum(1, radius / np.hypot(ends[0], ends[1])))
        right = np.arcsin(np.minimum(1, radius / np.hypot(ends[2], ends[3])))
        first, count = days.between(from_ - left, span + left + right)
        keep[clear] = self.height[clear] > days.lowest_over[first, count] * away[clear]
        return self.take(keep)

    def horizon(self, spots: NDArray[np.float64], days: Course) -> NDArray[np.float32]:
        """Return how steeply walls rise above the ground around each spot.

        Seen from a spot in the direction of a unit vector u, the wall from s to e (relative to
        the spot) stands cross(s, e) / cross(u, e - s) away, so that its slope, height over
        distance, is linear in u: no angle has to be worked out but those of its ends.

        Parameters
        ----------
        spots
            Shape (n, 2): metres, outside the buildings.
        days
            For the directions that are looked in, and the sun's lowest slope in each.

        Returns
        -------
        array
            Shape (n, d): tangent of the horizon's altitude in each of the directions; 0 where
            nothing rises above the lowest sun there.
        """
        found = np.zeros((len(spots), len(days.directions)), np.float32)
        if not (len(self) and len(days.directions)):
            return found
        block = max(1, _PAIRS // len(self))
        for first in range(0, len(spots), block):
            rows = slice(first, first + block)
            self._rise(spots[rows], days, found[rows])
        return found

    def _rise(self, spots: NDArray[np.float64], days: Course, found: NDArray[np.float32]) -> None:
        """Raise the horizons `found` of some spots to where the walls reach."""
        sx = self.start[:, 0] - spots[:, :1]
        sy = self.start[:, 1] - spots[:, 1:]
        wx, wy = (self.end - self.start).T
        # Above 0 where the spot is on the wall's right hand.
        facing = sy * wx - sx * wy
        # The wall's nearest point: its foot if that lies on it, else an end.
        along = np.clip(-(sx * wx + sy * wy) / (wx**2 + wy**2), 0, 1)
        square = (sx + along * wx) ** 2 + (sy + along * wy) ** 2
        reach = self.height / days.lowest.min()
        spot, wall = np.nonzero((facing > _IN_LINE_M2) & (square < reach**2))
        x, y, across = sx[spot, wall], sy[spot, wall], facing[spot, wall]
        steepest = self.height[wall] / np.sqrt(np.maximum(square[spot, wall], _IN_LINE_M2))
        # Directions from the wall's start clockwise to its end; less than half a turn.
        around = days.directions
        low = np.arctan2(x, y)
        span = (np.arctan2(x + wx[wall], y + wy[wall]) - low) % _TURN
        first, count = days.between(low, span)
        hides = steepest > days.lowest_over[first, count]
        spot, wall, across, first, count = (
            one[hides] for one in (spot, wall, across, first, count)
        )
        scale = self.height[wall] / across
        rise_north, rise_east = scale * wx[wall], scale * wy[wall]
        # One row for each direction that a wall stands in.
        pair = np.repeat(np.arange(len(count)), count)
        step = np.arange(len(pair)) - np.repeat(np.cumsum(count) - count, count)
        direction = (first[pair] + step) % len(around)
        east, north = np.sin(around)[direction], np.cos(around)[direction]
        rise = rise_north[pair] * north - rise_east[pair] * east
        above = np.flatnonzero(rise > days.lowest[direction])
        place = spot[pair[above]] * len(around) + direction[above]
        np.maximum.at(found.reshape(-1), place, rise[above].astype(np.float32))
