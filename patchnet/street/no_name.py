"""Which pieces of road without a name are one road: those that run straight on into each other."""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.street.road_line import Piece

__all__ = ["roads_without_a_name"]


class _Tips(NamedTuple):
    """Where each end of each piece is, and the way in which it leads out, shape (2 n, 2)."""

    places: NDArray[np.float64]
    ways: NDArray[np.float64]


def roads_without_a_name(
    pieces: Sequence[Piece], *, bend_deg: float, snap_m: float
) -> list[list[tuple[int, Piece]]]:
    """Tell the roads apart that pieces without a name make.

    Where pieces meet, the two that turn least into each other are one road, then the next two: so
    it is the same road whichever of its pieces somebody points at.

    Parameters
    ----------
    pieces
        Of roads that have no name.
    bend_deg
        What turns this much or more, degrees, is no longer the same road.
    snap_m
        Ends this far apart or less meet, metres.

    Returns
    -------
    list of list
        For each road its pieces in order, with their place among the given: its longest piece
        runs as it was drawn. Roads come in the order of their first piece.

    Notes
    -----
    The principle of good continuation: Thomson & Richardson 1999, The 'good continuation'
    principle of perceptual organization applied to the generalization of road networks, 19th
    International Cartographic Conference, Ottawa.

    Examples
    --------
    >>> west = Piece(np.array([[0.0, 0.0], [50.0, 0.0]]), np.nan, np.nan)
    >>> east = Piece(np.array([[90.0, 5.0], [50.0, 0.0]]), np.nan, np.nan)
    >>> north = Piece(np.array([[50.0, 0.0], [50.0, 40.0]]), np.nan, np.nan)
    >>> roads = roads_without_a_name([west, north, east], bend_deg=45, snap_m=0.5)
    >>> [[at for at, _ in road] for road in roads]
    [[0, 2], [1]]
    """
    mates = _mates(pieces, bend_deg, snap_m)
    found, seen = [], set[int]()
    for at in range(len(pieces)):
        if at in seen:
            continue
        ordered = _followed(at, mates)
        seen.update(piece for piece, _ in ordered)
        found.append(_as_drawn(ordered, pieces))
    return found


def _mates(pieces: Sequence[Piece], bend_deg: float, snap_m: float) -> dict[int, int]:
    """Return the end that each end runs on into: end 2 k is the first of piece k, 2 k + 1 its last.

    Ends that nothing runs on from are left out.
    """
    if not pieces:
        return {}
    tips = _tips(pieces)
    spots = shapely.points(tips.places)
    one, other = shapely.STRtree(spots).query(spots, predicate="dwithin", distance=snap_m)
    apart = one < other
    one, other = one[apart], other[apart]
    cosine = -(tips.ways[one] * tips.ways[other]).sum(axis=1)
    turn = np.round(np.degrees(np.arccos(np.clip(cosine, -1, 1))), 3)
    mates: dict[int, int] = {}
    for at in np.lexsort((other, one, turn)):
        if turn[at] < bend_deg and one[at] not in mates and other[at] not in mates:
            mates[int(one[at])], mates[int(other[at])] = int(other[at]), int(one[at])
    return mates


def _tips(pieces: Sequence[Piece]) -> _Tips:
    places, ways = [], []
    for piece in pieces:
        for tip, inside in ((0, 1), (-1, -2)):
            way = piece.corners[tip] - piece.corners[inside]
            places.append(piece.corners[tip])
            ways.append(way / np.hypot(*way))
    return _Tips(np.array(places), np.array(ways))


def _followed(start: int, mates: dict[int, int]) -> list[tuple[int, bool]]:
    """Return the pieces of the road of one, in order, and whether each is passed backwards."""
    ordered = [(start, False)]
    for backwards in (False, True):
        out = 2 * start + (0 if backwards else 1)
        while out in mates:
            into = mates[out]
            if into // 2 == start:
                return ordered  # a ring
            entered_at_last = bool(into % 2)
            if backwards:
                ordered.insert(0, (into // 2, not entered_at_last))
            else:
                ordered.append((into // 2, entered_at_last))
            out = into ^ 1
    return ordered


def _as_drawn(ordered: list[tuple[int, bool]], pieces: Sequence[Piece]) -> list[tuple[int, Piece]]:
    """Turn the whole so that its longest piece runs as it was drawn."""
    lengths = [
        round(float(np.hypot(*np.diff(pieces[at].corners, axis=0).T).sum()), 3) for at, _ in ordered
    ]
    if ordered[int(np.argmax(lengths))][1]:
        ordered = [(at, not backwards) for at, backwards in reversed(ordered)]
    return [
        (at, pieces[at]._replace(corners=pieces[at].corners[::-1]) if backwards else pieces[at])
        for at, backwards in ordered
    ]
