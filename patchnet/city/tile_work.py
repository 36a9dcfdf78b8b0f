"""What is worked out tile by tile: what is on the plots, how far apart they are, ways over ground.

In two steps, for what plots that nobody looked at are like is learnt from the whole city:

1. `read_step`: the tile's own plots, what was seen on them, and all straight lines from them.
2. `ground_step`: amounts with the unknown drawn in; for animals that walk, links and moves.
"""

from collections.abc import Mapping
from dataclasses import astuple
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.assess.assess import known_share
from patchnet.assess.over_ground import OverGround, ways_over
from patchnet.assess.supply import anchor_places, patches, supply_of
from patchnet.assess.unknown import counts_seen, draw_in_unknown
from patchnet.city.asked import CityAsked, Learnt
from patchnet.city.parts import shapes_as_bytes
from patchnet.city.read_tile import TileRead, read_tile, told_of_city
from patchnet.city.tiles import Tile
from patchnet.core.errors import DataFaults
from patchnet.core.faults import Fault
from patchnet.knowledge.records import Group
from patchnet.movement.distance import pairs_within
from patchnet.movement.ground_grid import cell_for, lay_grid, plot_widths
from patchnet.movement.land_cover import no_data, read_land_cover
from patchnet.movement.surface import cost_surface
from patchnet.read.feature_lists import plot_features

__all__ = [
    "LEARNT",
    "ensure_covered",
    "ground_step",
    "learn",
    "learnt",
    "plots_of",
    "read_step",
    "walkers",
]

LEARNT = "learnt"
"""Piece of work in which all tiles are put together before they are worked out."""


def walkers(groups: "tuple[Group, ...]", *, straight: bool) -> list[Group]:
    """Return the animals whose ways lead over the ground.

    Parameters
    ----------
    groups
        The animals.
    straight
        Whether all go in straight lines.
    """
    return [group for group in groups if group.mode == "ground" and not straight]


def read_step(asked: CityAsked, name: str) -> None:
    """Read a tile; leave its plots and the straight lines from them.

    Errors in the data are left as well, so that those of all tiles are told together.

    Parameters
    ----------
    asked
        What the city is asked.
    name
        Of the tile.
    """
    tile, piece = asked.tiles.tile(name), f"{name}.read"
    try:
        read = read_tile(asked, tile)
    except DataFaults as error:
        asked.work.finish(piece, [], {"faults": [astuple(one) for one in error.faults]})
        return
    hood, own = read.neighbourhood, read.own
    plots = hood.plots.iloc[own]
    codes, kinds = pd.factorize(plots["kind"].astype(str))
    amount = hood.answers.amount[own]
    texts = {
        "kind": plots["kind"], "label": plots["label"], "street": plots["street"],
        "features": pd.Series(plot_features(hood), index=hood.plots.index).iloc[own],
    }  # fmt: skip
    arrays: dict[str, NDArray[Any]] = {
        "id": _text(plots.index),
        **{key: _text(column) for key, column in texts.items()},
        "area_m2": plots["area_m2"].to_numpy(np.float64),
        "known_share": known_share(hood, asked.knowledge).to_numpy(np.float64)[own],
        "width_m": plot_widths(plots),
        "kinds": _text(kinds),
        "seen": np.stack([counts_seen(amount[codes == code]) for code in range(len(kinds))]),
        **shapes_as_bytes(plots.geometry.to_numpy()),
    }
    pairs = _pairs_from(asked, tile, read)
    asked.work.put_arrays(f"{piece}.npz", arrays)
    asked.work.put_array(f"{piece}.pairs.npy", pairs)
    west, south, east, north = hood.plots.total_bounds.tolist()
    lengths = {one: _count(pairs, one, asked.kept_m) for one in _reaches(asked)}
    told = {
        "faults": [astuple(one) for one in hood.faults],
        "region": hood.region,
        "credits": list(hood.credits),
        "area_m2": (east - west) * (north - south),
        "pairs": {f"{one:g}": count for one, count in lengths.items()},
    }
    asked.work.finish(piece, [f"{piece}.npz", f"{piece}.pairs.npy"], told)


def _text(values: Any) -> NDArray[np.str_]:  # noqa: ANN401 - a column of texts
    found = [str(one) for one in values]
    return np.array(found, dtype=f"<U{max([1, *map(len, found)])}")


