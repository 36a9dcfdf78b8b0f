"""Things in the street with their size and place along it, and what must be seen past them."""

from collections.abc import Iterable

import geopandas as gpd
import numpy as np
import shapely

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.street import StreetObjectKind
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.street.cross_sections import at_stations, outward
from patchnet.street.sight_areas import swept
from patchnet.street.site import (
    SIDES,
    Basis,
    Floats,
    Side,
    SightArea,
    StreetObject,
    StreetSide,
)

__all__ = ["access_areas", "kerb_points", "looked_on", "objects_of", "strip"]

_ON_LINE_M = 0.5  # a thing drawn so near the middle of the road is on both its sides
_STEP_M = 1.0


def objects_of(
    neighbourhood: Neighbourhood,
    line: shapely.LineString,
    others: shapely.Geometry,
    reach: float,
    *,
    knowledge: Knowledge,
) -> tuple[StreetObject, ...]:
    """Return what stands within reach of a road, with the planters that are plots.

    Of accesses, crossings, stops and the like only those that are nearer to this road's line
    than to `others`: round the corner they are another road's.

    Parameters
    ----------
    neighbourhood
        With its street objects, if it has any.
    line
        Of the road.
    others
        Lines of all other roads.
    reach
        Metres from the line.
    knowledge
        For the kinds of things.
    """
    planters = planters_of(neighbourhood.plots, line, reach, knowledge=knowledge)
    table = neighbourhood.street_objects
    if table is None:
        return tuple(planters)
    found = [
        _object(knowledge.street_kinds[kind], name, shape, width, line, knowledge)
        for shape, kind, name, width in zip(
            table.geometry, table["kind"], table["name"], table["width_m"], strict=True
        )
        if shape.dwithin(line, reach) and _is_of(shape, kind, line, others, knowledge)
    ]
    return (*found, *planters)


def looked_on(objects: Iterable[StreetObject]) -> list[tuple[Side, float, float]]:
    """Return the stretches on which somebody looked for everything: side, from, to (metres).

    Parameters
    ----------
    objects
        Of the street.
    """
    return [
        (side, *thing.span)
        for thing in objects
        if thing.kind.test == "looked"
        for side in thing.sides
    ]


def _is_of(
    shape: shapely.Geometry,
    kind: str,
    line: shapely.LineString,
    others: shapely.Geometry,
    knowledge: Knowledge,
) -> bool:
    if knowledge.street_kinds[kind].test == "around" or others.is_empty:
        return True
    return bool(shape.distance(line) <= shape.distance(others))


def planters_of(
    plots: gpd.GeoDataFrame, line: shapely.LineString, reach: float, *, knowledge: Knowledge
) -> list[StreetObject]:
    """Return the plots that are planters already there."""
    kinds = set(knowledge.plot_kinds_with("box"))
    box = next(kind for kind in knowledge.street_kinds.values() if kind.box)
    return [
        _object(box, label or str(ident), shape, np.nan, line, knowledge)
        for ident, kind, label, shape in zip(
            plots.index, plots["kind"], plots["label"], plots.geometry, strict=True
        )
        if kind in kinds and shape.dwithin(line, reach)
    ]


def _object(
    kind: StreetObjectKind,
    name: str,
    shape: shapely.Geometry,
    width: float,
    line: shapely.LineString,
    knowledge: Knowledge,
) -> StreetObject:
    known = bool(np.isfinite(width)) or shapely.get_dimensions(shape) > 0
    size = width if np.isfinite(width) else knowledge.street_rule(f"size_{kind.key}_m")
    corners = shapely.points(shapely.get_coordinates(shape))
    there = shapely.line_locate_point(line, corners)
    start, stop = float(there.min()), float(there.max())
    if shapely.get_dimensions(shape) == 0:
        start, stop = start - size / 2, stop + size / 2
        if kind.test in ("around", "way"):
            shape = shape.buffer(size / 2)
    elif shapely.get_dimensions(shape) == 1 and kind.test == "around":
        shape = shape.buffer(size / 2, cap_style="flat")  # a track drawn as its middle line
    sides: tuple[Side, ...] = SIDES
    middle = shape.centroid
    if shape.geom_type == "LineString":  # round a bend its centroid may lie across the road
        middle = shape.interpolate(0.5, normalized=True)
    if kind.test != "crossing" and middle.distance(line) > _ON_LINE_M:
        at = np.array([line.project(middle)])
        points, away = outward(line, at, "left")
        aside = (shapely.get_coordinates(middle)[0] - points[0]) @ away[0]
        sides = ("left",) if aside > 0 else ("right",)
    stated = float(width) if np.isfinite(width) else None
    return StreetObject(kind, name, shape, (start, stop), sides, known, stated)


