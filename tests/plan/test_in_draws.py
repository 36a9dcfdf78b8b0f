"""Choosing over the draws: the mean share of what was possible, worked on paper; and on plots."""

import dataclasses
import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import patchnet
from patchnet.assess.draws import BATCH, RUN
from patchnet.assess.fences import fence_gaps
from patchnet.assess.links_in_draws import gap_over_draws
from patchnet.assess.over_draws import draws_of
from patchnet.pages.kit.doubt_words import times_in_ten
from patchnet.pages.kit.plan_words import gap_often_words
from patchnet.plan.in_draws import (
    ChangesInDraws,
    clear_lead,
    judge_in_draws,
    nothing_to_lose,
    pool_of_sets,
)
from patchnet.plan.plot_plan import Candidate
from patchnet.plan.set_search import judge_sets


def in_draws(after, *, now=1.0, first=0.5, weight=None):
    """Draws by hand: `after` (D, S) of one animal, or (D, S, G)."""
    after = np.asarray(after, dtype=float)
    after = after[:, :, None] if after.ndim == 2 else after
    draws, __, groups = after.shape
    weight = np.full(groups, 1 / groups) if weight is None else np.asarray(weight)
    return ChangesInDraws(np.full((draws, groups), now), after, weight, first)


def test_the_mean_share_on_paper():
    """Worth log((h + 0.5) / 1.5): h = 1 is 0, h = 2.5 log 2, h = 5.5 log 4.

    Draw 1: things win log 4 and log 2, shares 1 and 1/2. Draw 2: nothing and log 2, shares 0
    and 1. Means 1/2 and 3/4: the second is the choice though the first wins more homes.
    """
    judged = in_draws([[5.5, 2.5], [1.0, 2.5]])
    assert judged.share.tolist() == pytest.approx([0.5, 0.75])
    assert judged.best.tolist() == [0, 1]
    assert judged.won(0).mean == pytest.approx((4.5 + 0) / 2)
    assert judged.after_mean[:, 0].tolist() == [3.25, 2.5]
    assert judged.harm(0) == judged.harm(1) == 0


def test_the_cautious_choice_on_paper():
    """Shares 18 times 1 and once 0, against 0.6 and once 1: means 18/19 and 11.8/19.

    The low 2 in 100 lie 0.36 of the way from the worst to the next: 0.36 against 0.6.
    Worth log((h + 0.5) / 1.5): h = 2.5 is log 2, and 0.6 log 2 is h = 1.5 x 2^0.6 - 0.5.
    """
    some = 1.5 * 2**0.6 - 0.5
    rows = [[2.5, some], [2.5, some], [1.0, some]]
    assert in_draws(rows).share.tolist() == pytest.approx([2 / 3, (0.6 + 0.6 + 1) / 3])
    rows = [*rows[:2] * 9, rows[2]]
    mean, low = in_draws(rows), dataclasses.replace(in_draws(rows), cautious=0.02)
    assert int(mean.score.argmax()) == 0
    assert int(low.score.argmax()) == 1
    assert low.share.tolist() == mean.share.tolist()


def test_no_more_draws_where_nothing_is_to_be_lost():
    """Two changes that always win alike: nothing to lose, though none leads. Where each is best in
    half of the draws and nothing in the others, 50 draws leave a standard error of the difference
    of 1 / sqrt(49) = 0.14: much is to be lost. Less than a batch tells nothing."""
    alike = in_draws([[2.5, 2.5]] * 2 * BATCH)
    assert nothing_to_lose(alike, surely=2.0, least=0.02)
    assert not clear_lead(alike, [1], surely=2.0)
    either = in_draws([[2.5, 1.0], [1.0, 2.5]] * BATCH)
    assert not nothing_to_lose(either, surely=2.0, least=0.25)
    assert nothing_to_lose(either, surely=2.0, least=0.3)
    assert not nothing_to_lose(in_draws([[2.5, 2.5]]), surely=2.0, least=0.02)


def test_draws_in_which_nothing_wins_have_no_say():
    judged = in_draws([[5.5, 2.5], [1.0, 0.5]])
    assert judged.share.tolist() == pytest.approx([1.0, 0.5])
    assert judged.harm(1) == 0.5
    nothing = in_draws([[1.0, 0.5]])
    assert nothing.share.tolist() == [0, 0]


