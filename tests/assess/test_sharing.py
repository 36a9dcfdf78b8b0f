"""Shared supply: worked rows, conservation, and what quality makes of it."""

import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from patchnet.assess.sharing import Demand, Settled, combine_months, quality_of, settle, share_once

ROW = np.array([[1.0, 1, 0], [1, 1, 1], [0, 1, 1]])
ROOM = np.array([2.0, 1, 0])


def demand(supply, *, amount=4.0, reach=ROW, floor=0.0, worst=True, weight=1.0):
    return Demand(
        reach=sp.csr_array(reach),
        supply=np.asarray(supply, dtype=float).reshape(len(reach), -1, 1),
        amount=amount,
        worst=worst,
        floor=floor,
        weight=weight,
    )


def settled(room, demands, **options):
    """Settle with everything known: one reading, taken out of its axis again."""
    whole = options.pop("whole", np.ones(len(room)))
    out = settle(room[:, None], demands, whole=whole[:, None], rounds=12, damping=0.5, **options)
    return Settled(tuple(met[:, 0] for met in out.met), out.quality[:, 0])


def test_three_plots_in_a_row():
    """Plots 1-2 and 2-3 within reach; N = (2, 1, 0), s = (6, 0, 3).

    Takers: plot 1: 2+1 = 3, plot 2: 3, plot 3: 1+0 = 1. Shares 6/3 = 2, 0, 3/1 = 3.
    Access: plot 1: 2+0 = 2; plot 2: 2+0+3 = 5; plot 3: 0+3 = 3.
    Conservation: 2x2 + 1x5 + 0x3 = 9 = 6 + 3.
    Method: Luo & Wang 2003, Environment and Planning B 30:865-884.
    """
    access = share_once(ROW, ROOM, np.array([[6.0], [0], [3]]))
    assert access.ravel().tolist() == [2, 5, 3]
    assert float(ROOM @ access.ravel()) == 9


def test_homes_held_on_the_row():
    """One home takes 4: met = (2/4, min(1, 5/4)) = (0.5, 1), so homes = (2x0.5, 1x1, 0)."""
    out = settled(ROOM, [demand([6, 0, 3])])
    assert (ROOM * out.quality).tolist() == [1, 1, 0]


def test_four_more_on_the_middle_plot():
    """Shares 2, 4/3, 3; access 1 = 2 + 4/3 = 3.3333: met 0.83333, homes (1.6666667, 1, 0)."""
    out = settled(ROOM, [demand([6, 4, 3])])
    assert ROOM * out.quality == pytest.approx([5 / 3, 1, 0])


def test_four_more_on_the_far_plot_wins_nothing():
    """Share of plot 3 = 7/1; plot 1 cannot reach it, plot 2 was served: homes (1, 1, 0)."""
    out = settled(ROOM, [demand([6, 0, 7])])
    assert (ROOM * out.quality).tolist() == [1, 1, 0]


def test_sharing_trap_one_pond_is_not_enough_for_all():
    """Ten plots with room for a home each, all within reach of one supplier of 4 units.

    One home takes 4. Without sharing each of the ten would find its 4 units (met = 1 all over);
    shared, each gets 0.4 units: met 0.1, and all ten together hold one home.
    """
    room = np.ones(10)
    supply = np.zeros((10, 1))
    supply[3] = 4
    out = settled(room, [demand(supply, reach=np.ones((10, 10)))])
    assert out.met[0] == pytest.approx(np.full(10, 0.1))
    assert (room * out.quality).sum() == pytest.approx(1)


def test_access_never_exceeds_the_supply_within_reach():
    """Room for a tenth of a home takes nearly nothing, yet finds no more than the 2 that lie there.

    Shared out, 2/0.1 = 20 a home; the supply within reach is 2, and a home takes 4: met 0.5.
    """
    out = settled(np.array([0.1]), [demand([2], reach=np.ones((1, 1)))])
    assert out.met[0] == pytest.approx([0.5])


def test_homes_that_cannot_live_do_not_eat():
    """Plot 1 lacks a vital need altogether, so plot 2 gets the shared food to itself.

    Both have room for one home and reach both plots' food (4 units, a home takes 4). If plot 1
    ate, plot 2 would get 2 units (met 0.5). Plot 1's vital water is nought, so its demand on
    food dies away by half a round: 0.5^12 = 0.00024 homes; plot 2 gets 4/1.00024.
    """
    food = demand([4, 0], reach=np.ones((2, 2)))
    water = demand([0, 1], reach=np.eye(2), amount=1.0)
    out = settled(np.ones(2), [food, water])
    assert out.quality == pytest.approx([0, 4 / (4 * (1 + 0.5**12))])


