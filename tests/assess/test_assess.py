"""From plots to answers, on streets small enough to work out on paper."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from patchnet.assess import ANCHOR, assess
from patchnet.core.errors import WrongUse

NAN = math.nan


def imp(street, knowledge, **options):
    return assess(street, knowledge=knowledge, **options).groups["imp"]


def test_worked_row(street, knowledge):
    """Room (2, 1, 0), food (6, 0, 3), 50 m apart, d50 = 50 m, reach 60 m, a home takes 4.

    Homes held (1.5, 0.75, 0) (see test_sharing). Linked homes: p12 = 2^(-50/50) = 0.5, so
    sqrt(2.25 + 0.5625 + 2 x 1.5 x 0.75 x 0.5) = sqrt(3.9375). Balance sheet: plot 1 reaches
    1 and 2: 6/4 = 1.5 homes, room 3; plot 2 reaches all: 9/4 = 2.25, room 3; plot 3: 3/4, room 1.
    """
    answer = imp(street([(2, 6), (1, 0), (0, 3)]), knowledge())
    assert answer.homes.to_numpy() == pytest.approx([1.5, 0.75, 0])
    assert answer.measures.eca == pytest.approx(math.sqrt(3.9375), rel=1e-9)
    (sheet,) = answer.needs
    assert sheet.enough.tolist() == [1.5, 2.25, 0.75]
    assert sheet.room.tolist() == [3, 3, 1]
    assert answer.scarcest.tolist() == ["food", "food", "food"]
    assert answer.patch.tolist() == [True, True, True]
    assert answer.component.tolist() == [0, 0, 0]


def test_four_more_on_the_middle_plot(street, knowledge):
    """Food for 3.25 homes feeds all: (2, 1, 0): sqrt(4 + 1 + 2 x 2 x 0.5) = sqrt(7)."""
    answer = imp(street([(2, 6), (1, 4), (0, 3)]), knowledge())
    assert answer.measures.eca == pytest.approx(math.sqrt(7), rel=1e-9)


def test_the_set_that_stopped_a_plot_is_its_scarcest_need(street, knowledge):
    """The worked row: plots 1 and 2 together take all the food of plots 1 and 3, at 0.75 of it.

    Both sets that are tight there hold plot 1; plot 3 has no room and is held by nothing.
    """
    answer = imp(street([(2, 6), (1, 0), (0, 3)]), knowledge())
    first, second, third = answer.shortage
    assert (first.need, first.met) == ("food", pytest.approx(0.75))
    assert first.months in ((4,), (5,))
    assert second.sharers == ("p1", "p2")
    assert second.suppliers == ("p1", "p3")
    assert third is None


def test_scarcest_is_the_anchor_where_food_abounds(street, knowledge):
    """Food for 100 homes, room for 1: a place to live is what is scarcest."""
    answer = imp(street([(1, 400)]), knowledge())
    assert answer.scarcest.tolist() == [ANCHOR]
    assert answer.homes.tolist() == [1]


def test_no_room_at_all_means_a_place_to_live_is_scarcest(street, knowledge):
    answer = imp(street([(0, 4)]), knowledge())
    assert answer.scarcest.tolist() == [ANCHOR]
    assert answer.homes.tolist() == [0]


def test_a_piece_too_small_for_a_stop_is_no_part_of_a_home(street, knowledge):
    """A group that nests in what it stops at (1 unit a stop, 1 a home): half a unit is nothing.

    Nests elsewhere, half a home's worth of them is half a home.
    """
    tables = knowledge(step_min=1)
    group = tables.groups["imp"]
    thicket = replace(group, step_resource="nest")
    thick = replace(tables, groups={"imp": thicket})
    row = street([(0.5, 8), (1, 8)])
    assert imp(row, thick).room.tolist() == [0, 1]
    assert imp(row, thick).patch.tolist() == [False, True]
    assert imp(row, tables).room.tolist() == [0.5, 1]


def test_hungry_month(street, knowledge):
    """Food in April only: 8 units feed 2 homes in April and none in May; room for 1.

    May is hungry, April is not; the worst month decides, so there is no home; with the mean
    rule the share met is (1 + 0) / 2.
    """
    one = street([(1, 8)])
    worst = imp(one, knowledge(food_months={4}))
    (sheet,) = worst.needs
    assert sheet.by_month.loc["p1", [4, 5]].tolist() == [2, 0]
    assert sheet.by_month.loc["p1"].drop([4, 5]).isna().all()
    assert sheet.hungry.columns[sheet.hungry.loc["p1"]].tolist() == [5]
    assert worst.homes.tolist() == [0]
    assert imp(one, knowledge(food_months={4}, rule="mean")).homes.tolist() == [0.5]


def test_unknown_is_drawn_in_as_on_plots_of_the_same_kind(street, knowledge):
    """Yards: two known with food 4 and 2. Gardens: one known without, one not known.

    Share on all surveyed plots 2/3. Gardens: (0 + 2 x 2/3) / (1 + 2) = 4/9; usual amount
    (4 + 2) / 2 = 3; so 4/9 x 3 = 4/3 is expected on the unknown garden.
    """
    amounts = [(0, 4), (0, 2), (0, 0), (0, NAN)]
    row = street(amounts, kinds=["yard", "yard", "garden", "garden"])
    answer = assess(row, knowledge=knowledge(reach=10))
    assert answer.supply[3, 1, 0] == pytest.approx(4 / 3)
    sheet = answer.groups["imp"].needs[0]
    assert sheet.enough["p4"] == pytest.approx(4 / 3 / 4)
    assert sheet.enough_low["p4"] == 0
    assert sheet.enough_high["p4"] == pytest.approx(3 / 4)
    assert answer.known_share.tolist() == [1, 1, 1, 0.5]


def test_unknown_never_fills_more_than_the_free_ground(street, knowledge):
    """A unit takes 1 m2 and a plot has 100 m2: of 90 usual units all fit, of 190 only 100.

    Plot 2 also reaches what plot 1 is known to have; a home takes 4.
    """
    row = street([(0, 90), (0, NAN)])
    low = assess(row, knowledge=knowledge(ground=1)).groups["imp"].needs[0]
    assert low.enough_high["p2"] == pytest.approx((90 + 90) / 4)
    tight = street([(0, 190), (0, NAN)])
    high = assess(tight, knowledge=knowledge(ground=1)).groups["imp"].needs[0]
    assert high.enough_high["p2"] == pytest.approx((190 + 100) / 4)


def test_what_nobody_looked_for_counts_as_absent_but_not_in_the_upper_bound(street, knowledge):
    """No plot says anything of food; a typical amount of 1 is the upper bound on each."""
    row = street([(1, NAN), (1, NAN)], lefts=[0, 500])
    sheet = imp(row, knowledge()).needs[0]
    assert sheet.enough.tolist() == [0, 0]
    assert sheet.enough_high.tolist() == [0.25, 0.25]


def test_everything_known_leaves_no_range(street, knowledge):
    answer = imp(street([(2, 6), (1, 0), (0, 3)]), knowledge())
    assert answer.homes_low.equals(answer.homes)
    assert answer.homes_high.equals(answer.homes)


def test_reach_asks_for_a_route(street, knowledge):
    """Reach 120 m, hop 60 m: plot 3 lies 110 m away and counts only if plot 2 is a stop.

    With food for a stop (1) on plot 2 the route is 50 + 50 m: plot 1 gets 6 + 1 + 3 = 10 units;
    without it, 6 alone.
    """
    wide = knowledge(reach=120)
    over = imp(street([(1, 6), (0, 1), (0, 3)]), wide).needs[0]
    assert over.enough["p1"] == 10 / 4
    alone = imp(street([(1, 6), (0, 0), (0, 3)]), wide).needs[0]
    assert alone.enough["p1"] == 6 / 4


def test_reach_asks_for_the_straight_line_too(street, knowledge):
    """Twenty touching plots: routes are 0 m long, yet a reach of 60 m ends 60 m away.

    Plot 1 (0 to 10 m) reaches plots whose near edge is at 10 to 70 m: plots 2 to 8, and itself.
    """
    row = street([(1, 1)] * 20, lefts=[10 * at for at in range(20)])
    sheet = imp(row, knowledge(reach=60, hop=20)).needs[0]
    assert sheet.enough["p1"] == 8 / 4


def test_break_and_what_closing_it_would_win(street, knowledge):
    """Two plots 130 m apart, hop 60: ceil(130/60) - 1 = 2 stones.

    Homes 1 and 2 (food enough): PCnum = 1 + 4 = 5. Closed: p = 2^(-130/50) = 0.164938;
    won = sqrt(5 + 2 x 1 x 2 x 0.164938) - sqrt(5) = sqrt(5.659754) - sqrt(5).
    """
    row = street([(1, 8), (2, 8), (0, 0)], lefts=[0, 140, 70])
    answer = imp(row, knowledge())
    (gap,) = answer.breaks
    assert {gap.from_plot, gap.to_plot} == {"p1", "p2"}
    assert gap.width_m == 130
    assert gap.stepping_stones == 2
    assert gap.plots_on_the_way == ("p3",)
    expected = math.sqrt(5 + 4 * 2 ** (-130 / 50)) - math.sqrt(5)
    assert gap.homes_won == pytest.approx(expected, rel=1e-9)
    assert sorted(gap.homes_each_side) == [1, 2]
    assert gap.line.length == pytest.approx(130)
    assert sorted(answer.component.tolist()) == [-1, 0, 1]


def test_isolates_are_never_lost(street, knowledge):
    answer = imp(street([(1, 8), (0, 0), (1, 8)], lefts=[0, 2000, 9000]), knowledge())
    assert list(answer.homes.index) == ["p1", "p2", "p3"]
    assert list(answer.network.ids) == ["p1", "p3"]
    assert list(answer.network.graph.nodes) == ["p1", "p3"]


@pytest.mark.parametrize("seed", range(5))
def test_reordering_renames_nothing_else(street, knowledge, seed):
    rng = np.random.default_rng(seed)
    amounts = rng.integers(0, 5, (12, 2))
    lefts = rng.permutation(12) * 17.0
    order = rng.permutation(12)
    one = imp(street(amounts, lefts=list(lefts)), knowledge())
    other = imp(street(amounts[order], lefts=list(lefts[order])), knowledge())
    assert other.homes.to_numpy() == pytest.approx(one.homes.to_numpy()[order], rel=1e-9)
    assert other.measures.eca == pytest.approx(one.measures.eca, rel=1e-9)


@pytest.mark.parametrize("turn", [0.3, 1.2, 2.9])
def test_moving_and_turning_change_nothing(street, knowledge, turn):
    """Distances are whole millimetres, so a turn moves a length by at most 1 mm: p by 2e-5."""
    amounts = [(2, 6), (1, 4), (0, 3), (1, 9)]
    before = imp(street(amounts), knowledge())
    shapes = [
        shapely.affinity.translate(
            shapely.affinity.rotate(shape, turn, origin=(0, 0), use_radians=True), 300, -700
        )
        for shape in street(amounts).plots.geometry
    ]
    after = imp(street(amounts, shapes=shapes), knowledge())
    assert after.homes.to_numpy() == pytest.approx(before.homes.to_numpy(), rel=1e-9)
    assert after.measures.eca == pytest.approx(before.measures.eca, rel=1e-4)


def test_more_food_never_lowers_linked_homes(street, knowledge):
    rng = np.random.default_rng(7)
    amounts = rng.integers(0, 4, (8, 2)).astype(float)
    least = 0.0
    for _ in range(6):
        amounts[:, 1] += rng.integers(0, 3, 8)
        eca = imp(street(amounts), knowledge()).measures.eca
        assert eca >= least - 1e-9
        least = eca


def test_unknown_group_offers_the_nearest(street, knowledge):
    with pytest.raises(WrongUse, match="Did you mean imp"):
        assess(street([(1, 1)]), knowledge=knowledge(), groups=["imps"])


def test_input_is_not_changed(street, knowledge):
    row = street([(1, NAN), (1, 3)])
    before = row.answers.amount.copy()
    plots = row.plots.copy()
    assess(row, knowledge=knowledge())
    assert np.array_equal(before, row.answers.amount, equal_nan=True)
    assert plots.equals(row.plots)