def test_great_harm_in_one_draw_counts_as_all_that_could_have_been_won():
    judged = in_draws([[2.5, 0.0], [2.5, 2.5]])
    assert judged.share.tolist() == pytest.approx([1.0, 0.0])  # -1 and 1


@given(
    st.lists(st.lists(st.floats(0, 50), min_size=4, max_size=4), min_size=1, max_size=6),
    st.permutations(range(4)),
)
def test_the_order_of_changes_and_of_draws_does_not_matter(after, order):
    judged = in_draws(after)
    turned = in_draws(np.asarray(after)[::-1][:, list(order)])
    assert turned.share.tolist() == pytest.approx(judged.share[list(order)].tolist())


@given(st.integers(1, 9), st.integers(1, 6), st.integers(0, 4), st.integers(0, 100))
def test_a_pool_holds_every_part_of_its_sets(count, singles, first, seed):
    """All single things, the best sets, all pairs and threes of the best; nothing twice."""
    sets = [members for size in (1, 2, 3) for members in itertools.combinations(range(count), size)]
    gain = np.random.default_rng(seed).random(len(sets))
    pool = pool_of_sets(sets, gain, first=first, singles=singles)
    chosen = {sets[at] for at in pool}
    assert len(chosen) == len(pool)
    assert {(at,) for at in range(count)} <= chosen
    assert {sets[at] for at in np.argsort(-gain)[:first]} <= chosen
    best = sorted(np.argsort(-gain[:count])[:singles].tolist())
    assert set(itertools.combinations(best, 2)) <= chosen
    assert set(itertools.combinations(best, 3)) <= chosen
    for members in chosen:
        for size in range(1, len(members)):
            assert set(itertools.combinations(members, size)) <= chosen


def test_a_lead_is_clear_beyond_chance():
    """A lead that is there every time is clear; one of half the draws by as much is not."""
    always = in_draws([[5.5, 2.5]] * BATCH)
    assert clear_lead(always, [1], surely=2)
    by_turns = in_draws([[5.5, 2.5], [2.5, 5.5]] * BATCH)
    assert not clear_lead(by_turns, [1], surely=2)
    assert not clear_lead(in_draws([[5.5, 2.5]] * (BATCH - 1)), [1], surely=2)
    assert not clear_lead(always, [], surely=2)


GROUPS = ["hedgehog", "wren", "bumblebee", "blackbird"]


@pytest.fixture(scope="module")
def demo():
    return patchnet.assess(patchnet.read_demo(), groups=GROUPS, straight=True)


def test_a_change_in_a_draw_is_what_assessing_it_anew_would_rank(demo):
    """Nothing added is nothing won; what is not there in a draw is not taken away."""
    changes = [{}, {"shrub": 4.0}, {"paving": -1e6}]
    found = judge_in_draws(draws_of(demo, 3), "M15B", changes, weight=np.full(4, 0.25), first=0.5)
    assert found.after.shape == (3, 3, 4)
    assert found.after[:, 0] == pytest.approx(found.now, rel=1e-12)
    assert (found.after[:, 1] > found.now).any()
    assert len({row.tobytes() for row in found.now}) == 3


def test_draws_stop_where_they_are_enough(demo):
    asked = []

    def enough(so_far):
        asked.append(so_far.count)
        return True

    found = judge_in_draws(
        draws_of(demo, 3 * BATCH), "M15B", [{}], weight=np.full(4, 0.25), first=0.5, enough=enough
    )
    assert found.count == BATCH
    assert asked == [BATCH]


def test_two_cores_judge_as_one_does(demo):
    """The same to the last bit, and told how many draws there will be."""
    told = []

    def seen(rows):
        told.append(len(rows))
        return rows

    asked = {"weight": np.full(4, 0.25), "first": 0.5, "progress": seen}
    changes = [{"shrub": 4.0}, {"pond": 3.0}]
    one, two = (
        judge_in_draws(draws_of(demo, 2 * RUN), "M15B", changes, processes=count, **asked)
        for count in (1, 2)
    )
    assert np.array_equal(one.after, two.after)
    assert np.array_equal(one.now, two.now)
    assert told == [2 * RUN, 2 * RUN]


@pytest.fixture(scope="module")
def drawn_plan(demo):
    return patchnet.plan_plot(demo, "M15B", facts={"small_children": "no"}, month=5, draws=RUN)


