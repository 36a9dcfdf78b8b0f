"""Rows worked on paper, and the examples in the docstrings.

The row of three used throughout: patches of 2, 1 and 3 homes, gaps 1-2 and 2-3 of 50 m, 1-3 of
110 m (the middle patch is 10 m wide), half arrive after 50 m. So p12 = p23 = 1/2; straight
from 1 to 3 p = 2^(-110/50) = 0.2176376, by 2 it is 1/2 x 1/2 = 0.25, which is more.

Formulas: Saura and Pascual-Hortal 2007, Landscape and Urban Planning 83:91-103 (PC); Saura et
al. 2011, Ecological Indicators 11:407-416 (ECA); Saura and Rubio 2010, Ecography 33:523-537
(importance and its parts); Pascual-Hortal and Saura 2006, Landscape Ecology 21:959-967 (IIC);
Bodin and Saura 2010, Ecological Modelling 221:2393-2405 (weighted betweenness).
"""

import doctest
import importlib
import math

import networkx as nx
import numpy as np
import pandas as pd
import pytest

from patchnet.core.errors import WrongUse
from patchnet.movement.distance import Pairs
from patchnet.network.betweenness import betweenness, weighted_betweenness
from patchnet.network.breaks import component_breaks
from patchnet.network.build import from_networkx, patch_graph
from patchnet.network.importance import link_importance, patch_importance
from patchnet.network.measures import flow, network_measures, probability_of_connectivity

ROUTES = pytest.mark.parametrize("compiled", [False, True], ids=["plain", "compiled"])
CUT = 1e-4
DIRECT = 2 ** (-110 / 50)


def pairs_of(*links):
    """Pairs from (i, j, metres)."""
    i, j, metres = zip(*sorted(links), strict=True) if links else ((), (), ())
    return Pairs(
        np.array(i, dtype=np.int32),
        np.array(j, dtype=np.int32),
        np.array([round(m * 1000) for m in metres], dtype=np.int64),
    )


def network(homes, *links, hop_m=1000, d50_m=50):
    names = [f"p{k + 1}" for k in range(len(homes))]
    return patch_graph(names, homes, pairs_of(*links), hop_m=hop_m, d50_m=d50_m)


def row_of_three(*, direct=True):
    links = [(0, 1, 50), (1, 2, 50)] + ([(0, 2, 110)] if direct else [])
    return network([2, 1, 3], *links)


@pytest.mark.parametrize(
    "module", ["build", "measures", "routes", "prune", "breaks", "importance", "betweenness"]
)
def test_examples_in_the_docstrings(module):
    result = doctest.testmod(importlib.import_module(f"patchnet.network.{module}"))
    assert result.attempted > 0
    assert result.failed == 0


@ROUTES
def test_pc_and_linked_homes(compiled):
    """PCnum = 4 + 1 + 9 + 2 (2x1/2 + 1x3/2 + 2x3/4) = 14 + 2 (1 + 1.5 + 1.5) = 22.

    ECA = sqrt 22 = 4.6904158; with a study area of 20, PC = 22 / 400 = 0.055.
    """
    measures = network_measures(row_of_three(), p_cut=CUT, compiled=compiled)
    assert measures.pc_numerator == pytest.approx(22, rel=1e-14)
    assert measures.eca == pytest.approx(4.69041575982343, rel=1e-14)
    assert probability_of_connectivity(measures, 20) == pytest.approx(0.055, rel=1e-14)
    assert measures.cut_bound == 0


@ROUTES
def test_flow(compiled):
    """f1 = 2 + 1/2 + 3/4 = 3.25; f2 = 1 + 2/2 + 3/2 = 3.5; f3 = 3 + 1/2 + 2/4 = 4.

    2 x 3.25 + 1 x 3.5 + 3 x 4 = 22.
    """
    found = flow(row_of_three(), p_cut=CUT, compiled=compiled)
    assert found.to_dict() == pytest.approx({"p1": 3.25, "p2": 3.5, "p3": 4.0}, rel=1e-14)


