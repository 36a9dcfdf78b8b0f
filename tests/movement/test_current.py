"""Effective resistance and current: handbook circuits, networkx, Foster, strips of ground."""

import math
from dataclasses import replace

import networkx as nx
import numpy as np
import pandas as pd
import pytest
from pyproj import CRS

from patchnet.core.errors import WrongUse
from patchnet.movement.barrier_steps import Steps
from patchnet.movement.current import circuit
from patchnet.movement.ground_grid import Grid
from patchnet.movement.surface import CostSurface

SHARED = 1 + math.sqrt(2)
STEPS = ((0, 1), (1, 0), (1, 1), (1, -1))


def surface_of(cost, labels, *, cell=1.0, steps=None, gap=0.13):
    cost = np.asarray(cost, np.float32)
    labels = np.asarray(labels, np.int32)
    return CostSurface(
        group="hedgehog",
        cost=cost,
        labels=labels,
        plots=pd.Index([f"p{k + 1}" for k in range(labels.max())]),
        steps=steps or Steps.none(),
        grid=Grid(0.0, cost.shape[0] * cell, cost.shape, cell, CRS("EPSG:27700")),
        gap_side_m=gap,
    )


def closed_step(cells, extra, gaps=None):
    """Steps as the tests want them, one barrier each."""
    order = np.argsort(cells)
    n = len(cells)
    return Steps(
        key=np.asarray(cells, np.int64)[order],
        extra=np.asarray(extra, float)[order],
        opened=np.ones(n),
        gap=np.asarray(gaps or [False] * n)[order],
        start=np.arange(n + 1),
        barrier=np.zeros(n, np.int32),
    )


def as_networkx(surface):
    """The same circuit built by plain loops: second, independent route (no barriers)."""
    graph = nx.Graph()
    rows, columns = surface.cost.shape

    def node(r, c):
        label = surface.labels[r, c]
        return f"p{label}" if label else (r, c)

    def cost(r, c):
        return 0.0 if surface.labels[r, c] else float(surface.cost[r, c])

    for r in range(rows):
        for c in range(columns):
            for down, right in STEPS:
                r2, c2 = r + down, c + right
                if not (0 <= r2 < rows and 0 <= c2 < columns):
                    continue
                if not np.isfinite(surface.cost[[r, r2], [c, c2]]).all():
                    continue
                one, two = node(r, c), node(r2, c2)
                if one == two:
                    continue
                ohm = SHARED * math.hypot(down, right) * (cost(r, c) + cost(r2, c2)) / 2
                before = graph.get_edge_data(one, two, {"g": 0.0})["g"]
                graph.add_edge(one, two, g=before + 1 / ohm)
    return graph


# handbook ---------------------------------------------------------------------------------------


def test_in_series(know):
    """Resistors in series add up (any physics handbook).

    One row of cells between two patches, costs 1, 4, 9: half of 1, (1 + 4)/2, (4 + 9)/2, half of
    9: together 14. One cell wide there are no diagonals to share with: times 1 + sqrt 2.
    """
    surface = surface_of([[7, 1, 4, 9, 7]], [[1, 0, 0, 0, 2]])
    ohm = circuit(surface, know).resistance([("p1", "p2")])[0]
    assert ohm == pytest.approx(14 * SHARED, rel=1e-12)


def test_in_parallel(know):
    """1/R adds up (any physics handbook): two rows kept apart, of cost 2 and of cost 6.

    Three cells each: 6 and 18 together 1/(1/6 + 1/18) = 4.5, times 1 + sqrt 2.
    """
    wall = math.inf
    surface = surface_of(
        [[9, 2, 2, 2, 9], [wall] * 5, [9, 6, 6, 6, 9]],
        [[1, 0, 0, 0, 2], [0] * 5, [1, 0, 0, 0, 2]],
    )
    found = circuit(surface, know)
    assert found.resistance([("p1", "p2")])[0] == pytest.approx(4.5 * SHARED, rel=1e-12)
    flow = found.current([("p1", "p2")])
    assert flow[0, 1:4] == pytest.approx([0.75] * 3)
    assert flow[2, 1:4] == pytest.approx([0.25] * 3)
    assert flow[1, 1:4].tolist() == [0, 0, 0]


