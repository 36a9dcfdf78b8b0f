"""Who reaches whom in a city: in bunches, tile by tile; and how animals are shared over them.

Pair by pair that would not fit. So each tile works out the rows of its own plots in bunches
(`patchnet.assess.bunches`) and leaves them in a file. Two ways of sharing go on from there:

- **exactly**, where the net of all bunches fits into the memory: the same filling as anywhere;
- **in portions** (`patchnet.assess.portions`), where it does not. They ask for nothing but products
  with the rows: what takes from a supply, and what is offered to a home. In each product a tile
  reads one number a plot and month from all tiles and hands on as many; its rows are held no longer
  than that. Totals come within some parts in a hundred of the exact filling. How far off they are
  is measured on a part of the same city in which both fit (`portions_error`), and told.

How the city is cut changes nothing but the last digits of sums. In these steps, after the tiles
were worked out:

1. `stops_step`: an animal's moves from stop to stop on the whole city, clusters that touch as one;
2. `reach_step`: the rows of a tile's plots, for all animals;
3. `choose_form`: exactly or in portions, by the number of blocks;
4. `answer_in_city`: the answer for the animal.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from patchnet.assess.assess import answer_group
from patchnet.assess.assessment import GroupAnswer
from patchnet.assess.blocks import Blocks
from patchnet.assess.breaks import pairs_among
from patchnet.assess.bunches import BunchedReach, Bunches, blocks_in_bunches
from patchnet.assess.homes import share_group, share_group_in_portions
from patchnet.assess.lodging import Pool, pool_of
from patchnet.assess.over_ground import GroundWays
from patchnet.assess.provision import Readings
from patchnet.assess.reach import Reach, RouteGraph, StraightReaches
from patchnet.assess.sharing import Shares
from patchnet.assess.supply import anchor_places, patches
from patchnet.city.asked import CityAsked, Learnt
from patchnet.city.tile_work import learnt, plots_of, walkers
from patchnet.city.whole import (
    CityStreet,
    TileWays,
    amounts_of,
    pairs_of,
    pairs_upto,
    shapes_of,
    supplies_of,
)
from patchnet.knowledge.records import Group, Knowledge
from patchnet.movement.distance import pairs_within

__all__ = [
    "NOT_OFF",
    "PORTIONS",
    "STOPS",
    "WHOLE",
    "answer_in_city",
    "choose_form",
    "flow_edges",
    "is_reached",
    "let_bunches_go",
    "portions_error",
    "reach_step",
    "shared_as",
    "stops_step",
]  # fmt: skip

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Runs = Sequence[Mapping[str, NDArray[np.int64]]]

STOPS = ".stops"
"""Ending of the piece of work that leaves an animal's moves."""

_FORM = ".form"

WHOLE, PORTIONS = "whole", "portions"
"""How supplies are shared."""

_TREE = 4.0  # edges of bunches in bunches, a plot, both ways
_KEPT_BYTES = 300e6  # rows of all tiles that are held rather than read for each product
_PART = 1_200  # plots on which both ways of sharing are worked out: 0.6 GB where all reach all


def stops_step(asked: CityAsked, key: str) -> None:
    """Leave the moves of an animal on the whole city, where it does not reach all in one.

    Parameters
    ----------
    asked
        What the city is asked; all tiles are worked out.
    key
        Of the animal.
    """
    group = asked.knowledge.groups[key]
    walks = group in walkers((group,), straight=asked.straight)
    routed = [one for one in _reaches_mm(group) if walks or one > _mm(group.hop.value)]
    files = []
    if routed:
        patch = _patch(asked, group)
        hop = min(group.hop.value, max(routed) / 1000)
        steps = TileWays(asked, group).moves if walks else pairs_of(list(pairs_upto(asked, hop)))
        graph, cluster = RouteGraph.of(steps, patch, _mm(group.hop.value)).pruned(patch)
        asked.work.put_arrays(
            f"{key}{STOPS}.npz",
            {"data": graph.data, "indices": graph.indices, "indptr": graph.indptr,
             "cluster": cluster},
        )  # fmt: skip
        files = [f"{key}{STOPS}.npz"]
    asked.work.finish(f"{key}{STOPS}", files, {"routed": routed})


