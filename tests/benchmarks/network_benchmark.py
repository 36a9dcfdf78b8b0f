"""How much faster than networkx, in one run: patch graph, linked homes, importance of patches.

Run it from the top folder::

    python tests/benchmarks/network_benchmark.py                # 20,000 plots
    python tests/benchmarks/network_benchmark.py --plots 2000   # a quick look

The street is invented and seeded: terraces of 20 plots of 6 x 20 m, back to back, 5 to 8
corners each, roads of 10 m between the fronts and gaps of 8 m between the terraces. One group
crosses at most 100 m in one move (hop), half arrive after 50 m (d50), routes less likely than
1 in 10,000 are cut. Two drawings of it: ``gaps`` (each plot drawn up to 0.2 m too small, so
that hardly any touch: the hard case) and ``touching`` (shared walls).

patchnet is measured whole (graph and linked homes), and importance from a sample of sources
where the street has more patches than ``--whole``, which is extrapolated in proportion: each
source's work is separate. networkx does the same from a sample of sources: distances by
shapely, then the shortest paths up to the cut from each; importance takes the patch out and
does that again for each, so its time is that of all sources times the number of patches. The
sums from the sample must agree to 1e-9. Compiling is left out and said beside.
"""

import argparse
import math
import resource
import time

import networkx as nx
import numpy as np
import shapely

from patchnet.movement.distance import pairs_within
from patchnet.network.build import patch_graph
from patchnet.network.importance import patch_importance
from patchnet.network.measures import flow, network_measures
from patchnet.network.patch_graph import PatchGraph

HOP_M, D50_M, P_CUT = 100.0, 50.0, 1e-4
TARGET_ECA, TARGET_DPC, TARGET_MB = 50, 100, 1024


def terraces(count: int, *, touching: bool, seed: int = 1) -> np.ndarray:
    """Invent `count` plots in rows, the whole about as wide as it is deep."""
    random = np.random.default_rng(seed)
    columns = 20 * max(1, round(math.sqrt(count * 25 / 6.4) / 20))
    plots = []
    for k in range(count):
        column, row = k % columns, k // columns
        x, y = column * 6 + column // 20 * 8, row * 20 + row // 2 * 10
        west, south, east, north = np.zeros(4) if touching else random.uniform(0, 0.2, 4)
        w, s, e, n = x + west, y + south, x + 6 - east, y + 20 - north
        corners = [(w, s), (e, s), (e, n), (w, n)]
        extra = [((w + e) / 2, s), (e, (s + n) / 2), ((w + e) / 2, n), (w, (s + n) / 2)]
        used = sorted(random.choice(4, random.integers(1, 5), replace=False).tolist())
        for place in reversed(used):
            corners.insert(place + 1, extra[place])
        plots.append(shapely.Polygon(corners))
    return np.array(plots)


def invented_homes(count: int, *, seed: int = 2) -> np.ndarray:
    """Some homes on seven plots of ten; the others are stepping stones."""
    random = np.random.default_rng(seed)
    return np.where(random.random(count) < 0.7, random.uniform(0.1, 3, count), 0.0)


def clock(work):
    """Result of `work()` and the seconds it took."""
    begin = time.perf_counter()
    result = work()
    return result, time.perf_counter() - begin


def ours(plots, homes):
    """Build the graph and measure it."""
    pairs = pairs_within(plots, HOP_M, compiled=True)
    graph = patch_graph(range(len(plots)), homes, pairs, hop_m=HOP_M, d50_m=D50_M)
    return graph, network_measures(graph, p_cut=P_CUT, hops=False, compiled=True)


def some_sources(graph: PatchGraph, share: float, seed: int = 3) -> PatchGraph:
    """The same graph of which only a share of the patches hold homes."""
    random = np.random.default_rng(seed)
    homes = np.where(random.random(len(graph.homes)) < share, graph.homes, 0.0)
    return PatchGraph(graph.ids, homes, graph.i, graph.j, graph.length_mm, graph.d50_m)


def importance(graph: PatchGraph, whole: int):
    """Seconds for the importance of all patches, and whether they were extrapolated."""
    sources = int((graph.homes > 0).sum())
    if sources <= whole:
        return clock(lambda: patch_importance(graph, p_cut=P_CUT, compiled=True))[1], False
    part = some_sources(graph, whole / sources)
    _, seconds = clock(lambda: patch_importance(part, p_cut=P_CUT, compiled=True))
    return seconds * sources / int((part.homes > 0).sum()), True


