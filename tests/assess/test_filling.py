"""Filling alike: worked rows, and linear programmes of a second library on random cases."""

import gc
import itertools
import weakref
from dataclasses import replace

import numpy as np
import pytest
import scipy.sparse as sp
from hypothesis import example, given, settings
from hypothesis import strategies as st
from worlds.sharing_cases import (
    ROW,
    far_from_fair,
    most_alike,
    most_left,
    need,
    random_case,
)

from patchnet.assess.blocks import along_a_curve, blocks_of
from patchnet.assess.filling import TOLERANCE, fill
from patchnet.assess.flow import Begun, Net, net_of
from patchnet.assess.sharing import share_supplies

ALL = np.ones((2, 2))


def homes(room, *needs, whole=1.0):
    room = np.asarray(room, dtype=float)
    shares = share_supplies(room[:, None], needs, whole=np.full((len(room), 1), whole))
    return room * shares.quality[:, 0], shares


def filled(room, *needs, least=None):
    larders = [one.larder(0) for one in needs]
    ceiling = np.min([larder.ceiling for larder in larders], axis=0)
    return fill(np.asarray(room, dtype=float), ceiling, larders, least=least)


def test_two_vital_needs_that_are_both_short():
    """Room 4, one plot, enough for 1 and for 1.01: one home, not 1/4 x 1/4 of 4, and not 2."""
    held, shares = homes([4], need([[1]], [1]), need([[1]], [1.01]))
    assert held == pytest.approx([1])
    assert shares.limits.need.tolist() == [0]


def test_two_plots_share_what_both_reach():
    """Rooms 8, 8. Need 1: 1 and 2, reached by both; need 2: 2 by both, 1.02 by the second alone.

    Need 1 binds: 16 t = 3, so 1.5 homes each; need 2 would do for 2 and more.
    """
    held, shares = homes([8, 8], need(ALL, [1, 2]), need([[1, 0], [1, 1]], [2, 1.02]))
    assert held == pytest.approx([1.5, 1.5])
    assert [stop.sharers.tolist() for stop in shares.limits.stop] == [[0, 1], [0, 1]]


def test_a_row_of_three_evens_out():
    """A-B-C, rooms 6. Need 1: 2, 0, 2; need 2: 1, 2.04, 1: 18 t = 4 of need 1, so 4/3 each."""
    held, _ = homes([6, 6, 6], need(ROW, [2, 0, 2]), need(ROW, [1, 2.04, 1]))
    assert held == pytest.approx([4 / 3] * 3)


@pytest.mark.parametrize(
    ("room", "first", "expected"),
    [([4, 4, 4], 5, [1, 2.5, 2.5]), ([4, 4, 4], 6, [1, 3, 3]), ([4, 8, 4], 5, [1, 10 / 3, 5 / 3])],
)
def test_the_poorest_stops_first_and_the_others_go_on(room, first, expected):
    """Need 1: 1, 0 and 5 or 6; need 2: 6, 3, 0.

    A has need 1 of its own supplier alone: 4 t = 1 stops it at 1. Then 1 + 8 t = 6: 2.5 each. With
    one more on C 1 + 8 t = 7: 3 each, where C's need 2 of 3 is used up as well. With room 8 at B
    1 + 12 t = 6: B 10/3, C 5/3: C loses 0.83 and the total stays.
    """
    held, shares = homes(room, need(ROW, [1, 0, first]), need(ROW, [6, 3, 0]))
    assert held == pytest.approx(expected)
    assert shares.limits.stop[0].sharers.tolist() == [0]
    assert shares.limits.stop[0].suppliers.tolist() == [0]
    assert 2 in shares.limits.stop[1].sharers


def test_a_helpful_need_goes_in_between():
    """Room 4, vital 3, helpful (floor 0.3) 1.5. y1 = 0.75: 3 homes; m = 1.5/3 = 0.5.

    H = 0.3 + 0.7 x 0.5 = 0.65; y2 = min(1, 3/2.6) = 1; again 1.5/2.6 > 0.5, so H3 = 0.65: 2.6.
    """
    held, shares = homes([4], need([[1]], [3]), need([[1]], [1.5], floor=0.3))
    assert held == pytest.approx([2.6])
    assert shares.limits.need.tolist() == [1]


