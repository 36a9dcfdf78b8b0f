"""Draws of all that is not sure: what is drawn, from where, and that it is the same everywhere."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from worlds.paper import figure, make_knowledge, make_street

import patchnet
from patchnet.assess import assess
from patchnet.assess.doubt import doubt_of, with_doubt
from patchnet.assess.draws import BATCH, RUN, Draws, drawn_amounts
from patchnet.assess.over_draws import answers_in_draws, draws_of
from patchnet.assess.spread import Spread, spread_of
from patchnet.assess.unknown import learn_prior
from patchnet.knowledge import load_knowledge
from patchnet.knowledge.drawn import (
    Uncertain,
    drawn_values,
    uncertain_figures,
    with_values,
)
from patchnet.knowledge.families import Family

TABLES = load_knowledge()
KNOW = make_knowledge()
NAN = math.nan


def uncertain(low, value, high, most=math.inf):
    one = replace(figure(value, key="one"), low=low, high=high)
    return Uncertain(one, "hop", "", 0.0, most)


def with_ranges(knowledge, **families):
    """The world on paper with a hop of 15 to 200 m, and families for what is to be drawn."""
    (group,) = knowledge.groups.values()
    hop = replace(group.hop, key="groups/imp/hop", low=15.0, high=200.0)
    told = {
        what: Family(what, family, shared, figure(together, "share"))
        for what, (family, shared, together) in families.items()
    }
    return replace(knowledge, groups={"imp": replace(group, hop=hop)}, families=told)


def test_the_ends_of_a_range_are_passed_by_one_in_twenty():
    """5, 50 and 95 in 100 of a two-piece log-normal: low, value, high."""
    place = np.array([-1.0, 0.0, 1.0])
    assert drawn_values(uncertain(15, 50, 200), place).tolist() == pytest.approx([15, 50, 200])
    ends = stats.norm.ppf((1 + TABLES.setting("range_share")) / 2)
    assert stats.norm.cdf(place * ends).tolist() == pytest.approx([0.05, 0.5, 0.95])


def test_half_way_up_on_a_log_scale():
    """Half way from 50 to 200 on a log scale is 100; half way down to 12.5 it is 25."""
    half = np.array([-0.5, 0.5])
    assert drawn_values(uncertain(12.5, 50, 200), half).tolist() == pytest.approx([25, 100])


@pytest.mark.parametrize("place", [-9.0, -2.0, 0.0, 2.0, 9.0])
def test_no_draw_is_below_nothing_or_more_than_a_share_can_be(place):
    for one in (uncertain(0, 0.4, 1, most=1), uncertain(0, 0, 0.5, most=1), uncertain(0, 9, 9)):
        value = float(drawn_values(one, np.array([place]))[0])
        assert 0 <= value <= one.most
        assert value > 0 or one.figure.value == 0


def test_figures_that_are_drawn():
    """No vote, no weight, no floor of a need without which there is no home; nothing closed."""
    found = {one.figure.key: one for one in uncertain_figures(TABLES)}
    assert not [key for key in found if key.endswith("/weight")]
    vital = {need.floor.key for one in TABLES.groups.values() for need in one.needs if need.vital}
    assert vital
    assert not vital & set(found)
    assert all(one.figure.low < one.figure.high for one in found.values())
    assert {one.what for one in found.values()} == set(TABLES.families)


def test_only_figures_of_the_animals_asked_for():
    own = [one.figure.key for one in uncertain_figures(TABLES, ["wren"])]
    assert any(key.startswith("groups/wren") for key in own)
    assert not [key for key in own if "/hedgehog/" in key]
    assert set(own) < {one.figure.key for one in uncertain_figures(TABLES)}


def test_every_figure_can_be_given_another_value():
    """Each is found again where it stands, twice as large; all others stay."""
    figures = {one.figure.key: one.figure for one in uncertain_figures(TABLES)}
    assert len(figures) == len(uncertain_figures(TABLES))
    twice = with_values(TABLES, {key: 2 * one.value for key, one in figures.items()})
    again = {one.figure.key: one.figure for one in uncertain_figures(twice)}
    assert {key: one.value for key, one in again.items()} == {
        key: 2 * one.value for key, one in figures.items()
    }
    assert with_values(TABLES, {}).groups["wren"] is TABLES.groups["wren"]


def test_each_batch_goes_once_through_every_slice():
    draws = Draws(TABLES, ["wren"], 2 * BATCH, 3)
    for one, row in zip(draws.figures, draws.normals, strict=True):
        if one.with_others:
            continue
        slices = np.floor(stats.norm.cdf(row) * BATCH).astype(int)
        assert sorted(slices[:BATCH]) == sorted(slices[BATCH:]) == list(range(BATCH))


def test_ground_is_drawn_in_runs():
    draws = Draws(TABLES, ["hedgehog"], BATCH, 3)
    rows = [
        row
        for one, row in zip(draws.figures, draws.normals, strict=True)
        if one.what in ("cost", "crossing")
    ]
    assert rows
    for row in rows:
        runs = row.reshape(-1, RUN)
        assert (runs == runs[:, :1]).all()
        assert len(set(runs[:, 0].tolist())) == BATCH // RUN


def test_draws_do_not_depend_on_how_many_or_for_whom():
    few = Draws(TABLES, ["wren"], 10, 5)
    many = Draws(TABLES, ["wren", "moth"], 60, 5)
    at = {one.figure.key: row for one, row in zip(many.figures, many.normals, strict=True)}
    for one, row in zip(few.figures, few.normals, strict=True):
        assert np.array_equal(row, at[one.figure.key][:10])
    other = Draws(TABLES, ["wren"], 10, 6)
    assert not np.array_equal(few.normals, other.normals)


def test_what_goes_together_does():
    """Correlation of an animal's hop and d50 as the table says (0.6), over 2,000 draws."""
    draws = Draws(TABLES, ["moth"], 2_000, 1)
    at = {one.figure.key: row for one, row in zip(draws.figures, draws.normals, strict=True)}
    hop, far = at["groups/moth/hop"], at["groups/moth/d50"]
    alone = at["groups/moth/step_min"]
    assert np.corrcoef(hop, far)[0, 1] == pytest.approx(0.6, abs=0.06)
    assert np.corrcoef(hop, alone)[0, 1] == pytest.approx(0.0, abs=0.07)
    assert stats.kstest(hop, "norm").pvalue > 0.01