def by_networkx(plots, homes, sample: int):
    """Seconds for graph and all sources by networkx, and the flow of the sampled sources."""

    def build():
        tree = shapely.STRtree(plots)
        i, j = tree.query(plots, predicate="dwithin", distance=HOP_M)
        i, j = i[i < j], j[i < j]
        metres = np.floor(shapely.distance(plots[i], plots[j]) * 1000 + 0.49999) / 1000
        graph = nx.Graph()
        graph.add_nodes_from(range(len(plots)))
        graph.add_weighted_edges_from(zip(i.tolist(), j.tolist(), metres.tolist(), strict=True))
        return graph

    graph, building = clock(build)
    cut = D50_M * math.log2(1 / P_CUT)
    decay = math.log(2) / D50_M
    holding = np.flatnonzero(homes > 0)
    sources = np.random.default_rng(4).choice(holding, min(sample, len(holding)), replace=False)

    def sums():
        found = []
        for source in sources.tolist():
            near = nx.single_source_dijkstra_path_length(graph, source, cutoff=cut)
            found.append(sum(homes[k] * math.exp(-decay * d) for k, d in near.items()))
        return np.array(found)

    found, seconds = clock(sums)
    return (
        building,
        seconds / len(sources) * len(holding),
        dict(zip(sources.tolist(), found.tolist(), strict=True)),
    )


def peak_mb() -> float:
    """Most memory this process has held so far, in MB (Linux counts in kB)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


class Street:
    """One drawing of the street: measured by patchnet, then by networkx."""

    def __init__(self, count: int, whole: int, *, touching: bool) -> None:
        self.name = "touching" if touching else "gaps"
        self.plots, self.homes = terraces(count, touching=touching), invented_homes(count)
        (self.graph, self.measures), self.seconds = clock(lambda: ours(self.plots, self.homes))
        self.all_patches, self.extrapolated = importance(self.graph, whole)

    def compare(self, sample: int) -> bool:
        """Print the comparison with networkx; return whether the targets were met."""
        reached = flow(self.graph, p_cut=P_CUT, compiled=True)
        building, sums, checked = by_networkx(self.plots, self.homes, sample)
        worst = max(abs(reached[k] - value) / value for k, value in checked.items())
        theirs = building + sums
        removal = building + sums * len(self.plots)
        faster, faster_all = theirs / self.seconds, removal / self.all_patches
        measures, mark = self.measures, "*" if self.extrapolated else " "
        print(
            f"\n{self.name}: {len(self.plots):,} plots, {len(self.graph.i):,} links, "
            f"{measures.components} component(s), {measures.eca:,.1f} linked homes"
        )
        print(f"{'':30}{'patchnet':>12}{'networkx':>16}{'times':>14}{'target':>8}")
        print(
            f"{'graph and linked homes, s':30}{self.seconds:11.2f} "
            f"{theirs:15,.0f}*{faster:14,.0f}{TARGET_ECA:8}"
        )
        print(
            f"{'importance of all patches, s':30}{self.all_patches:11.1f}{mark}"
            f"{removal:15.3g}*{faster_all:14,.0f}{TARGET_DPC:8}"
        )
        print(f"largest difference of a source's sum from networkx: {worst:.1e}")
        return faster >= TARGET_ECA and faster_all >= TARGET_DPC and worst < 1e-9


def main() -> int:
    """Run both drawings; exit status 1 if a target was missed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--plots", type=int, default=20_000)
    parser.add_argument("--sample", type=int, default=10, help="sources that networkx does")
    parser.add_argument(
        "--whole", type=int, default=500, help="most sources whose importance is done whole"
    )
    chosen = parser.parse_args()
    small = terraces(60, touching=False)
    _, compiling = clock(
        lambda: patch_importance(ours(small, invented_homes(60))[0], p_cut=P_CUT, compiled=True)
    )
    print(f"compiling, or loading what was compiled before: {compiling:.1f} s (not counted below)")
    streets = [Street(chosen.plots, chosen.whole, touching=touching) for touching in (True, False)]
    memory = peak_mb()  # before networkx, whose own graph needs more
    met = [street.compare(chosen.sample) for street in streets]
    met.append(memory < TARGET_MB)
    print("\n* extrapolated from a sample of sources")
    print(f"most memory of the process with patchnet alone: {memory:.0f} MB (target {TARGET_MB})")
    print("all targets met" if all(met) else "A TARGET WAS MISSED")
    return 0 if all(met) else 1


if __name__ == "__main__":
    raise SystemExit(main())