def test_triangle(know):
    """Klein & Randić 1993 (J. Math. Chem. 12:81-95); worked by hand: three arms of one cell each.

    Patches 1, 2, 3 joined at the corners of one cell of cost 2: 1 to the west, 2 to the south, 3
    to the east. Each arm is half the cell, 1, times 1 + sqrt 2; any two in series: 2 arms.
    """
    w = math.inf
    surface = surface_of([[w, w, w], [1, 2, 1], [w, 1, w]], [[0, 0, 0], [1, 0, 3], [0, 2, 0]])
    steps = closed_step([(1 * 3 + 0) * 4 + 2, (1 * 3 + 2) * 4 + 3], [w, w])
    matrix = circuit(replace(surface, steps=steps), know).resistance_matrix()
    expected = 2 * SHARED * (1 - np.eye(3))
    np.testing.assert_allclose(matrix, expected, rtol=1e-12)


# ground ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("turned", [False, True])
def test_a_strip_of_ground(know, turned):
    """Cost 3, 12 m long between plates and W wide: c L / W, up to the missing edge diagonals.

    In a strip n cells wide there are n ways straight on and 2 (n - 1) diagonals between n
    columns: conductance (n + (n - 1) sqrt 2) / (1 + sqrt 2) instead of n, over even ground.
    """
    for cell, n in ((1.0, 8), (0.5, 16), (0.25, 32)):
        long = int(12 / cell)
        cost = np.full((n, long + 2), 3.0)
        labels = np.zeros((n, long + 2), int)
        labels[:, 0], labels[:, -1] = 1, 2
        if turned:
            cost, labels = cost.T, labels.T
        ohm = circuit(surface_of(cost, labels, cell=cell), know).resistance([("p1", "p2")])[0]
        truth = 3 * 12 / (n * cell)
        assert ohm == pytest.approx(truth * n * SHARED / (n + (n - 1) * math.sqrt(2)), rel=1e-9)
        assert ohm / truth - 1 <= 0.7 / n


def test_a_barrier_across_a_strip(know):
    """A fence of 6 cost metres right across adds 6 / W, whatever the cell; W = 8 m."""
    for cell, n in ((1.0, 8), (0.5, 16)):
        long = int(12 / cell)
        cost, labels = np.ones((n, long + 2)), np.zeros((n, long + 2), int)
        labels[:, 0], labels[:, -1] = 1, 2
        columns, at = long + 2, long // 2
        cells = [(r * columns + at) * 4 for r in range(n)]
        cells += [(r * columns + at) * 4 + 2 for r in range(n - 1)]
        cells += [(r * columns + at + 1) * 4 + 3 for r in range(n - 1)]
        steps = closed_step(cells, [6.0] * len(cells))
        with_, without = (
            circuit(surface_of(cost, labels, cell=cell, steps=s), know).resistance([("p1", "p2")])
            for s in (steps, None)
        )
        edge = n * SHARED / (n + (n - 1) * math.sqrt(2))
        assert with_[0] - without[0] == pytest.approx(6 / 8 * edge, rel=1e-9)