def _reaches(asked: CityAsked) -> list[float]:
    """Each distance within which some animal looks for something, metres."""
    found = {group.anchor_reach.value for group in asked.widest}
    return sorted(found | {need.reach.value for group in asked.widest for need in group.needs})


def _count(pairs: NDArray[np.int32], reach_m: float, kept_m: float) -> int:
    """How many pairs there are within a reach; beyond the lines that are kept, at most."""
    count = int((pairs[:, 2] <= round(min(reach_m, kept_m) * 1000)).sum())
    return round(count * max(1.0, reach_m / kept_m) ** 2)


def _pairs_from(asked: CityAsked, tile: Tile, read: TileRead) -> NDArray[np.int32]:
    """Pairs of which the tile has the plot of the lower number: shape (m, 3), sorted."""
    others = np.setdiff1d(np.arange(len(read.numbers)), read.own)
    order = np.r_[read.own, others]
    shapes = read.neighbourhood.plots.geometry.to_numpy()[order]
    pairs = pairs_within(shapes, asked.kept_m, sources=tile.count)
    return _numbered(read.numbers[order], pairs.i, pairs.j, pairs.length_mm, tile)[0]


def _numbered(
    numbers: NDArray[np.int64],
    i: NDArray[np.int32],
    j: NDArray[np.int32],
    length_mm: NDArray[np.int64],
    tile: Tile,
) -> tuple[NDArray[np.int32], NDArray[np.intp]]:
    """Pairs by the numbers of their plots, those of the tile, sorted; and where each was."""
    one, other = numbers[i], numbers[j]
    low, high = np.minimum(one, other), np.maximum(one, other)
    mine = np.flatnonzero((low >= tile.first) & (low < tile.last))
    order = mine[np.lexsort((high[mine], low[mine]))]
    return np.column_stack([low[order], high[order], length_mm[order]]).astype(np.int32), order


def learn(asked: CityAsked) -> Learnt:
    """Put together what all tiles tell before they are worked out; leave and return it.

    Parameters
    ----------
    asked
        What the city is asked; every tile was read.

    Raises
    ------
    DataFaults
        If any tile's data have errors: all of them.
    """
    told = {one.name: asked.work.told(f"{one.name}.read") for one in asked.tiles.tiles}
    faults = [[Fault(*one) for one in each["faults"]] for each in told.values()]
    errors = dict.fromkeys(one for each in faults for one in each if one.severity == "error")
    if errors:
        raise DataFaults([*errors, *told_of_city(faults)])
    seen: dict[str, NDArray[np.float64]] = {}
    widths, regions = [], dict[str, int]()
    for tile in asked.tiles.tiles:
        arrays = asked.work.arrays(f"{tile.name}.read.npz")
        widths.append(arrays["width_m"])
        for kind, counts in zip(arrays["kinds"].tolist(), arrays["seen"], strict=True):
            seen[kind] = seen.get(kind, 0.0) + counts
        region = str(told[tile.name]["region"])
        regions[region] = regions.get(region, 0) + tile.count
    area = max(each["area_m2"] for each in told.values())
    cell = asked.cell_m or cell_for(np.concatenate(widths), area, asked.knowledge)
    region = max(regions, key=lambda one: (regions[one], one))
    kinds = sorted(seen)
    asked.work.put_arrays(
        f"{LEARNT}.npz",
        {"seen": np.stack([seen[kind] for kind in kinds]), "kinds": _text(kinds)},
    )
    asked.work.finish(LEARNT, [f"{LEARNT}.npz"], {"region": region, "cell_m": float(cell)})
    return learnt(asked)


def learnt(asked: CityAsked) -> Learnt:
    """Return what `learn` left.

    Parameters
    ----------
    asked
        What the city is asked.
    """
    told, arrays = asked.work.told(LEARNT), asked.work.arrays(f"{LEARNT}.npz")
    return Learnt(told["region"], told["cell_m"], arrays["seen"], tuple(arrays["kinds"].tolist()))


