"""The certificate: what no scheme of a given size can win more than.

For every group, the sum over pairs a p a after a scheme S exceeds today's in three ways, each
bounded by something linear in "is this site used" (x, one number of 0-1 for each site):

- A pair whose best route gets better uses sites that lie on a better route. With q of them it
  wins no more than the best route over at most q sites does. Pairs with the same such sites are
  taken together, so what they win lies under the concave hull of these numbers at the sum of x.
- Homes grow by no more than the sum over the sites of what each brings alone to a place that
  shares with nobody (`_most_homes`), and what sharing takes off the place today; and by no more
  than with every site built.
- The homes of a set that today takes all of something grow together by no more than planters add
  to it, and what others must leave to them at most (`patchnet.scheme.ceiling`). What some of them
  win and others lose counts by the difference of how well they are linked alone.
- Planters' own homes likewise.

The log of its root is concave, so it lies under its tangent at any point. What is left is a
linear programme over x with the number of planters or the money as its limit; its optimum is an
upper bound for every scheme (watering is left out, which only raises it).
"""

import itertools
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import (
    block_diag,
    coo_array,
    csr_array,
    diags_array,
    eye_array,
    hstack,
    kron,
    vstack,
)

from patchnet.scheme.ceiling import GroupCeiling
from patchnet.scheme.state import Worth
from patchnet.scheme.together import SchemeRules

__all__ = ["SchemeBound"]

Array = NDArray[np.float64]
_CLUSTERS = 60  # groups of neighbouring plots whose homes are bounded together
_SLACK = 1e-9


class SchemeBound:
    """Upper bounds for the worth of schemes, by size.

    Parameters
    ----------
    ceilings
        One per group.
    worth
        The joint worth.
    rules
        Number, money and sites.
    locked
        Sites that are used in any case.
    """

    def __init__(
        self,
        ceilings: Sequence[GroupCeiling],
        worth: Worth,
        rules: SchemeRules,
        locked: Sequence[int] = (),
    ) -> None:
        self._ceilings, self._worth, self._rules = ceilings, worth, rules
        self._locked = set(locked)
        self._clusters = [_Clusters.of(ceiling, rules.planters) for ceiling in ceilings]
        self._cliques = rules.cliques()

    def of_size(self, planters: int, linked: Array) -> float:
        """No scheme with this many planters is worth more, less the tolls of its sites.

        Parameters
        ----------
        planters
            How many.
        linked
            Shape (G,): linked homes of the best scheme known, where the tangents touch.
        """
        if planters == 0:
            return 0.0
        sites, recipes = self._rules.costs.shape
        picks = sites * recipes
        blocks, constant = [], 0.0
        for at, ceiling in enumerate(self._ceilings):
            touch = float(linked[at]) if linked[at] > 0 else self._worth.first
            value, slope = self._worth.tangent(at, touch)
            constant += value + slope * (ceiling.base - touch**2)
            blocks.append(_block(ceiling, self._clusters[at], planters, slope))
        rules = self._rules
        tolls = np.zeros(sites) if rules.toll is None else rules.toll
        able = np.ones(sites) if rules.able is None else rules.able.astype(float)
        gain = np.concatenate([-np.repeat(tolls, recipes), *(block.gain for block in blocks)])
        most = np.concatenate([np.repeat(able, recipes), *(block.most for block in blocks)])
        others = len(gain) - picks
        # need y - by x <= shift for everything that is won.
        by = vstack([block.by for block in blocks])
        need = block_diag([block.need for block in blocks])
        matrix = [hstack([-by, need])]
        limit = [np.concatenate([block.shift for block in blocks])]
        at_a_site = kron(csr_array(np.eye(sites)), np.ones((1, recipes))).tocsr()
        one_of = vstack([at_a_site, self._cliques @ at_a_site])
        locked = at_a_site[sorted(self._locked)]
        for rows, most_of in (
            (one_of, np.ones(one_of.shape[0])),
            (-locked, -np.ones(locked.shape[0])),
            (csr_array(np.ones((1, picks))), np.array([float(planters)])),
            (csr_array(rules.costs.ravel()[None, :]), np.array([rules.budget_for_boxes])),
        ):
            if rows.shape[0] and np.isfinite(most_of).all():
                matrix.append(hstack([rows, csr_array((rows.shape[0], others))]))
                limit.append(most_of)
        takes, limits = vstack(matrix).tocsr(), np.concatenate(limit)
        from scipy.optimize import linprog

        result = linprog(
            -gain,
            A_ub=takes,
            b_ub=limits,
            bounds=np.column_stack([np.zeros(len(most)), most]),
            method="highs",
        )
        if not result.success:
            return np.inf
        # Any prices of the limits that are not negative give an upper bound, whatever the
        # tolerances of the solver: what the limits are worth, and what is won beyond them.
        prices = np.maximum(-result.ineqlin.marginals, 0.0)
        beyond = np.maximum(gain - takes.T @ prices, 0.0)
        return float(prices @ limits + beyond @ most) + constant + _SLACK


