"""Roles in a set and reasons that can be checked, on rows of gardens."""

import dataclasses
from typing import get_args, get_type_hints

import pytest
from plan.test_neighbours_answer import FACTS, GARDEN, HERE, KNOW, row

from patchnet.pages.kit.reason_words import _WORDS as REASON_WORDS
from patchnet.pages.kit.reason_words import reason_words, reasons_words
from patchnet.pages.sheets.card_jobs import _BEST_REASON as BEST_REASON
from patchnet.pages.terminal.plan_text import plan_text
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plan_plot import Adviser
from patchnet.plan.plot_plan import Addition, Candidate, NeedGain, Reason
from patchnet.plan.reasons import reasons_for
from patchnet.plan.roles import has_living, is_living, role

NEWT = KNOW.groups["newt"].needs[0]


@pytest.fixture(scope="module")
def gardens():
    return row(GARDEN, GARDEN)


@pytest.fixture(scope="module")
def plan(gardens):
    return Adviser(gardens).plan(HERE, FACTS, month=10)


def test_the_order_of_roles():
    """Common practice: plants, water and soil, then habits, then boxes, feeding last."""
    order = ["pond", "hedge_native", "leaf_pile", "bare_sunny_soil"]
    assert {role(key, KNOW) for key in order} == {0}
    assert role("no_pesticides", KNOW) < role("bee_hotel", KNOW) < role("bird_feeder", KNOW)
    assert not is_living("bee_hotel", KNOW)


def test_what_lives_comes_first_in_the_list(plan):
    roles = [role(one.candidate.feature, KNOW) for one in plan.best.additions]
    assert roles == sorted(roles)
    assert has_living([one.candidate for one in plan.best.additions], KNOW)


@pytest.mark.parametrize("cared_for", ["tits", "pipistrelle"])
def test_something_living_is_among_the_three_even_where_boxes_win_more(gardens, cared_for):
    plan = Adviser(gardens).plan(HERE, dataclasses.replace(FACTS, groups=(cared_for,)), month=10)
    assert has_living([one.candidate for one in plan.best.additions], KNOW)


def test_where_nothing_living_fits_boxes_are_all_there_is():
    """A paved balcony of pots only, in shade, with no money and no time but for a free box."""
    street = row("paving 190", GARDEN)
    living = {key for key, one in KNOW.features.items() if one.addable and is_living(key, KNOW)}
    features = {
        key: dataclasses.replace(one, addable=False) if key in living else one
        for key, one in KNOW.features.items()
    }
    boxes = dataclasses.replace(KNOW, features=features)
    plan = Adviser(dataclasses.replace(street, knowledge=boxes)).plan(HERE, FACTS, month=10)
    assert plan.best is not None
    assert not has_living([one.candidate for one in plan.best.additions], KNOW)


def test_nobody_has_one_is_true(gardens, plan):
    """By the second route of the answers themselves: no plot in view has it, or those named do."""
    answers, hood = gardens.neighbourhood.answers, gardens.neighbourhood
    here = hood.row_of(HERE)
    away = hood.plots.geometry.distance(hood.plots.geometry.iloc[here]).to_numpy()
    for one in plan.best.additions:
        first = one.reasons[0]
        column = answers.features.index(one.candidate.feature)
        has = (answers.amount[:, column] > 0) & (away <= first.metres)
        has[here] = False
        if first.kind == "nobody":
            assert not has.any()
        else:
            count = len(first.plots) if first.kind == "few" else first.counts[0]
            assert has.sum() == count
            nearest = away[has].min()
            assert first.plots[0][1] == pytest.approx(nearest)


def test_only_flowers_are_said_to_be_short_in_some_months(gardens, plan):
    """A sparrow's water is no flowers: what closes its months is said to give water."""
    sparrow = KNOW.groups["sparrow"]
    water = next(one for one in sparrow.needs if one.resource == "drink")
    bath = Addition(
        Candidate("bird_bath", 1, "standing", 0, 0, 0, 0, (1,), (), ()), 1.0, 1.0, 1.0,
        (("sparrow", 1.0),), (("sparrow", water.key),),
    )  # fmt: skip
    gain = NeedGain("sparrow", water.key, 0.0, 1.0, 0.0, 1.0, (("p1", 1.0),), 2, (1, 2))
    answer = dataclasses.replace(gardens, groups={"sparrow": gardens.groups["sparrow"]})
    row = gardens.amounts[gardens.neighbourhood.row_of(HERE)]
    kinds = [one.kind for one in reasons_for(answer, plan.answer, bath, [gain], row)]
    assert "months" not in kinds
    assert "feeds" in kinds


