"""A whole city put together from what its tiles left: what sharing and routes are worked out on.

Sharing has no halo that is exact: whoever shares with a neighbour shares with that neighbour's
neighbours too (a halo of 275 m leaves a tile's bumblebees 16 % off). Routes have none in metres of
map, since crossing a patch is free. So each animal is answered on the whole city, by the same
function that answers a street (`patchnet.assess.assess.answer_group`), from thin arrays: amounts
(1.3 kB a plot), who reaches whom (`patchnet.city.bunched`), moves, outlines. No layer of the map
and no grid of cells is in them. One animal at a time is held; what does not fit is refused before
it begins (`patchnet.city.memory`).
"""

from collections.abc import Iterator, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.assess.assess import Distances, Street
from patchnet.assess.blocks import along_a_curve
from patchnet.assess.bunches import Bunches
from patchnet.assess.over_ground import GroundWays
from patchnet.assess.provision import Readings
from patchnet.assess.reach import StraightReaches
from patchnet.assess.supply import supply_of
from patchnet.city.asked import CityAsked, Learnt
from patchnet.city.parts import from_bytes
from patchnet.city.tile_work import plots_of, walkers
from patchnet.city.tiles import Tile
from patchnet.knowledge.records import Group, Knowledge
from patchnet.movement.distance import Pairs, pairs_apart, pairs_within
from patchnet.network.adjacency import groups
from patchnet.read.neighbourhood import Answers, Neighbourhood

__all__ = [
    "SOURCES", "CityStreet", "TileDistances", "TileWays", "amounts_of", "pairs_kept",
    "pairs_measured", "pairs_of", "pairs_upto", "shapes_of", "supplies_of",
]  # fmt: skip

Flags = NDArray[np.bool_]

SOURCES = 500
"""Plots from which long straight lines are looked for at once."""


def amounts_of(asked: CityAsked) -> Readings:
    """Return the amounts on all plots as the tiles left them, shape (n, F).

    Parameters
    ----------
    asked
        What the city is asked; all tiles are worked out.
    """
    names = [one.name for one in asked.tiles.tiles]
    three = np.concatenate(
        [asked.work.array(f"{name}.ground.amounts.npy") for name in names], axis=1
    )
    if all(asked.work.told(f"{name}.ground")["certain"] for name in names):
        return Readings(three[0], three[0], three[0])
    return Readings(three[0], three[1], three[2])


def supplies_of(amounts: Readings, knowledge: Knowledge) -> Readings:
    """Return what amounts supply, shape (n, R, 12).

    Parameters
    ----------
    amounts
        Shape (n, F).
    knowledge
        For the supply of a unit of each feature.
    """
    expected = supply_of(amounts.expected, knowledge)
    if amounts.low is amounts.expected:
        return Readings(expected, expected, expected)
    return Readings(expected, supply_of(amounts.low, knowledge), supply_of(amounts.high, knowledge))


class CityStreet(Street):
    """What an animal's answer on a whole city is worked out from.

    Parameters
    ----------
    asked
        What the city is asked; all tiles are worked out.
    known
        What they told together.
    """

    def __init__(self, asked: CityAsked, known: Learnt) -> None:
        self._city = asked
        self.neighbourhood = _neighbourhood(asked, known)
        self.asked = asked.asked(known.cell_m)
        self.compiled = None
        self.bunches = None
        self.distances: Distances = TileDistances(asked, self.neighbourhood.plots)
        middles = self.neighbourhood.plots.geometry.centroid
        self.straight = StraightReaches(along_a_curve(middles.x.to_numpy(), middles.y.to_numpy()))
        self.area_m2 = self.neighbourhood.plots["area_m2"].to_numpy(float)
        self.kinds = list(self.neighbourhood.plots["kind"])

    def walked(
        self,
        group: Group,
        knowledge: Knowledge,  # noqa: ARG002 - as it was when the tiles were worked out
        patch: Flags,  # noqa: ARG002
        longest_m: float,  # noqa: ARG002
    ) -> GroundWays | None:
        """Return the links over the ground as the tiles left them; None where the group flies."""
        if group not in walkers((group,), straight=self._city.straight):
            return None
        return TileWays(self._city, group)


