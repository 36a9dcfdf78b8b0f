"""Schemes whose goal is coverage: the integer programme against brute force, and on paper."""

import itertools
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array

from patchnet.scheme.cover import Cover, cover_of, cover_order, most_covered


def brute_force(cover, rules, planters):
    """The best share over every set of planters the rules allow, none looked up in the code."""
    sites, recipes = rules.costs.shape
    every = list(itertools.product(range(sites), range(recipes)))
    best = 0.0
    for count in range(1, planters + 1):
        for picks in itertools.combinations(every, count):
            if rules.allows(picks):
                columns = [site * recipes + recipe for site, recipe in picks]
                reached = cover.reached.toarray()[:, columns].any(axis=1)
                best = max(best, float(cover.weight[reached].sum()))
    return best


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 2**32 - 1))
@example(84106410)  # one planter more wins less than the least home: it was left out for its price
def test_it_is_the_best_of_all(cases, seed):
    """Maximum coverage by HiGHS equals trying every set, with spacing, money and keepers."""
    rng = np.random.default_rng(seed)
    sites, recipes, homes = (
        int(rng.integers(2, 8)),
        int(rng.integers(1, 3)),
        int(rng.integers(1, 9)),
    )
    points = np.round(
        np.column_stack([rng.uniform(0, 40, sites), rng.choice([-4.0, 4.0], sites)]), 1
    )
    keepers = tuple(
        SimpleNamespace(name=f"k{at}", place=shapely.Point(rng.uniform(0, 40), 0), litres=litres)
        for at, litres in enumerate(rng.choice([0.0, 4.0, 9.0], 2))
    )
    rules = cases.make_rules(
        points, 0, recipes,
        planters=int(rng.integers(1, 4)),
        costs=rng.choice([1.0, 2.0, 3.0], (sites, recipes)),
        budget=float(rng.choice([4.0, 6.0, np.inf])),
        spacing=float(rng.choice([0.0, 3.0, 8.0])),
        keepers=keepers,
        carry_m=15.0,
        unkept=[None, 0, 1][int(rng.integers(3))],
    )  # fmt: skip
    weight = rng.uniform(0.01, 1, homes)
    cover = Cover(
        weight / weight.sum(),
        csr_array((rng.uniform(size=(homes, sites * recipes)) < 0.35).astype(float)),
    )
    picks, share, bound = most_covered(cover, rules, rules.planters)
    assert rules.allows(picks)
    assert share == pytest.approx(brute_force(cover, rules, rules.planters), abs=1e-7)
    assert bound == share


def test_on_paper_greedy_is_not_best(cases):
    """Six homes alike. A reaches 1-2-3-4, B 1-2-5, C 3-4-6.

    Greedy takes A (4), then B or C (1 more): 5 of 6. B and C together reach all 6.
    """
    reached = np.zeros((6, 3))
    reached[[0, 1, 2, 3], 0] = reached[[0, 1, 4], 1] = reached[[2, 3, 5], 2] = 1
    cover = Cover(np.full(6, 1 / 6), csr_array(reached))
    points = np.array([[0.0, 4.0], [20.0, 4.0], [40.0, 4.0]])
    rules = cases.make_rules(points, 0, 1, planters=2)
    picks, share, bound = most_covered(cover, rules, 2)
    assert picks == ((1, 0), (2, 0))
    assert share == bound == pytest.approx(1)
    assert most_covered(cover, rules, 1)[0] == ((0, 0),)


def test_planters_that_must_stand_do(cases):
    cover = Cover(np.array([1.0]), csr_array(np.array([[0.0, 1.0]])))
    points = np.array([[0.0, 4.0], [20.0, 4.0]])
    rules = cases.make_rules(points, 0, 1, planters=1)
    picks, share, _ = most_covered(cover, rules, 1, fixed=[(0, 0)])
    assert picks == ((0, 0),)
    assert share == 0


def test_no_planter_stands_for_nothing(cases):
    cover = Cover(np.array([1.0]), csr_array(np.array([[1.0, 1.0]])))
    points = np.array([[0.0, 4.0], [20.0, 4.0]])
    picks, share, _ = most_covered(cover, cases.make_rules(points, 0, 1, planters=2), 2)
    assert len(picks) == 1
    assert share == 1


def test_order_takes_what_adds_most_first():
    reached = np.array([[1.0, 0], [1, 0], [1, 1]])
    cover = Cover(np.full(3, 1 / 3), csr_array(reached))
    assert cover_order(cover, [(1, 0), (0, 0)], 1) == [(0, 0), (1, 0)]


@settings(deadline=None, max_examples=10)
@given(st.integers(0, 10_000))
def test_what_homes_lack_sums_to_one_and_is_reached_by_givers(cases, seed):
    """A planter reaches homes only if some need gets a share from it; all that lacks is counted."""
    case = cases.random_case(seed)
    fields = case[0] if isinstance(case, tuple) else case.fields
    cover = cover_of(fields)
    if not len(cover.weight):
        return
    assert cover.weight.sum() == pytest.approx(1)
    recipes = len(fields[0].offers[0])
    given_any = np.array(
        [
            any(
                share is not None for field in fields for share in field.offers[site][recipe].shares
            )
            for site in range(len(fields[0].offers))
            for recipe in range(recipes)
        ]
    )
    touched = np.asarray(cover.reached.sum(axis=0)).ravel() > 0
    assert not (touched & ~given_any).any()