def reach_step(asked: CityAsked, name: str) -> None:
    """Leave what a tile's plots reach, for each animal.

    Parameters
    ----------
    asked
        What the city is asked; `stops_step` was done for all animals.
    name
        Of the tile.
    """
    tile = asked.tiles.tile(name)
    plots = np.arange(tile.first, tile.last)
    keys = [one.key for one in asked.groups(learnt(asked).region)]
    left = [key for key in keys if not asked.work.is_done(_rows_piece(name, key))]
    made = {
        file
        for key in keys if key not in left
        for file in (asked.work.note(_rows_piece(name, key)) or {})["files"]
    }  # fmt: skip
    if not left:
        return
    bunches = _all_bunches(asked)
    for key in left:
        routed = set(asked.work.told(f"{key}{STOPS}")["routed"])
        graph = _route_graph(asked, key) if routed else None
        files, blocks = [], dict[str, int]()
        for reach_mm in _reaches_mm(asked.knowledge.groups[key]):
            own = reach_mm in routed
            file = _rows_file(name, key if own else None, reach_mm)
            if file in made:  # straight lines are the same for every animal
                found = asked.work.arrays(file)
            else:
                found = bunches.rows_of_ones(plots, reach_mm, graph if own else None)
                asked.work.put_arrays(file, found)
            made.add(file)
            files.append(file)
            blocks[str(reach_mm)] = len(found["bunches"])
        asked.work.finish(_rows_piece(name, key), files, {"blocks": blocks})


@lru_cache(maxsize=1)
def _all_bunches(asked: CityAsked) -> Bunches:
    """All plots in bunches, laid once in a process: of a large city it takes longer than a tile."""
    return Bunches(shapes_of(asked))


def let_bunches_go() -> None:
    """Let go of what `reach_step` keeps from one tile to the next."""
    _all_bunches.cache_clear()


def is_reached(asked: CityAsked, name: str, keys: Sequence[str]) -> bool:
    """Whether `reach_step` was done for a tile.

    Parameters
    ----------
    asked
        What the city is asked.
    name
        Of the tile.
    keys
        Of the animals.
    """
    return all(asked.work.is_done(_rows_piece(name, key)) for key in keys)


def flow_edges(asked: CityAsked, group: Group) -> float:
    """Return about how many edges the flows of an animal's needs go over, month by month.

    Parameters
    ----------
    asked
        What the city is asked; `reach_step` was done for all tiles.
    group
        The animal.

    Returns
    -------
    float
        Number of edges, counted as often as months are filled side by side.
    """
    pieces = [asked.work.told(_rows_piece(one.name, group.key)) for one in asked.tiles.tiles]
    plots = len(asked.tiles.rows)
    edges = 0.0
    for need in group.needs:
        blocks = sum(one["blocks"][str(_mm(need.reach.value))] for one in pieces)
        # Of the worst month each is looked at by itself; of a mean all side by side.
        months = 1 if need.month_rule == "worst" else len(need.months)
        edges += (blocks + _TREE * plots) * months
    return edges


def choose_form(asked: CityAsked, key: str, *, exact: bool) -> None:
    """Note how an animal is shared, once.

    Parameters
    ----------
    asked
        What the city is asked.
    key
        Of the animal.
    exact
        Whether the exact filling fits.
    """
    if not asked.work.is_done(f"{key}{_FORM}"):
        asked.work.finish(f"{key}{_FORM}", [], {"shared": WHOLE if exact else PORTIONS})


def shared_as(asked: CityAsked, key: str) -> str | None:
    """Return how an animal is shared, ``"whole"`` or ``"portions"``; None: not chosen yet.

    Parameters
    ----------
    asked
        What the city is asked.
    key
        Of the animal.
    """
    note = asked.work.note(f"{key}{_FORM}")
    return None if note is None else str(note["told"]["shared"])


