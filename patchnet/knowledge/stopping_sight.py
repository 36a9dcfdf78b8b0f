"""How far a driver needs to see to stop."""

from typing import Literal

from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.knowledge.knowledge import Knowledge

__all__ = ["Vehicle", "stopping_sight_m"]

Vehicle = Literal["light", "heavy"]


def stopping_sight_m(
    speed_mph: float, *, knowledge: Knowledge, vehicle: Vehicle = "light"
) -> float:
    """How far a driver at that speed needs to see to stop, in metres.

    ``v t + v**2 / (2 d) + bonnet`` up to the speed that the formula is for, above it the
    published table (Manual for Streets; the figures stand in ``street_rules.csv`` and
    ``stopping_sight.csv``).

    Parameters
    ----------
    speed_mph
        85th-percentile speed, or where nobody measured it the limit.
    knowledge
        The tables.
    vehicle
        ``"heavy"`` on roads with buses or many lorries.

    Raises
    ------
    WrongUse
        If the speed is not above 0, or above the whole table.
    """
    if not speed_mph > 0:
        raise WrongUse(
            _("The speed must be above 0 mph, not {speed_mph:g}.").format(speed_mph=speed_mph)
        )
    if speed_mph <= knowledge.street_rule("ssd_formula_most_mph"):
        from scipy import constants

        speed = speed_mph * constants.mph
        braking = knowledge.street_rule(f"ssd_deceleration_{vehicle}_g") * constants.g
        reaction = knowledge.street_rule("ssd_reaction_s")
        bonnet = knowledge.street_rule("ssd_bonnet_m")
        return float(speed * reaction + speed**2 / (2 * braking) + bonnet)
    bands = sorted(
        (band, figure.value)
        for (band, kind), figure in knowledge.stopping_sight.items()
        if kind == vehicle and band >= speed_mph
    )
    if not bands:
        raise WrongUse(
            _(
                "No stopping sight distance is known for {speed_mph:g} mph: no planter belongs "
                "beside so fast a road."
            ).format(speed_mph=speed_mph)
        )
    return bands[0][1]
