"""Neighbours get different plants: by a rule that does not hang on who asks, or when."""

import itertools
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patchnet.knowledge import load_knowledge
from patchnet.plan.facts import PlotFacts
from patchnet.plan.planting import choose_planting
from patchnet.plan.planting_fits import Where
from patchnet.plan.variety import deal, plant_shares

KNOW = load_knowledge()
THREAD = set(KNOW.plant_lists["thread"])


def terrace(houses, width=5.0):
    """Numbers of a terrace, one after the other, and where their gardens lie."""
    ids = [str(number) for number in range(1, houses + 1)]
    return ids, np.array([[width * at, 0.0] for at in range(houses)])


def test_three_in_a_row_have_three_shares():
    ids, middle = terrace(30)
    shares = deal(ids, middle, KNOW)
    for at in range(len(ids) - 1):
        assert shares[at] != shares[at + 1]
    assert Counter(shares) == {0: 10, 1: 10, 2: 10}


@given(
    places=st.lists(
        st.tuples(st.integers(0, 500), st.integers(0, 500)), min_size=1, max_size=60, unique=True
    ),
    seed=st.randoms(use_true_random=False),
)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_no_share_has_more_than_a_third_and_the_order_of_rows_does_not_matter(places, seed):
    ids = [f"P{at}" for at in range(len(places))]
    middle = np.array(places, dtype=float)
    shares = dict(zip(ids, deal(ids, middle, KNOW), strict=True))
    assert max(Counter(shares.values()).values()) <= -(-len(ids) // 3)
    order = list(range(len(ids)))
    seed.shuffle(order)
    again = deal([ids[at] for at in order], middle[order], KNOW)
    assert {ids[at]: share for at, share in zip(order, again, strict=True)} == shares


def test_every_kind_is_of_one_share_but_the_threads():
    shares = plant_shares(KNOW)
    assert set(shares) == set(KNOW.plants)
    assert {key for key, share in shares.items() if share is None} == THREAD
    counts = Counter(share for share in shares.values() if share is not None)
    assert max(counts.values()) - min(counts.values()) <= 0.1 * len(shares)


@pytest.mark.parametrize("light", ["sun", "part", "shade"])
@pytest.mark.parametrize("features", [{"planter": 0.6}, {"flower_border": 3.0}])
def test_no_kind_in_more_than_a_third_of_a_street_but_a_thread(features, light):
    """Thirty plots in a row, all alike: nothing but their place tells them apart."""
    ids, middle = terrace(30)
    shares = deal(ids, middle, KNOW)
    plans = {
        share: choose_planting(
            KNOW, PlotFacts(small_children=True, pets=("dog",)), features=features,
            hungry={2: 1, 3: 1, 10: 0.5, 11: 1}, wants={"nectar-pollen": 1}, light=light,
            where=Where(share=share),
        )
        for share in set(shares)
    }  # fmt: skip
    there = Counter(key for share in shares for key in {line.plant for line in plans[share].lines})
    assert all(len(plan.lines) >= 4 for plan in plans.values())
    for key, plots in there.items():
        assert plots <= 10 or key in THREAD, key
    for one, other in itertools.combinations(plans.values(), 2):
        kinds = [{line.plant for line in plan.lines} for plan in (one, other)]
        assert len(kinds[0] & kinds[1]) <= 0.5 * min(map(len, kinds))
    for plan in plans.values():
        planted = {line.plant for line in plan.lines}
        assert set(plan.thread) == THREAD & planted
        for month, key in plan.shared:
            assert not plan.calendar[month - 1].plants
            assert month in KNOW.plants[key].flower_months


def test_asked_alone_or_again_the_answer_is_the_same():
    def ask():
        return choose_planting(
            KNOW, PlotFacts(), features={"planter": 0.6}, hungry={3: 1}, wants={}, light="sun",
            where=Where(share=1),
        )  # fmt: skip

    assert ask() == ask()
