"""The sun on spots of open ground over some days: what is lit when, and hours made of it."""

from dataclasses import dataclass
from functools import cached_property
from typing import Literal, Self

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.knowledge.records import Knowledge
from patchnet.sun.course import Course
from patchnet.sun.screens import Screens

__all__ = ["SUN_CLASSES", "Light", "Seat", "SunClass", "in_sun", "spots_on"]

SUN_CLASSES = ("full sun", "part shade", "shade")

SunClass = Literal["sun", "part", "shade"]
Seat = Literal["morning", "evening", "both", "neither"]

# Roberts, M. 2018. The unreasonable effectiveness of quasirandom sequences: powers of the plastic
# number, the root of x^3 = x + 1, spread points evenly over a square, however many there are.
_PLASTIC = 1.324717957244746
# A crooked plot fills little of its box: no more points than so many times those wanted are tried.
_EMPTIEST = 100


@dataclass(frozen=True, eq=False)
class Light:
    """Direct sun on spots of one piece of ground.

    Attributes
    ----------
    spots
        Shape (s, 2), metres in the CRS of the plots.
    lit
        Shape (s, m), 0 or 1: whether the sun shines on each spot at each moment.
    darker
        The same if buildings of unknown height were as high as the middle one of the others.
    days
        The moments, m of them.
    midsummer
        Month of midsummer, which is among those of `days`: 6, or 12 south of the equator.
    knowledge
        For the settings of the sun.
    """

    spots: NDArray[np.float64]
    lit: NDArray[np.float64]
    darker: NDArray[np.float64]
    days: Course
    midsummer: int
    knowledge: Knowledge

    @classmethod
    def on(
        cls,
        ground: shapely.Geometry,
        screens: Screens,
        days: Course,
        midsummer: int,
        knowledge: Knowledge,
        *,
        uncounted: bool,
        above_m: float = 0.0,
    ) -> Self:
        """Work out what the sun does on a piece of ground.

        Parameters
        ----------
        ground
            An area, metres.
        screens
            What hides the sun.
        days
            Moments, midsummer's among them.
        midsummer
            Month of midsummer.
        knowledge
            For the number of spots, and the hours of the classes.
        uncounted
            Whether buildings of unknown height stand near.
        above_m
            How far above the ground it is seen, metres.
        """
        spots = spots_on(ground, int(knowledge.setting("sun_spots")))
        lit = in_sun(screens, spots, days, above_m=above_m)
        darker = lit
        if uncounted:
            darker = lit * in_sun(screens.guessed, spots, days, above_m=above_m)
        return cls(spots, lit, darker, days, midsummer, knowledge)

    @cached_property
    def high(self) -> NDArray[np.float64]:
        """Shape (s,): hours of sun on each spot at midsummer."""
        return np.asarray(self.lit @ (self.days.hours * (self.days.month == self.midsummer)))

    @cached_property
    def mean(self) -> NDArray[np.float64]:
        """Shape (m,): hours of sun that each moment stands for, mean over the spots."""
        return np.asarray(self.lit.mean(axis=0) * self.days.hours)

    @cached_property
    def least(self) -> NDArray[np.float64]:
        """As `mean`, with the buildings of unknown height."""
        return np.asarray(self.darker.mean(axis=0) * self.days.hours)

    def halves(self) -> tuple[float, float]:
        """Return mean hours at midsummer before and after the sun crosses the meridian."""
        now, after = self.days.month == self.midsummer, self.days.after_noon
        return float(self.mean[now & (after < 0)].sum()), float(self.mean[now & (after >= 0)].sum())

    def sun_class(self) -> SunClass:
        """Return the class of the whole ground by its mean hours at midsummer."""
        return self._class_of(sum(self.halves()))

    def least_class(self) -> SunClass:
        """As `sun_class`, with the buildings of unknown height."""
        return self._class_of(float(self.least[self.days.month == self.midsummer].sum()))

    def _class_of(self, hours: float) -> SunClass:
        if hours > self.knowledge.setting("sun_full_h"):
            return "sun"
        return "part" if hours >= self.knowledge.setting("sun_part_h") else "shade"

    def class_shares(self) -> NDArray[np.float64]:
        """Return the shares of spots in full sun, part shade and shade, by midsummer hours.

        Returns
        -------
        array
            Shape (3,), 0-1.
        """
        full = self.high > self.knowledge.setting("sun_full_h")
        part = ~full & (self.high >= self.knowledge.setting("sun_part_h"))
        return np.array([full.mean(), part.mean(), (~full & ~part).mean()])

    def seat(self) -> Seat:
        """Say whether any spot has enough of the early, and any of the late sun at midsummer."""
        away = self.knowledge.setting("sun_seat_from_noon_h")
        enough = self.knowledge.setting("sun_seat_h")
        hours = self.days.hours * (self.days.month == self.midsummer)
        early, late = (
            float((self.lit @ (hours * half)).max()) >= enough
            for half in (self.days.after_noon <= -away, self.days.after_noon >= away)
        )
        if early and late:
            return "both"
        return "morning" if early else "evening" if late else "neither"


def in_sun(
    screens: Screens,
    spots: NDArray[np.float64],
    days: Course,
    *,
    above_m: float = 0.0,
) -> NDArray[np.float64]:
    """Return whether the sun shines on each spot at each moment, shape (spots, moments), 0 or 1.

    Parameters
    ----------
    screens
        What hides the sun.
    spots
        Shape (s, 2), metres in the CRS of the plots.
    days
        Moments, t of them: where the sun stands.
    above_m
        Height above the ground, metres.
    """
    horizon = screens.horizon(spots, days, above_m=above_m)
    return (days.slope > horizon[:, days.direction]).astype(np.float64)


def spots_on(ground: shapely.Geometry, count: int) -> NDArray[np.float64]:
    """Return about `count` points spread evenly over a ground, shape (n, 2), the same each time.

    Parameters
    ----------
    ground
        An area, metres.
    count
        About how many, 1 or more.
    """
    frame = shapely.get_coordinates(shapely.oriented_envelope(ground))
    shapely.prepare(ground)
    if len(frame) == 5:
        corner, across, along = frame[0], frame[1] - frame[0], frame[3] - frame[0]
        box = abs(across[0] * along[1] - across[1] * along[0])
        tried = int(count * min(box / ground.area, _EMPTIEST))
        unit = (0.5 + np.arange(1, tried + 1)[:, None] * (_PLASTIC**-1, _PLASTIC**-2)) % 1
        spots = corner + unit[:, :1] * across + unit[:, 1:] * along
        inside = shapely.contains_xy(ground, spots[:, 0], spots[:, 1])
        if inside.any():
            return np.asarray(spots[inside])
    return np.asarray(shapely.get_coordinates(shapely.point_on_surface(ground)))
