"""The certificate is never beaten, the prices are safe, and parts of it by hand."""

import dataclasses
from unittest import mock

import numpy as np
import pytest
import scipy.optimize
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.scheme.filled import share_with
from patchnet.scheme.search import every_scheme


def beaten(cases, seed):
    """Sizes at which brute force, filled exactly, beats the bound, wherever the tangents touch."""
    fields, rules = cases.random_case(seed, most_sites=7, most_planters=3)
    state, _, bound = cases.state_of(fields, rules)
    filled = cases.filled_of(state)
    start, wrong = filled.linked(()), []
    for size, picks, value in brute_force(state, rules, filled):
        here = filled.linked(picks)
        for touch in (here, start, 3 * here + 1, 0.3 * here):
            limit = bound.of_size(size, touch)
            if limit < value - 1e-12:
                wrong.append((size, value, limit))
    return wrong


def brute_force(state, rules, filled):
    """The best scheme of each size with its value, every one there is filled exactly."""
    every = every_scheme(state, (), rules, most=10**9, keep=10**9)
    for size, first in every.first.items():
        value = {picks: filled.value(picks) for picks in first}
        best = max(value, key=value.get)
        yield size, best, value[best]


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**9))
def test_no_scheme_beats_the_bound(cases, seed):
    """Budgets, conflicts, months rules, vital and helpful needs, homes in planters, anchors."""
    assert beaten(cases, seed) == []


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**9))
def test_homes_and_pairs_stay_below_their_own_ceilings(cases, seed):
    """Part by part: homes of every place, and what is won over better routes."""
    fields, rules = cases.random_case(seed)
    rng = np.random.default_rng(seed)
    sites = rng.permutation(len(rules.sites))[: rules.planters]
    picks = [(int(site), int(rng.integers(rules.costs.shape[1]))) for site in sites]
    recipes = rules.costs.shape[1]
    chosen = [site * recipes + recipe for site, recipe in picks]
    for field in fields:
        ceiling = cases.ceiling_of(field, cases.LEAST, rules.planters, np.eye(len(rules.sites)) > 0)
        room, shares = share_with(field, picks)
        more = np.maximum(room * shares.quality[:, 0] - field.today, 0.0)
        singles = ceiling.homes.toarray()[chosen].sum(axis=0)
        assert (more <= singles + ceiling.slack + 1e-8).all()
        assert (more <= ceiling.gained + 1e-8).all()
        for number, spare in enumerate(ceiling.sets.spare):
            added = ceiling.sets.added[[number]][:, chosen].sum()
            assert more[ceiling.sets.of == number].sum() <= spare + added + 1e-8
        group = cases.GroupState(field, cases.LEAST)
        for pick in picks:
            group.add(pick)
        chances = group.now.chances
        won = field.today @ (chances - field.chances) @ field.today
        used = np.zeros(ceiling.able.shape[1])
        used[[site * recipes + recipe for site, recipe in picks]] = 1
        several = np.round(ceiling.able @ used).astype(int)
        most = 0.0
        for at, count in enumerate(several.tolist()):
            if count:
                most += ceiling.won[at][np.searchsorted(ceiling.counts, count)]
        assert won <= most + 1e-9 * max(1.0, most)


def test_the_bound_does_not_rest_on_the_solver(cases):
    """Prices that a sloppy solver might give still make a bound: any that are not negative do."""
    fields, rules = cases.random_case(3, most_sites=8, most_planters=3)
    state, _, bound = cases.state_of(fields, rules)
    filled = cases.filled_of(state)
    size, picks, value = max(brute_force(state, rules, filled))
    linked = filled.linked(picks)
    real = scipy.optimize.linprog
    rng = np.random.default_rng(5)

    def sloppy(*args, **options):
        result = real(*args, **options)
        noise = 1 + 0.3 * rng.standard_normal(len(result.ineqlin.marginals))
        result.ineqlin.marginals = result.ineqlin.marginals * noise + 1e-6 * (noise - 1)
        result.fun = 0.0
        return result

    exact = bound.of_size(size, linked)
    with mock.patch.object(scipy.optimize, "linprog", sloppy):
        for _ in range(5):
            limit = bound.of_size(size, linked)
            assert limit >= value - 1e-12
            assert limit >= exact - 1e-7


def test_routes_alone_with_one_chain_are_certain(cases):
    """Two homes, one chain of two sites, nothing else: the bound is what the chain wins.

    110 m apart, hops of 40 m, half arrive after 40 m: sqrt(2) to sqrt(2 + 2 x 0.5^(110/40)); worth
    log(homes + 0.5).
    """
    fields, rules = cases.chain_case(2, decoys=0)
    state, _, bound = cases.state_of(fields, rules)
    state.go_to([(0, 0), (1, 0)])
    won = np.log((np.sqrt(2 + 2 * 0.5 ** (110 / 40)) + 0.5) / (np.sqrt(2) + 0.5))
    assert state.value == pytest.approx(won)
    assert bound.of_size(2, state.linked) == pytest.approx(won, abs=2e-9)
    # One planter cannot close it.
    alone = dataclasses.replace(rules, planters=1)
    assert cases.state_of(fields, alone)[2].of_size(1, state.linked) < 0.51 * won