def test_whole_home_limits_quality():
    """Pieces of anchor within reach add up to 0.3 of a home: quality at most 0.3."""
    out = settled(np.array([0.3]), [demand([9], reach=np.ones((1, 1)))], whole=np.array([0.3]))
    assert out.quality.tolist() == [0.3]


def test_scarcest_form():
    """Vital m = 0.6 and 0.8 give 0.6; helpful m = 0.5 with floor 0.4 is worth 0.4+0.6x0.5 = 0.7.

    Quality 0.6 x 0.7 = 0.42.
    """
    needs = [demand([1], reach=np.ones((1, 1)), floor=floor) for floor in (0, 0, 0.4)]
    met = [np.array([0.6]), np.array([0.8]), np.array([0.5])]
    assert quality_of(met, needs, form="scarcest", lowest=0.01) == pytest.approx([0.42])


def test_mean_form_keeps_a_nought_from_hiding_the_rest():
    """Weights 1 and 3, met 0 (taken as 0.01) and 1: 0.01^(1/4) = 0.316228.

    Form of the newt pond index: ten indices of 0.01 to 1, geometric mean (Oldham et al. 2000).
    """
    needs = [demand([1], reach=np.ones((1, 1)), weight=weight) for weight in (1, 3)]
    met = [np.array([0.0]), np.array([1.0])]
    assert quality_of(met, needs, form="mean", lowest=0.01) == pytest.approx([0.01**0.25])


def test_month_rules():
    months = np.array([[1.0, 3, 2]])
    assert combine_months(months, worst=True).tolist() == [1]
    assert combine_months(months, worst=False).tolist() == [2]


def test_no_room_anywhere():
    out = settled(np.zeros(3), [demand([6, 0, 3])])
    assert out.quality.tolist() == [0, 0, 0]
    assert out.met[0].tolist() == [0, 0, 0]


sizes = st.integers(1, 7)


@st.composite
def catchments(draw):
    n, m, months = draw(sizes), draw(sizes), draw(st.integers(1, 3))
    numbers = st.floats(0, 100).map(lambda x: round(x, 3))
    reach = draw(hnp.arrays(float, (n, m), elements=st.sampled_from([0.0, 1.0])))
    homes = draw(hnp.arrays(float, n, elements=numbers))
    supply = draw(hnp.arrays(float, (m, months), elements=numbers))
    return reach, homes, supply


@given(catchments())
def test_conservation(case):
    """sum_i N_i access_i = sum_j s_j over suppliers that at least one home reaches."""
    reach, homes, supply = case
    access = share_once(reach, homes, supply)
    reached = (reach.T @ homes) > 0
    assert homes @ access == pytest.approx(supply[reached].sum(axis=0), rel=1e-9, abs=1e-9)


@given(catchments())
def test_sparse_and_dense_agree(case):
    reach, homes, supply = case
    dense = share_once(reach, homes, supply)
    sparse = share_once(sp.csr_array(reach), homes, supply)
    assert sparse == pytest.approx(dense, rel=1e-12, abs=1e-12)


@given(catchments(), st.floats(0.1, 50))
def test_quality_is_a_share(case, amount):
    reach, homes, supply = case
    size = max(reach.shape)
    square = np.zeros((size, size))
    square[: reach.shape[0], : reach.shape[1]] = reach
    stock = np.zeros((size, supply.shape[1]))
    stock[: len(supply)] = supply
    room = np.zeros(size)
    room[: len(homes)] = homes
    out = settled(room, [demand(stock, reach=square, amount=amount)])
    assert (out.quality >= 0).all()
    assert (out.quality <= 1).all()
    assert (out.quality[room == 0] == 0).all()


def test_readings_are_settled_each_for_itself():
    """Three readings at a time give what each gives alone."""
    rng = np.random.default_rng(3)
    reach = sp.csr_array((rng.random((6, 6)) < 0.5).astype(float))
    rooms, supply = rng.random((6, 3)) * 2, rng.random((6, 4, 3)) * 5
    rooms[1, 0] = 0
    needs = [Demand(reach, supply, 2.0, worst=True, floor=floor, weight=1) for floor in (0, 0.3)]
    options = {"rounds": 12, "damping": 0.5}
    together = settle(rooms, needs, whole=np.minimum(1, rooms), **options)
    for k in range(3):
        alone = settle(
            rooms[:, [k]],
            [Demand(reach, supply[:, :, [k]], 2.0, True, floor, 1) for floor in (0, 0.3)],
            whole=np.minimum(1, rooms[:, [k]]),
            **options,
        )
        assert together.quality[:, k] == pytest.approx(alone.quality[:, 0], rel=1e-12)
