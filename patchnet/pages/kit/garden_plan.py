"""The neighbourhood as a gardener draws it: grounds, hedges, crowns and small things on each plot.

What somebody drew lies where it was drawn. Of the rest only the amount is known: it is laid out on
its plot in true proportion by one rule, from the house outwards, and marked as laid out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Literal, get_args

import numpy as np
import shapely
import shapely.ops
from numpy.typing import NDArray

from patchnet.knowledge.features import Feature
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.lying_plot import LyingPlot, lying_plots
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["GROUNDS", "SIGNS", "GardenPlan", "Ground", "Sign", "Strips", "garden_plan"]

Array = NDArray[np.float64]
Ground = Literal[
    "decking", "paving", "plastic", "flowers", "flower_lawn", "lawn", "other", "unseen",
    "long_grass", "marsh", "vegetables", "soil", "bushes", "water",
]  # fmt: skip
"""What ground can be, from the house outwards; ``other``: nobody said; ``unseen``: nobody looked.
Water lies in the largest of the others."""
Sign = Literal["wood", "stones", "dish", "box"]
"""Small things: logs, stones, a dish or tub of water, a box or shelter."""
GROUNDS: tuple[Ground, ...] = get_args(Ground)
SIGNS: tuple[Sign, ...] = get_args(Sign)

_STRIPS: tuple[str, ...] = tuple(key for key in GROUNDS if key != "water")
_IN_LEGEND = (
    "lawn", "flower_lawn", "long_grass", "flowers", "vegetables", "bushes", "hedge", "tree",
    "water", "marsh", "soil", "paving", "plastic", "decking", "other", "unseen", *SIGNS,
)  # fmt: skip
_MOST_SIGNS = 3  # of one feature on one plot: more would hide the ground
_SLIVER_M2 = 0.05
_SLIVER_PART = 0.002
_HEDGE_LINE = "dotted"  # how barriers that are hedges are drawn, in barrier_kinds.csv
# Places of things on a plot: part of the way from the house, part of the way across. Far corners
# first, then along the sides.
_TREE_PLACES = (
    (0.86, 0.22), (0.80, 0.80), (0.52, 0.18), (0.48, 0.84), (0.30, 0.20), (0.68, 0.52),
    (0.26, 0.80), (0.40, 0.50), (0.92, 0.52), (0.62, 0.14), (0.66, 0.88), (0.18, 0.48),
)  # fmt: skip
_SIGN_PLACES = (
    (0.94, 0.50), (0.90, 0.90), (0.94, 0.10), (0.72, 0.94), (0.74, 0.06), (0.60, 0.94),
    (0.58, 0.06), (0.44, 0.94), (0.42, 0.06), (0.84, 0.62), (0.30, 0.92), (0.30, 0.08),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Strips:
    """How a plot is cut across.

    Attributes
    ----------
    turn_deg
        Direction from the house outwards, degrees from east, against the clock, 0-360.
    ends
        What ground it is, and how far from the plot's near end it reaches, m, one behind the other.
    """

    turn_deg: float
    ends: tuple[tuple[str, float], ...]


@dataclass(frozen=True, eq=False)
class GardenPlan:
    """What is drawn on the plots, in metres in their CRS.

    Attributes
    ----------
    grounds
        What ground it is to its pieces, polygons; those that are drawn later lie on top.
    strips
        How each plot is cut across, by its row: the same as pieces, for a page that cuts by itself.
    whole
        Ground that lies where it was drawn, and ponds, as pieces: what `strips` does not tell.
    crowns
        Shape (t, 3): middle and radius of each crown, m.
    hedges
        Lines of hedges that stand on plots (not those that are barriers).
    signs
        Small things: kind to places, shape (s, 2).
    laid
        Ids of the plots on which something is laid out by rule: its position is not known.
    unseen
        Ids of the plots with ground of which nobody has said what it is.
    """

    grounds: Mapping[Ground, tuple[shapely.Polygon, ...]]
    strips: Mapping[int, Strips]
    whole: Mapping[Ground, tuple[shapely.Polygon, ...]]
    crowns: Array
    hedges: tuple[shapely.LineString, ...]
    signs: Mapping[Sign, Array]
    laid: frozenset[str]
    unseen: frozenset[str]

    @property
    def kinds(self) -> tuple[str, ...]:
        """What there is to explain in a legend, in a fixed order."""
        there: set[str] = {key for key in GROUNDS if self.grounds.get(key)}
        there |= {key for key in SIGNS if len(self.signs.get(key, ()))}
        there |= ({"hedge"} if self.hedges else set()) | ({"tree"} if len(self.crowns) else set())
        return tuple(key for key in _IN_LEGEND if key in there)


def garden_plan(neighbourhood: Neighbourhood, knowledge: Knowledge) -> GardenPlan:
    """Lay out what is known of every plot.

    Parameters
    ----------
    neighbourhood
        With the answers, and what was drawn.
    knowledge
        For what each feature is drawn as, the ground it takes and the breadth of crowns.

    Returns
    -------
    GardenPlan
        Areas on a plot are in proportion to what is known of it: where amounts take more ground
        than the plot has, they shrink alike. The same plot is laid out alike whatever its
        neighbours are, but for the end that its house stands at.
    """
    answers = neighbourhood.answers
    asked = [knowledge.features[key] for key in answers.features]
    amounts = np.nan_to_num(answers.amount, nan=0.0)
    looked = np.array([one.drawn in GROUNDS for one in asked], dtype=bool)
    open_ = np.any(np.isnan(answers.amount[:, looked]), axis=1)
    shapes = neighbourhood.plots.geometry.to_numpy()
    ids = [str(one) for one in neighbourhood.plots.index]
    drawn = _Drawn(neighbourhood, knowledge)
    left = shapes.copy()
    for at, ident in enumerate(ids):
        if ident in drawn.areas_of:
            left[at] = shapely.difference(shapes[at], shapely.union_all(drawn.areas_of[ident]))
    walls = _hedge_barriers(neighbourhood, knowledge, shapes)
    whole: dict[str, list[shapely.Polygon]] = {key: list(drawn.grounds[key]) for key in GROUNDS}
    laid, unseen = set(), set()
    cut: list[_Cut] = []
    strips_of: dict[int, Strips] = {}
    for at, (ident, here) in enumerate(zip(ids, lying_plots(neighbourhood, left), strict=True)):
        if here is None:
            continue
        there = [
            (asked[k], float(amounts[at, k]))
            for k in np.flatnonzero(amounts[at] > 0)
            if (ident, asked[k].key) not in drawn.rows and asked[k].drawn != "none"
        ]
        strips = _strips(there, float(shapely.area(left[at])), seen=not open_[at])
        if "unseen" in strips:
            unseen.add(ident)
        ends, corners = _cut(here, strips)
        cut += [_Cut(key, at, shape) for key, shape in corners]
        strips_of[at] = Strips(float(np.degrees(np.arctan2(here.sin, here.cos)) % 360), ends)
        if there:
            laid.add(ident)
        _set_out(here, there, drawn)
        metres = sum(amount for one, amount in there if one.drawn == "hedge") - walls[at]
        drawn.hedges += _hedge(here, left[at], metres)
    for key, shape in _clipped(cut, left):
        drawn.grounds[key].append(shape)
        if key == "water":
            whole[key].append(shape)
    return GardenPlan(
        grounds={key: tuple(drawn.grounds[key]) for key in GROUNDS},
        strips=strips_of,
        whole={key: tuple(whole[key]) for key in GROUNDS},
        crowns=np.array(drawn.crowns, dtype=np.float64).reshape(-1, 3),
        hedges=tuple(drawn.hedges),
        signs={key: np.array(drawn.signs[key], dtype=np.float64).reshape(-1, 2) for key in SIGNS},
        laid=frozenset(laid),
        unseen=frozenset(unseen),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Cut:
    """A strip before it is cut to its plot: what it is, the plot's row, corners on the ground."""

    key: str
    plot: int
    corners: Array


