"""The neighbourhood as a gardener draws it: grounds, hedges, crowns and small things on each plot.

What somebody drew lies where it was drawn. Of the rest only the amount is known: it is laid out on
its plot in true proportion by one rule, from the house outwards, and marked as laid out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import shapely
import shapely.ops
from numpy.typing import NDArray

from patchnet.knowledge.features import DrawnAs
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["GROUNDS", "SIGNS", "GardenPlan", "Ground", "Sign", "garden_plan"]

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

_STRIPS = tuple(key for key in GROUNDS if key != "water")
_MOST_SIGNS = 3  # of one feature on one plot: more would hide the ground
_STEPS = 65  # places along a plot at which its area so far is worked out
_SLIVER_M2 = 0.05
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


@dataclass(frozen=True, eq=False)
class GardenPlan:
    """What is drawn on the plots, in metres in their CRS.

    Attributes
    ----------
    grounds
        What ground it is to its pieces, polygons; those that are drawn later lie on top.
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
    crowns: Array
    hedges: tuple[shapely.LineString, ...]
    signs: Mapping[Sign, Array]
    laid: frozenset[str]
    unseen: frozenset[str]

    @property
    def kinds(self) -> tuple[str, ...]:
        """What there is to explain in a legend, in a fixed order."""
        found: list[str] = [key for key in GROUNDS if self.grounds.get(key) and key != "other"]
        found += ["hedge"] if self.hedges else []
        found += ["tree"] if len(self.crowns) else []
        return (*found, *(key for key in SIGNS if len(self.signs.get(key, ()))))


