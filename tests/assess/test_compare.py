"""Two states of the worked row side by side: what changed, and what is only known better."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds.paper import figure, make_knowledge, make_street

from patchnet.assess import assess
from patchnet.assess.compare import compare
from patchnet.assess.over_draws import draws_of
from patchnet.assess.spread import Spread
from patchnet.core.errors import WrongUse
from patchnet.knowledge.families import Family
from patchnet.pages.terminal.compare_text import compare_json

KNOW = make_knowledge()


def compared(before, after, draws=0, **options):
    return compare(
        assess(make_street(before, **options), knowledge=KNOW),
        assess(make_street(after, **options), knowledge=KNOW),
        draws=draws,
    )


def with_hop(knowledge):
    """The world on paper with a hop of 15 to 200 m, and nothing else that is drawn."""
    (group,) = knowledge.groups.values()
    hop = replace(group.hop, key="groups/imp/hop", low=15.0, high=200.0)
    families = {"hop": Family("hop", "mobility", "group", figure(0.6, "share"))}
    return replace(knowledge, groups={"imp": replace(group, hop=hop)}, families=families)


def test_the_same_twice_is_no_change():
    same = [(2, 6), (1, 0), (math.nan, 3)]
    result = compared(same, same)
    assert result.plots == result.features == result.moved == ()
    (change,) = result.groups
    assert change.linked_before == change.linked_after
    assert (change.won, change.rises, change.sure) == (None, None, None)
    assert result.draws == 0


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


def test_what_is_done_at_one_plot_changes_what_is_assumed_of_no_other():
    """Food on p1 makes food likelier on p3, which nobody looked at; not in a comparison.

    p3 lies 1 km off. It has a nest, and food as often as p1, p2 and p4 to p6 have it.
    """
    rows = [(0, 0), (0, 4), (1, math.nan), (0, 0), (0, 2), (0, 0)]
    lefts = [0, 60, 1_000, 2_000, 2_060, 2_120]
    before = assess(make_street(rows, lefts=lefts), knowledge=KNOW)
    rows[0] = (0, 9)
    alone = assess(make_street(rows, lefts=lefts), knowledge=KNOW)
    assert alone.amounts[2, 1] > before.amounts[2, 1]
    result = compare(before, alone)
    assert result.after.prior is before.prior
    assert result.after.amounts[2, 1] == before.amounts[2, 1]
    assert result.plot_table().loc["p3", "imp"] == 0
    assert (
        compare(before, assess(make_street(rows, lefts=lefts), knowledge=KNOW, prior=before.prior))
        .plot_table()
        .equals(result.plot_table())
    )
    drawn = compare(before, alone, draws=30)
    assert drawn.plot_table().loc["p3", "imp"] == 0
    assert {one.plot for one in drawn.plots} <= {"p1", "p2"}


def test_states_of_two_kinds_are_refused():
    answer = assess(make_street([(1, 4), (1, 4)]), knowledge=KNOW)
    published = replace(answer, prior=None)
    with pytest.raises(WrongUse, match="two of a kind"):
        compare(answer, published)
    assert compare(published, published).draws == 0
    with pytest.raises(WrongUse, match="without draws"):
        compare(published, published, draws=5)


def test_all_known_and_no_ranges_leaves_no_doubt():
    """The change of `test_homes_on_paper`, 1 linked home, in every draw and to the last bit."""
    drawn = compared([(1, 0), (0, 0)], [(1, 0), (0, 4)], draws=20)
    (change,) = drawn.groups
    point = compared([(1, 0), (0, 0)], [(1, 0), (0, 4)])
    won = point.groups[0].linked_after
    assert won == pytest.approx(1)
    assert change.won == Spread(won, won, won)
    assert (change.linked_before, change.linked_after) == (0, won)
    assert (change.rises, change.falls, change.sure) == (1, 0, True)
    assert drawn.plot_table().equals(point.plot_table())
    first, second = drawn.plots
    assert first.often == {"imp": 1}
    assert second.often == {}
    few = compared([(1, 0), (0, 0)], [(1, 0), (0, 4)], draws=19).groups[0]
    assert (few.rises, few.sure) == (1, False)
    nothing = compared([(1, 4)], [(1, 4)], draws=20).groups[0]
    assert (nothing.won, nothing.rises, nothing.falls) == (Spread(0, 0, 0), 0, 0)
    assert nothing.sure


def test_one_unknown_answer_is_one_half_of_the_change():
    """p1 gets a nest. Its food is p2's, which three of six plots like it have: 4, or none.

    One home takes 4, so p1 holds 1 home or none: the mean is the share of the draws in which it
    gains. That share is 1/2 (of all eight plots seen four have food) with a standard error of
    1/2 / sqrt(200) = 0.035. The others have no nest, and are out of reach.
    """
    others = [(0, 4), (0, 0), (0, 4), (0, 0), (0, 4), (0, 0), (0, 4)]
    lefts = [0, 60, *(1_000 * at for at in range(1, 8))]
    options = {"lefts": lefts, "kinds": ["yard", *["garden"] * 7, "yard"]}
    before = make_street([(0, 0), (0, math.nan), *others], **options)
    after = make_street([(1, 0), (0, math.nan), *others], **options)
    result = compare(
        assess(before, knowledge=KNOW), assess(after, knowledge=KNOW), draws=200, seed=3
    )
    (change,) = result.groups
    assert change.rises == pytest.approx(0.5, abs=3 * 0.035)
    assert change.falls == 0
    assert change.won == Spread(pytest.approx(change.rises), 0, pytest.approx(1))
    assert not change.sure
    (plot,) = (one for one in result.plots if one.homes)
    assert plot.plot == "p1"
    assert plot.homes["imp"] == pytest.approx(change.rises)
    assert plot.often["imp"] == change.rises


def test_a_hop_exactly_at_its_median_closes_a_break_in_half_of_the_draws():
    """A stone half way between two patches 110 m apart: two gaps of 50 m each, the hop 50 (15-200).

    Where the hop is at least 50 m, half of the draws, the stone links them over 100 m at d50 = 50,
    p = 1/4: linked homes rise from sqrt(2) to sqrt(2.5), and from 110 m on they were linked before
    at p = 2^-2.2, so that the stone, being free to cross, wins a little less. Below 50 m it wins
    nothing: half of the draws.
    """
    know = with_hop(make_knowledge(hop=50, reach=20))
    lefts, before = [0, 60, 120], [(1, 4), (0, 0), (1, 4)]
    states = [
        assess(make_street(rows, lefts=lefts), knowledge=know)
        for rows in (before, [(1, 4), (0, 4), (1, 4)])
    ]
    result = compare(*states, draws=100)
    (change,) = result.groups
    assert change.rises == pytest.approx(0.5, abs=0.15)
    assert change.falls == 0
    assert not change.sure
    assert change.won.low == 0
    assert change.won.high == pytest.approx(math.sqrt(2.5) - math.sqrt(2))
    hops = draws_of(states[0], 100).draws.values[0]
    far = (hops >= 110).mean()
    assert 0 < far < change.rises
    assert change.rises == (hops >= 50).mean()
    wins = math.sqrt(2.5) - math.sqrt(2), math.sqrt(2.5) - math.sqrt(2 + 2 * 2**-2.2)
    mean = wins[0] * (change.rises - far) + wins[1] * far
    assert change.won.mean == pytest.approx(mean)
    (closed,) = change.closed_in
    assert closed == pytest.approx(change.rises - far)


def test_means_add_up():
    rows = [(2, 6), (math.nan, math.nan), (1, math.nan)]
    (change,) = compared(rows, [(2, 9), *rows[1:]], draws=20).groups
    assert change.linked_before + change.won.mean == pytest.approx(change.linked_after, rel=1e-15)
    assert change.homes_after > change.homes_before


def test_the_same_on_one_core_and_on_two():
    rows = [(2, 6), (math.nan, math.nan), (1, math.nan)]
    states = [
        assess(make_street(one), knowledge=KNOW) for one in (rows, [(2, 6), (1, 4), *rows[2:]])
    ]
    one, two = (compare(*states, draws=10, processes=count) for count in (1, 2))
    assert one.groups == two.groups
    assert one.plots == two.plots
    assert compare_json(one) == compare_json(two)


def test_draws_of_a_plot_that_is_new_are_its_own():
    """p3 is there only after; it has what it would have, and changes nothing of the others."""
    rows = [(2, 6), (1, math.nan)]
    result = compared(rows, [*rows, (0, 0)], lefts=None, draws=20)
    assert result.only_after == ("p3",)
    assert result.plots == ()


def test_plots_in_only_one_of_them_and_none_in_common():
    result = compared([(1, 4), (1, 4)], [(1, 4), (1, 4), (0, 3)])
    assert result.only_before == ()
    assert result.only_after == ("p3",)
    other = make_street([(1, 4)])
    other.plots.index = other.plots.index.map({"p1": "x1"})
    with pytest.raises(WrongUse, match="share no plot"):
        compare(assess(make_street([(1, 4)]), knowledge=KNOW), assess(other, knowledge=KNOW))


def test_an_outline_that_moved():
    """10 x 10 m moved by 1 m: 2 x 10 m2 not common of 110 together, 18 %."""
    first = assess(make_street([(1, 4), (1, 4)]), knowledge=KNOW)
    second = assess(make_street([(1, 4), (1, 4)], lefts=[0, 61]), knowledge=KNOW)
    ((plot, share),) = compare(first, second).moved
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
