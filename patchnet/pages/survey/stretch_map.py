"""The printed map of one stretch: to scale, numbered, with north and a bar scale."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from patchnet.core.texts import _
from patchnet.pages.kit.plan_parts import draw_line, draw_words
from patchnet.pages.kit.shapes import Frame, name_places
from patchnet.pages.kit.templates import Markup, drawn_by, together
from patchnet.pages.kit.to_scale import Paper
from patchnet.pages.survey.round import SurveyRound
from patchnet.pages.survey.stretches import Stretch

__all__ = ["Drawing", "draw_stretch"]

_WIDE, _HIGH = 186.0, 172.0  # mm of paper
_ROOM = 8.0  # mm kept free round the plots
_STEP = 50  # scales go in steps of 1 to so many: nobody measures on these maps
_FONT = 3.6  # mm
_LETTER = 0.62  # width of a digit, of the font's size
_STREET_FONT, _STREET_LETTER = 3.2, 0.5  # mm; width of a letter in italics, of the font's size
_BAR_ROOM = 10.0  # mm along the foot that the bar scale takes
_AROUND = 8  # directions in which a number may stand beside its plot

_street_name = drawn_by("survey/stretch_map.svg", "street_name")


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawn map: SVG text and the scale it is to be printed at (1 to `scale`)."""

    svg: Markup
    scale: int


def draw_stretch(survey: SurveyRound, stretch: Stretch) -> Drawing:
    """Draw a stretch north up, as large as fits, its plots numbered with their ids.

    Ids that do not fit into their plot stand beside it with a line to it.
    """
    hood = survey.neighbourhood
    own = hood.plots.loc[list(stretch.plots)]
    paper = _paper(own)
    others = _on_paper(paper, hood.plots)
    others = others[~others.index.isin(own.index)]
    parts = [
        _shapes(paper, _on_paper(paper, hood.footways).geometry, "way"),
        _shapes(paper, _on_paper(paper, hood.roads).geometry, "road"),
        _shapes(paper, others.geometry, "other"),
        _shapes(paper, own.geometry, "plot"),
        _shapes(paper, _on_paper(paper, hood.buildings).geometry, "house"),
        _shapes(paper, _on_paper(paper, hood.barriers).geometry, "fence"),
        _street_names(paper, (_on_paper(paper, hood.roads), _on_paper(paper, hood.footways))),
        _numbers(paper, own),
        paper.bar_and_north(),
    ]
    title = _("Map of {stretch_name}, 1 to {scale:,}").format(
        stretch_name=survey.stretch_name(stretch), scale=paper.scale
    )
    return Drawing(paper.svg(together(parts), title=title), paper.scale)


def _paper(own: gpd.GeoDataFrame) -> Paper:
    """Return the paper at the largest scale, in steps of `_STEP`, at which the plots fit."""
    west, south, east, north = own.total_bounds.tolist()
    need = max((east - west) / (_WIDE - 2 * _ROOM), (north - south) / (_HIGH - 2 * _ROOM)) * 1000
    scale = max(1, math.ceil(need / _STEP)) * _STEP
    return Paper(((west + east) / 2, (south + north) / 2), scale, _WIDE, _HIGH)


def _on_paper(paper: Paper, table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the rows that lie on the paper: of a town's thousands a stretch has a few dozen."""
    return table.iloc[np.sort(table.sindex.query(paper.window()))]


def _shapes(paper: Paper, shapes: Iterable[shapely.Geometry], name: str) -> Markup:
    lines = {"LineString", "MultiLineString"}
    return together(
        paper.path(shape, css=f"{name} line" if shape.geom_type in lines else name)
        for shape in shapes
    )


def _street_names(paper: Paper, tables: Iterable[gpd.GeoDataFrame]) -> Markup:
    """Write each street's name once; one that would not fit on the paper is left out."""
    frame = Frame((0.0, 0.0), 1, 0, (), (), 0.0)  # only its centimetres are used
    window = paper.window()
    seen = [table.assign(geometry=table.geometry.intersection(window)) for table in tables]
    out = []
    for name, x, y, angle in name_places(frame, *seen):
        ((at, down),) = paper.mm(np.array([[x, y]], dtype=np.float64) / 100).tolist()
        turn = math.radians(float(str(angle)))
        half = len(str(name)) * _STREET_FONT * _STREET_LETTER / 2
        wide = half * abs(math.cos(turn)) + _STREET_FONT / 2
        high = half * abs(math.sin(turn)) + _STREET_FONT / 2
        if not (wide < at < _WIDE - wide and high < down < _HIGH - high - _BAR_ROOM):
            continue
        out.append(_street_name(at, down, -float(str(angle)), name))
    return together(out)


def _numbers(paper: Paper, own: gpd.GeoDataFrame) -> Markup:
    """Write each id into its plot, or beside it where it would be too wide or meet another."""
    spots = paper.mm(
        shapely.get_coordinates(shapely.point_on_surface(own.geometry.to_numpy()))
    ).tolist()
    boxes = own.geometry.bounds.to_numpy() * (1000 / paper.scale)
    taken: list[tuple[float, float, float, float]] = []
    out = []
    order = np.argsort(-own.geometry.area.to_numpy(), kind="stable").tolist()
    for at in order:
        ident = str(own.index[at])
        x, y = spots[at]
        half = len(ident) * _FONT * _LETTER / 2 + 0.3
        away = _ROOM
        size = max(half, min(boxes[at][2] - boxes[at][0], boxes[at][3] - boxes[at][1]) / 2 + 2)
        moves = [(0.0, 0.0)] + [
            (ring * math.cos(turn * math.tau / _AROUND), ring * math.sin(turn * math.tau / _AROUND))
            for ring in (size, size + away / 2, size + away)
            for turn in range(_AROUND)
        ]
        for dx, dy in moves:
            box = (x + dx - half, y + dy - _FONT / 2, x + dx + half, y + dy + _FONT / 2)
            inside = box[0] > 0 and box[1] > 0 and box[2] < _WIDE and box[3] < _HIGH
            if inside and not any(_meet(box, other) for other in taken):
                break
        else:
            dx, dy = 0.0, 0.0
            box = (x - half, y - _FONT / 2, x + half, y + _FONT / 2)
        taken.append(box)
        if dx or dy:
            out.append(draw_line("lead", f"M{x:.2f} {y:.2f}L{x + dx:.2f} {y + dy:.2f}"))
        out.append(draw_words("number", x + dx, y + dy, ident, anchor=""))
    return together(out)


def _meet(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
