"""A scheme whose goal is coverage: flowers, cover or seed for as many short homes as can be.

A home that is short of something in some month is *reached* by a planter that gives some of it
in that month and lies within reach. The goal is the largest share of the short homes that are
reached, each home counted by what it lacks. That is a maximum coverage problem, so it is solved
exactly as an integer programme (HiGHS): y <= sum of x over the planters that reach it, y <= 1.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import block_array, csr_array, eye_array, kron, vstack

from patchnet.assess.sharing import combine_months
from patchnet.knowledge.records import Recipe
from patchnet.scheme.field import GroupField
from patchnet.scheme.planter_scheme import SchemeStep
from patchnet.scheme.state import Pick, State
from patchnet.scheme.together import SchemeRules
from patchnet.street import Site

__all__ = ["Cover", "cover_of", "cover_order", "cover_steps", "most_covered"]

Array = NDArray[np.float64]
_HALF = 0.5
_NOTHING = 1e-12  # of what is lacking: rounding of its sums
_PENCE = 0.05  # money by which the lines of a bill are rounded up, for a planter, at most
_SCALE = 1e4  # the solver ignores differences of a millionth


@dataclass(frozen=True, eq=False)
class Cover:
    """Short homes, and which planters reach them.

    Attributes
    ----------
    weight
        Shape (e,): share of all that is lacking, summing to 1 (empty where nothing is).
    reached
        Shape (e, sites x recipes): 1 where the planter reaches the homes.
    """

    weight: Array
    reached: csr_array

    def share(self, picks: Sequence[Pick], recipes: int) -> float:
        """Share of what is lacking that some planters reach."""
        columns = [site * recipes + recipe for site, recipe in picks]
        if not columns or not len(self.weight):
            return 0.0
        touched = np.asarray(self.reached[:, columns].sum(axis=1)).ravel() > 0
        return float(self.weight[touched].sum())


def cover_of(fields: Sequence[GroupField]) -> Cover:
    """Find the short homes of all groups, each group with its votes.

    Homes lack the share of a need that is not met; needs of one group count alike, and each
    group counts by its votes however many homes it has.

    Parameters
    ----------
    fields
        One a group.
    """
    recipes = len(fields[0].offers[0]) if fields and fields[0].offers else 0
    rows: list[NDArray[np.bool_]] = []
    weights: list[Array] = []
    votes = sum(field.group.weight.value for field in fields)
    for field in fields:
        parts = [_short(field, at, recipes) for at in range(len(field.needs))]
        lacking = sum(float(weight.sum()) for weight, _ in parts)
        for weight, reach in parts:
            if lacking > 0:
                weights.append(weight / lacking * field.group.weight.value / votes)
                rows.append(reach)
    if not rows:
        return Cover(np.empty(0), csr_array((0, 0)))
    table, weight = np.vstack(rows), np.concatenate(weights)
    # Homes that the same planters reach are one.
    keys, group = np.unique(table, axis=0, return_inverse=True)
    total = np.bincount(group.ravel(), weights=weight, minlength=len(keys))
    return Cover(total / total.sum(), csr_array(keys.astype(float)))


def _short(field: GroupField, at: int, recipes: int) -> tuple[Array, NDArray[np.bool_]]:
    """What homes lack of one need, and which planters give some of it in a short month."""
    need = field.needs[at]
    met = np.minimum(1.0, need.access / need.demand.amount)
    lack = field.room * (1 - combine_months(met, worst=need.demand.worst))
    places = np.flatnonzero(lack > 0)
    reach = np.zeros((len(places), len(field.offers) * recipes), dtype=bool)
    for site, offers in enumerate(field.offers):
        span = slice(
            need.reached.indptr[field.plots + site], need.reached.indptr[field.plots + site + 1]
        )
        near = np.isin(places, need.reached.indices[span])
        for recipe, offer in enumerate(offers):
            share = offer.shares[at]
            if share is not None:
                helped = (met[places] < 1)[:, share > 0].any(axis=1)
                reach[:, site * recipes + recipe] = near & helped
    return lack[places], reach


def most_covered(
    cover: Cover, rules: SchemeRules, planters: int, fixed: Sequence[Pick] = ()
) -> tuple[tuple[Pick, ...], float, float]:
    """The scheme of at most this many planters that reaches most, solved exactly.

    Spacing, money and watering are kept; each keeper takes as many planters as the litres allow,
    counted with the thirstiest site within carrying distance.

    Parameters
    ----------
    cover
        The short homes, and who reaches them.
    rules
        What a scheme must keep to.
    planters
        Most planters.
    fixed
        Planters that must be among them.

    Returns
    -------
    tuple
        The planters, the share they reach, and the bound that HiGHS proved (the share itself
        where it was solved to the end).
    """
    sites, recipes = rules.costs.shape
    picks, homes = sites * recipes, len(cover.weight)
    keepers = len(rules.keepers) if rules.unkept is not None else 0
    kept = sites * keepers
    size = picks + homes + kept
    at_a_site = kron(eye_array(sites), np.ones((1, recipes))).tocsr()
    # Columns: planters, homes reached, who keeps what.
    rules_of: list[tuple[csr_array, Array, Array]] = []

    def hold(first: "csr_array | None", second: "csr_array | None", third: "csr_array | None",
             most: Array) -> None:  # fmt: skip
        height = len(most)
        parts = [
            csr_array((height, width)) if part is None else part
            for part, width in ((first, picks), (second, homes), (third, kept))
        ]
        rules_of.append((block_array([parts]).tocsr(), np.full(height, -np.inf), most))

    if homes:
        hold(-cover.reached, eye_array(homes).tocsr(), None, np.zeros(homes))
    hold(vstack([at_a_site, rules.cliques() @ at_a_site]).tocsr(), None, None,
         np.ones(sites + rules.cliques().shape[0]))  # fmt: skip
    hold(csr_array(np.ones((1, picks))), None, None, np.array([float(planters)]))
    if np.isfinite(rules.budget):
        # Kits for as many keepers as there could be are set aside, so that no bill is above it.
        kits = min(len(rules.keepers) + 1, planters) if rules.keepers else 1
        rounded = 0.0 if rules.bill is None else _PENCE * planters
        left = rules.budget - rules.kit * kits - rounded
        hold(csr_array(rules.costs.ravel()[None, :]), None, None, np.array([left]))
    lower, upper = np.zeros(size), np.ones(size)
    if keepers:
        able = np.isfinite(rules.carries)
        upper[picks + homes :] = able.ravel().astype(float)
        each = kron(eye_array(sites), np.ones((1, keepers))).tocsr()
        hold(-at_a_site, None, each, np.zeros(sites))
        slots = [
            int(keeper.litres // rules.litres[able[:, at]].max()) if able[:, at].any() else 0
            for at, keeper in enumerate(rules.keepers)
        ]
        hold(
            None,
            None,
            kron(np.ones((1, sites)), eye_array(keepers)).tocsr(),
            np.array(slots, dtype=float),
        )
    if rules.unkept is not None:
        third = csr_array(-np.ones((1, kept))) if kept else None
        hold(csr_array(np.ones((1, picks))), None, third, np.array([float(rules.unkept)]))
    for site, recipe in fixed:
        lower[site * recipes + recipe] = 1.0
    whole = np.zeros(size)
    whole[:picks] = 1
    whole[picks + homes :] = 1
    from scipy.optimize import Bounds, LinearConstraint, milp

    found = milp(
        _SCALE * np.r_[np.zeros(picks), -cover.weight, np.zeros(kept)],
        constraints=[LinearConstraint(matrix, least, most) for matrix, least, most in rules_of],
        bounds=Bounds(lower, upper),
        integrality=whole,
        options={"mip_rel_gap": 0.0},
    )
    if found.x is None:
        return tuple(fixed), cover.share(fixed, recipes), 1.0
    chosen = np.flatnonzero(found.x[:picks] > _HALF)
    picked = [(int(k) // recipes, int(k) % recipes) for k in chosen]
    share = cover.share(picked, recipes)
    for one in reversed(picked.copy()):  # none stands there for nothing
        others = [other for other in picked if other != one]
        if one not in fixed and share - cover.share(others, recipes) <= _NOTHING:
            picked = others
    share = cover.share(picked, recipes)
    proved = share if found.status == 0 else min(1.0, float(-found.mip_dual_bound) / _SCALE)
    return tuple(picked), share, max(proved, share)


def cover_steps(
    cover: Cover,
    state: State,
    rules: SchemeRules,
    sites: Sequence[Site],
    recipes: Sequence[Recipe],
    fixed: Sequence[Pick],
) -> tuple[tuple[SchemeStep, ...], tuple[Pick, ...]]:
    """The scheme that covers most for every number of planters, and the one for the most.

    Parameters
    ----------
    cover
        The short homes, and who reaches them.
    state
        Works out what each scheme wins.
    rules
        What a scheme must keep to.
    sites
        All sites, in the order of the picks' numbers.
    recipes
        All recipes, likewise.
    fixed
        Planters that must be in every scheme.
    """
    names = [group.field.group.key for group in state.groups]
    steps: list[SchemeStep] = []
    scheme = tuple(fixed)
    for count in range(len(fixed), rules.planters + 1):
        picks, share, bound = (
            most_covered(cover, rules, count, fixed)
            if count > len(fixed)
            else (tuple(fixed), cover.share(fixed, len(recipes)), cover.share(fixed, len(recipes)))
        )
        if steps and share <= steps[-1].value:
            steps.append(replace(steps[-1], planters=count, bound=max(bound, steps[-1].value)))
            continue
        scheme = picks
        state.go_to(picks)
        steps.append(
            SchemeStep(
                planters=count,
                sites=tuple((sites[site].key, recipes[recipe].key) for site, recipe in picks),
                value=share,
                linked=dict(zip(names, state.linked.tolist(), strict=True)),
                cost=rules.cost(picks),
                bound=bound,
            )
        )
    return tuple(steps), scheme


def cover_order(cover: Cover, picks: Sequence[Pick], recipes: int) -> list[Pick]:
    """Order in which each planter reaches most that the ones before it do not.

    Parameters
    ----------
    cover
        The short homes, and who reaches them.
    picks
        The planters of a scheme.
    recipes
        How many recipes there are.
    """
    ordered: list[Pick] = []
    left = sorted(picks)
    while left:
        best = max(left, key=lambda pick: cover.share([*ordered, pick], recipes))
        left.remove(best)
        ordered.append(best)
    return ordered