def test_the_mean_of_months_lets_a_rich_month_help_no_further_than_a_home_can_eat():
    """Room 2, months of 0.5 and 4: (0.5 + 2)/4 = 0.625, so 1.25 homes."""
    held, _ = homes([2], need([[1]], [[0.5, 4]], worst=False))
    assert held == pytest.approx([1.25])


def test_of_the_worst_month_the_set_says_which_it_was():
    """Enough for 3 homes in the first month and for 1 in the second; room for 2."""
    _, shares = homes([2], need([[1]], [[3, 1]]))
    assert shares.limits.stop[0].months == (1,)
    assert shares.limits.stop[0].level == pytest.approx(0.5)


def test_a_plot_that_finds_too_little_even_alone_is_a_set_of_its_own():
    """Room for a tenth of a home, food for half a one: quality 0.5, held back by nobody."""
    held, shares = homes([0.1], need([[1]], [0.5]))
    assert held == pytest.approx([0.05])
    assert shares.limits.stop[0].sharers.tolist() == [0]


def test_what_is_kept_from_before_is_kept():
    """Levels 0.5 and 0 of rooms 2 and 2 on supply 2: the second rises alone, 1 + 2 t = 2."""
    out = filled([2, 2], need(ALL, [2, 0]), least=np.array([0.5, 0.0]))
    assert out.level == pytest.approx([0.5, 0.5])
    out = filled([2, 2], need(ALL, [2, 0]), least=np.array([0.8, 0.0]))
    assert out.level == pytest.approx([0.8, 0.2])


def test_met_of_a_need_that_does_not_bind_is_what_could_be_taken():
    """Need 1 holds both plots at half; of need 2 there is enough for all, of need 3 for three."""
    _, shares = homes([2, 2], need(ALL, [2, 0]), need(ALL, [9, 0]), need(ALL, [3, 0]))
    assert [met[:, 0].tolist() for met in shares.met] == [[0.5, 0.5], [1, 1], [0.75, 0.75]]


@pytest.mark.parametrize("seed", range(60))
def test_nothing_is_overdrawn_and_nobody_could_have_more(seed):
    """Each need by itself feeds what is claimed, to the stated tolerance; by HiGHS.

    And the answer is max-min fair: a set that stopped takes all that its members reach, and none of
    its members stands higher than the level at which it stopped.
    """
    case = random_case(seed)
    out = filled(case.room, *case.needs)
    for one in case.needs:
        assert most_alike(case.room, out.level, one) >= 1 - 10 * TOLERANCE
    for at in np.flatnonzero(out.stop >= 0):
        stop = out.stops[out.stop[at]]
        one = case.needs[stop.need]
        assert (out.level[stop.sharers] <= out.level[at] + 1e-9).all()
        # It cannot have a hundredth of a home more while all that have no more keep what they have.
        more = out.level.copy()
        more[at] += 0.01
        others = np.arange(len(more)) != at
        lower = np.where(out.level > out.level[at] + 1e-9, 0.0, more)
        kept = others & (lower > 0)
        t = most_alike(case.room, np.where(kept | ~others, lower, 0.0), one, fixed=kept)
        assert t * more[at] < out.level[at] + 1e-4


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_nothing_is_left_within_reach_of_a_plot_that_stopped_for_want_of_it(seed):
    """However the supply is led, all that a stopped plot reaches of its need is used; by HiGHS."""
    case = random_case(seed, floors=(0.0,))
    out = filled(case.room, *case.needs)
    hungry = (out.stop >= 0) & (case.room > 0) & (out.level > 0)
    hungry &= out.level < np.min([one.larder(0).ceiling for one in case.needs], axis=0) - 1e-9
    for at in np.flatnonzero(hungry):
        one = case.needs[out.stops[out.stop[at]].need]
        if one.worst:
            assert most_left(case.room, out.level, one, at) <= 1e-6


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_proportional_fairness_gives_the_same(seed):
    """No levels that can be fed have a larger sum of homes x log(level); tangent by HiGHS.

    Kelly, Maulloo & Tan 1998, J. Oper. Res. Soc. 49:237-252 (from memory): the sum of the relative
    changes to any other levels is at most nought.
    """
    case = random_case(seed, floors=(0.0,))
    out = filled(case.room, *case.needs)
    if (case.room * out.level).any():
        ceiling = np.min([one.larder(0).ceiling for one in case.needs], axis=0)
        assert far_from_fair(case.room, out.level, case.needs, ceiling) <= 2e-3


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_one_answer_whatever_the_order_and_the_scale(seed):
    """Plots in another order, and n times the room and supply, ceilings held: the same levels."""
    case = random_case(seed)
    rng = np.random.default_rng(seed)
    order = rng.permutation(len(case.room))
    first = filled(case.room, *case.needs)
    turned = [
        need(one.reach.toarray()[np.ix_(order, order)], one.supply[order, :, 0], worst=one.worst)
        for one in case.needs
    ]
    assert filled(case.room[order], *turned).level == pytest.approx(first.level[order], abs=1e-8)
    larders = [one.larder(0) for one in case.needs]
    ceiling = np.min([larder.ceiling for larder in larders], axis=0)
    threefold = [need(one.reach.toarray(), 3 * one.supply[:, :, 0], worst=one.worst).larder(0)
                 for one in case.needs]  # fmt: skip
    assert fill(3 * case.room, ceiling, threefold).level == pytest.approx(first.level, abs=1e-8)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_homes_with_the_same_reach_and_ceiling_stand_alike(seed):
    case = random_case(seed)
    out = filled(case.room, *case.needs)
    rows = np.hstack([one.reach.toarray() for one in case.needs])
    for i, j in itertools.combinations(np.flatnonzero(case.room > 0), 2):
        if (rows[i] == rows[j]).all():
            assert out.level[i] == pytest.approx(out.level[j], abs=1e-8)