class _Drawn:
    """What somebody drew on the plots, sorted by how it is shown."""

    def __init__(self, neighbourhood: Neighbourhood, knowledge: Knowledge) -> None:
        self.grounds: dict[str, list[shapely.Polygon]] = {key: [] for key in GROUNDS}
        self.areas_of: dict[str, list[shapely.Geometry]] = {}
        self.crowns: list[tuple[float, float, float]] = []
        self.signs: dict[str, list[tuple[float, float]]] = {key: [] for key in SIGNS}
        self.hedges: list[shapely.LineString] = []
        self.rows: set[tuple[str, str]] = set()
        table = neighbourhood.features
        for plot, key, shape in zip(
            table["plot"].astype(str), table["feature"].astype(str), table.geometry, strict=True
        ):
            feature = knowledge.features.get(key)
            if feature is None or shape is None or shape.is_empty:
                continue
            if feature.drawn in self.grounds and shapely.get_dimensions(shape) == 2:
                self.grounds[feature.drawn] += _polygons(shape)
                self.areas_of.setdefault(plot, []).append(shape)
            elif feature.drawn == "tree":
                middle = shapely.get_coordinates(shapely.centroid(shape))[0]
                wide = feature.crown.value if feature.crown else 0.0
                if shapely.get_dimensions(shape) == 2:
                    wide = 2 * float(np.sqrt(shapely.area(shape) / np.pi))
                self.crowns.append((float(middle[0]), float(middle[1]), wide / 2))
            elif feature.drawn == "hedge" and shapely.get_dimensions(shape) >= 1:
                line = shape if shapely.get_dimensions(shape) == 1 else shapely.boundary(shape)
                self.hedges += list(shapely.get_parts(line))
            elif feature.drawn in self.signs:
                east, north = shapely.get_coordinates(shapely.centroid(shape))[0]
                self.signs[feature.drawn].append((float(east), float(north)))
            else:
                continue
            self.rows.add((plot, key))


