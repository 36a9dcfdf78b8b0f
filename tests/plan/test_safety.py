"""Cautions about what is there already; and the best there is for an animal somebody cares for."""

import dataclasses

from plan.test_neighbours_answer import GARDEN, HERE, KNOW, row

from patchnet.assess.assessment import HasFeature
from patchnet.knowledge import load_knowledge
from patchnet.pages.kit.plan_words import there_words
from patchnet.pages.terminal.plan_text import plan_text
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plan_plot import Adviser
from patchnet.plan.safety import cautions_there

TABLES = load_knowledge()
POND = HasFeature("pond", 3.0, sized=True, sure=True)
BATH = HasFeature("bird_bath", 1.0, sized=True, sure=True)


def test_a_pond_that_is_there_asks_about_small_children_unless_none_come():
    """Common practice: open water and children under six are spoken of whatever is added."""
    for said in (None, True):
        assert cautions_there(TABLES, PlotFacts(small_children=said), [POND]) == (
            ("pond", "pond_children"),
        )
    assert cautions_there(TABLES, PlotFacts(small_children=False), [POND]) == ()


def test_a_cat_and_what_draws_birds():
    found = cautions_there(TABLES, PlotFacts(pets=("cat",), small_children=False), [BATH, BATH])
    assert found == (("bird_bath", "cat_and_birds"),)
    assert cautions_there(TABLES, PlotFacts(small_children=False), [BATH]) == ()


def test_it_is_said_first():
    plan = Adviser(row(f"{GARDEN}; pond 4", GARDEN)).plan(
        HERE, PlotFacts(small_children=True), month=10
    )
    (words,) = there_words(plan, KNOW, brief=True)
    assert words.startswith("There already: wildlife pond")
    short = " ".join(plan_text(plan, KNOW, every=False).split())
    assert short.index(words) < short.index("1. ")
    assert KNOW.cautions["pond_children"].words in " ".join(plan_text(plan, KNOW).split())
    assert not any(KNOW.features[one.candidate.feature].open_water for one in plan.best.additions)


def test_what_somebody_cares_for_gets_the_best_there_is_however_little():
    """With a least gain that nothing reaches the best for the wren is named all the same, and
    that it is little is said."""
    street = row(GARDEN, GARDEN)
    facts = PlotFacts(small_children=True, groups=("wren",))
    usual = Adviser(street).plan(HERE, facts, month=10)
    gain = next(one for one in usual.best.groups if one.group == "wren")
    won = gain.linked_after - gain.linked_before
    assert won > 0
    settings = dict(KNOW.settings)
    least = settings["plan_gain_least"]
    settings["plan_gain_least"] = dataclasses.replace(least, value=20 * won)
    strict = dataclasses.replace(street, knowledge=dataclasses.replace(KNOW, settings=settings))
    plan = Adviser(strict).plan(HERE, facts, month=10)
    assert plan.best is not None
    wren = next(one for one in plan.best.groups if one.group == "wren")
    assert wren.linked_after > wren.linked_before
    assert any("only a little: wren" in words for words in plan.warnings)