def test_a_plan_over_draws_says_how_sure_it_is(drawn_plan):
    best = drawn_plan.best
    assert best.doubt.draws == RUN
    assert best.doubt.won.low <= best.linked_homes <= best.doubt.won.high
    assert best.linked_homes == pytest.approx(best.doubt.won.mean)
    assert 0 < best.doubt.share <= 1
    assert all(0 <= one.often <= 1 for one in best.additions)
    assert best.doubt.share >= drawn_plan.runner_up.doubt.share


def test_before_and_change_are_after(drawn_plan):
    """What all animals gain is what the set wins, and no animal's range lies beside its gain."""
    best = drawn_plan.best
    won = [one.linked_after - one.linked_before for one in best.groups]
    assert sum(won) == pytest.approx(best.linked_homes)
    for one, gain in zip(best.groups, won, strict=True):
        assert one.won_low <= one.won_high
        assert one.won_low - 1e-9 <= gain or one.won_high - 1e-9 <= gain


def test_today_is_the_same_for_every_plot(demo, drawn_plan):
    """Common draws: what there is today does not hang on whose plan it is."""
    other = patchnet.plan_plot(demo, "M17B", month=5, draws=RUN)
    now = {one.group: one.linked_before for one in drawn_plan.best.groups}
    for one in other.best.groups:
        if one.group in now:
            assert one.linked_before == now[one.group]


def test_how_often_a_thing_and_a_sort_is_part_of_the_best_on_paper():
    """Three things, sets of one or two. Best sets of four draws: {0, 1}, {0, 1}, {0, 2}, {2}.

    Thing 0 is in 3 of 4, thing 1 in 2, thing 2 in 2. Of sort a (0 and 1) is one in 3 of 4, of b
    (2) in 2 of 4.
    """
    candidates = [
        Candidate(f"t{at}", 1.0, "ground", 0.0, 0.0, 0.0, 0.0, (1,), (), ()) for at in range(3)
    ]
    judged = judge_sets(
        candidates, fit=lambda chosen: (tuple(chosen), {one.feature: 1.0 for one in chosen}),
        ranked_after=lambda changes: np.ones((len(changes), 1)),
        linked_after=lambda changes: np.ones((len(changes), 1)), finalists=(1, 1),
        worth=lambda rows: rows[:, 0] - 1, now=np.ones(1),
            ceiling=lambda: np.ones(1), size=2, most=100, looked_at=5,
    )  # fmt: skip
    best = [(0, 1), (0, 1), (0, 2), (2,)]
    after = np.array([[3.0 if members == one else 2.0 for members in judged.sets] for one in best])
    drawn = dataclasses.replace(
        judged, drawn=in_draws(after), column={at: at for at in range(len(judged.sets))}
    )
    assert [drawn.often(at) for at in range(3)] == [0.75, 0.5, 0.5]
    assert drawn.sorts(lambda one: "b" if one.feature == "t2" else "a") == (("a", 0.75), ("b", 0.5))
    assert drawn.sets[drawn.best()] == (0, 1)
    assert drawn.linked_with(drawn.best())[0] == pytest.approx(2.5)
    assert judged.often(0) is None


def test_a_gap_in_the_plots_fence_is_judged_in_the_draws():
    """By a second route: `find_gaps` at the same plot, in the same draws."""
    answer = patchnet.assess(patchnet.read_demo(), groups=["hedgehog"], cell_m=2)
    draws, plot = 4, "M19F"
    gaps = fence_gaps(answer, "hedgehog", most=4, plot=plot)
    asked = tuple(("hedgehog", gap) for gap in gaps)
    uncertain = draws_of(answer, draws)
    found = judge_in_draws(uncertain, plot, [], weight=np.ones(1), first=0.5, gaps=asked).gaps
    assert found.shape == (draws, len(gaps))
    told = [gap_over_draws(gap, won) for gap, won in zip(gaps, found.T, strict=True)]
    best = max(told, key=lambda gap: gap.homes_won)
    first = patchnet.find_gaps(answer, "hedgehog", most=2, plot=plot, draws=draws).gaps[0]
    assert first.key in [gap.key for gap in told]
    assert best.homes_won == pytest.approx(first.homes_won)
    assert (best.won_low, best.won_high) == pytest.approx((first.won_low, first.won_high))
    assert best.often == first.often
    assert f"{times_in_ten(best.often)}" in gap_often_words(best)
    assert gap_often_words(gaps[0]) == ""
