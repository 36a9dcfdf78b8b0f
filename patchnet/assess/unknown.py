"""What is not known is never empty: it is drawn in as seen on surveyed plots of the same kind."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess.unseen import unseen_amounts
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood

__all__ = [
    "Amounts",
    "Prior",
    "SeenOn",
    "counts_seen",
    "draw_in_unknown",
    "fit_to_ground",
    "fitted_amounts",
    "learn_prior",
    "seen_of_counts",
]

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


@dataclass(frozen=True, eq=False)
class SeenOn:
    """What was seen on plots of one kind, or on all; each shape (F,).

    Attributes
    ----------
    seen, having
        Plots on which anybody looked for the feature, and those that have it.
    usual
        Mean amount where there is any, in the feature's own unit; NaN: nobody has it.
    """

    seen: Array
    having: Array
    usual: Array


@dataclass(frozen=True, eq=False)
class Prior:
    """What is taken to be on plots that nobody looked at, learnt from those that were seen.

    Where two states of a street are compared, one prior serves both: else what one household
    plants would change what is assumed of all others.

    Attributes
    ----------
    by_kind
        What was seen on plots of a kind, by kind.
    pooled
        The same on all plots.
    amounts
        Shape (N, F): the rows that it was learnt from, NaN where not known; and `kinds`, (N,).
    """

    by_kind: Mapping[str, SeenOn]
    pooled: SeenOn
    amounts: Array
    kinds: NDArray[np.object_]

    def share(self, kind: str, strength: float) -> Array:
        """Share of plots of a kind that have each feature, shape (F,): a Beta prior's mean.

        Parameters
        ----------
        kind
            The kind of plot.
        strength
            Weight of what all kinds say, in plots.
        """
        having, lacking = self.odds(kind, strength)
        return _ratio(having, having + lacking, np.zeros(len(having)))

    def odds(self, kind: str, strength: float) -> tuple[Array, Array]:
        """Both parameters of the Beta distribution of that share, each shape (F,)."""
        own = self.by_kind.get(kind)
        pooled = _ratio(self.pooled.having, self.pooled.seen, np.zeros(len(self.pooled.seen)))
        seen, having = (0.0, 0.0) if own is None else (own.seen, own.having)
        return having + strength * pooled, seen - having + strength * (1.0 - pooled)

    def usual(self, kind: str, typical: Array) -> Array:
        """Amount of each feature where a plot of a kind has it, shape (F,), its own unit.

        Parameters
        ----------
        kind
            The kind of plot.
        typical
            Shape (F,): taken where no plot at all has it.
        """
        pooled = np.where(np.isnan(self.pooled.usual), typical, self.pooled.usual)
        own = self.by_kind.get(kind)
        return pooled if own is None else np.where(np.isnan(own.usual), pooled, own.usual)


def learn_prior(neighbourhood: Neighbourhood) -> Prior:
    """Learn from what was seen what is on plots that nobody looked at.

    Parameters
    ----------
    neighbourhood
        n plots with their answers.
    """
    amount = neighbourhood.answers.amount
    kinds = neighbourhood.plots["kind"].astype(str).to_numpy(dtype=object)
    codes, names = pd.factorize(kinds)
    by_kind = {str(name): _seen_on(amount[codes == code]) for code, name in enumerate(names)}
    return Prior(by_kind, _seen_on(amount), amount, kinds)


def _seen_on(amount: Array) -> SeenOn:
    return seen_of_counts(counts_seen(amount))


def counts_seen(amount: Array) -> Array:
    """Count what was seen on some plots: what is counted in parts can be added up.

    Parameters
    ----------
    amount
        Shape (n, F): NaN where not known, each feature in its own unit.

    Returns
    -------
    array
        Shape (3, F): plots on which anybody looked, those that have it, and how much of it there
        is on all of them.
    """
    known = ~np.isnan(amount)
    there = np.where(known, amount, 0.0)
    return np.stack(
        [known.sum(axis=0).astype(float), (there > 0).sum(axis=0).astype(float), there.sum(axis=0)]
    )


def seen_of_counts(counts: Array) -> SeenOn:
    """Return what was seen, from what was counted.

    Parameters
    ----------
    counts
        Shape (3, F), from `counts_seen`.
    """
    seen, having, total = counts
    return SeenOn(seen, having, _ratio(total, having, np.full(len(seen), np.nan)))


def draw_in_unknown(
    neighbourhood: Neighbourhood, knowledge: Knowledge, prior: Prior | None = None
) -> Amounts:
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
    prior
        What plots that nobody looked at are like; None: learnt from this neighbourhood.
    """
    amount = neighbourhood.answers.amount
    known = ~np.isnan(amount)
    if known.all():
        return Amounts(amount, amount, amount)
    prior = learn_prior(neighbourhood) if prior is None else prior
    low = np.where(known, amount, 0.0)
    typical = np.array([feature.typical.value for feature in knowledge.features.values()])
    strength = knowledge.setting("prior_strength")

    share = np.zeros_like(low)
    usual = np.zeros_like(low)
    codes, names = pd.factorize(neighbourhood.plots["kind"].astype(str))
    for code, name in enumerate(names):
        share[codes == code] = prior.share(str(name), strength)
        usual[codes == code] = prior.usual(str(name), typical)

    unseen = np.array([feature.unseen for feature in knowledge.features.values()], dtype=bool)
    share[:, unseen] = usual[:, unseen] = 0.0
    expected = fit_to_ground(neighbourhood, knowledge, share * usual)
    high = fit_to_ground(neighbourhood, knowledge, usual)
    assumed = unseen_amounts(neighbourhood, knowledge, expected, high)
    expected = np.where(known, expected, expected + assumed.usual)
    high = np.where(known, high, high + assumed.most)
    return Amounts(expected, low, np.maximum(high, expected))


