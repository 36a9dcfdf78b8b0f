"""The pieces of one road joined to one line, along which metres are counted."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge

__all__ = ["Piece", "RoadLine", "along", "joined", "line_of", "pieces_of"]

_TANGENT_M = 0.5  # the direction at a station is that of the metre round it
_SAME_PLACE = 0.005  # metres


class Piece(NamedTuple):
    """One piece of a road: its corners, width and speed (NaN not known)."""

    corners: NDArray[np.float64]
    width_m: float
    speed_mph: float


@dataclass(frozen=True, eq=False)
class RoadLine:
    """The line; each stretch (from, to, width, speed); gaps; what to say; pieces left out.

    `rows` are the labels of its rows in the layer of roads.
    """

    name: str
    line: shapely.LineString
    stretches: tuple[tuple[float, float, float, float], ...]
    gaps: tuple[tuple[float, float], ...]
    notes: tuple[str, ...]
    rest: tuple[Piece, ...] = ()
    rows: frozenset[Hashable] = frozenset()


def pieces_of(roads: gpd.GeoDataFrame) -> list[Piece]:
    """Return every line of some rows of roads; areas are ignored, doubles left out.

    Parameters
    ----------
    roads
        Rows with ``width_m``, metres (NaN: not known), and perhaps ``speed_mph``.
    """
    found: list[Piece] = []
    seen: list[shapely.LineString] = []
    speeds = roads["speed_mph"] if "speed_mph" in roads else [np.nan] * len(roads)
    for shape, width, speed in zip(roads.geometry, roads["width_m"], speeds, strict=True):
        if shapely.get_dimensions(shape) != 1:
            continue
        merged = shapely.line_merge(shape) if shape.geom_type == "MultiLineString" else shape
        for part in shapely.get_parts(merged):
            line = shapely.remove_repeated_points(part, 0.0)
            if line.length > _SAME_PLACE and not any(line.equals(other) for other in seen):
                seen.append(line)
                found.append(Piece(shapely.get_coordinates(line), float(width), float(speed)))
    return found


def along(
    line: shapely.LineString, chainage: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return points on the line and directions there, each of shape (n, 2).

    Parameters
    ----------
    line
        Of the road.
    chainage
        Shape (n,), metres along it.
    """
    points = shapely.get_coordinates(shapely.line_interpolate_point(line, chainage))
    before, after = (
        shapely.get_coordinates(
            shapely.line_interpolate_point(line, np.clip(chainage + step, 0.0, line.length))
        )
        for step in (-_TANGENT_M, _TANGENT_M)
    )
    ways = after - before
    sizes = np.hypot(ways[:, 0], ways[:, 1])
    # A line that turns on the spot has no direction there: take that of the next corner.
    ways[sizes == 0] = (1.0, 0.0)
    sizes[sizes == 0] = 1.0
    return points, ways / sizes[:, None]


def joined(name: str, pieces: Sequence[Piece], knowledge: Knowledge) -> RoadLine:
    """Make one line of the pieces of a road.

    The longest piece gives the direction; others are put on where an end is nearest, the
    straightest first. Pieces that are too far, that branch off or that turn back are left out,
    and it is said.

    Parameters
    ----------
    name
        Of the road.
    pieces
        At least one.
    knowledge
        For how far apart, and how sharp a turn.
    """
    lengths = [_length(piece.corners) for piece in pieces]
    start = int(np.argmax(np.round(lengths, 3)))
    chain = [pieces[start]]
    most = knowledge.street_rule("street_gap_m")
    turns_back = knowledge.setting("street_turns_back_deg")
    rest = [piece for at, piece in enumerate(pieces) if at != start]
    while rest:
        ways = [way for at, piece in enumerate(rest) for way in _ways(chain, piece, at)]
        near = [way for way in ways if way[0] <= most and way[1] < turns_back]
        if not near:
            break
        _, _, _, at, end, turned = min(near, key=lambda way: way[:3])
        piece = rest.pop(at)
        if turned:
            piece = piece._replace(corners=piece.corners[::-1])
        chain = [piece, *chain] if end == 0 else [*chain, piece]
    return line_of(name, chain, rest)


def line_of(name: str, chain: Sequence[Piece], rest: Sequence[Piece] = ()) -> RoadLine:
    """Make one line of pieces that follow each other.

    Parameters
    ----------
    name
        Of the road.
    chain
        In their order, each the way round in which it is passed.
    rest
        Its pieces that were left out.
    """
    corners: list[NDArray[np.float64]] = []
    stretches: list[tuple[float, float, float, float]] = []
    gaps: list[tuple[float, float]] = []
    reached = 0.0
    for piece in chain:
        if corners:
            hole = float(np.hypot(*(piece.corners[0] - corners[-1][-1])))
            if hole > _SAME_PLACE:
                gaps.append((reached, reached + hole))
                stretches.append((reached, reached + hole, np.nan, np.nan))
            reached += hole
        corners.append(piece.corners)
        length = _length(piece.corners)
        stretches.append((reached, reached + length, piece.width_m, piece.speed_mph))
        reached += length
    line = shapely.remove_repeated_points(shapely.LineString(np.vstack(corners)), 0.0)
    notes = tuple(_said(name, line, gaps, rest))
    return RoadLine(name, line, tuple(stretches), tuple(gaps), notes, tuple(rest))


def _said(
    name: str, line: shapely.LineString, gaps: list[tuple[float, float]], rest: Sequence[Piece]
) -> list[str]:
    notes = [
        _(
            "The map has no {name} from {a:.1f} to {b:.1f} m of the chainage: the pieces were "
            "joined by a straight line, and no site is offered there."
        ).format(name=name, a=a, b=b)
        for a, b in gaps
    ]
    if rest:
        lengths = sum(_length(piece.corners) for piece in rest)
        many = _("1 piece") if len(rest) == 1 else _("{n_rest} pieces").format(n_rest=len(rest))
        notes.append(
            _(
                "{many} of {name} ({lengths:.0f} m in all) branch off, lie alongside or are too "
                "far to be joined, and were left out: draw them under another name to plant there."
            ).format(many=many, name=name, lengths=lengths)
        )
    if not line.is_simple and not line.is_ring:
        notes.append(
            _(
                "{name} crosses itself: chainage runs through the crossing twice, and the sight "
                "areas there are those of a crossroads."
            ).format(name=name)
        )
    return notes


def _length(corners: NDArray[np.float64]) -> float:
    return float(np.hypot(*np.diff(corners, axis=0).T).sum())


def _ways(
    chain: list[Piece], piece: Piece, at: int
) -> list[tuple[float, float, float, int, int, bool]]:
    """Each way to put a piece on: gap, turn in degrees, minus length, which, end, turned round."""
    found = []
    for end in (0, 1):
        inside = chain[0].corners[:2][::-1] if end == 0 else chain[-1].corners[-2:]
        tip, way = inside[1], inside[1] - inside[0]
        for turned in (False, True):
            corners = piece.corners[::-1] if turned else piece.corners
            outward = corners[::-1] if end == 0 else corners
            gap = float(np.hypot(*(outward[0] - tip)))
            step = outward[1] - outward[0]
            cosine = way @ step / (np.hypot(*way) * np.hypot(*step))
            turn = float(np.degrees(np.arccos(np.clip(cosine, -1, 1))))
            size = -round(_length(corners), 3)
            found.append((round(gap, 3), round(turn, 3), size, at, end, turned))
    return found