@ROUTES
def test_importance_of_patches(compiled):
    """Without 1: 1 + 9 + 2x1.5 = 13; without 2: 13 + 12 x 0.2176376 = 15.611652; without 3: 7.

    Losses 100 (22 - x) / 22. Connector of 2: 12 (0.25 - 0.2176376) / 22 = 1.76522 %.
    """
    found = patch_importance(row_of_three(), p_cut=CUT, compiled=compiled)
    percent = 100 / 22
    expected = pd.DataFrame(
        {
            "loss": [9 * percent, (9 - 12 * DIRECT) * percent, 15 * percent],
            "own": [4 * percent, 1 * percent, 9 * percent],
            "flow": [5 * percent, 5 * percent, 6 * percent],
            "connector": [0, 12 * (0.25 - DIRECT) * percent, 0],
        },
        index=["p1", "p2", "p3"],
    )
    pd.testing.assert_frame_equal(found, expected, rtol=1e-12, atol=1e-12)
    assert found.loc["p2", "connector"] == pytest.approx(1.7652195914164892, rel=1e-12)


@ROUTES
def test_importance_where_there_is_no_way_round(compiled):
    """Without the direct link all of 2 x 2 x 3 / 4 = 3 of 22 hangs on patch 2: 13.63636 %."""
    found = patch_importance(row_of_three(direct=False), p_cut=CUT, compiled=compiled)
    assert found["connector"].tolist() == pytest.approx([0, 100 * 3 / 22, 0], rel=1e-12)
    assert found["loss"].tolist() == pytest.approx([900 / 22, 900 / 22, 1500 / 22], rel=1e-12)


@ROUTES
def test_importance_of_links(compiled):
    """Without 1-2: p*13 = 0.2176376, p*12 = that / 2; PCnum = 14 + 2 (0.2176376 + 1.5 +
    6 x 0.2176376) = 20.046927, a loss of 8.877605 %. Without 2-3 the way to 3 leads by 1:
    p*23 = 0.1088188; PCnum = 14 + 2 (1 + 3 x 0.1088188 + 6 x 0.2176376). The direct link is on
    no best route: 0.
    """
    found = link_importance(row_of_three(), p_cut=CUT, compiled=compiled)
    assert found["from"].tolist() == ["p1", "p1", "p2"]
    assert found["to"].tolist() == ["p2", "p3", "p3"]
    assert found["length_m"].tolist() == [50, 110, 50]
    without_23 = 14 + 2 * (1 + 3 * DIRECT / 2 + 6 * DIRECT)
    expected = [8.87760467483438, 0, 100 * (22 - without_23) / 22]
    assert found["loss"].tolist() == pytest.approx(expected, rel=1e-12)


@ROUTES
def test_integral_index(compiled):
    """Links 1-2 and 2-3 (hop 60 m): 14 + 2 (2/2 + 3/2 + 6/3) = 23; root 4.7958315."""
    measures = network_measures(row_of_three(direct=False), p_cut=CUT, compiled=compiled)
    assert measures.iic_numerator == pytest.approx(23, rel=1e-14)
    assert measures.ec_iic == pytest.approx(4.795831523312719, rel=1e-14)
    asked_not = network_measures(row_of_three(), p_cut=CUT, hops=False, compiled=compiled)
    assert math.isnan(asked_not.iic_numerator)
    assert math.isnan(asked_not.ec_iic)
    assert math.isnan(asked_not.harary)


@ROUTES
@pytest.mark.parametrize(
    ("links", "expected"),
    [
        ([(0, 1), (1, 2)], 2.5),
        ([(0, 1), (1, 2), (0, 2)], 3.0),
        ([(0, 1), (1, 2), (2, 3)], 13 / 3),
        ([(0, 1), (1, 2), (2, 3), (0, 3)], 5.0),
        ([], 0.0),
    ],
    ids=["path of 3", "triangle", "path of 4", "ring of 4", "isolated"],
)
def test_harary(links, expected, compiled):
    """Path of 3: 1 + 1 + 1/2; triangle: 3; path of 4: 3 + 2/2 + 1/3; ring of 4: 4 + 2/2.

    Plavsic et al. 1993, Journal of Mathematical Chemistry 12:235-250.
    """
    size = 1 + max((j for _, j in links), default=2)
    graph = network([1] * size, *((i, j, 10) for i, j in links))
    measures = network_measures(graph, p_cut=CUT, compiled=compiled)
    assert measures.harary == pytest.approx(expected, rel=1e-14)


