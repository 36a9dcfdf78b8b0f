"""What each plot of a city is worth to the network of each animal, worked out tile by tile.

The measure is that of a street (`patchnet.network.importance.patch_importance`), over the same
links: of all pairs of patches within a hop, not only of the shortest between clusters that touch,
for when a patch goes its neighbour's link may be the way round. In these steps, after the animals
were answered:

1. `links_step`, an animal and a tile: the links at the tile's patches that any best route needs,
   whatever patch goes; some three a patch;
2. `losses_step`, an animal and a tile: what all others lose of the routes *from* the tile's patches
   when each patch goes, wherever it is;
3. `sum_step`, an animal: these added up, always in the same order of tiles, so that the digits are
   the same however many work side by side; percent of the whole.

A tile's routes lead no further than the longest that counts, L, measured along the network. Of
other tiles the links are read only where that leads: see `patchnet.network.importance_in_parts`
for why it is enough.
"""

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.city.animal_work import homes_of_patches
from patchnet.city.asked import CityAsked
from patchnet.city.tile_work import plots_of, walkers
from patchnet.city.tiles import Tile
from patchnet.city.whole import pairs_kept, pairs_measured, shapes_of
from patchnet.knowledge.records import Group
from patchnet.network.importance import Losses, importance_parts
from patchnet.network.importance_in_parts import losses_of_part, needed_at, needed_of, numbered

__all__ = [
    "IMPORTANCE", "LINKS", "LOSSES", "importance_rows", "is_measured", "links_step", "losses_step",
    "of_each", "sum_step", "tiles_linked",
]  # fmt: skip

LINKS, LOSSES, IMPORTANCE = ".links", ".losses", ".importance"
"""Endings of the pieces of work."""

Flags = NDArray[np.bool_]

_ROUNDING = 1e-9


def of_each(tile: str, key: str) -> str:
    """Return the name of a piece of work for an animal and a tile.

    Parameters
    ----------
    tile, key
        Name of the tile, key of the animal.
    """
    return f"{tile}.{key}"


def _told_apart(asked: CityAsked, name: str) -> tuple[Tile, Group]:
    tile, __, key = name.partition(".")
    return asked.tiles.tile(tile), asked.knowledge.groups[key]


def links_step(asked: CityAsked, name: str) -> None:
    """Leave the links at a tile's patches that best routes need, whatever patch goes.

    Parameters
    ----------
    asked
        What the city is asked; every animal is answered.
    name
        Of the piece, see `of_each`.
    """
    tile, group = _told_apart(asked, name)
    patch = ~np.isnan(homes_of_patches(asked, group.key))
    is_own = np.zeros(len(patch), dtype=bool)
    is_own[tile.first : tile.last] = patch[tile.first : tile.last]
    found = list(_rows_round(asked, tile, group, patch)) if is_own.any() else []
    near = is_own.copy()
    for rows in found:
        at_own = rows[is_own[rows[:, 0]] | is_own[rows[:, 1]]]
        near[at_own[:, 0]] = near[at_own[:, 1]] = True
    found = [rows[near[rows[:, 0]] & near[rows[:, 1]]] for rows in found]
    rows = np.concatenate([np.empty((0, 3), np.int32), *found])
    part = numbered(rows, np.flatnonzero(is_own))
    kept = needed_at(part, is_own[part.nodes])
    file = f"{name}{LINKS}.npy"
    asked.work.put_array(file, kept.rows.astype(np.int32))
    asked.work.finish(f"{name}{LINKS}", [file], {})


def tiles_linked(asked: CityAsked, tile: Tile, group: Group) -> tuple[Tile, ...]:
    """Return the tiles whose patches may be linked with those of a tile, itself too.

    Parameters
    ----------
    asked
        What the city is asked.
    tile
        The tile.
    group
        The animal.
    """
    return asked.tiles.around(tile, max(group.hop.value, asked.halo_m))


def _rows_round(
    asked: CityAsked, tile: Tile, group: Group, patch: Flags
) -> Iterator[NDArray[np.int32]]:
    """Links of patches, all that matter at a tile's and among those that these are linked with."""
    tiles, hop = tiles_linked(asked, tile, group), group.hop.value
    if is_measured(asked, group):
        for rows in pairs_measured(*_patches_near(asked, tile, tiles, patch, hop), hop):
            yield needed_of(rows)
        return
    if group in walkers((group,), straight=asked.straight):
        files = (f"{one.name}.ground.{group.key}.npz" for one in tiles)
        steps: Iterator[NDArray[np.int32]] = (asked.work.arrays(one)["moves"] for one in files)
    else:
        steps = pairs_kept(asked, tiles, hop)
    for rows in steps:
        yield rows[patch[rows[:, 0]] & patch[rows[:, 1]] & (rows[:, 2] <= round(hop * 1000))]


def is_measured(asked: CityAsked, group: Group) -> bool:
    """Whether an animal's hop is longer than the lines that tiles kept, so that they are measured.

    Parameters
    ----------
    asked
        What the city is asked.
    group
        The animal.
    """
    walks = group in walkers((group,), straight=asked.straight)
    return not walks and group.hop.value > asked.kept_m


