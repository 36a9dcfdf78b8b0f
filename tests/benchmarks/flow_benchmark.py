"""Whether supplies meet wants: the compiled flow against scipy's and igraph's.

Run: python tests/benchmarks/flow_benchmark.py [--plots N]

Terraces with houses, fences and roads (see map_benchmark), all usual animals, over the ground. Each
question that splitting in proportion leaves open while the street is assessed is put to all of
them, on the same net of bunches, which the peers get for nothing: patchnet's kernel, which begins
with the split; scipy's `maximum_flow` in whole numbers of 32 bits, once, as somebody would who can
do with a billionth of the total on each edge; and igraph's `maxflow` in double precision, on a
graph that is laid once. Prints seconds of processor, ratios, and by how much of what is wanted the
answers differ.
"""

import argparse
import tempfile
import time
from pathlib import Path

import igraph
import numpy as np
import scipy.sparse as sp
from map_benchmark import write_terraces
from scipy.sparse import csgraph

from patchnet import assess, load_knowledge, read_neighbourhood
from patchnet.assess.flow import Net

UNITS = 2**29
PASSED = Net.passed


def asked_while_assessing(hood, knowledge):
    """All questions that are put to flows."""
    asked = []

    def passed(net, wanted, supply, most=None, begun=None):
        asked.append((net, wanted, supply, most, begun))
        return PASSED(net, wanted, supply, most, begun)

    Net.passed = passed
    try:
        assess(hood, knowledge=knowledge)
    finally:
        Net.passed = PASSED
    return asked


def capacities(net, wanted, supply, most):
    """What each edge takes, and which are there: no way back has any room yet."""
    room = np.zeros(len(net.back))
    room[net.out], room[net.into] = wanted, np.minimum(supply, wanted.sum())
    room[net.inner] = 2 * wanted.sum()
    if net.over is not None:
        room[net.over] = np.minimum(most, wanted.sum())
    return room


class Igraph:
    """A net as igraph has it."""

    def __init__(self, net):
        places = (net.out, net.into.ravel(), net.inner.ravel())
        self.places = np.concatenate(places if net.over is None else (*places, net.over.ravel()))
        tail = np.repeat(np.arange(net.matrix.shape[0]), np.diff(net.matrix.indptr))
        ends = np.column_stack([tail, net.matrix.indices])[self.places]
        self.graph = igraph.Graph(net.matrix.shape[0], ends.tolist(), directed=True)
        self.source, self.sink = net.matrix.shape[0] - 2, net.matrix.shape[0] - 1

    def sent(self, room):
        """How much gets through."""
        flow = self.graph.maxflow(self.source, self.sink, room[self.places].tolist())
        return flow.value


def by_scipy(net, room, total):
    """The same by scipy, in units."""
    unit = total / UNITS
    whole = np.minimum(room / unit, 2 * UNITS).astype(np.int32)
    graph = sp.csr_array((whole, net.matrix.indices, net.matrix.indptr), net.matrix.shape)
    source, sink = graph.shape[0] - 2, graph.shape[0] - 1
    return csgraph.maximum_flow(graph, source, sink).flow_value * unit


def main():
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--plots", type=int, default=1000)
    chosen = words.parse_args()
    knowledge = load_knowledge()
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "terraces.gpkg"
        write_terraces(chosen.plots, file, walled=True)
        hood = read_neighbourhood(file, knowledge=knowledge)
    asked = asked_while_assessing(hood, knowledge)
    PASSED(*asked[0], compiled=True)
    laid, spent, worst = {}, np.zeros(3), np.zeros(2)

    def clock(which, work, *questions, **others):
        start = time.process_time()
        result = work(*questions, **others)
        spent[which] += time.process_time() - start
        return result

    for net, wanted, supply, most, begun in asked:
        total, room = float(wanted.sum()), capacities(net, wanted, supply, most)
        if id(net) not in laid:
            laid[id(net)] = Igraph(net)
        graph = laid[id(net)]
        found = clock(0, PASSED, net, wanted, supply, most, begun, compiled=True)
        units = clock(1, by_scipy, net, room, total)
        doubles = clock(2, graph.sent, room)
        sent = total - found.short
        worst = np.maximum(worst, np.abs(np.array([units, doubles]) - sent) / total)
    print(f"plots                         {chosen.plots:>10,}")
    print(f"questions                     {len(asked):>10,}")
    names = ("patchnet, from the split", "scipy, whole numbers", "igraph, double precision")
    for name, seconds in zip(names, spent, strict=True):
        print(f"{name:<30}{seconds:>10.2f} s   x {seconds / spent[0]:.1f}")
    print(f"sent otherwise than by scipy  {worst[0]:>10.1e} of what is wanted")
    print(f"sent otherwise than by igraph {worst[1]:>10.1e}")


if __name__ == "__main__":
    main()
