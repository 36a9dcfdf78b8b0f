"""Importance worked out part by part is the importance of the whole."""

import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from worlds.networks import build, networks

from patchnet.network import importance_in_parts
from patchnet.network.importance import Losses, importance_parts, patch_importance
from patchnet.network.importance_in_parts import (
    in_reach,
    losses_of_part,
    needed_at,
    needed_of,
    numbered,
)
from patchnet.network.prune import prune_links


def rows_of(graph):
    return np.column_stack([graph.i, graph.j, graph.length_mm]).astype(np.int32)


def needed_rows(rows, own, heaps=1):
    """What a part keeps, told no more than the links among its nodes and their neighbours.

    They come in heaps, of each of which what is superfluous in it goes at once.
    """
    at_own = np.isin(rows[:, :2], own).any(axis=1)
    near = np.union1d(own, rows[at_own, :2])
    told = rows[np.isin(rows[:, :2], near).all(axis=1)]
    if heaps > 1:
        heap = np.random.default_rng(own[0]).integers(0, heaps, len(told))  # each part its own way
        told = np.concatenate([needed_of(told[heap == at]) for at in range(heaps)])
    part = numbered(told, own)
    return needed_at(part, np.isin(part.nodes, own)).rows


def in_parts(graph, first, p_cut, *, compiled=None, heaps=1):
    """The columns of importance, from parts that are runs of patches and begin at `first`."""
    n = len(graph.ids)
    runs = list(itertools.pairwise([*first, n]))
    kept = [needed_rows(rows_of(graph), np.arange(*run), heaps) for run in runs]
    total = Losses(np.zeros(n), np.zeros(n))
    for run in runs:
        sources = np.arange(*run)
        nodes, found = losses_of_part(
            sources[graph.homes[sources] > 0], graph.homes, np.array(first), lambda at: kept[at],
            d50_m=graph.d50_m, p_cut=p_cut, compiled=compiled,
        )  # fmt: skip
        total.lost[nodes] += found.lost
        total.reached[nodes] += found.reached
    return pd.DataFrame(importance_parts(graph.homes, total), index=graph.ids)


@st.composite
def cuts(draw, n):
    """Where parts begin: all in one, or some cuts, as many as a part for each patch."""
    return [0, *sorted(draw(st.sets(st.integers(1, n - 1), max_size=n)))] if n > 1 else [0]


@settings(max_examples=120, deadline=None)
@given(
    graph=networks(), p_cut=st.sampled_from([0.0, 1e-4, 0.3, 0.7]), heaps=st.integers(1, 3),
    data=st.data(),
)  # fmt: skip
def test_parts_add_up_to_the_whole(graph, p_cut, heaps, data):
    """Patches that touch, ties, ways round that are just short enough: whatever the cut."""
    first = data.draw(cuts(len(graph.ids)))
    whole = patch_importance(graph, p_cut=p_cut, compiled=False)
    for compiled in (False, True):
        found = in_parts(graph, first, p_cut, compiled=compiled, heaps=heaps)
        assert list(found) == list(whole)
        np.testing.assert_allclose(found, whole, rtol=1e-11, atol=1e-9)


@settings(max_examples=80, deadline=None)
@given(graph=networks(), data=st.data())
def test_a_part_keeps_the_links_that_the_whole_keeps(graph, data):
    """Two parts judge a link between them alike."""
    first = data.draw(cuts(len(graph.ids)))
    whole = rows_of(graph)[prune_links(graph, witnesses=2)]
    for run in itertools.pairwise([*first, len(graph.ids)]):
        mine = np.isin(whole[:, :2], np.arange(*run)).any(axis=1)
        assert needed_rows(rows_of(graph), np.arange(*run)).tolist() == whole[mine].tolist()


@pytest.mark.parametrize("compiled", [False, True], ids=["plain", "compiled"])
def test_the_halo_has_to_be_as_wide_as_the_longest_route(compiled, monkeypatch):
    """Half go 50 m, and p_cut = 1/16 is L = 200 m. A home each at s and t, none at k and w. From s
    to t it is 95 + 95 m by k, p = 2^(-190/50) = 0.0717936; round by w 195 + 5 m, which just counts.

    PC = 2 (1 + 0.0717936) = 2.1435873; without k 2 (1 + 1/16) = 2.125; connector of k
    100 (2.1435873 - 2.125) / 2.1435873 = 0.86711 %. Whoever looks from s less than 195 m far does
    not see w, so that all that goes from s to t goes with k: 1/16 more,
    100 (0.0185873 + 0.0625) / 2.1435873 = 3.78278 %.
    """
    s, k, t, w = 0, 1, 2, 3
    links = {(s, k): 95_000, (k, t): 95_000, (s, w): 195_000, (t, w): 5_000}
    graph = build([1, 0, 1, 0], links)

    def connector_of_k():
        return in_parts(graph, [0, 1, 2, 3], 1 / 16, compiled=compiled)["connector"].iloc[k]

    right = connector_of_k()
    assert right == pytest.approx(0.86711, abs=1e-5)
    for halo_mm, expected in ((194_999, 3.78278), (195_000, 0.86711)):
        with monkeypatch.context() as patched:
            patched.setattr(importance_in_parts, "cut_length", lambda *_, wide=halo_mm: wide)
            assert connector_of_k() == pytest.approx(expected, abs=1e-5)


def test_no_more_is_read_than_the_reach_leads_to():
    """A row with 30 m between: 100 m lead to the third next, and to no part beyond it."""
    graph = build([1] * 9, {(at, at + 1): 30_000 for at in range(8)})
    asked = []

    def links_at(part):
        asked.append(part)
        return needed_rows(rows_of(graph), np.array([part]))

    nodes, links = in_reach(np.array([4]), 100_000, np.arange(9), links_at)
    assert nodes.tolist() == [1, 2, 3, 4, 5, 6, 7]
    assert links.i.tolist() == [0, 1, 2, 3, 4, 5]
    assert sorted(asked) == [1, 2, 3, 4, 5, 6, 7]