REACHES = {
    "seed": st.integers(0, 2**32 - 1), "size": st.integers(1, 40), "reach": st.floats(1, 150),
}  # fmt: skip


def random_reach(seed, size, reach):
    """Zeros and ones (size, size), now and then lopsided, and the blocks of them."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 100, (2, size))
    ones = np.hypot(x[:, None] - x, y[:, None] - y) <= reach
    ones &= (rng.random((size, size)) < 0.95) | rng.choice([True, False])
    return ones, blocks_of(sp.csr_array(ones.astype(float)), along_a_curve(x, y))


@settings(max_examples=60, deadline=None)
@given(**REACHES)
def test_blocks_are_the_matrix(seed, size, reach):
    """Ways along the edges from row to column: one where there is a 1, none elsewhere."""
    ones, net = random_reach(seed, size, reach)
    step = sp.csr_array((np.ones(len(net.tail)), (net.tail, net.head)), (net.knots, net.knots))
    ways, found = sp.eye_array(net.knots).tocsr()[:size], np.zeros((size, size))
    while ways.nnz:
        ways = ways @ step
        found += ways[:, size : 2 * size].toarray()
    assert (found == ones).all()


@settings(max_examples=60, deadline=None)
@given(**REACHES)
def test_products_bunch_by_bunch_are_those_over_all_pairs(seed, size, reach):
    """Of whole numbers sums are exact in any order: equal to the last bit."""
    ones, net = random_reach(seed, size, reach)
    rng = np.random.default_rng(seed + 1)
    one, some = rng.integers(0, 1000, size) * 1.0, rng.integers(0, 1000, (size, 3)) * 1.0
    for values in (one, some):
        assert (net.times(values) == ones.astype(float) @ values).all()
        assert (net.transposed_times(values) == ones.T.astype(float) @ values).all()


@settings(max_examples=60, deadline=None)
@given(**REACHES)
def test_along_each_edge_goes_what_is_sent_behind_it_times_what_is_drawn_before_it(
    seed, size, reach
):
    """Against following every way from row to column; whole numbers, so to the last bit."""
    _, net = random_reach(seed, size, reach)
    rng = np.random.default_rng(seed + 2)
    sent, drawn = rng.integers(0, 100, (2, size, 2)) * 1.0
    after = [[] for _ in range(net.knots)]
    for edge, (tail, head) in enumerate(zip(net.tail.tolist(), net.head.tolist(), strict=True)):
        after[tail].append((edge, head))
    expected = np.zeros((len(net.tail), 2))

    def follow(row, knot, edges):
        if size <= knot < 2 * size:
            expected[edges] += sent[row] * drawn[knot - size]
        for edge, head in after[knot]:
            follow(row, head, [*edges, edge])

    for row in range(size):
        follow(row, row, [])
    sends, gets, along = net.flow(sent, drawn)
    assert (along == expected).all()
    assert (sends == sent * net.times(drawn)).all()
    assert (gets == drawn * net.transposed_times(sent)).all()


@settings(max_examples=80, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    months=st.integers(1, 3),
    worst=st.booleans(),
    compiled=st.booleans(),
)
@example(seed=4751, months=1, worst=False, compiled=False)  # rests of several plots in one bunch
def test_a_flow_that_begins_with_a_split_ends_like_one_from_nothing(seed, months, worst, compiled):
    """As much gets through, and the same set clashes; what is split is wanted and is there."""
    case = random_case(seed)
    one = case.needs[0]
    rng = np.random.default_rng(seed)
    supply = np.round(rng.uniform(0, 3, (len(case.room), months)), 1)
    share = np.where(case.room > 0, rng.uniform(0.1, 1, len(case.room)), 0.0)
    larder = replace(one.larder(0), supply=supply, worst=worst)
    for shelf in larder.shelves:
        split = shelf.split(case.room, share)
        wanted = case.room * share * shelf.times.sum()
        if split is None:
            continue
        begun = Begun.of(larder.ways.blocks, *split)
        assert (begun.drawn.sum(axis=1) <= wanted * (1 + 1e-12)).all()
        assert (begun.drawn <= case.room[:, None] * shelf.times * (1 + 1e-12)).all()
        there = shelf.supply * shelf.times
        assert (begun.given <= there * (1 + 1e-12)).all()
        most = case.room[:, None] * shelf.times if len(shelf.times) > 1 else None
        net = Net.of(larder.ways.blocks, len(shelf.times))
        ahead, anew = (
            net.passed(wanted, there, most, first, compiled=compiled) for first in (begun, None)
        )
        # Where there is a clash, what is short is known to a unit an edge.
        near = 1e-12 if compiled else 1e-7
        assert ahead.short == pytest.approx(anew.short, abs=near * wanted.sum())
        assert (ahead.wanting == anew.wanting).all()
        assert (ahead.given == anew.given).all()
        assert (ahead.bound == anew.bound).all()


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_asked_pair_by_pair_whether_all_fits_all_rise_as_far(seed):
    """Where all is met but for rounding, either answer stops the same plots at the same levels."""
    case = random_case(seed)
    larders = [one.larder(0) for one in case.needs]
    ceiling = np.minimum.reduce([one.ceiling for one in larders])
    # Dense matrices of so few plots are multiplied pair by pair, sparse ones bunch by bunch.
    bunches, pairs = (
        fill(
            case.room,
            ceiling,
            [
                replace(one, ways=one.ways._replace(matrix=form(demand.reach)))
                for one, demand in zip(larders, case.needs, strict=True)
            ],
        )
        for form in (sp.csr_array, sp.csr_array.toarray)
    )
    assert (bunches.level == pairs.level).all()
    assert (bunches.stop == pairs.stop).all()


@settings(max_examples=80, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), compiled=st.booleans())
def test_flows_are_as_large_as_a_second_library_makes_them(seed, compiled):
    """Against HiGHS: what gets through, and that the set that clashes wants just what is short."""
    case = random_case(seed)
    one = case.needs[0]
    month = need(one.reach.toarray(), one.supply[:, [0], 0])
    wanted = case.room * np.random.default_rng(seed).uniform(0, 1, len(case.room))
    if not wanted.any():
        return
    supply = month.supply[:, :, 0]
    passed = Net.of(month.blocks, 1).passed(wanted, supply, compiled=compiled)
    short = passed.short
    clash = wanted[passed.wanting].sum() - supply[passed.given[:, 0]].sum()
    near = 1e-12 if compiled else 1e-7
    assert clash == pytest.approx(short, abs=near * wanted.sum())
    t = most_alike(wanted, np.ones(len(wanted)), month)
    assert (short <= 1e-9 * wanted.sum()) == (t >= 1 - 1e-9)


@pytest.mark.parametrize("compiled", [True, False])
def test_what_has_just_enough_is_no_part_of_a_clash(compiled):
    """A and B want 2 each of A's 3: one is short. C wants 2 of its own 2, D 1 of its own 2."""
    near = np.array([[1, 0, 0, 0], [1, 0, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]])
    net = Net.of(blocks_of(sp.csr_array(near.astype(float))), 1)
    supply = np.array([[3.0], [9], [2], [2]])
    passed = net.passed(np.array([2.0, 2, 2, 1]), supply, compiled=compiled)
    assert passed.short == pytest.approx(1, rel=1e-6)
    assert passed.wanting.tolist() == [True, True, False, False]
    assert passed.given[:, 0].tolist() == [True, False, False, False]


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), layers=st.integers(1, 3))
def test_compiled_flows_are_scipys(seed, layers):
    """Along a street of 120 plots as much is short, and the set that clashes wants just that."""
    rng = np.random.default_rng(seed)
    where = np.sort(rng.uniform(0, 1000, 120))
    reach = sp.csr_array((np.abs(where[:, None] - where) <= rng.uniform(5, 80)).astype(float))
    net = Net.of(blocks_of(reach), layers)
    there = rng.random((120, layers)) < 0.4
    supply = np.round(rng.uniform(0, 9, (120, layers)), 1) * there
    room = np.round(rng.uniform(0, 3, 120), 1) * (rng.random(120) < 0.7)
    # Often some want just what is there: then only rounding would have them clash.
    wanted = room * layers * rng.choice([0.5, supply.sum() / max(1.0, room.sum() * layers), 1.0])
    if not wanted.any():
        return
    most = np.repeat(room[:, None], layers, axis=1) if layers > 1 else None
    kernel, scipys = (net.passed(wanted, supply, most, compiled=way) for way in (True, False))
    # Where there is a clash, scipy's whole numbers leave up to a unit on each edge.
    assert kernel.short == pytest.approx(scipys.short, abs=len(net.back) * 2**-29 * wanted.sum())
    assert kernel.wanting.any() == (kernel.short > 1e-12 * wanted.sum())
    held = 0.0 if most is None else most[kernel.bound].sum()
    clash = wanted[kernel.wanting].sum() - held - supply[kernel.given].sum()
    assert clash == pytest.approx(kernel.short, abs=1e-11 * wanted.sum())


