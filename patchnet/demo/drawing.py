"""What the plan of the demo neighbourhood is drawn with: records, a bent street, shared corners."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

__all__ = ["Barrier", "Plan", "Plot", "Point", "Shape", "Street", "between", "noded"]

Point = tuple[float, float]
NODE_TOLERANCE = 0.02  # metres: a corner this near to another plot's edge lies on that edge


@dataclass(frozen=True, slots=True)
class Plot:
    """One plot: its id, what it is, what people call it, its outline in metres."""

    ident: str
    kind: str
    label: str
    street: str
    ring: tuple[Point, ...]


@dataclass(frozen=True, slots=True)
class Shape:
    """A named shape of the base map (building, footway, road) or a mapped feature."""

    name: str
    points: tuple[Point, ...]
    amount: float | None = None
    line: bool = False


@dataclass(frozen=True, slots=True)
class Barrier:
    """A wall, fence, hedge or railing; `gap` is yes, no or empty (not known)."""

    kind: str
    gap: str
    height: float
    line: tuple[Point, ...]


@dataclass(slots=True)
class Plan:
    """Everything drawn, in metres from the south-west corner of the sheet."""

    plots: list[Plot] = field(default_factory=list)
    buildings: list[Shape] = field(default_factory=list)
    footways: list[Shape] = field(default_factory=list)
    roads: list[Shape] = field(default_factory=list)
    barriers: list[Barrier] = field(default_factory=list)
    mapped: list[tuple[str, Shape]] = field(default_factory=list)
    street_objects: list[tuple[str, Shape]] = field(default_factory=list)


@dataclass(frozen=True)
class Street:
    """A gently bent centre line; places are given as distance along it and offset from it."""

    start: Point
    bend: Point
    end: Point

    def _curve(self, t: float) -> Point:
        a, b, c = (1 - t) * (1 - t), 2 * t * (1 - t), t * t
        return (
            a * self.start[0] + b * self.bend[0] + c * self.end[0],
            a * self.start[1] + b * self.bend[1] + c * self.end[1],
        )

    @cached_property
    def _lengths(self) -> list[float]:
        lengths = [0.0]
        for step in range(500):
            (x, y), (u, v) = self._curve(step / 500), self._curve((step + 1) / 500)
            lengths.append(lengths[-1] + ((u - x) ** 2 + (v - y) ** 2) ** 0.5)
        return lengths

    @property
    def length(self) -> float:
        """Length in metres."""
        return self._lengths[-1]

    def at(self, along: float, offset: float) -> Point:
        """Return the point `along` metres from the start, `offset` metres to the left."""
        lengths = self._lengths
        step = next((i for i in range(500) if lengths[i + 1] >= along), 499)
        t = (step + (along - lengths[step]) / (lengths[step + 1] - lengths[step])) / 500
        x, y = self._curve(t)
        dx = (1 - t) * (self.bend[0] - self.start[0]) + t * (self.end[0] - self.bend[0])
        dy = (1 - t) * (self.bend[1] - self.start[1]) + t * (self.end[1] - self.bend[1])
        size = (dx * dx + dy * dy) ** 0.5
        return (round(x - offset * dy / size, 3), round(y + offset * dx / size, 3))

    def strip(self, start: float, stop: float, near: float, far: float) -> tuple[Point, ...]:
        """Return the outline of a strip along the street between two offsets."""
        count = max(1, round((stop - start) / 12))
        stations = [start + (stop - start) * i / count for i in range(count + 1)]
        return (
            *(self.at(s, near) for s in stations),
            *(self.at(s, far) for s in reversed(stations)),
        )


def between(a: Point, b: Point) -> Callable[[float], Point]:
    """Return the point at a share of the way from `a` to `b`, as a function of the share.

    Parameters
    ----------
    a, b
        Points, x and y in metres.

    Returns
    -------
    function
        Of a share, 0-1, to a point in whole millimetres.
    """

    def point(share: float) -> Point:
        return (
            round(a[0] + share * (b[0] - a[0]), 3),
            round(a[1] + share * (b[1] - a[1]), 3),
        )

    return point


def _on_edge(point: Point, a: Point, b: Point) -> float | None:
    """Share of the way from `a` to `b` at which `point` lies on that edge, or None."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    length: float = (dx * dx + dy * dy) ** 0.5
    along = ((point[0] - a[0]) * dx + (point[1] - a[1]) * dy) / length
    aside = abs((point[0] - a[0]) * dy - (point[1] - a[1]) * dx) / length
    if aside > NODE_TOLERANCE or not NODE_TOLERANCE < along < length - NODE_TOLERANCE:
        return None
    return along / length


def noded(ring: Sequence[Point], corners: Iterable[Point]) -> tuple[Point, ...]:
    """Put the neighbours' corners that lie on this outline into it, so that both share them.

    Parameters
    ----------
    ring
        Corners of the outline in turn, x and y in metres.
    corners
        Points to put in where they lie on it, metres.

    Returns
    -------
    tuple
        Corners in turn, metres.
    """
    noded: list[Point] = []
    for a, b in pairwise((*ring, ring[0])):
        share = {p: s for p in corners if (s := _on_edge(p, a, b)) is not None}
        noded += [a, *sorted(share, key=share.__getitem__)]
    return tuple(noded)
