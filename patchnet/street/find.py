"""Finding a street, by its name or by points, and everything that a planter in it must heed."""

from collections.abc import Hashable, Mapping, Sequence
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from shapely.ops import substring

from patchnet.core.faults import Fault
from patchnet.core.texts import _
from patchnet.knowledge.countries import speed_words
from patchnet.knowledge.country_rules import rules_in
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.street.all_sight import AllSight, all_sight
from patchnet.street.cross_sections import footways_of, half_width, street_sides
from patchnet.street.findings import things_to_look_for
from patchnet.street.measured import Measured
from patchnet.street.objects import looked_on, objects_of
from patchnet.street.openings import openings_of
from patchnet.street.road_line import RoadLine, pieces_of
from patchnet.street.sight_areas import Road
from patchnet.street.site import Basis, Street
from patchnet.street.which_road import meant_road

__all__ = ["find_street"]

_HAIR_M = 0.02  # drawings are this true: a box over an edge by less is not over it
_INSIDE_M = 0.1  # a wall this far within the footway stands in it, not at its back
_OVERLAP_M2 = 0.5  # footways that lie on each other by less are drawn slightly too wide


class _Speed(NamedTuple):
    mph: float
    basis: Basis


def find_street(
    neighbourhood: Neighbourhood,
    name: str = "",
    *,
    knowledge: Knowledge | None = None,
    at: shapely.Point | Sequence[shapely.Point] | None = None,
    called: str = "",
    measured: Mapping[str, Measured] | None = None,
) -> Street:
    """Find one road of a neighbourhood and measure it for planters.

    Parameters
    ----------
    neighbourhood
        Its roads; and where it has them, footways, buildings, barriers and things in the street.
    name
        Of the road; case, apostrophes and blanks do not matter. Empty: the road nearest to the
        points, whether it has a name or not; one without a name goes as far as it runs straight on.
    knowledge
        The tables, another authority's street rules laid over if need be.
    at
        A point on or near it, or several along it, in the CRS of the plots, where several roads
        bear that name or it has none.
    called
        What a road without a name is called in what is written; empty: by where it lies.
    measured
        What was measured on the spot (`read_measured`): its speed counts before the map's.

    Returns
    -------
    Street
        With what was odd in `faults` and what must stand on the plan in `notes`.

    Raises
    ------
    WrongUse
        If there is no such road (with the nearest names), if neither a name nor a point is given,
        if there are several of that name and no point says which, if it is drawn only as an area,
        or if it is too fast for any planter.

    Examples
    --------
    >>> import patchnet
    >>> street = patchnet.find_street(patchnet.read_demo(), "mallowby road")
    >>> street.name
    'Mallowby Road'
    """
    knowledge = rules_in(knowledge or load_knowledge(), neighbourhood.country)
    points = () if at is None else (at,) if isinstance(at, shapely.Point) else tuple(at)
    road = meant_road(
        neighbourhood.roads, name, knowledge=knowledge, at=points, plots=neighbourhood.plots,
        called=called,
    )  # fmt: skip
    line = road.line
    speed = _taped_speed(measured or {}) or _speed_of(
        [stretch[3] for stretch in road.stretches], knowledge
    )
    reach = _reach(road, knowledge)
    buildings = _near(neighbourhood.buildings, line, reach)
    barriers = _near(neighbourhood.barriers, line, reach)
    footways = footways_of(neighbourhood.footways, buildings, line, reach)
    left, right, side_notes, odd = street_sides(road, footways, knowledge=knowledge)
    own = Road(road.name, line, _usual_half(road, knowledge), speed.mph, speed.basis)
    others = _other_roads(neighbourhood.roads, road.rows, knowledge)
    lines = shapely.union_all([other.line for other in others])
    others += [own._replace(line=shapely.LineString(piece.corners)) for piece in road.rest]
    objects = objects_of(neighbourhood, line, lines, reach, knowledge=knowledge)
    known = neighbourhood.street_objects is not None
    looked = tuple(looked_on(objects))
    objects = (
        *(thing for thing in objects if thing.kind.test != "looked"),
        *openings_of(line, (left, right), knowledge=knowledge),
    )
    sight = all_sight(own, others, (left, right), objects, knowledge=knowledge)
    notes = [*road.notes, *side_notes, *sight.notes]
    notes += _notes(
        road, speed, sight, looked=bool(looked), others=bool(others), knowledge=knowledge,
        said_speed=speed_words(speed.mph, knowledge.countries[neighbourhood.country]),
    )  # fmt: skip
    if footways.overlap_m2 > _OVERLAP_M2:
        odd.append(
            _(
                "Footways along {road_name} lie over each other by {overlap_m2:.1f} m2: they were "
                "taken as one."
            ).format(road_name=road.name, overlap_m2=footways.overlap_m2)
        )
    return Street(
        name=road.name,
        line=line,
        length_m=line.length,
        gaps=road.gaps,
        speed_mph=speed.mph,
        speed_basis=speed.basis,
        width_m=tuple(stretch[:3] for stretch in road.stretches),
        left=left,
        right=right,
        objects=objects,
        objects_known=known,
        looked=looked,
        footways=footways.areas,
        walkable=footways.walkable,
        footway_ground=shapely.make_valid(footways.walkable.buffer(_HAIR_M)),
        carriageway=_carriageway(road, knowledge).difference(footways.walkable),
        other_carriageways=_carriageways(others, line, reach),
        barriers=barriers,
        barriers_inside=_inside(barriers, footways.walkable),
        buildings=buildings,
        sight_areas=tuple(sight.areas),
        junctions_known=bool(others) or not line.is_simple,
        faults=tuple(
            Fault(
                "warning", _("roads and footways"), None, road.name, note, _("Mend it on the map.")
            )
            for note in (*road.notes, *odd)
        ),
        notes=tuple(notes),
    )


