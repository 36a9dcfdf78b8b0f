"""Cutting a city into square tiles: which plots are whose, and how far round each is looked.

A plot belongs to the tile that the middle of its box lies in. Plots are numbered tile by tile, in
each in the order of the file: so the plots of a tile are one run of numbers.

What is worked out in a tile needs what lies round it, its *halo*:

- straight lines: all plots within the longest reach or anchor's reach of any animal, or within
  `KEPT_M` where that is less: R;
- ways over the ground: a way that costs no more than L metres stays within L metres, for no metre
  costs less than one. The border between two territories that a link crosses is where it is in the
  whole city if every plot is there that may own a cell of either side: within 2 L of the tile's
  plots. L is the widest break looked for, `break_hops` hops.

So the halo is max(R, 2 L) and a margin for what is mapped beside a plot. It is measured from the
plots themselves, not from the tile's edge.

Nothing else is worked out in tiles. Crossing a patch is free, so that a route no longer than
13.3 d50 (p = 1e-4) can lead any distance through gardens that touch: no halo in metres of map is
wide enough for it. Routes, reaches by routes, and sharing are worked out on the whole city, from
what the tiles hand in (`patchnet.city.whole`).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyproj
from numpy.typing import NDArray

from patchnet.city.sources import Box, MapLayer
from patchnet.core.crs_change import change_of
from patchnet.core.errors import DataFaults
from patchnet.core.faults import Fault
from patchnet.core.texts import _
from patchnet.knowledge.records import Group, Knowledge

__all__ = [
    "KEPT_M", "Tile", "Tiles", "cut_into_tiles", "halo_m", "longest_reach_m", "widened",
]  # fmt: skip

KEPT_M = 300.0
"""Longest straight lines that tiles keep, metres: with 50 plots a hectare 9 kB a plot."""

_ROUND = 1.01  # a box in another CRS is not quite a box there


@dataclass(frozen=True)
class Tile:
    """One tile.

    Attributes
    ----------
    name
        Its lower left corner in metres.
    corner
        The same as numbers.
    first, last
        Numbers of its plots: from the first up to the last, which is the next tile's first.
    box
        West, south, east and north of its plots, in the plots' own CRS.
    """

    name: str
    corner: tuple[float, float]
    first: int
    last: int
    box: Box

    @property
    def count(self) -> int:
        """How many plots it has."""
        return self.last - self.first


@dataclass(frozen=True, eq=False)
class Tiles:
    """A city cut into tiles.

    Attributes
    ----------
    side_m
        Side of a tile, metres.
    tiles
        Those that have plots, from the south-west, row by row.
    rows
        Shape (n,): which row of the layer each plot is, by its number.
    crs, metres
        The plots' own CRS, and the one in metres that the city is worked out in.
    """

    side_m: float
    tiles: tuple[Tile, ...]
    rows: NDArray[np.int64]
    crs: pyproj.CRS
    metres: pyproj.CRS

    def tile(self, name: str) -> Tile:
        """The tile of that name."""
        return next(one for one in self.tiles if one.name == name)

    def numbers(self, rows: NDArray[np.int64]) -> NDArray[np.int64]:
        """Numbers of the plots that stand in some rows of the layer."""
        order = np.argsort(self.rows, kind="stable")
        found: NDArray[np.int64] = order[np.searchsorted(self.rows[order], rows)]
        return found

    def window(self, tile: Tile, halo_m: float) -> Box:
        """Box round a tile's plots with their halo, in the plots' own CRS."""
        return widened(tile.box, halo_m, self.crs, self.metres)

    def around(self, tile: Tile, by_m: float) -> "tuple[Tile, ...]":
        """Tiles that may have plots within so many metres of a tile's plots, itself too."""
        west, south, east, north = self.window(tile, by_m)
        return tuple(
            one
            for one in self.tiles
            if one.box[0] <= east
            and one.box[2] >= west
            and one.box[1] <= north
            and one.box[3] >= south
        )