def _strips(
    there: Sequence[tuple[Feature, float]], whole: float, *, seen: bool
) -> dict[str, float]:
    """Areas of what covers a plot, m2, that add up to the whole of it; in no order."""
    strips: dict[str, float] = {}
    for one, amount in there:
        if one.drawn in GROUNDS:
            strips[one.drawn] = strips.get(one.drawn, 0.0) + amount * one.ground.value
    total = sum(strips.values())
    shrink = min(1.0, whole / total) if total > 0 else 1.0
    strips = {key: area * shrink for key, area in strips.items() if area > 0}
    rest = whole - sum(strips.values())
    if rest > _SLIVER_PART * whole:
        strips["other" if seen else "unseen"] = rest
    return strips


def _cut(
    lying: LyingPlot, strips: Mapping[str, float]
) -> tuple[tuple[tuple[str, float], ...], list[tuple[str, Array]]]:
    """Cut a plot across into strips: their far ends, m, and corners, shape (k, 2), with a pond."""
    water = strips.get("water", 0.0)
    dry: dict[str, float] = {key: strips[key] for key in _STRIPS if strips.get(key, 0.0) > 0}
    host = ""
    if dry and water:
        host = max(dry, key=lambda key: dry[key])
        dry[host] += water
    elif water:
        dry["water"] = water
    ends = lying.cuts(np.cumsum([0.0, *dry.values()]))
    told = tuple(
        (key, float(end - lying.west))
        for key, end in zip(dry, ends[1:], strict=True)
        if key != "water"
    )
    ends[0], ends[-1] = lying.west - 1.0, lying.east + 1.0
    low, high = float(lying.start[:, 1].min()) - 1.0, float(lying.start[:, 1].max()) + 1.0
    made: list[tuple[str, Array]] = []
    for key, left, right in zip(dry, ends[:-1], ends[1:], strict=True):
        corners = np.array([[left, low], [right, low], [right, high], [left, high]])
        made.append((key, lying.ground(corners)))
        if key == host:
            ends_ = max(float(left), lying.west), min(float(right), lying.east)
            made.append(("water", _pond(lying, *ends_, water)))
    return told, made