def test_no_room_and_no_supply():
    out = filled([0, 0, 0], need(ROW, [1, 1, 1]))
    assert out.stops == ()
    held, shares = homes([1, 1, 1], need(ROW, [0, 0, 0]))
    assert held.tolist() == [0, 0, 0]
    assert shares.limits.need.tolist() == [0, 0, 0]


def test_a_net_is_let_go_with_the_blocks_that_it_was_laid_for():
    blocks = blocks_of(sp.csr_array(np.ones((3, 3))))
    there = weakref.ref(blocks)
    net_of(blocks, 1).passed(
        np.ones(3), np.ones((3, 1)), begun=Begun.of(blocks, np.ones((3, 1)) / 3, np.ones((3, 1)))
    )
    del blocks
    gc.collect()
    assert there() is None


def test_what_was_filled_is_let_go_at_once():
    """No circle keeps the arrays of a town until the garbage collector happens to come."""
    case = random_case(11)
    demands = [replace(one, net=blocks_of(one.reach)) for one in case.needs]
    there = [weakref.ref(one.net) for one in demands]
    gc.disable()
    try:
        found = share_supplies(case.room[:, None], demands, whole=case.whole[:, None])
        del demands
        assert found.quality.shape == (len(case.room), 1)
        assert [one() for one in there] == [None] * len(there)
    finally:
        gc.enable()
