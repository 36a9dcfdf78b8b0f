"""What is not known is never empty: it is drawn in as seen on surveyed plots of the same kind."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess.unseen import unseen_amounts
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["Amounts", "draw_in_unknown"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Amounts:
    """Amounts of each feature on each plot under three readings of the unknown.

    Attributes
    ----------
    expected
        Shape (n, F), feature's own unit: unknown answers taken as share seen x usual amount.
    low, high
        The same with every unknown absent, and every unknown present (as much as fits).
    """

    expected: Array
    low: Array
    high: Array

    @property
    def certain(self) -> bool:
        """Whether everything is known, so that the three readings are one."""
        return self.low is self.expected


def draw_in_unknown(neighbourhood: Neighbourhood, knowledge: Knowledge) -> Amounts:
    """Return the amounts to compute with, from the three-valued answers.

    The share of plots of one kind that have a feature is estimated from the surveyed plots of
    that kind, pulled towards the share on all surveyed plots with the weight of
    ``settings/prior_strength`` plots (a Beta prior's mean). A feature nobody has looked for
    anywhere counts as absent in `expected` and as present in `high`. What cannot be seen from
    outside is not estimated so, for it is seldom noticed: see `patchnet.assess.unseen`.

    Parameters
    ----------
    neighbourhood
        n plots with their answers.
    knowledge
        For typical amounts, ground taken per unit (m2) and the prior's strength.
    """
    amount = neighbourhood.answers.amount
    known = ~np.isnan(amount)
    if known.all():
        return Amounts(amount, amount, amount)
    low = np.where(known, amount, 0.0)
    there = low > 0
    typical = np.array([feature.typical.value for feature in knowledge.features.values()])
    ground = np.array([feature.ground.value for feature in knowledge.features.values()])
    strength = knowledge.setting("prior_strength")

    share = np.zeros_like(low)
    usual = np.zeros_like(low)
    pooled_share = _ratio(there.sum(axis=0), known.sum(axis=0), np.zeros(len(typical)))
    pooled_usual = _ratio(low.sum(axis=0), there.sum(axis=0), typical)
    kinds = pd.factorize(neighbourhood.plots["kind"])[0]
    for kind in range(kinds.max(initial=-1) + 1):
        rows = kinds == kind
        seen, having = known[rows].sum(axis=0), there[rows].sum(axis=0)
        share[rows] = (having + strength * pooled_share) / (seen + strength)
        usual[rows] = _ratio(low[rows].sum(axis=0), having, pooled_usual)

    unseen = np.array([feature.unseen for feature in knowledge.features.values()], dtype=bool)
    share[:, unseen] = usual[:, unseen] = 0.0
    area = neighbourhood.plots["area_m2"].to_numpy(dtype=float)
    taken = (low * ground).sum(axis=1)
    free = np.maximum(area - taken, 0.0)
    expected = np.where(known, amount, _fit(np.where(known, 0.0, share * usual), ground, free))
    high = np.where(known, amount, _fit(np.where(known, 0.0, usual), ground, free))
    assumed = unseen_amounts(neighbourhood, knowledge, expected, high)
    expected = np.where(known, expected, expected + assumed.usual)
    high = np.where(known, high, high + assumed.most)
    return Amounts(expected, low, np.maximum(high, expected))


def _ratio(top: NDArray[np.generic], bottom: NDArray[np.generic], otherwise: Array) -> Array:
    """Divide, with `otherwise` where there is nothing to divide by."""
    top_f, bottom_f = top.astype(float), bottom.astype(float)
    return np.where(bottom_f > 0, top_f / np.where(bottom_f > 0, bottom_f, 1.0), otherwise)


def _fit(amounts: Array, ground: Array, free: Array) -> Array:
    """Scale the amounts that take ground down to the free ground of each plot (m2)."""
    wanted = (amounts * ground).sum(axis=1)
    scale = np.where(wanted > free, free / np.where(wanted > 0, wanted, 1.0), 1.0)
    return np.where(ground > 0, amounts * scale[:, None], amounts)