def kerb_points(line: shapely.LineString, side: StreetSide, chainage: Floats) -> Floats:
    """Return points of the kerb at stations, shape (n, 2); stations without a kerb are left out.

    Parameters
    ----------
    line
        Of the road.
    side
        With its kerb.
    chainage
        Shape (n,), metres along the line.
    """
    kerb = at_stations(side, chainage, side.kerb)
    if not np.isfinite(kerb).all():
        known = np.isfinite(side.kerb)
        if not known.any():
            return np.empty((0, 2))
        # Across a mouth or a gap the kerb runs on from what there is on either hand.
        kerb = np.interp(chainage, side.chainage[known], side.kerb[known])
    points, away = outward(line, chainage, side.side)
    spots: Floats = points + kerb[:, None] * away
    return spots


def strip(
    line: shapely.LineString, side: StreetSide, span: tuple[float, float], depth: float
) -> shapely.Geometry:
    """Return the ground behind a stretch of kerb, `depth` metres deep.

    Parameters
    ----------
    line
        Of the road.
    side
        With its kerb.
    span
        Start and end along the line, metres.
    depth
        Metres from the kerb.
    """
    start, stop = max(0.0, span[0]), min(line.length, span[1])
    if stop <= start:
        return shapely.Polygon()
    chainage = np.linspace(start, stop, max(2, int((stop - start) / _STEP_M) + 2))
    front = kerb_points(line, side, chainage)
    if len(front) < 2:
        return shapely.Polygon()
    _, away = outward(line, chainage, side.side)
    ring = np.vstack([front, (front + depth * away)[::-1]])
    return shapely.make_valid(shapely.Polygon(ring))


def access_areas(
    line: shapely.LineString,
    sides: tuple[StreetSide, StreetSide],
    objects: tuple[StreetObject, ...],
    speed: tuple[float, Basis],
    *,
    knowledge: Knowledge,
) -> list[SightArea]:
    """Return the sight areas at driveways and crossings.

    Parameters
    ----------
    line, sides, objects
        The street.
    speed
        Stopping sight distance in metres, and the basis of the speed it comes from.
    knowledge
        For how far back from the kerb the eye is.
    """
    reach, basis = speed
    back = {
        "driveway": knowledge.street_rule("driveway_x_m"),
        "crossing": knowledge.street_rule("crossing_wait_m"),
    }
    areas = []
    for thing in objects:
        if thing.kind.test not in back:
            continue
        middle = sum(thing.span) / 2
        for side in sides:
            if side.side not in thing.sides or not 0 <= middle <= line.length:
                continue
            start, stop = max(0.0, middle - reach), min(line.length, middle + reach)
            chainage = np.linspace(start, stop, max(2, int((stop - start) / _STEP_M) + 1))
            kerb = kerb_points(line, side, chainage)
            foot = kerb_points(line, side, np.array([middle]))
            if len(kerb) < 2 or not len(foot):
                continue
            __, away = outward(line, np.array([middle]), side.side)
            polygon = swept(foot[0] + back[thing.kind.test] * away[0], kerb)
            if not polygon.is_empty:
                label = _("at {thing_name} ({middle:.0f} m)").format(
                    thing_name=thing.name
                    or _("the {kind_name}").format(kind_name=_(thing.kind.name)),
                    middle=middle,
                )
                rule = f"sight_{thing.kind.test}"
                areas.append(SightArea(rule, label, polygon, round(reach, 1), basis))
    return areas
