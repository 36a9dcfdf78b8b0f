"""Where on a plot a wall or fence gets most sun in the months when solitary bees fly."""

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.sun.course import Course, Place, month_of_midsummer
from patchnet.sun.light import in_sun
from patchnet.sun.screens import Screens
from patchnet.sun.shadows import Walls

__all__ = ["SunnyWall", "compass", "sunniest_wall"]

_POINTS = (
    "north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west",
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


def compass(bearing: float) -> str:
    """Return the nearest of eight points of the compass: ``north-east``.

    Parameters
    ----------
    bearing
        Degrees from north, clockwise.
    """
    return _POINTS[round((bearing % 360) / 45) % 8]


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
    outline = neighbourhood.plots.geometry[plot]
    walls, kinds = _walls_at(neighbourhood, outline, screens, knowledge)
    turn = knowledge.setting("sunny_wall_turn_deg")
    midsummer = month_of_midsummer(place)
    midday = 180.0 if midsummer == 6 else 0.0
    # Faces the right-hand side.
    along = walls.end - walls.start
    length = np.hypot(*along.T)
    faces = np.degrees(np.arctan2(along[:, 1], -along[:, 0])) - place.north
    off = np.abs((faces - midday + 180) % 360 - 180)
    good = np.flatnonzero((off <= turn) & (length > _BEFORE_M))
    spots, wall = _stations(walls, length, good)
    inside = shapely.contains_xy(outline, spots[:, 0], spots[:, 1])
    spots, wall = spots[inside], wall[inside]
    if not len(spots):
        return None
    above = knowledge.setting("sunny_wall_height_m")
    lit = in_sun(screens, spots, year, above_m=above)
    out = np.stack([along[wall, 1], -along[wall, 0]], axis=1)
    turned = np.radians(year.bearing)
    front = out @ np.stack([np.sin(turned), np.cos(turned)]) > 0
    spring = [(midsummer - back - 1) % 12 + 1 for back in range(_SPRING)]
    weight = year.hours * np.isin(year.month, spring) / _SPRING
    hours = (lit * front) @ weight
    best = int(np.argmax(np.round(hours, 6)))
    if hours[best] < knowledge.setting("sun_part_h"):
        return None
    words = f"{compass(float(faces[wall[best]]))}-facing {kinds[wall[best]]}"
    return SunnyWall(words, float(hours[best]), shapely.Point(spots[best]))


def _walls_at(
    neighbourhood: Neighbourhood, outline: shapely.Geometry, screens: Screens, knowledge: Knowledge
) -> tuple[Walls, list[str]]:
    """Return walls of buildings, walls and fences that touch a plot, and what each is."""
    near = outline.buffer(2 * _BEFORE_M)
    built = screens.footprints[shapely.intersects(screens.footprints, near)]
    houses = Walls.of(built, np.full(len(built), np.inf))
    barriers = neighbourhood.barriers
    kind = barriers["kind"].astype(str).to_numpy()
    heights = np.asarray(barriers["height_m"], dtype=float)
    # Too low to hang a box on; where the height is not known it may do.
    low = heights < knowledge.setting("sunny_wall_height_m")
    lines = np.asarray(barriers.geometry.array, dtype=object)
    solid = {
        key: one
        for key, one in knowledge.barrier_kinds.items()
        if one.bears is not None and not one.see_through
    }
    usable = np.isin(kind, list(solid)) & ~low & shapely.intersects(lines, near)
    flat = usable & (shapely.get_dimensions(lines) == 1)
    walls, kinds = houses, [_("house wall")] * len(houses)
    for key, one in solid.items():
        chosen = lines[flat & (kind == key)]
        more = Walls.along(chosen, np.full(len(chosen), np.inf))
        walls, kinds = walls + more, kinds + [_("garden {name}").format(name=one.name)] * len(more)
    return walls, kinds


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