class _Lying:
    """One plot turned so that its longer side lies level and its house is on the left."""

    def __init__(self, outline: shapely.Geometry, envelope: Array) -> None:
        sides = np.diff(envelope[:3], axis=0)
        east, north = sides[int(np.argmax(np.round(np.hypot(*sides.T), 6)))]
        size = float(np.hypot(east, north)) or 1.0
        self.cos, self.sin = east / size, north / size
        edges = [
            shapely.get_coordinates(ring)
            for part in shapely.get_parts(shapely.normalize(outline))
            for ring in (part.exterior, *part.interiors)
        ]
        ends = [(self._flat(ring[:-1]), self._flat(ring[1:])) for ring in edges]
        self._set(np.concatenate([a for a, __ in ends]), np.concatenate([b for __, b in ends]))

    def _set(self, start: Array, end: Array) -> None:
        self.start, self.end = start, end
        self.west, self.east = float(start[:, 0].min()), float(start[:, 0].max())

    def _flat(self, points: Array) -> Array:
        east, north = points.T
        return np.column_stack(
            [east * self.cos + north * self.sin, north * self.cos - east * self.sin]
        )

    def ground(self, points: Array) -> Array:
        """Turn lying points (n, 2) back to the ground."""
        along, across = points.T
        return np.column_stack(
            [along * self.cos - across * self.sin, along * self.sin + across * self.cos]
        )

    def turn_round(self) -> None:
        """Let the other end be the left one."""
        self.cos, self.sin = -self.cos, -self.sin
        self._set(-self.start, -self.end)

    def area_to(self, along: Array) -> Array:
        """Shape (k,): area of the plot left of each place along it, m2; no curve, hence exact."""
        (x0, y0), (x1, y1) = self.start.T[:, :, None], self.end.T[:, :, None]
        low, high = np.minimum(x0, x1), np.maximum(x0, x1)
        upto = np.clip(along[None, :], low, high)
        wide = np.where(x1 == x0, 1.0, x1 - x0)
        under = np.where(x0 <= x1, y0, y1)
        there = y0 + (upto - x0) * (y1 - y0) / wide
        sums = np.sum(np.sign(x1 - x0) * (upto - low) * (under + there) / 2, axis=0)
        return np.asarray(sums if sums[-1] >= 0 else -sums, dtype=np.float64)

    def cuts(self, areas: Array) -> Array:
        """Shape (k,): places along the plot up to which it has these areas, m2, ascending."""
        along = np.linspace(self.west, self.east, _STEPS)
        return np.interp(areas, self.area_to(along), along)

    def across(self, along: float) -> tuple[float, float]:
        """From where to where the plot reaches across, at its widest piece there."""
        (x0, y0), (x1, y1) = self.start.T, self.end.T
        meets = (np.minimum(x0, x1) <= along) & (along < np.maximum(x0, x1))
        part = (along - x0[meets]) / (x1[meets] - x0[meets])
        found = np.sort(y0[meets] + part * (y1[meets] - y0[meets]))
        if len(found) < 2:
            return 0.0, 0.0
        pairs = found[: len(found) // 2 * 2].reshape(-1, 2)
        low, high = pairs[int(np.argmax(pairs[:, 1] - pairs[:, 0]))]
        return float(low), float(high)

    def place(self, part: tuple[float, float], margin: float) -> tuple[float, float, float]:
        """A point part of the way along and across, and how far the sides are from it; m."""
        room = (self.east - self.west) / 2
        inset = min(margin, room)
        along = self.west + inset + part[0] * (self.east - self.west - 2 * inset)
        low, high = self.across(along)
        inset = min(margin, (high - low) / 2)
        across = low + inset + part[1] * (high - low - 2 * inset)
        point = self.ground(np.array([[along, across]]))[0]
        return float(point[0]), float(point[1]), min(across - low, high - across, room)


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
    plots = neighbourhood.plots
    answers = neighbourhood.answers
    asked = [knowledge.features[key] for key in answers.features]
    amounts = np.nan_to_num(answers.amount, nan=0.0)
    grounds = np.array([one.ground.value for one in asked])
    as_what: list[DrawnAs] = [one.drawn for one in asked]
    looked = np.array([key in _STRIPS or key == "water" for key in as_what])
    open_ = np.isnan(answers.amount)[:, looked].any(axis=1)
    shapes = plots.geometry.to_numpy()
    ids = [str(one) for one in plots.index]
    drawn = _Drawn(neighbourhood, knowledge)
    left = shapes.copy()
    for at, ident in enumerate(ids):
        if ident in drawn.areas_of:
            left[at] = shapely.difference(shapes[at], shapely.union_all(drawn.areas_of[ident]))
    lying = _lying(neighbourhood, left)
    pieces = drawn.grounds
    crowns, signs, hedges = drawn.crowns, drawn.signs, drawn.hedges
    walls = _hedge_barriers(neighbourhood, knowledge, shapes)
    laid, unseen = set(), set()
    cut: list[tuple[Ground, int, Array]] = []
    for at, ident in enumerate(ids):
        if lying[at] is None:
            continue
        here = lying[at]
        there = [
            k for k in np.flatnonzero(amounts[at] > 0) if (ident, answers.features[k]) not in drawn.rows
        ]
        areas = dict.fromkeys(GROUNDS, 0.0)
        for k in there:
            if as_what[k] in areas:
                areas[as_what[k]] += float(amounts[at, k] * grounds[k])  # type: ignore[index]
        strips = _strips(areas, float(shapely.area(left[at])), seen=not open_[at])
        if strips.get("unseen", 0.0) > 0:
            unseen.add(ident)
        cut += [(key, at, strip) for key, strip in _cut(here, strips)]
        if there:
            laid.add(ident)
        _set_out(here, ident, there, asked, amounts[at], as_what, crowns, signs)
        metres = sum(float(amounts[at, k]) for k in there if as_what[k] == "hedge") - walls[at]
        hedges += _hedge(here, left[at], metres)
    for key, shape in _clipped(cut, left):
        pieces[key].append(shape)
    return GardenPlan(
        grounds={key: tuple(pieces[key]) for key in GROUNDS},
        crowns=np.array(crowns, dtype=np.float64).reshape(-1, 3),
        hedges=tuple(hedges),
        signs={key: np.array(signs[key], dtype=np.float64).reshape(-1, 2) for key in SIGNS},
        laid=frozenset(laid),
        unseen=frozenset(unseen),
    )


class _Drawn:
    """What somebody drew on the plots, sorted by how it is shown."""

    def __init__(self, neighbourhood: Neighbourhood, knowledge: Knowledge) -> None:
        self.grounds: dict[Ground, list[shapely.Polygon]] = {key: [] for key in GROUNDS}
        self.areas_of: dict[str, list[shapely.Geometry]] = {}
        self.crowns: list[tuple[float, float, float]] = []
        self.signs: dict[Sign, list[tuple[float, float]]] = {key: [] for key in SIGNS}
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
                self.grounds[feature.drawn] += _polygons(shape)  # type: ignore[index]
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
                self.signs[feature.drawn].append((float(east), float(north)))  # type: ignore[index]
            else:
                continue
            self.rows.add((plot, key))


def _lying(neighbourhood: Neighbourhood, shapes: NDArray[np.object_]) -> list[_Lying | None]:
    """Each plot lying level, its house (else the nearest road) on the left; None: none is left."""
    envelopes = shapely.oriented_envelope(shapes)
    made = [
        _Lying(shape, shapely.get_coordinates(envelope))
        if shapely.area(shape) > 0 and envelope.geom_type == "Polygon"
        else None
        for shape, envelope in zip(shapes, envelopes, strict=True)
    ]
    there = [one for one in made if one is not None]
    for table in (neighbourhood.buildings, neighbourhood.roads):
        near = [shape for shape in table.geometry if shape is not None and not shape.is_empty]
        if not near or not there:
            continue
        tree = shapely.STRtree(near)
        ends = [
            one.place(part, 0.0)[:2] for one in there for part in ((0.02, 0.5), (0.98, 0.5))
        ]
        points = shapely.points(np.array(ends))
        away = shapely.distance(points, tree.geometries[tree.nearest(points)]).reshape(-1, 2)
        for one, (left, right) in zip(there, np.round(away, 1), strict=True):
            if right < left:
                one.turn_round()
        break
    return made


def _strips(areas: Mapping[Ground, float], whole: float, *, seen: bool) -> dict[Ground, float]:
    """Areas of the strips of a plot, m2, which add up to the whole of it; water with its host."""
    total = sum(areas.values())
    shrink = min(1.0, whole / total) if total > 0 else 1.0
    strips = {key: area * shrink for key, area in areas.items() if area > 0}
    rest = whole - sum(strips.values())
    if rest > max(_SLIVER_M2, 0.002 * whole):
        strips["other" if seen else "unseen"] = rest
    return strips


def _cut(lying: _Lying, strips: Mapping[Ground, float]) -> list[tuple[Ground, Array]]:
    """Cut a plot across into strips: corners on the ground, shape (4, 2), and a pond in one."""
    water = strips.get("water", 0.0)
    dry = {key: strips[key] for key in _STRIPS if strips.get(key, 0.0) > 0}
    host = max(dry, key=lambda key: dry[key]) if dry and water else None
    if host:
        dry[host] += water
    elif water:
        dry = {"water": water}
    ends = lying.cuts(np.cumsum([0.0, *dry.values()]))
    ends[0], ends[-1] = lying.west - 1.0, lying.east + 1.0
    low = float(np.min([lying.start[:, 1].min(), lying.end[:, 1].min()])) - 1.0
    high = float(lying.start[:, 1].max()) + 1.0
    made: list[tuple[Ground, Array]] = []
    for key, left, right in zip(dry, ends[:-1], ends[1:], strict=True):
        made.append((key, lying.ground(np.array([[left, low], [right, low], [right, high], [left, high]]))))
        if key == host:
            made.append(("water", _pond(lying, max(left, lying.west), min(right, lying.east), water)))
    return made


def _pond(lying: _Lying, left: float, right: float, area: float) -> Array:
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


def _set_out(
    lying: _Lying,
    plot: str,
    there: Sequence[int],
    asked: Sequence,  # noqa
    amounts: Array,
    as_what: Sequence[DrawnAs],
    crowns: list[tuple[float, float, float]],
    signs: dict[Sign, list[tuple[float, float]]],
) -> None:
    """Give crowns and small things their places on a plot, the widest crowns first."""
    del plot
    trees = sorted(
        (k for k in there if as_what[k] == "tree"),
        key=lambda k: (-(asked[k].crown.value if asked[k].crown else 0.0), asked[k].key),
    )
    places = iter(_TREE_PLACES)
    for k in trees:
        radius = (asked[k].crown.value if asked[k].crown else 0.0) / 2
        for part, __ in zip(places, range(max(1, round(float(amounts[k])))), strict=False):
            east, north, __ = lying.place(part, radius * 0.8)
            crowns.append((east, north, radius))
    spots = iter(_SIGN_PLACES)
    for k in there:
        kind = as_what[k]
        if kind not in signs:
            continue
        many = min(_MOST_SIGNS, max(1, round(float(amounts[k]))))
        for part, __ in zip(spots, range(many), strict=False):
            east, north, __ = lying.place(part, 0.6)
            signs[kind].append((east, north))  # type: ignore[index]


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


def _hedge(lying: _Lying, shape: shapely.Geometry, metres: float) -> list[shapely.LineString]:
    """A hedge of so many metres just inside the boundary, from the far end of a plot."""
    if metres < 1.0:
        return []
    inside = shapely.buffer(shape, -0.4, join_style="mitre")
    inside = inside if not inside.is_empty else shape
    outer = max(shapely.get_parts(inside), key=lambda one: float(one.area)).exterior
    corners = shapely.get_coordinates(outer)[:-1]
    flat = lying._flat(corners)  # noqa: SLF001
    start = int(np.lexsort((flat[:, 1], -np.round(flat[:, 0], 2)))[0])
    ring = shapely.LineString(np.roll(np.vstack([corners]), -start, axis=0)[[*range(len(corners)), 0]])
    # Round that way first which has the far side.
    after = flat[(start + 1) % len(flat), 0]
    before = flat[start - 1, 0]
    if before > after:
        ring = shapely.reverse(ring)
    return [shapely.ops.substring(ring, 0, min(metres, ring.length))]


def _clipped(
    cut: Sequence[tuple[Ground, int, Array]], shapes: NDArray[np.object_]
) -> list[tuple[Ground, shapely.Polygon]]:
    """Cut strips to their plots, all at once."""
    if not cut:
        return []
    rings = np.array([shapely.polygons(corners) for __, __, corners in cut], dtype=object)
    owners = shapes[[at for __, at, __ in cut]]
    found = shapely.intersection(rings, owners)
    return [
        (key, part)
        for (key, __, __), shape in zip(cut, found, strict=True)
        for part in _polygons(shape)
        if shapely.area(part) > _SLIVER_M2
    ]


def _polygons(shape: shapely.Geometry) -> list[shapely.Polygon]:
    return [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
