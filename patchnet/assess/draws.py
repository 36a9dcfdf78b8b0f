"""Draws of all that is not sure: figures that have a range, and answers that nobody gave.

Draw k of a seed is the same wherever it is asked for, with more draws or fewer, on any number of
cores: every figure and every plot has a stream of its own, named after it. So two states of a
street, two plans, two plots are judged under the same luck, and their difference keeps little of
it (common random numbers). Figures are drawn in batches, each of which goes once through every
slice of the figure's range (Latin hypercube; McKay, Beckman & Conover 1979, Technometrics
21:239-245).
"""

import hashlib
from collections.abc import Collection
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import betaincinv, ndtri

from patchnet.assess.unknown import Prior, fit_to_ground
from patchnet.assess.unseen import unseen_amounts
from patchnet.knowledge.drawn import Uncertain, drawn_values, uncertain_figures, with_values
from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["BATCH", "RUN", "Draws", "drawn_amounts", "stream"]

Array = NDArray[np.float64]
BATCH = 25
"""Draws that together go once through every slice of a range."""
RUN = 5
"""Draws in a row that have the same ground: a surface takes longer to paint than to walk over."""
_IN_RUNS = ("cost", "crossing")


def stream(seed: int, *name: str | int) -> np.random.Generator:
    """Return random numbers of their own for a name, the same on every machine.

    Parameters
    ----------
    seed
        The seed of all draws.
    name
        What they are for.
    """
    spelled = "\x1f".join(map(str, name)).encode()
    digest = hashlib.blake2b(spelled, digest_size=16).digest()
    return np.random.default_rng([seed, *np.frombuffer(digest, dtype="<u4").tolist()])


@dataclass(frozen=True, eq=False)
class Draws:
    """The figures of each draw.

    Attributes
    ----------
    knowledge
        The tables.
    groups
        Keys of the animals that are drawn for.
    count
        How many draws there are.
    seed
        Of all draws.
    held
        Whether all figures stay at their values in use, and only answers that nobody gave are
        drawn: the same ones as with figures.
    """

    knowledge: Knowledge
    groups: Collection[str]
    count: int
    seed: int = 0
    held: bool = False

    @cached_property
    def figures(self) -> tuple[Uncertain, ...]:
        """The figures that are drawn, U of them."""
        return () if self.held else uncertain_figures(self.knowledge, self.groups)

    @cached_property
    def normals(self) -> Array:
        """Shape (U, count): where each figure stands in each draw, standard normal."""
        shared: dict[str, Array] = {}
        rows = np.zeros((len(self.figures), self.count))
        for at, one in enumerate(self.figures):
            run = RUN if one.what in _IN_RUNS else 1
            own, others = self._normal(one.figure.key, run), one.with_others
            if others and others not in shared:
                shared[others] = self._normal(others, run)
            lean = shared[others] if others else 0.0
            rows[at] = np.sqrt(1.0 - one.together) * own + np.sqrt(one.together) * lean
        return rows

    @cached_property
    def values(self) -> Array:
        """Shape (U, count): value of each figure in each draw, in its unit."""
        far, share = (self.knowledge.setting(f"range_{name}") for name in ("farthest", "share"))
        places = np.clip(self.normals, -far, far) / ndtri((1 + share) / 2)
        drawn = [drawn_values(one, at) for one, at in zip(self.figures, places, strict=True)]
        return np.array(drawn).reshape(-1, self.count)

    def tables(self, draw: int) -> Knowledge:
        """Return the tables of one draw (from 0)."""
        if self.held:
            return self.knowledge
        values = self.values[:, draw].tolist()
        keys = (one.figure.key for one in self.figures)
        return with_values(self.knowledge, dict(zip(keys, values, strict=True)))

    def _normal(self, name: str, run: int) -> Array:
        parts = []
        different = BATCH // run
        for batch in range(-(-self.count // BATCH)):
            luck = stream(self.seed, "figure", name, batch)
            slices = luck.permutation(different) + luck.random(different)
            parts.append(np.repeat(ndtri(slices / different), run))
        return np.concatenate(parts)[: self.count] if parts else np.zeros(0)


def drawn_amounts(
    neighbourhood: Neighbourhood, knowledge: Knowledge, prior: Prior, *, seed: int, draw: int
) -> Array:
    """Amounts of each feature on each plot in one draw of the answers that nobody gave.

    The share of plots of one kind that have a feature is drawn from its Beta distribution (see
    `patchnet.assess.unknown`), whether a plot has it from that share, and how much from the plots
    that have it. What cannot be seen goes with it (`patchnet.assess.unseen`).

    Parameters
    ----------
    neighbourhood
        n plots with their answers.
    knowledge
        The tables of the draw.
    prior
        What plots that nobody looked at are like.
    seed, draw
        Which draw.

    Returns
    -------
    array
        Shape (n, F), in the feature's own unit.
    """
    amount = neighbourhood.answers.amount
    known = ~np.isnan(amount)
    if known.all():
        return amount
    features = knowledge.features.values()
    unseen = np.array([feature.unseen for feature in features], dtype=bool)
    typical = np.array([feature.typical.value for feature in features])
    strength = knowledge.setting("prior_strength")
    wanted = np.zeros_like(amount)
    codes, names = pd.factorize(neighbourhood.plots["kind"].astype(str))
    open_rows = (~known & ~unseen).any(axis=1)
    for code, name in enumerate(names):
        rows = np.flatnonzero((codes == code) & open_rows)
        if not rows.size:
            continue
        having, lacking = prior.odds(str(name), strength)
        place = stream(seed, "share", str(name), draw).random(len(having))
        share = np.where(having > 0, 1.0, 0.0)
        mixed = (having > 0) & (lacking > 0)
        share[mixed] = betaincinv(having[mixed], lacking[mixed], place[mixed])
        pick = _Picker(prior, str(name), typical)
        for row in rows.tolist():
            luck = stream(seed, "plot", str(neighbourhood.plots.index[row]), draw)
            there, which = luck.random((2, len(share)))
            wanted[row] = np.where(there < share, pick.amounts(which), 0.0)
    wanted[:, unseen] = 0.0
    drawn = fit_to_ground(neighbourhood, knowledge, wanted)
    assumed = unseen_amounts(neighbourhood, knowledge, drawn, drawn)
    return np.where(known, drawn, drawn + assumed.usual)


class _Picker:
    """Amounts seen on plots of one kind, else on any plot, else the typical one."""

    def __init__(self, prior: Prior, kind: str, typical: Array) -> None:
        there = prior.amounts > 0
        own = prior.kinds == kind
        by_kind = there & own[:, None]
        self._of = np.where(by_kind.any(axis=0), by_kind, there)
        # Rows that have each feature come first in its column, in the order of the plots.
        order = np.argsort(~self._of, axis=0, kind="stable")
        self._sorted = np.take_along_axis(prior.amounts, order, axis=0)
        self._count = self._of.sum(axis=0)
        self._typical = typical

    def amounts(self, luck: Array) -> Array:
        """Shape (F,): one amount of each feature, from (F,) numbers between 0 and 1."""
        if not len(self._sorted):
            return self._typical
        at = np.minimum((luck * self._count).astype(np.intp), np.maximum(self._count - 1, 0))
        picked = self._sorted[at, np.arange(len(at))]
        return np.where(self._count > 0, picked, self._typical)
