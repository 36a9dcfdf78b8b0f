"""Which street a house faces: the nearest it sees without crossing anybody else's ground.

Where that leaves two streets (a corner), the address decides; else the party wall, for the front
of a house runs across its party walls; else the shorter side of the plot, for plots are deeper
than wide. The last two are guesses and are marked.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.base.sight import blocked
from patchnet.base.streets import Streets
from patchnet.knowledge.records import Knowledge

__all__ = ["Facing", "find_facing"]

Shapes = NDArray[np.object_]
_RANK = {"street": 0, "highway": 1, "lane": 2, "drive": 3}
_ALONG, _ACROSS = 0.8, 0.6  # cosines: within 37 degrees of the party wall, beyond 53 degrees
_TIE = 1.0  # metres


@dataclass(frozen=True, eq=False)
class Facing:
    """Where grounds look, shape (n,).

    Attributes
    ----------
    road
        Position of the road that each faces; -1 where it faces none.
    toward
        Point on that road nearest to the house, shape (n, 2).
    basis
        How it was told, in words; empty where it faces none.
    guessed
        Whether it was a guess between streets.
    """

    road: NDArray[np.intp]
    toward: NDArray[np.float64]
    basis: tuple[str, ...]
    guessed: NDArray[np.bool_]


class _Sight(NamedTuple):
    """One street in sight of a house: the nearest point of it, and whether that is its end."""

    name: str
    road: int
    x: float
    y: float
    end: bool
    drive: bool


def find_facing(
    grounds: Shapes,
    houses: Shapes,
    addresses: list[str],
    party: NDArray[np.float64],
    streets: Streets,
    knowledge: Knowledge,
) -> Facing:
    """Tell which road each ground faces.

    Parameters
    ----------
    grounds
        Outlines of plots, shape (n,).
    houses
        The house on each; None where there is none (then its outline looks for the street).
    addresses
        Street of each by its address; empty where not said.
    party
        Direction of each house's party walls, shape (n, 2); NaN where it has none.
    streets
        Roads by their street.
    knowledge
        For ``base_front_reach_m``, ``base_shared_edge_m`` and ``base_front_edge_m``.
    """
    count = len(grounds)
    none = Facing(
        np.full(count, -1, dtype=np.intp), np.full((count, 2), np.nan), ("",) * count,
        np.zeros(count, dtype=bool),
    )  # fmt: skip
    if not count or not len(streets.lines):
        return none
    bare = np.array([house is None for house in houses])
    looks = np.where(bare, grounds, houses)
    seen = _seen(grounds, looks, streets, knowledge)
    blind = np.setdiff1d(np.flatnonzero(~bare), seen["ground"].unique())
    if len(blind):  # a house behind others is reached by its drive
        by_drive = _seen(grounds, grounds, streets, knowledge, only=blind)
        seen = pd.concat([seen, by_drive.assign(drive=True)], ignore_index=True)
    basis = [""] * count
    sights: dict[int, list[_Sight]] = {}
    columns = ("ground", "street", "road", "x", "y", "end", "drive")
    for at, street, *rest in zip(*(seen[name].tolist() for name in columns), strict=True):
        sights.setdefault(at, []).append(_Sight(streets.names[street], *rest))
    for at, rows in sorted(sights.items()):
        sight, words, guess = _choose(
            rows, grounds[at], addresses[at], party[at], streets, knowledge
        )
        if sight.drive:
            words, guess = f"reached from {sight.name} by its drive", True
        none.road[at] = sight.road
        none.toward[at] = (sight.x, sight.y)
        none.guessed[at] = guess
        basis[at] = words
    return Facing(none.road, none.toward, tuple(basis), none.guessed)


def _seen(
    grounds: Shapes,
    looks: Shapes,
    streets: Streets,
    knowledge: Knowledge,
    *,
    only: NDArray[np.intp] | None = None,
) -> pd.DataFrame:
    """Streets in sight of each ground: the nearest road of each, best rank only."""
    which = np.arange(len(grounds)) if only is None else only
    tree = shapely.STRtree(streets.lines)
    at, road = tree.query(
        looks[which], predicate="dwithin", distance=knowledge.setting("base_front_reach_m")
    )
    ground = which[at]
    table = pd.DataFrame({"ground": ground, "road": road})
    table["street"] = streets.street[road]
    table["rank"] = [_RANK[streets.kind[one]] for one in road]
    table["away"] = shapely.distance(looks[ground], streets.lines[road])
    table = table.sort_values(["ground", "street", "away", "road"], ignore_index=True)
    table = table.drop_duplicates(["ground", "street"], ignore_index=True)
    lines = shapely.shortest_line(
        looks[table["ground"].to_numpy()], streets.lines[table["road"].to_numpy()]
    )
    clear = ~blocked(
        lines, table["ground"].to_numpy(), grounds, knowledge.setting("base_shared_edge_m")
    )
    clear &= ~_over_another_street(lines, table["street"].to_numpy(), streets, tree)
    table, lines = table[clear].reset_index(drop=True), lines[clear]
    ends = shapely.get_coordinates(shapely.get_point(lines, 1))
    table["x"], table["y"] = ends[:, 0], ends[:, 1]
    table["end"] = streets.at_end(table["street"].to_numpy(), ends)
    table["drive"] = False
    best = table.groupby("ground")["rank"].transform("min")
    return table[table["rank"] == best].reset_index(drop=True)


def _over_another_street(
    lines: Shapes, street: NDArray[np.intp], streets: Streets, tree: shapely.STRtree
) -> NDArray[np.bool_]:
    """Whether a line of sight crosses another street before it ends."""
    line, road = tree.query(lines, predicate="intersects")
    other = (streets.street[road] != street[line]) & np.isin(streets.kind[road], ("street",))
    line, road = line[other], road[other]
    ends = shapely.get_point(lines[line], 1)
    before = shapely.distance(streets.lines[road], ends) > _TIE
    # A street that only ends where the line ends is met at the junction, not crossed.
    crossed = np.zeros(len(lines), dtype=bool)
    crossed[line[before]] = True
    return crossed


def _choose(
    rows: list[_Sight],
    ground: shapely.Geometry,
    address: str,
    party: NDArray[np.float64],
    streets: Streets,
    knowledge: Knowledge,
) -> tuple[_Sight, str, bool]:
    """Choose between the streets in sight: which, how it was told, whether it is a guess."""
    by_name = [row for row in rows if row.name.casefold() == address.casefold()]
    if address and by_name:
        corner = " (a corner)" if len(rows) > 1 else ""
        return by_name[0], f"faces {by_name[0].name}{corner}, by its address", False
    left = [row for row in rows if not row.end] or rows
    if len(left) == 1:
        return left[0], f"faces {left[0].name}", False
    middle = shapely.get_coordinates(shapely.centroid(ground))[0]
    if np.isfinite(party).all():
        way = np.array([(row.x, row.y) for row in left]) - middle
        cosine = np.abs(way @ party) / np.hypot(*way.T)
        if (cosine >= _ALONG).sum() == 1 and (cosine <= _ACROSS).sum() == len(left) - 1:
            row = left[int(np.argmax(cosine))]
            return row, f"a corner: {row.name} guessed, by its party wall", True
    edge = ground.boundary
    front = []
    for row in left:
        line = streets.lines[row.road]
        reach = ground.distance(line) + knowledge.setting("base_front_edge_m")
        front.append(shapely.intersection(edge, line.buffer(reach)).length)
    order = np.argsort(front, kind="stable")
    row = left[int(order[0])]
    same = knowledge.setting("base_sides_alike")
    alike = " (sides alike)" if front[order[1]] <= front[order[0]] * same else ""
    return row, f"a corner: {row.name} guessed, the shorter side{alike}", True
