"""What is known of a street and of each place a planter could stand in it."""

from dataclasses import dataclass
from typing import Literal

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.core.faults import Fault
from patchnet.core.shown import Shown
from patchnet.knowledge.street import PlanterSize, StreetObjectKind

__all__ = [
    "RANK",
    "SIDES",
    "Basis",
    "Finding",
    "Side",
    "SightArea",
    "Site",
    "Street",
    "StreetObject",
    "StreetSide",
    "Verdict",
]

Side = Literal["left", "right"]
SIDES: tuple[Side, ...] = ("left", "right")
"""Sides of a street, looking the way its chainage runs."""
Verdict = Literal["fits", "ask", "measure", "no"]
RANK: dict[Verdict, int] = {"fits": 0, "ask": 1, "measure": 2, "no": 3}
"""Verdicts from the best to the worst."""
Basis = Literal["measured", "from the map", "assumed"]
Floats = NDArray[np.float64]
_HAIR_M = 0.01  # stretches that were drawn end to end


@dataclass(frozen=True, slots=True)
class Finding:
    """What one street rule says of one site.

    Parameters
    ----------
    rule
        Short key of the rule: ``clear_width``, ``kerb_offset``, ``sight_junction`` ...
    verdict
        ``fits``, ``ask`` (the authority, or the people concerned), ``measure`` (a figure is
        missing: go and look), ``no``.
    figure, limit
        What was found and what the rule asks, in `unit`; None where there is none.
    basis
        Where the figure comes from.
    words
        One plain sentence.
    source
        Where the rule comes from, in words.
    """

    rule: str
    verdict: Verdict
    figure: float | None
    limit: float | None
    unit: str
    basis: Basis
    words: str
    source: str


@dataclass(frozen=True, eq=False, slots=True)
class Site:
    """One place where a planter could stand, and all that the street rules say of it.

    Parameters
    ----------
    key
        Side and chainage, ``L012.0``: the same as long as the road line is.
    side, chainage_m
        Side looking along the chainage; chainage of the middle of the box.
    offset_m
        Kerb to the near face of the box, at its nearest.
    polygon, centre, bearing_deg
        The box; its middle; clockwise from grid north, along the kerb the way chainage runs.
    size
        The planter.
    clear_m, clear_basis
        Walking width left at the worst point beside the full-grown plants; None unknown.
    footway_m
        Width of the footway at its narrowest along the box; None unknown.
    verdict
        The worst of the findings: no, then measure, then ask, then fits.
    findings
        Every rule that has to do with the site.
    """

    key: str
    side: Side
    chainage_m: float
    offset_m: float
    polygon: shapely.Polygon
    centre: shapely.Point
    bearing_deg: float
    size: PlanterSize
    clear_m: float | None
    clear_basis: Basis
    footway_m: float | None
    verdict: Verdict
    findings: tuple[Finding, ...]


@dataclass(frozen=True, eq=False, slots=True)
class StreetSide:
    """One side of a street: what a line straight across meets, station by station.

    Attributes
    ----------
    side
        Which.
    chainage
        Stations along the road line, rising, metres, shape (n,).
    kerb, near, back
        Distance from the road line to the kerb, to the near and to the back edge of the footway,
        shape (n,); NaN where there is none or it is not known.
    footway
        Width of the footway, shape (n,): the stated one if there is one, else as drawn; NaN
        where nobody knows.
    drawn
        The same as drawn, shape (n,); NaN where it is not drawn with its width.
    open
        Whether a planter could be thought of at the station, shape (n,).
    measured
        Whether `footway` was stated, shape (n,).
    guessed
        Whether a base map guessed the footway at the station, shape (n,): nobody saw it.
    kerb_basis
        Where the kerb comes from.
    kerbs, backs
        Kerb and back of the footway as lines, for drawing and measuring.
    """

    side: Side
    chainage: Floats
    kerb: Floats
    near: Floats
    back: Floats
    footway: Floats
    drawn: Floats
    open: NDArray[np.bool_]
    measured: NDArray[np.bool_]
    guessed: NDArray[np.bool_]
    kerb_basis: Basis
    kerbs: tuple[shapely.LineString, ...]
    backs: tuple[shapely.LineString, ...]


