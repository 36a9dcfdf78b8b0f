"""Where along a fence a gap is shown: the middle of the cheapest places, counted out by hand."""

import numpy as np
import pytest

from patchnet.movement.fence_gaps import middle_of_cheapest


def middle(cost, key=None, *groups):
    cost = np.array(cost, dtype=float)
    key = np.arange(len(cost)) if key is None else np.array(key)
    groups = [np.array(one) for one in groups] or [np.zeros(len(cost), np.int64)]
    return middle_of_cheapest(tuple(groups), cost, key).tolist()


@pytest.mark.parametrize(
    ("cost", "at"),
    [
        ([5], 0),
        ([1, 1], 1),
        ([1, 1, 1], 1),
        ([1, 1, 1, 1], 2),
        ([2, 1, 1, 1, 9], 2),
        ([9, 1, 9, 9, 9, 9], 1),
        ([1, 9, 1, 9, 1], 2),
        ([np.inf, 3, np.inf], 1),
    ],
)
def test_of_equally_cheap_places_the_middle_one(cost, at):
    assert middle(cost) == [at]


def test_a_millionth_is_no_difference_and_two_are():
    assert middle([1, 1.0000004, 1.0000004]) == [1]
    assert middle([1.000002, 1, 1.000002]) == [1]
    assert middle([1, 1.000002, 1.000002]) == [0]


def test_the_order_is_that_of_the_keys():
    """By their keys they stand 3, 1, 2, 0: the third of four is at 2."""
    assert middle([1, 1, 1, 1], [30, 10, 20, 0]) == [2]


def test_groups_are_those_alike_in_everything():
    """(7, 1), (7, 2) and (9, 1), in that order, however they are mixed."""
    assert middle([1, 4, 2, 3, 1], None, [9, 7, 7, 7, 9], [1, 2, 1, 2, 1]) == [2, 3, 4]
    assert middle([], None) == []
