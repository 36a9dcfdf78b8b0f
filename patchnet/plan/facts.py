"""What a householder can say about a plot; whatever is not said stays None."""

from dataclasses import dataclass
from typing import Literal

from patchnet.core.texts import N_, Words

__all__ = ["LIGHT_WORDS", "Light", "PlotFacts", "Soil", "Tenure"]

Light = Literal["sun", "part", "shade"]
Soil = Literal["clay", "loam", "sand", "chalk"]
Tenure = Literal["own", "rent"]
LIGHT_WORDS: Words[str, str] = Words(
    {"sun": N_("full sun"), "part": N_("half shade"), "shade": N_("shade")}
)
"""What light is called in words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlotFacts:
    """Answers of the person whose plot it is. All optional; None (or empty) means not said.

    Attributes
    ----------
    light
        Direct sun in summer: ``"sun"``, ``"part"`` or ``"shade"``.
    soil
        Kind of soil.
    damp
        Whether the ground stays moist in summer.
    tenure
        ``"own"`` or ``"rent"``.
    free_m2
        Ground that may be changed, m2.
    wall_m, fence_m
        Length of wall and of fence that may carry something, metres.
    sill_m
        Length of window sill or balcony rail that may carry boxes, metres.
    pots_only
        Whether everything must stand in pots, tubs or boxes.
    keep
        Uses that must stay: keys of the ``keep_uses`` table (play lawn, seat, bins, bike).
    small_children
        Whether children under six live there, visit, or may come in from the street.
    pets
        ``"cat"``, ``"dog"``.
    hours_month
        Hours a month that somebody has for it.
    budget
        Money for the first year, in the currency of the ``cost`` settings.
    edible
        Whether things to eat are wanted.
    groups
        Keys of animals the householder cares for most; empty: all alike.
    plants
        Keys of plants that grow there already: they are not offered again.
    wishes
        Features they would like to have, each with an amount in its own unit, or None.

    Examples
    --------
    >>> import patchnet
    >>> patchnet.PlotFacts(tenure="rent", free_m2=6).small_children is None
    True
    """

    light: Light | None = None
    soil: Soil | None = None
    damp: bool | None = None
    tenure: Tenure | None = None
    free_m2: float | None = None
    wall_m: float | None = None
    fence_m: float | None = None
    sill_m: float | None = None
    pots_only: bool | None = None
    keep: tuple[str, ...] = ()
    small_children: bool | None = None
    pets: tuple[str, ...] = ()
    hours_month: float | None = None
    budget: float | None = None
    edible: bool | None = None
    groups: tuple[str, ...] = ()
    plants: tuple[str, ...] = ()
    wishes: tuple[tuple[str, float | None], ...] = ()
