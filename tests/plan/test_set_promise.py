"""What threes promise by their pairs, against worths that are known of every set."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patchnet.plan.set_promise import promised_by_pairs

SEEDS = st.integers(0, 2**32 - 1)


def promised(value, count):
    """Sets of three and what they promise, where `value` tells what any set is worth."""
    sets = [one for size in (1, 2) for one in itertools.combinations(range(count), size)]
    threes, linked = promised_by_pairs(sets, np.array([[value(one)] for one in sets]), count)
    return [tuple(one) for one in threes.tolist()], linked[:, 0]


def covering(seed, count):
    """Things that each cover some of ten places of different worth: a second cover wins nothing."""
    rng = np.random.default_rng(seed)
    covers, worth = rng.random((count, 10)) < 0.4, rng.uniform(0, 1, 10)
    return lambda members: float(worth[covers[list(members)].any(axis=0)].sum())


@given(SEEDS, st.integers(3, 7))
def test_of_things_that_win_less_the_more_there_is_threes_keep_their_promise(seed, count):
    """Covering is submodular, so that no three wins more than it promises, nor less than a pair."""
    value = covering(seed, count)
    threes, linked = promised(value, count)
    assert threes == list(itertools.combinations(range(count), 3))
    for one, promise in zip(threes, linked, strict=True):
        assert promise >= value(one) - 1e-12
        assert promise >= max(map(value, itertools.combinations(one, 2))) - 1e-12


@given(SEEDS, st.integers(3, 7))
def test_what_only_adds_up_is_promised_as_it_is(seed, count):
    worth = np.random.default_rng(seed).uniform(-1, 1, count)
    threes, linked = promised(lambda members: float(worth[list(members)].sum()), count)
    assert linked == pytest.approx([worth[list(one)].sum() for one in threes])


def test_two_that_only_win_together_and_three_that_do_the_same():
    """0 with 1 wins 5; 2, 3 and 4 win 2 whichever of them there are."""

    def value(members):
        return 5.0 * ({0, 1} <= {*members}) + 2.0 * bool({2, 3, 4} & {*members})

    threes, linked = promised(value, 5)
    promise = dict(zip(threes, linked, strict=True))
    assert promise[0, 1, 2] == 7
    assert promise[0, 2, 3] == 2
    assert promise[2, 3, 4] == 2


def test_threes_with_a_pair_that_does_not_fit_are_left_out():
    sets = [(0,), (1,), (2,), (3,), (0, 1), (0, 2), (1, 2), (1, 3), (2, 3)]
    threes, linked = promised_by_pairs(sets, np.ones((len(sets), 2)), 4)
    assert threes.tolist() == [[0, 1, 2], [1, 2, 3]]
    assert linked.shape == (2, 2)
