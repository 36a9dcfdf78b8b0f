"""One plot's answer, on the worked row."""

import math

import pytest

from patchnet.assess import assess, plot_answer
from patchnet.assess.assessment import Giver, HasFeature
from patchnet.core.errors import WrongUse


@pytest.fixture
def answer(street, knowledge):
    return assess(street([(2, 6), (1, 0), (math.nan, 3)]), knowledge=knowledge())


def test_givers_with_distance(answer):
    """Plot 2 reaches plots 1 and 3, both 50 m away; only they give food, 6 and 3."""
    need = plot_answer(answer, "p2").groups[0].needs[0]
    assert need.givers == (Giver("p1", 50.0, 6.0, ("food",)), Giver("p3", 50.0, 3.0, ("food",)))
    assert need.giver_count == 2


def test_own_supply_counts_at_no_distance(answer):
    need = plot_answer(answer, "p1").groups[0].needs[0]
    assert need.givers == (Giver("p1", 0.0, 6.0, ("food",)),)


def test_what_it_has_and_what_is_not_known(answer):
    first = plot_answer(answer, "p1")
    assert first.has == (HasFeature("nest", 2.0, sized=True, sure=True),
                         HasFeature("food", 6.0, sized=True, sure=True))  # fmt: skip
    assert first.not_known == ()
    assert plot_answer(answer, "p3").not_known == ("nest",)
    assert first.neighbours_not_known == (("p3", 110.0, 0.5),)


def test_neighbours_features(answer):
    near = {item.feature: item for item in plot_answer(answer, "p3").near}
    assert near["nest"].plots == 2
    assert near["nest"].nearest == (("p2", 50.0), ("p1", 110.0))
    assert near["food"].nearest == (("p1", 110.0),)


@pytest.mark.parametrize(
    ("food", "standing"), [(2, "short"), (4, "enough"), (7.9, "enough"), (8, "plenty")]
)
def test_standing(street, knowledge, food, standing):
    """Room for 1, a home takes 4: short below 4, plentiful from twice that (plenty_ratio 2)."""
    answer = assess(street([(1, food)]), knowledge=knowledge())
    assert plot_answer(answer, "p1").groups[0].needs[0].standing == standing


def test_no_room(street, knowledge):
    answer = assess(street([(0, 4)]), knowledge=knowledge())
    assert plot_answer(answer, "p1").groups[0].needs[0].standing == "no room"


def test_row_of_reach_equals_the_whole_matrix(street, knowledge):
    """The one-plot way and the all-plots way of asking for reach agree."""
    answer = assess(street([(1, 6), (0, 1), (0, 3), (1, 0)]), knowledge=knowledge(reach=200))
    reach = answer.groups["imp"].reach
    whole = reach.within(200)
    reach._own.clear()
    for plot in range(4):
        assert reach.row(200, plot).tolist() == sorted(whole[[plot]].indices.tolist())


def test_unknown_plot_offers_the_nearest(answer):
    with pytest.raises(WrongUse, match="Did you mean p1"):
        plot_answer(answer, "p11")


def test_unknown_group(answer):
    with pytest.raises(WrongUse, match="imp"):
        plot_answer(answer, "p1", groups=["ump"])
