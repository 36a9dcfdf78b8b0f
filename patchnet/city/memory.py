"""How much memory each piece of work takes, told before it begins.

Measured on terraces of 4,000 and 16,000 plots with houses, fences and roads, rounded up. What takes
most is the net that flows go over: a home shares with all within its reach, and the whole city is
shared at once. Where that net does not fit, an animal is shared in portions
(`patchnet.city.bunched`).
"""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from patchnet.city.asked import CityAsked
from patchnet.city.bunched import flow_edges
from patchnet.city.importance_work import is_measured, tiles_linked
from patchnet.city.tile_work import learnt, walkers
from patchnet.city.tiles import longest_reach_m
from patchnet.city.whole import SOURCES
from patchnet.core.errors import WrongUse
from patchnet.core.language_forms import in_sentence
from patchnet.core.texts import _
from patchnet.knowledge.records import Group

__all__ = [
    "GB", "abreast", "ensure_animals_fit", "ensure_importance_fits", "exact_bytes", "links_bytes",
    "losses_bytes", "portion_bytes", "reach_bytes", "tile_bytes",
]  # fmt: skip

GB = 1e9
_PROCESS = 0.35e9  # a process with what it imports
_A_PLOT = 20_000.0  # amounts and supplies, what is answered: 5 to 17 kB, by the animal
_A_PLOT_REACHED = 3_000.0  # outlines, boxes, and what routes reach
_A_MOVE = 60.0  # of a hop, where the reach leads by routes
_AN_EDGE = 200.0  # that flows go over, one month at a time: 54 to 193
_A_PLOT_READ = 45_000.0  # with fences, houses and features round it
_A_CELL = 75.0  # of the ground
_A_CELL_COVERED = 30.0  # more, while the user's own land cover is read
_A_PAIR_READ = 110.0  # while a tile's straight lines are put in order
_A_PLOT_LINKED = 50.0  # what is known of each plot while a tile's links are looked for
_A_LINK = 120.0  # of a hop, while it is looked for those that are needed
_A_PLOT_LOST = 800.0  # of the network, with its links


def _pairs(asked: CityAsked, longest_m: float) -> float:
    """About how many pairs of plots there are within a distance, from those that were counted."""
    return sum(_pairs_by_tile(asked, longest_m).values())


def _pairs_by_tile(asked: CityAsked, longest_m: float) -> dict[str, float]:
    """The same, of which each tile has the plot of the lower number, by the tile's name."""
    told = {one.name: asked.work.told(f"{one.name}.read")["pairs"] for one in asked.tiles.tiles}
    lengths = list(next(iter(told.values())))
    # Of a distance that nobody asked for, the next longer one, which has more pairs.
    counted = min(
        (one for one in lengths if float(one) >= longest_m),
        key=float,
        default=max(lengths, key=float),
    )
    wider = max(1.0, longest_m / float(counted)) ** 2
    return {name: one[counted] * wider for name, one in told.items()}


def tile_bytes(asked: CityAsked, cell_m: float | None) -> dict[str, float]:
    """Return how much memory each tile takes with its halo, bytes, by the tile's name.

    Parameters
    ----------
    asked
        What the city is asked.
    cell_m
        Side of a cell of the ground; None: none is painted yet.

    Returns
    -------
    dict
        Number of bytes.
    """
    tiles, reach = asked.tiles, asked.kept_m
    corner = np.array([one.corner for one in tiles.tiles])
    count = np.array([one.count for one in tiles.tiles])
    wide = tiles.side_m + 2 * asked.halo_m
    cells = 0.0 if cell_m is None else (wide / cell_m) ** 2
    a_cell = _A_CELL if asked.landcover is None else _A_CELL + _A_CELL_COVERED
    around = np.pi * reach**2 / (tiles.side_m + 2 * reach) ** 2
    found = {}
    for at, tile in enumerate(tiles.tiles):
        apart = np.abs(corner - corner[at])

        def within(by_m: float, apart: NDArray[np.float64] = apart) -> float:
            """Plots of the tile and so many metres round it; of a tile's part, that part."""
            part = ((tiles.side_m + by_m - apart) / tiles.side_m).clip(0, 1).prod(axis=1)
            return float(count @ part)

        pairs = tile.count * within(reach) * min(1.0, around) if cell_m is None else 0.0
        found[tile.name] = (
            _PROCESS + within(asked.halo_m) * _A_PLOT_READ + cells * a_cell + pairs * _A_PAIR_READ
        )
    return found


def abreast(needed: Sequence[float], allowed: float, workers: int) -> int:
    """Return how many pieces of work can go on side by side; at least one.

    Parameters
    ----------
    needed
        Number of bytes that each takes.
    allowed
        Number of bytes that all may take together.
    workers
        How many there may be at most.
    """
    # Where they work side by side, the process that shares the work out is one more.
    together = np.cumsum(sorted(needed, reverse=True)) + _PROCESS
    return max(1, min(workers, int((together <= allowed).sum())))