def _pond(lying: LyingPlot, left: float, right: float, area: float) -> Array:
    """The outline of a pond in the middle of a strip, shape (k, 2): an ellipse that fits."""
    middle = (left + right) / 2
    low, high = lying.across(middle)
    long, wide = right - left, high - low
    part = np.pi / 4 * long * wide
    shrink = np.sqrt(area / part) if part > 0 else 1.0
    # Nearly round where there is room, else as long as the strip lets it be.
    across = min(np.sqrt(area / np.pi) * 0.85, wide / 2 * 0.9)
    along = area / (np.pi * across) if across > 0 else long / 2 * shrink
    if along > long / 2 * 0.95:
        along, across = long / 2 * min(1.0, shrink), wide / 2 * min(1.0, shrink)
    turn = np.linspace(0, 2 * np.pi, 20, endpoint=False)
    return lying.ground(
        np.column_stack([middle + along * np.cos(turn), (low + high) / 2 + across * np.sin(turn)])
    )


def _set_out(lying: LyingPlot, there: Sequence[tuple[Feature, float]], drawn: "_Drawn") -> None:
    """Give crowns and small things their places on a plot, the widest crowns first."""
    trees = [
        (one.crown.value / 2, one.key, max(1, round(amount)))
        for one, amount in there
        if one.drawn == "tree" and one.crown is not None
    ]
    places = iter(_TREE_PLACES)
    for radius, __, many in sorted(trees, key=lambda tree: (-tree[0], tree[1])):
        for part in islice(places, many):
            east, north = lying.place(part, radius * 0.8)
            drawn.crowns.append((east, north, radius))
    spots = iter(_SIGN_PLACES)
    for one, amount in there:
        if one.drawn in drawn.signs:
            for part in islice(spots, min(_MOST_SIGNS, max(1, round(amount)))):
                drawn.signs[one.drawn].append(lying.place(part, 0.6))


def _hedge_barriers(
    neighbourhood: Neighbourhood, knowledge: Knowledge, shapes: NDArray[np.object_]
) -> Array:
    """Shape (n,): metres of each plot's boundary along which a barrier is drawn that is a hedge."""
    lines = neighbourhood.barriers
    hedges = [
        shape
        for kind, shape in zip(lines["kind"].astype(str), lines.geometry, strict=True)
        if kind in knowledge.barrier_kinds and knowledge.barrier_kinds[kind].line == _HEDGE_LINE
    ]
    found = np.zeros(len(shapes))
    if hedges:
        tree = shapely.STRtree(hedges)
        near = shapely.buffer(shapes, knowledge.setting("wall_near_m"))
        at, which = tree.query(near, predicate="intersects")
        along = shapely.length(shapely.intersection(tree.geometries[which], near[at]))
        np.add.at(found, at, along)
    return found


def _hedge(lying: LyingPlot, shape: shapely.Geometry, metres: float) -> list[shapely.LineString]:
    """A hedge of so many metres just inside the boundary, from the far end of a plot."""
    if metres < 1.0:
        return []
    inside = shapely.buffer(shape, -0.4, join_style="mitre")
    inside = inside if not inside.is_empty else shape
    outer = max(shapely.get_parts(inside), key=lambda one: float(one.area)).exterior
    corners = shapely.get_coordinates(outer)[:-1]
    flat = lying.flat(corners)
    start = int(np.lexsort((flat[:, 1], -np.round(flat[:, 0], 2)))[0])
    ring = shapely.LineString(np.roll(corners, -start, axis=0)[[*range(len(corners)), 0]])
    # Round that way first which has the far side.
    after = flat[(start + 1) % len(flat), 0]
    before = flat[start - 1, 0]
    if before > after:
        ring = shapely.reverse(ring)
    return [shapely.ops.substring(ring, 0, min(metres, ring.length))]


def _clipped(cut: Sequence[_Cut], shapes: NDArray[np.object_]) -> list[tuple[str, shapely.Polygon]]:
    """Cut strips to their plots, all at once."""
    if not cut:
        return []
    strips = [shapely.Polygon(one.corners) for one in cut]
    found = shapely.intersection(strips, shapes[[one.plot for one in cut]])
    return [
        (one.key, part)
        for one, shape in zip(cut, found, strict=True)
        for part in _polygons(shape)
        if shapely.area(part) > min(_SLIVER_M2, _SLIVER_PART * shapely.area(shapes[one.plot]))
    ]


def _polygons(shape: shapely.Geometry) -> list[shapely.Polygon]:
    return [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
