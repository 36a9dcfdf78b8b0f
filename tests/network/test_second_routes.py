"""Random networks: networkx, removal by hand and identities against what patchnet works out."""

import itertools
import math

import networkx as nx
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from worlds.networks import build, links_in, networks, without_patch

from patchnet.core import compiled as compiling
from patchnet.movement.distance import Pairs, pairs_within
from patchnet.network import importance, routes
from patchnet.network.betweenness import betweenness, weighted_betweenness
from patchnet.network.breaks import component_breaks
from patchnet.network.build import patch_graph
from patchnet.network.importance import link_importance, patch_importance
from patchnet.network.measures import flow, network_measures
from patchnet.network.patch_graph import PatchGraph
from patchnet.network.prune import prune_links

CUT = 1e-4
ROUTES = pytest.mark.parametrize("compiled", [False, True], ids=["plain", "compiled"])
RELATIVE = 1e-11  # sums of some hundred terms, in another order


def by_networkx(graph: PatchGraph, p_cut=CUT):
    """PC numerator by networkx's own all-pairs shortest paths, in millimetres."""
    g = nx.Graph()
    g.add_nodes_from(range(len(graph.ids)))
    g.add_weighted_edges_from((i, j, d) for (i, j), d in links_in(graph).items())
    total = 0.0
    for i, lengths in nx.all_pairs_dijkstra_path_length(g):
        for j, d in lengths.items():
            p = math.exp(-graph.k_per_m * d / 1000)
            total += graph.homes[i] * graph.homes[j] * (p if p >= p_cut else 0)
    return total


def approx(value):
    return pytest.approx(value, rel=RELATIVE, abs=1e-9)


@settings(max_examples=100, deadline=None)
@given(graph=networks())
def test_sums_equal_networkx(graph):
    expected = by_networkx(graph)
    for compiled in (False, True):
        measures = network_measures(graph, p_cut=CUT, compiled=compiled)
        assert measures.pc_numerator == approx(expected)
        reached = flow(graph, p_cut=CUT, compiled=compiled)
        assert float(graph.homes @ reached.to_numpy()) == approx(expected)
        assert reached.index.equals(graph.ids)
        uncut = by_networkx(graph, p_cut=0)
        assert expected <= uncut + 1e-9
        assert uncut <= measures.pc_numerator + measures.cut_bound + 1e-9


@settings(max_examples=60, deadline=None)
@given(graph=networks())
def test_hops_and_components_equal_networkx(graph):
    g = graph.graph
    hops = dict(nx.all_pairs_shortest_path_length(g))
    homes = dict(zip(graph.ids, graph.homes, strict=True))
    iic = sum(homes[a] * homes[b] / (1 + h) for a, row in hops.items() for b, h in row.items())
    harary = sum(1 / h for row in hops.values() for h in row.values() if h) / 2
    sizes = sorted(
        (sum(homes[k] for k in part) for part in nx.connected_components(g)), reverse=True
    )
    for compiled in (False, True):
        measures = network_measures(graph, p_cut=CUT, compiled=compiled)
        assert measures.iic_numerator == approx(iic)
        assert measures.harary == approx(harary)
        assert measures.components == len(sizes)
        assert measures.largest == sizes[0]
        found = [homes_of(graph, measures.component == k) for k in range(len(sizes))]
        assert found == approx(sizes)


def homes_of(graph, chosen):
    return float(graph.homes[chosen.to_numpy()].sum())


@settings(max_examples=60, deadline=None)
@given(graph=networks())
def test_importance_equals_taking_each_patch_out(graph):
    total = by_networkx(graph)
    percent = 100 / total if total else 0
    expected = [
        (total - by_networkx(without_patch(graph, k))) * percent for k in range(len(graph.ids))
    ]
    for compiled in (False, True):
        found = patch_importance(graph, p_cut=CUT, compiled=compiled)
        assert found["loss"].tolist() == approx(expected)
        assert (found["connector"] >= 0).all()
        parts = found["own"] + found["flow"] + found["connector"]
        assert found["loss"].tolist() == approx(parts.tolist())


