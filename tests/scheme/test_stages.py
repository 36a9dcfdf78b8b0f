"""Orders of building and stages: on paper, and against every order there is."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.scheme.stages import best_order, order_by_misses, stages_of

A, B, C = (0, 0), (1, 0), (2, 0)
# A and B close a break that neither closes alone (9 together); C wins 1 by itself.
STANDS = {
    frozenset(): 0.0, frozenset({A}): 0.0, frozenset({B}): 0.0, frozenset({C}): 1.0,
    frozenset({A, B}): 9.0, frozenset({A, C}): 1.0, frozenset({B, C}): 1.0,
    frozenset({A, B, C}): 10.0,
}  # fmt: skip


def worths(schemes):
    return [STANDS[frozenset(picks)] for picks in schemes]


def test_the_order_by_what_stands_after_each():
    """C first: 1 + 1 + 10 = 12. A, B, C: 0 + 9 + 10 = 19, as B, A, C; the first by number."""
    assert best_order([C, B, A], worths) == (A, B, C)


def test_both_or_neither_are_one_stage():
    """Nothing stands after A alone, so A and B are one stage that wins 9; then C wins 1."""
    pair, single = stages_of((A, B, C), worths, 0.01)
    assert (pair.numbers, pair.gain, pair.stands, pair.together) == ((1, 2), 9.0, 9.0, True)
    assert (single.numbers, single.gain, single.stands, single.together) == ((3,), 1.0, 10.0, False)


def test_what_is_left_goes_with_the_stage_before():
    """After C nothing more is won by A alone: one stage, so that no stage wins nothing."""
    (only,) = stages_of((C, A), worths, 0.01)
    assert (only.numbers, only.gain) == ((1, 2), 1.0)
    assert stages_of((), worths, 0.01) == ()


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10**9), count=st.integers(1, 5))
def test_no_order_has_more_stand(seed, count):
    """Against every order, with any worths; stages add up, and each but an only one wins."""
    rng = np.random.default_rng(seed)
    picks = [(int(at), 0) for at in rng.permutation(count)]
    stands = {
        frozenset(some): float(rng.integers(0, 5)) + 5 * (size == count)
        for size in range(1, count + 1)
        for some in itertools.combinations(picks, size)
    } | {frozenset(): 0.0}

    def given_by(schemes):
        return [stands[frozenset(scheme)] for scheme in schemes]

    def area(order):
        return sum(given_by([order[: at + 1] for at in range(count)]))

    order = best_order(picks, given_by)
    every = list(itertools.permutations(sorted(picks)))
    assert area(order) == max(map(area, every))
    assert order == min(one for one in every if area(one) == area(order))
    assert sorted(order_by_misses(picks, given_by)) == sorted(picks)
    stages = stages_of(order, given_by, 0.05)
    assert [n for stage in stages for n in stage.numbers] == list(range(1, count + 1))
    assert sum(stage.gain for stage in stages) == pytest.approx(stands[frozenset(picks)])
    assert all(stage.gain > 0 for stage in stages)