@ROUTES
def test_betweenness_of_a_path_of_five(compiled):
    """The middle of five lies between 2 x 2 pairs, its neighbours between 1 x 3: (0 3 4 3 0).

    Freeman 1977, Sociometry 40:35-41.
    """
    graph = network([1] * 5, *((k, k + 1, 10) for k in range(4)))
    assert betweenness(graph, compiled=compiled).tolist() == pytest.approx([0, 3, 4, 3, 0])


@ROUTES
def test_betweenness_weighted(compiled):
    """2 x (2 x 3 x 0.25) = 3 pass through patch 2, 13.63636 % of 22: traffic, while only
    1.76522 % cannot go another way.
    """
    found = weighted_betweenness(row_of_three(), p_cut=CUT, compiled=compiled)
    assert found.tolist() == pytest.approx([0, 3, 0], rel=1e-14)


@ROUTES
def test_equal_routes_share_the_traffic(compiled):
    """A square of 50 m sides: between opposite corners half goes either way.

    Homes 1 2 3 4 round the square. 1-3: p* = 1/4, 2 x 1 x 3 / 4 = 1.5, so 0.75 by 2 and by 4;
    2-4: 2 x 2 x 4 / 4 = 4, so 2 by 1 and by 3. Unweighted: half a pair each.
    """
    square = network([1, 2, 3, 4], (0, 1, 50), (1, 2, 50), (2, 3, 50), (0, 3, 50))
    found = weighted_betweenness(square, p_cut=CUT, compiled=compiled)
    assert found.tolist() == pytest.approx([2, 0.75, 2, 0.75], rel=1e-14)
    assert betweenness(square, compiled=compiled).tolist() == pytest.approx([0.5] * 4)


@ROUTES
def test_touching_patches_on_the_way(compiled):
    """1 and 2 touch, 2 and 3 touch, 3-4 is 50 m: from 1 to 4 by 2 and 3, p = 1/2.

    Of 1 home each, between others: 1-3 by 2 (2), 1-4 by 2 and 3 (2 x 1/2), 2-4 by 3 (2 x 1/2).
    """
    row = network([1] * 4, (0, 1, 0), (1, 2, 0), (2, 3, 50))
    found = weighted_betweenness(row, p_cut=CUT, compiled=compiled)
    assert found.tolist() == pytest.approx([0, 3, 2, 0], rel=1e-14)


@ROUTES
def test_components(compiled):
    """The row (2, 1, 3) and a fourth patch of 4 on its own: c = 6 and 4.

    Expected cluster size (36 + 16) / 10 = 5.2; coincidence 0.36 + 0.16 = 0.52; mean 5.
    """
    graph = network([2, 1, 3, 4], (0, 1, 50), (1, 2, 50))
    measures = network_measures(graph, p_cut=CUT, compiled=compiled)
    assert (measures.components, measures.largest, measures.mean_size) == (2, 6, 5)
    assert measures.expected_cluster_size == pytest.approx(5.2)
    assert measures.coincidence == pytest.approx(0.52)
    assert measures.component.to_dict() == {"p1": 0, "p2": 0, "p3": 0, "p4": 1}


@ROUTES
def test_no_patches_and_no_homes(compiled):
    nothing = network_measures(network([]), p_cut=CUT, compiled=compiled)
    assert (nothing.pc_numerator, nothing.components, nothing.mean_size) == (0, 0, 0)
    empty = network([0, 0], (0, 1, 5))
    measures = network_measures(empty, p_cut=CUT, compiled=compiled)
    assert (measures.pc_numerator, measures.expected_cluster_size, measures.coincidence) == (0,) * 3
    assert measures.components == 1
    assert (patch_importance(empty, p_cut=CUT, compiled=compiled) == 0).all(axis=None)
    assert link_importance(empty, p_cut=CUT, compiled=compiled)["loss"].tolist() == [0]
    assert weighted_betweenness(empty, p_cut=CUT, compiled=compiled).tolist() == [0, 0]
    assert link_importance(network([1]), p_cut=CUT, compiled=compiled).empty


