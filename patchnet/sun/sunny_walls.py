"""Where on a plot a wall or fence gets most sun in the months when solitary bees fly."""

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.core.texts import N_, WordList, _
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.sun.course import Course, Place, month_of_midsummer
from patchnet.sun.light import in_sun
from patchnet.sun.screens import Screens
from patchnet.sun.shadows import Walls

__all__ = ["SunnyWall", "WallPlaces", "compass", "is_between", "sunniest_wall", "wall_places"]

_POINTS: WordList[str] = WordList(
    (
        N_("north"), N_("north-east"), N_("east"), N_("south-east"), N_("south"),
        N_("south-west"), N_("west"), N_("north-west"),
    )
)  # fmt: skip
# A place at a wall is looked at this far (metres) in front of it: past drawing tolerance.
_BEFORE_M = 0.15
# The months up to midsummer in which solitary bees look for holes: March to June.
_SPRING = 4


class SunnyWall(NamedTuple):
    """The sunniest place at a wall or fence.

    Attributes
    ----------
    words
        ``south-facing house wall``, ``south-east-facing fence``.
    hours
        Mean hours a day of sun on the face of the wall, March to June (September to December
        south of the equator).
    place
        In front of the wall, on the plot, in the coordinate system of the plots.
    """

    words: str
    hours: float
    place: shapely.Point


class WallPlaces(NamedTuple):
    """Places at walls and fences, n of them, at some moments, m of them.

    Attributes
    ----------
    spots
        Shape (n, 2): just in front of the wall, metres in the CRS of the plots.
    faces
        Shape (n,): which way the wall faces, degrees from north, clockwise.
    names
        What each wall is: ``house wall``, ``garden fence``.
    bears
        ``house``, or what a barrier of its kind can bear: ``wall``, ``fence``.
    lit
        Shape (n, m), 0 or 1: whether the sun shines on it.
    ends
        Shape (n, 2, 2): ends of the wall.
    """

    spots: NDArray[np.float64]
    faces: NDArray[np.float64]
    names: tuple[str, ...]
    bears: tuple[str, ...]
    lit: NDArray[np.float64]
    ends: NDArray[np.float64]


def compass(bearing: float) -> str:
    """Return the nearest of eight points of the compass: ``north-east``.

    Parameters
    ----------
    bearing
        Degrees from north, clockwise.
    """
    return _POINTS[_point(bearing)]


def is_between(bearing: float) -> bool:
    """Whether a bearing is nearer a point such as north-east than one of the four main ones.

    Parameters
    ----------
    bearing
        Degrees from north, clockwise.
    """
    return _point(bearing) % 2 == 1


def _point(bearing: float) -> int:
    return round((bearing % 360) / 45) % 8


def sunniest_wall(
    neighbourhood: Neighbourhood,
    plot: str,
    screens: Screens,
    place: Place,
    year: Course,
    knowledge: Knowledge,
) -> SunnyWall | None:
    """Return the sunniest place at a wall or fence on the plot or along its edge.

    The wall faces the midday sun to within ``sunny_wall_turn_deg`` of the settings; the sun
    shines on it from in front, and nothing hides it at the height of ``sunny_wall_height_m``.
    None where no such place gets as many hours as part shade has (``sun_part_h``).

    Parameters
    ----------
    neighbourhood
        With walls of buildings and fences.
    plot
        Id of the plot.
    screens
        What hides the sun.
    place
        Where on Earth it is.
    year
        Course of the sun, a day of each month.
    knowledge
        For the settings of the sun.
    """
    midsummer = month_of_midsummer(place)
    midday = 180.0 if midsummer == 6 else 0.0
    found = wall_places(
        neighbourhood,
        plot,
        screens,
        place,
        year,
        knowledge,
        above_m=knowledge.setting("sunny_wall_height_m"),
        towards=(midday, knowledge.setting("sunny_wall_turn_deg")),
    )
    if not len(found.spots):
        return None
    spring = [(midsummer - back - 1) % 12 + 1 for back in range(_SPRING)]
    hours = found.lit @ (year.hours * np.isin(year.month, spring) / _SPRING)
    best = int(np.argmax(np.round(hours, 6)))
    if hours[best] < knowledge.setting("sun_part_h"):
        return None
    words = _("{aspect}-facing {wall}").format(
        aspect=compass(float(found.faces[best])), wall=found.names[best]
    )
    return SunnyWall(words, float(hours[best]), shapely.Point(found.spots[best]))