def test_a_share_of_figures_lies_in_its_range():
    """Nine in ten, by construction; tells the draws from ones with other ends."""
    draws = Draws(TABLES, ["moth"], 400, 2)
    for one, row in zip(draws.figures, draws.values, strict=True):
        figure = one.figure
        if 0 < figure.low < figure.value < figure.high and figure.unit != "share":
            inside = ((row >= figure.low) & (row <= figure.high)).mean()
            assert 0.84 < inside < 0.96, figure.key


def test_one_unknown_answer_is_there_as_often_as_was_seen():
    """Three of six plots have food: Beta(3 + 2 x 1/2, 3 + 2 x 1/2), mean one half."""
    hood = make_street([(0, 4), (0, 0), (0, 4), (0, 0), (0, 4), (0, 0), (0, NAN)])
    prior = learn_prior(hood)
    there = [drawn_amounts(hood, KNOW, prior, seed=1, draw=draw)[6, 1] > 0 for draw in range(1_000)]
    assert np.mean(there) == pytest.approx(0.5, abs=3 * math.sqrt(0.25 / 1_000))


def test_as_often_and_as_much_as_expected():
    """The mean of the draws is what is taken for the one answer: share seen x usual amount."""
    hood = make_street([(1, 2), (0, 6), (2, 0), (1, NAN), (NAN, NAN)])
    answer = assess(hood, knowledge=KNOW)
    drawn = [drawn_amounts(hood, KNOW, answer.prior, seed=4, draw=draw) for draw in range(2_000)]
    error = np.std(drawn, axis=0) / math.sqrt(2_000)
    assert (np.abs(np.mean(drawn, axis=0) - answer.amounts) <= 4 * error + 1e-12).all()


def test_unknown_amounts_are_those_that_were_seen():
    hood = make_street([(0, 2), (0, 7), (0, NAN), (0, 0)])
    prior = learn_prior(hood)
    seen = {float(drawn_amounts(hood, KNOW, prior, seed=2, draw=draw)[2, 1]) for draw in range(200)}
    assert seen == {0.0, 2.0, 7.0}


def test_what_is_done_at_one_plot_changes_what_is_assumed_of_no_other():
    """One prior for both states: all other plots are drawn the same, and expected the same."""
    before = make_street([(1, 4), (0, 0), (NAN, NAN), (NAN, 2), (0, NAN)])
    after = make_street([(1, 4), (5, 9), (NAN, NAN), (NAN, 2), (0, NAN)])
    first = assess(before, knowledge=KNOW)
    second = assess(after, knowledge=KNOW, prior=first.prior)
    others = [0, 2, 3, 4]
    assert np.array_equal(first.amounts[others], second.amounts[others])
    for draw in range(20):
        one, other = (
            drawn_amounts(hood, KNOW, first.prior, seed=0, draw=draw) for hood in (before, after)
        )
        assert np.array_equal(one[others], other[others])
    free = assess(after, knowledge=KNOW)
    assert not np.array_equal(free.amounts[others], first.amounts[others])


