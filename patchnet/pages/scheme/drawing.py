"""The street as drawn on every plan of a scheme, and how it is cut into sheets."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import geopandas as gpd
import numpy as np
import shapely
import shapely.affinity
from shapely.ops import substring

from patchnet.core.language_forms import number
from patchnet.core.texts import _
from patchnet.pages.kit.plan_parts import draw_words
from patchnet.pages.kit.templates import Markup, drawn_by, together
from patchnet.pages.kit.to_scale import A4, Paper, SheetSize
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.street import Street

__all__ = [
    "Stretch",
    "across",
    "chainage_marks",
    "cut_street",
    "ground_layers",
    "label",
    "match_lines",
    "stretch_of",
]

_TICKS_MM = 18.0  # between chainage marks at least
_STEPS_M = (5, 10, 20, 50, 100, 200)
_hatching = drawn_by("scheme/street.svg", "hatching")


@dataclass(frozen=True, slots=True)
class Stretch:
    """The part of a street that one sheet shows: from and to chainage, and its paper."""

    start_m: float
    stop_m: float
    paper: Paper

    def has(self, chainage_m: float) -> bool:
        """Whether a chainage lies on the sheet."""
        return self.start_m <= chainage_m <= self.stop_m


def cut_street(street: Street, scale: int, size: SheetSize = A4) -> tuple[Stretch, ...]:
    """Cut a street into sheets of one scale, each turned so that the road lies along the paper."""
    count = max(1, math.ceil(street.length_m * 1000 / scale / size.used_mm - 1e-9))
    ends = np.linspace(0, street.length_m, count + 1).tolist()
    return tuple(
        Stretch(start, stop, _paper(street, start, stop, scale, size))
        for start, stop in pairwise(ends)
    )


def stretch_of(
    street: Street, start_m: float, stop_m: float, scale: int, size: SheetSize = A4
) -> Stretch:
    """Lay a part of a street on one sheet.

    Parameters
    ----------
    street
        For its line.
    start_m, stop_m
        Chainage, metres.
    scale, size
        Of the sheet.
    """
    return Stretch(start_m, stop_m, _paper(street, start_m, stop_m, scale, size))


def _paper(street: Street, start: float, stop: float, scale: int, size: SheetSize) -> Paper:
    part = substring(street.line, start, stop)
    first, last = (np.asarray(part.coords[at])[:2] for at in (0, -1))
    east, north = (last - first).tolist()
    turn = math.degrees(math.atan2(north, east))
    laid = shapely.affinity.rotate(part, -turn, origin=(0, 0))
    west, south, right, top = laid.bounds
    middle = shapely.Point((west + right) / 2, (south + top) / 2)
    centre = shapely.affinity.rotate(middle, turn, origin=(0, 0))
    return Paper((centre.x, centre.y), scale, size.wide_mm, size.high_mm, turn)


def across(street: Street, chainage_m: float, offset_m: float) -> shapely.Point:
    """The point at a chainage, so far to the left of the road line (to the right below nought).

    Parameters
    ----------
    street
        For its line.
    chainage_m
        Metres along it.
    offset_m
        Metres to the left.
    """
    here = street.line.interpolate(chainage_m)
    step = min(0.5, street.length_m / 2)
    one = street.line.interpolate(max(chainage_m - step, 0.0))
    two = street.line.interpolate(min(chainage_m + step, street.length_m))
    east, north = two.x - one.x, two.y - one.y
    long = math.hypot(east, north) or 1.0
    return shapely.Point(here.x - north / long * offset_m, here.y + east / long * offset_m)


def label(
    paper: Paper, point: shapely.Point, words: object, *, css: str = "", dy: float = 0.9
) -> Markup:
    """Words centred on a point of the ground; nothing where it lies off the paper.

    Parameters
    ----------
    paper
        Drawn on.
    point
        Where, on the ground.
    words
        What is written, escaped.
    css
        Class of the text.
    dy
        Millimetres further down.
    """
    x, y = paper.place(point)
    if not (0 <= x <= paper.wide_mm and 0 <= y <= paper.high_mm):
        return Markup()
    return draw_words(css, x, y + dy, words)


def ground_layers(
    paper: Paper, hood: Neighbourhood, street: Street, *, sight: bool = True
) -> list[Markup]:
    """What is there: plots, carriageway, footways, buildings, barriers, kerbs, sight areas."""
    window = paper.window()
    parts = [_hatching()]
    parts += _near(paper, hood.plots, window, "plot")
    parts.append(paper.path(street.other_carriageways, css="carriageway"))
    parts.append(paper.path(street.carriageway, css="carriageway"))
    parts.append(paper.path(street.walkable, css="footway"))
    parts += _near(paper, hood.buildings, window, "house")
    parts += _near(paper, hood.barriers, window, "barrier")
    if sight:
        parts += [
            paper.path(area.polygon, css="sight", label=area.label) for area in street.sight_areas
        ]
    for side in (street.left, street.right):
        parts += [paper.path(line, css="kerb") for line in side.kerbs]
        parts += [paper.path(line, css="back") for line in side.backs]
    parts.append(paper.path(street.line, css="middle"))
    return parts


def _near(
    paper: Paper, table: gpd.GeoDataFrame, window: shapely.Polygon, css: str
) -> Iterable[Markup]:
    near = table.iloc[np.sort(table.sindex.query(window))]
    return [paper.path(shape, css=css) for shape in near.geometry]


def chainage_marks(stretch: Stretch, street: Street) -> Markup:
    """Short lines across the road every few metres with their chainage."""
    paper = stretch.paper
    step = next((one for one in _STEPS_M if one * 1000 / paper.scale >= _TICKS_MM), _STEPS_M[-1])
    half = 1.2 * paper.scale / 1000  # 1.2 mm of paper each way
    out = []
    for chainage in np.arange(
        math.ceil(stretch.start_m / step) * step, stretch.stop_m + 0.01, step
    ):
        here = float(chainage)
        ends = [across(street, here, side * half) for side in (1, -1)]
        out.append(paper.path(shapely.LineString(ends), css="tick"))
        out.append(
            label(paper, across(street, here, -half * 2.4), number(here, "g"), css="chainage")
        )
    return together(out)


def match_lines(stretch: Stretch, street: Street, *, before: str, after: str) -> Markup:
    """Broken lines where the next sheet goes on, with the drawing it is on."""
    out = []
    reach = stretch.paper.high_mm * stretch.paper.scale / 1000 * 0.36
    for chainage, drawing in ((stretch.start_m, before), (stretch.stop_m, after)):
        if not drawing:
            continue
        ends = [across(street, chainage, side * reach) for side in (1, -1)]
        out.append(stretch.paper.path(shapely.LineString(ends), css="match"))
        x, y = stretch.paper.place(ends[0])
        out.append(
            draw_words("match-words", x, y - 1.5, _("goes on: {drawing}").format(drawing=drawing))
        )
    return together(out)
