"""What is added takes time: what of it can be counted on in some years."""

import math
from collections.abc import Mapping

from patchnet.knowledge.records import Knowledge

__all__ = ["in_time"]


def in_time(change: Mapping[str, float], knowledge: Knowledge) -> dict[str, float]:
    """Return a change as it counts some years ahead (``settings/years_ahead``).

    What is planted, built or hung up grows, is found and is moved into by and by: of an amount
    added, 1 - exp(-p T / t) counts after T years, where t is the years until it gives most of what
    the tables say and p ``settings/years_pace``. What is taken away is gone at once.

    Parameters
    ----------
    change
        Feature to amount added, in its own unit; negative: taken away.
    knowledge
        For the years.

    Returns
    -------
    dict
        Feature to the amount that counts, in its own unit (m2, m, count).

    Examples
    --------
    >>> import patchnet
    >>> knowledge = patchnet.load_knowledge()
    >>> years = knowledge.features["bat_box"].years_to_work.value
    >>> round(years), round(in_time({"bat_box": 1.0, "paving": -4.0}, knowledge)["bat_box"], 3)
    (8, 0.713)
    """
    paced = knowledge.setting("years_pace") * knowledge.setting("years_ahead")
    counted = {}
    for key, more in change.items():
        years = knowledge.features[key].years_to_work.value
        part = 1.0 if more <= 0 or years <= 0 else -math.expm1(-paced / years)
        counted[key] = more * part
    return counted