def wall_places(
    neighbourhood: Neighbourhood,
    plot: str,
    screens: Screens,
    place: Place,
    days: Course,
    knowledge: Knowledge,
    *,
    above_m: float,
    towards: tuple[float, float] | None = None,
) -> WallPlaces:
    """Return places about a metre apart along the walls and fences of a plot, and their sun.

    The sun shines on a wall from in front. Fences that are lower than `above_m` are left out; one
    of unknown height will do up to ``sunny_wall_height_m`` of the settings.

    Parameters
    ----------
    neighbourhood
        With walls of buildings and fences.
    plot
        Id of the plot.
    screens
        What hides the sun.
    place
        Where on Earth it is.
    days
        Moments of the sun, m of them.
    knowledge
        For the kinds of fences and the settings.
    above_m
        Height above the ground at which the sun is looked for, metres.
    towards
        A bearing and how far a wall may face from it, degrees; None: any way.
    """
    outline = neighbourhood.plots.geometry[plot]
    walls, names, bears = _walls_at(neighbourhood, outline, screens, knowledge, above_m)
    # Faces the right-hand side.
    along = walls.end - walls.start
    length = np.hypot(*along.T)
    faces = np.degrees(np.arctan2(along[:, 1], -along[:, 0])) - place.north
    good = length > _BEFORE_M
    if towards is not None:
        good &= np.abs((faces - towards[0] + 180) % 360 - 180) <= towards[1]
    spots, wall = _stations(walls, length, np.flatnonzero(good))
    inside = shapely.contains_xy(outline, spots[:, 0], spots[:, 1])
    spots, wall = spots[inside], wall[inside]
    lit = np.empty((0, len(days.hours)))
    if len(spots):
        lit = in_sun(screens, spots, days, above_m=above_m)
        out = np.stack([along[wall, 1], -along[wall, 0]], axis=1)
        turned = np.radians(days.bearing)
        lit = lit * (out @ np.stack([np.sin(turned), np.cos(turned)]) > 0)
    return WallPlaces(
        spots,
        faces[wall] % 360,
        tuple(names[at] for at in wall),
        tuple(bears[at] for at in wall),
        lit,
        np.stack([walls.start[wall], walls.end[wall]], axis=1),
    )


def _walls_at(
    neighbourhood: Neighbourhood,
    outline: shapely.Geometry,
    screens: Screens,
    knowledge: Knowledge,
    above_m: float,
) -> tuple[Walls, list[str], list[str]]:
    """Return walls of buildings, walls and fences that touch a plot, what each is and bears."""
    near = outline.buffer(2 * _BEFORE_M)
    built = screens.footprints[shapely.intersects(screens.footprints, near)]
    houses = Walls.of(built, np.full(len(built), np.inf))
    barriers = neighbourhood.barriers
    kind = barriers["kind"].astype(str).to_numpy()
    heights = np.asarray(barriers["height_m"], dtype=float)
    # Too low to hang a box on; where the height is not known it may do for a low one.
    low = heights < above_m
    if above_m > knowledge.setting("sunny_wall_height_m"):
        low |= np.isnan(heights)
    lines = np.asarray(barriers.geometry.array, dtype=object)
    solid = {
        key: one
        for key, one in knowledge.barrier_kinds.items()
        if one.bears is not None and not one.see_through
    }
    usable = np.isin(kind, list(solid)) & ~low & shapely.intersects(lines, near)
    flat = usable & (shapely.get_dimensions(lines) == 1)
    walls, kinds = houses, [_("house wall")] * len(houses)
    bears = ["house"] * len(houses)
    for key, one in solid.items():
        chosen = lines[flat & (kind == key)]
        more = Walls.along(chosen, np.full(len(chosen), np.inf))
        walls, kinds = walls + more, kinds + [_("garden {name}").format(name=one.name)] * len(more)
        bears += [str(one.bears)] * len(more)
    return walls, kinds, bears


def _stations(
    walls: Walls, length: NDArray[np.float64], chosen: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Return places about a metre apart in front of some walls, and the wall of each."""
    counts = np.maximum(1, np.round(length[chosen])).astype(np.int64)
    wall = np.repeat(chosen, counts)
    step = np.arange(len(wall)) - np.repeat(np.cumsum(counts) - counts, counts)
    share = ((step + 0.5) / np.repeat(counts, counts))[:, None]
    along = walls.end[wall] - walls.start[wall]
    out = np.stack([along[:, 1], -along[:, 0]], axis=1) / length[wall][:, None]
    return walls.start[wall] + share * along + _BEFORE_M * out, wall
