"""Straight-line distances between plots, edge to edge."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString

from patchnet.core.compiled import in_threads, use_compiled
from patchnet.core.errors import WrongUse
from patchnet.core.texts import _

__all__ = [
    "Lengths", "Pairs", "crossing_line", "expected_pairs", "pairs_apart", "pairs_within",
]  # fmt: skip

_COMPILE_FROM = 3_000_000  # pairs: about where a first compilation (4 s) pays off
_PLAIN_BLOCK = 1_000_000  # candidate pairs held at once, so that memory stays flat
_HALF_DOWN = 0.5 - 1e-5

Geometries = NDArray[np.object_]


@dataclass(frozen=True, eq=False)
class Pairs:
    """Pairs of plots and how far apart they are, edge to edge.

    Attributes
    ----------
    i, j
        Positions of the two plots, i < j, sorted by (i, j), each pair once.
    length_mm
        Whole millimetres; 0 where they touch, overlap or one contains the other.
    """

    i: NDArray[np.int32]
    j: NDArray[np.int32]
    length_mm: NDArray[np.int64]

    def upto(self, radius_m: float) -> "Pairs":
        """Return the pairs no further apart than `radius_m` metres."""
        keep = self.length_mm <= round(radius_m * 1000)
        return Pairs(i=self.i[keep], j=self.j[keep], length_mm=self.length_mm[keep])


def pairs_within(
    geometries: Geometries,
    radius_m: float,
    *,
    compiled: bool | None = None,
    sources: int | None = None,
) -> Pairs:
    """Return all pairs of polygons no further apart than `radius_m`, edge to edge.

    Lengths are rounded to whole millimetres, half millimetres down, so that routes which
    should tie do tie. Holes count as outside: a plot in another's courtyard has a distance.

    Parameters
    ----------
    geometries
        Shape (n,), valid shapely Polygon or MultiPolygon, coordinates in metres.
    radius_m
        Metres, >= 0.
    compiled
        True: compiled kernel; False: shapely alone; None: whichever is quicker for the size
        (and shapely where numba is missing). Both give the same pairs.
    sources
        Only the pairs of which the earlier is one of so many first; None: all.

    Raises
    ------
    WrongUse
        If something is not a polygon, is empty, or the radius is negative or not a number.

    Examples
    --------
    >>> import shapely
    >>> plots = [shapely.box(0, 0, 6, 20), shapely.box(6, 0, 12, 20), shapely.box(15, 0, 21, 20)]
    >>> pairs = pairs_within(np.array(plots), 5)
    >>> pairs.i.tolist(), pairs.j.tolist(), pairs.length_mm.tolist()
    ([0, 1], [1, 2], [0, 3000])
    """
    shapes = np.asarray(geometries, dtype=object)
    _check(shapes, radius_m)
    tree_size = len(shapes)
    if tree_size < 2:
        return _joined([])
    wanted = use_compiled(
        compiled=compiled, worthwhile=expected_pairs(shapes, radius_m) > _COMPILE_FROM
    )
    first = tree_size if sources is None else sources
    work = _compiled_blocks if wanted else _plain_blocks
    blocks = work(shapes, radius_m, first)
    radius_mm = round(radius_m * 1000)
    parts = []
    for i, j, metres in blocks:
        length = _whole_mm(metres)
        keep = length <= radius_mm
        parts.append(
            Pairs(i=i[keep].astype(np.int32), j=j[keep].astype(np.int32), length_mm=length[keep])
        )
    return _joined(parts)


def pairs_apart(geometries: Geometries, part: NDArray[np.intp], radius_m: float) -> Pairs:
    """Return the pairs of `pairs_within` that lie in two parts, without looking at all others.

    Parameters
    ----------
    geometries
        Shape (n,), as for `pairs_within`.
    part
        Shape (n,): the part that each is of.
    radius_m
        Metres, >= 0.

    Raises
    ------
    WrongUse
        As `pairs_within`.

    Examples
    --------
    >>> import shapely
    >>> plots = [shapely.box(0, 0, 6, 20), shapely.box(6, 0, 12, 20), shapely.box(15, 0, 21, 20)]
    >>> pairs = pairs_apart(np.array(plots), np.array([0, 0, 1]), 5)
    >>> pairs.i.tolist(), pairs.j.tolist(), pairs.length_mm.tolist()
    ([1], [2], [3000])
    """
    shapes = np.asarray(geometries, dtype=object)
    _check(shapes, radius_m)
    # Of two parts one is not the largest: it is enough to look from there.
    largest = np.bincount(part).argmax() if len(part) else 0
    sources = np.flatnonzero(part != largest)
    tree, radius_mm = shapely.STRtree(shapes), round(radius_m * 1000)
    found = []
    for first in range(0, len(sources), 256):
        at = sources[first : first + 256]
        row, other = tree.query(shapes[at], predicate="dwithin", distance=radius_m + 0.001)
        one = at[row]
        # From the smaller number, unless the other is in the largest part and never looks.
        keep = (part[one] != part[other]) & ((one < other) | (part[other] == largest))
        one, other = one[keep], other[keep]
        length = _whole_mm(shapely.distance(shapes[one], shapes[other]))
        near = length <= radius_mm
        found.append((one[near], other[near], length[near]))
    one, other, length = (
        np.concatenate([np.empty(0, np.int64), *(each[at] for each in found)]) for at in range(3)
    )
    i, j = np.minimum(one, other).astype(np.int32), np.maximum(one, other).astype(np.int32)
    order = np.lexsort((j, i))
    return Pairs(i=i[order], j=j[order], length_mm=length[order])


class Lengths:
    """Distances of chosen pairs of n plots, as `pairs_within` gives them.

    Parameters
    ----------
    geometries
        Shape (n,), as for `pairs_within`.
    compiled
        True: compiled kernel; False: shapely alone. Both give the same.
    """

    def __init__(self, geometries: Geometries, *, compiled: bool) -> None:
        self._shapes = np.asarray(geometries, dtype=object)
        self._kernel = None
        if use_compiled(compiled=compiled, worthwhile=compiled):
            from patchnet.movement import distance_kernels  # noqa: PLC0415 - imports numba

            self._kernel = distance_kernels.Lengths(self._shapes)

    def mm(self, i: NDArray[np.int64], j: NDArray[np.int64]) -> NDArray[np.int64]:
        """Whole millimetres between the plots i and j.

        Parameters
        ----------
        i, j
            Shape (k,): positions of plots.

        Returns
        -------
        array
            Shape (k,).
        """
        if self._kernel is None:
            return _whole_mm(shapely.distance(self._shapes[i], self._shapes[j]))
        return _whole_mm(self._kernel.metres(i, j))


def crossing_line(a: shapely.Geometry, b: shapely.Geometry) -> LineString:
    """Return the shortest line from `a` to `b`: the narrowest place between two plots.

    Where they touch, both ends are the same point.

    Parameters
    ----------
    a, b
        Two shapes, metres.

    Examples
    --------
    >>> import shapely
    >>> line = crossing_line(shapely.box(0, 0, 6, 20), shapely.box(9, 20, 12, 30))
    >>> list(line.coords)
    [(6.0, 20.0), (9.0, 20.0)]
    """
    line: LineString = shapely.shortest_line(a, b)
    return line


def _check(shapes: Geometries, radius_m: float) -> None:
    if shapes.ndim != 1:
        raise WrongUse(_("Geometries must be a one-dimensional array."))
    if not (np.isfinite(radius_m) and radius_m >= 0):
        raise WrongUse(
            _("The radius must be a number of metres, 0 or more, not {radius_m}.").format(
                radius_m=radius_m
            )
        )
    if not shapely.is_geometry(shapes).all():
        raise WrongUse(_("Distances are between polygons: something else is among them."))
    polygon = np.isin(shapely.get_type_id(shapes), (3, 6)) & ~shapely.is_empty(shapes)
    if not polygon.all():
        raise WrongUse(
            _(
                "Distances are between polygons that are not empty: number {argmin} (counted from "
                "0) is not one."
            ).format(argmin=int(np.argmin(polygon)))
        )


def _whole_mm(metres: NDArray[np.float64]) -> NDArray[np.int64]:
    # Half millimetres are common in rounded data and carry rounding noise of their own; with
    # the hair's breadth (10 nm) they always go down, whichever route worked them out.
    return np.floor(metres * 1000 + _HALF_DOWN).astype(np.int64)


def _joined(parts: list[Pairs]) -> Pairs:
    return Pairs(
        i=np.concatenate([part.i for part in parts] or [np.empty(0, np.int32)]),
        j=np.concatenate([part.j for part in parts] or [np.empty(0, np.int32)]),
        length_mm=np.concatenate([part.length_mm for part in parts] or [np.empty(0, np.int64)]),
    )


def expected_pairs(shapes: Geometries, radius_m: float) -> float:
    """Roughly how many pairs there will be, from the density of the plots.

    Parameters
    ----------
    shapes
        Shape (n,): outlines, metres.
    radius_m
        Metres, >= 0.

    Returns
    -------
    float
        Number of pairs.
    """
    count = len(shapes)
    box = shapely.bounds(shapes)
    side = np.sqrt(np.mean((box[:, 2] - box[:, 0]) * (box[:, 3] - box[:, 1])))
    spread = box[:, 2:].max(axis=0) - box[:, :2].min(axis=0)
    reached = min(1.0, (2 * radius_m + side) ** 2 / max(spread[0] * spread[1], 1e-9))
    return float(count * (count - 1) / 2 * reached)


Block = tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]


def _plain_blocks(shapes: Geometries, radius_m: float, sources: int) -> Iterator[Block]:
    """One bounding-box query and one distance per pair, a block of sources at a time."""
    tree = shapely.STRtree(shapes)
    box = shapely.bounds(shapes)
    reach = radius_m + 0.001
    size = int(np.clip(_PLAIN_BLOCK / len(shapes), 16, 1024))

    def work(first: int) -> Block:
        part = box[first : min(first + size, sources)]
        around = shapely.box(
            part[:, 0] - reach, part[:, 1] - reach, part[:, 2] + reach, part[:, 3] + reach
        )
        i, j = tree.query(around)
        i = i + first
        later = j > i
        i, j = i[later], j[later]
        order = np.lexsort((j, i))
        i, j = i[order], j[order]
        return i, j, shapely.distance(shapes[i], shapes[j])

    yield from in_threads(work, range(0, sources, size))


def _compiled_blocks(shapes: Geometries, radius_m: float, sources: int) -> Iterator[Block]:
    from patchnet.movement import distance_kernels  # noqa: PLC0415 - imports numba

    yield from distance_kernels.blocks(shapes, radius_m + 0.001, sources)
