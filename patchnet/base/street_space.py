"""The ground between plots and carriageway: footways and verges along each side of a street."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.ops import substring

from patchnet.base.gathered import areas_only
from patchnet.base.overlay import areas_of, cut_away, united
from patchnet.base.sight import blocked
from patchnet.base.streets import Streets
from patchnet.knowledge.records import Knowledge

__all__ = ["StreetSpace", "find_street_space"]

Shapes = NDArray[np.object_]
_MOSTLY = 0.5


@dataclass(frozen=True, eq=False)
class StreetSpace:
    """Strips beside carriageways.

    Attributes
    ----------
    footways
        ``geometry`` and ``street`` (position): guessed, where none is mapped.
    verges
        The same.
    """

    footways: gpd.GeoDataFrame
    verges: gpd.GeoDataFrame


def find_street_space(
    grounds: Shapes,
    firm: NDArray[np.bool_],
    built: Shapes,
    roads: gpd.GeoDataFrame,
    mapped: gpd.GeoDataFrame,
    streets: Streets,
    knowledge: Knowledge,
) -> StreetSpace:
    """Find footways and verges between plots and the roads they lie along.

    A footway runs along the plots (common practice: behind the verge), as wide as
    ``footway_width_m``; what is left between it and the carriageway is a verge if it is wide
    enough to be one. Where a footway is mapped, that one counts; where the map says there is
    none, all is verge.

    Parameters
    ----------
    grounds
        Outlines of plots, shape (n,).
    firm
        Shape (n,): whether each is mapped, not derived; beside what is derived no verge is guessed.
    built
        Buildings, shape (b,).
    roads
        Table of roads, in the order of `streets`.
    mapped
        Footways that are mapped.
    streets
        Roads by their street.
    knowledge
        For widths and settings.
    """
    crs = roads.crs
    strips = _strips(grounds, roads, streets, knowledge) if len(roads) else roads
    if not len(strips):
        empty = gpd.GeoDataFrame({"street": np.empty(0, dtype=np.intp)}, geometry=[], crs=crs)
        return StreetSpace(empty, empty.copy())
    usual = knowledge.setting("carriageway_width_m")
    width = np.nan_to_num(roads["width_m"].to_numpy(dtype=float), nan=usual)
    drive = roads["kind"].to_numpy() == "drive"
    carriageway = shapely.buffer(streets.lines, np.where(drive, 0.1, width / 2))
    shut = np.array([*grounds, *built, *carriageway], dtype=object)
    shape = areas_of(cut_away(areas_of(strips["geometry"].to_numpy()), shut))
    wide = knowledge.setting("footway_width_m")
    lines = shapely.buffer(
        mapped.geometry.to_numpy(),
        np.nan_to_num(mapped["width_m"].to_numpy(dtype=float), nan=wide) / 2,
    )
    own = shapely.difference(shape, cut_away(shape, lines))
    length = shapely.length(strips["front"].to_numpy())
    is_mapped = shapely.area(own) > _MOSTLY * wide * length
    along = areas_of(shapely.intersection(shape, shapely.buffer(strips["front"].to_numpy(), wide)))
    none = strips["walked"].to_numpy() == "no"
    footway = np.where(is_mapped | none, shapely.Polygon(), along)
    verge = cut_away(shape, np.array([*footway, *lines], dtype=object))
    verge[~firm[strips["ground"].to_numpy()]] = shapely.Polygon()
    street, side = strips["street"].to_numpy(), strips["side"].to_numpy()
    return StreetSpace(
        _joined(footway, street, side, crs, knowledge.setting("base_garden_area_min_m2"), 0.0),
        _joined(
            verge, street, side, crs, knowledge.setting("base_verge_area_min_m2"),
            knowledge.setting("base_verge_width_min_m"),
        ),
    )  # fmt: skip


def _strips(
    grounds: Shapes, roads: gpd.GeoDataFrame, streets: Streets, knowledge: Knowledge
) -> pd.DataFrame:
    """Ground between each plot's frontage and the middle line of the road."""
    pieces = np.array([p for c in streets.courses for p in c.pieces], dtype=object)
    street = np.repeat(np.arange(len(streets.courses)), [len(c.pieces) for c in streets.courses])
    wanted = np.array(
        [(streets.kind[streets.street == at] == "street")[:1].any() for at in street], dtype=bool
    )
    reach = knowledge.setting("base_street_reach_m")
    at, piece = shapely.STRtree(pieces).query(grounds, predicate="dwithin", distance=reach)
    fits = wanted[piece]
    at, piece = at[fits], piece[fits]
    line = shapely.shortest_line(grounds[at], pieces[piece])
    clear = ~blocked(line, at, grounds, knowledge.setting("base_shared_edge_m"))
    at, piece = at[clear], piece[clear]
    near = shapely.distance(grounds[at], pieces[piece])
    zone = shapely.buffer(pieces[piece], near + knowledge.setting("base_front_edge_m"))
    front = shapely.intersection(shapely.boundary(grounds[at]), zone)
    nearest = shapely.STRtree(streets.lines).nearest(shapely.get_point(line[clear], 1))
    walked = roads["walked"].to_numpy()
    rows = []
    for k, (ground, one) in enumerate(zip(at.tolist(), piece.tolist(), strict=True)):
        xy = shapely.get_coordinates(front[k])
        if not len(xy):  # the road runs through the plot, far from its edges
            continue
        s = pieces[one].project(shapely.points(xy))
        if np.ptp(s) <= 0:
            continue
        part = substring(pieces[one], s.min(), s.max())
        hull = shapely.union_all([front[k], part]).convex_hull
        inside = shapely.get_coordinates(shapely.point_on_surface(grounds[ground]))[0]
        road = int(nearest[k])
        rows.append(
            {
                "geometry": hull, "front": front[k], "street": int(street[one]),
                "side": _side(pieces[one], inside), "ground": ground,
                "walked": _walked(str(walked[road]), _side(streets.lines[road], inside)),
            }
        )  # fmt: skip
    return pd.DataFrame(rows, columns=["geometry", "front", "street", "side", "ground", "walked"])