def test_joining_two_halves_is_said_with_their_sizes():
    """Seven gardens of 10 m; all but the middle one have flowers and long grass. A hoverfly or
    moth whose hop is under 10 m cannot cross the middle one: three plots with three."""
    street = row("paving 190", "flower_border 20; shrub 20; long_grass 40; lawn_flowering 40")
    groups = {
        key: dataclasses.replace(
            one, hop=dataclasses.replace(one.hop, value=5.0),
        )
        for key, one in street.knowledge.groups.items()
        if key in ("moth", "hoverfly")
    }  # fmt: skip
    from patchnet.assess import assess  # noqa: PLC0415

    know = dataclasses.replace(KNOW, groups={**KNOW.groups, **groups})
    hood = street.neighbourhood
    answer = assess(hood, knowledge=know, groups=["moth", "hoverfly"], straight=True)
    assert all(one.measures.components == 2 for one in answer.groups.values())
    plan = Adviser(answer).plan(HERE, PlotFacts(free_m2=60.0), month=10)
    joins = [
        reason for one in plan.best.additions for reason in one.reasons if reason.kind == "joins"
    ]
    assert joins
    assert {reason.counts for reason in joins} == {(3, 3)}
    assert "3 plots with 3" in reason_words(joins[0], know)


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        (Reason("nobody", metres=100.0), "No plot seen within 100 m has one."),
        (
            Reason("few", metres=100.0, plots=(("A1", 10.0), ("A2", 20.0))),
            "Within 100 m only A1 (10 m) and A2 (20 m) have one, and one more still helps.",
        ),
        (
            Reason("some", metres=100.0, counts=(7,), plots=(("A1", 10.0),)),
            "7 plots within 100 m have one, and one more still helps; the nearest is A1, 10 m.",
        ),
        (
            Reason("joins", group="moth", counts=(43, 31, 2)),
            "It joins 3 parts of the neighbourhood for the moth: 43 plots with 31 and 2.",
        ),
        (
            Reason("months", metres=100.0, months=(3, 10)),
            "Within 100 m too few flowers are open in Mar, Oct: this helps.",
        ),
        (
            Reason("shared", group="newt", need=NEWT.key, counts=(45,)),
            f"The whole place is short of {NEWT.name} for the smooth newt: 45 plots share it.",
        ),
    ],
)
def test_reasons_in_words(reason, words):
    assert reason_words(reason, KNOW) == words


def test_every_kind_of_reason_has_its_words_and_its_place_on_the_card():
    kinds = set(get_args(get_type_hints(Reason)["kind"]))
    assert set(REASON_WORDS) == kinds
    assert set(BEST_REASON) == kinds


def test_what_the_whole_place_is_short_of_is_told_where_more_than_half_share_it(plan, gardens):
    """Of each thing told so: recomputed from the set that stopped the plot (`Shortage`)."""
    plots = len(gardens.neighbourhood.plots)
    for one in plan.best.additions:
        told = {reason.group: reason for reason in one.reasons if reason.kind == "shared"}
        for key, _won in one.groups[:3]:
            shortage = gardens.groups[key].shortage.loc[HERE]
            shares = (
                shortage is not None
                and (key, shortage.need) in set(one.needs)
                and len(shortage.sharers) > plots / 2
            )
            if key in told:
                assert shares
                assert told[key].counts == (len(shortage.sharers),)
                assert HERE in shortage.sharers
            if shares:
                assert told
                break


def test_each_thing_has_at_most_three_sentences_of_reasons(plan):
    for one in plan.best.additions:
        words = reasons_words(one, plan.best, KNOW)
        assert 1 <= words.count(". ") + 1 <= 3


def test_the_plan_on_one_screen(plan):
    """Some 300 words; every caution once; the whole of it says more."""
    short, whole = plan_text(plan, KNOW, every=False), plan_text(plan, KNOW)
    assert len(short.split()) <= 330
    assert len(whole.split()) > 2 * len(short.split())
    for one in plan.best.additions:
        assert KNOW.features[one.candidate.feature].name in short
        for key in one.candidate.cautions:
            caution = KNOW.cautions[key]
            flat = " ".join(short.split())
            asked = caution.about in one.candidate.asks
            assert flat.count(caution.brief) == (0 if asked else 1)
    assert "--all" in short


def test_short_cautions_are_short():
    for key, caution in KNOW.cautions.items():
        assert len(caution.brief.split()) <= 16, key
        assert caution.brief.endswith("."), key


def test_the_plan_of_a_plot_with_nothing_to_add(plan):
    nothing = dataclasses.replace(plan, best=None)
    assert "Keep what is there" in plan_text(nothing, KNOW, every=False)


def test_of_a_habit_is_not_said_that_nobody_has_one(plan):
    """What is done or left be is no thing, and is not seen over the fence."""
    first = plan.best.additions[0]
    habit = dataclasses.replace(
        first, candidate=dataclasses.replace(first.candidate, feature="lights_out")
    )
    words = reasons_words(habit, plan.best, KNOW)
    assert words
    assert "has one" not in words
    assert "It is a home" not in words
