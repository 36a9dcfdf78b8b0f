"""Where things go on a plot, as frozen records: a place, and the facts behind its sentence."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from numpy.typing import NDArray

__all__ = ["NOWHERE", "ByHand", "Placed", "Places", "SunThere"]

NOWHERE = shapely.GeometryCollection()
"""The way to a door where there is none."""


@dataclass(frozen=True, slots=True)
class SunThere:
    """The sun at a place on a day of a month.

    Attributes
    ----------
    month
        1-12.
    hours
        Hours of direct sun; over an area their mean.
    from_h, to_h
        Beginning and end of the longest spell in which at least half of the place is lit, hours
        of the day by the sun, which stands highest at 12; both None where there is none.
    """

    month: int
    hours: float
    from_h: float | None
    to_h: float | None


@dataclass(frozen=True, slots=True)
class Placed:
    """Where one thing goes.

    Attributes
    ----------
    thing
        Key of the feature; of a use that stays (`is_use`), that of the use.
    amount
        How much of it, in the feature's unit; of a use, m2.
    geometry
        The ground that it takes (Polygon), its length at a wall (LineString) or its place there
        (Point), metres in the CRS of the plots. None: not known.
    why_not
        Why it is not known, in plain words; else empty.
    part
        Which part of the plot it is: ``north-east corner``, ``south side``, ``middle``.
    at_wall
        What it hangs or stands at (``house wall``, ``garden fence``); of a strip, whether it lies
        along a ``fence``, ``wall``, ``hedge`` or the ``boundary``; else empty.
    faces
        Which way that wall faces, in words.
    height_m
        From and to which height above the ground, metres.
    sun
        The sun there in the month before midsummer and in that of midwinter; empty: not known.
    house_m, boundary_m
        Least distance from the house (else the nearest building) and from the boundary, metres;
        None: no building near.
    tree_m
        Least distance from a tree on the map, metres.
    cover_m, cover
        Least distance from a bush or hedge, on the map or new, metres, and which feature.
    seat_m, in_view
        Distance from the seat, metres, where there is one, and whether one sees it from there.
    low
        Whether it lies in the lower half of the plot; None: slopes are not known.
    lacks
        What it wants and does not have there, even at the end of the range of the table that asks
        least: ``sun``, ``shade``, ``aspect``; ``house``, ``boundary``, ``tree``, ``cover`` (a
        distance).
    is_use
        Whether it is ground kept for a use.
    seat_hours
        Of a seat: hours of the early or the late sun at midsummer that it is there for; None: not
        known, or no seat.
    """

    thing: str
    amount: float
    geometry: shapely.Geometry | None
    why_not: str = ""
    part: str = ""
    at_wall: str = ""
    faces: str = ""
    height_m: tuple[float, float] | None = None
    sun: tuple[SunThere, ...] = ()
    house_m: float | None = None
    boundary_m: float | None = None
    tree_m: float | None = None
    cover_m: float | None = None
    cover: str = ""
    seat_m: float | None = None
    in_view: bool | None = None
    low: bool | None = None
    lacks: tuple[str, ...] = ()
    is_use: bool = False
    seat_hours: float | None = None


@dataclass(frozen=True, eq=False)
class ByHand:
    """What is needed to say what a place is like that somebody chose by hand.

    Attributes
    ----------
    buildings, house
        Buildings near; the house of the plot, or None.
    cells, cell_m
        Shape (s, 2): middles of the cells of a grid on the plot, metres; their side.
    hours, month
        Shape (s,): hours of sun a day of the cells in the month; None: not known.
    walls
        Of each thing at a wall the places there: x, y, hours of sun or None, and the wall in words.
    """

    buildings: tuple[shapely.Geometry, ...]
    house: shapely.Geometry | None
    cells: NDArray[np.float64]
    cell_m: float
    hours: NDArray[np.float64] | None
    month: int
    walls: Mapping[str, tuple[tuple[float, float, float | None, str], ...]]

    def without_sun(self) -> "ByHand":
        """Return the same with no hours of sun."""
        walls = {
            key: tuple((x, y, None, name) for x, y, _hours, name in places)
            for key, places in self.walls.items()
        }
        return replace(self, hours=None, walls=walls)


@dataclass(frozen=True, slots=True)
class Places:
    """Where everything of a plan goes.

    Attributes
    ----------
    placed
        The things, in their order in the best set.
    kept
        Ground for the uses that must stay.
    stages
        Of each stage of the plan its things, in their order.
    way
        Ground kept free as the way to the door.
    way_known
        Whether a door is on the map; else the way is assumed.
    exact
        Whether every combination of the places that were tried was compared.
    not_drawn
        Features that are on the plot, and nobody drew where.
    crs
        Coordinate system of the shapes.
    notes
        What is not known or assumed, in plain words.
    by_hand
        For a page on which things can be moved; not part of the plan written as JSON.
    """

    placed: tuple[Placed, ...]
    kept: tuple[Placed, ...] = ()
    stages: tuple[tuple[Placed, ...], ...] = ()
    way: shapely.Geometry = NOWHERE
    way_known: bool = False
    exact: bool = True
    not_drawn: tuple[str, ...] = ()
    crs: str = ""
    notes: tuple[str, ...] = ()
    by_hand: ByHand | None = field(default=None, compare=False)

    def of(self, feature: str) -> Placed | None:
        """Return where a feature of the best set goes."""
        return next((one for one in self.placed if one.thing == feature), None)

    def without_sun(self) -> "Places":
        """Return the places with nothing said of their sun: somebody knows it better."""
        return replace(
            self,
            placed=tuple(map(_without_sun, self.placed)),
            kept=tuple(map(_without_sun, self.kept)),
            stages=tuple(tuple(map(_without_sun, stage)) for stage in self.stages),
            by_hand=None if self.by_hand is None else self.by_hand.without_sun(),
        )


def _without_sun(there: Placed) -> Placed:
    lacks = tuple(one for one in there.lacks if one not in ("sun", "shade"))
    return replace(there, sun=(), seat_hours=None, lacks=lacks)
