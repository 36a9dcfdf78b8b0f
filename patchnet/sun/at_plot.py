"""What the sun does on one plot: hours by month, class, seats, the sunny wall, the shady corner."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.sun.course import Course, Place, month_of_midsummer, place_of
from patchnet.sun.screens import Screens
from patchnet.sun.shade import class_shares, in_sun, spots_on
from patchnet.sun.sunny_walls import SunnyWall, compass, sunniest_wall
from patchnet.sun.surface_heights import SurfaceHeights

__all__ = ["PlotSun", "Seat", "ShadyCorner", "SunClass", "plot_sun", "plots_sun"]

SunClass = Literal["sun", "part", "shade"]
Seat = Literal["morning", "evening", "both", "neither"]

# A corner is what lies further from the middle than this share of the half width; and has at
# least this share of the spots.
_MIDDLE = 0.35
_SPOTS_LEAST = 0.04
# Less sun than this (hours) that unknown buildings may take is not worth a sentence.


class ShadyCorner(NamedTuple):
    """The part of a plot with least sun at midsummer.

    Attributes
    ----------
    words
        ``north-east corner``, ``south side``, ``middle``.
    hours
        Hours of direct sun a day at midsummer, on average over that part.
    place
        The spot in it with least sun, in the coordinate system of the plots.
    """

    words: str
    hours: float
    place: shapely.Point


@dataclass(frozen=True)
class PlotSun:
    """Direct sun on one plot; nothing is said where nothing is known.

    Attributes
    ----------
    plot
        Id.
    known
        Whether anything is known; if not, everything below is empty, NaN or None.
    why_not
        Why it is not known and what to map, in plain words; empty if known.
    hours
        Twelve means over the open ground, January first: hours of direct sun a day.
    least_hours
        The same if the buildings near it whose height is not known were as high as the middle one
        of those that are.
    open_hours
        The same where nothing stands in the way.
    cls
        By the mean hours at midsummer and the settings ``sun_full_h`` and ``sun_part_h``.
    shares
        Shares of the ground in full sun, part shade and shade.
    midsummer
        6, or 12 south of the equator.
    morning_hours, afternoon_hours
        Mean hours at midsummer before and after the sun crosses the meridian.
    seat
        Whether somewhere on the plot a seat has the early or the late sun at midsummer.
    sunny_wall
        Where a box for bees hangs best; None where no wall or fence that faces the midday sun
        gets as much sun as part shade has.
    shady_corner
        None where no part has notably less sun than the whole, or all have full sun.
    notes
        Plain sentences on what was not counted.
    """

    plot: str
    known: bool
    why_not: str
    hours: tuple[float, ...] = ()
    least_hours: tuple[float, ...] = ()
    open_hours: tuple[float, ...] = ()
    cls: SunClass | None = None
    shares: tuple[float, ...] = ()
    midsummer: int = 6
    morning_hours: float = float("nan")
    afternoon_hours: float = float("nan")
    seat: Seat | None = None
    sunny_wall: SunnyWall | None = None
    shady_corner: ShadyCorner | None = None
    notes: tuple[str, ...] = ()


def plot_sun(
    neighbourhood: Neighbourhood,
    plot: str,
    *,
    knowledge: Knowledge,
    surface: SurfaceHeights | None = None,
) -> PlotSun:
    """Work out what the sun does on one plot, see `plots_sun`.

    Parameters
    ----------
    neighbourhood
        As in `plots_sun`.
    plot
        Id of the plot.
    knowledge
        For the settings of the sun.
    surface
        Measured heights, or None.

    Raises
    ------
    WrongUse
        If there is no such plot, or the plots have no coordinate system.
    """
    return plots_sun(neighbourhood, knowledge=knowledge, surface=surface, plots=[plot])[plot]


def plots_sun(
    neighbourhood: Neighbourhood,
    *,
    knowledge: Knowledge,
    surface: SurfaceHeights | None = None,
    plots: Sequence[str] | None = None,
) -> Mapping[str, PlotSun]:
    """Work out what the sun does on plots.

    Parameters
    ----------
    neighbourhood
        With ``height_m`` of buildings, or a surface; walls and fences with their heights.
    knowledge
        For the settings of the sun; see also `shade.sun_hours`, which this agrees with.
    surface
        Measured heights: they stand instead of the stated heights of buildings they show.
    plots
        Ids; None: all.

    Raises
    ------
    WrongUse
        If there is no such plot, or the plots have no coordinate system.
    """
    table = neighbourhood.plots
    place = place_of(table)
    wanted = list(table.index) if plots is None else list(dict.fromkeys(plots))
    for plot in wanted:
        neighbourhood.row_of(plot)
    year = Course.of(place, range(1, 13), knowledge)
    screens = Screens.of(neighbourhood, knowledge, surface=surface)
    guessed = screens.guessed()
    ground = screens.ground(np.asarray(table.geometry.loc[wanted].array, dtype=object))
    known, uncounted = screens.known(ground)
    found: dict[str, PlotSun] = {}
    for at, plot in enumerate(wanted):
        if not known[at]:
            found[plot] = PlotSun(
                plot, known=False, why_not=_why_not(ground[at]), midsummer=month_of_midsummer(place)
            )
            continue
        sun = _Sunlight(screens, place, year, knowledge, ground[at])
        least = sun.behind(guessed) if uncounted[at] else sun.by_month
        wall = sunniest_wall(neighbourhood, plot, screens, place, year, knowledge)
        notes = (
            *_doubt(int(uncounted[at]), sun.by_month, least, sun.midsummer, knowledge),
            *_notes(surface, raised=knowledge.plot_is(str(table.at[plot, "kind"]), "raised")),
        )
        found[plot] = sun.of_plot(plot, least, wall, notes)
    return found


def _why_not(ground: shapely.Geometry) -> str:
    if ground.area <= 0:
        return "Buildings cover this plot, so there is no open ground on it."
    return (
        "No building near this plot has a height or storeys, so hours of sun are not known. Put "
        "the height in metres or the number of storeys of the houses nearby into the layer "
        "of buildings."
    )


def _doubt(
    uncounted: int,
    by_month: tuple[float, ...],
    at_least: tuple[float, ...],
    midsummer: int,
    knowledge: Knowledge,
) -> tuple[str, ...]:
    """Say what buildings of unknown height may take at midsummer, where that is worth saying."""
    hours, least = by_month[midsummer - 1], at_least[midsummer - 1]
    if hours - least < knowledge.setting("sun_doubt_h"):
        return ()
    them = "1 building" if uncounted == 1 else f"{uncounted} buildings"
    it = "it is" if uncounted == 1 else "they are"
    less = f"the sun at midsummer is {hours - least:.1f} hours less than said"
    return (f"The height of {them} near here is not on the map. If {it} as high as most, {less}.",)


def _notes(surface: SurfaceHeights | None, *, raised: bool) -> tuple[str, ...]:
    notes = []
    if raised:
        notes.append("Worked out for the ground: higher up there is more sun.")
    if surface is None:
        notes.append("Trees and hills are not counted, nor is cloud.")
    else:
        notes.append("Trees count as solid in every month, also when bare. Cloud is not counted.")
        if surface.guessed:
            notes.append(
                "The height of the ground was guessed from the lowest places near by, so under "
                "wide trees there is less sun than this."
            )
    return tuple(notes)


class _Sunlight:
    """The sun on spots of one ground, over the year."""

    def __init__(
        self,
        screens: Screens,
        place: Place,
        year: Course,
        knowledge: Knowledge,
        ground: shapely.Geometry,
    ) -> None:
        self.place, self.year, self.knowledge, self.ground = place, year, knowledge, ground
        self.spots = spots_on(ground, int(knowledge.setting("sun_spots")))
        self.lit = in_sun(screens, self.spots, year)
        self.midsummer = month_of_midsummer(place)
        self.by_month = self._monthly(self.lit)
        self.high = year.hours * (year.month == self.midsummer)

    def behind(self, more: Screens) -> tuple[float, ...]:
        """Return the hours of each month if more stood in the way."""
        return self._monthly(self.lit * in_sun(more, self.spots, self.year))

    def _monthly(self, lit: NDArray[np.float64]) -> tuple[float, ...]:
        months = self.year.month == np.arange(1, 13)[:, None]
        return tuple((months @ (lit.mean(axis=0) * self.year.hours)).tolist())

    def of_plot(
        self,
        plot: str,
        least: tuple[float, ...],
        wall: SunnyWall | None,
        notes: tuple[str, ...],
    ) -> PlotSun:
        year = self.year
        mean = self.lit.mean(axis=0) * year.hours
        months = year.month == np.arange(1, 13)[:, None]
        halves = [
            float(mean[(year.month == self.midsummer) & half].sum())
            for half in (year.after_noon < 0, year.after_noon >= 0)
        ]
        return PlotSun(
            plot,
            known=True,
            why_not="",
            hours=self.by_month,
            least_hours=least,
            open_hours=tuple((months @ year.hours).tolist()),
            cls=self._class(sum(halves)),
            shares=tuple(class_shares(self.lit @ self.high, self.knowledge).tolist()),
            midsummer=self.midsummer,
            morning_hours=halves[0],
            afternoon_hours=halves[1],
            seat=self._seat(),
            sunny_wall=wall,
            shady_corner=self._corner(),
            notes=notes,
        )

    def _class(self, hours: float) -> SunClass:
        if hours > self.knowledge.setting("sun_full_h"):
            return "sun"
        return "part" if hours >= self.knowledge.setting("sun_part_h") else "shade"

    def _seat(self) -> Seat:
        """Say whether any spot has enough of the early, and any of the late sun at midsummer."""
        away = self.knowledge.setting("sun_seat_from_noon_h")
        enough = self.knowledge.setting("sun_seat_h")
        early, late = (
            float((self.lit @ (self.high * half)).max()) >= enough
            for half in (self.year.after_noon <= -away, self.year.after_noon >= away)
        )
        if early and late:
            return "both"
        return "morning" if early else "evening" if late else "neither"

    def _corner(self) -> ShadyCorner | None:
        """Return the eighth of the compass, or the middle, with least sun at midsummer."""
        hours = self.lit @ self.high
        left, low, right, high = self.ground.bounds
        off = (self.spots - [(left + right) / 2, (low + high) / 2]) / [
            max(right - left, 1e-9) / 2,
            max(high - low, 1e-9) / 2,
        ]
        bearing = np.degrees(np.arctan2(off[:, 0], off[:, 1])) - self.place.north
        words = np.array([_part(one) for one in bearing.tolist()])
        words[np.abs(off).max(axis=1) < _MIDDLE] = "middle"
        best: ShadyCorner | None = None
        for part in np.unique(words).tolist():
            here = np.flatnonzero(words == part)
            mean = float(hours[here].mean())
            if len(here) < _SPOTS_LEAST * len(hours) or (best and mean >= best.hours - 1e-9):
                continue
            best = ShadyCorner(part, mean, shapely.Point(self._darkest(here, hours)))
        if best is None or best.hours > self.knowledge.setting("sun_full_h"):
            return None
        less = float(hours.mean()) - best.hours
        return best if less >= self.knowledge.setting("sun_corner_less_h") else None

    def _darkest(self, here: NDArray[np.int64], hours: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the spot of least sun among some; of several, that nearest their middle."""
        least = here[hours[here] <= hours[here].min() + 1e-9]
        away = np.hypot(*(self.spots[least] - self.spots[least].mean(axis=0)).T)
        darkest: NDArray[np.float64] = self.spots[least[int(away.argmin())]]
        return darkest


def _part(bearing: float) -> str:
    words = compass(bearing)
    return f"{words} corner" if "-" in words else f"{words} side"