def _side(line: shapely.LineString, point: NDArray[np.float64]) -> str:
    """Return left or right, walking along the line as it is drawn."""
    along = line.project(shapely.Point(point))
    ahead = line.interpolate(min(along + 1.0, line.length))
    behind = line.interpolate(max(along - 1.0, 0.0))
    way = (ahead.x - behind.x, ahead.y - behind.y)
    across = way[0] * (point[1] - behind.y) - way[1] * (point[0] - behind.x)
    return "left" if across > 0 else "right"


def _walked(word: str, side: str) -> str:
    """Return yes, no, or empty: whether there is a footway on that side of the road."""
    if word in {"", "both"}:
        return "yes" if word else ""
    return "yes" if word == side else "no"


def _joined(
    shapes: Shapes,
    street: NDArray[np.intp],
    side: NDArray[np.object_],
    crs: object,
    least: float,
    width: float,
) -> gpd.GeoDataFrame:
    """Join strips of one side of one street; leave out what is too small or too narrow."""
    rows = []
    before: list[shapely.Geometry] = []
    for one in sorted(set(zip(street.tolist(), side.tolist(), strict=True))):
        mine = (street == one[0]) & (side == one[1])
        whole = areas_only(united(shapes[mine]))
        if whole is None:
            continue
        # At a junction the ground is that of the street that comes first.
        (whole,) = cut_away(np.array([whole], dtype=object), np.array(before, dtype=object))
        if width > 0:
            core = areas_only(whole.buffer(-width / 2, join_style="mitre"))
            wide = core and areas_only(core.buffer(width / 2 * 1.01, join_style="mitre"))
            if wide is None:
                continue
            whole = whole.intersection(wide)
        kept = [
            part
            for part in shapely.get_parts(whole)
            if part.geom_type == "Polygon" and part.area >= least
        ]
        before += kept
        rows += [{"geometry": part, "street": one[0]} for part in kept]
    table = pd.DataFrame(rows, columns=["geometry", "street"])
    return gpd.GeoDataFrame(table, geometry="geometry", crs=crs)
