"""Patch graph, linked homes, importance of patches: against what a competent user would write.

Run it from the top folder::

    python tests/benchmarks/network_benchmark.py                   # 20,000 plots
    python tests/benchmarks/network_benchmark.py --plots 100000    # as many as a city
    python tests/benchmarks/network_benchmark.py --plots 2000      # a quick look

The street is invented and seeded: terraces of 20 plots of 6 x 20 m, back to back, 5 to 8
corners each, roads of 10 m between the fronts and gaps of 8 m between the terraces. One group
crosses at most 100 m in one move (hop), half arrive after 50 m (d50), routes less likely than
1 in 10,000 are cut. Two drawings of it: ``gaps`` (each plot drawn up to 0.2 m too small, so
that hardly any touch: the hard case) and ``touching`` (shared walls).

Peers, in the same run:

- who is linked: shapely's STRtree (`dwithin`) and its distances;
- routes from all patches: scipy's `dijkstra(limit=)` in blocks of rows, on as many threads as there
  are cores, on the same links and, much quicker, on the graph that patchnet itself pruned and
  joined, which the peer gets for nothing; on that graph also igraph's and rustworkx's Dijkstra,
  which know no limit; and networkx, shown only beside these;
- importance: the patch taken out and all routes found again, by the quickest of these.

Peers do a sample of sources in blocks; what that comes to for all is told with its standard
error. patchnet does all of them, but for importance on long streets (`--whole`). The sums of the
sample must agree to 1e-9. Compiling is left out and said beside.
"""

import argparse
import math
import resource
import time
from concurrent.futures import ThreadPoolExecutor

import igraph
import networkx as nx
import numpy as np
import rustworkx
import shapely
from scipy.sparse import csgraph

from patchnet.movement.distance import pairs_within
from patchnet.network.adjacency import links_of, matrix_of, touching_joined
from patchnet.network.build import patch_graph
from patchnet.network.importance import patch_importance
from patchnet.network.measures import network_measures
from patchnet.network.patch_graph import PatchGraph
from patchnet.network.prune import needed_links
from patchnet.network.routes import only, route_sums

HOP_M, D50_M, P_CUT = 100.0, 50.0, 1e-4
CUT_MM = math.floor(D50_M * math.log2(1 / P_CUT) * 1000)
TARGET, TARGET_AT, TARGET_MB = 6, 100_000, 1024  # times the pruned scipy, at so many plots; MB
BLOCKS = 8  # of sources: the standard error is over these


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


def linked_by_shapely(plots):
    """Who is within a hop, by a tree of boxes."""
    tree = shapely.STRtree(plots)
    i, j = tree.query(plots, predicate="dwithin", distance=HOP_M)
    i, j = i[i < j], j[i < j]
    return i, j, np.floor(shapely.distance(plots[i], plots[j]) * 1000 + 0.49999)


def pruned(graph):
    """The links that are left of touching patches joined, and which patches each node holds."""
    links, group = touching_joined(links_of(graph))
    return only(links, needed_links(links, compiled=True)), group


class Sampled:
    """What some sources take, and with that all of them."""

    def __init__(self, sums, sources, count: int) -> None:
        sums(sources[:1])
        self.found, seconds = [], []
        for block in np.array_split(sources, min(BLOCKS, len(sources))):
            sums_of_block, took = clock(lambda block=block: sums(block))
            self.found.append(sums_of_block)
            seconds.append(took / len(block))
        self.found = np.concatenate(self.found)
        self.seconds = float(np.mean(seconds)) * count
        spread = np.std(seconds, ddof=1) if len(seconds) > 1 else math.inf
        self.error = float(spread) / math.sqrt(len(seconds)) * count

    def __str__(self) -> str:
        return f"{self.seconds:,.1f} +- {self.error:,.1f}"


