"""There, not there, not known: kept apart whatever the file says, and how."""

import math

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.knowledge import load_knowledge
from patchnet.read import build_neighbourhood
from patchnet.read.feature_lists import Said, write_list

KNOWLEDGE = load_knowledge()
FEATURES = list(KNOWLEDGE.features)


def one(found, feature, plot="p1"):
    """Return answer, amount, sized, sure."""
    row, column = found.plots.index.get_loc(plot), found.answers.features.index(feature)
    answers = found.answers
    return (
        answers.answer(plot, feature),
        answers.amount[row, column],
        bool(answers.sized[row, column]),
        bool(answers.sure[row, column]),
    )


def test_what_is_not_listed_is_not_known(street, build):
    found = build(street.plots(1, features=["pond 4; no bulbs; tree 2?"]))
    assert one(found, "pond") == ("there", 4, True, True)
    assert one(found, "bulbs")[:2] == ("not there", 0)
    assert one(found, "tree_small") == ("there", 2, True, False)
    assert one(found, "bog")[0] == "not known"
    (fault,) = (fault for fault in found.faults if "not known" in fault.what)
    assert "nothing else" in fault.mend


@pytest.mark.parametrize("seen", ["all", "Everything", "yes", "100 %", "100%", 100, True])
def test_all_seen_makes_the_rest_not_there(street, build, seen):
    found = build(street.plots(1, features=["pond 4; bog unknown"], seen=[seen]))
    assert one(found, "pond")[0] == "there"
    assert one(found, "tree_small")[0] == "not there"
    assert one(found, "bog")[0] == "not known"
    assert not [fault for fault in found.faults if "not known" in fault.what]


@pytest.mark.parametrize("seen", ["part", "none", "", None, "50 %", "0", "who knows"])
def test_less_than_all_leaves_it_not_known(street, build, seen):
    found = build(street.plots(2, features=["pond 4", ""], seen=[seen, "all"]))
    assert one(found, "pond")[0] == "there"
    assert one(found, "tree_small")[0] == "not known"
    odd = [fault for fault in found.faults if "was read as part" in fault.what]
    assert len(odd) == (seen == "who knows")


def test_nothing_else_ends_a_list(street, build):
    found = build(street.plots(3, features=["pond 4; nothing else", "pond 4", "none"]))
    assert one(found, "tree_small")[0] == "not there"
    assert one(found, "tree_small", "p2")[0] == "not known"
    assert one(found, "pond", "p3")[0] == "not there"


def test_a_blank_cell_is_not_known_and_an_unseen_plot_is_never_empty(street, build):
    plots = street.plots(5, pond=["yes", "no", "", None, "?"], tree=[2, 0, np.nan, 1, 3])
    found = build(plots)
    assert found.answers.table()["pond"].isna().tolist() == [False, False, True, True, True]
    assert one(found, "pond", "p2")[:2] == ("not there", 0)
    assert found.answers.table()["tree_small"].fillna(-1).tolist() == [2, 0, -1, 1, 3]
    assert found.answers.table().drop(columns=["pond", "tree_small"]).isna().all(axis=None)


def test_blank_where_all_was_seen(street, build):
    """Ticks for what is there, blanks for the rest, and all in seen: not there."""
    found = build(street.plots(1, pond=[""], bog=["?"], shrub=["x"], seen=["all"]))
    assert one(found, "pond")[0] == "not there"
    assert one(found, "bog")[0] == "not known"
    assert one(found, "shrub")[0] == "there"


def test_nought_and_one(street, build):
    """Only 0 and 1 in a column of areas is no and yes, and is said; trees are counted."""
    found = build(street.plots(3, pond=[1, 0, None], tree=[1, 0, None]))
    assert one(found, "pond") == ("there", 3, False, True)  # typical in the tables: 3 m2
    assert one(found, "pond", "p2")[0] == "not there"
    assert one(found, "pond", "p3")[0] == "not known"
    assert one(found, "tree_small") == ("there", 1, True, True)
    (fault,) = (fault for fault in found.faults if "only 0 and 1" in fault.what)
    assert "pond" in fault.what
    assert "tree" not in fault.what


def test_truth_values(street, build):
    found = build(street.plots(3, pond=[True, False, None]))
    assert [one(found, "pond", f"p{at}")[0] for at in (1, 2, 3)] == [
        "there", "not there", "not known",
    ]  # fmt: skip


def test_the_same_feature_twice_in_a_list_adds_up(street, build):
    """Apple and pear are two fruit trees."""
    found = build(street.plots(1, features=["apple tree 1; pear tree 1; fruit tree"]))
    assert one(found, "fruit_tree") == ("there", 2, True, True)


def test_two_rows_of_a_plot_are_two_visits(street, build):
    """The larger of 3 and 5 m2, and what either saw; a table of one feature a row adds up."""
    visits = pd.DataFrame({"id": ["p1", "p1"], "features": ["pond 3; tree 2", "pond 5; shrub"]})
    found = build(street.plots(1), features=visits)
    assert one(found, "pond")[1] == 5
    assert one(found, "tree_small")[1] == 2
    assert one(found, "shrub")[0] == "there"
    assert any("has a row already" in fault.what for fault in found.faults)
    single = pd.DataFrame(
        {"id": ["p1"] * 3, "feature": ["apple tree", "pear tree", "pond"], "amount": [1, 2, "4?"]}
    )
    found = build(street.plots(1), features=single)
    assert one(found, "fruit_tree")[1] == 3
    assert one(found, "pond") == ("there", 4, True, False)
    assert not any("has a row already" in fault.what for fault in found.faults)


