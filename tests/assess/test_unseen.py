"""What cannot be seen is not known, and drawn in by houses, trees and planting."""

import numpy as np
import pandas as pd
import pytest
from worlds.row_of_gardens import layer, plots_table, square

from patchnet.assess import assess, plot_answer
from patchnet.assess.unknown import draw_in_unknown
from patchnet.assess.unseen import houses_at
from patchnet.knowledge import load_knowledge
from patchnet.pages.terminal.plot_text import plot_text
from patchnet.read import build_neighbourhood

TABLES = load_knowledge()
FEATURES = list(TABLES.features)


def house(left, wide, deep, bottom=30.0):
    return square(left, bottom=bottom, wide=wide, high=deep)


def row(said, *, buildings=(), kinds=None, seen="all"):
    """Gardens of 20 x 30 m side by side; houses stand along their north ends."""
    count = len(said)
    plots = plots_table(count)
    if kinds:
        plots["kind"] = kinds
    features = pd.DataFrame(
        {"id": [f"p{at + 1}" for at in range(count)], "seen": seen, "features": said}
    )
    houses = layer(buildings, name=["" for _ in buildings]) if buildings else None
    return build_neighbourhood(plots, features=features, buildings=houses, knowledge=TABLES)


def drawn(hood, feature):
    amounts = draw_in_unknown(hood, TABLES)
    return [
        getattr(amounts, one)[:, FEATURES.index(feature)] for one in ("low", "expected", "high")
    ]


def test_a_house_is_shared_by_the_plots_round_it():
    """Houses of the tables have 60 m2; a plot in the street takes no part.

    6 x 10 m over p1 and p2, three to each: one house, a half each. 12 x 15 m over p3: three
    houses. A shed of 3 x 5 m over p4: none.
    """
    buildings = [house(17, 6, 10), house(44, 12, 15), house(65, 3, 5), house(85, 6, 10)]
    kinds = ["garden", "garden", "garden", "garden", "verge"]
    hood = row(["lawn_short 9"] * 5, buildings=buildings, kinds=kinds)
    assert houses_at(hood, TABLES) == pytest.approx([0.5, 0.5, 3, 0, 0])


def test_what_nobody_can_see_is_not_known_even_where_all_was_seen():
    """0.3 old roofs a house (0.6 at most); none is the least. A pond that all looked for is absent.

    Who says that there is none, or how many there are, is believed.
    """
    said = ["lawn_short 9", "no old_roof_wall", "old_roof_wall 2"]
    buildings = [house(5, 10, 3), house(25, 10, 3), house(45, 10, 3)]  # each touches one garden
    hood = row(said, buildings=buildings)
    answers = hood.answers
    assert [answers.answer(f"p{n}", "old_roof_wall") for n in (1, 2, 3)] == [
        "not known", "not there", "there",
    ]  # fmt: skip
    assert answers.answer("p1", "pond") == "not there"
    low, expected, high = drawn(hood, "old_roof_wall")
    assert low == pytest.approx([0, 0, 2])
    assert expected == pytest.approx([0.3, 0, 2])
    assert high == pytest.approx([0.6, 0, 2])


def test_holes_and_dead_roots_go_with_trees_and_planting():
    """Two large trees: 0.2 holes and one dead root each. 10 m of hedge: a tenth of a root a m.

    Ten square metres of shrubs: 0.02 a m2. At most: 0.6 holes and 10 roots a tree.
    """
    hood = row(["tree_large 2", "hedge_native 10; shrub 10", "paving 20"])
    low, expected, high = drawn(hood, "tree_hole")
    assert (low == 0).all()
    assert expected == pytest.approx([0.4, 0, 0])
    assert high == pytest.approx([1.2, 0, 0])
    _, expected, high = drawn(hood, "soil_wood")
    assert expected == pytest.approx([2, 10 * 0.1 + 10 * 0.02, 0])
    assert high == pytest.approx([20, 10 * 0.3 + 10 * 0.1, 0])


def test_others_who_have_seen_one_do_not_make_it_likelier_here():
    """It is seldom noticed, so what was noticed is no sign of how common it is."""
    hood = row(["old_roof_wall 4", "lawn_short 9", "lawn_short 9"])
    assert drawn(hood, "old_roof_wall")[1] == pytest.approx([4, 0, 0])


def test_a_hole_that_nobody_saw_is_somewhere_to_live_and_told_as_assumed():
    """Half a house: 0.15 old roofs with one sparrow hole each, so room for 0.15 pairs or less."""
    hood = row(["shrub 20; lawn_short 99"] * 2, buildings=[house(17, 6, 10)])
    answer = assess(hood, knowledge=TABLES, groups=["sparrow"])
    at = FEATURES.index("old_roof_wall")
    assert answer.amounts[:, at] == pytest.approx([0.15, 0.15])
    assert (answer.groups["sparrow"].room > 0).all()
    assert (answer.groups["sparrow"].homes_low == 0).all()
    assert (answer.known_share == 1).all()
    here = plot_answer(answer, "p1")
    assert here.not_known == ()
    assert dict(here.assumed) == pytest.approx({"old_roof_wall": 0.15, "soil_wood": 0.4})
    words = plot_text(here, TABLES)
    assert "NOT SEEN FROM OUTSIDE, ASSUMED" in words
    assert "Old roof or wall with gaps" in words


def test_everything_that_is_assumed_stands_in_a_table_with_its_class():
    for one in TABLES.unseen:
        assert TABLES.features[one.feature].unseen
        assert one.amount.kind == "assumption"
        assert one.amount.low <= one.amount.value <= one.amount.high
    # What a household does not use nobody can see either; nothing is assumed of it.
    assert "no_pesticides" not in {one.feature for one in TABLES.unseen}
    assert {key for key, one in TABLES.features.items() if one.unseen} == {
        "old_roof_wall", "tree_hole", "soil_wood", "no_pesticides",
    }  # fmt: skip


def test_a_row_that_is_drawn_twice_gives_the_same_amounts():
    """What is drawn in depends on nothing but the plots and houses: no order, no chance."""
    hood = row(["tree_large 1", "shrub 5"], buildings=[house(17, 6, 10)])
    first, second = (draw_in_unknown(hood, TABLES).expected for _ in range(2))
    assert np.array_equal(first, second)
