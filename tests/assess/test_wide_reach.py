"""A town whose far reaches are in bunches has the answers of one with all pairs."""

import sys

import numpy as np
import pandas as pd
import pytest
from worlds.small_city import write_city

from patchnet.assess import assess, what_if_plot, wide_reach
from patchnet.assess.bunches import BunchedReach
from patchnet.assess.plot import plot_answer
from patchnet.assess.tables import break_table, plot_table
from patchnet.assess.what_if import Trials
from patchnet.assess.wide_reach import WideReach
from patchnet.knowledge import load_knowledge
from patchnet.read import read_neighbourhood

ANIMALS = ["mason_bee", "goldfinch", "sparrow", "pipistrelle", "wren", "slow_worm"]
NEAR = 45.0  # the city is some 250 m across; hops and reaches lie on both sides


@pytest.fixture(scope="module")
def hood(tmp_path_factory):
    path = tmp_path_factory.mktemp("town") / "town.gpkg"
    write_city(path)
    return read_neighbourhood(path, knowledge=load_knowledge())


@pytest.fixture
def all_is_wide(monkeypatch):
    monkeypatch.setattr(wide_reach, "_WIDE_FROM", 0)
    monkeypatch.setattr(wide_reach, "NEAR_M", NEAR)
    monkeypatch.setattr(sys.modules["patchnet.assess.assess"], "NEAR_M", NEAR)


def test_the_answers_are_the_same(hood, request):
    plain = assess(hood, groups=ANIMALS, cell_m=2.0)
    request.getfixturevalue("all_is_wide")
    wide = assess(hood, groups=ANIMALS, cell_m=2.0)
    assert isinstance(wide.groups["goldfinch"].reach, WideReach)
    one, other = plot_table(plain), plot_table(wide)
    for name in one.columns.drop("geometry"):
        if pd.api.types.is_numeric_dtype(one[name]):
            np.testing.assert_allclose(other[name], one[name], rtol=1e-9, atol=1e-12, err_msg=name)
        else:
            assert other[name].astype(str).tolist() == one[name].astype(str).tolist(), name
    breaks = break_table(plain).drop(columns="geometry")
    assert len(breaks) > 5
    pd.testing.assert_frame_equal(break_table(wide).drop(columns="geometry"), breaks, rtol=1e-9)
    # Whom a plot shares with is looked up plot by plot, and trials look at the entries.
    assert repr(plot_answer(wide, "P7")) == repr(plot_answer(plain, "P7"))
    for key, answer in plain.groups.items():
        reach = wide.groups[key].reach
        assert (reach.moves.upto(answer.group.hop.value).length_mm.size
                == answer.reach.moves.upto(answer.group.hop.value).length_mm.size)  # fmt: skip
        for need in answer.needs:
            metres = need.need.reach.value
            matrix = answer.reach.within(metres)
            assert (reach.matrix(metres) != matrix).nnz == 0
            assert (reach.straight(metres) != answer.reach.straight(metres)).nnz == 0
            for plot in (0, 20):
                assert reach.row(metres, plot).tolist() == answer.reach.row(metres, plot).tolist()


def test_a_small_street_is_held_pair_by_pair(hood):
    assert not wide_reach.is_wide(hood.plots.geometry.to_numpy(), 1000.0)


def test_a_town_keeps_no_blocks_and_makes_them_again_alike(hood, all_is_wide):
    answer = assess(hood, groups=["goldfinch"], cell_m=2.0).groups["goldfinch"]
    metres = answer.needs[0].need.reach.value
    first = answer.reach.blocks(metres)
    assert answer.reach.blocks(metres) is first
    answer.reach.forget_blocks()
    again = answer.reach.blocks(metres)
    assert again is not first
    np.testing.assert_array_equal(again.tail, first.tail)
    np.testing.assert_array_equal(again.head, first.head)


@pytest.mark.parametrize("compiled", [False, True])
def test_changes_are_judged_alike(hood, request, compiled):
    """On plots that are a stop of some animals and of others not, and become or cease to be one."""
    knowledge = load_knowledge()
    plain = Trials(assess(hood, groups=ANIMALS, cell_m=2.0), compiled=compiled)
    request.getfixturevalue("all_is_wide")
    wide = Trials(assess(hood, groups=ANIMALS, cell_m=2.0), compiled=compiled)
    field = wide.field("pipistrelle")
    assert any(isinstance(one.matrix, BunchedReach) for one in field.near)
    typical = {key: one.typical.value for key, one in knowledge.features.items() if one.addable}
    rng = np.random.default_rng(7)
    turned = set()
    for plot in ("P3", "P7", "P20"):
        at = hood.plots.index.get_loc(plot)
        own = plain.amounts[at]
        changes = [{}] + [
            {str(key): typical[key] for key in rng.choice(list(typical), size, replace=False)}
            for size in (1, 2, 3, 3)
        ]
        keys = list(knowledge.features)
        changes.append({keys[k]: -own[k] for k in np.flatnonzero(own)})
        one, other = plain.at(plot), wide.at(plot)
        np.testing.assert_allclose(
            other.linked_homes(changes), one.linked_homes(changes), rtol=1e-9, atol=1e-12
        )
        np.testing.assert_allclose(
            other.ranked(changes), one.ranked(changes), rtol=1e-9, atol=1e-12
        )
        for change in changes[3:]:
            told, expected = other.outcome(change), one.outcome(change)
            for key in ANIMALS:
                np.testing.assert_allclose(
                    told[key].homes, expected[key].homes, rtol=1e-9, atol=1e-12
                )
                turned |= {key} if told[key].patch[at] != plain.field(key).patch[at] else set()
    assert turned  # some plot became a stop or ceased to be one


def test_a_part_of_the_homes_at_a_time_comes_to_the_same(hood, monkeypatch):
    """Whether all animals' homes are held at once, or one animal's after the other's."""
    trials = Trials(assess(hood, groups=ANIMALS, cell_m=2.0)).at("P7")
    changes = [{}, {"pond": 2.0}, {"hedge_native": 5.0, "dead_wood_pile": 1.0}]
    together = trials.ranked(changes), trials.linked_homes(changes)
    monkeypatch.setattr(what_if_plot, "_HOMES_AT_ONCE", 1)
    for one, other in zip(
        together, (trials.ranked(changes), trials.linked_homes(changes)), strict=True
    ):
        np.testing.assert_array_equal(one, other)