@settings(max_examples=60, deadline=None)
@given(graph=networks(most=9))
def test_link_importance_equals_cutting_each_link(graph):
    total = by_networkx(graph)
    percent = 100 / total if total else 0
    links = links_in(graph)
    expected = [
        (total - by_networkx(build(graph.homes, {p: d for p, d in links.items() if p != cut})))
        * percent
        for cut in links
    ]
    for compiled in (False, True):
        found = link_importance(graph, p_cut=CUT, compiled=compiled)
        assert found["loss"].tolist() == approx(expected)
        assert len(found) == len(links)


@settings(max_examples=60, deadline=None)
@given(graph=networks())
def test_betweenness_equals_networkx(graph):
    expected = nx.betweenness_centrality(graph.graph, normalized=False)
    found = betweenness(graph, compiled=True)
    assert found.to_dict() == approx(expected)


@settings(max_examples=60, deadline=None)
@given(graph=networks(shortest=1))
def test_weighted_betweenness_equals_all_shortest_paths(graph):
    """networkx lists every shortest path (no links of length 0, which it cannot take)."""
    g = nx.Graph()
    g.add_nodes_from(range(len(graph.ids)))
    g.add_weighted_edges_from((i, j, d) for (i, j), d in links_in(graph).items())
    expected = np.zeros(len(graph.ids))
    for s, t in itertools.permutations(range(len(graph.ids)), 2):
        if graph.homes[s] * graph.homes[t] == 0 or not nx.has_path(g, s, t):
            continue
        paths = list(nx.all_shortest_paths(g, s, t, weight="weight"))
        p = math.exp(-graph.k_per_m * nx.path_weight(g, paths[0], "weight") / 1000)
        if p < CUT:
            continue
        for path in paths:
            expected[path[1:-1]] += graph.homes[s] * graph.homes[t] * p / len(paths)
    for compiled in (False, True):
        found = weighted_betweenness(graph, p_cut=CUT, compiled=compiled)
        assert found.tolist() == approx(expected.tolist())


@settings(max_examples=60, deadline=None)
@given(graph=networks())
def test_weighted_betweenness_of_touching_patches_is_the_same_both_ways(graph):
    plain = weighted_betweenness(graph, p_cut=CUT, compiled=False)
    assert weighted_betweenness(graph, p_cut=CUT, compiled=True).tolist() == approx(plain.tolist())
    connector = patch_importance(graph, p_cut=CUT, compiled=False)["connector"]
    total = network_measures(graph, p_cut=CUT).pc_numerator
    # What cannot go another way is part of the traffic that passes on some best route.
    alone = connector.to_numpy() * total / 100
    assert (alone[plain.to_numpy() == 0] <= 1e-9).all()


@settings(max_examples=80, deadline=None)
@given(graph=networks(), witnesses=st.sampled_from([1, 2]), strict=st.booleans())
def test_pruning(graph, witnesses, strict):
    """Both routes keep the same links, by the definition; and no distance changes."""
    keep = prune_links(graph, witnesses=witnesses, strict=strict, compiled=False)
    same = prune_links(graph, witnesses=witnesses, strict=strict, compiled=True)
    assert keep.tolist() == same.tolist()
    links = links_in(graph)
    for (pair, d), kept in zip(links.items(), keep.tolist(), strict=True):
        i, j = pair
        shown = 0
        for k in set(range(len(graph.ids))) - {i, j}:
            a, b = tuple(sorted((i, k))), tuple(sorted((k, j)))
            if a in links and b in links:
                before = max((links[a], a), (links[b], b)) < (d, pair)
                sum_of_two = links[a] + links[b]
                shown += before and (sum_of_two < d if strict else sum_of_two <= d)
        assert kept == (shown < witnesses)
    left = build(graph.homes, {pair: links[pair] for pair, k in zip(links, keep, strict=True) if k})
    assert by_networkx(left, p_cut=0) == approx(by_networkx(graph, p_cut=0))
    if witnesses == 2 and not strict:
        for k in range(len(graph.ids)):
            gone = by_networkx(without_patch(left, k), p_cut=0)
            assert gone == approx(by_networkx(without_patch(graph, k), p_cut=0))


def test_three_touching_patches_keep_two_links():
    graph = build([1, 1, 1], {(0, 1): 0, (0, 2): 0, (1, 2): 0})
    assert prune_links(graph).tolist() == [True, True, False]
    assert prune_links(graph, witnesses=2).all()
    assert network_measures(graph, p_cut=CUT).eca == pytest.approx(3)