def ground_step(asked: CityAsked, name: str) -> None:
    """Leave the amounts on a tile's plots, and for animals that walk the moves from them.

    Parameters
    ----------
    asked
        What the city is asked; `learn` was done.
    name
        Of the tile.
    """
    tile, piece = asked.tiles.tile(name), f"{name}.ground"
    known = learnt(asked)
    read = read_tile(asked, tile)
    try:
        covered = _is_covered(asked, read, known.cell_m)
    except DataFaults as error:
        asked.work.finish(piece, [], {"faults": [astuple(one) for one in error.faults]})
        return
    amounts = draw_in_unknown(read.neighbourhood, asked.knowledge, known.prior())
    three = np.stack([one[read.own] for one in (amounts.expected, amounts.low, amounts.high)])
    asked.work.put_array(f"{piece}.amounts.npy", three)
    files = [f"{piece}.amounts.npy"]
    for group in walkers(asked.groups(known.region), straight=asked.straight):
        ways = _ways_of(group, asked, read, amounts.expected, known.cell_m)
        asked.work.put_arrays(f"{piece}.{group.key}.npz", _moves_from(ways, group, tile, read))
        files.append(f"{piece}.{group.key}.npz")
    certain = bool(np.array_equal(three[0], three[1]) and np.array_equal(three[0], three[2]))
    asked.work.finish(piece, files, {"certain": certain, "covered": covered, "faults": []})


def _is_covered(asked: CityAsked, read: TileRead, cell_m: float) -> bool:
    """Whether the user's own land cover says anything of a tile."""
    if asked.landcover is None or asked.straight:
        return False
    grid = lay_grid(read.neighbourhood.plots, asked.knowledge, cell_m)
    return bool(np.isfinite(read_land_cover(asked.landcover, grid, partly=True)).any())


def ensure_covered(asked: CityAsked) -> None:
    """Make sure that the user's own land cover can be used, and lies where the plots are.

    Parameters
    ----------
    asked
        What the city is asked; `ground_step` was done for every tile.

    Raises
    ------
    DataFaults
        If it cannot: what is wrong with it in any tile.
    """
    if asked.landcover is None or asked.straight:
        return
    told = [asked.work.told(f"{one.name}.ground") for one in asked.tiles.tiles]
    faults = dict.fromkeys(Fault(*one) for each in told for one in each["faults"])
    if faults:
        raise DataFaults(list(faults))
    if not any(each["covered"] for each in told):
        raise no_data(asked.landcover)


def _ways_of(
    group: Group,
    asked: CityAsked,
    read: TileRead,
    amounts: NDArray[np.float64],
    cell_m: float,
) -> OverGround:
    hood, knowledge = read.neighbourhood, asked.knowledge
    supply = supply_of(amounts, knowledge)
    patch = patches(supply, knowledge, group, anchor_places(amounts, supply, knowledge, group))
    surface = cost_surface(
        hood, group, knowledge, cell_m=cell_m, landcover=asked.landcover, partly=True
    )
    longest = knowledge.setting("break_hops") * group.hop.value
    return ways_over(surface, hood.plots.index, patch, longest_m=longest)


def _moves_from(
    ways: OverGround, group: Group, tile: Tile, read: TileRead
) -> Mapping[str, NDArray[Any]]:
    """Moves from a tile's plots; of those that are longer than a hop also the way (a break's)."""
    moves = ways.moves
    found, at = _numbered(read.numbers, moves.i, moves.j, moves.length_mm, tile)
    long = at[moves.length_mm[at] > round(group.hop.value * 1000)]
    linked = set(zip(ways.links.i.tolist(), ways.links.j.tolist(), strict=True))
    told = [
        (one, other, *ways.line(one, other))
        for one, other in zip(moves.i[long].tolist(), moves.j[long].tolist(), strict=True)
        if (one, other) in linked
    ]
    ends = read.numbers[np.array([one[:2] for one in told], dtype=np.int64).reshape(-1, 2)]
    lines = np.empty(len(told), dtype=object)
    lines[:] = [line for *__, line, ___ in told]
    turned = ends[:, 0] > ends[:, 1]  # a way leads from the plot of the lower number
    lines[turned] = shapely.reverse(lines[turned])
    return {
        "moves": found,
        "ends": np.sort(ends, axis=1),
        "length_m": np.array([length for *__, length in told], dtype=np.float64),
        **shapes_as_bytes(lines),
    }


def plots_of(asked: CityAsked, tile: Tile) -> dict[str, NDArray[Any]]:
    """Return the plots of a tile, as `read_step` left them, with their shapes.

    Parameters
    ----------
    asked
        What the city is asked.
    tile
        The tile.
    """
    return asked.work.arrays(f"{tile.name}.read.npz")
