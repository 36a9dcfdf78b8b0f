"""The search against brute force, on planted chains, and within every rule."""

import dataclasses
import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.scheme.planter_scheme import Keeper
from patchnet.scheme.search import every_scheme, greedy_scheme, search_schemes
from patchnet.scheme.together import EQUAL


@pytest.mark.parametrize("seed", range(10))
def test_search_equals_brute_force(cases, seed):
    """Small cases with several groups; the benchmark runs a hundred larger ones."""
    fields, rules = cases.random_case(seed, most_sites=10, most_planters=4)
    state, _ = cases.plain_state_of(fields)
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
    state, _ = cases.plain_state_of([field])
    assert every_scheme(state, (), rules, most=56).judged == 51
    assert every_scheme(state, (), rules, most=55) is None


@pytest.mark.parametrize("length", [2, 3, 4])
@pytest.mark.parametrize("seed", range(3))
def test_chains_that_close_a_break_are_found(cases, length, seed):
    """Single planters each win a little somewhere; only the whole chain closes the break."""
    fields, rules = cases.chain_case(length, decoys=8, seed=seed)
    state, _ = cases.plain_state_of(fields)
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
    state, _ = cases.plain_state_of(fields)
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


def test_the_search_leaves_nothing_to_chance(cases):
    fields, rules = cases.random_case(5, most_sites=10, most_planters=3)
    once = search_schemes(cases.plain_state_of(fields)[0], (), rules)
    again = search_schemes(cases.plain_state_of(fields)[0], (), rules)
    assert once.picks == again.picks
    assert once.value == again.value


@pytest.mark.parametrize("seed", [0, 1])
def test_planted_chains_of_a_whole_street_are_found(cases, seed):
    """Some 400 sites, eight animals: the one long chain that wins most, and the best short ones.

    The scheme by hand is the best by construction (see `planted_case`): the search may be within
    1 %, in whatever order the sites come. A single planter wins nothing anywhere.
    """
    fields, rules, by_hand = cases.planted_case(seed=seed)
    state, _, bound = cases.state_of(fields, rules)
    assert len(rules.sites) == 400
    hand = state.go_to(by_hand).value
    found = search_schemes(state.go_to(()), (), rules)
    assert found.value[8] >= 0.99 * hand
    assert {site for site, _ in by_hand[:4]} <= {site for site, _ in found.picks[8]}
    assert found.value[8] <= bound.of_size(8, state.go_to(found.picks[8]).linked)
    assert max(greedy_scheme(state.go_to(()), (), rules).value.values()) == 0


def asked_case(cases, seed):
    """A small case with verdicts and tolls, keepers, money, kits, and a site locked in."""
    fields, rules = cases.random_case(seed, most_sites=7, most_planters=3)
    rng = np.random.default_rng(seed)
    for site in rules.sites:
        site.verdict = str(rng.choice(["fits", "ask", "measure"]))
    toll = np.array([{"fits": 0.0, "ask": 0.002, "measure": 0.004}[s.verdict] for s in rules.sites])
    keepers = tuple(
        Keeper(f"k{at}", shapely.Point(rng.uniform(0, 150), 0), float(rng.choice([4, 8])))
        for at in range(int(rng.integers(3)))
    )
    rules = dataclasses.replace(
        rules, toll=toll, keepers=keepers, carry_m=60.0, kit=float(rng.choice([0.0, 0.3])),
        unkept=[None, 1, 2][int(rng.integers(3))],
    )  # fmt: skip
    state, worth = cases.plain_state_of(fields)
    lock = (int(rng.integers(len(rules.sites))), 0)
    fixed = (lock,) if rng.random() < 0.3 and rules.allows([lock]) else ()
    return type(state)(state.groups, worth, toll), fixed, rules


def may_stand(rules, picks):
    """The rules in plain Python: no planter twice at a place, apart, money and watering."""
    sites = [site for site, _ in picks]
    if len(set(sites)) < len(sites) or len(sites) > rules.planters:
        return False
    boxes = [rules.sites[site].polygon for site in sites]
    for one, other in itertools.combinations(boxes, 2):
        if one.intersects(other) or one.distance(other) < rules.spacing_m - 1e-9:
            return False
    kept = rules.kept_by(sites)
    if (
        rules.unkept is not None
        and kept.count(None) > max(rules.unkept, 0)
        and (len(sites) > rules.unkept)
    ):
        return False
    return bill(rules, picks, kept) <= rules.budget + 1e-9


def bill(rules, picks, kept):
    kits = len(set(kept)) if rules.keepers else 1
    return sum(rules.costs[pick] for pick in picks) + (rules.kit * kits if picks else 0.0)


