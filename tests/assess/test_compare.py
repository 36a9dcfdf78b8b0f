"""Two states of the worked row side by side: what changed, and what is only known better."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds.paper import make_knowledge, make_street

from patchnet.assess import assess
from patchnet.assess.compare import compare_assessments
from patchnet.core.errors import WrongUse

KNOW = make_knowledge()


def compared(before, after, **options):
    return compare_assessments(
        assess(make_street(before, **options), knowledge=KNOW),
        assess(make_street(after, **options), knowledge=KNOW),
    )


def test_the_same_twice_is_no_change():
    same = [(2, 6), (1, 0), (math.nan, 3)]
    result = compared(same, same)
    assert result.plots == result.features == result.moved == ()
    (change,) = result.groups
    assert change.linked_before == change.linked_after
    assert change.sure


def test_what_became_of_features():
    """Nest gone on p1, food new on p2 and less on p1, nest of p3 now known, p2's forgotten."""
    before = [(2, 6), (1, 0), (math.nan, 3)]
    after = [(0, 5), (math.nan, 4), (1, 3)]
    found = {(one.plot, one.feature): one.kind for one in compared(before, after).features}
    assert found == {
        ("p1", "nest"): "gone",
        ("p1", "food"): "less",
        ("p2", "nest"): "no longer known",
        ("p2", "food"): "new",
        ("p3", "nest"): "now known",
    }


def test_homes_on_paper():
    """Plots 50 m apart, reach 60 m; one home takes 4 of food.

    Before: p1 has 1 nest and no food, nothing in reach: 0 homes. After: p2 has food 4, within
    reach of p1 alone of all nests, so its need is met in full: 1 home, and 1 linked home.
    """
    result = compared([(1, 0), (0, 0)], [(1, 0), (0, 4)])
    (change,) = result.groups
    assert (change.linked_before, change.linked_after) == (0, pytest.approx(1))
    first, second = result.plots
    assert first.plot == "p1"
    assert first.homes == {"imp": pytest.approx(1)}
    assert second.homes == {}
    assert first.hungry_closed == second.hungry_closed == {"imp": (4, 5)}
    assert first.hungry_opened == {}


def test_a_break_that_closes():
    """Patches 120 m apart (hop 60) are two groups; a stop half way joins them."""
    lefts = [0, 60, 120]
    result = compared([(1, 9), (0, 0), (1, 9)], [(1, 9), (0, 9), (1, 9)], lefts=lefts, width=10)
    (change,) = result.groups
    assert (change.components_before, change.components_after) == (2, 1)
    assert len(change.breaks_closed) == 1
    assert change.breaks_opened == ()


def test_what_is_not_known_makes_a_change_unsure():
    """p3's food is unknown: taken as absent or present it changes what p1's lost food means."""
    result = compared([(1, 4), (1, 4)], [(1, 4), (1, math.nan)])
    assert (
        not result.groups[0].sure or result.groups[0].homes_after == result.groups[0].homes_before
    )


def test_plots_in_only_one_of_them_and_none_in_common():
    result = compared([(1, 4), (1, 4)], [(1, 4), (1, 4), (0, 3)])
    assert result.only_before == ()
    assert result.only_after == ("p3",)
    other = make_street([(1, 4)])
    other.plots.index = other.plots.index.map({"p1": "x1"})
    with pytest.raises(WrongUse, match="share no plot"):
        compare_assessments(
            assess(make_street([(1, 4)]), knowledge=KNOW), assess(other, knowledge=KNOW)
        )


def test_an_outline_that_moved():
    """10 x 10 m moved by 1 m: 2 x 10 m2 not common of 110 together, 18 %."""
    first = assess(make_street([(1, 4), (1, 4)]), knowledge=KNOW)
    second = assess(make_street([(1, 4), (1, 4)], lefts=[0, 61]), knowledge=KNOW)
    ((plot, share),) = compare_assessments(first, second).moved
    assert plot == "p2"
    assert share == pytest.approx(20 / 110)


amounts = st.lists(st.tuples(st.integers(0, 3), st.integers(0, 9)), min_size=3, max_size=3)


@settings(deadline=None, max_examples=40)
@given(amounts, amounts)
def test_back_again_is_the_opposite(one, other):
    there, back = compared(one, other), compared(other, one)
    first, second = there.groups[0], back.groups[0]
    assert first.linked_before == second.linked_after
    assert first.homes_after == second.homes_before
    assert {p.plot: p.homes for p in there.plots if p.homes} == {
        p.plot: {key: pytest.approx(-change) for key, change in p.homes.items()}
        for p in back.plots
        if p.homes
    }
    kinds = {"new": "gone", "gone": "new", "more": "less", "less": "more"}
    assert [(o.plot, o.feature, kinds[o.kind]) for o in there.features] == [
        (o.plot, o.feature, o.kind) for o in back.features
    ]
