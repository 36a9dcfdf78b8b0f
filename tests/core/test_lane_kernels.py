"""Eight numbers side by side: the same as number by number, and nothing beside them touched."""

import numba
import numpy as np
import pytest
from numba.core.errors import TypingError

from patchnet.core.compiled import kernel_part
from patchnet.core.lane_kernels import (
    LANES,
    add_lanes,
    any_below,
    copy_lanes,
    lower_lanes,
    most_below,
    raise_lanes,
    scaled_lanes,
    take_lanes,
)

BEFORE, AFTER = 3, 5


@pytest.fixture(scope="module")
def worked():
    """A compiled function that does one of them, by its number."""

    @numba.njit
    def work(which, array, at, factor, terms, other):
        if which == 0:
            add_lanes(array, at, terms, other)
        elif which == 1:
            take_lanes(array, at, terms, other)
        elif which == 2:
            copy_lanes(array, at, terms, other)
        elif which == 3:
            raise_lanes(array, at, terms, other)
        elif which == 4:
            scaled_lanes(array, at, factor, terms, other)
        else:
            return any_below(array, at, factor, terms, other)
        return False

    return work


def numbers(seed):
    luck = np.random.default_rng(seed)
    size = BEFORE + LANES + AFTER
    return luck.normal(size=size) * 10.0 ** luck.integers(-9, 9, size), luck.normal(size=size)


BY_NUMBER = (
    lambda now, factor, more: now + more,
    lambda now, factor, more: now - more,
    lambda now, factor, more: more,
    lambda now, factor, more: max(now, more),
    lambda now, factor, more: now + factor * more,
)


@pytest.mark.parametrize("which", range(len(BY_NUMBER)))
@pytest.mark.parametrize("seed", range(3))
def test_lanes_are_what_single_numbers_are_to_the_last_bit(worked, which, seed):
    array, terms = numbers(seed)
    wanted = array.copy()
    for lane in range(LANES):
        at = BEFORE + lane
        wanted[at] = BY_NUMBER[which](float(array[at]), 0.3, float(terms[lane + 1]))
    worked(which, array, BEFORE, 0.3, terms, 1)
    assert np.array_equal(array, wanted)


@pytest.fixture(scope="module")
def nearer():
    """A compiled function that lowers lanes, and tells whether any was and the most below 50."""

    @numba.njit
    def work(array, at, terms, other, more, most):
        return lower_lanes(array, at, terms, other, more, most), most_below(array, at, 50.0)

    return work


@pytest.mark.parametrize("seed", range(8))
def test_lanes_are_lowered_to_what_is_less_and_no_more_than_allowed(nearer, seed):
    luck = np.random.default_rng(seed)
    size = BEFORE + LANES + AFTER
    array, terms = luck.integers(0, 99, (2, size)).astype(float)
    array[luck.random(size) < 0.3] = np.inf
    terms[luck.random(size) < 0.3] = np.inf
    more, most = float(luck.integers(0, 20)), float(luck.integers(20, 80))
    wanted, lowered, below = array.copy(), False, [0.0]
    for lane in range(LANES):
        come = terms[1 + lane] + more
        if come < array[BEFORE + lane] and come <= most:
            wanted[BEFORE + lane] = come
            lowered = True
        if wanted[BEFORE + lane] < 50:
            below.append(wanted[BEFORE + lane])
    assert nearer(array, BEFORE, terms, 1, more, most) == (lowered, max(below))
    assert np.array_equal(array, wanted)


def test_a_row_may_be_built_on_another_row_of_the_same_array(worked):
    array = np.arange(2.0 * LANES)
    worked(0, array, LANES, 1.0, array, 0)
    assert array[LANES:].tolist() == [2.0 * lane + LANES for lane in range(LANES)]


@pytest.mark.parametrize("low", range(LANES))
def test_one_lane_below_its_limit_is_noticed(worked, low):
    array, limits = np.full(LANES + 2, 1.0), np.full(LANES + 2, 9.9)
    assert not worked(5, array, 1, 0.1, limits, 1)
    array[1 + low] = 0.98
    assert worked(5, array, 1, 0.1, limits, 1)


def test_lanes_beyond_are_not_asked(worked):
    array, limits = np.full(LANES + 2, 1.0), np.full(LANES + 2, 9.9)
    array[0] = array[-1] = 0.0
    assert not worked(5, array, 1, 0.1, limits, 1)


@pytest.mark.parametrize(
    "array",
    [np.zeros((2, LANES)), np.zeros(2 * LANES)[::2], np.zeros(LANES, np.float32)],
    ids=["two dimensions", "every other", "single precision"],
)
def test_arrays_laid_out_otherwise_are_refused_and_not_written_beside(array):
    @numba.njit
    def work(array, terms):
        add_lanes(array, 0, terms, 0)

    with pytest.raises(TypingError, match="lanes of"):
        work(array, np.zeros(LANES))


def test_division_by_nothing_in_a_kernel_raises_nothing():
    """The kernels divide first and choose then: an error there would end the work."""

    @kernel_part
    def divided(one, other):
        for at in range(len(one)):
            part = one[at] / other[at]
            one[at] = part if other[at] > 0 else 0.0

    @numba.njit
    def outer(one, other):
        divided(one, other)

    one = np.array([1.0, 2.0])
    outer(one, np.array([0.0, 4.0]))
    assert one.tolist() == [0.0, 0.5]
