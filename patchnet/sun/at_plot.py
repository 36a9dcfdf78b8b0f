"""What the sun does on one plot: hours by month, class, seats, the sunny wall, the shady corner."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.sun.course import Course, month_of_midsummer, place_of
from patchnet.sun.light import Light, Seat, SunClass
from patchnet.sun.screens import Screens
from patchnet.sun.shady_corner import ShadyCorner, shady_corner
from patchnet.sun.sunny_walls import SunnyWall, sunniest_wall
from patchnet.sun.surface_heights import SurfaceHeights

__all__ = ["PlotSun", "plot_sun", "plots_sun"]


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
    ground = screens.ground(np.asarray(table.geometry.loc[wanted].array, dtype=object))
    known, uncounted = screens.known(ground)
    midsummer = month_of_midsummer(place)
    months = year.month == np.arange(1, 13)[:, None]
    found: dict[str, PlotSun] = {}
    for at, plot in enumerate(wanted):
        if not known[at]:
            found[plot] = PlotSun(
                plot, known=False, why_not=_why_not(ground[at]), midsummer=midsummer
            )
            continue
        light = Light.on(
            ground[at], screens, year, midsummer, knowledge, uncounted=bool(uncounted[at])
        )
        hours, least = months @ light.mean, months @ light.least
        morning, afternoon = light.halves()
        lost = float(hours[midsummer - 1] - least[midsummer - 1])
        raised = knowledge.plot_is(str(table.at[plot, "kind"]), "raised")
        found[plot] = PlotSun(
            plot,
            known=True,
            why_not="",
            hours=tuple(hours.tolist()),
            least_hours=tuple(least.tolist()),
            open_hours=tuple((months @ year.hours).tolist()),
            cls=light.sun_class(),
            shares=tuple(light.class_shares().tolist()),
            midsummer=midsummer,
            morning_hours=morning,
            afternoon_hours=afternoon,
            seat=light.seat(),
            sunny_wall=sunniest_wall(neighbourhood, plot, screens, place, year, knowledge),
            shady_corner=shady_corner(light, ground[at], place),
            notes=(
                *_doubt(int(uncounted[at]), lost, knowledge),
                *_notes(measured=surface is not None, raised=raised),
                *_ground_note(guessed=surface is not None and surface.guessed),
            ),
        )
    return found


def _why_not(ground: shapely.Geometry) -> str:
    if ground.area <= 0:
        return _("Buildings cover this plot, so there is no open ground on it.")
    return _(
        "No building near this plot has a height or storeys, so hours of sun are not known. Put "
        "the height in metres or the number of storeys of the houses nearby into the layer "
        "of buildings."
    )


def _doubt(uncounted: int, lost: float, knowledge: Knowledge) -> tuple[str, ...]:
    """Say what buildings of unknown height may take at midsummer, where that is worth saying."""
    if lost < knowledge.setting("sun_doubt_h"):
        return ()
    them = (
        _("1 building")
        if uncounted == 1
        else _("{uncounted} buildings").format(uncounted=uncounted)
    )
    it = _("it is") if uncounted == 1 else _("they are")
    less = _("the sun at midsummer is {lost:.1f} hours less than said").format(lost=lost)
    return (
        _(
            "The height of {them} near here is not on the map. If {it} as high as most, {less}."
        ).format(them=them, it=it, less=less),
    )


def _notes(*, measured: bool, raised: bool) -> tuple[str, ...]:
    above = (_("Worked out for the ground: higher up there is more sun."),) if raised else ()
    if measured:
        return (
            *above,
            _("Trees count as solid in every month, also when bare. Cloud is not counted."),
        )
    return (*above, _("Trees and hills are not counted, nor is cloud."))


def _ground_note(*, guessed: bool) -> tuple[str, ...]:
    says = _(
        "The height of the ground was guessed from the lowest places near by, so under "
        "wide trees there is less sun than this."
    )
    return (says,) if guessed else ()
