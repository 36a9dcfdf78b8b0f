"""What a planter weighs, and whether a gust tips it over its edge."""

import math
from typing import NamedTuple

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.street import PlanterSize
from patchnet.street.findings import source_of
from patchnet.street.site import Finding, Verdict

__all__ = ["Standing", "ballast_kg", "standing_of", "wind_finding"]


class Standing(NamedTuple):
    """How a box stands.

    Attributes
    ----------
    wet_kg, dry_kg
        Its mass with wet and with dried-out soil.
    wet, dry
        Moment of its weight over moment of the wind, across the box.
    stones_kg
        What must lie in the bottom so that it stands also when dry; 0: nothing.
    pressure_kpa
        What it weighs on the ground, wet.
    """

    wet_kg: float
    dry_kg: float
    wet: float
    dry: float
    stones_kg: float
    pressure_kpa: float


def standing_of(size: PlanterSize, *, knowledge: Knowledge) -> Standing:
    """Work out how a box stands in a gust across it.

    The wind pushes at the whole side of the box and at part of the plants above its rim; the
    weight acts in the middle, half a width from the edge it would tip over.

    Parameters
    ----------
    size
        The box.
    knowledge
        For wind, soil and plants (``street_rules.csv``).
    """
    from scipy import constants  # slow to import

    rule = knowledge.street_rule
    force = rule("wind_pressure_pa") * rule("wind_shape") * size.length_m
    plants = rule("wind_plants_m")
    wind = force * size.height_m**2 / 2
    wind += force * rule("wind_solid_share") * plants * (size.height_m + plants / 2)
    soil = size.plan_m2 * size.soil_depth_m * rule("fill_share")
    wet = size.empty_kg + soil * rule("soil_wet_kg_m3")
    dry = size.empty_kg + soil * rule("soil_dry_kg_m3")
    hold = constants.g * size.width_m / 2  # newton metres a kilogram
    return Standing(
        wet_kg=wet,
        dry_kg=dry,
        wet=wet * hold / wind,
        dry=dry * hold / wind,
        stones_kg=max(0.0, rule("wind_least") * wind / hold - dry),
        pressure_kpa=wet * constants.g / size.plan_m2 / constants.kilo,
    )


def ballast_kg(size: PlanterSize, *, knowledge: Knowledge) -> int:
    """Return the stones that a box needs in its bottom so that no gust tips it dried out.

    Parameters
    ----------
    size
        The box.
    knowledge
        For wind, soil and plants.

    Returns
    -------
    int
        Kilograms; 0 where none are needed, or where wet soil is too light already.
    """
    standing, limit = standing_of(size, knowledge=knowledge), knowledge.street_rule("wind_least")
    return math.ceil(standing.stones_kg) if standing.wet >= limit > standing.dry else 0


def wind_finding(size: PlanterSize, *, knowledge: Knowledge) -> Finding:
    """Return whether a gust tips a box over, and what must lie in it so that none does.

    Parameters
    ----------
    size
        The box.
    knowledge
        For wind, soil and plants.
    """
    standing = standing_of(size, knowledge=knowledge)
    limit = knowledge.street_rule("wind_least")
    words = _(
        "Wet it weighs {wet_kg:.0f} kg ({pressure:.1f} kPa on the ground) and stands a gust of "
        "31 m/s {wet:.1f} times over, dried out {dry:.1f} times; {limit:g} is asked."
    ).format(
        wet_kg=standing.wet_kg, pressure=standing.pressure_kpa, wet=standing.wet,
        dry=standing.dry, limit=limit,
    )  # fmt: skip
    stones = ballast_kg(size, knowledge=knowledge)
    if stones:
        words += " " + _("Put at least {stones:.0f} kg of stones in the bottom.").format(
            stones=stones
        )
    words += " " + _("Fill it on the day it comes: an empty box tips at a push.")
    verdict: Verdict = "fits" if standing.wet >= limit else "no"
    source = source_of("wind_least", knowledge)
    return Finding(
        "overturning", verdict, round(standing.wet, 2), limit, "", "assumed", words, source
    )