def fit_to_ground(neighbourhood: Neighbourhood, knowledge: Knowledge, unknown: Array) -> Array:
    """Put amounts where nothing is known, as far as the free ground of each plot goes.

    Parameters
    ----------
    neighbourhood
        n plots with their answers.
    knowledge
        For the ground that a unit of each feature takes (m2).
    unknown
        Shape (n, F): amounts wanted; those of known answers are not looked at.

    Returns
    -------
    array
        Shape (n, F): known amounts, and those that take ground scaled down to what is free.
    """
    ground = np.array([feature.ground.value for feature in knowledge.features.values()])
    area = neighbourhood.plots["area_m2"].to_numpy(dtype=float)
    return fitted_amounts(neighbourhood.answers.amount, unknown, area, ground)


def fitted_amounts(amount: Array, unknown: Array, area_m2: Array, ground: Array) -> Array:
    """Put amounts where nothing is known, as far as the free ground of each row goes.

    Parameters
    ----------
    amount
        Shape (n, F): what is known, NaN where nothing is, each feature in its own unit.
    unknown
        Shape (n, F): amounts wanted; those of known answers are not looked at.
    area_m2
        Shape (n,): area of each plot, m2.
    ground
        Shape (F,): ground that a unit of each feature takes, m2.

    Returns
    -------
    array
        Shape (n, F), as `fit_to_ground`.
    """
    known = ~np.isnan(amount)
    free = np.maximum(area_m2 - (np.where(known, amount, 0.0) * ground).sum(axis=1), 0.0)
    amounts = np.where(known, 0.0, unknown)
    wanted = (amounts * ground).sum(axis=1)
    scale = np.where(wanted > free, free / np.where(wanted > 0, wanted, 1.0), 1.0)
    return np.where(known, amount, np.where(ground > 0, amounts * scale[:, None], amounts))


def _ratio(top: Array, bottom: Array, otherwise: Array) -> Array:
    """Divide, with `otherwise` where there is nothing to divide by."""
    return np.where(bottom > 0, top / np.where(bottom > 0, bottom, 1.0), otherwise)