def _neighbourhood(asked: CityAsked, known: Learnt) -> Neighbourhood:
    """The plots alone; no layer of the map."""
    found = [plots_of(asked, tile) for tile in asked.tiles.tiles]
    ids = pd.Index(np.concatenate([one["id"] for one in found]), name="plot", dtype=object)
    columns = {
        name: np.concatenate([one[name] for one in found]).astype(object)
        for name in ("kind", "label", "street")
    }
    plots = gpd.GeoDataFrame(
        {**columns, "area_m2": np.concatenate([one["area_m2"] for one in found])},
        geometry=np.concatenate([from_bytes(one) for one in found]),
        index=ids,
        crs=asked.tiles.metres,
    )
    nothing = gpd.GeoDataFrame({"geometry": []}, geometry="geometry", crs=plots.crs)
    empty = np.empty((len(ids), 0))
    flags = empty.astype(bool)
    return Neighbourhood(
        name=asked.file.stem,
        plots=plots,
        answers=Answers(ids, (), empty, flags, flags),
        features=nothing,
        barriers=nothing,
        buildings=nothing,
        roads=nothing,
        footways=nothing,
        region=known.region,
    )


class TileDistances:
    """Straight lines among patches: of all between two clusters that touch only the shortest."""

    def __init__(self, asked: CityAsked, plots: gpd.GeoDataFrame) -> None:
        self._asked = asked
        self._shapes = plots.geometry.to_numpy()

    def among(self, patch: Flags, longest_m: float) -> Pairs:
        """Pairs of patches, shape (n,), no further apart than so many metres, renumbered."""
        number = np.cumsum(patch, dtype=np.int32) - np.int32(1)
        touching = pairs_upto(self._asked, 0.0)
        nothing = np.empty((0, 3), np.int32)
        joined = np.concatenate([nothing, *(_among(pairs, patch) for pairs in touching)])
        __, cluster = groups(len(patch), joined[:, 0], joined[:, 1])
        near = pairs_upto(self._asked, longest_m, patch, self._shapes)
        shortest = [_shortest(_among(pairs, patch), cluster) for pairs in near]
        links = _shortest(np.concatenate([nothing, *shortest]), cluster)
        found = np.concatenate([joined, links])
        found = found[np.lexsort((found[:, 1], found[:, 0]))]
        return Pairs(number[found[:, 0]], number[found[:, 1]], found[:, 2].astype(np.int64))

    def apart(self, patch: Flags, part: NDArray[np.intp], longest_m: float) -> Pairs:
        """The same, all of which the patches' parts (shape (patches,)) are two."""
        return pairs_apart(self._shapes[patch], part, longest_m)


class TileWays:
    """Moves over the ground that the tiles left; the way of each that is longer than a hop."""

    def __init__(self, asked: CityAsked, group: Group) -> None:
        found = [
            asked.work.arrays(f"{tile.name}.ground.{group.key}.npz") for tile in asked.tiles.tiles
        ]
        self.moves = pairs_of([one["moves"] for one in found])
        self._lines: dict[tuple[int, int], tuple[shapely.LineString, float]] = {}
        for one in found:
            ends = map(tuple, one["ends"].tolist())
            ways = zip(from_bytes(one), one["length_m"].tolist(), strict=True)
            self._lines |= dict(zip(ends, ways, strict=True))

    def line(self, i: int, j: int) -> tuple[shapely.LineString, float]:
        """Way between two plots, and its metres."""
        return self._lines[min(i, j), max(i, j)]


def pairs_of(parts: Sequence[NDArray[np.int32]]) -> Pairs:
    """Put the pairs of all tiles one behind the other: numbers rise from tile to tile.

    Parameters
    ----------
    parts
        Shape (m, 3) each: two plots, and millimetres.
    """
    whole = np.concatenate([np.empty((0, 3), np.int32), *parts])
    return Pairs(whole[:, 0].copy(), whole[:, 1].copy(), whole[:, 2].astype(np.int64))