@ROUTES
@pytest.mark.parametrize(("p_cut", "counts"), [(0.25, True), (0.2501, False)])
def test_a_route_just_as_likely_as_the_cut_counts(p_cut, counts, compiled):
    """2 and 3 homes 100 m apart, p = 1/4: PCnum = 4 + 9, and 2 x 6 / 4 = 3 where the route counts.

    Patch 1 takes its own 4 with it and, where it counts, the 3; the link takes the 3.
    """
    pair = network([2, 3], (0, 1, 100))
    whole = 16 if counts else 13
    assert network_measures(pair, p_cut=p_cut, compiled=compiled).pc_numerator == pytest.approx(
        whole
    )
    patches = patch_importance(pair, p_cut=p_cut, compiled=compiled)
    assert patches["loss"].iloc[0] == pytest.approx(100 * (7 if counts else 4) / whole)
    links = link_importance(pair, p_cut=p_cut, compiled=compiled)
    assert links["loss"].tolist() == pytest.approx([100 * 3 / 16 if counts else 0])


@ROUTES
@pytest.mark.parametrize("width", [0, 0.5, 2, 10])
def test_the_kernel_has_no_memory(width, compiled):
    """A stone on the straight line adds only its own width, nothing if it has none.

    100 m apart: straight 1/4; by a stone of width w the gaps add up to 100 - w, so
    p = 2^(-(100 - w) / 50): gain 0, 0.70, 2.81, 14.87 %.
    """
    half = (100 - width) / 2
    with_stone = network([2, 3, 0], (0, 1, 100), (0, 2, half), (1, 2, half))
    measures = network_measures(with_stone, p_cut=CUT, compiled=compiled)
    assert measures.pc_numerator == pytest.approx(13 + 12 * 2 ** (-(100 - width) / 50), rel=1e-14)
    if width == 0:
        assert measures.pc_numerator == pytest.approx(16, rel=1e-14)


@ROUTES
def test_the_hop_limit_gives_the_stone_its_value(compiled):
    """Hop 60 m, patches of 2 and 3 homes 100 m apart, a planter of 0.003, 0.5 m wide, midway.

    Without it no link: ECA = sqrt 13 = 3.6055513. With it two gaps of 49.75 m, each with
    p = 2^(-0.995) = 0.5017363: 13 + 0.003^2 + 2 (6 p^2 + 0.006 p + 0.009 p) = 16.0359276, root
    4.0044884, 11 % more.
    """
    without = network([2, 3], (0, 1, 100), hop_m=60)
    found = network_measures(without, p_cut=CUT, compiled=compiled).eca
    assert found == pytest.approx(3.605551275463989, rel=1e-14)
    stone = network([2, 3, 0.003], (0, 1, 100), (0, 2, 49.75), (1, 2, 49.75), hop_m=60)
    found = network_measures(stone, p_cut=CUT, compiled=compiled).eca
    assert found == pytest.approx(4.004488447529572, rel=1e-14)


@ROUTES
def test_new_patch_or_bigger_patch(compiled):
    """A fourth patch of 1 home, 30 m from 1 and 2, 90 m from 3.

    p14 = p24 = 2^(-0.6) = 0.659754; to 3 by 2: 0.329877 beats 2^(-1.8) = 0.287175.
    PCnum = 14 + 1 + 2 (1 + 1.5 + 1.5 + 2 x 0.659754 + 0.659754 + 3 x 0.329877) = 28.937786,
    ECA 5.3793852, 0.6889695 more. One home more on patch 1 instead: 9 + 1 + 9 + 2 (1.5 + 1.5 +
    9/4) = 29.5, ECA 5.4313902, 0.7409745 more: the new patch is not always the better one.
    """
    p = 2**-0.6
    four = network(
        [2, 1, 3, 1], (0, 1, 50), (1, 2, 50), (0, 2, 110), (0, 3, 30), (1, 3, 30), (2, 3, 90)
    )
    measures = network_measures(four, p_cut=CUT, compiled=compiled)
    assert measures.pc_numerator == pytest.approx(15 + 2 * (4 + 3 * p + 1.5 * p), rel=1e-14)
    assert measures.eca == pytest.approx(5.379385243545774, rel=1e-14)
    bigger = network([3, 1, 3], (0, 1, 50), (1, 2, 50), (0, 2, 110))
    more = network_measures(bigger, p_cut=CUT, compiled=compiled).eca - math.sqrt(22)
    assert more == pytest.approx(0.740974485776678, rel=1e-12)