@settings(max_examples=100, deadline=None)
@given(graph=networks(), data=st.data())
def test_identities(graph, data):
    """max a <= sqrt(sum a^2) <= ECA <= sum a; fewer links never give more."""
    homes = graph.homes
    eca = network_measures(graph, p_cut=CUT).eca
    assert homes.max() <= np.sqrt((homes**2).sum()) + 1e-12
    assert np.sqrt((homes**2).sum()) <= eca + 1e-12
    assert eca <= homes.sum() + 1e-12
    links = links_in(graph)
    some = data.draw(st.sets(st.sampled_from(sorted(links)))) if links else set()
    fewer = build(homes, {pair: d for pair, d in links.items() if pair not in some})
    assert network_measures(fewer, p_cut=CUT).eca <= eca + 1e-12


@settings(max_examples=60, deadline=None)
@given(graph=networks(), share=st.floats(0, 1), data=st.data())
def test_splitting_a_patch_changes_nothing(graph, share, data):
    """Cut in two that touch, each with the old one's links: the same linked homes."""
    k = data.draw(st.integers(0, len(graph.ids) - 1))
    n = len(graph.ids)
    homes = [*graph.homes, graph.homes[k] * share]
    homes[k] *= 1 - share
    links = links_in(graph)
    links |= {tuple(sorted((n, sum(p) - k))): d for p, d in list(links.items()) if k in p}
    links = {tuple(sorted(pair)): d for pair, d in links.items()} | {(k, n): 0}
    before = network_measures(graph, p_cut=CUT)
    for compiled in (False, True):
        after = network_measures(build(homes, links), p_cut=CUT, compiled=compiled)
        assert after.eca == approx(before.eca)
        assert after.components == before.components
        assert after.expected_cluster_size == approx(before.expected_cluster_size)


@settings(max_examples=40, deadline=None)
@given(graph=networks(), data=st.data())
def test_order_and_names_of_patches_do_not_matter(graph, data):
    n = len(graph.ids)
    order = data.draw(st.permutations(range(n)))
    at = np.argsort(order)
    links = {tuple(sorted((int(at[i]), int(at[j])))): d for (i, j), d in links_in(graph).items()}
    other = build(graph.homes[list(order)], links, names=[f"q{k}" for k in order])
    for work in (flow, weighted_betweenness):
        a, b = work(graph, p_cut=CUT), work(other, p_cut=CUT)
        assert b.tolist() == approx(a.to_numpy()[list(order)].tolist())
    a, b = patch_importance(graph, p_cut=CUT), patch_importance(other, p_cut=CUT)
    assert b["loss"].tolist() == approx(a["loss"].to_numpy()[list(order)].tolist())


@settings(max_examples=60, deadline=None)
@given(graph=networks(), data=st.data())
def test_closing_a_break_wins_what_was_promised(graph, data):
    n = len(graph.ids)
    links = links_in(graph)
    missing = [pair for pair in itertools.combinations(range(n), 2) if pair not in links]
    wide = {pair: data.draw(st.sampled_from([400_000, 500_000])) for pair in missing}
    pairs = [(*pair, d) for pair, d in sorted((links | wide).items())]
    i, j, d = (np.array(column) for column in zip(*pairs, strict=True)) if pairs else ([], [], [])
    table = Pairs(np.array(i, dtype=np.int32), np.array(j, dtype=np.int32), np.array(d, np.int64))
    before = network_measures(graph, p_cut=0)
    breaks = component_breaks(graph, table, hop_m=300, longest_m=1000, p_cut=0)
    groups = before.components
    assert len(breaks) == groups * (groups - 1) // 2
    won = [gap.homes_won for gap in breaks]
    assert won == sorted(won, reverse=True)
    for gap in breaks:
        closed = build(graph.homes, links | {(gap.i, gap.j): round(gap.width_m * 1000)})
        gain = network_measures(closed, p_cut=0).eca - before.eca
        assert gap.homes_won == pytest.approx(gain, rel=1e-6, abs=1e-9)
        assert gap.stones == 1


