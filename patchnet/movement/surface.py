"""The ground of a neighbourhood as a surface of cost for one animal.

Painted in this order, later over earlier: ground nobody mapped; carriageways, then footways;
plots, large before small; the user's own land cover, where it has data; features mapped with
their own outline; buildings. Barriers are not painted: they close steps between cells
(`barrier_steps`).
"""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS

from patchnet.core.errors import WrongUse
from patchnet.core.faults import Fault
from patchnet.core.shown import Shown
from patchnet.core.texts import _
from patchnet.knowledge.records import GroundCosts, Group, Knowledge
from patchnet.movement.barrier_steps import Steps
from patchnet.movement.barriers import barrier_lines, barrier_steps
from patchnet.movement.ground_grid import Grid, lay_grid
from patchnet.movement.land_cover import LandCover, read_land_cover
from patchnet.movement.plot_labels import label_plots
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["CostSurface", "cost_surface"]

_AREA = (3, 6)  # polygon, multi-polygon
_LINE = (1, 5)
_NAMED = 12  # plots named in a warning


@dataclass(frozen=True, eq=False, repr=False)
class CostSurface(Shown):
    """What a metre costs everywhere, where the plots are, and which steps barriers close.

    Attributes
    ----------
    group
        Key of the animal.
    cost
        Shape (rows, columns), float32: cost per metre, in metres of the best ground; inf where
        nothing gets through. North up.
    labels
        Shape (rows, columns), int32: 0 no plot, k the plot ``plots[k - 1]``.
    plots
        Ids of the plots, every one of which has at least one cell.
    steps
        Steps between neighbouring cells that a barrier closes or makes costlier.
    grid
        Place, shape and CRS of the cells.
    gap_side_m
        Width of a gap, metres.
    faults
        Warnings: plots that are shut off, barriers off the map, gaps that lead nowhere.
    """

    group: str
    cost: NDArray[np.float32]
    labels: NDArray[np.int32]
    plots: pd.Index
    steps: Steps
    grid: Grid
    gap_side_m: float
    faults: tuple[Fault, ...] = ()

    @property
    def transform(self) -> Affine:
        """From (column, row) to coordinates."""
        return self.grid.transform

    @property
    def crs(self) -> CRS:
        """The projected CRS, in metres."""
        return self.grid.crs

    @property
    def cell_m(self) -> float:
        """Side of a cell, metres."""
        return self.grid.cell_m

    def plot_label(self, plot: str) -> int:
        """Return the label of a plot.

        Raises
        ------
        WrongUse
            If there is no such plot.
        """
        if plot not in self.plots:
            raise WrongUse(_("There is no plot '{plot}' on this ground.").format(plot=plot))
        return list(self.plots).index(plot) + 1


def cost_surface(
    neighbourhood: Neighbourhood,
    group: Group,
    knowledge: Knowledge,
    *,
    cell_m: float | None = None,
    landcover: LandCover | None = None,
    partly: bool = False,
) -> CostSurface:
    """Paint what moving over the ground costs an animal.

    The ground of a plot costs the mean, by area, of what is known to be on it; the rest of it
    what its kind of plot costs. A cell is what lies at its centre. A plot without open ground
    at a centre takes the nearest open cell on its side of closed barriers, or is shut off and
    named in a warning: no plot vanishes (see `label_plots`).

    Parameters
    ----------
    neighbourhood
        The checked neighbourhood. Roads may have the column ``width_m``.
    group
        A group that has movement costs in the tables.
    knowledge
        The tables.
    cell_m
        Side of a cell in metres; None: chosen from the plots (see `lay_grid`).
    landcover
        The user's own raster of land-cover classes.
    partly
        Whether this is a part of a larger ground, in which the land cover may hold nothing.

    Raises
    ------
    WrongUse
        If the group has no movement costs, the cell is too large to give each plot one, or the
        surface would not fit into memory (the message says which cell would).
    CannotRead, DataFaults
        If the land cover cannot be used (see `read_land_cover`).
    """
    costs = knowledge.ground_costs.get(group.key)
    if costs is None:
        raise WrongUse(
            _(
                "The tables do not say what moving over the ground costs the group '{group_key}'"
            ).format(group_key=group.key)
            + (_(", which moves through the air.") if group.mode == "air" else ".")
            + _(" Add rows to movement_costs.csv and barrier_crossings.csv.")
        )
    grid = lay_grid(neighbourhood.plots, knowledge, cell_m)
    paint = _Painter(costs, knowledge, grid)
    cost = np.full(grid.shape, paint.role("unmapped"), np.float32)
    _paint_ways(neighbourhood, paint, cost)
    plots = neighbourhood.plots
    order = np.argsort(-plots.geometry.area.to_numpy(), kind="stable")
    price = _plot_costs(neighbourhood, costs, knowledge)
    shapes = np.asarray(plots.geometry.array, dtype=object)
    paint.burn(cost, shapes[order], price[order])
    if landcover is not None:
        own = read_land_cover(landcover, grid, partly=partly)
        np.copyto(cost, own, where=~np.isnan(own))
    _paint_features(neighbourhood.features, paint, cost)
    buildings = np.asarray(neighbourhood.buildings.geometry.array, dtype=object)
    paint.burn(cost, buildings, np.full(len(buildings), paint.role("building")))
    cost[cost >= knowledge.setting("closed_cost")] = np.inf
    open_plot = price < knowledge.setting("closed_cost")
    lines = barrier_lines(neighbourhood, costs, knowledge)
    cells = label_plots(plots, grid, np.isfinite(cost), open_plot, lines)
    for label, cell in cells.given.items():
        cost[cell] = price[label - 1]
    for cell in cells.closed:
        cost[cell] = np.inf
    faults = _say_shut(plots.index[np.array(cells.shut, np.int64) - 1])
    steps = barrier_steps(neighbourhood, costs, knowledge, grid, np.isfinite(cost), faults)
    return CostSurface(
        group=group.key,
        cost=cost,
        labels=cells.labels,
        plots=pd.Index(plots.index),
        steps=steps,
        grid=grid,
        gap_side_m=knowledge.setting("gap_side_m"),
        faults=tuple(faults),
    )