def by_scipy(links, homes):
    """Sums of homes over routes from some sources, in threads."""
    matrix = matrix_of(links)
    touch = bool((links.length == 0).any())  # shown to scipy as a little more than nothing
    decay = math.log(2) / D50_M / 1000

    def some(rows):
        distance = csgraph.dijkstra(matrix, indices=rows, limit=CUT_MM)
        distance = np.rint(distance) if touch else distance
        return np.exp(-decay * distance) @ homes

    def sums(sources):
        parts = np.array_split(sources, max(1, len(sources) // 8))
        with ThreadPoolExecutor() as pool:
            return np.concatenate(list(pool.map(some, parts)))

    return sums


def by_igraph(links, homes):
    """The same by igraph, from all sources of a block at once; what is too long is left out."""
    graph = igraph.Graph(links.n, np.column_stack([links.i, links.j]).tolist())
    weights, decay = links.length.tolist(), math.log(2) / D50_M / 1000

    def sums(sources):
        distance = np.array(graph.distances(sources.tolist(), weights=weights))
        return np.where(distance <= CUT_MM, np.exp(-decay * distance), 0.0) @ homes

    return sums


def by_rustworkx(links, homes):
    """The same by rustworkx, source by source."""
    graph = rustworkx.PyGraph(multigraph=False)
    graph.add_nodes_from(range(links.n))
    graph.add_edges_from(
        list(zip(links.i.tolist(), links.j.tolist(), links.length.tolist(), strict=True))
    )
    decay = math.log(2) / D50_M / 1000

    def sums(sources):
        found = []
        for source in sources.tolist():
            away = rustworkx.graph_dijkstra_shortest_path_lengths(graph, source, float)
            node, distance = np.array([*away.keys()]), np.array([*away.values()])
            near = distance <= CUT_MM
            found.append(homes[source] + homes[node[near]] @ np.exp(-decay * distance[near]))
        return np.array(found)

    return sums


def by_networkx(links, homes):
    """The same by networkx."""
    graph = nx.Graph()
    graph.add_nodes_from(range(links.n))
    graph.add_weighted_edges_from(
        zip(links.i.tolist(), links.j.tolist(), links.length.tolist(), strict=True)
    )
    decay = math.log(2) / D50_M / 1000

    def sums(sources):
        found = []
        for source in sources.tolist():
            near = nx.single_source_dijkstra_path_length(graph, source, cutoff=CUT_MM)
            found.append(sum(homes[k] * math.exp(-decay * mm) for k, mm in near.items()))
        return np.array(found)

    return sums


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


def peak_mb() -> float:
    """Most memory this process has held so far, in MB (Linux counts in kB)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


class Street:
    """One drawing of the street: measured by patchnet, then by the peers."""

    def __init__(self, count: int, whole: int, *, touching: bool) -> None:
        self.name = "touching" if touching else "gaps"
        self.plots, self.homes = terraces(count, touching=touching), invented_homes(count)
        pairs, self.linking = clock(lambda: pairs_within(self.plots, HOP_M, compiled=True))
        self.graph = patch_graph(range(count), self.homes, pairs, hop_m=HOP_M, d50_m=D50_M)
        self.flow, self.routing = clock(
            lambda: route_sums(self.graph, p_cut=P_CUT, everywhere=False, compiled=True).flow
        )
        self.measures = network_measures(self.graph, p_cut=P_CUT, hops=False, compiled=True)
        self.losing = None
        if whole:
            self.losing, self.extrapolated = importance(self.graph, whole)

    def compare(self, sample: int, by_hand: int) -> bool:
        """Print the comparison with the peers; return whether the target was met."""
        links, group = pruned(self.graph)
        joined = np.bincount(group, weights=self.homes, minlength=links.n)
        nodes = np.flatnonzero(joined > 0)
        luck = np.random.default_rng(4)
        some = luck.choice(nodes, min(sample, len(nodes)), replace=False)
        few = luck.choice(np.flatnonzero(self.homes > 0), by_hand, replace=False)
        _, linking = clock(lambda: linked_by_shapely(self.plots))
        fair = Sampled(by_scipy(links, joined), some, len(nodes))
        others = {
            name: Sampled(by(links, joined), some[:by_hand], len(nodes))
            for name, by in (("igraph", by_igraph), ("rustworkx", by_rustworkx))
        }
        everything = links_of(self.graph)
        holding = int((self.homes > 0).sum())
        scipy = Sampled(by_scipy(everything, self.homes), few, holding)
        slowest = Sampled(
            by_networkx(everything, self.homes), few[: max(2, by_hand // 10)], holding
        )
        first = np.full(links.n, -1)
        first[group[::-1]] = np.arange(len(group))[::-1]
        worst = max(
            np.abs(self.flow[at] - found).max() / found.min()
            for at, found in (
                (first[some], fair.found),
                *((first[some[:by_hand]], one.found) for one in others.values()),
                (few, scipy.found),
                (few[: len(slowest.found)], slowest.found),
            )
        )
        measures, times = self.measures, fair.seconds / self.routing
        print(
            f"\n{self.name}: {len(self.plots):,} plots, {len(self.graph.i):,} links "
            f"({len(links.i):,} between {links.n:,} nodes once pruned and joined), "
            f"{measures.components} component(s), {measures.eca:,.1f} linked homes"
        )
        print(f"{'':40}{'seconds':>24}{'times patchnet':>16}")
        rows = [
            ("who is linked, patchnet", f"{self.linking:.2f}", ""),
            ("  shapely's STRtree", f"{linking:.2f}", linking / self.linking),
            ("routes from all patches, patchnet", f"{self.routing:.2f}", ""),
            (f"  scipy, pruned and joined ({len(some)})", fair, times),
            *(
                (f"  {name}, pruned, no limit ({by_hand})", one, one.seconds / self.routing)
                for name, one in others.items()
            ),
            (f"  scipy, all links ({len(few)})", scipy, scipy.seconds / self.routing),
            (f"  networkx, all links ({len(slowest.found)})", slowest,
             slowest.seconds / self.routing),
        ]  # fmt: skip
        if self.losing is not None:
            name, quickest = min({"scipy": fair, **others}.items(), key=lambda one: one[1].seconds)
            out = quickest.seconds * len(self.plots)
            mark = "*" if self.extrapolated else ""
            rows += [
                ("importance of all patches, patchnet", f"{self.losing:.1f}{mark}", ""),
                (f"  each taken out, {name} pruned", f"{out:,.0f}*", out / self.losing),
            ]
        for words, seconds, ratio in rows:
            told = ratio if isinstance(ratio, str) else f"{ratio:,.1f}"
            print(f"{words:40}{seconds!s:>24}{told:>16}")
        print(f"largest difference of a source's sum from the peers: {worst:.1e}")
        target = len(self.plots) < TARGET_AT or self.name == "touching" or times >= TARGET
        return bool(target and worst < 1e-9)


def main() -> int:
    """Run both drawings; exit status 1 if a target was missed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--plots", type=int, default=20_000)
    parser.add_argument("--sample", type=int, default=400, help="sources that scipy does")
    parser.add_argument(
        "--few", type=int, default=100, help="sources on all links; networkx a tenth of them"
    )
    parser.add_argument(
        "--whole",
        type=int,
        default=500,
        help="most sources whose importance is done whole; 0: none",
    )
    chosen = parser.parse_args()
    _, compiling = clock(lambda: Street(60, 500, touching=False))
    print(f"compiling, or loading what was compiled before: {compiling:.1f} s (not counted below)")
    streets = [Street(chosen.plots, chosen.whole, touching=touching) for touching in (True, False)]
    memory = peak_mb()  # before the peers, whose own arrays need more
    met = [street.compare(chosen.sample, chosen.few) for street in streets]
    met.append(memory < TARGET_MB or chosen.plots >= TARGET_AT)
    print("\n* extrapolated; in brackets the sources done, +- the standard error over their blocks")
    print(f"most memory of the process with patchnet alone: {memory:.0f} MB (target {TARGET_MB})")
    print("all targets met" if all(met) else "A TARGET WAS MISSED")
    return 0 if all(met) else 1


if __name__ == "__main__":
    raise SystemExit(main())
