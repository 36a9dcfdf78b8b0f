"""Breaks between connected groups of patches, with the line that would close each."""

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.assess.assessment import Break
from patchnet.assess.over_ground import GroundWays
from patchnet.movement.distance import Pairs, crossing_line
from patchnet.network.breaks import component_breaks
from patchnet.network.patch_graph import PatchGraph
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["find_breaks", "pairs_among"]


def pairs_among(pairs: Pairs, chosen: NDArray[np.bool_]) -> Pairs:
    """Pairs of which both ends are chosen, renumbered to the chosen plots.

    Parameters
    ----------
    pairs
        Pairs of n plots, lengths in whole millimetres.
    chosen
        Shape (n,), True where a plot is chosen.
    """
    number = np.cumsum(chosen, dtype=np.int32) - np.int32(1)
    keep = chosen[pairs.i] & chosen[pairs.j]
    return Pairs(
        i=number[pairs.i[keep]].astype(np.int32),
        j=number[pairs.j[keep]].astype(np.int32),
        length_mm=pairs.length_mm[keep],
    )


def find_breaks(
    neighbourhood: Neighbourhood,
    patch_graph: PatchGraph,
    pairs: Pairs,
    *,
    hop_m: float,
    longest_m: float,
    p_cut: float,
    ground: GroundWays | None = None,
) -> tuple[Break, ...]:
    """Return every break no wider than `longest_m`, the one that wins most linked homes first.

    Parameters
    ----------
    neighbourhood
        For the plots' outlines.
    patch_graph
        The patches and their links.
    pairs
        Distances among the patches of the graph, at least up to `longest_m`.
    hop_m
        Longest hop of the group, metres.
    longest_m
        Widest break that is looked at, metres.
    p_cut
        Chance below which a route counts as none, 0-1.
    ground
        Where the group walks: lengths in `pairs` are then costs, and crossings follow the
        cheapest way.
    """
    plots = neighbourhood.plots
    shapes = plots.geometry.to_numpy()
    at = {name: place for place, name in enumerate(plots.index)}
    tree = shapely.STRtree(shapes)
    breaks = []
    for one in component_breaks(patch_graph, pairs, hop_m=hop_m, longest_m=longest_m, p_cut=p_cut):
        ends = (patch_graph.ids[one.i], patch_graph.ids[one.j])
        start, end = at[ends[0]], at[ends[1]]
        if ground is None:
            line, width = crossing_line(shapes[start], shapes[end]), one.width_m
        else:
            line, width = ground.line(start, end)
        touched = tree.query(line, predicate="intersects")
        along = [
            (
                shapely.line_locate_point(line, shapely.Point(_first_point(shapes[place], line))),
                place,
            )
            for place in touched.tolist()
            if plots.index[place] not in ends
        ]
        breaks.append(
            Break(
                from_plot=str(ends[0]),
                to_plot=str(ends[1]),
                width_m=width,
                cost_m=one.width_m,
                line=line,
                plots_on_the_way=tuple(str(plots.index[place]) for _, place in sorted(along)),
                stepping_stones=one.stones,
                homes_won=one.homes_won,
                homes_each_side=(one.homes_i, one.homes_j),
            )
        )
    return tuple(breaks)


def _first_point(shape: shapely.Geometry, line: shapely.LineString) -> tuple[float, float]:
    """Where a crossing first meets a plot, as seen from the line's start."""
    met = shapely.intersection(shape, line)
    coordinates = shapely.get_coordinates(met)
    start = np.asarray(line.coords[0])
    nearest = coordinates[((coordinates - start) ** 2).sum(axis=1).argmin()]
    return float(nearest[0]), float(nearest[1])