def best_by_hand(state, fixed, rules):
    """Every set of planters with every planting; of those worth the same the first by the rule."""
    sites, recipes = rules.costs.shape
    free = [pick for pick in itertools.product(range(sites), range(recipes)) if pick not in fixed]
    best = None
    for count in range(rules.planters - len(fixed) + 1):
        for more in itertools.combinations(free, count):
            picks = (*fixed, *more)
            if not may_stand(rules, picks):
                continue
            verdicts = [rules.sites[site].verdict for site, _ in picks]
            worth = state.go_to(()).go_to(picks).worth.of([g.numerator for g in state.groups])
            value = worth - sum(rules.toll[site] for site, _ in picks)
            key = (
                -round(value / EQUAL), verdicts.count("measure"), verdicts.count("ask"),
                round(bill(rules, picks, rules.kept_by([s for s, _ in picks])), 2), len(picks),
                tuple(sorted((rules.sites[site].key, recipe) for site, recipe in picks)),
            )  # fmt: skip
            if best is None or key < best[0]:
                best = key, value, tuple(sorted(picks))
    return best


@pytest.mark.parametrize("part", range(8))
def test_search_and_enumeration_equal_brute_force(cases, part):
    """200 small cases: all plantings, money with kits, keepers, locks, verdicts; ties by the rule.

    The enumeration must choose just what brute force does; the search must win as much.
    """
    for seed in range(25 * part, 25 * (part + 1)):
        state, fixed, rules = asked_case(cases, seed)
        if not may_stand(rules, fixed):
            continue
        _, value, picks = best_by_hand(state, fixed, rules)
        every = every_scheme(state, fixed, rules, most=10**9)
        assert every.overall == picks, seed
        found = search_schemes(state, fixed, rules)
        assert max(found.value.values()) == pytest.approx(value, rel=1e-9, abs=1e-9), seed


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_more_planters_and_more_money_never_win_less(cases, seed):
    state, fixed, rules = asked_case(cases, seed)
    del fixed

    def best(**change):
        other = dataclasses.replace(rules, **change)
        exactly = max(every_scheme(state, (), other, most=10**9).value.values())
        assert max(search_schemes(state, (), other).value.values()) == pytest.approx(
            exactly, rel=1e-9, abs=1e-9
        )
        return exactly

    by_number = [best(planters=count) for count in (1, 2, 3)]
    by_money = [best(budget=rules.kit + money) for money in (1.0, 2.0, 3.5, np.inf)]
    for values in (by_number, by_money):
        assert all(b >= a - EQUAL for a, b in itertools.pairwise(values))


def test_as_good_is_told_by_the_rule_alone(cases):
    """Four places worth the same: that which fits, the cheaper of two that fit, the first key."""
    points = np.array([[0.0, 0], [10, 4], [12, 4], [14, 4], [16, 4]])
    field = cases.make_field(points, 1, hop=50, d50=40, room=[1], patch=[True],
                             stops=[[True]] * 4, rooms=[[0.5]] * 4)  # fmt: skip
    # All at the same distance of the only garden, so that they win the same.
    field = dataclasses.replace(
        field, chances=np.where(np.eye(5) > 0, 1.0, 0.9),
        links=tuple(np.full(len(row), 0.9) for row in field.links),
    )  # fmt: skip
    rules = cases.make_rules(points, 1, 1, planters=1, costs=np.array([[2.0], [2], [1], [2]]))
    for site, verdict in zip(rules.sites, ("measure", "fits", "ask", "fits"), strict=True):
        site.verdict = verdict
    state, _ = cases.plain_state_of([field])
    assert search_schemes(state, (), rules).overall == ((1, 0),)
    assert every_scheme(state, (), rules, most=99).overall == ((1, 0),)
    rules.sites[1].verdict = "measure"
    assert every_scheme(state, (), dataclasses.replace(rules), most=99).overall == ((3, 0),)
    rules.sites[3].verdict = "ask"
    assert every_scheme(state, (), dataclasses.replace(rules), most=99).overall == ((2, 0),)


def test_a_toll_is_taken_off(cases):
    """A place to measure that wins more by less than its toll is not chosen."""
    points = np.array([[0.0, 0], [10, 4], [20, 4]])
    field = cases.make_field(points, 1, hop=50, d50=40, room=[1], patch=[True],
                             stops=[[True]] * 2, rooms=[[0.5], [0.5]])  # fmt: skip
    rules = cases.make_rules(points, 1, 1, planters=1)
    plain, worth = cases.plain_state_of([field])
    near, far = (plain.go_to([(site, 0)]).value for site in range(2))
    assert near > far
    for share, chosen in ((0.9, 0), (1.1, 1)):
        toll = np.array([share * (near - far), 0.0])
        state = type(plain)(plain.groups, worth, toll)
        plain.go_to(())
        own = dataclasses.replace(rules, toll=toll)
        assert every_scheme(state, (), own, most=99).overall == ((chosen, 0),)
        state.go_to(())