def portion_bytes(asked: CityAsked, group: Group) -> float:
    """Return how much memory an animal takes whose sharing goes in portions, bytes.

    Parameters
    ----------
    asked
        What the city is asked; all tiles were read.
    group
        The animal.

    Returns
    -------
    float
        Number of bytes.
    """
    plots = len(asked.tiles.rows)
    walks = group in walkers((group,), straight=asked.straight)
    routes = walks or group.hop.value < longest_reach_m([group])
    moves = _pairs(asked, min(group.hop.value, asked.kept_m)) * _A_MOVE if routes else 0.0
    return _PROCESS + plots * _A_PLOT + moves


def exact_bytes(asked: CityAsked, group: Group) -> float:
    """Return how much memory an animal takes that is shared exactly, bytes.

    Parameters
    ----------
    asked
        What the city is asked; all tiles told what their plots reach.
    group
        The animal.

    Returns
    -------
    float
        Number of bytes.
    """
    return portion_bytes(asked, group) + flow_edges(asked, group) * _AN_EDGE


def losses_bytes(asked: CityAsked) -> float:
    """Return how much memory it takes at most to find what goes with each patch, bytes.

    Parameters
    ----------
    asked
        What the city is asked.

    Returns
    -------
    float
        Number of bytes; if all plots are in reach.
    """
    return _PROCESS + len(asked.tiles.rows) * _A_PLOT_LOST


def reach_bytes(asked: CityAsked) -> float:
    """Return how much memory it takes to find what a tile's plots reach, bytes.

    Parameters
    ----------
    asked
        What the city is asked.

    Returns
    -------
    float
        Number of bytes.
    """
    return _PROCESS + len(asked.tiles.rows) * _A_PLOT_REACHED


def ensure_animals_fit(asked: CityAsked, allowed: float) -> Mapping[str, float]:
    """Make sure that each animal's answer fits at least in portions; return what that takes, bytes.

    Parameters
    ----------
    asked
        What the city is asked; all tiles were read.
    allowed
        Number of bytes that one may take.

    Returns
    -------
    mapping
        Number of bytes that each takes, by the animal's key.

    Raises
    ------
    WrongUse
        If one does not: it names all of them, and what would do.
    """
    groups = asked.groups(learnt(asked).region)
    needed = {group.key: portion_bytes(asked, group) for group in groups}
    if max(needed.values()) > allowed:
        told, rest = _too_much(groups, needed, allowed)
        raise WrongUse(
            _(
                "Who shares with whom is worked out on the whole city, and for these animals that "
                "does not fit into {allowed:.1f} GB, not even in portions: {told}. Allow more with "
                "--memory, or leave them out: {rest}"
            ).format(allowed=allowed / GB, told=told, rest=rest)
        )
    return needed


def links_bytes(asked: CityAsked, group: Group) -> dict[str, float]:
    """Return how much memory it takes to find the links at each tile's patches, bytes.

    Parameters
    ----------
    asked
        What the city is asked; all tiles were read.
    group
        The animal.

    Returns
    -------
    dict
        Number of bytes, by the tile's name.
    """
    plots = len(asked.tiles.rows)
    measured = is_measured(asked, group)
    moves = _pairs_by_tile(asked, group.hop.value)
    most = 2 * max(moves[one.name] / one.count for one in asked.tiles.tiles)  # at a plot
    found = {}
    for tile in asked.tiles.tiles:
        around = tiles_linked(asked, tile, group)
        others = sum(one.count for one in around)
        if measured:  # from some plots at a time
            pairs = SOURCES * min(most, others)
        else:
            pairs = min(sum(moves[one.name] for one in around), others**2 / 2)
        shapes = others * _A_PLOT_REACHED if measured else 0.0
        found[tile.name] = _PROCESS + plots * _A_PLOT_LINKED + shapes + pairs * _A_LINK
    return found


def ensure_importance_fits(asked: CityAsked, allowed: float) -> None:
    """Make sure that the importance of plots can be worked out for each animal.

    Parameters
    ----------
    asked
        What the city is asked; all tiles were read.
    allowed
        Number of bytes that one piece of work may take.

    Raises
    ------
    WrongUse
        If it does not fit for one: it names all of them, and what would do.
    """
    groups = asked.groups(learnt(asked).region)
    needed = {group.key: max(links_bytes(asked, group).values()) for group in groups}
    if max(needed.values()) > allowed:
        told, rest = _too_much(groups, needed, allowed)
        raise WrongUse(
            _(
                "What plots are worth is worked out from all links round a tile, and for these "
                "animals that does not fit into {allowed:.1f} GB: {told}. Say a smaller --tile, "
                "allow more with --memory, or leave them out: {rest}"
            ).format(allowed=allowed / GB, told=told, rest=rest)
        )


def _too_much(
    groups: Sequence[Group], needed: Mapping[str, float], allowed: float
) -> tuple[str, str]:
    """Which animals take more than is allowed, and how the others are asked for."""
    told = ", ".join(
        _("{name} {much:.1f} GB").format(name=in_sentence(one.name), much=needed[one.key] / GB)
        for one in groups if needed[one.key] > allowed
    )  # fmt: skip
    return told, " ".join(f"--group {one.key}" for one in groups if needed[one.key] <= allowed)
