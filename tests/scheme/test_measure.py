"""The measure that the search climbs, against its definition by a second route."""

import itertools

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.scheme.filled import share_with


def picks_of(rng, rules, most=5):
    sites = rng.permutation(len(rules.sites))[: rng.integers(1, most + 1)]
    return [(int(site), int(rng.integers(rules.costs.shape[1]))) for site in sites]


def moves_of(cases, field):
    """Single moves, read back from what the field says of its sites and its patches."""
    moves = {}
    for i, j in itertools.permutations(np.flatnonzero(field.patch).tolist(), 2):
        if field.chances[i, j] > 0:
            moves[i, j] = field.chances[i, j]
    for at, (near, links) in enumerate(zip(field.neighbours, field.links, strict=True)):
        for j, chance in zip(near.tolist(), links.tolist(), strict=True):
            moves[field.plots + at, j] = moves[j, field.plots + at] = chance
    return moves


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_any_set_is_worth_what_the_definition_says(cases, seed):
    """Routes by networkx, homes one by one, the sum over pairs: for every group."""
    fields, rules = cases.random_case(seed)
    state, worth = cases.plain_state_of(fields)
    picks = picks_of(np.random.default_rng(seed), rules)
    for pick in picks:
        state.add(pick)
    expected = [cases.numerator_by_definition(f, moves_of(cases, f), picks) for f in fields]
    found = [group.numerator for group in state.groups]
    assert found == pytest.approx(expected, rel=1e-9, abs=1e-12)
    linked = np.sqrt(expected)
    value = (worth.weight * (np.log(linked + 0.5) - np.log(worth.now + 0.5))).sum()
    assert state.value == pytest.approx(value, rel=1e-9, abs=1e-12)
    for group, field in zip(state.groups, fields, strict=True):
        assert group.now.homes == pytest.approx(cases.homes_by_definition(field, picks), abs=1e-12)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_order_does_not_matter_and_looking_ahead_agrees_with_doing(cases, seed):
    fields, rules = cases.random_case(seed)
    state, _ = cases.plain_state_of(fields)
    rng = np.random.default_rng(seed)
    picks = picks_of(rng, rules)
    for pick in picks:
        ahead = state.after(pick)
        assert state.after_at_most([pick])[0] >= ahead - 1e-12
        state.add(pick)
        assert state.value == ahead
    value = state.value
    for _ in range(3):
        other = [picks[at] for at in rng.permutation(len(picks))]
        assert state.go_to(other).value == pytest.approx(value, rel=1e-10, abs=1e-13)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_taking_away_brings_back_the_same_bits(cases, seed):
    fields, rules = cases.random_case(seed)
    state, _ = cases.plain_state_of(fields)
    before = [[np.array(part) for part in group.now] for group in state.groups]
    value = state.value
    picks = picks_of(np.random.default_rng(seed), rules)
    state.go_to(picks)
    rests = {out: rest.value for out, rest in state.without_each((), picks)}
    state.go_to(())
    assert state.value == value
    for group, parts in zip(state.groups, before, strict=True):
        for now, was in zip(group.now, parts, strict=True):
            assert np.array_equal(now, was)
    for out, rest in rests.items():
        without = state.go_to([pick for pick in picks if pick != out]).value
        assert rest == pytest.approx(without, rel=1e-10, abs=1e-13)


def test_one_planter_in_a_gap_by_hand(cases):
    """Two homes 80 m apart, hop 50 m, half arrive after 40 m: apart they are sqrt(2) linked homes.

    A planter halfway makes it 0.5 x 0.5 = 0.25 each way: sqrt(1 + 1 + 2 x 0.25) = sqrt(2.5).
    """
    points = np.array([[0.0, 0], [80, 0], [40, 0]])
    field = cases.make_field(
        points, 2, hop=50, d50=40, room=[1, 1], patch=[True, True], stops=[[True]]
    )
    group = cases.GroupState(field, cases.LEAST)
    assert np.sqrt(group.numerator) == pytest.approx(np.sqrt(2))
    assert np.sqrt(group.after((0, 0))) == pytest.approx(np.sqrt(2.5))
    group.add((0, 0))
    assert np.sqrt(group.numerator) == pytest.approx(np.sqrt(2.5))


def test_scarce_food_by_hand(cases):
    """Room for 2, food for half a home: a quarter of what they need. Food for one more: 1.5 homes.

    The planter's share is split between the two that are short of it: a half for each.
    """
    points = np.array([[0.0, 0], [10, 0]])
    need = (20.0, 1.0, True, 0.0, [[0.5], [0.0]])
    field = cases.make_field(
        points, 1, hop=50, d50=40, room=[2], patch=[True], needs=[need], given=[[[[1.0]]]],
        stops=[[False]],
    )  # fmt: skip
    group = cases.GroupState(field, cases.LEAST)
    assert np.sqrt(group.numerator) == pytest.approx(0.5)
    group.add((0, 0))
    assert np.sqrt(group.numerator) == pytest.approx(1.5)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_moves_that_are_left_out_are_not_needed(cases, seed):
    """With moves that a way over a nearer patch makes as good left out, all sums stay."""
    fields, rules = cases.random_case(seed)
    pruned = [cases.without_dominated(field) for field in fields]
    picks = picks_of(np.random.default_rng(seed), rules)
    for field, fewer in zip(fields, pruned, strict=True):
        one, two = cases.GroupState(field, cases.LEAST), cases.GroupState(fewer, cases.LEAST)
        for pick in picks:
            one.add(pick)
            two.add(pick)
        assert one.numerator == pytest.approx(two.numerator, rel=1e-10)
        assert np.allclose(one.now.chances, two.now.chances, rtol=1e-10)


def test_networkx_and_the_field_agree_on_a_row_of_stops(cases):
    """Five sites in a row close a gap of 100 m at hops of 20 m: 0.5 to the power of 100 / 40."""
    points = np.array([[0.0, 0], [100, 0], *[[float(x), 0] for x in (17, 34, 50, 66, 83)]])
    field = cases.make_field(
        points, 2, hop=20, d50=40, room=[1, 1], patch=[True, True], stops=[[True]] * 5
    )
    group = cases.GroupState(field, cases.LEAST)
    for site in (2, 0, 4, 1, 3):
        group.add((site, 0))
    graph = nx.Graph()
    graph.add_weighted_edges_from(
        (i, j, abs(points[i, 0] - points[j, 0]))
        for i, j in itertools.combinations(range(7), 2)
        if abs(points[i, 0] - points[j, 0]) <= 20
    )
    assert nx.dijkstra_path_length(graph, 0, 1) == pytest.approx(100)
    assert group.now.chances[0, 1] == pytest.approx(0.5**2.5)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_what_is_remembered_of_fillings_is_what_filling_anew_gives(cases, seed):
    """Planters that fill alike share one filling: the same as each scheme filled by itself."""
    fields, rules = cases.random_case(seed, most_sites=6, most_planters=3)
    state, _ = cases.plain_state_of(fields)
    filled = cases.filled_of(state)
    rng = np.random.default_rng(seed)
    for _ in range(6):
        sites = rng.permutation(len(rules.sites))[: rules.planters].tolist()
        picks = [(site, int(rng.integers(rules.costs.shape[1]))) for site in sites]
        anew = []
        for field, group in zip(fields, state.go_to(sorted(picks)).groups, strict=True):
            room, shares = share_with(field, picks)
            homes = room * shares.quality[:, 0]
            anew.append(np.sqrt(homes @ group.now.chances @ homes))
        assert filled.linked(picks) == pytest.approx(anew, rel=1e-9, abs=1e-12)