def test_two_sources_describe_the_same_pond(street, build):
    """A list says 4 m2, the map says 2 x 3 m: one pond, of 6 m2."""
    mapped = street.layer([street.square(5, 5, 2, 3)], feature=["pond"])
    found = build(street.plots(1, features=["pond 4?"]), features=mapped)
    assert one(found, "pond") == ("there", pytest.approx(6), True, True)


def test_typical_amount_where_none_is_stated(street, build):
    """The tables: pond 3 m2, shrub 4 m2, sparrow box 2; all fit on 600 m2."""
    found = build(street.plots(1, features=["pond; shrub; sparrow box"]))
    assert one(found, "pond") == ("there", 3, False, True)
    assert one(found, "shrub")[1] == 4
    assert one(found, "nest_box_sparrow")[1] == 2


def test_typical_amount_is_no_more_than_the_plot_holds(street, build):
    """On 2 m2: a lawn of 40 m2 (1 m2 a m2) becomes 2 m2; a pond of 3 m2 (1.2 a m2) 1.67 m2."""
    plots = street.plots(2, features=["lawn", "pond"])
    plots = plots.set_geometry([street.square(0, 0, 2, 1), street.square(20, 0, 2, 1)])
    found = build(plots)
    assert one(found, "lawn_short")[1] == pytest.approx(2)
    assert one(found, "pond", "p2")[1] == pytest.approx(2 / 1.2)


def test_things_without_a_size_share_the_ground_that_is_left(street, build):
    """20 m2, 8 m2 of it paved: 12 m2 for a lawn (40), border (10) and shrub (4), 54 m2 in all.

    Each is 12/54 of its usual size: 8.89, 2.22, and 0.89 m2; but a shrub is of use from 1 m2
    (the tables' smallest), so it keeps that, and a lawn from 5 m2, a border from 1 m2.
    """
    plots = street.plots(1, features=["paving 8; lawn; border; shrub"])
    found = build(plots.set_geometry([street.square(0, 0, 5, 4)]))
    assert one(found, "lawn_short")[1] == pytest.approx(40 * 12 / 54)
    assert one(found, "flower_border")[1] == pytest.approx(10 * 12 / 54)
    assert one(found, "shrub")[1] == pytest.approx(1)
    assert one(found, "paving") == ("there", 8, True, True)


def test_a_planter_is_a_planter(street, build):
    """Its own area, whatever else is known of it; a stated amount counts before that."""
    plots = street.plots(4, features=["", "planter 1", "no planter", "herbs"], kind="planter")
    plots = plots.set_geometry([street.square(20 * at, 0, 2, 1) for at in range(4)])
    found = build(plots)
    assert one(found, "planter") == ("there", 2, True, True)
    assert one(found, "planter", "p2") == ("there", 1, True, True)
    assert one(found, "planter", "p3")[:2] == ("there", 2)
    assert one(found, "herb_bed", "p1")[0] == "not known"
    (fault,) = (fault for fault in found.faults if "the list says there is none" in fault.what)
    assert fault.ident == "p3"


_ANSWER = st.sampled_from(FEATURES).flatmap(
    lambda key: st.one_of(
        st.just(Said(key, "there")),
        st.builds(Said, st.just(key), st.just("there"), st.floats(0.1, 5), st.booleans()),
        st.builds(Said, st.just(key), st.just("not there"), st.none(), st.booleans()),
        st.just(Said(key, "not known")),
    )
)
_LIST = st.lists(_ANSWER, max_size=8, unique_by=lambda said: said.feature)


def _build(lists, complete, order):
    table = {
        "id": [f"p{at}" for at in order],
        "kind": ["garden"] * len(order),
        "features": [write_list(lists[at], complete=complete[at]) for at in order],
    }
    shapes = [shapely.box(450_000 + 40 * at, 210_000, 450_030 + 40 * at, 210_040) for at in order]
    plots = gpd.GeoDataFrame(table, geometry=shapes, crs="EPSG:27700")
    return build_neighbourhood(plots, knowledge=KNOWLEDGE)


@settings(deadline=None, max_examples=40)
@given(st.lists(st.tuples(_LIST, st.booleans()), min_size=1, max_size=5), st.randoms())
def test_answers_are_what_was_said_in_any_order(rows, random):
    lists, complete = [row[0] for row in rows], [row[1] for row in rows]
    order = list(range(len(rows)))
    found = _build(lists, complete, order)
    for at in order:
        said = {one.feature: one for one in lists[at]}
        for key in FEATURES:
            answer = found.answers.answer(f"p{at}", key)
            seen = complete[at] and not KNOWLEDGE.features[key].unseen
            expected = said[key].answer if key in said else "not there" if seen else "not known"
            assert answer == expected
            if key in said and said[key].amount is not None:
                amount, sized, sure = one(found, key, f"p{at}")[1:]
                assert math.isclose(amount, said[key].amount)
                assert sized
                assert sure == said[key].sure
    random.shuffle(order)
    again = _build(lists, complete, order)
    pd.testing.assert_frame_equal(
        again.answers.table().loc[found.plots.index], found.answers.table()
    )
    assert list(again.plots.index) == [f"p{at}" for at in order]
