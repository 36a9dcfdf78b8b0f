"""Which figures an answer turns on: on paper, where one figure or one answer decides all."""

import math
from dataclasses import replace

import pandas as pd
import pytest
from worlds.paper import figure, make_knowledge, make_street

from patchnet.assess import assess
from patchnet.assess.deciding_figures import LEAST_DRAWS, _families, deciding_figures
from patchnet.core.errors import WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.knowledge.drawn import uncertain_figures
from patchnet.knowledge.families import Family

NAN = math.nan
TABLES = load_knowledge()


def with_ranges(**ranges):
    """The world on paper: food for half a home; ranges of the need's amount and of the hop."""
    know = make_knowledge(amount=8)
    (group,) = know.groups.values()
    (need,) = group.needs
    if "amount" in ranges:
        low, high = ranges["amount"]
        amount = replace(need.amount, key="needs/imp/food/amount", low=low, high=high)
        group = replace(group, needs=(replace(need, amount=amount),))
    if "hop" in ranges:
        low, high = ranges["hop"]
        group = replace(group, hop=replace(group.hop, key="groups/imp/hop", low=low, high=high))
    families = {
        what: Family(what, what, "itself", figure(0, "share")) for what in ("amount", "hop")
    }
    settings = {**know.settings, "worth_first_homes": figure(0.5), "draws": figure(100)}
    return replace(know, groups={"imp": group}, families=families, settings=settings)


def test_one_figure_decides_all():
    """One plot, food 4: half a home at 8 a home, and 4 / amount at any other. No other figure."""
    answer = assess(make_street([(1, 4)]), knowledge=with_ranges(amount=(6, 12)))
    found = deciding_figures(answer, draws=100)
    assert list(found.shares.index) == ["needs/imp/food/amount"]
    assert found.explained == pytest.approx(1.0, abs=0.02)
    assert found.answers["imp"] == 0.0
    (family,) = found.families
    assert family.share == family.shares[0] == found.table()["share"].iloc[0]


def test_a_figure_that_changes_nothing_is_not_named():
    """There is no other plot to go to, however far it goes."""
    answer = assess(make_street([(1, 4)]), knowledge=with_ranges(amount=(6, 12), hop=(30, 90)))
    found = deciding_figures(answer, draws=100)
    assert list(found.shares.index) == ["needs/imp/food/amount"]


def test_all_known_and_no_ranges_leaves_nothing_to_explain():
    found = deciding_figures(assess(make_street([(1, 4)]), knowledge=with_ranges()), draws=50)
    assert found.families == ()
    assert (found.explained, found.answers["imp"]) == (0.0, 0.0)
    assert found.table().empty


def test_answers_alone():
    """Nothing has a range: all that differs is whether the seventh plot has food."""
    rows = [(0, 4), (0, 0), (0, 4), (0, 0), (0, 4), (0, 0), (1, NAN)]
    found = deciding_figures(assess(make_street(rows), knowledge=with_ranges()), draws=50)
    assert found.families == ()
    assert found.answers["imp"] == 1.0


def test_answers_and_a_figure_share_the_doubt():
    """An amount that is nearly sure beside an answer of chance one half: the answer decides.

    log(linked + 1/2) goes from log(1/2) to about log(1): a range of 0.69, variance 0.12. The
    amount moves it by 1 in 100 of that at most.
    """
    rows = [(0, 4), (0, 0), (0, 4), (0, 0), (0, 4), (0, 0), (1, NAN)]
    know = with_ranges(amount=(7.9, 8.1))
    found = deciding_figures(assess(make_street(rows), knowledge=know), draws=100)
    assert found.answers["imp"] > 0.99
    assert found.families == ()


def test_too_few_draws():
    answer = assess(make_street([(1, 4)]), knowledge=with_ranges())
    with pytest.raises(WrongUse, match="--draws 50"):
        deciding_figures(answer, draws=LEAST_DRAWS - 1)


def test_figures_that_are_drawn_together_are_named_together():
    """An animal's hop and d50 are of one family; the least of a stepping stone is its own.

    Shares of two animals 0.3 and 0.1 for the hop: 0.2 on the mean; d50 0.06; stone 0.25.
    """
    figures = uncertain_figures(TABLES, ["moth"])
    table = pd.DataFrame(
        {"moth": [0.3, 0.12, 0.5], "wren": [0.1, 0.0, 0.0]},
        index=["groups/moth/hop", "groups/moth/d50", "groups/moth/step_min"],
    )
    first, second = _families(table, figures)
    assert [one.figure.key for one in first.figures] == ["groups/moth/hop", "groups/moth/d50"]
    assert first.shares == pytest.approx((0.2, 0.06))
    assert first.share == pytest.approx(0.26)
    assert [one.figure.key for one in second.figures] == ["groups/moth/step_min"]


def test_two_processes_find_the_same():
    answer = assess(
        make_street([(1, 4), (1, 0)]), knowledge=with_ranges(amount=(6, 12), hop=(5, 90))
    )
    one, two = (deciding_figures(answer, draws=50, processes=count) for count in (1, 2))
    pd.testing.assert_frame_equal(one.table(), two.table(), check_exact=True)
    assert one.answers.equals(two.answers)
