"""Schemes of one and two planters: what is proved is what brute force finds, and few are filled."""

import dataclasses

import numpy as np
import pytest

from patchnet.scheme.best import Best
from patchnet.scheme.ceiling import ceiling_of
from patchnet.scheme.search import every_scheme
from patchnet.scheme.small_schemes import SmallSchemes


def small_of(cases, fields, rules):
    state, _ = cases.plain_state_of(fields)
    filled = cases.filled_of(state)
    ceilings = [ceiling_of(field, cases.LEAST, 2, rules.conflicts) for field in fields]
    return SmallSchemes(ceilings, filled, state, rules.costs.shape[1]), state, filled


@pytest.mark.parametrize("seed", range(12))
def test_what_is_proved_is_what_brute_force_finds(cases, seed):
    """All groups, tolls, places that may not be used, money: from the worst beginning."""
    fields, rules = cases.random_case(seed, most_sites=9, most_planters=2)
    rng = np.random.default_rng(seed)
    rules = dataclasses.replace(
        rules, planters=2, toll=rng.choice([0.0, 0.003], len(rules.sites)),
        able=rng.random(len(rules.sites)) < 0.8,
    )  # fmt: skip
    small, state, filled = small_of(cases, fields, rules)
    state.toll = rules.toll
    every = every_scheme(state, (), rules, most=10**9, keep=10**9)
    best = Best(rules)
    for size in (1, 2):
        if size not in every.first:
            continue
        true = max(filled.value(picks) for picks in every.first[size])
        limit = small.prove(best, size, rules, fillings=10**9, rows=10**9)
        assert best.value[size] == pytest.approx(true, abs=1e-6)
        assert limit == best.value[size]


@pytest.mark.parametrize("seed", range(6))
def test_a_proof_broken_off_still_holds(cases, seed):
    """With no filling or no routes allowed, what is handed back is a bound all the same."""
    fields, rules = cases.random_case(seed, most_sites=8, most_planters=2)
    rules = dataclasses.replace(rules, planters=2)
    small, state, filled = small_of(cases, fields, rules)
    every = every_scheme(state, (), rules, most=10**9, keep=10**9)
    for size, picks in every.first.items():
        true = max(map(filled.value, picks))
        for fillings, rows in ((0, 0), (0, 99), (2, 2)):
            if size:
                limit = small.prove(Best(rules), size, rules, fillings=fillings, rows=rows)
                assert limit >= true - 1e-6


def test_a_whole_street_is_proved_by_looking_at_little(cases):
    """400 places, eight animals, 79 800 pairs less those too close: the two that close a break.

    By hand (see `planted_case`): one short way of two places; no single place wins anything.
    """
    fields, rules, _ = cases.planted_case()
    rules = dataclasses.replace(rules, planters=2)
    small, state, filled = small_of(cases, fields, rules)
    best = Best(rules)
    assert small.prove(best, 1, rules, fillings=400, rows=0) == pytest.approx(0, abs=1e-6)
    limit = small.prove(best, 2, rules, fillings=800, rows=100)
    assert limit == best.value[2] > 0
    (one, _), (other, _) = best.picks[2]
    first, second = (rules.sites[at].centre for at in (one, other))
    assert first.distance(second) == pytest.approx(25.0)
    assert filled.value(best.picks[2]) == pytest.approx(state.go_to(best.picks[2]).value)
