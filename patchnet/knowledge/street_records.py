"""What the street tables hold: sizes of planters, kinds of things that stand in a footway."""

from dataclasses import dataclass
from typing import Literal

__all__ = ["PlanterSize", "SightRule", "StreetObjectKind", "StreetTest"]

StreetTest = Literal["around", "surface", "driveway", "crossing", "bus_stop", "way", "kerb"]
"""How a thing is kept clear of: all round, the whole kerb it lies on, with sight areas, on the
way from it to the kerb, or by standing farther from the kerb."""

_LITRES = 1000.0  # in a cubic metre


@dataclass(frozen=True, slots=True)
class PlanterSize:
    """One size of planter; make one for a size that is not in the table.

    Parameters
    ----------
    key, name
        Key in the table and name in plain words.
    length_m, width_m, height_m
        Outside of the box: along the kerb, across the footway, footway to rim.
    soil_depth_m
        Depth of soil.
    spread_m
        How far full-grown plants stand out beyond each side of the box.
    empty_kg
        Weight of the box without soil.
    cost
        Price of the box in pounds, without soil and plants.
    """

    key: str
    name: str
    length_m: float
    width_m: float
    height_m: float
    soil_depth_m: float
    spread_m: float = 0.0
    empty_kg: float = 0.0
    cost: float = 0.0

    @property
    def plan_m2(self) -> float:
        """Ground the box takes, in square metres."""
        return self.length_m * self.width_m

    @property
    def litres(self) -> float:
        """Soil it holds, in litres (walls of the box counted as soil)."""
        return self.plan_m2 * self.soil_depth_m * _LITRES


@dataclass(frozen=True, slots=True)
class SightRule:
    """What a planter in a sight area comes to.

    Parameters
    ----------
    key
        ``sight_junction``, ``sight_driveway`` or ``sight_crossing``.
    watcher
        Who must see over it, in a sentence.
    verdict
        What a planter in it is: ``no``, or ``ask`` the authority.
    set_back
        Street rule that says how far back the eye is.
    """

    key: str
    watcher: str
    verdict: Literal["no", "ask"]
    set_back: str


@dataclass(frozen=True, slots=True)
class StreetObjectKind:
    """A kind of thing in a street that a planter must keep clear of.

    Parameters
    ----------
    key, name, words
        Key in the table, name in plain words, other names for it.
    test
        How it is kept clear of.
    solid
        Whether it stands in the way of somebody who walks.
    verdict
        What a planter is that comes too near: ``no``, or ``ask`` the people concerned.
    box
        Whether it is a planter that stands there already.
    """

    key: str
    name: str
    words: tuple[str, ...]
    test: StreetTest
    solid: bool
    verdict: Literal["no", "ask"]
    box: bool = False
