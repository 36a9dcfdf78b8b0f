"""Expected value of partial perfect information, on cases worked on paper."""

import numpy as np
import pytest

from patchnet.assess.worth_of_knowing import worth_of_all, worth_of_knowing, worth_of_places


def wet_or_dry(count, chance=0.5, noise=0.0, seed=0):
    """Option A wins 1 if the answer is yes, else loses 1; option B is to do nothing."""
    luck = np.random.default_rng(seed)
    yes = np.zeros(count)
    yes[: round(chance * count)] = 1.0
    luck.shuffle(yes)
    gain = 2 * yes - 1 + noise * luck.standard_normal(count)
    return yes, np.column_stack([gain, np.zeros(count)])


@pytest.mark.parametrize(("chance", "worth"), [(0.5, 0.5), (0.25, 0.25), (0.75, 0.25), (1, 0)])
def test_one_answer(chance, worth):
    """Knowing, A is taken on yes alone: chance x 1. Not knowing: the better of 2 chance - 1 and 0.

    1/2: 1/2 - 0. 1/4: 1/4 - 0. 3/4: 3/4 - 1/2. Certain: nothing to learn.
    """
    yes, gain = wet_or_dry(400, chance)
    assert worth_of_knowing(gain, yes[:, None]) == pytest.approx(worth)
    assert worth_of_all(gain) == pytest.approx(worth)


def test_part_of_what_is_open():
    """Yes or no of two answers: A wins 2 x + y - 1.5; x, y are 0 or 1 with chance 1/2.

    A: mean 0. Knowing x: +1 or -1 -> E max = 1/2. Knowing y: +-1/2 -> 1/4. Both: 1.5, .5, -.5,
    -1.5 -> (1.5 + 0.5) / 4 = 1/2. Of all that is open x is everything, y a half.
    """
    x, y = np.repeat([0.0, 1.0, 0.0, 1.0], 50), np.repeat([0.0, 0.0, 1.0, 1.0], 50)
    gain = np.column_stack([2 * x + y - 1.5, np.zeros(200)])
    assert worth_of_knowing(gain, x[:, None]) == pytest.approx(0.5)
    assert worth_of_knowing(gain, y[:, None]) == pytest.approx(0.25)
    assert worth_of_knowing(gain, np.column_stack([x, y])) == pytest.approx(0.5)
    assert worth_of_all(gain) == pytest.approx(0.5)


def test_other_doubt_is_averaged_out():
    """Noise in the worth that the answer tells nothing of: all of it is worth more, the answer not.

    2,000 draws, noise of 2: a mean of each half is off by 0.06.
    """
    yes, gain = wet_or_dry(2_000, noise=2.0)
    assert worth_of_knowing(gain, yes[:, None]) == pytest.approx(0.5, abs=0.12)
    assert worth_of_all(gain) > 0.8


def test_knowing_what_never_changes_is_worth_nothing():
    __, gain = wet_or_dry(100)
    assert worth_of_knowing(gain, np.ones((100, 2))) == pytest.approx(0.0, abs=1e-12)


def test_a_better_option_whatever_the_answer_is_leaves_nothing_to_learn():
    yes, gain = wet_or_dry(100)
    always = np.column_stack([gain[:, 0], np.full(100, 3.0)])
    assert worth_of_knowing(always, yes[:, None]) == 0.0
    assert worth_of_places(always, yes[:, None] > 0, np.array([0])) == ()


def test_the_place_that_tells_is_found_among_many_that_do_not():
    """100 draws, 40 places of 20 answers that tell nothing, one of which has one that does."""
    luck = np.random.default_rng(4)
    yes, gain = wet_or_dry(100, noise=0.5, seed=4)
    there = luck.random((100, 800)) < 0.4
    there[:, 333] = yes > 0
    (found, *others) = worth_of_places(gain, there, np.repeat(np.arange(40), 20))
    assert found.place == 16
    assert found.answers[0][0] == 333
    assert 0.35 < found.worth < 0.55
    assert found.together >= found.worth
    assert len(others) <= 1


def test_where_nothing_tells_hardly_any_place_is_named():
    """In 95 of 100: of 20 tries at most 4 name any (more in 3 of 1,000)."""
    named = 0
    for seed in range(20):
        luck = np.random.default_rng(seed)
        __, gain = wet_or_dry(60, noise=1.0, seed=seed)
        there = luck.random((60, 100)) < 0.4
        named += bool(worth_of_places(gain, there, np.repeat(np.arange(10), 10), seed=seed))
    assert named <= 4