def longest_reach_m(groups: Sequence[Group]) -> float:
    """Return the longest straight line within which any animal looks for anything, metres.

    Parameters
    ----------
    groups
        The animals.
    """
    return max(
        max([group.anchor_reach.value, *(need.reach.value for need in group.needs)])
        for group in groups
    )


def halo_m(groups: Sequence[Group], knowledge: Knowledge, *, straight: bool) -> float:
    """Return how far round its plots a tile is read, metres (see above).

    Parameters
    ----------
    groups
        The animals.
    knowledge
        For the settings.
    straight
        Whether animals that walk go in straight lines too.
    """
    walked = [
        knowledge.setting("break_hops") * group.hop.value
        for group in groups
        if group.mode == "ground" and not straight
    ]
    margin = knowledge.setting("surface_margin_m") + knowledge.setting("house_near_m")
    near = min(longest_reach_m(groups), KEPT_M)
    return max(near, 2 * max(walked, default=0.0)) + margin


def widened(box: Box, by_m: float, own: pyproj.CRS, metres: pyproj.CRS) -> Box:
    """Return a box of one CRS, widened by so many metres on all sides, in that CRS.

    Parameters
    ----------
    box
        West, south, east, north, in degrees or metres as its CRS has them.
    by_m
        Metres.
    own, metres
        Its CRS, and one in metres.
    """
    if own.equals(metres):
        return box[0] - by_m, box[1] - by_m, box[2] + by_m, box[3] + by_m
    there = change_of(own, metres).transform_bounds(*box)
    wide = _ROUND * by_m
    around = there[0] - wide, there[1] - wide, there[2] + wide, there[3] + wide
    back = change_of(metres, own).transform_bounds(*around)
    return float(back[0]), float(back[1]), float(back[2]), float(back[3])


def cut_into_tiles(plots: MapLayer, crs: pyproj.CRS, metres: pyproj.CRS, side_m: float) -> Tiles:
    """Cut a layer of plots into tiles.

    Parameters
    ----------
    plots
        n plots.
    crs, metres
        Its CRS, and the one in metres.
    side_m
        Side of a tile, metres.

    Raises
    ------
    DataFaults
        If a plot has no outline, or there is none.
    """
    box = plots.boxes
    lacking = ~np.isfinite(box).all(axis=1)
    if lacking.any() or not len(box):
        raise DataFaults(_without_outline(plots, np.flatnonzero(lacking)))
    x, y = (box[:, 0] + box[:, 2]) / 2, (box[:, 1] + box[:, 3]) / 2
    if not crs.equals(metres):
        x, y = change_of(crs, metres).transform(x, y)
    column = np.floor(np.asarray(x) / side_m).astype(np.int64)
    row = np.floor(np.asarray(y) / side_m).astype(np.int64)
    order = np.lexsort((plots.rows, column, row))
    column, row, box = column[order], row[order], box[order]
    begin = np.flatnonzero(np.r_[True, (np.diff(column) != 0) | (np.diff(row) != 0)])
    tiles = []
    for first, last in zip(begin.tolist(), [*begin[1:].tolist(), len(order)], strict=True):
        corner = float(column[first] * side_m), float(row[first] * side_m)
        low, high = box[first:last, :2].min(axis=0), box[first:last, 2:].max(axis=0)
        around = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
        tiles.append(Tile(_name(corner), corner, first, last, around))
    return Tiles(side_m, tuple(tiles), plots.rows[order], crs, metres)


def _name(corner: tuple[float, float]) -> str:
    east, north = (math.floor(one) for one in corner)
    return f"E{east}N{north}"


def _without_outline(plots: MapLayer, at: NDArray[np.intp]) -> list[Fault]:
    if not len(plots.rows):
        return [
            Fault(
                "error", plots.where, None, None, _("The layer of plots has no row."),
                _("Draw the plots in it."),
            )
        ]  # fmt: skip
    return [
        Fault(
            "error", plots.where, int(row) + 1, None, _("The plot has no outline."),
            _("Draw it, or take the row out."),
        )
        for row in at
    ]  # fmt: skip