def _reach(road: RoadLine, knowledge: Knowledge) -> float:
    """How far from the middle of the road anything matters."""
    widths = [width for _, _, width, _ in road.stretches if np.isfinite(width)]
    widest = max([*widths, knowledge.street_rule("carriageway_default_m")])
    return widest / 2 + 3 * knowledge.street_rule("footway_reach_m")


def _near(table: gpd.GeoDataFrame, line: shapely.LineString, reach: float) -> shapely.Geometry:
    shapes = table.geometry.to_numpy()
    return shapely.union_all(shapes[shapely.dwithin(shapes, line, reach)])


def _inside(barriers: shapely.Geometry, walkable: shapely.Geometry) -> shapely.Geometry:
    """Return what of the barriers stands well within the footways."""
    areas = [part for part in shapely.get_parts(walkable) if shapely.get_dimensions(part) == 2]
    edges = shapely.union_all([area.boundary for area in areas])
    return barriers.intersection(walkable).difference(edges.buffer(_INSIDE_M))


def _taped_speed(measured: Mapping[str, Measured]) -> _Speed | None:
    """Return the fastest speed that was read or measured on the spot; None: nobody did."""
    speeds = [one.speed_mph for one in measured.values() if one.speed_mph is not None]
    return _Speed(max(speeds), "measured") if speeds else None


def _speed_of(speeds: list[float], knowledge: Knowledge) -> _Speed:
    """Return the fastest speed that the map gives any piece, or the usual one."""
    known = [speed for speed in speeds if np.isfinite(speed)]
    if known:
        return _Speed(max(known), "from the map")
    return _Speed(knowledge.street_rule("speed_default_mph"), "assumed")


def _usual_half(road: RoadLine, knowledge: Knowledge) -> float:
    widths = [width for _, _, width, _ in road.stretches if np.isfinite(width)]
    return max(widths, default=knowledge.street_rule("carriageway_default_m")) / 2


def _other_roads(
    roads: gpd.GeoDataFrame, own: frozenset[Hashable], knowledge: Knowledge
) -> list[Road]:
    """Every road in other rows; one without a name is a road of its own."""
    wide = knowledge.street_rule("carriageway_default_m")
    found = []
    for at, (title, row) in enumerate(zip(roads["name"], roads.index, strict=True)):
        if row in own:
            continue
        for piece in pieces_of(roads.loc[[row]]):
            width = piece.width_m if np.isfinite(piece.width_m) else wide
            speed = _speed_of([piece.speed_mph], knowledge)
            called = title or _("road without a name (row {at})").format(at=at + 1)
            found.append(Road(called, shapely.LineString(piece.corners), width / 2, *speed))
    return found


def _carriageway(road: RoadLine, knowledge: Knowledge) -> shapely.Geometry:
    wide = knowledge.street_rule("carriageway_default_m")
    parts = []
    for start, stop, width, __ in road.stretches:
        part = substring(road.line, start, stop)
        half = (width if np.isfinite(width) else wide) / 2
        parts.append(shapely.buffer(part, half, cap_style="flat", join_style="mitre"))
    return shapely.union_all(parts)


def _carriageways(others: list[Road], line: shapely.LineString, reach: float) -> shapely.Geometry:
    return shapely.union_all(
        [
            shapely.buffer(other.line, other.half_m, cap_style="flat", join_style="mitre")
            for other in others
            if other.line.dwithin(line, reach)
        ]
    )


def _notes(
    road: RoadLine,
    speed: _Speed,
    sight: AllSight,
    *,
    looked: bool,
    others: bool,
    knowledge: Knowledge,
    said_speed: str,
) -> list[str]:
    widths = half_width(road, np.linspace(0, road.line.length, 100))
    told = _("assumed: nobody said it") if speed.basis == "assumed" else _(speed.basis)
    notes = [
        (
            _(
                "Sight distance {sight:.0f} m, for {said_speed} ({told}). The rule asks for the "
                "speed that 85 of 100 drivers keep to, which may be more than the limit: have it "
                "measured."
            ).format(sight=sight.reach_m, said_speed=said_speed, told=told)
        )
    ]
    if not np.isfinite(widths).all():
        wide = knowledge.street_rule("carriageway_default_m")
        notes.append(
            _(
                "The width of {road_name} is not known everywhere: {wide:g} m was assumed where "
                "no kerb is drawn."
            ).format(road_name=road.name, wide=wide)
        )
    if not looked:
        notes.append(
            _(
                "Nobody has said that everything in the street was looked for, so nothing is sure "
                "to fit: look on the spot for {things}. Then draw what there is in the layer "
                "street_objects, and a line of the kind looked along the kerb."
            ).format(things=things_to_look_for(knowledge))
        )
    if not others:
        notes.append(
            _(
                "No other road is on the map, so nothing is known of junctions: the sight areas "
                "there are not known."
            )
        )
    elif not any(area.rule == "sight_junction" for area in sight.areas):
        notes.append(_("On the map no other road meets {road_name}.").format(road_name=road.name))
    near = knowledge.street_rule("licence_from_centre_m")
    notes.append(
        _(
            "Within {near:g} m of the middle of a made-up road a tree or shrub needs the "
            "authority's licence. Things lower than {street_rule:g} m are hard to find with a "
            "cane: keep the plants up, the sides solid to the ground, and give the box a band of "
            "strong contrast."
        ).format(near=near, street_rule=knowledge.street_rule("height_least_m"))
    )
    return notes
