"""How far a bee can find home from, told by its body size."""

import math
from typing import Literal

from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.knowledge.knowledge import Knowledge

__all__ = ["homing_distance_m", "is_ceiling"]


def homing_distance_m(
    intertegular_mm: float,
    *,
    knowledge: Knowledge,
    which: Literal["typical", "maximum"] = "typical",
) -> float:
    """Return the distance from which a bee of this size finds back to its nest.

    log10(distance in km) = intercept + slope * log10(span in mm). Base-10 logs: with natural
    ones a 5 mm bumblebee would fly 36 km. It is a potential range; bees forage much nearer.

    Parameters
    ----------
    intertegular_mm
        Span between the wing bases, in mm; between the figures ``regressions/body_size/shortest``
        and ``.../longest``.
    knowledge
        The tables that hold the coefficients.
    which
        ``"typical"`` or ``"maximum"`` homing distance.

    Returns
    -------
    float
        Distance in metres. For small bees it is no ceiling: see `is_ceiling`.

    Raises
    ------
    WrongUse
        If the span lies outside the range the regression is used for, or `which` is neither.

    References
    ----------
    Greenleaf, S. S., Williams, N. M., Winfree, R. & Kremen, C. 2007. Bee foraging ranges and
    their relationship to body size. Oecologia 153:589-596. doi:10.1007/s00442-007-0752-9
    """
    shortest = knowledge.figures["regressions/body_size/shortest"].value
    longest = knowledge.figures["regressions/body_size/longest"].value
    if which not in ("typical", "maximum"):
        raise WrongUse(
            _("'{which}' is no homing distance: say typical or maximum.").format(which=which)
        )
    if not shortest <= intertegular_mm <= longest:
        raise WrongUse(
            _(
                "A span of {intertegular_mm:g} mm lies outside {shortest:g} to {longest:g} mm."
            ).format(intertegular_mm=intertegular_mm, shortest=shortest, longest=longest)
        )
    intercept = knowledge.figures[f"regressions/{which}_homing/intercept"].value
    slope = knowledge.figures[f"regressions/{which}_homing/slope"].value
    return float(1000 * 10 ** (intercept + slope * math.log10(intertegular_mm)))


def is_ceiling(intertegular_mm: float, *, knowledge: Knowledge) -> bool:
    """Return whether the maximum homing distance bounds what bees of this size were seen to do.

    Parameters
    ----------
    intertegular_mm
        Width between the bases of the wings, mm.
    knowledge
        For the size from which this holds.

    References
    ----------
    Wright, I. R., Roberts, S. P. M. & Collins, B. E. 2015. Evidence of forage distance
    limitations for small bees. European Journal of Entomology 112:303-310.
    doi:10.14411/eje.2015.028
    """
    return intertegular_mm >= knowledge.figures["regressions/body_size/ceiling_from"].value