def _say_shut(plots: pd.Index) -> list[Fault]:
    if plots.empty:
        return []
    named = ", ".join(map(str, plots[:_NAMED]))
    more = len(plots) - _NAMED
    what = _("Nothing that walks gets to these plots, because no open ground is theirs: ") + named
    what += _(" and {more} more.").format(more=more) if more > 0 else "."
    mend = _(
        "They are built over, or smaller than a cell with no way round a closed barrier. "
        "Look at their outlines, buildings and fences."
    )
    return [Fault("warning", "plots", None, None, what, mend)]


class _Painter:
    """Burns outlines into an array of costs."""

    def __init__(self, costs: GroundCosts, knowledge: Knowledge, grid: Grid) -> None:
        self._roles = {
            cover.role: costs.covers[key].value for key, cover in knowledge.ground_covers.items()
        }
        self._features = {
            feature: costs.covers[key].value
            for key, cover in knowledge.ground_covers.items()
            for feature in cover.features
        }
        self.knowledge = knowledge
        self._transform = grid.transform

    def role(self, role: str) -> float:
        """Cost per metre of a part of the map."""
        return self._roles[role]

    def feature(self, feature: str) -> float:
        """Cost per metre of the ground of a feature; NaN where it takes none."""
        return self._features.get(feature, np.nan)

    def burn(
        self,
        cost: NDArray[np.float32],
        shapes: NDArray[np.object_],
        values: NDArray[np.float64],
        *,
        touched: bool = False,
    ) -> None:
        """Paint shapes in their order; `touched`: every cell they touch, not only centres."""
        from rasterio.features import rasterize

        pairs = [
            (shape, float(value))
            for shape, value in zip(shapes, values, strict=True)
            if np.isfinite(value) and not shape.is_empty
        ]
        if pairs:
            rasterize(pairs, out=cost, transform=self._transform, all_touched=touched)


def _paint_ways(neighbourhood: Neighbourhood, paint: _Painter, cost: NDArray[np.float32]) -> None:
    setting = paint.knowledge.setting
    roads, widths = _bands(neighbourhood.roads, setting("carriageway_width_m"))
    wide = widths > setting("carriageway_wide_m")
    for is_wide, role in ((False, "carriageway_narrow"), (True, "carriageway_wide")):
        shapes = roads[wide == is_wide]
        paint.burn(cost, shapes, np.full(len(shapes), paint.role(role)))
    footways, _ = _bands(neighbourhood.footways, setting("footway_width_m"))
    paint.burn(cost, footways, np.full(len(footways), paint.role("footway")))


def _bands(
    table: gpd.GeoDataFrame, usual: float
) -> tuple[NDArray[np.object_], NDArray[np.float64]]:
    """Ways as areas, with their widths; lines become bands as wide as said or usual."""
    shapes = np.array(table.geometry.array, dtype=object)
    area, outline = shapely.area(shapes), shapely.length(shapes)
    width = np.where(area > 0, 2 * area / np.where(outline > 0, outline, 1), usual)
    if "width_m" in table:
        said = pd.to_numeric(table["width_m"], errors="coerce").to_numpy(np.float64)
        width = np.where(said > 0, said, width)
    line = np.isin(shapely.get_type_id(shapes), _LINE)
    shapes[line] = shapely.buffer(shapes[line], width[line] / 2, cap_style="flat")
    return shapes, width


def _plot_costs(
    neighbourhood: Neighbourhood, costs: GroundCosts, knowledge: Knowledge
) -> NDArray[np.float64]:
    """Mean cost per metre of each plot's ground, by the area of what is known to be on it."""
    base_of = {
        kind: costs.covers[key].value
        for key, cover in knowledge.ground_covers.items()
        for kind in cover.plot_kinds
    }
    plots, answers = neighbourhood.plots, neighbourhood.answers
    base = np.array([base_of[kind] for kind in plots["kind"]])
    cover_of = {
        feature: costs.covers[key].value
        for key, cover in knowledge.ground_covers.items()
        for feature in cover.features
    }
    ground = np.array(
        [
            knowledge.features[key].ground.value if key in cover_of else 0.0
            for key in answers.features
        ]
    )
    price = np.array([cover_of.get(key, 0.0) for key in answers.features])
    closed = knowledge.setting("closed_cost")
    ground[price >= closed] = 0  # a green roof says nothing of the ground below it
    area = plots.geometry.area.to_numpy()
    share = np.nan_to_num(answers.amount) * ground / area[:, None]
    total = share.sum(axis=1)
    share /= np.maximum(total, 1)[:, None]
    mixed: NDArray[np.float64] = share @ price + base * np.maximum(1 - total, 0)
    return np.where(base >= closed, base, mixed)


def _paint_features(features: gpd.GeoDataFrame, paint: _Painter, cost: NDArray[np.float32]) -> None:
    if features.empty:
        return
    shapes = np.asarray(features.geometry.array, dtype=object)
    price = np.array([paint.feature(feature) for feature in features["feature"]])
    closed = paint.knowledge.setting("closed_cost")
    kind = shapely.get_type_id(shapes)
    for types, touched in ((_AREA, False), (_LINE, True)):
        here = np.isin(kind, types) & (price < closed)
        paint.burn(cost, shapes[here], price[here], touched=touched)