@dataclass(frozen=True, eq=False, slots=True)
class StreetObject:
    """Something in the street.

    `shape` has its size, `span` is from where to where along the road line it lies, `known_size`
    whether its width was stated or drawn, `width_m` the stated one (of a tree: its stem).
    """

    kind: StreetObjectKind
    name: str
    shape: shapely.Geometry
    span: tuple[float, float]
    sides: tuple[Side, ...]
    known_size: bool
    width_m: float | None = None


@dataclass(frozen=True, eq=False, slots=True)
class SightArea:
    """Ground that a driver, or somebody about to cross, must see over.

    `rule` is ``sight_junction``, ``sight_driveway``, ``sight_crossing`` or ``sight_forward``;
    `reach_m` how far along the kerb, on a bend along the lane; `basis` that of the speed it was
    worked out from. Where the speed is assumed, `least` is what must be free at the least speed
    that it may be: what lies only in the rest is to be measured.
    """

    rule: str
    label: str
    polygon: shapely.Polygon | shapely.MultiPolygon
    reach_m: float
    basis: Basis
    least: shapely.Geometry | None = None


@dataclass(frozen=True, eq=False, slots=True, repr=False)
class Street(Shown):
    """One road of the neighbourhood, ready to be planted along.

    Attributes
    ----------
    name
        As the map has it.
    line, length_m
        Middle of the road; chainage runs along it.
    gaps
        Stretches of chainage where the map has no road of this name: joined by a straight line.
    speed_mph, speed_basis
        Speed that sight distances are worked out for.
    width_m
        Width between kerbs of each piece: (from, to, metres; NaN not known).
    left, right
        The two sides.
    objects, objects_known
        Things in the street; whether the neighbourhood has a layer of them (planters that are
        plots are known without).
    looked
        Stretches on which everything in the street was looked for: side, from, to.
    footways
        Rows of the neighbourhood's footways that lie along it.
    walkable, footway_ground
        Their ground, less buildings; and grown a little, as drawings are no truer.
    carriageway, other_carriageways
        Ground of this road, and of the others near it.
    barriers, barriers_inside, buildings
        Walls, fences and railings near it, those of them that stand in a footway, houses.
    sight_areas
        What must stay free to be seen over.
    junctions_known
        Whether the map has any other road.
    faults
        What was found odd, as warnings.
    notes
        What must be said on the plan.
    """

    name: str
    line: shapely.LineString
    length_m: float
    gaps: tuple[tuple[float, float], ...]
    speed_mph: float
    speed_basis: Basis
    width_m: tuple[tuple[float, float, float], ...]
    left: StreetSide
    right: StreetSide
    objects: tuple[StreetObject, ...]
    objects_known: bool
    looked: tuple[tuple[Side, float, float], ...]
    footways: gpd.GeoDataFrame
    walkable: shapely.Geometry
    footway_ground: shapely.Geometry
    carriageway: shapely.Geometry
    other_carriageways: shapely.Geometry
    barriers: shapely.Geometry
    barriers_inside: shapely.Geometry
    buildings: shapely.Geometry
    sight_areas: tuple[SightArea, ...]
    junctions_known: bool
    faults: tuple[Fault, ...]
    notes: tuple[str, ...]

    def side(self, side: Side) -> StreetSide:
        """Return one of the two sides."""
        return self.left if side == "left" else self.right

    def is_looked_at(self, side: Side, start: float, stop: float) -> bool:
        """Whether everything was looked for all along a stretch of one side."""
        reached = max(0.0, start)
        for which, one, two in sorted(self.looked, key=lambda each: each[1:]):
            if which == side and one <= reached + _HAIR_M:
                reached = max(reached, two)
        return reached >= min(stop, self.length_m) - _HAIR_M
