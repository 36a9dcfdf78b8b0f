"""The pieces of one road joined to one line, along which metres are counted."""

from dataclasses import dataclass
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.folding import folded
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.street.one_name import streets_of_one_name

__all__ = ["Piece", "RoadLine", "along", "pieces_of", "road_line"]

_TANGENT_M = 0.5  # the direction at a station is that of the metre round it
_SAME_PLACE = 0.005  # metres


class Piece(NamedTuple):
    """One piece of a road: its corners, width and speed (NaN not known)."""

    corners: NDArray[np.float64]
    width_m: float
    speed_mph: float


@dataclass(frozen=True, eq=False)
class RoadLine:
    """The line; each stretch (from, to, width, speed); gaps; what to say; pieces left out."""

    name: str
    line: shapely.LineString
    stretches: tuple[tuple[float, float, float, float], ...]
    gaps: tuple[tuple[float, float], ...]
    notes: tuple[str, ...]
    rest: tuple[Piece, ...] = ()


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


def road_line(
    roads: gpd.GeoDataFrame,
    name: str,
    *,
    knowledge: Knowledge,
    at: shapely.Point | None = None,
    plots: gpd.GeoDataFrame | None = None,
) -> RoadLine:
    """Find a road by its name and make one line of its pieces.

    The longest piece gives the direction; others are put on where an end is nearest, the
    straightest first. Pieces that are too far, that branch off or that turn back are left out,
    and it is said.

    Parameters
    ----------
    roads
        Columns ``name``, ``width_m``, metres, and perhaps ``speed_mph``.
    name
        Name of the road, in any spelling that `patchnet.core.folding` folds alike.
    knowledge
        For the settings of the road line.
    at
        A point by it, where several roads bear that name.
    plots
        Named so that people can tell several roads of one name apart.

    Raises
    ------
    WrongUse
        If there is no road, none of this name (with the nearest names), none drawn as a line, or
        several that lie far apart and no point says which.
    """
    names = list(dict.fromkeys(text for text in roads["name"] if text))
    if not names:
        why = _("there is no layer of roads") if not len(roads) else _("no road has a name")
        raise WrongUse(
            _("The road {name!r} cannot be found: {why} in the neighbourhood.").format(
                name=name, why=why
            )
        )
    wanted = folded(name)
    rows = roads[[folded(text) == wanted for text in roads["name"]]]
    if not wanted or not len(rows):
        hint = nearest_hint(name, names)
        listed = ", ".join(sorted(names)[:20])
        raise WrongUse(
            _("There is no road called {name!r}.{hint} The roads are: {listed}.").format(
                name=name, hint=hint, listed=listed
            )
        )
    pieces = pieces_of(rows)
    title = str(rows["name"].iloc[0])
    if not pieces:
        raise WrongUse(
            _(
                "{title} is drawn as an area only: draw the line along its middle in the layer of "
                "roads, with its width in width_m."
            ).format(title=title)
        )
    return _joined(title, _one_road(title, pieces, at, plots, knowledge), knowledge)


def _one_road(
    name: str,
    pieces: list[Piece],
    at: shapely.Point | None,
    plots: gpd.GeoDataFrame | None,
    knowledge: Knowledge,
) -> list[Piece]:
    """Return the pieces of the one road that is meant: those far apart are roads of one name."""
    shapes = [shapely.LineString(piece.corners) for piece in pieces]
    group = streets_of_one_name(shapes, knowledge.setting("base_same_street_m"))
    count = int(group.max()) + 1
    roads = [np.flatnonzero(group == one).tolist() for one in range(count)]
    if count == 1:
        return pieces
    lines = [shapely.union_all([shapes[each] for each in road]) for road in roads]
    if at is not None:
        chosen = roads[int(np.argmin(shapely.distance(lines, at)))]
        return [pieces[each] for each in chosen]
    listed = "\n".join(_described(line, plots) for line in lines)
    raise WrongUse(
        _(
            "{count} roads are called {name}:\n{listed}\nSay which one is meant: --at with a plot "
            "on it or a point by it (in Python: at)."
        ).format(count=count, name=name, listed=listed)
    )


def _described(line: shapely.Geometry, plots: gpd.GeoDataFrame | None) -> str:
    """Return a line of the list of roads of one name: how long, where, and a plot by it."""
    longest = max(shapely.get_parts(line).tolist(), key=lambda part: part.length)
    point = longest.interpolate(0.5, normalized=True)
    near = ""
    if plots is not None and len(plots):
        near = str(plots.index[int(np.argmin(plots.geometry.distance(line).to_numpy()))])
    return _("- {length:.0f} m long, at {x:.0f},{y:.0f}, beside plot {near}").format(
        length=line.length, x=point.x, y=point.y, near=near or "?"
    )


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


def _joined(name: str, pieces: list[Piece], knowledge: Knowledge) -> RoadLine:
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
    name: str, line: shapely.LineString, gaps: list[tuple[float, float]], rest: list[Piece]
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
