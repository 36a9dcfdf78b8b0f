"""Which door settles most: worked on paper, and who is never asked."""

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from worlds.paper import make_knowledge, make_street

import patchnet
from patchnet.assess import assess
from patchnet.assess.next_door import doors_for_street, spared_plots, where_to_look
from patchnet.assess.over_draws import draws_of, over_draws
from patchnet.core.errors import WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.knowledge.plots import PlotKind

NAN = math.nan
KNOW = make_knowledge()
TABLES = load_knowledge()
HALF = [(0, 4), (0, 0), (0, 4), (0, 0), (0, 4), (0, 0)]
"""Three of six plots have food for one home, none has a nest: chance one half, usual amount 4."""


def linked(extra, answer):
    return answer.groups["imp"].measures.eca


def test_one_unknown_answer_with_chance_one_half():
    """A nest, and food for one home or none, with chance 1/2 each: variance 1/2 x 1/2 x 1^2."""
    answer = assess(make_street([*HALF, (1, NAN)]), knowledge=KNOW)
    found = doors_for_street(answer)
    assert found.worth == pytest.approx(0.25)
    assert found.unknown == 1
    (door,) = found.doors
    assert (door.plot, door.share, door.cumulative) == ("p7", 1.0, 1.0)
    assert [(look.feature, look.share) for look in door.looks] == [("food", 1.0)]


def test_draws_say_the_same():
    """A second route: the variance of 200 draws of that answer, p (1 - p): 0.23 at 0.36."""
    answer = assess(make_street([*HALF, (1, NAN)]), knowledge=KNOW)
    drawn = list(over_draws(linked, None, draws_of(answer, 200, held=True)))
    assert set(np.round(drawn, 9)) == {0.0, 1.0}
    assert np.var(drawn) == pytest.approx(0.25, abs=0.02)


def test_two_doors_alike():
    """A nest each at p7 and p8, far apart and from all food: two doors alike settle a half each."""
    lefts = [60 * at for at in range(6)] + [2_000, 4_000]
    answer = assess(make_street([*HALF, (1, NAN), (1, NAN)], lefts=lefts), knowledge=KNOW)
    found = doors_for_street(answer)
    table = found.table()
    assert set(table.index) == {"p7", "p8"}
    assert table["share"].tolist() == pytest.approx([0.5, 0.5])
    assert table["cumulative"].tolist() == pytest.approx([0.5, 1.0])
    assert table["look_for"].tolist() == ["food", "food"]


def test_an_answer_that_makes_no_difference_is_no_door():
    """Food at p8, far from every nest, feeds nobody."""
    lefts = [60 * at for at in range(6)] + [2_000, 4_000]
    answer = assess(make_street([*HALF, (1, NAN), (0, NAN)], lefts=lefts), knowledge=KNOW)
    found = doors_for_street(answer)
    assert found.unknown == 2
    assert [door.plot for door in found.doors] == ["p7"]


def test_nobody_is_sent_to_who_said_no_or_asked_to_be_forgotten():
    hood = make_street([*HALF, (1, NAN), (1, NAN), (1, NAN)])
    hood.plots["consent"] = ["", "", "", "", "", "", "no", "yes", ""]
    answer = assess(hood, knowledge=KNOW)
    found = doors_for_street(answer, spared=["p9"])
    assert [door.plot for door in found.doors] == ["p8"]
    assert spared_plots(answer, ["p9"]) == {"p7", "p9"}
    # What is open there counts all the same: one door does not settle everything.
    assert 0 < found.doors[0].share < 0.7


def test_all_known():
    found = doors_for_street(assess(make_street([*HALF, (1, 4)]), knowledge=KNOW))
    assert (found.doors, found.unknown, found.worth) == ((), 0, 0.0)
    assert found.table().empty
    assert list(found.looks().columns) == ["plot", "feature", "where", "share"]


def test_no_doors_for_the_public():
    answer = assess(make_street([*HALF, (1, NAN)]), knowledge=KNOW)
    with pytest.raises(WrongUse, match="public"):
        doors_for_street(replace(answer, prior=None))


@pytest.mark.parametrize(
    ("kind", "feature", "where"),
    [
        ("garden_front", "lawn_short", "street"),
        ("garden_back", "lawn_short", "fence"),
        ("garden_front", "pond", "fence"),
        ("garden_front", "compost_heap", "household"),
        ("garden_back", "compost_heap", "household"),
        ("verge", "leaf_pile", "street"),
    ],
)
def test_from_where_it_can_be_told(kind, feature, where):
    """Grass in front from the street, behind at the fence; a heap only by asking; a verge: go."""
    assert isinstance(TABLES.plot_kinds[kind], PlotKind)
    assert where_to_look(TABLES, kind, feature) == where


@pytest.fixture(scope="module")
def demo_wren():
    return patchnet.assess(patchnet.read_demo(), groups=["wren"], straight=True)


def test_what_cannot_be_seen_is_never_to_be_looked_for(demo_wren):
    looks = doors_for_street(demo_wren).looks()
    unseen = {key for key, one in TABLES.features.items() if one.unseen}
    assert len(looks) > 100
    assert not unseen & set(looks["feature"])
    backs = demo_wren.neighbourhood.plots["kind"].loc[looks["plot"]] == "garden_back"
    assert not (backs.to_numpy() & (looks["where"] == "street").to_numpy()).any()


def test_shares_come_to_the_whole(demo_wren):
    found = doors_for_street(demo_wren)
    table, looks = found.table(), found.looks()
    assert table["share"].sum() == pytest.approx(1.0)
    assert table["share"].is_monotonic_decreasing
    by_plot = looks.groupby("plot")["share"].sum()
    assert by_plot.loc[table.index].tolist() == pytest.approx(table["share"].tolist())
    pd.testing.assert_series_equal(table["cumulative"], table["share"].cumsum(), check_names=False)


def test_the_door_that_makes_more_difference_comes_first():
    """Half of the plots have food for two homes. p7 has two nests, p8 one, far apart.

    Expected is food for one home: a home each. p7 with food 2 homes, without none: linked from 1
    to sqrt(4 + 1), by 1.236. p8 with food 1 home, without none: from 1 to sqrt(1 + 1), by 0.414.
    The squares are 1.528 and 0.172: 0.899 and 0.101 of their sum.
    """
    lefts = [60 * at for at in range(6)] + [2_000, 4_000]
    rows = [(0, 8), (0, 0), (0, 8), (0, 0), (0, 8), (0, 0), (2, NAN), (1, NAN)]
    found = doors_for_street(assess(make_street(rows, lefts=lefts), knowledge=KNOW))
    seven, eight = (math.sqrt(5) - 1) ** 2, (math.sqrt(2) - 1) ** 2
    assert [door.plot for door in found.doors] == ["p7", "p8"]
    assert found.worth == pytest.approx((seven + eight) / 4)
    assert found.doors[0].share == pytest.approx(seven / (seven + eight))
