"""The search against brute force, on planted chains, and within every rule."""

import dataclasses

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.scheme.planter_scheme import Keeper
from patchnet.scheme.search import every_scheme, greedy_scheme, search_schemes


@pytest.mark.parametrize("seed", range(10))
def test_search_equals_brute_force(cases, seed):
    """Small cases with several groups; the benchmark runs a hundred larger ones."""
    fields, rules = cases.random_case(seed, most_sites=10, most_planters=4)
    state, _, _ = cases.state_of(fields, rules)
    brute = every_scheme(state, (), rules, most=10**9)
    found = search_schemes(state, (), rules)
    best = max(brute.value.values())
    assert max(found.value.values()) == pytest.approx(best, rel=1e-9, abs=1e-12)
    for size, value in found.value.items():
        assert value <= brute.value[size] + 1e-12
        assert state.go_to(found.picks[size]).value == pytest.approx(value, rel=1e-9, abs=1e-12)


def test_brute_force_looks_at_every_scheme(cases):
    """Five sites, two recipes, up to two planters: 1 + 10 + 40 (two recipes, not one site)."""
    points = np.array([[0.0, 0], *[[10.0 * at, 4] for at in range(5)]])
    stops = [[True, False]] * 5
    field = cases.make_field(points, 1, hop=50, d50=40, room=[1], patch=[True], stops=stops)
    rules = cases.make_rules(points, 1, 2, planters=2)
    state, _, _ = cases.state_of([field], rules)
    assert every_scheme(state, (), rules, most=56).judged == 51
    assert every_scheme(state, (), rules, most=55) is None


@pytest.mark.parametrize("length", [2, 3, 4])
@pytest.mark.parametrize("seed", range(3))
def test_chains_that_close_a_break_are_found(cases, length, seed):
    """Single planters each win a little somewhere; only the whole chain closes the break."""
    fields, rules = cases.chain_case(length, decoys=8, seed=seed)
    state, _, _ = cases.state_of(fields, rules)
    found = search_schemes(state, (), rules)
    chain = {(at, 0) for at in range(length)}
    assert set(found.picks[length]) == chain
    plain = greedy_scheme(state, (), rules)
    assert plain.value[length] < 0.5 * found.value[length]


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_rules_are_kept(cases, seed):
    """Money, distance, number, locks and watering hold for every scheme found."""
    fields, rules = cases.random_case(seed, most_sites=9, most_planters=4)
    rng = np.random.default_rng(seed)
    keepers = tuple(
        Keeper(f"k{at}", shapely.Point(rng.uniform(0, 150), 0), float(rng.choice([4, 8, 12])))
        for at in range(2)
    )
    rules = dataclasses.replace(rules, keepers=keepers, carry_m=40.0, unkept=int(rng.integers(3)))
    state, _, _ = cases.state_of(fields, rules)
    first = (int(rng.integers(len(rules.sites))), 0)
    fixed = (first,) if rules.allows([first]) else ()
    found = search_schemes(state, fixed, rules)
    for picks in found.picks.values():
        sites = [site for site, _ in picks]
        assert set(fixed) <= set(picks)
        assert len(set(sites)) == len(sites) <= rules.planters
        assert sum(rules.costs[pick] for pick in picks) <= rules.budget + 1e-6
        boxes = [rules.sites[site].polygon for site in sites]
        for at, box in enumerate(boxes):
            for other in boxes[:at]:
                assert box.distance(other) >= rules.spacing_m - 1e-6
                assert not box.intersects(other)
        kept = rules.kept_by(sites)
        assert kept.count(None) <= rules.unkept or len(sites) <= rules.unkept
        for at, keeper in enumerate(keepers):
            mine = [site for site, who in zip(sites, kept, strict=True) if who == at]
            assert 4.0 * len(mine) <= keeper.litres
            assert all(rules.sites[site].centre.distance(keeper.place) <= 40 for site in mine)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_what_may_be_put_is_what_is_allowed(cases, seed):
    """`open_to` says of each planter just what `allows` says of all together."""
    fields, rules = cases.random_case(seed)
    del fields
    rng = np.random.default_rng(seed)
    picks = []
    for site in rng.permutation(len(rules.sites)).tolist():
        open_to = rules.open_to(picks)
        for other in range(len(rules.sites)):
            assert open_to[other, 0] == rules.allows([*picks, (other, 0)])
        if open_to[site, 0]:
            picks.append((site, 0))
    assert {True} >= {bool(rules.conflicts[clique][:, clique].all()) for clique in (
        np.flatnonzero(row) for row in rules.cliques().toarray())}  # fmt: skip


def test_the_same_seed_gives_the_same_schemes(cases):
    fields, rules = cases.random_case(5, most_sites=10, most_planters=3)
    once = search_schemes(cases.state_of(fields, rules)[0], (), rules)
    again = search_schemes(cases.state_of(fields, rules)[0], (), rules)
    assert once.picks == again.picks
    assert once.value == again.value