def test_all_squeezes_through_one_gap(know):
    """A wall with one gap: the whole ampere goes through the two cells beside it."""
    n, columns = 9, 13
    labels = np.zeros((n, columns), int)
    labels[:, 0], labels[:, -1] = 1, 2
    at = 6
    cells = [(r * columns + at) * 4 for r in range(n)]
    extra = [1.0 if r == 4 else math.inf for r in range(n)]
    gaps = [r == 4 for r in range(n)]
    for d, c in ((2, at), (3, at + 1)):
        cells += [(r * columns + c) * 4 + d for r in range(n - 1)]
        extra += [math.inf] * (n - 1)
        gaps += [False] * (n - 1)
    found = circuit(
        surface_of(np.ones((n, columns)), labels, steps=closed_step(cells, extra, gaps)), know
    )
    flow = found.current([("p1", "p2")])
    assert flow[4, at] == pytest.approx(1, rel=1e-5)
    assert flow[4, at + 1] == pytest.approx(1, rel=1e-5)
    assert flow[:, 3].max() < 0.5
    through_gap = (1 + 1 / 0.13) * SHARED  # half a metre each side, and 1 over 13 cm
    assert found.resistance([("p1", "p2")])[0] > through_gap


# second routes --------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(5))
def test_resistance_as_networkx_reckons_it(know, seed):
    """networkx.resistance_distance on small grids with closed cells and patches of any shape."""
    rng = np.random.default_rng(seed)
    cost = rng.uniform(0.5, 20, (7, 9))
    cost[rng.random(cost.shape) < 0.2] = np.inf
    labels = np.zeros(cost.shape, int)
    labels[:2, :2], labels[5:, 7:], labels[0, 8], labels[6, 0] = 1, 2, 3, 4
    cost[labels > 0] = 1
    surface = surface_of(cost, labels)
    graph = as_networkx(surface)
    found = circuit(surface, know)
    matrix = found.resistance_matrix()
    for i in range(4):
        for j in range(4):
            one, two = f"p{i + 1}", f"p{j + 1}"
            if i == j:
                assert matrix[i, j] == 0
            elif one in graph and two in graph and nx.has_path(graph, one, two):
                part = graph.subgraph(nx.node_connected_component(graph, one))
                ohm = nx.resistance_distance(part, one, two, weight="g", invert_weight=False)
                assert matrix[i, j] == pytest.approx(ohm, rel=1e-9)
                assert found.resistance([(one, two)])[0] == pytest.approx(ohm, rel=1e-9)
            else:
                assert matrix[i, j] == math.inf


@pytest.mark.parametrize("seed", range(3))
def test_fosters_identity(know, seed):
    """The sum of (effective resistance x conductance) over all conductors is nodes - parts.

    Foster 1949; Klein & Randić 1993.
    """
    rng = np.random.default_rng(seed)
    cost = rng.uniform(0.5, 9, (5, 6))
    labels = np.zeros(cost.shape, int)
    labels[0, 0], labels[4, 5] = 1, 2
    found = circuit(surface_of(cost, labels), know)
    wires, node = found._wires, found._node
    count = found._count
    total = 0.0
    for one, two, conductance in zip(
        node[wires.one], node[wires.two], wires.conductance, strict=True
    ):
        feed = np.zeros((count, 1))
        feed[one], feed[two] = 1, -1
        volts = found._volts(feed)[:, 0]
        total += conductance * (volts[one] - volts[two])
    assert total == pytest.approx(count - 1, rel=1e-9)


def test_what_goes_in_goes_through_every_line(know):
    """Kirchhoff: over uneven ground the whole ampere crosses every column between the patches."""
    rng = np.random.default_rng(1)
    labels = np.zeros((8, 11), int)
    labels[:, 0], labels[:, -1] = 1, 2
    found = circuit(surface_of(rng.uniform(1, 9, labels.shape), labels), know)
    feed = np.zeros((found._count, 1))
    feed[0], feed[1] = 1, -1
    volts = found._volts(feed)[:, 0][found._node]
    wires = found._wires
    flow = (volts[wires.one] - volts[wires.two]) * wires.conductance
    for column in range(10):
        c1, c2 = wires.one % 11, wires.two % 11
        forward = ((c1 <= column) & (c2 > column)) * flow
        back = ((c2 <= column) & (c1 > column)) * flow
        assert (forward - back).sum() == pytest.approx(1, rel=1e-9)


