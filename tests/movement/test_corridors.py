"""Corridors between two patches, and the gaps that would help most."""

import math

import numpy as np
import pytest
from shapely import LineString, Point, box

from patchnet.core.errors import WrongUse
from patchnet.movement.corridors import both_ways, corridor
from patchnet.movement.fence_gaps import gaps_in_order, single_gaps
from patchnet.movement.ground_links import ground_links
from patchnet.movement.surface import cost_surface

GARDENS = {
    "a": (box(0, 0, 10, 20), "park"),
    "m": (box(10, 0, 20, 20), "park"),
    "b": (box(20, 0, 30, 20), "park"),
}
FIRST = LineString([(10, -60), (10, 80)])
SECOND = LineString([(20, -60), (20, 80)])
BOTH = pytest.mark.parametrize("compiled", [True, False])


@pytest.fixture
def surface_of(scene, know):
    def make(*barriers, plots=GARDENS, cell=1.0, **kwargs):
        ground = scene(plots, barriers=barriers, **kwargs)
        return cost_surface(ground, know.groups["hedgehog"], know, cell_m=cell)

    return make


@BOTH
def test_the_way_through_a_third_garden(surface_of, know, compiled):
    """Ten metres of park (1 a metre) lie between a and b: cost 10, length 10, through m."""
    found = corridor(surface_of(), "a", "b", know, compiled=compiled)
    assert found.cost == pytest.approx(10)
    assert found.length_m == pytest.approx(10)
    assert found.plots == ("a", "m", "b")
    assert found.share == 0.1
    assert found.line.coords[0][0] == 9.5
    assert found.line.coords[-1][0] == 20.5


def test_the_band_holds_ways_hardly_dearer(surface_of, know):
    """Cells of the band: best way to a plus best way to b at most 1.1 times the cheapest.

    Straight across m every row costs 10: all 200 cells of m are in the band, even for share 0.
    North of m the ground costs 2.5: one row up and down is dearer than a tenth.
    """
    surface = surface_of()
    m = surface.labels == 2
    for share in (0, 0.1):
        band = corridor(surface, "a", "b", know, share=share).band
        assert band[m].all()
        assert band.sum() == 200
    wide = corridor(surface, "a", "b", know, share=2).band
    assert wide.sum() > 200
    assert not wide[np.isin(surface.labels, [1, 3])].any()


def test_band_against_its_meaning(surface_of, know):
    """Every cell of the band, tried by force: the way through it costs no more than allowed."""
    surface = surface_of((LineString([(15, 5), (15, 40)]), "fence", "no"))
    found = corridor(surface, "a", "b", know, share=0.3)
    both = both_ways(surface, "a", "b")
    total = both.from_a.cost + both.from_b.cost
    assert (total[found.band] <= 1.3 * found.cost + 1e-9).all()
    rest = ~found.band & ~np.isin(surface.labels, [1, 3])
    assert (total[rest] > 1.3 * found.cost).all()


@BOTH
def test_plots_that_touch(surface_of, know, compiled):
    found = corridor(surface_of(), "a", "m", know, compiled=compiled)
    assert (found.cost, found.length_m, found.plots) == (0, 0, ("a", "m"))
    fenced = surface_of((FIRST, "fence", "not_known"))
    found = corridor(fenced, "a", "m", know, compiled=compiled)
    assert (found.cost, found.length_m) == (15, 0)
    assert found.line is not None


def test_no_way(surface_of, know):
    found = corridor(surface_of((FIRST, "wall", "no")), "a", "b", know)
    assert (found.cost, found.length_m, found.line, found.plots) == (math.inf, math.inf, None, ())
    assert not found.band.any()


@pytest.mark.parametrize("cell", [0.5, 1.0, 2.5])
def test_corridors_cost_what_links_cost(surface_of, know, cell):
    """Between neighbours nothing third lies in the way, so both routes must agree."""
    plots = {"a": (box(0, 0, 10, 20), "garden"), "b": (box(25, 3, 35, 20), "garden")}
    surface = surface_of((LineString([(17, -60), (17, 18)]), "fence", "no"), plots=plots, cell=cell)
    links = ground_links(surface)
    found = corridor(surface, "a", "b", know)
    assert found.cost == pytest.approx(links.cost[0], rel=1e-12)
    assert found.length_m == pytest.approx(links.length_m[0], rel=1e-12)


def test_wrong_use(surface_of, know):
    surface = surface_of()
    for plots in (("a", "a"), ("a", "x")):
        with pytest.raises(WrongUse):
            corridor(surface, *plots, know)
    with pytest.raises(WrongUse, match="share"):
        corridor(surface, "a", "b", know, share=-0.1)
    with pytest.raises(WrongUse, match="one gap"):
        gaps_in_order(surface, "a", "b", most=0)


# gaps -----------------------------------------------------------------------------------------