class _Clusters(NamedTuple):
    """Clusters of neighbouring places whose homes are bounded together.

    Attributes
    ----------
    gains
        Shape (clusters, picks): what each planter brings, by itself.
    slack
        Shape (clusters,): what can be won besides.
    caps
        Shape (planters, clusters): most that can be won with 1, 2, 3 ... planters.
    sets
        Shape (sets, clusters): homes of a set that one of what a cluster wins stands for at least.
    member
        Shape (sets, clusters): 1 where a cluster is part of a set.
    """

    gains: Array
    slack: Array
    caps: Array
    sets: Array
    member: Array

    @classmethod
    def of(cls, ceiling: GroupCeiling, planters: int) -> "_Clusters":
        """Put neighbouring places together, those of each set apart from the others."""
        dense = ceiling.homes.toarray() * ceiling.weight
        slack = ceiling.weight * ceiling.slack
        touched = np.flatnonzero((dense.any(axis=0) | (slack > 0)) & (ceiling.gained > 0))
        count = len(ceiling.sets.spare)
        if touched.size == 0 or planters < 1:
            empty = np.zeros(0)
            none = np.zeros((count, 0))
            return cls(np.zeros((0, len(dense))), empty, np.zeros((planters, 0)), none, none)
        dense, slack = dense[:, touched], slack[touched]
        # The most that so many sites can bring, place by place, and the most there is room for.
        largest = min(planters, len(dense))
        top = -np.sort(np.partition(-dense, largest - 1, axis=0)[:largest], axis=0)
        top = np.vstack([top, np.zeros((planters - largest, len(touched)))])
        cap = np.minimum(top.cumsum(axis=0) + slack, (ceiling.weight * ceiling.gained)[touched])
        # Neighbouring places are raised by neighbouring sites: cut the order of their best site.
        own = ceiling.sets.of[touched]
        order = np.lexsort((dense.argmax(axis=0), own))
        cuts = np.flatnonzero(np.diff(own[order])) + 1
        each = max(1, _CLUSTERS // (len(cuts) + 1))
        parts = [
            part
            for run in np.split(order, cuts)
            for part in np.array_split(run, min(each, len(run)))
        ]
        gains = np.array([dense[:, part].sum(axis=1) for part in parts])
        sets, member = np.zeros((count, len(parts))), np.zeros((count, len(parts)))
        for at, part in enumerate(parts):
            heaviest = float(ceiling.weight[touched[part]].max())
            if own[part[0]] >= 0 and heaviest > 0:
                sets[own[part[0]], at] = 1.0 / heaviest
                member[own[part[0]], at] = 1.0
        return cls(
            gains,
            np.array([slack[part].sum() for part in parts]),
            np.stack([cap[:, part].sum(axis=1) for part in parts], axis=1),
            sets,
            member,
        )


class _Block(NamedTuple):
    """Part of the programme for one group: what is won, its limit, and what it takes of sites."""

    gain: Array
    most: Array
    need: csr_array
    by: csr_array
    shift: Array


def _block(ceiling: GroupCeiling, clusters_of: _Clusters, planters: int, slope: float) -> _Block:
    gains, caps = clusters_of.gains, clusters_of.caps[planters - 1]
    rows: list[float] = []
    shifts: list[float] = []
    column: list[int] = []
    # At q sites, and at any number since the last one worked out, pairs win at most won(q).
    starts = [1, *(count + 1 for count in ceiling.counts[:-1])]
    for at, won in enumerate(ceiling.won):
        for rise, shift in _hull(starts, won.tolist(), planters):
            rows.append(rise)
            shifts.append(shift)
            column.append(at)
    clusters, pairs = len(caps), len(ceiling.won)
    by = vstack(
        [
            csr_array(gains),
            ceiling.sets.added,
            ceiling.sets.added,
            diags_array(np.array(rows)) @ ceiling.able[column]
            if rows
            else csr_array((0, gains.shape[1])),
        ]
    ).tocsr()
    of_pairs = coo_array(
        (np.ones(len(column)), (np.arange(len(column)), np.array(column, dtype=int))),
        shape=(len(column), pairs),
    )
    need = block_diag(
        [
            vstack(
                [
                    eye_array(clusters),
                    csr_array(clusters_of.sets),
                    csr_array(clusters_of.member / ceiling.sets.heavy[:, None]),
                ]
            ),
            of_pairs,
        ]
    ).tocsr()
    return _Block(
        gain=np.full(clusters + pairs, slope),
        most=np.r_[caps, _reachable(starts, ceiling.won, planters)],
        need=need,
        by=by,
        shift=np.r_[
            clusters_of.slack,
            ceiling.sets.spare,
            ceiling.sets.core + ceiling.sets.brought / ceiling.sets.heavy,
            np.array(shifts),
        ],
    )


def _reachable(starts: Sequence[int], won: Array, planters: int) -> Array:
    """What pairs can win with this many planters."""
    able = [at for at, start in enumerate(starts) if start <= planters]
    return np.asarray(won[:, able].max(axis=1)) if len(won) else np.zeros(0)


def _hull(starts: Sequence[int], won: Sequence[float], planters: int) -> list[tuple[float, float]]:
    """Slopes and offsets of the concave hull over (0, 0) and the points (start, won)."""
    points = [(0.0, 0.0)]
    points += [
        (float(start), gain) for start, gain in zip(starts, won, strict=True) if start <= planters
    ]
    hull: list[tuple[float, float]] = []
    for x, y in points:
        while len(hull) >= 2:
            (x0, y0), (x1, y1) = hull[-2], hull[-1]
            if (y1 - y0) * (x - x0) <= (y - y0) * (x1 - x0):
                hull.pop()
            else:
                break
        hull.append((x, y))
    lines = []
    for (x0, y0), (x1, y1) in itertools.pairwise(hull):
        rise = (y1 - y0) / (x1 - x0)
        if rise > 0:
            lines.append((rise, y0 - rise * x0))
    return lines
