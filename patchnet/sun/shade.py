"""Hours of direct sun on each plot, month by month, from what stands around it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.core.errors import WrongUse
from patchnet.core.shown import Shown
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood, row_of
from patchnet.sun.course import Course, month_of_midsummer, place_of
from patchnet.sun.light import SUN_CLASSES, Light
from patchnet.sun.screens import Screens
from patchnet.sun.surface_heights import SurfaceHeights

__all__ = ["SunHours", "sun_hours"]


@dataclass(frozen=True, eq=False, repr=False)
class SunHours(Shown):
    """Direct sun on the open ground of each plot; NaN is not known, never "no shade".

    Attributes
    ----------
    hours
        Index: that of the plots; columns: months (1-12). Mean over the plot's ground of the
        hours of direct sun on the day of the month that the settings name.
    least
        The same if the buildings whose height is not known were as high as the middle one of
        those that are.
    morning, afternoon
        As `hours`, before and after the sun crosses the meridian; they add up to it.
    classes
        Index: that of the plots; columns ``full sun``, ``part shade``, ``shade``: shares of
        the plot's ground, by the hours at midsummer. Each row adds up to 1.
    open_hours
        Month -> hours where nothing stands in the way: sun above the least altitude.
    uncounted
        Number of buildings within `shadow_range_m` of each plot that have no height. Where
        there are any, hours are what the plot gets at most.
    midsummer
        Month of the classes: 6, or 12 south of the equator.
    shadow_range_m
        Length of the longest shadow that was counted; NaN where no building has a height.
    latitude, longitude
        Of the place whose sun was taken, degrees.
    measured
        Whether a measured surface was counted.
    """

    hours: pd.DataFrame
    least: pd.DataFrame
    morning: pd.DataFrame
    afternoon: pd.DataFrame
    classes: pd.DataFrame
    open_hours: pd.Series
    uncounted: pd.Series
    midsummer: int
    shadow_range_m: float
    latitude: float
    longitude: float
    measured: bool = False

    @property
    def known(self) -> pd.Series:
        """Whether anything is known of the sun on each plot."""
        return self.classes["full sun"].notna()


def sun_hours(
    neighbourhood: Neighbourhood,
    knowledge: Knowledge | None = None,
    *,
    months: Sequence[int] = tuple(range(1, 13)),
    surface: SurfaceHeights | None = None,
    plots: Sequence[str] | None = None,
) -> SunHours:
    """Work out the hours of direct sun on each plot.

    Buildings are taken as upright with level tops on level ground; walls, fences and hedges as
    thin and solid, railings as nothing. From spots spread evenly over each plot's ground (the
    plot without buildings) it is seen how steeply all that rises towards the sun at every time
    step. Trees and hills count only on a surface; cloud never does.

    Parameters
    ----------
    neighbourhood
        With ``height_m`` of buildings, or a surface.
    knowledge
        For the number of spots, the time step, least altitude of the sun, day, and the hours of
        the classes. With the settings as they come means are mostly within 0.1 and at most
        0.3 hours from those over the exact shadows at the same steps.
    months
        Months to work out, 1-12; the classes are always those of midsummer.
    surface
        Measured heights: they stand instead of the stated heights of buildings they show.
    plots
        Ids of the plots to work out; None: all.

    Returns
    -------
    SunHours
        A plot is not known (NaN) if no building with a height stands within the longest shadow
        of any and no surface covers it, or if buildings cover it.

    Raises
    ------
    WrongUse
        If a month or plot does not exist, or the plots have no coordinate system.

    Examples
    --------
    >>> import patchnet
    >>> hours = patchnet.sun_hours(patchnet.read_demo(), plots=["M15B"], months=[6]).hours
    >>> bool(hours.loc["M15B", 6] > 0)
    True
    """
    knowledge = knowledge or load_knowledge()
    wanted = _checked(months)
    table = neighbourhood.plots
    place = place_of(table)
    midsummer = month_of_midsummer(place)
    index = table.index if plots is None else _chosen(table.index, plots)
    screens = Screens.of(neighbourhood, knowledge, surface=surface)
    ground = screens.ground(np.asarray(table.geometry.loc[index].array, dtype=object))
    known, uncounted = screens.known(ground)
    days = Course.of(place, tuple(dict.fromkeys((*wanted, midsummer))), knowledge)
    # Which moments belong to which half of the day and month.
    parts = np.zeros((2, len(wanted), len(days.month)))
    for half, after in enumerate((days.after_noon < 0, days.after_noon >= 0)):
        parts[half] = (days.month == np.array(wanted)[:, None]) * after
    halves = np.full((2, len(index), len(wanted)), np.nan)
    least = np.full((len(index), len(wanted)), np.nan)
    classes = np.full((len(index), len(SUN_CLASSES)), np.nan)
    for at in np.flatnonzero(known):
        light = Light.on(
            ground[at], screens, days, midsummer, knowledge, uncounted=bool(uncounted[at])
        )
        least[at] = parts.sum(axis=0) @ light.least
        halves[:, at] = parts @ light.mean
        classes[at] = light.class_shares()

    def by_month(values: NDArray[np.float64]) -> pd.DataFrame:
        return pd.DataFrame(values, index=index, columns=list(wanted))

    return SunHours(
        hours=by_month(halves.sum(axis=0)),
        least=by_month(least),
        morning=by_month(halves[0]),
        afternoon=by_month(halves[1]),
        classes=pd.DataFrame(classes, index=index, columns=list(SUN_CLASSES)),
        open_hours=pd.Series(parts.sum(axis=0) @ days.hours, index=list(wanted)),
        uncounted=pd.Series(uncounted, index=index),
        midsummer=midsummer,
        shadow_range_m=screens.range_m,
        latitude=place.latitude,
        longitude=place.longitude,
        measured=surface is not None,
    )


def _checked(months: Sequence[int]) -> tuple[int, ...]:
    wanted = tuple(dict.fromkeys(months))
    wrong = [month for month in wanted if month not in range(1, 13)]
    if wrong or not wanted:
        raise WrongUse(
            _("Months are 1 to 12, not {wrong}.").format(wrong=", ".join(map(str, wrong)) or "none")
        )
    return wanted


def _chosen(index: pd.Index, plots: Sequence[str]) -> pd.Index:
    for plot in plots:
        row_of(plot, index)
    return pd.Index(list(dict.fromkeys(plots)), name=index.name)
