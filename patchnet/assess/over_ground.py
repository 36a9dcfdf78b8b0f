"""Links of one group over the ground, in the form that provision, network and breaks use."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely import LineString

from patchnet.core.shown import Shown
from patchnet.movement.distance import Pairs
from patchnet.movement.ground_links import GroundLinks, ground_links
from patchnet.movement.surface import CostSurface

__all__ = ["GroundWays", "OverGround", "ways_over"]


class GroundWays(Protocol):
    """Moves of a group over the ground, wherever they were worked out."""

    @property
    def moves(self) -> Pairs:
        """As `OverGround.moves`."""

    def line(self, i: int, j: int) -> tuple[LineString, float]:
        """As `OverGround.line`."""


@dataclass(frozen=True, eq=False, repr=False)
class OverGround(Shown):
    """How a group gets about on the ground.

    Attributes
    ----------
    surface
        What a metre costs everywhere, and what barriers close.
    links
        Links between patches where their territories touch, and the territories themselves.
    moves
        The same links in cost millimetres between positions of the neighbourhood's plots; also,
        for every plot that is no patch, the move between it and the patch whose territory it
        lies in.
    """

    surface: CostSurface
    links: GroundLinks
    moves: Pairs

    def line(self, i: int, j: int) -> tuple[LineString, float]:
        """The way of one link between two plots (positions), and its length in metres."""
        at = self._at[min(i, j), max(i, j)]
        return self.links.line[at], float(self.links.length_m[at])

    @cached_property
    def _at(self) -> Mapping[tuple[int, int], int]:
        pairs = zip(self.links.i.tolist(), self.links.j.tolist(), strict=True)
        return {pair: at for at, pair in enumerate(pairs)}


def ways_over(
    surface: CostSurface,
    plots: pd.Index,
    patch: NDArray[np.bool_],
    *,
    longest_m: float,
    compiled: bool | None = None,
    like: OverGround | None = None,
) -> OverGround:
    """Link patches over a cost surface that is made already.

    Parameters
    ----------
    plots
        Ids of the neighbourhood's plots, n of them.
    patch
        Shape (n,), True where a plot is a patch.
    longest_m
        Cost metres beyond which no link is looked for.
    compiled
        True: compiled; False: plain; None: by size. Both give the same.
    like
        Ways over the same surface, as long at most, between other patches: see `territories`.
    """
    grown = None if like is None else like.links.growth
    links = ground_links(
        surface, patches=plots[patch], limit=longest_m, compiled=compiled, like=grown
    )
    to_plot = plots.get_indexer(surface.plots).astype(np.int32)
    fringe_i, fringe_j, fringe_cost = _fringe(surface, links)
    i = to_plot[np.r_[links.i, fringe_i]]
    j = to_plot[np.r_[links.j, fringe_j]]
    cost = np.round(np.r_[links.cost, fringe_cost] * 1000).astype(np.int64)
    i, j = np.minimum(i, j), np.maximum(i, j)
    order = np.lexsort((j, i))
    return OverGround(surface, links, Pairs(i=i[order], j=j[order], length_mm=cost[order]))


def _fringe(
    surface: CostSurface, links: GroundLinks
) -> "tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]":
    """Plots that are not patches: the patch nearest to any of their cells, and the cost to it."""
    label, owner = surface.labels.ravel(), links.growth.owner.ravel()
    cost = links.growth.cost.ravel()
    # In a patch's own cells owner and label are the same; elsewhere the plot is being visited.
    is_patch = np.zeros(len(surface.plots) + 1, dtype=bool)
    is_patch[owner[cost == 0]] = True
    visited = np.flatnonzero((label > 0) & (owner > 0) & ~is_patch[label])
    nearest = np.full(len(is_patch), np.inf)
    np.minimum.at(nearest, label[visited], cost[visited])
    visited = visited[cost[visited] == nearest[label[visited]]]
    order = visited[np.lexsort((owner[visited], label[visited]))]
    first = order[np.r_[True, np.diff(label[order]) != 0][: len(order)]]
    return (
        label[first].astype(np.int64) - 1,
        owner[first].astype(np.int64) - 1,
        cost[first].astype(np.float64),
    )
