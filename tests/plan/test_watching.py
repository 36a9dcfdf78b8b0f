"""What to look for in a year of watching first: for what is proposed, and for whom."""

import pytest

from patchnet.knowledge import load_knowledge
from patchnet.pages.terminal.plan_text import plan_text
from patchnet.plan.facts import PlotFacts
from patchnet.plan.watching import watch_list

KNOW = load_knowledge()
ALWAYS = {"sun", "flowers"}


class Thing:
    def __init__(self, feature, groups=()):
        self.candidate = self
        self.feature, self.groups = feature, tuple((key, 1.0) for key in groups)


class Plan:
    def __init__(self, *things, cared_for=()):
        self.facts = PlotFacts(groups=cared_for)
        self.best = None if not things else self
        self.additions = things


def keys(plan):
    return {one.key for one in watch_list(plan, KNOW)}


@pytest.mark.parametrize(
    ("plan", "more"),
    [
        (Plan(), set()),
        (Plan(Thing("pond")), {"rain", "frogs"}),
        (Plan(Thing("bee_hotel", ["mason_bee"])), {"mason_bees"}),
        (Plan(Thing("leaf_pile", ["wren"])), {"leaves", "hedgehogs", "nests"}),
        (Plan(cared_for=("pipistrelle",)), {"bats"}),
    ],
)
def test_what_is_looked_for(plan, more):
    assert keys(plan) == ALWAYS | more


def test_they_come_in_the_order_of_the_year():
    everything = Plan(*(Thing(key) for key, one in KNOW.features.items() if one.addable))
    first = [min(one.months) for one in watch_list(everything, KNOW)]
    assert first == sorted(first)
    # Whatever the table has is told to somebody.
    assert keys(everything) == set(KNOW.watching)


def test_it_is_told_only_on_asking(street_plan):
    assert "YEAR OF WATCHING" not in plan_text(street_plan, KNOW, every=False)
    for every in (False, True):
        text = plan_text(street_plan, KNOW, every=every, watch=True)
        assert "YEAR OF WATCHING" in text
        assert "Mar, Jun, Dec: On a clear day" in text


@pytest.fixture(scope="module")
def street_plan():
    from plan.test_neighbours_answer import GARDEN, HERE, row  # noqa: PLC0415

    from patchnet.plan.plan_plot import Adviser  # noqa: PLC0415

    street = row(GARDEN, GARDEN)
    return Adviser(street).plan(HERE, PlotFacts(small_children=True), month=10)
