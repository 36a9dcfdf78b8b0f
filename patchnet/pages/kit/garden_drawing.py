"""The plan of the gardens on paper: for posters, cards, reports and sheets."""

from collections.abc import Iterable, Sequence

import geopandas as gpd
import numpy as np
import shapely

from patchnet.knowledge.plots import PLAIN_LINE
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.garden_plan import GROUNDS, SIGNS, GardenPlan, garden_plan
from patchnet.pages.kit.materials import HEDGE, MATERIALS, NAMES, TREE
from patchnet.pages.kit.place_name import house_numbers
from patchnet.pages.kit.plan_parts import draw_words
from patchnet.pages.kit.shapes import longest_names
from patchnet.pages.kit.templates import Markup, drawn_by, together
from patchnet.pages.kit.to_scale import Paper
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["GARDEN_STYLE", "GardenDrawing", "garden_legend"]

_fills = drawn_by("kit/garden_drawing.svg", "fills")
_ground = drawn_by("kit/garden_drawing.svg", "ground")
_crown = drawn_by("kit/garden_drawing.svg", "crown")
_sign = drawn_by("kit/garden_drawing.svg", "sign")
_disc = drawn_by("kit/garden_drawing.svg", "disc")
_turned = drawn_by("kit/garden_drawing.svg", "turned")
_swatch = drawn_by("kit/garden_drawing.svg", "swatch")
_NUMBER_MM = 3.2  # a house narrower than this carries no number
_SIGN_SCALE = 600  # signs are drawn at 1 to so many and closer

GARDEN_STYLE = f"""
.gardens .ground {{ stroke: none; }}
.gardens .plot {{ fill: none; stroke: #6a6154; stroke-width: 0.15; }}
.gardens .house {{ fill: #d9d3cb; stroke: #6f6a64; stroke-width: 0.15; }}
.gardens .road {{ fill: none; stroke: #fff; stroke-linecap: round; }}
.gardens .road-area {{ fill: #fff; stroke: none; }}
.gardens .whole {{ fill: none; stroke: #33302c; stroke-width: 0.5; }}
.gardens .dashed, .gardens .dash_dot, .gardens .short_dashes {{
  fill: none; stroke: #33302c; stroke-width: 0.22; }}
.gardens .dotted, .gardens .hedge, .garden-legend .hedge {{
  fill: none; stroke: {HEDGE}; stroke-width: 0.9; stroke-dasharray: 0.05 0.75;
  stroke-linecap: round; }}
.garden-legend .hedge {{ stroke-width: 1.6; stroke-dasharray: 0.05 1.3; }}
.gardens .crown, .garden-legend .crown {{
  fill: {TREE[0]}; fill-opacity: 0.85; stroke: {TREE[1]}; stroke-width: 0.15; }}
.gardens .shade {{ fill: {TREE[2]}; fill-opacity: 0.22; }}
.gardens .wood, .garden-legend .wood {{ fill: #8a5a2b; stroke: #3c2510; stroke-width: 0.12; }}
.gardens .stones, .garden-legend .stones {{ fill: #a9a49d; stroke: #4d4a46; stroke-width: 0.12; }}
.gardens .dish, .garden-legend .dish {{ fill: #bfe0f5; stroke: #1d4f74; stroke-width: 0.2; }}
.gardens .box, .garden-legend .box {{ fill: #e3c08c; stroke: #3c2510; stroke-width: 0.15; }}
.gardens .chosen {{ fill: none; stroke: var(--do); stroke-width: 0.8; }}
.gardens .do circle {{ fill: var(--do); stroke: #fff; stroke-width: 0.5; }}
.gardens .do text {{ fill: #fff; font-weight: 800; font-size: 3.8px; }}
.gardens text {{ font-size: 2.4px; fill: #1c2a1b; paint-order: stroke; stroke: #fff;
  stroke-width: 0.5px; stroke-linejoin: round; }}
.gardens .do text, .gardens .number {{ stroke: none; }}
.gardens .number {{ font-weight: 700; font-size: 1.8px; }}
.gardens .street-name, .gardens .place-name {{ font-weight: 700; font-size: 3px; }}
.gardens .backing {{ fill: none; }}
.gardens .bar {{ fill: #fff; stroke: #1c2a1b; stroke-width: 0.2; }}
.gardens .bar.full, .gardens .north path {{ fill: #1c2a1b; }}
.garden-legend {{ list-style: none; margin: 0; padding: 0; display: flex; flex-wrap: wrap;
  gap: 0.1rem 0.9rem; }}
.garden-legend li {{ display: inline-flex; align-items: center; gap: 0.3rem; }}
.garden-legend svg {{ width: 1.5rem; height: 1.05rem; }}
"""
"""For pages with such a drawing, beside their own."""


def _fill(key: str) -> str:
    material = MATERIALS[key]  # type: ignore[index]
    return f"url(#ground-{key})" if material.strokes else material.base