def test_resistance_is_at_most_the_cheapest_way(know):
    """It is a metric, and more ways only help: R(1,3) <= R(1,2) + R(2,3)."""
    rng = np.random.default_rng(7)
    labels = np.zeros((9, 9), int)
    labels[0, 0], labels[4, 4], labels[8, 8] = 1, 2, 3
    matrix = circuit(surface_of(rng.uniform(1, 5, (9, 9)), labels), know).resistance_matrix()
    assert matrix[0, 2] <= matrix[0, 1] + matrix[1, 2]
    np.testing.assert_allclose(matrix, matrix.T)


# what cannot be reached -----------------------------------------------------------------------


def test_parts_that_do_not_reach_each_other(know):
    """Two grounds with a wall of closed cells between them, and a patch off the ground."""
    w = math.inf
    cost = [[1, 1, 1, w, 1, 1, 1, w], [1, 1, 1, w, 1, 1, 1, w]]
    labels = [[1, 0, 2, 0, 3, 0, 4, 5], [0, 0, 0, 0, 0, 0, 0, 5]]
    found = circuit(surface_of(cost, labels), know)
    assert found.part[0] == found.part[1] != found.part[2] == found.part[3]
    assert found.part[4] == -1
    ohm = found.resistance([("p1", "p2"), ("p1", "p3"), ("p5", "p1"), ("p3", "p3")])
    assert np.isfinite(ohm[0])
    assert ohm[1:].tolist() == [math.inf, math.inf, 0]
    matrix = found.resistance_matrix()
    assert np.isfinite(matrix[2, 3])
    assert (matrix[4, :4] == math.inf).all()
    assert matrix[4, 4] == 0
    assert not found.current([("p1", "p3"), ("p5", "p1")]).any()
    flow = found.current()
    assert flow[0, 1] > 0
    assert flow[0, 5] > 0
    assert not flow[:, 3].any()


def test_all_walled_in(know):
    labels = np.array([[1, 0], [0, 2]])
    found = circuit(surface_of(np.full((2, 2), math.inf), labels), know)
    assert found.part.tolist() == [-1, -1]
    assert found.resistance([("p1", "p2")])[0] == math.inf
    assert not found.current().any()


def test_plots_that_touch_hardly_resist(know):
    ohm = circuit(surface_of([[1, 1]], [[1, 2]]), know).resistance([("p1", "p2")])[0]
    assert 0 <= ohm < 1e-4


def test_each_to_all_the_others(know):
    """Three patches in a row one cell wide: 1 A from each end, half a one passing on.

    From 1: 1/2 out at 2, 1/2 out at 3: between 1 and 2 flows 1, between 2 and 3 one half. From 3
    the same mirrored. From 2: one half either way. Sum between 1 and 2: 1 + 1/2 + 1/2 = 2.
    """
    flow = circuit(surface_of([[1, 1, 1, 1, 1]], [[1, 0, 2, 0, 3]]), know).current()
    assert flow[0, 1] == pytest.approx(2)
    assert flow[0, 3] == pytest.approx(2)


def test_some_patches_only(know):
    surface = surface_of(np.ones((3, 9)), [[1, 0, 0, 0, 2, 0, 0, 0, 3]] * 3)
    every, some = circuit(surface, know), circuit(surface, know, patches=["p3", "p1"])
    assert list(some.patches) == ["p1", "p3"]
    assert some.resistance([("p1", "p3")])[0] > every.resistance([("p1", "p3")])[0], (
        "p2 is ground now, no free ride"
    )
    with pytest.raises(WrongUse, match="not one of the patches"):
        some.resistance([("p1", "p2")])
    with pytest.raises(WrongUse, match="no plot 'x'"):
        circuit(surface, know, patches=["x"])


def test_memory_is_foreseen(know):
    settings = dict(know.settings)
    settings["ground_memory_gb"] = replace(settings["ground_memory_gb"], value=1e-5)
    with pytest.raises(WrongUse, match=r"The current in cells of 1 m .* would fit"):
        circuit(surface_of(np.ones((9, 9)), np.eye(9)), replace(know, settings=settings))
