"""Shares of variance against closed forms."""

import numpy as np
import pytest
from scipy.stats import qmc

from patchnet.assess.variance_shares import first_order_shares, stepwise_shares

A, B = 7.0, 0.1


def ishigami(x):
    return np.sin(x[0]) + A * np.sin(x[1]) ** 2 + B * x[2] ** 4 * np.sin(x[0])


@pytest.fixture(scope="module")
def ishigami_draws():
    """Uniform on -pi to pi in three dimensions, by Latin hypercube."""
    places = qmc.LatinHypercube(d=3, rng=np.random.default_rng(1)).random(4_000).T
    x = (2 * places - 1) * np.pi
    return x, ishigami(x)


def indices():
    """First-order indices in closed form (Ishigami & Homma 1990, Proc. ISUMA '90: 398-403).

    V1 = (1 + b pi^4 / 5)^2 / 2, V2 = a^2 / 8, V3 = 0;
    V = a^2 / 8 + b pi^4 / 5 + b^2 pi^8 / 18 + 1/2: 0.3139, 0.4424, 0.
    """
    total = A**2 / 8 + B * np.pi**4 / 5 + B**2 * np.pi**8 / 18 + 0.5
    return np.array([(1 + B * np.pi**4 / 5) ** 2 / 2, A**2 / 8, 0.0]) / total


def test_the_closed_form_is_the_one_of_the_books():
    """Saltelli et al. 2008, Global Sensitivity Analysis. The Primer: 0.3139, 0.4424, 0."""
    assert indices() == pytest.approx([0.3139, 0.4424, 0.0], abs=5e-5)


def test_ishigami(ishigami_draws):
    """x2 goes up and down twice, x3 tells only together with x1: a straight line sees neither."""
    assert first_order_shares(*ishigami_draws) == pytest.approx(indices(), abs=0.02)


def test_ishigami_step_by_step(ishigami_draws):
    found, least = stepwise_shares(*ishigami_draws)
    assert [one.place for one in found] == [1, 0]
    assert [one.share for one in found] == pytest.approx(indices()[[1, 0]], abs=0.02)
    assert least < 0.01


def test_any_rising_scale_of_an_input_gives_the_same(ishigami_draws):
    x, y = ishigami_draws
    assert np.array_equal(first_order_shares(np.exp(x), y), first_order_shares(x, y))


def test_noise_has_no_share_on_the_mean():
    """Bias taken off: over 2,000 inputs that do nothing, the mean share is nought."""
    luck = np.random.default_rng(3)
    shares = first_order_shares(luck.random((2_000, 100)), luck.standard_normal(100))
    assert abs(shares.mean()) < 4 * shares.std() / np.sqrt(2_000)
    assert shares.std() > 0.01


def test_what_is_within_noise_is_not_named():
    """600 inputs that do nothing, 40 times: at most some of the runs name any (one in twenty)."""
    named = 0
    for seed in range(40):
        luck = np.random.default_rng(seed)
        found, __ = stepwise_shares(luck.random((600, 100)), luck.standard_normal(100), seed=seed)
        named += bool(found)
    assert named <= 7  # 1 in 20 expected; more than 7 of 40 in 2 of 1,000


def test_few_draws_tell_less_than_many():
    """The least share that stands out goes with 1 / draws: about four times less with 400."""
    least = {}
    for count in (100, 400):
        luck = np.random.default_rng(5)
        noise = luck.standard_normal(count)
        least[count] = stepwise_shares(luck.random((500, count)), noise)[1]
    assert 0.1 < least[100] < 0.3
    assert 3 < least[100] / least[400] < 5


def test_of_two_alike_the_stronger_takes_what_they_share():
    """y = a + small noise, b = a + noise: b adds nothing once a is known."""
    luck = np.random.default_rng(9)
    a = luck.standard_normal(1_000)
    b = a + luck.standard_normal(1_000)
    y = a + 0.2 * luck.standard_normal(1_000)
    alone = first_order_shares(np.array([a, b]), y)
    assert alone[1] > 0.4
    found, __ = stepwise_shares(np.array([a, b]), y)
    assert found[0].place == 0
    assert found[0].rises
    assert found[0].share == pytest.approx(1 / 1.04, abs=0.02)
    assert sum(one.share for one in found[1:]) < 0.01


def test_inputs_that_stay_for_some_draws_are_not_taken_for_more_than_they_are():
    """Ten inputs change every 5 draws only, and so does half of the output: shuffled in runs."""
    named = 0
    for seed in range(40):
        luck = np.random.default_rng(seed)
        inputs = np.repeat(luck.random((100, 40)), 5, axis=1)
        y = np.repeat(luck.standard_normal(40), 5) + luck.standard_normal(200)
        named += bool(stepwise_shares(inputs, y, run=5, seed=seed)[0])
    assert named <= 7


def test_an_output_that_never_changes():
    assert stepwise_shares(np.random.default_rng(0).random((3, 50)), np.ones(50)) == ((), 1.0)
    assert first_order_shares(np.random.default_rng(0).random((3, 50)), np.ones(50)).tolist() == [
        0, 0, 0,
    ]  # fmt: skip
