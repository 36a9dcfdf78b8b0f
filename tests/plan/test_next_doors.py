"""Which door helps one plot's plan."""

from dataclasses import replace

import numpy as np
import pytest

import patchnet
from patchnet.assess.draws import drawn_amounts
from patchnet.assess.next_door import open_answers
from patchnet.core.errors import WrongUse
from patchnet.plan.next_doors import next_doors


@pytest.fixture(scope="module")
def demo():
    return patchnet.assess(patchnet.read_demo(), groups=["wren"], straight=True)


@pytest.fixture(scope="module")
def found(demo):
    return next_doors(demo, plot="M09B", draws=10)


def test_what_was_asked_is_told(demo, found):
    assert (found.plot, found.draws) == ("M09B", 10)
    assert found.unknown == int(open_answers(demo).sum())
    assert found.now_wins > 0
    assert 0 <= found.worth < found.now_wins


def test_the_same_again(demo, found):
    again = next_doors(demo, plot="M09B", draws=10, processes=2)
    assert again.worth == found.worth
    assert again.doors == found.doors


def test_a_plan_takes_draws(demo):
    with pytest.raises(WrongUse, match="takes draws"):
        next_doors(demo, plot="M09B", draws=0)
    assert next_doors(demo, draws=0).doors


def test_no_such_plot(demo):
    with pytest.raises(WrongUse, match="Did you mean"):
        next_doors(demo, plot="M09BB", draws=10)


def test_all_known(demo):
    hood = demo.neighbourhood
    amount = np.nan_to_num(hood.answers.amount)
    known = replace(hood, answers=replace(hood.answers, amount=amount))
    answer = patchnet.assess(known, groups=["wren"], straight=True)
    told = next_doors(answer, plot="M09B", draws=0)
    assert (told.doors, told.unknown) == ((), 0)


def test_spared_plots_are_never_named(demo):
    first = next_doors(demo).doors[0].plot
    assert first not in {door.plot for door in next_doors(demo, spared=[first]).doors}


def test_an_answer_that_decides_is_found(demo, monkeypatch):
    """Two options, of which the one wins if W05B has a hedge and loses if not: that door it is.

    Chance t of the draws: knowing wins t x 1 over doing nothing (if 2 t - 1 < 0), else 1 - t.
    """
    is_open = open_answers(demo)
    at = list(demo.neighbourhood.plots.index).index("W05B")
    feature = list(demo.neighbourhood.answers.features).index("hedge_evergreen")
    assert is_open[at, feature]
    count = 120
    there = np.array([_drawn(demo, draw)[at, feature] > 0 for draw in range(count)])

    class Judged:
        worth = np.where(there, 1.0, -1.0)[:, None]

    monkeypatch.setattr("patchnet.plan.next_doors.judge_in_draws", lambda *_, **__: Judged)
    told = next_doors(demo, plot="M09B", draws=count)
    part = there.mean()
    assert told.worth == pytest.approx(part - max(2 * part - 1, 0))
    assert told.doors[0].plot == "W05B"
    look = told.doors[0].looks[0]
    assert (look.feature, look.where) == ("hedge_evergreen", "fence")
    assert told.doors[0].share > 0.8
    assert told.doors[0].cumulative >= told.doors[0].share


def _drawn(answer, draw):
    hood, know = answer.neighbourhood, answer.knowledge
    return drawn_amounts(hood, know, answer.prior, seed=0, draw=draw)