def test_plots_are_drawn_by_their_names_not_their_places():
    rows = [(1, 4), (0, NAN), (NAN, NAN), (2, NAN)]
    hood = make_street(rows)
    turned = make_street(rows[::-1])
    turned.plots.index = hood.plots.index[::-1]
    prior = learn_prior(hood)
    for draw in range(10):
        one = drawn_amounts(hood, KNOW, prior, seed=0, draw=draw)
        other = drawn_amounts(turned, KNOW, prior, seed=0, draw=draw)
        assert np.array_equal(one, other[::-1])


def test_all_known_and_no_ranges_leaves_no_doubt():
    answer = assess(make_street([(2, 6), (1, 0), (0, 3)]), knowledge=KNOW)
    linked = answer.groups["imp"].measures.eca
    assert linked > 0
    spread = doubt_of(answer, draws=BATCH).groups["imp"]
    assert set(spread.linked.tolist()) == {linked}
    assert spread.linked_homes == Spread(linked, linked, linked)
    assert (spread.homes == answer.groups["imp"].homes.to_numpy()).all()
    assert (spread.room == answer.groups["imp"].room.to_numpy()).all()


def test_no_more_homes_are_told_than_there_is_room_for():
    answer = assess(patchnet.read_demo(), groups=["wren", "mason_bee"], straight=True)
    told = with_doubt(answer, doubt_of(answer, draws=3))
    for one in told.groups.values():
        assert (one.drawn.homes <= one.drawn.room * (1 + 1e-9)).all()
        assert (one.homes_told[0] <= one.room_told * (1 + 1e-9)).all()
        assert (one.room_told != one.room).any()


def test_the_demo_at_its_medians_is_the_answer_itself(demo_all_known):
    """Everything known, every range closed: each draw is the answer to the last bit."""
    hood, closed = demo_all_known
    for straight in (True, False):
        answer = assess(
            hood, knowledge=closed, groups=["wren", "hedgehog", "bumblebee"], straight=straight
        )
        found = doubt_of(answer, draws=2)
        for key, one in answer.groups.items():
            assert one.measures.eca > 0
            assert set(found.groups[key].linked.tolist()) == {one.measures.eca}


@pytest.fixture
def demo_all_known():
    hood = patchnet.read_demo()
    answers = hood.answers
    amount = np.nan_to_num(answers.amount)
    known = replace(answers, amount=amount, sized=amount > 0)
    closed = replace(TABLES, families={})
    return replace(hood, answers=known), closed


def test_a_break_at_the_edge_of_a_hop_is_half_closed():
    """Two plots 50 m apart, a hop of 50 m that may be 15 to 200: linked in half of the draws.

    One home on each. Not linked: sqrt(2) homes linked. Linked over 50 m at d50 = 50:
    sqrt(1 + 1 + 2 x 1/2) = sqrt(3). Half of the draws each (the hop's median is the gap).
    """
    know = with_ranges(make_knowledge(hop=50, reach=20), hop=("mobility", "group", 0.6))
    answer = assess(make_street([(1, 4), (1, 4)]), knowledge=know)
    linked = doubt_of(answer, draws=100).groups["imp"].linked
    apart, joined = math.sqrt(2), math.sqrt(3)
    assert {round(one, 9) for one in linked.tolist()} == {round(apart, 9), round(joined, 9)}
    assert (linked > 1.6).mean() == pytest.approx(0.5, abs=0.15)


def test_the_middle_ninety_of_a_hundred():
    spread = spread_of(np.arange(101.0))
    assert (spread.mean, spread.low, spread.high) == (50, 5, 95)


def test_the_same_on_one_core_and_on_two():
    answer = assess(make_street([(2, 6), (NAN, NAN), (1, NAN)]), knowledge=KNOW)
    one, two = (doubt_of(answer, draws=2 * RUN, processes=count) for count in (1, 2))
    assert np.array_equal(one.groups["imp"].linked, two.groups["imp"].linked)
    assert np.array_equal(one.groups["imp"].homes, two.groups["imp"].homes)
    assert len(set(one.groups["imp"].linked.tolist())) > 1


def test_some_draws_are_those_of_all():
    answer = assess(make_street([(2, 6), (NAN, NAN), (1, NAN)]), knowledge=KNOW)
    all_of_them = doubt_of(answer, draws=8).groups["imp"].linked
    (seventh,) = answers_in_draws(draws_of(answer, 8), [6])
    assert seventh.groups["imp"].measures.eca == all_of_them[6]