class GardenDrawing:
    """A plan of the gardens, put together part by part on a piece of paper.

    Parameters
    ----------
    neighbourhood, knowledge
        What is drawn.
    paper
        Where; only what it shows is drawn.
    """

    def __init__(self, neighbourhood: Neighbourhood, knowledge: Knowledge, paper: Paper) -> None:
        self.hood, self.knowledge, self.paper = neighbourhood, knowledge, paper
        self.plan: GardenPlan = garden_plan(neighbourhood, knowledge)
        self.window = paper.window()
        self._mm = 1000 / paper.scale
        self._above: list[Markup] = []

    def mark(self, number: int, point: shapely.Point) -> None:
        """Set a numbered disc: do this, here."""
        self._above.append(_disc(*self.paper.place(point), number))

    def choose(self, shape: shapely.Geometry) -> None:
        """Outline a plot in the strong colour."""
        self._above.append(self.paper.path(shape, css="chosen"))

    def add(self, part: Markup) -> None:
        """Lay something of one's own over the plan."""
        self._above.append(part)

    @property
    def kinds(self) -> tuple[str, ...]:
        """What the paper shows and a legend has to explain."""
        return tuple(key for key in self.plan.kinds if self._shows(key))

    def _shows(self, key: str) -> bool:
        if key in SIGNS:
            points = self.plan.signs[key]
            return self.paper.scale <= _SIGN_SCALE and any(
                shapely.contains_xy(self.window, *point) for point in points
            )
        if key == "tree":
            return any(
                shapely.dwithin(self.window, shapely.Point(east, north), radius)
                for east, north, radius in self.plan.crowns
            )
        shapes = self.plan.hedges if key == "hedge" else self.plan.grounds[key]  # type: ignore[index]
        return bool(shapely.intersects(self.window, list(shapes)).any())

    def svg(
        self,
        *,
        title: str,
        names: bool = True,
        bar_mm: float = 40,
        to_scale: bool = True,
        fills: bool = True,
    ) -> Markup:
        """The whole as an ``<svg>`` in millimetres.

        Parameters
        ----------
        title
            Read out in place of the picture.
        names
            Also the names of streets and places and the numbers of houses.
        bar_mm
            Longest bar of the scale, mm.
        to_scale
            Whether it is printed at its own size, and may say at which scale.
        fills
            Whether the fills of the grounds are in it: once on a page is enough.
        """
        parts = [_fills(MATERIALS)] if fills else []
        parts += self._streets()
        for key in GROUNDS:
            parts += [_ground(d, _fill(key)) for d in map(self._d, self.plan.grounds[key]) if d]
        parts += [self.paper.path(one, css="plot") for one in self._near(self.hood.plots)]
        parts += [self.paper.path(one, css="house") for one in self._near(self.hood.buildings)]
        parts += [self.paper.path(one, css="hedge") for one in self.plan.hedges]
        parts += self._barriers()
        for east, north, radius in self.plan.crowns:
            if shapely.dwithin(self.window, shapely.Point(east, north), radius):
                parts.append(
                    _crown(*self.paper.place(shapely.Point(east, north)), radius * self._mm)
                )
        if self.paper.scale <= _SIGN_SCALE:
            parts += self._signs()
        if names:
            parts += self._names()
        parts += [*self._above, self.paper.bar_and_north(longest_mm=bar_mm, told=to_scale)]
        return self.paper.svg(together(parts), title=title, css="gardens")

    def _d(self, shape: shapely.Geometry) -> str:
        return self.paper.outline(shape)

    def _near(self, table: gpd.GeoDataFrame) -> Iterable[shapely.Geometry]:
        return table.geometry.to_numpy()[table.sindex.query(self.window)] if len(table) else ()

    def _streets(self) -> list[Markup]:
        parts = []
        roads = self.hood.roads
        for at in roads.sindex.query(self.window) if len(roads) else ():
            shape, wide = roads.geometry.iloc[at], float(roads["width_m"].iloc[at])
            if shapely.get_dimensions(shape) == 1:
                shape = shapely.buffer(
                    shape, (wide if wide > 0 else self.knowledge.setting("drawn_road_m")) / 2
                )
            parts.append(self.paper.path(shape, css="road-area"))
        return parts

    def _barriers(self) -> list[Markup]:
        lines = self.hood.barriers
        parts = []
        for at in lines.sindex.query(self.window) if len(lines) else ():
            kind = self.knowledge.barrier_kinds.get(str(lines["kind"].iloc[at]))
            css = (kind.line if kind else "") or PLAIN_LINE
            parts.append(self.paper.path(lines.geometry.iloc[at], css=css))
        return parts

    def _signs(self) -> list[Markup]:
        return [
            _sign(key, *self.paper.place(shapely.Point(point)))
            for key in SIGNS
            for point in self.plan.signs[key]
            if shapely.contains_xy(self.window, *point)
        ]

    def _names(self) -> list[Markup]:
        parts = []
        for words, east, north in house_numbers(self.hood, self.knowledge):
            if shapely.contains_xy(self.window, east, north):
                x, y = self.paper.place(shapely.Point(east, north))
                parts.append(draw_words("number", x, y + 0.7, words))
        for name, east, north, angle in longest_names(self.hood.roads):
            if shapely.contains_xy(self.window, east, north):
                x, y = self.paper.place(shapely.Point(east, north))
                parts.append(_turned(x, y, angle + self.paper.turn_deg, name))
        plots = self.hood.plots
        for label, kind, shape in zip(plots["label"], plots["kind"], plots.geometry, strict=True):
            wide = np.sqrt(float(shape.area)) * self._mm
            if (
                not label
                or self.knowledge.plot_is(str(kind), "home")
                or wide < 1.7 * len(str(label))
            ):
                continue
            point = shapely.point_on_surface(shape)
            if shapely.contains(self.window, point):
                parts.append(draw_words("place-name", *self.paper.place(point), str(label)))
        return parts


def garden_legend(kinds: Sequence[str]) -> list[Markup]:
    """What a plan of the gardens has, as items of a list: a swatch and its words each."""
    return [_swatch(key, NAMES[key], _fill(key) if key in MATERIALS else "") for key in kinds]
