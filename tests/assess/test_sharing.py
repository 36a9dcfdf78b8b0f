"""Shared supply: worked rows by month, reading and form; what quality makes of it."""

import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import spearmanr
from worlds.sharing_cases import ROW, most_alike, random_case

from patchnet.assess.portions import Stock, share_in_portions
from patchnet.assess.sharing import Demand, combine_months, quality_of, share_supplies

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


def quality(room, demands, **options):
    """Quality with everything known: one reading, taken out of its axis again."""
    whole = options.pop("whole", np.ones(len(room)))
    return share_supplies(room[:, None], demands, whole=whole[:, None], **options).quality[:, 0]


def test_three_plots_in_a_row():
    """Plots 1-2 and 2-3 within reach; N = (2, 1, 0), food (6, 0, 3), a home takes 4.

    Enough for 1.5, 0 and 0.75 homes. Plot 1 reaches 1.5 of them: 2 t <= 1.5; both together reach
    all: 3 t <= 2.25. Both say t = 0.75: homes 1.5 and 0.75.
    """
    assert ROOM * quality(ROOM, [demand([6, 0, 3])]) == pytest.approx([1.5, 0.75, 0])


def test_four_more_on_the_middle_plot():
    """Food for 3.25 homes; all three that there is room for are fed: 2, 1."""
    assert ROOM * quality(ROOM, [demand([6, 4, 3])]) == pytest.approx([2, 1, 0])


def test_four_more_on_the_far_plot_feeds_the_one_that_reaches_it():
    """Food 6, 0, 7: plot 1 stops at 2 t = 1.5; plot 2 goes on alone, to a whole home."""
    assert ROOM * quality(ROOM, [demand([6, 0, 7])]) == pytest.approx([1.5, 1, 0])


def test_sharing_trap_one_pond_is_not_enough_for_all():
    """Ten plots with room for a home each, all within reach of one supplier of 4 units.

    One home takes 4. Without sharing each of the ten would find its 4 units; shared, all ten
    together hold one home.
    """
    room, supply = np.ones(10), np.zeros((10, 1))
    supply[3] = 4
    assert quality(room, [demand(supply, reach=np.ones((10, 10)))]) == pytest.approx([0.1] * 10)


def test_access_never_exceeds_the_supply_within_reach():
    """Room for a tenth of a home takes nearly nothing, yet finds no more than the 2 that lie there:

    a home takes 4, so half of what it needs.
    """
    assert quality(np.array([0.1]), [demand([2], reach=np.ones((1, 1)))]) == pytest.approx([0.5])


def test_homes_that_cannot_live_do_not_eat():
    """Plot 1 lacks a vital need altogether, so plot 2 gets the shared food to itself: 4 of 4."""
    food = demand([4, 0], reach=np.ones((2, 2)))
    water = demand([0, 1], reach=np.eye(2), amount=1.0)
    assert quality(np.ones(2), [food, water]) == pytest.approx([0, 1])


def test_homes_that_fail_for_want_of_helpful_things_leave_food():
    """Rooms 2 and 2; food for 2 reached by both; shelter, floor 0.5, on plot 2 alone, for all.

    y1 = 0.5. Shelter met: 0 and 1; H = 0.5 and 1. Then 2 x 0.5 t + 2 t = 2: t = 2/3, so homes
    2 x 0.5 x 2/3 = 2/3 and 2 x 2/3 = 4/3: two homes, as there is food for.
    """
    food = demand([2, 0], reach=np.ones((2, 2)), amount=1.0)
    shelter = demand([0, 9], reach=np.eye(2), amount=1.0, floor=0.5)
    assert 2 * quality(np.full(2, 2.0), [food, shelter]) == pytest.approx([2 / 3, 4 / 3])


def test_each_need_by_itself_in_the_mean_form():
    """Room 2, food for 1 and water for 2, weights 1 and 1: sqrt(0.5 x 1)."""
    needs = [demand([1], reach=[[1.0]], amount=1.0), demand([2], reach=[[1.0]], amount=1.0)]
    assert quality(np.array([2.0]), needs, form="mean") == pytest.approx([0.5**0.5])