def street(seed, count=160, *, touching):
    """Rows of plots along roads, seeded."""
    random = np.random.default_rng(seed)
    gap = (lambda: 0.0) if touching else (lambda: float(random.uniform(0, 0.4)))
    shapes = []
    for k in range(count):
        x = (k % 20) * 6 + (k % 20 // 7) * 9
        y = k // 20 * 20 + k // 40 * 12
        shapes.append(shapely.box(x + gap(), y + gap(), x + 6 - gap(), y + 20 - gap()))
    return np.array(shapes), random.choice([0.0, 1.0, 2.5], count)


@pytest.mark.parametrize("touching", [False, True])
def test_a_street_both_ways(touching):
    shapes, homes = street(3, touching=touching)
    pairs = pairs_within(shapes, 40)
    graph = patch_graph(range(len(shapes)), homes, pairs, hop_m=40, d50_m=15)
    plain = network_measures(graph, p_cut=CUT, compiled=False)
    fast = network_measures(graph, p_cut=CUT, compiled=True)
    assert fast.pc_numerator == pytest.approx(plain.pc_numerator, rel=1e-13)
    assert fast.pc_numerator == pytest.approx(by_networkx(graph), rel=1e-12)
    assert fast.cut_bound == pytest.approx(plain.cut_bound, rel=1e-9)
    for work in (patch_importance, link_importance):
        slow, quick = (work(graph, p_cut=CUT, compiled=c) for c in (False, True))
        columns = ["loss", "own", "flow", "connector"] if work is patch_importance else ["loss"]
        assert np.abs(slow[columns] - quick[columns]).to_numpy().max() < 1e-11
    slow, quick = (weighted_betweenness(graph, p_cut=CUT, compiled=c) for c in (False, True))
    np.testing.assert_allclose(quick, slow, rtol=1e-10, atol=1e-9)


def test_a_street_moved_and_turned_measures_the_same():
    """Turning moves coordinates by rounding, so a length may tip by 1 mm.

    With d50 = 15 m, 1 mm changes p by ln 2 / 15,000 = 4.6e-5 of itself; few lengths tip, and
    as often up as down, so linked homes stay equal to 1e-4.
    """
    shapes, homes = street(5, touching=False)

    def measure(plots):
        pairs = pairs_within(plots, 40)
        graph = patch_graph(range(len(plots)), homes, pairs, hop_m=40, d50_m=15)
        return network_measures(graph, p_cut=CUT)

    moved = np.array(
        [affinity.translate(affinity.rotate(s, 33, origin=(0, 0)), 5e5, 5.7e6) for s in shapes]
    )
    before, after = measure(shapes), measure(moved)
    assert after.eca == pytest.approx(before.eca, rel=1e-4)
    assert after.components == before.components
    assert after.harary == pytest.approx(before.harary, rel=1e-3)


def test_sums_do_not_depend_on_threads(monkeypatch):
    shapes, homes = street(9, touching=False)
    graph = patch_graph(range(len(shapes)), homes, pairs_within(shapes, 40), hop_m=40, d50_m=15)
    results = []
    for cores in (1, 2, 5):
        monkeypatch.setattr(compiling, "cores", lambda cores=cores: cores)
        results.append(
            (
                patch_importance(graph, p_cut=CUT, compiled=True).to_numpy().tobytes(),
                link_importance(graph, p_cut=CUT, compiled=True)["loss"].to_numpy().tobytes(),
                weighted_betweenness(graph, p_cut=CUT, compiled=True).to_numpy().tobytes(),
                network_measures(graph, p_cut=CUT, compiled=True).pc_numerator,
                network_measures(graph, p_cut=CUT, compiled=False).pc_numerator,
            )
        )
    assert results[0] == results[1] == results[2]


@ROUTES
def test_the_size_decides_which_way(monkeypatch, compiled):
    """A street above the limit is compiled, one below is not; asked for, it is as asked."""
    shapes, homes = street(9, touching=True)
    graph = patch_graph(range(len(shapes)), homes, pairs_within(shapes, 20), hop_m=20, d50_m=15)
    used = []
    monkeypatch.setattr(
        routes, "_compiled", lambda *args: used.append(True) or routes._plain(*args)
    )
    monkeypatch.setattr(routes, "_COMPILE_FROM", 0 if compiled else 10**12)
    network_measures(graph, p_cut=CUT)
    assert bool(used) == compiled
    used.clear()
    network_measures(graph, p_cut=CUT, compiled=compiled)
    assert bool(used) == compiled
    assert importance.use_compiled(compiled=compiled, worthwhile=not compiled) == compiled
