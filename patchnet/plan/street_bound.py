"""What no plan for a street can win more than: a linear programme, draw by draw.

Let x be which thing is chosen on which plot (0-1, at most so many a plot). Then in one draw, group
by group,

- the homes a_i that plot i holds are at most its places, each in use as often as where all needs
  are met: linear in x, since things that share the ground of a plot only shrink;
- all homes together are at most those that the ground has room for with everything there;
- the homes of a part of the street take no more of a vital need than lies within their reach, in
  the month that decides or over all months: linear in x too, what gives way being left out;
- sum a_i a_j p_ij is at most sum a_i min(P r, T)_i, where r are the most homes that each plot can
  hold, T their limit together, and p the best routes if every plot that could become a stop were
  one.

The log of the root of that is concave and lies under its tangents. What is left is a linear
programme; each draw may choose anew, so the mean of the optima is above every plan's mean.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from patchnet.assess.supply import patches, resource_months, supply_of
from patchnet.assess.what_if import Trials
from patchnet.assess.what_if_field import Field
from patchnet.knowledge.records import Group, Knowledge

__all__ = ["Things", "most_worth", "things_of"]

Array = NDArray[np.float64]
_PART = 32  # plots whose homes are bounded together by what lies within their reach
_TANGENTS = 12
_SLACK = 1e-9


@dataclass(frozen=True, eq=False)
class Things:
    """What can be chosen, V things over all plots.

    Attributes
    ----------
    place
        Shape (V,): position of the plot of each.
    amounts
        Shape (V, F): what each adds, each feature in its own unit, nothing taken away.
    most
        Shape (n,): most things on each plot.
    takes
        Shape (V, 3): money, hours a month and 1.
    limits
        Most of each over the street; None: no limit.
    """

    place: NDArray[np.intp]
    amounts: Array
    most: Array
    takes: Array
    limits: tuple[float | None, ...]


def most_worth(
    trials: Trials, things: Things, weight: Array, first: float, *, now: Array | None = None
) -> float:
    """Return the joint worth that no choice of things can pass, in one draw.

    Parameters
    ----------
    trials
        The street as it is.
    things
        What can be chosen.
    weight
        Shape (G,): votes of the animals, summing to 1.
    first
        Homes, as in `patchnet.plan.joint_worth.Currency`.
    now
        Shape (G,): linked homes that the change counts from; None: those of `trials`.

    Returns
    -------
    float
        Change of the joint worth, a number without unit.
    """
    from scipy.optimize import linprog

    n, count = len(things.most), len(things.place)
    knowledge = trials.assessment.knowledge
    more = supply_of(things.amounts, knowledge)
    now = trials.now if now is None else now
    rows: list[sp.csr_array] = []
    limits: list[Array] = []
    blocks = [_block(trials, key, things, more) for key in trials.groups]
    width = count + len(blocks) * (n + 1)
    gain = np.zeros(width)
    upper = np.ones(width)
    lower = np.zeros(width)
    constant = 0.0

    def add(x: "sp.csr_array", own: "sp.csr_array | None", at: int, limit: Array) -> None:
        """Add rows over x and over the homes and value of one group."""
        parts = [x]
        before = at * (n + 1)
        size = x.shape[0]
        if own is None:
            parts.append(sp.csr_array((size, width - count)))
        else:
            parts += [sp.csr_array((size, before)), own]
            parts.append(sp.csr_array((size, width - count - before - n - 1)))
        rows.append(sp.hstack(parts, format="csr"))
        limits.append(limit)

    identity = sp.hstack([sp.eye_array(n), sp.csr_array((n, 1))], format="csr")
    for at, (block, votes) in enumerate(zip(blocks, weight.tolist(), strict=True)):
        begin = count + at * (n + 1)
        upper[begin : begin + n] = np.inf
        upper[begin + n], lower[begin + n] = np.inf, -np.inf
        gain[begin + n] = votes
        constant -= votes * float(np.log(now[at] + first))
        by_plot = sp.csr_array((block.places, (things.place, np.arange(count))), shape=(n, count))
        add(-by_plot, identity, at, block.base)
        ones = sp.hstack([sp.csr_array(np.ones((1, n))), sp.csr_array((1, 1))], format="csr")
        add(sp.csr_array((1, count)), ones, at, np.array([block.together]))
        for homes, supply, limit in block.needs:
            own = sp.hstack([sp.csr_array(homes[None]), sp.csr_array((1, 1))], format="csr")
            add(-sp.csr_array(supply[None]), own, at, np.array([limit]))
        for value, slope in _tangents(block, first, float(now[at])):
            own = sp.hstack(
                [sp.csr_array(-slope * block.linked[None]), sp.csr_array([[1.0]])], format="csr"
            )
            add(sp.csr_array((1, count)), own, at, np.array([value]))
    slots = sp.csr_array((np.ones(count), (things.place, np.arange(count))), shape=(n, count))
    add(slots, None, 0, things.most)
    for column, most in enumerate(things.limits):
        if most is not None:
            add(sp.csr_array(things.takes[None, :, column]), None, 0, np.array([most]))
    result = linprog(
        -gain,
        A_ub=sp.vstack(rows, format="csr"),
        b_ub=np.concatenate(limits),
        bounds=np.column_stack([lower, upper]),
        method="highs",
    )
    if result.status != 0:  # no bound is better than a wrong one
        return float("inf")
    return max(0.0, constant - float(result.fun))


@dataclass(frozen=True, eq=False)
class _Block:
    """One group in the programme.

    `base` (n,) and `places` (V,): homes that each plot has places for, and each thing adds;
    `together`: all homes; `needs`: homes counted (n,), what each thing gives them (V,) and what is
    there, in homes; `linked` (n,): what a home at each plot adds to the square of linked homes at
    most.
    """

    base: Array
    places: Array
    together: float
    needs: list[tuple[Array, Array, float]]
    linked: Array


def _block(trials: Trials, key: str, things: Things, more: Array) -> _Block:
    knowledge = trials.assessment.knowledge
    field = trials.field(key)
    group = field.group
    base = _most_places(trials.amounts, knowledge, group)
    places = _most_places(things.amounts, knowledge, group)
    most = base + _best(places, things)
    together = most if field.pool is None else field.pool.thinned(most[:, None])[:, 0]
    whole = float(together.sum())
    linked = np.minimum(_chances(trials, field, things, most) @ most, whole)
    return _Block(base, places, whole, _needs(field, more, things, most), linked)


def _most_places(amounts: Array, knowledge: Knowledge, group: Group) -> Array:
    """Places at high use; a piece too small for a stop counts too, so that it is linear."""
    months = np.asarray(group.active_months) - 1
    keys = list(knowledge.resources)
    rates = knowledge.use_of(group.key)
    high = np.maximum(rates.max(axis=1), 0.0)
    total = np.zeros(len(amounts))
    for anchor in group.anchors:
        by_month = knowledge.supply_array[:, keys.index(anchor.resource), :][:, months]
        total += amounts @ (by_month.mean(axis=1) / anchor.per_home.value * high)
    return total


def _best(values: Array, things: Things) -> Array:
    """Shape (n,): sum of the largest few values of each plot's things."""
    best = np.zeros(len(things.most))
    for plot in np.unique(things.place).tolist():
        own = np.sort(values[things.place == plot])[::-1][: int(things.most[plot])]
        best[plot] = np.maximum(own, 0.0).sum()
    return best


