"""What the page carries for a group that walks: moves, ways, ground, corridors, gaps to make.

None of this is on a page for the public: there distances run straight (see `privacy`).
"""

from collections.abc import Callable, Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import geometry_mask, shapes

from patchnet.assess.assessment import Assessment, FenceGap, GroupAnswer
from patchnet.assess.fences import break_corridors, fence_gaps, squeeze_in_blocks
from patchnet.assess.over_ground import OverGround
from patchnet.movement.corridors import Corridor
from patchnet.movement.distance import Pairs
from patchnet.movement.surface import CostSurface
from patchnet.pages.kit import colours
from patchnet.pages.kit.encode import path_code
from patchnet.pages.kit.shapes import Frame, area_codes, line_codes
from patchnet.pages.map.pictures import (
    NOWHERE,
    block_means,
    block_side,
    dotted,
    level_picture,
    most_common,
)

__all__ = ["COVER_TO", "SQUEEZED", "ground_layers", "move_code", "straightened"]

# Classes of ground as drawn: up to so many metres' worth of the best ground a metre, then dearer,
# then closed.
COVER_TO = (1.5, 3.0)
# Of all places where something moves, this share is left undrawn; and left undrawn or dotted.
SQUEEZED = (0.97, 0.99)
# How far around the plots the ground is drawn, as a share of the margin that was laid.
_DRAWN_MARGIN = 0.9

Short = Callable[[float], float | int]


def ground_layers(
    frame: Frame,
    assessment: Assessment,
    answer: GroupAnswer,
    links: tuple[NDArray[np.int64], NDArray[np.int64]],
    at: Mapping[str, int],
    *,
    short: Short,
) -> dict[str, Any] | None:
    """Return the layers of a group that walks; None where it flies or lines run straight.

    Parameters
    ----------
    links
        Shape (links,) each: ends of the links that are drawn, as positions of plots.
    at
        Position of each plot by its id.
    short
        Shortens a number as the rest of the page does.
    """
    ground = answer.ground
    if ground is None:
        return None
    margin = assessment.knowledge.setting("surface_margin_m") * _DRAWN_MARGIN
    around = assessment.neighbourhood.plots.geometry.union_all().convex_hull.buffer(margin)
    key = answer.group.key
    return {
        "cover": _cover(ground.surface, around, at),
        "moves": move_code(ground.moves, answer.group.hop.value),
        "lines": _ways(frame, ground, *links),
        "corridors": [
            _corridor(frame, ground.surface, one, answer, short)
            for one in break_corridors(assessment, key)
            if one.line is not None
        ],
        "pinch": _pinch(assessment, key, ground.surface),
        "side": round(ground.surface.gap_side_m * 100),
        "gaps": [_gap(frame, one, at, short) for one in fence_gaps(assessment, key, together=True)],
    }


def move_code(moves: Pairs, hop_m: float) -> str:
    """Write the moves no dearer than a hop: two plots and cost millimetres each.

    Parameters
    ----------
    moves
        Two plots and what the way between them costs.
    hop_m
        Longest hop, cost metres.
    """
    near = moves.length_mm <= round(hop_m * 1000)
    table = np.column_stack([moves.i[near], moves.j[near], moves.length_mm[near]])
    return path_code(table.astype(np.int64))


def straightened(line: shapely.LineString) -> shapely.LineString:
    """Return the straight line between the ends, which does not tell where a way leads through."""
    ends = shapely.get_coordinates(line)[[0, -1]]
    return shapely.LineString(ends)


def _ways(
    frame: Frame, ground: OverGround, first: NDArray[np.int64], second: NDArray[np.int64]
) -> list[str]:
    ways = [ground.line(i, j)[0] for i, j in zip(first.tolist(), second.tolist(), strict=True)]
    return line_codes(frame, shapely.simplify(np.array(ways, object), ground.surface.cell_m))


def _cover(surface: CostSurface, around: shapely.Geometry, at: Mapping[str, int]) -> dict[str, Any]:
    """Draw the classes of ground within `around`, and tell the commonest class of each plot."""
    count = len(COVER_TO) + 2
    cost = surface.cost.astype(np.float64)
    classes = np.searchsorted(COVER_TO, cost, side="left").astype(np.uint8)
    classes[np.isinf(cost)] = count - 1
    cells = np.bincount(
        surface.labels.ravel().astype(np.int64) * count + classes.ravel(),
        minlength=(len(surface.plots) + 1) * count,
    ).reshape(-1, count)[1:]
    ofplot = np.zeros(len(at), np.int64)
    ofplot[[at[str(plot)] for plot in surface.plots]] = cells.argmax(axis=1)
    classes[geometry_mask([around], classes.shape, surface.transform)] = NOWHERE
    blocks, side = most_common(classes)
    picture = level_picture(blocks, surface.grid, side)
    return {
        **picture.for_page([tint.base for tint in colours.COVER]),
        "to": list(COVER_TO),
        "plots": "".join(str(one) for one in ofplot.tolist()),
    }


def _pinch(assessment: Assessment, key: str, surface: CostSurface) -> dict[str, Any] | None:
    # Two cells to a block of the picture: it shows nothing smaller.
    blocks = block_side(surface.cost.shape)
    found = squeeze_in_blocks(assessment, key, max(1, blocks // 2))
    if found is None or not (found[1] > 0).any():
        return None
    surface, current = found
    # Averaged over a few cells, since current also crowds into single cells at corners of houses.
    mean, side = block_means(current)
    some, much = np.quantile(mean[mean > 0], SQUEEZED)
    classes = np.full(mean.shape, NOWHERE, np.uint8)
    classes[mean > some] = 0
    classes[mean > much] = 1
    level = level_picture(classes, surface.grid, side)
    drawn = type(level)(dotted(level.classes, 0), level.south, level.west, level.north, level.east)
    return drawn.for_page([colours.PINCH, colours.PINCH])


def _corridor(
    frame: Frame, surface: CostSurface, one: Corridor, answer: GroupAnswer, short: Short
) -> dict[str, Any]:
    ends = {one.plot_a, one.plot_b}
    over = [at for at, gap in enumerate(answer.breaks) if {gap.from_plot, gap.to_plot} == ends]
    parts = [
        shapely.geometry.shape(found)
        for found, _ in shapes(
            one.band.astype(np.uint8), mask=one.band, transform=surface.transform
        )
    ]
    band = gpd.GeoSeries(parts, crs=surface.crs).union_all()
    line = shapely.simplify(one.line, surface.cell_m / 2)
    return {
        "break": over[0] if over else -1,
        "line": line_codes(frame, [line])[0],
        "band": area_codes(frame, [shapely.simplify(band, surface.cell_m * 0.75)])[0],
        "cost": short(one.cost),
    }


def _gap(frame: Frame, one: FenceGap, at: Mapping[str, int], short: Short) -> dict[str, Any]:
    def cost(metres: float) -> float | int:
        return short(metres) if np.isfinite(metres) else -1

    return {
        "kinds": list(dict.fromkeys(one.kinds)),
        "now": one.now,
        "plots": [-1 if plot is None else at[str(plot)] for plot in one.plots],
        "place": frame.centimetres(shapely.get_coordinates(one.place))[0].tolist(),
        "joins": [at[str(plot)] for plot in one.joins],
        "cost": [cost(one.cost_before), cost(one.cost_after)],
        "won": short(one.homes_won),
        "with_next": one.homes_won == 0,
    }