@BOTH
def test_the_fence_in_which_a_gap_wins_most(surface_of, compiled):
    """Two fences of unknown gap stand between a and b: 10 + 15 + 15 = 40. A gap in either costs
    1 instead of 15 and wins 14; the second gap wins 14 more: 12 is left.
    """
    surface = surface_of((FIRST, "fence", "not_known"), (SECOND, "fence", "not_known"))
    plans = single_gaps(surface, "a", "b", compiled=compiled)
    assert [plan.gaps[0].barriers for plan in plans] == [(0,), (1,)]
    assert [plan.cost_before for plan in plans] == pytest.approx([40, 40])
    assert [plan.won for plan in plans] == pytest.approx([14, 14])
    assert [plan.gaps[0].plots for plan in plans] == [("a", "m"), ("m", "b")]
    ordered = gaps_in_order(surface, "a", "b", compiled=compiled)
    assert [plan.cost_after for plan in ordered] == pytest.approx([26, 12])
    assert {plan.gaps[0].barriers for plan in ordered} == {(0,), (1,)}


@BOTH
def test_two_closed_fences_are_opened_together(surface_of, compiled):
    """Neither gap alone makes a way; together 10 + 1 + 1 = 12."""
    surface = surface_of((FIRST, "fence", "no"), (SECOND, "wall", "no"))
    assert single_gaps(surface, "a", "b", compiled=compiled) == ()
    (plan,) = gaps_in_order(surface, "a", "b", compiled=compiled)
    assert [gap.barriers for gap in plan.gaps] == [(0,), (1,)]
    assert [gap.plots for gap in plan.gaps] == [("a", "m"), ("m", "b")]
    assert plan.cost_after == pytest.approx(12)
    assert (plan.cost_before, plan.won) == (math.inf, math.inf)
    backwards = gaps_in_order(surface, "b", "a", compiled=compiled)[0]
    assert [gap.plots for gap in backwards.gaps] == [("b", "m"), ("m", "a")]


def test_a_closed_fence_with_a_way_round(surface_of, know):
    """Round the end of the fence, or through it: the gain is the difference, tried by force."""
    fence = LineString([(10, -60), (10, 21)])
    surface = surface_of((fence, "fence", "no"))
    before = corridor(surface, "a", "b", know).cost
    (plan,) = single_gaps(surface, "a", "b")
    assert plan.cost_after == pytest.approx(11)
    assert plan.won == pytest.approx(before - 11)
    best = min(_opened(surface, at, know) for at in range(len(surface.steps.key)))
    assert plan.cost_after == pytest.approx(best, rel=1e-12)


def _opened(surface, at, know):
    """Second route: make the gap in the data and look for the way anew."""
    extra = surface.steps.extra[at]
    surface.steps.extra[at] = surface.steps.opened[at]
    cost = corridor(surface, "a", "b", know).cost
    surface.steps.extra[at] = extra
    return cost


def test_a_gap_where_there_is_one_already_wins_nothing(surface_of):
    surface = surface_of((FIRST, "fence", "yes"))
    assert single_gaps(surface, "a", "m") == ()
    assert gaps_in_order(surface, "a", "m") == ()


def test_a_building_cannot_be_opened(surface_of):
    surface = surface_of(buildings=[box(11, -60, 19, 80)])
    assert single_gaps(surface, "a", "b") == ()
    assert gaps_in_order(surface, "a", "b") == ()


def test_a_fence_drawn_twice_is_opened_once(surface_of):
    twin = LineString([(10.1, -60), (10.1, 80)])
    surface = surface_of((FIRST, "fence", "no"), (twin, "fence", "no"))
    (plan, *_) = single_gaps(surface, "a", "b")
    assert plan.gaps[0].barriers == (0, 1)
    assert plan.cost_after == pytest.approx(11)


def test_a_suggested_gap_leaves_the_assumed_one(scene, know):
    """What is promised is what the next list finds, if the present gap is mapped as well.

    The fence (x = 15, y = -40 to 99) has a gap, assumed at y = 29.5. Between a and b it costs
    28.5 + 22.5 sqrt 2 = 60.32 (worked out in test_surface), and straight across 26: the gap that
    is suggested wins 34.32. Between c and d, beside the assumed gap, ten metres of ground and
    the gap cost 26 before and after.
    """
    plots = {
        "a": (box(0, 0, 10, 20), "garden"),
        "b": (box(20, 0, 30, 20), "garden"),
        "c": (box(0, 26, 10, 33), "garden"),
        "d": (box(20, 26, 30, 33), "garden"),
    }
    fence = (LineString([(15, -40), (15, 99)]), "fence", "yes")

    def ground(*mapped):
        there = scene(plots, barriers=[fence], features=[(one, "fence_gap") for one in mapped])
        return cost_surface(there, know.groups["hedgehog"], know, cell_m=1)

    surface = ground()
    (plan,) = gaps_in_order(surface, "a", "b", most=3)
    far = 28.5 + 22.5 * math.sqrt(2)
    assert (plan.cost_before, plan.cost_after) == pytest.approx((far, 26))
    assert gaps_in_order(surface, "c", "d") == ()
    new, assumed = plan.gaps[0].place, Point(15, 29.5)
    for mapped, between_c_and_d in (((new, assumed), 26), ((new,), None)):
        after = ground(*mapped)
        assert both_ways(after, "a", "b").cost == pytest.approx(plan.cost_after)
        found = both_ways(after, "c", "d").cost
        if between_c_and_d is None:
            assert found > 26 + 1, "the new gap alone has taken the place of the assumed one"
        else:
            assert found == pytest.approx(between_c_and_d)