def _patches_near(
    asked: CityAsked, tile: Tile, tiles: Sequence[Tile], patch: Flags, hop_m: float
) -> tuple[NDArray[np.int64], NDArray[np.object_]]:
    """Numbers and outlines of the patches within a hop of the box round a tile's own."""
    plots = np.concatenate([np.arange(one.first, one.last) for one in tiles])
    shapes = shapes_of(asked, tiles)[patch[plots]]
    plots = plots[patch[plots]]
    box = shapely.bounds(shapes)
    own = box[(plots >= tile.first) & (plots < tile.last)]
    low, high = own[:, :2].min(axis=0) - hop_m, own[:, 2:].max(axis=0) + hop_m
    near = (box[:, 2:] >= low).all(axis=1) & (box[:, :2] <= high).all(axis=1)
    return plots[near], shapes[near]


def losses_step(asked: CityAsked, name: str) -> None:
    """Leave what goes with each patch, wherever it is, of the routes from a tile's patches.

    Parameters
    ----------
    asked
        What the city is asked; `links_step` was done for all tiles.
    name
        Of the piece, see `of_each`.
    """
    tile, group = _told_apart(asked, name)
    homes = np.nan_to_num(homes_of_patches(asked, group.key))
    sources = tile.first + np.flatnonzero(homes[tile.first : tile.last] > 0)
    tiles = asked.tiles.tiles

    def links_at(place: int) -> NDArray[np.int32]:
        piece = of_each(tiles[place].name, group.key)
        return np.asarray(asked.work.array(f"{piece}{LINKS}.npy"))

    nodes, found = losses_of_part(
        sources,
        homes,
        np.array([one.first for one in tiles]),
        links_at,
        d50_m=group.d50.value,
        p_cut=asked.knowledge.setting("p_cut"),
    )
    hit, own = np.flatnonzero(found.lost), np.searchsorted(nodes, sources)
    file = f"{name}{LOSSES}.npz"
    asked.work.put_arrays(
        file,
        {
            "plots": nodes[hit],
            "lost": found.lost[hit],
            "sources": sources,
            "reached": found.reached[own],
        },
    )
    asked.work.finish(f"{name}{LOSSES}", [file], {})


def sum_step(asked: CityAsked, key: str) -> None:
    """Leave an animal's columns of importance by the plots' numbers; tell which links most.

    Parameters
    ----------
    asked
        What the city is asked; `losses_step` was done for all tiles.
    key
        Of the animal.
    """
    homes = homes_of_patches(asked, key)
    losses = Losses(np.zeros(len(homes)), np.zeros(len(homes)))
    for tile in asked.tiles.tiles:
        found = asked.work.arrays(f"{of_each(tile.name, key)}{LOSSES}.npz")
        losses.lost[found["plots"]] += found["lost"]
        losses.reached[found["sources"]] = found["reached"]
    columns = importance_parts(np.nan_to_num(homes), losses)
    records = np.empty(len(homes), [(f"{part}_{key}", np.float64) for part in columns])
    for part, values in columns.items():
        records[f"{part}_{key}"] = np.where(np.isnan(homes), np.nan, values)
    asked.work.put_array(f"{key}{IMPORTANCE}.npy", records)
    told = _links_most(asked, losses.lost, float(np.nan_to_num(homes) @ losses.reached))
    asked.work.finish(f"{key}{IMPORTANCE}", [f"{key}{IMPORTANCE}.npy"], told)


def _links_most(
    asked: CityAsked, lost: NDArray[np.float64], pc_numerator: float
) -> dict[str, object]:
    """The plot with which most goes of what is linked among others; of equal ones the first id."""
    most = float(lost.max())
    if not most > _ROUNDING * pc_numerator:
        return {"links_most": "", "links_most_tile": "", "links_most_homes": 0.0}
    equal = np.flatnonzero(lost >= most * (1 - _ROUNDING))
    found = []
    for tile in asked.tiles.tiles:
        here = equal[(equal >= tile.first) & (equal < tile.last)]
        if len(here):
            ids = plots_of(asked, tile)["id"][here - tile.first]
            found += [(str(one), tile.name) for one in ids]
    plot, tile_name = min(found)
    left = max(pc_numerator - most, 0.0)
    return {
        "links_most": plot,
        "links_most_tile": tile_name,
        "links_most_homes": math.sqrt(pc_numerator) - math.sqrt(left),
    }


def importance_rows(asked: CityAsked, key: str, tile: Tile) -> dict[str, NDArray[np.float64]]:
    """Return the columns of importance of a tile's plots.

    Parameters
    ----------
    asked
        What the city is asked; `sum_step` was done for the animal.
    key
        Of the animal.
    tile
        The tile.

    Returns
    -------
    dict
        ``loss_<key>``, ``own_``, ``flow_`` and ``connector_``, shape (plots of the tile,), percent
        of the PC numerator; not a number where the plot is no patch.
    """
    rows = np.array(asked.work.array(f"{key}{IMPORTANCE}.npy")[tile.first : tile.last])
    return {name: rows[name] for name in rows.dtype.names or ()}
