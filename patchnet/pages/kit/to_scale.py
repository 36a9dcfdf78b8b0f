"""Plans that print at true scale: metres to millimetres of paper, bar scale, north arrow."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from patchnet.pages.kit.escape import attribute

__all__ = ["SCALES", "Paper", "fitting_paper"]

SCALES = (20, 25, 50, 100, 125, 200, 250, 500, 1000, 1250, 2500, 5000, 10000)
"""Scales that plans are drawn at in the trade (1 to ...)."""
_BARS = (0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)


@dataclass(frozen=True, slots=True)
class Paper:
    """A piece of paper on which a plan lies.

    Attributes
    ----------
    centre
        Point of the ground in its middle, in the CRS of the plots.
    scale
        1 to so many.
    wide_mm, high_mm
        Its size.
    turn_deg
        By how much the plan is turned clockwise, so that a road can lie along the paper.
    """

    centre: tuple[float, float]
    scale: int
    wide_mm: float
    high_mm: float
    turn_deg: float = 0.0

    def mm(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Coordinates of the ground, shape (n, 2), to millimetres from the upper left corner."""
        turn = math.radians(self.turn_deg)
        east, north = (points - np.asarray(self.centre)).T * (1000 / self.scale)
        right = east * math.cos(turn) + north * math.sin(turn)
        up = -east * math.sin(turn) + north * math.cos(turn)
        return np.column_stack([right + self.wide_mm / 2, self.high_mm / 2 - up])

    def window(self) -> shapely.Polygon:
        """The ground that the paper shows."""
        half = np.array([self.wide_mm, self.high_mm]) * self.scale / 2000
        box = shapely.box(-half[0], -half[1], half[0], half[1])
        turned = shapely.affinity.rotate(box, self.turn_deg, origin=(0, 0))
        return shapely.affinity.translate(turned, *self.centre)

    def path(self, shape: shapely.Geometry, *, css: str, label: str = "") -> str:
        """A shape as an SVG path in millimetres, cut to the paper; empty if it lies outside."""
        seen = shapely.intersection(shape, self.window())
        d = "".join(self._rings(seen))
        if not d:
            return ""
        title = f"<title>{attribute(label)}</title>" if label else ""
        return f'<path class="{attribute(css)}" d="{d}">{title}</path>'

    def _rings(self, shape: shapely.Geometry) -> Iterable[str]:
        for part in shapely.get_parts(shape):
            if part.is_empty:
                continue
            if isinstance(part, shapely.Polygon):
                for ring in (part.exterior, *part.interiors):
                    yield self._points(np.asarray(ring.coords)[:, :2]) + "Z"
            elif isinstance(part, shapely.LineString):
                yield self._points(np.asarray(part.coords)[:, :2])

    def _points(self, points: NDArray[np.float64]) -> str:
        return "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in self.mm(points))

    def place(self, point: shapely.Point) -> tuple[float, float]:
        """A point in millimetres."""
        ((x, y),) = self.mm(np.array([[point.x, point.y]]))
        return float(x), float(y)

    def bar_m(self, longest_mm: float) -> float:
        """The longest round length whose bar is no longer than `longest_mm`."""
        fits = [bar for bar in _BARS if bar * 1000 / self.scale <= longest_mm]
        return max(fits, default=_BARS[0])

    def bar_and_north(self, *, longest_mm: float = 50) -> str:
        """A bar scale in the lower left corner and a north arrow in the upper right one."""
        bar = self.bar_m(longest_mm)
        mm = bar * 1000 / self.scale
        foot = self.high_mm - 3
        half = mm / 2
        name = f"{bar:g} m"
        return (
            f'<g class="bar-scale"><title>Bar of {name}, scale 1 to {self.scale:,}</title>'
            f'<rect class="backing" x="1" y="{foot - 6.2:.2f}" width="{mm + 12:.2f}" height="8.2"/>'
            f'<rect class="bar full" x="3" y="{foot - 1.6:.2f}" width="{half:.2f}" height="1.6"/>'
            f'<rect class="bar" x="{3 + half:.2f}" y="{foot - 1.6:.2f}" width="{half:.2f}" '
            f'height="1.6"/><text x="3" y="{foot - 2.6:.2f}">0</text>'
            f'<text x="{3 + mm:.2f}" y="{foot - 2.6:.2f}">{name}</text></g>'
            f'<g class="north" transform="translate({self.wide_mm - 7:.2f} 9) '
            f'rotate({self.turn_deg:.2f})"><title>North</title>'
            '<path d="M0 -7L2.4 3L0 1L-2.4 3Z"/><text y="6.6" text-anchor="middle">N</text></g>'
        )

    def svg(self, inside: str, *, title: str) -> str:
        """A whole ``<svg>`` element whose size is in millimetres, so that it prints to scale."""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="plan" role="img" '
            f'aria-label="{attribute(title)}" width="{self.wide_mm:g}mm" '
            f'height="{self.high_mm:g}mm" viewBox="0 0 {self.wide_mm:g} {self.high_mm:g}">'
            f"{inside}</svg>"
        )


def fitting_paper(
    shape: shapely.Geometry,
    *,
    wide_mm: float,
    high_mm: float,
    margin_mm: float = 6,
    turn_deg: float = 0.0,
) -> Paper:
    """The largest of `SCALES` at which a shape fits on a piece of paper, shape in the middle."""
    origin = shape.centroid
    turned = shapely.affinity.rotate(shape, -turn_deg, origin=origin)
    west, south, east, north = shapely.bounds(turned)
    need = 1000 * max(
        (east - west) / (wide_mm - 2 * margin_mm), (north - south) / (high_mm - 2 * margin_mm)
    )
    scale = next((one for one in SCALES if one >= need), math.ceil(need / 5000) * 5000)
    middle = shapely.Point((west + east) / 2, (south + north) / 2)
    centre = shapely.affinity.rotate(middle, turn_deg, origin=origin)
    return Paper((centre.x, centre.y), scale, wide_mm, high_mm, turn_deg)
