"""The plan on one screen: short, and yet with every caution."""

import dataclasses

import pytest

import patchnet
from patchnet.pages.terminal import short_plan as module
from patchnet.pages.terminal.short_plan import short_plan
from patchnet.plan.plan_plot import Adviser
from patchnet.sun.at_plot import plot_sun

SOME = ["bumblebee", "frog", "wren", "pipistrelle"]  # all animals only once: they take long
HANDFUL = ("M15B", "M05B", "P01", "B1", "C1")
_SCREEN = 300  # words, asked for by the people who read it


@pytest.fixture(scope="module")
def plans():
    hood = patchnet.read_demo()
    every = patchnet.assess(hood, straight=True)
    advisers = {True: Adviser(every), False: Adviser(every.of_groups(SOME))}
    found = []
    for plot in HANDFUL:
        adviser = advisers[plot == HANDFUL[0]]
        light = plot_sun(hood, plot, knowledge=adviser.assessment.knowledge).cls
        plan = adviser.plan(plot, month=10, light=light)
        found.append(dataclasses.replace(plan, places=adviser.places(plan)))
    return found


def words(text):
    return " ".join(text.split())


def things(plan):
    return [] if plan.best is None else [one.candidate for one in plan.best.additions]


def cautions(plan, knowledge):
    keys = {key for one in things(plan) for key in one.cautions}
    asked = {ask for one in things(plan) for ask in one.asks}
    return [
        knowledge.cautions[key].brief for key in keys if knowledge.cautions[key].about not in asked
    ]


def test_a_plan_is_told_in_three_hundred_words(plans):
    knowledge = plans[0].assessment.knowledge
    for plan in plans:
        assert len(short_plan(plan, knowledge).split()) <= _SCREEN, plan.plot


def test_what_is_left_out_is_never_a_caution(plans, monkeypatch):
    """Room for ten words: the shortest form, with every thing and every caution once."""
    knowledge = plans[0].assessment.knowledge
    whole = [words(short_plan(plan, knowledge)) for plan in plans]
    monkeypatch.setattr(module, "_WORDS", 10)
    for plan, before in zip(plans, whole, strict=True):
        text = words(short_plan(plan, knowledge))
        assert len(text) <= len(before)
        for one in things(plan):
            assert knowledge.features[one.feature].name.split(" (")[0] in text
        for caution in cautions(plan, knowledge):
            assert text.count(words(caution)) == 1, caution