def _chances(trials: Trials, field: Field, things: Things, most: Array) -> Array:
    """Probabilities of the best routes if every plot that could be a stop were one."""
    knowledge, group = trials.assessment.knowledge, field.group
    all_amounts = trials.amounts.copy()
    np.add.at(all_amounts, things.place, things.amounts)
    supply = supply_of(all_amounts, knowledge)
    able = patches(supply, knowledge, group, most[:, None]) | field.patch
    if np.array_equal(able, field.patch):
        return field.chances()
    return field.with_patches(able, compiled=trials.method.compiled).chances()


def _needs(
    field: Field, more: Array, things: Things, most: Array
) -> list[tuple[Array, Array, float]]:
    """What the homes of each part of the street find within their reach of each vital need."""
    n = len(most)
    found = []
    order = np.arange(n)
    for need, demand, near in zip(field.group.needs, field.demands, field.near, strict=True):
        if demand.floor > 0:
            continue
        given = resource_months(more, field.knowledge, need.resource, need.months) / demand.amount
        there = demand.supply[:, :, 0] / demand.amount
        if not demand.worst:
            given, there = given.mean(axis=1, keepdims=True), there.mean(axis=1, keepdims=True)
        parts = [order[first : first + _PART] for first in range(0, n, _PART)]
        for part in [order, *parts] if n > _PART else [order]:
            homes = np.zeros(n)
            homes[part] = 1.0
            reached = np.asarray(near.matrix @ homes) > 0
            ceiling = float(most[part].sum())
            for month in range(there.shape[1]):
                limit = float(there[reached, month].sum())
                if limit < ceiling - _SLACK:
                    supply = np.where(reached[things.place], given[:, month], 0.0)
                    found.append((homes, supply, limit))
    return found


def _tangents(block: _Block, first: float, now: float) -> list[tuple[float, float]]:
    """Lines over log(sqrt(L) + first): value at 0 and slope, at several L."""
    top = max(float(block.linked @ np.maximum(block.base, 0)), now**2, first**2) * 1e4
    lines = []
    for touch in np.geomspace(max(now**2, first**2), top, _TANGENTS).tolist():
        root = touch**0.5
        slope = 1 / (2 * root * (root + first))
        lines.append((float(np.log(root + first)) - slope * touch, slope))
    return lines


def things_of(
    trials: Trials,
    choices: Mapping[str, Sequence[Mapping[str, float]]],
    takes: Array,
    limits: tuple[float | None, ...],
    most: Mapping[str, int],
) -> Things:
    """Put what each plot can take into arrays.

    Parameters
    ----------
    trials
        The street as it is.
    choices
        Plot id to what each thing changes, as it counts: feature to amount in its own unit.
    takes
        Shape (V, 3), in the order of the `choices`.
    limits
        As in `Things`.
    most
        Plot id to the most things there.
    """
    hood = trials.assessment.neighbourhood
    features = {key: at for at, key in enumerate(hood.answers.features)}
    place, amounts = [], []
    counts = np.zeros(len(hood.plots))
    for plot, changes in choices.items():
        row = hood.row_of(plot)
        counts[row] = most[plot]
        for change in changes:
            own = np.zeros(len(features))
            for key, amount in change.items():
                own[features[key]] = max(amount, 0.0)
            place.append(row)
            amounts.append(own)
    return Things(
        np.array(place, dtype=np.intp),
        np.array(amounts).reshape(-1, len(features)),
        counts,
        takes,
        limits,
    )