def _among(pairs: NDArray[np.int32], patch: Flags) -> NDArray[np.int32]:
    """Pairs, shape (m, 3), of two patches."""
    return pairs[patch[pairs[:, 0]] & patch[pairs[:, 1]]]


def _shortest(pairs: NDArray[np.int32], cluster: NDArray[np.int32]) -> NDArray[np.int32]:
    """Of the pairs between two clusters of patches the shortest, and of these the first."""
    one, other = cluster[pairs[:, 0]], cluster[pairs[:, 1]]
    apart = one != other
    pairs, one, other = pairs[apart], one[apart], other[apart]
    low, high = np.minimum(one, other), np.maximum(one, other)
    order = np.lexsort((pairs[:, 1], pairs[:, 0], pairs[:, 2], high, low))
    low, high = low[order], high[order]
    first = np.ones(len(order), dtype=bool)
    first[1:] = (low[1:] != low[:-1]) | (high[1:] != high[:-1])
    return pairs[order[first]]


def pairs_upto(
    asked: CityAsked,
    longest_m: float,
    patch: Flags | None = None,
    shapes: NDArray[np.object_] | None = None,
) -> Iterator[NDArray[np.int32]]:
    """Pairs of plots up to a distance, shape (m, 3), some at a time; each once.

    Lines that are longer than those that the tiles kept are measured.

    Parameters
    ----------
    asked
        What the city is asked; all tiles were read.
    longest_m
        Metres.
    patch
        Shape (n,): plots between which longer lines are measured; None: all.
    shapes
        Shape (n,): outlines; None: as the tiles left them.
    """
    if longest_m <= asked.kept_m:
        yield from pairs_kept(asked, asked.tiles.tiles, longest_m)
        return
    shapes = shapes_of(asked) if shapes is None else shapes
    which = np.arange(len(shapes)) if patch is None else np.flatnonzero(patch)
    yield from pairs_measured(which, shapes[which], longest_m)


def pairs_kept(
    asked: CityAsked, tiles: Sequence[Tile], longest_m: float
) -> Iterator[NDArray[np.int32]]:
    """Pairs that some tiles kept, shape (m, 3), a tile at a time.

    Parameters
    ----------
    asked
        What the city is asked; all tiles were read.
    tiles
        Those that have the plot of the lower number.
    longest_m
        Metres.
    """
    for tile in tiles:
        found = asked.work.array(f"{tile.name}.read.pairs.npy")
        yield found[found[:, 2] <= round(longest_m * 1000)]


def pairs_measured(
    plots: NDArray[np.int64], shapes: NDArray[np.object_], longest_m: float
) -> Iterator[NDArray[np.int32]]:
    """Pairs up to a distance, shape (m, 3), measured from `SOURCES` neighbours at a time.

    Parameters
    ----------
    plots
        Shape (k,): numbers of the plots.
    shapes
        Shape (k,): their outlines.
    longest_m
        Metres.
    """
    along = Bunches(shapes).order  # neighbours together: few lie near any of a run
    which, shapes = plots[along], shapes[along]
    box = shapely.bounds(shapes)
    for first in range(0, len(which), SOURCES):
        mine = box[first : first + SOURCES]
        low, high = mine[:, :2].min(axis=0) - longest_m, mine[:, 2:].max(axis=0) + longest_m
        near = (box[first:, 2:] >= low).all(axis=1) & (box[first:, :2] <= high).all(axis=1)
        near[: len(mine)] = True
        at = first + np.flatnonzero(near)
        pairs = pairs_within(shapes[at], longest_m, sources=len(mine))
        ends = which[at][pairs.i], which[at][pairs.j]
        yield np.column_stack([np.minimum(*ends), np.maximum(*ends), pairs.length_mm]).astype(
            np.int32
        )


def shapes_of(asked: CityAsked, tiles: Sequence[Tile] | None = None) -> NDArray[np.object_]:
    """Return the outlines of plots, shape (n,), as the tiles left them.

    Parameters
    ----------
    asked
        What the city is asked; all tiles were read.
    tiles
        Whose plots; None: all.
    """
    tiles = asked.tiles.tiles if tiles is None else tiles
    return np.concatenate([from_bytes(plots_of(asked, one)) for one in tiles])