def answer_in_city(asked: CityAsked, known: Learnt, group: Group) -> GroupAnswer:
    """Answer for one animal on the whole city, over bunches; plots by their numbers.

    Parameters
    ----------
    asked
        What the city is asked; `reach_step` was done for all tiles.
    known
        What the tiles told together.
    group
        The animal.
    """
    knowledge = _of_one_animal(asked.knowledge, group)
    amounts = amounts_of(asked)
    street = _BunchedStreet(asked, known)
    return answer_group(group, street, knowledge, amounts, supplies_of(amounts, knowledge))


NOT_OFF: Mapping[str, float] = {"tried_on": 0, "homes_off": 0.0, "plots_off": 0.0}
"""What `portions_error` tells where nothing was tried."""


def portions_error(asked: CityAsked, group: Group) -> dict[str, float]:
    """How far portions are off the exact filling, on a part of the city taken by itself.

    The part are neighbouring plots of the tile that has most.

    Parameters
    ----------
    asked
        What the city is asked; all tiles are worked out.
    group
        The animal.

    Returns
    -------
    dict
        ``tried_on``, how many plots; ``homes_off``, by how much the total of homes is off, over
        the exact total; ``plots_off``, by how much a plot's are off on the mean, over the exact
        mean.
    """
    tile = max(asked.tiles.tiles, key=lambda one: (one.count, one.name))
    shapes = shapes_of(asked)
    own = np.arange(tile.first, tile.last)
    along = Bunches(shapes[own]).order
    first = max(0, (len(own) - _PART) // 2)
    chosen = np.sort(own[along[first : first + _PART]])
    knowledge = _of_one_animal(asked.knowledge, group)
    whole = amounts_of(asked).expected[chosen]
    supply = supplies_of(Readings(whole, whole, whole), knowledge).expected
    places = anchor_places(whole, supply, knowledge, group)
    patch = patches(supply, knowledge, group, places)
    moves = None
    if group in walkers((group,), straight=asked.straight):
        is_chosen = np.zeros(len(shapes), dtype=bool)
        is_chosen[chosen] = True
        moves = pairs_among(TileWays(asked, group).moves, is_chosen)
    shared = StraightReaches(Bunches(shapes[chosen]).order)
    pairs = pairs_within(shapes[chosen], max(_reaches_mm(group)) / 1000)
    reach = Reach(pairs, patch, hop_m=group.hop.value, shared=shared, moves=moves)
    plots = [plots_of(asked, tile)[one][chosen - tile.first] for one in ("area_m2", "kind")]
    near = reach.within(group.anchor_reach.value)
    pool = pool_of(group, knowledge, near, plots[0], list(plots[1]))
    given = (group, knowledge, [supply], places[:, :, None], reach, pool)
    room, exact = share_group(*given, form=asked.quality, sheets=False)
    __, portioned = share_group_in_portions(*given, form=asked.quality)
    right, found = (room * one.quality for one in (exact, portioned))
    total = float(right.sum())
    if not total > 0:
        return {**NOT_OFF, "tried_on": len(chosen)}
    return {
        "tried_on": len(chosen),
        "homes_off": float(found.sum()) / total - 1,
        "plots_off": float(np.abs(found - right).sum()) / total,
    }


class _BunchedStreet(CityStreet):
    """What an answer over bunches is worked out from."""

    def __init__(self, asked: CityAsked, known: Learnt) -> None:
        super().__init__(asked, known)
        self._shapes = self.neighbourhood.plots.geometry.to_numpy()

    def reach_of(
        self,
        group: Group,
        patch: Flags,
        ground: GroundWays | None,  # noqa: ARG002 - it was asked for when the tiles were
    ) -> Reach:
        """Return the reach that the tiles left."""
        return _TileReach(self._city, group, Bunches(self._shapes), patch)

    def shared(
        self,
        group: Group,
        knowledge: Knowledge,
        supplies: Sequence[Array],
        places: Array,
        reach: Reach,
        pool: Pool | None,
        *,
        sheets: bool,
    ) -> tuple[Array, Shares]:
        """Share exactly or in portions, as was chosen."""
        if shared_as(self._city, group.key) == WHOLE:
            return super().shared(group, knowledge, supplies, places, reach, pool, sheets=sheets)
        return share_group_in_portions(
            group, knowledge, supplies, places, reach, pool, form=self.asked.quality
        )


class _TileReach(Reach):
    """Who reaches whom, as the tiles left it."""

    def __init__(self, asked: CityAsked, group: Group, bunches: Bunches, patch: Flags) -> None:
        super().__init__(pairs_of([]), patch, hop_m=group.hop.value)
        self._asked, self._group, self._bunches = asked, group, bunches
        self._known: dict[int, BunchedReach] = {}
        self._routed = set(asked.work.told(f"{group.key}{STOPS}")["routed"])

    def blocks(self, reach_m: float) -> Blocks:
        """Return what lies within reach as the net that flows are sent over."""
        reach_mm = _mm(reach_m)
        if reach_mm not in self._own_blocks:
            self._own_blocks[reach_mm] = blocks_in_bunches(self.within(reach_m))
        return self._own_blocks[reach_mm]

    def within(self, reach_m: float) -> Any:  # noqa: ANN401 - whatever multiplies as a matrix does
        """Shape (n, n): as a matrix of 1 where the column's plot lies within reach of the row's."""
        reach_mm = _mm(reach_m)
        if reach_mm not in self._known:
            key = self._group.key if reach_mm in self._routed else None
            files = tuple(_rows_file(one.name, key, reach_mm) for one in self._asked.tiles.tiles)
            held = _RowsInFiles(self._asked, files)
            self._known[reach_mm] = BunchedReach(self._bunches, held, listed=False)
        return self._known[reach_mm]


@dataclass(frozen=True)
class _RowsInFiles:
    """Rows of a reach, a file a tile; all are held where they are few."""

    asked: CityAsked
    files: tuple[str, ...]

    def __call__(self) -> Iterator[Mapping[str, NDArray[np.int64]]]:
        """Return all runs of rows, one after the other."""
        if self._few is not None:
            yield from self._few
            return
        for file in self.files:
            yield self.asked.work.arrays(file)

    @cached_property
    def _few(self) -> Runs | None:
        folder = self.asked.work.folder
        if sum((folder / one).stat().st_size for one in self.files) > _KEPT_BYTES:
            return None
        return [self.asked.work.arrays(one) for one in self.files]


def _patch(asked: CityAsked, group: Group) -> Flags:
    knowledge = _of_one_animal(asked.knowledge, group)
    amounts = amounts_of(asked).expected
    supply = supplies_of(Readings(amounts, amounts, amounts), knowledge).expected
    return patches(supply, knowledge, group, anchor_places(amounts, supply, knowledge, group))


def _of_one_animal(knowledge: Knowledge, group: Group) -> Knowledge:
    """The tables with the resources alone that an animal asks for: supplies are as much smaller."""
    wanted = {group.step_resource, *(one.resource for one in group.anchors)}
    wanted |= {need.resource for need in group.needs}
    return replace(
        knowledge,
        resources={key: one for key, one in knowledge.resources.items() if key in wanted},
        supplies=tuple(one for one in knowledge.supplies if one.resource in wanted),
    )


def _route_graph(asked: CityAsked, key: str) -> RouteGraph:
    found = asked.work.arrays(f"{key}{STOPS}.npz")
    size = len(found["indptr"]) - 1
    graph = sp.csr_array((found["data"], found["indices"], found["indptr"]), shape=(size, size))
    return RouteGraph(graph, found["cluster"])


def _reaches_mm(group: Group) -> list[int]:
    """Each distance within which the animal looks for something, mm."""
    wanted = [group.anchor_reach.value, *(need.reach.value for need in group.needs)]
    return sorted({_mm(one) for one in wanted})


def _mm(metres: float) -> int:
    return round(metres * 1000)


def _rows_piece(tile: str, key: str) -> str:
    return f"{tile}.{key}.reach"


def _rows_file(tile: str, key: str | None, reach_mm: int) -> str:
    """Rows of a tile; straight lines are nobody's own."""
    return f"{tile}.reach.{reach_mm}.npz" if key is None else f"{tile}.{key}.reach.{reach_mm}.npz"
