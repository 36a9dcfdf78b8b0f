"""Which street a house belongs to, and where it faces.

Where the address names a street, it is that one wherever the house stands: in sight of it, at a
corner, or behind others. Without an address it is the nearest street that the house sees without
crossing anybody else's ground. Where that leaves two (a corner), the party wall decides, for the
front of a house runs across its party walls; else the shorter side of the plot, for plots are
deeper than wide. The last two are guesses and are marked.
"""

from collections.abc import Collection, Sequence
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
    street
        Position of the street that each belongs to; -1 where it belongs to none.
    toward
        Point on that road nearest to the house, shape (n, 2).
    basis
        How it was told, in words; empty where it faces none.
    guessed
        Whether it was a guess between streets.
    """

    road: NDArray[np.intp]
    street: NDArray[np.intp]
    toward: NDArray[np.float64]
    basis: tuple[str, ...]
    guessed: NDArray[np.bool_]


class _Sight(NamedTuple):
    """One street in sight of a house: the nearest point of it, and whether that is its end."""

    name: str
    street: int
    road: int
    x: float
    y: float
    end: bool
    drive: bool


def find_facing(
    grounds: Shapes,
    houses: Shapes,
    addresses: Sequence[Collection[str]],
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
        The house on each, shape (n,); None where there is none (then its outline looks for the
        street).
    addresses
        Streets of each by its addresses, as `folded` gives them; empty where not said.
    party
        Direction of each house's party walls, shape (n, 2); NaN where it has none.
    streets
        Roads by their street.
    knowledge
        For ``base_front_reach_m``, ``base_shared_edge_m`` and ``base_front_edge_m``.
    """
    count = len(grounds)
    none = Facing(
        np.full(count, -1, dtype=np.intp), np.full(count, -1, dtype=np.intp),
        np.full((count, 2), np.nan), ("",) * count, np.zeros(count, dtype=bool),
    )  # fmt: skip
    if not count or not len(streets.names):
        return none
    bare = np.array([house is None for house in houses])
    looks = np.where(bare, grounds, houses)
    seen = _seen(grounds, looks, addresses, streets, knowledge)
    blind = np.setdiff1d(np.flatnonzero(~bare), seen["ground"].unique())
    if len(blind):  # a house behind others is reached by its drive
        by_drive = _seen(grounds, grounds, addresses, streets, knowledge, only=blind)
        seen = pd.concat([seen, by_drive.assign(drive=True)], ignore_index=True)
    basis = [""] * count
    sights: dict[int, list[_Sight]] = {}
    columns = ("ground", "street", "road", "x", "y", "end", "drive")
    for at, street, *rest in zip(*(seen[name].tolist() for name in columns), strict=True):
        sights.setdefault(at, []).append(_Sight(streets.names[street], street, *rest))
    for at in sorted({*sights, *(k for k in range(count) if addresses[k])}):
        rows = sights.get(at, [])
        own = [row for row in rows if streets.folded[row.street] in addresses[at]]
        belongs = _by_address(grounds[at], addresses[at], streets) if not own else -1
        if belongs >= 0 and (there := _on_road(looks[at], belongs, streets)) is not None:
            name = streets.names[belongs]
            sight, guess = there, True
            words = f"belongs to {name} by its address, out of sight of it: the front is guessed"
        elif rows:
            sight, words, guess = _choose(
                own or rows, grounds[at], party[at], streets, knowledge, address=bool(own),
                corner=len(rows) > 1,
            )  # fmt: skip
            if sight.drive:
                words, guess = f"reached from {sight.name} by its drive", True
            if belongs >= 0:
                words = f"belongs to {streets.names[belongs]} by its address; {words}"
        else:
            if belongs >= 0:
                none.street[at] = belongs
                basis[at] = f"belongs to {streets.names[belongs]} by its address"
            continue
        none.road[at] = sight.road
        none.street[at] = belongs if belongs >= 0 else sight.street
        none.toward[at] = (sight.x, sight.y)
        none.guessed[at] = guess
        basis[at] = words
    return Facing(none.road, none.street, none.toward, tuple(basis), none.guessed)


def _by_address(ground: shapely.Geometry, addresses: Collection[str], streets: Streets) -> int:
    """Position of the nearest street that an address names; -1 where it is not here."""
    found = [streets.nearest_called(one, ground) for one in sorted(addresses)]
    found = [at for at in found if at >= 0]
    away = [float(shapely.distance(streets.courses[at].pieces, ground).min()) for at in found]
    return found[int(np.argmin(away))] if found else -1


def _on_road(look: shapely.Geometry, street: int, streets: Streets) -> _Sight | None:
    """Nearest point of a street to a house that does not see it; None where it has no road."""
    roads = np.flatnonzero(streets.street == street)
    if not len(roads):
        return None
    road = int(roads[int(np.argmin(shapely.distance(streets.lines[roads], look)))])
    point = shapely.get_point(shapely.shortest_line(look, streets.lines[road]), 1)
    return _Sight(streets.names[street], street, road, point.x, point.y, end=False, drive=False)


def _seen(
    grounds: Shapes,
    looks: Shapes,
    addresses: Sequence[Collection[str]],
    streets: Streets,
    knowledge: Knowledge,
    *,
    only: NDArray[np.intp] | None = None,
) -> pd.DataFrame:
    """Streets in sight of each ground: the nearest road of each, of the best rank or addressed."""
    which = np.arange(len(grounds)) if only is None else only
    if not len(streets.lines):
        which = which[:0]
    tree = shapely.STRtree(streets.lines)
    at, road = tree.query(
        looks[which], predicate="dwithin", distance=knowledge.setting("base_front_reach_m")
    )
    faced = ~streets.bridge[road]
    at, road = at[faced], road[faced]
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
    said = [
        streets.folded[street] in addresses[at]
        for at, street in zip(table["ground"], table["street"], strict=True)
    ]
    return table[(table["rank"] == best) | np.array(said, dtype=bool)].reset_index(drop=True)


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
    party: NDArray[np.float64],
    streets: Streets,
    knowledge: Knowledge,
    *,
    address: bool,
    corner: bool,
) -> tuple[_Sight, str, bool]:
    """Choose between the streets in sight: which, how it was told, whether it is a guess."""
    if address and len(rows) == 1:
        words = " (a corner)" if corner else ""
        return rows[0], f"faces {rows[0].name}{words}, by its address", False
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