def test_whole_home_limits_quality():
    """Pieces of anchor within reach add up to 0.3 of a home: quality at most 0.3."""
    out = quality(np.array([0.3]), [demand([9], reach=np.ones((1, 1)))], whole=np.array([0.3]))
    assert out.tolist() == [0.3]


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
    shares = share_supplies(np.zeros((3, 1)), [demand([6, 0, 3])], whole=np.ones((3, 1)))
    assert shares.quality[:, 0].tolist() == [0, 0, 0]
    assert shares.met[0][:, 0].tolist() == [0, 0, 0]


def test_readings_are_shared_each_for_itself():
    """Three readings at a time give what each gives alone."""
    rng = np.random.default_rng(3)
    reach = sp.csr_array((rng.random((6, 6)) < 0.5).astype(float))
    rooms, supply = rng.random((6, 3)) * 2, rng.random((6, 4, 3)) * 5
    rooms[1, 0] = 0
    needs = [Demand(reach, supply, 2.0, worst=True, floor=floor, weight=1) for floor in (0, 0.3)]
    together = share_supplies(rooms, needs, whole=np.minimum(1, rooms))
    for k in range(3):
        alone = share_supplies(
            rooms[:, [k]],
            [Demand(reach, supply[:, :, [k]], 2.0, True, floor, 1) for floor in (0, 0.3)],
            whole=np.minimum(1, rooms[:, [k]]),
        )
        assert together.quality[:, k] == pytest.approx(alone.quality[:, 0], rel=1e-9)


@settings(max_examples=50, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_what_is_claimed_can_be_fed_and_is_the_product_of_what_is_met(seed):
    """All passes together: every vital need feeds the homes held, by HiGHS.

    And quality is the least of the vital needs met times what the helpful ones are worth.
    """
    case = random_case(seed)
    shares = share_supplies(case.room[:, None], case.needs, whole=case.whole[:, None])
    held = shares.quality[:, 0]
    for one in case.needs:
        if one.floor == 0:
            assert most_alike(case.room, held, one) >= 1 - 1e-8
    product = quality_of(shares.met, case.needs, form="scarcest", lowest=0.01)[:, 0]
    there = case.room > 0
    assert held[there] == pytest.approx(np.minimum(case.whole, product)[there], abs=1e-9)


def in_portions(case, form="scarcest"):
    stocks = [
        Stock(one.reach, one.supply / one.amount, one.worst, one.floor, one.weight)
        for one in case.needs
    ]
    return share_in_portions(
        case.room[:, None], stocks, whole=case.whole[:, None], form=form, lowest=0.01
    )[:, 0]


@settings(max_examples=50, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_portions_overdraw_nothing_either(seed):
    """Twenty portions of what is there: each vital need feeds the homes held, by HiGHS."""
    case = random_case(seed, floors=(0.0,))
    held = in_portions(case)
    for one in case.needs:
        assert most_alike(case.room, held, one) >= 1 - 1e-8


def test_portions_keep_the_order_of_the_exact_answer():
    """Totals of 60 cases: within a few parts in a hundred, and in the same order."""
    cases = [random_case(seed) for seed in range(60)]
    exact = [
        case.room @ share_supplies(case.room[:, None], case.needs, whole=case.whole[:, None])
        .quality[:, 0] for case in cases
    ]  # fmt: skip
    rough = [case.room @ in_portions(case) for case in cases]
    assert spearmanr(exact, rough).statistic > 0.99
    assert sum(rough) == pytest.approx(sum(exact), rel=0.02)


def test_one_portion_by_hand():
    """Room 4 and food for 1: 20 portions of 1/20 of 4 homes want 0.2 each.

    The first offers 1/4 a home, more than a twentieth, and so on until nothing is left: 0.25.
    """
    stock = Stock(sp.csr_array([[1.0]]), np.ones((1, 1, 1)), True, 0.0, 1.0)
    out = share_in_portions(
        np.full((1, 1), 4.0), [stock], whole=np.ones((1, 1)), form="scarcest", lowest=0.01
    )
    assert out == pytest.approx(np.full((1, 1), 0.25), abs=1e-9)
