"""Plans that print at true scale: metres to millimetres of paper, bar scale, north arrow."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from patchnet.core.language_forms import number
from patchnet.pages.kit.templates import Markup, drawn_by

__all__ = ["A3", "A4", "PAPERS", "SCALES", "Paper", "SheetSize", "fitting_paper"]

SCALES = (20, 25, 50, 100, 125, 200, 250, 500, 1000, 1250, 2500, 5000, 10000)
"""Scales that plans are drawn at in the trade (1 to ...)."""
_path = drawn_by("kit/plan.svg", "path")
_bar_and_north = drawn_by("kit/plan.svg", "bar_and_north")
_whole = drawn_by("kit/plan.svg", "whole")
_OVERLAP_MM = 27.0  # of a plan, so that both sheets show the place where they meet
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
        return _window(self)

    def path(self, shape: shapely.Geometry, *, css: str, label: str = "") -> Markup:
        """A shape as an SVG path in millimetres, cut to the paper; empty if it lies outside."""
        d = self.outline(shape)
        return _path(css, d, label) if d else Markup()

    def outline(self, shape: shapely.Geometry) -> str:
        """A shape's lines as the data of an SVG path, in millimetres, cut to the paper."""
        return "".join(self._rings(shapely.intersection(shape, self.window())))

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

    def bar_and_north(self, *, longest_mm: float = 50, told: bool = True) -> Markup:
        """A bar scale in the lower left corner and a north arrow in the upper right one.

        Parameters
        ----------
        longest_mm
            Of the bar, mm.
        told
            Whether the scale is told as a number, too.
        """
        bar = self.bar_m(longest_mm)
        return _bar_and_north(
            self, f"{number(bar, 'g')} m", bar * 1000 / self.scale, self.high_mm - 3, told
        )

    def svg(self, inside: Markup, *, title: str, css: str = "plan") -> Markup:
        """A whole ``<svg>`` element whose size is in millimetres, so that it prints to scale."""
        return _whole(self, inside, title, css)


@lru_cache(maxsize=8)  # every shape on a paper asks for it
def _window(paper: Paper) -> shapely.Polygon:
    half = np.array([paper.wide_mm, paper.high_mm]) * paper.scale / 2000
    box = shapely.box(-half[0], -half[1], half[0], half[1])
    turned = shapely.affinity.rotate(box, paper.turn_deg, origin=(0, 0))
    return shapely.affinity.translate(turned, *paper.centre)


def fitting_paper(
    shape: shapely.Geometry,
    *,
    wide_mm: float,
    high_mm: float,
    margin_mm: float = 6,
    turn_deg: float = 0.0,
    step: int = 0,
) -> Paper:
    """The largest of `SCALES` at which a shape fits on a piece of paper, shape in the middle.

    Parameters
    ----------
    shape
        What is drawn, metres.
    wide_mm, high_mm
        Of the paper, mm.
    margin_mm
        Left free on each side, mm.
    turn_deg
        How far the drawing is turned clockwise, degrees.
    step
        Where no scale of the trade is needed: any scale that is a multiple of this.
    """
    origin = shape.centroid
    turned = shapely.affinity.rotate(shape, -turn_deg, origin=origin)
    west, south, east, north = shapely.bounds(turned)
    need = 1000 * max(
        (east - west) / (wide_mm - 2 * margin_mm), (north - south) / (high_mm - 2 * margin_mm)
    )
    if step:
        scale = max(math.ceil(need / step), 1) * step
    else:
        scale = next((one for one in SCALES if one >= need), math.ceil(need / 5000) * 5000)
    middle = shapely.Point((west + east) / 2, (south + north) / 2)
    centre = shapely.affinity.rotate(middle, turn_deg, origin=origin)
    return Paper((centre.x, centre.y), scale, wide_mm, high_mm, turn_deg)


@dataclass(frozen=True, slots=True)
class SheetSize:
    """A size of paper on its side: its name in ISO 216, and the millimetres that a plan takes.

    Beside the plan are the margins; under it its key and its title block.
    """

    name: str
    wide_mm: float
    high_mm: float

    @property
    def used_mm(self) -> float:
        """Millimetres of street on a sheet: the rest is overlap."""
        return self.wide_mm - _OVERLAP_MM


A4 = SheetSize("A4", 277.0, 144.0)
A3 = SheetSize("A3", 400.0, 228.0)
PAPERS = {"a4": A4, "a3": A3}
"""By the word of the command line."""