@ROUTES
@pytest.mark.parametrize(
    ("permeability", "eca"),
    [(0.1, 4.0743097574926725), (0.9, 4.626013402488151), (1.0, 4.69041575982343)],
)
def test_hole_in_a_fence(permeability, eca, compiled):
    """Row without the direct link; the gap 2-3 let through only with probability q.

    PCnum = 14 + 2 (1 + 1.5 q + 1.5 q). As a longer way: 50 m + 50 log2(1 / q), to the mm, so
    ECA is equal to 1e-5.
    """
    longer = 50 + 50 * math.log2(1 / permeability)
    row = network([2, 1, 3], (0, 1, 50), (1, 2, longer))
    found = network_measures(row, p_cut=CUT, compiled=compiled).eca
    assert found == pytest.approx(eca, rel=1e-5)


def test_closed_fence():
    """q = 0: 4 + 1 + 9 + 2 x 1 = 16, ECA 4. The pair is near enough but cannot be passed."""
    pairs = pairs_of((0, 1, 50), (1, 2, 50))
    row = patch_graph("abc", [2, 1, 3], pairs, hop_m=60, d50_m=50, passable=np.array([True, False]))
    assert network_measures(row, p_cut=CUT).eca == pytest.approx(4, rel=1e-14)


@ROUTES
def test_what_the_cut_leaves_out_is_bounded(compiled):
    """p_cut = 0.3 leaves out 1-3 (0.25): PCnum = 22 - 3 = 19; bound 0.3 x 2 x 6 = 3.6 >= 3.

    At p_cut = 0.25 the route is just likely enough and stays.
    """
    cut = network_measures(row_of_three(), p_cut=0.3, compiled=compiled)
    assert cut.pc_numerator == pytest.approx(19, rel=1e-14)
    assert cut.cut_bound == pytest.approx(3.6, rel=1e-12)
    kept = network_measures(row_of_three(), p_cut=0.25, compiled=compiled)
    assert (kept.pc_numerator, kept.cut_bound) == (pytest.approx(22, rel=1e-14), 0)


@ROUTES
def test_breaks(compiled):
    """Row (2, 1, 3) with hop 60 m, then 150 m to a pair (1, 1) 50 m apart, all in a line.

    f at the row's end = 3 + 1/2 + 2/4 = 4, at the pair's near end 1 + 1/2 = 1.5; p(150) = 1/8:
    gain 2 x 4 x 1.5 / 8 = 1.5. PCnum = 22 + (1 + 1 + 1) = 25, so sqrt 26.5 - 5 = 0.1478151.
    150 m in hops of 60: 3 hops, 2 stones. Wider pairs of the same components are not listed.
    """
    links = [(0, 1, 50), (1, 2, 50), (3, 4, 50)]
    graph = network([2, 1, 3, 1, 1], *links)
    pairs = pairs_of(*links, (2, 3, 150), (1, 3, 210), (2, 4, 210))
    [gap] = component_breaks(graph, pairs, hop_m=60, longest_m=240, p_cut=0, compiled=compiled)
    assert (gap.i, gap.j, gap.width_m, gap.stones) == (2, 3, 150, 2)
    assert gap.homes_won == pytest.approx(math.sqrt(26.5) - 5, rel=1e-12)
    assert (gap.homes_i, gap.homes_j) == (6, 2)
    assert component_breaks(graph, pairs, hop_m=60, longest_m=149, p_cut=0) == []
    joined = network([2, 1, 3, 1, 1], *links, (2, 3, 150))
    assert network_measures(joined, p_cut=0).eca - 5 == pytest.approx(gap.homes_won, rel=1e-12)


def test_breaks_equally_wide_take_the_one_that_wins_more_then_ids():
    """Two ways of 80 m: to the patch of 1 home or of 2; and, both 2, the earlier id."""
    pairs = pairs_of((0, 1, 80), (0, 2, 80), (1, 2, 10))
    for homes, expected in (([1, 1, 2], 2), ([1, 2, 1], 1), ([1, 2, 2], 1)):
        graph = patch_graph(["c", "a", "b"], homes, pairs, hop_m=60, d50_m=50)
        [gap] = component_breaks(graph, pairs, hop_m=60, longest_m=100, p_cut=0)
        assert (gap.i, gap.j, gap.stones) == (0, expected, 1)


def test_a_gap_of_exactly_two_hops_needs_one_stone():
    for width, stones in ((120, 1), (120.001, 2), (60.001, 1)):
        pairs = pairs_of((0, 1, width))
        graph = patch_graph("ab", [1, 1], pairs, hop_m=60, d50_m=50)
        [gap] = component_breaks(graph, pairs, hop_m=60, longest_m=200, p_cut=0)
        assert gap.stones == stones


def test_from_networkx_and_back():
    graph = nx.MultiGraph()
    graph.add_nodes_from([("b", {"homes": 1}), ("a", {"homes": 2}), ("lone", {"homes": 4})])
    graph.add_edge("a", "b", length=50)
    graph.add_edge("b", "a", length=40)
    graph.add_edge("a", "a", length=1)
    built = from_networkx(graph, d50_m=50)
    assert built.ids.tolist() == ["b", "a", "lone"]
    assert (built.i.tolist(), built.j.tolist(), built.length_mm.tolist()) == ([0], [1], [40_000])
    back = from_networkx(built.graph, d50_m=50)
    assert back.homes.tolist() == [1, 2, 4]
    assert back.length_mm.tolist() == [40_000]
    cost = built.graph.edges["a", "b"]["cost"]
    assert cost == pytest.approx(0.8 * math.log(2), rel=1e-14)
    assert built.graph.edges["a", "b"]["p"] == pytest.approx(2**-0.8, rel=1e-14)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"ids": ["a", "a"]}, "unique"),
        ({"homes": [1]}, "2 patches"),
        ({"homes": [1, -1]}, "Homes"),
        ({"homes": [1, float("nan")]}, "Homes"),
        ({"hop_m": -1}, "hop"),
        ({"d50_m": 0}, "d50"),
        ({"passable": np.array([True, True])}, "passable"),
        ({"pairs": pairs_of((0, 2, 1))}, "Pairs"),
        ({"pairs": pairs_of((1, 1, 1))}, "Pairs"),
        ({"pairs": pairs_of((0, 1, -1))}, "shorter"),
    ],
)
def test_wrong_graphs_are_said(change, word):
    good = {
        "ids": ["a", "b"],
        "homes": [1, 1],
        "pairs": pairs_of((0, 1, 5)),
        "hop_m": 9,
        "d50_m": 9,
    }
    call = good | change
    with pytest.raises(WrongUse, match=word):
        patch_graph(call.pop("ids"), call.pop("homes"), call.pop("pairs"), **call)


def test_wrong_use_of_measures_is_said():
    graph = row_of_three()
    for p_cut in (-0.1, 1, float("nan")):
        with pytest.raises(WrongUse, match="p_cut"):
            network_measures(graph, p_cut=p_cut)
    with pytest.raises(WrongUse, match="area"):
        probability_of_connectivity(network_measures(graph, p_cut=CUT), 0)
    with pytest.raises(WrongUse, match="hop"):
        component_breaks(graph, pairs_of(), hop_m=0, longest_m=1, p_cut=0)
    with pytest.raises(WrongUse, match="undirected"):
        from_networkx(nx.DiGraph(), d50_m=1)
    bare = nx.path_graph(2)
    with pytest.raises(WrongUse, match="homes"):
        from_networkx(bare, d50_m=1)


@pytest.mark.parametrize("work", [patch_importance, weighted_betweenness])
def test_too_long_to_be_added_up(work):
    far = network([1, 1, 1], (0, 1, 1e15), (1, 2, 1e15), hop_m=1e15)
    with pytest.raises(WrongUse, match="too"):
        work(far, p_cut=0, compiled=True)
