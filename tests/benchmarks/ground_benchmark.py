"""Speed and memory of moving over the ground, against the usual library routes, in one run.

    python tests/benchmarks/ground_benchmark.py            # full size, some minutes
    python tests/benchmarks/ground_benchmark.py --small    # a sixteenth of the cells

Territories, links, lengths and lines of 500 patches on 4 million cells: our growth; scikit-image's
MCP_Geometric with owners traced back from its predecessors; scipy's shortest paths with the
building of the graph. Current for 20 pairs on 1 million cells: one factorisation; independent
sparse solves (three are timed, twenty reckoned). Each part runs in a process of its own, so that
its memory can be read. Read ratios, not seconds.
"""

import argparse
import json
import resource
import subprocess
import sys
import time
from itertools import pairwise

import numpy as np
import pandas as pd
from pyproj import CRS
from scipy.sparse import coo_array, csc_array
from scipy.sparse.csgraph import dijkstra
from scipy.sparse.linalg import spsolve
from skimage.graph import MCP_Geometric

from patchnet.knowledge import load_knowledge
from patchnet.movement.barrier_steps import DIRECTIONS, Steps
from patchnet.movement.current import circuit
from patchnet.movement.ground_grid import Grid
from patchnet.movement.ground_links import touching_links
from patchnet.movement.grow import grow
from patchnet.movement.surface import CostSurface

PAIRS = 20
SOLVED = 3  # of the pairs, one by one


def town(side, patches, seed=0):
    """Gardens, lawns, carriageways and closed houses in cells of 1 m; patches of 3-12 m."""
    rng = np.random.default_rng(seed)
    cost = np.full((side, side), 1.3, np.float32)
    cost[rng.random((side, side)) < 0.3] = 2
    for at in range(0, side, 60):
        cost[at : at + 6] = 12
        cost[:, at : at + 6] = 12
    for row, column in rng.integers(0, side - 12, (side * side // 1600, 2)):
        cost[row : row + 9, column : column + 10] = np.inf
    labels = np.zeros((side, side), np.int32)
    places = rng.integers(0, side - 12, (patches, 2))
    sizes = rng.integers(3, 12, (patches, 2))
    for label, ((row, column), (high, wide)) in enumerate(zip(places, sizes, strict=True), 1):
        labels[row : row + high, column : column + wide] = label
    cost[labels > 0] = np.where(np.isfinite(cost[labels > 0]), cost[labels > 0], 1.3)
    return cost, labels


def peak():
    """Most memory this process has held, bytes."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def best_of(work, times):
    """Shortest of some runs, seconds, and the last result."""
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        result = work()
        seconds.append(time.perf_counter() - start)
    return min(seconds), result


def lines_of(ways):
    """Draw the ways as lines, as a link carries them."""
    return ways.lines(0.0, 0.0, 1.0)


def ours(cost, labels):
    growth = grow(cost, labels, compiled=True)
    first, second, total, ways = touching_links(growth)
    return first, second, total, lines_of(ways)


def links_of_fields(dist, owner, price, trace):
    """Links from arrays of costs and owners: shared by both library routes."""
    side = dist.shape[1]
    found = []
    for down, right in DIRECTIONS[:4]:
        left, end = max(-right, 0), side - max(right, 0)
        here = np.s_[: dist.shape[0] - down, left:end]
        there = np.s_[down:, left + right : end + right]
        row, column = np.nonzero(
            (owner[here] != owner[there]) & (owner[here] > 0) & (owner[there] > 0)
        )
        one = row * side + column + left
        two = one + down * side + right
        step = np.hypot(down, right) * 0.5 * (price.flat[one] + price.flat[two])
        found.append((one, two, dist.flat[one] + step + dist.flat[two]))
    one, two, total = (np.concatenate(part) for part in zip(*found, strict=True))
    keep = np.isfinite(total)
    one, two, total = one[keep], two[keep], total[keep]
    a, b = owner.flat[one].astype(np.int64), owner.flat[two].astype(np.int64)
    pair = np.minimum(a, b) * 2**32 + np.maximum(a, b)
    order = np.lexsort((total, pair))
    pair, at = np.unique(pair[order], return_index=True)
    best = order[at]
    ways = [(trace(one[k]), trace(two[k])) for k in best]
    return pair // 2**32, pair % 2**32, total[best], ways


def pointed(to):
    """Follow every cell to its source, twice as far each time."""
    while True:
        further = to[to]
        if (further == to).all():
            return to
        to = further


def by_skimage(cost, labels):
    source = (labels > 0) & np.isfinite(cost)
    price = cost.astype(np.float64)
    price[source] = 0
    closed = np.isinf(price)
    price[closed] = -1
    growth = MCP_Geometric(price)
    dist, steps = growth.find_costs(np.argwhere(source))
    offset = np.array([down * cost.shape[1] + right for down, right in growth.offsets])
    to = np.arange(cost.size)
    moved = steps.ravel() >= 0
    to[moved] -= offset[steps.ravel()[moved]]
    owner = np.where(np.isfinite(dist), labels.flat[pointed(to)].reshape(cost.shape), 0)
    columns = cost.shape[1]
    return links_of_fields(
        dist, owner, price, lambda cell: growth.traceback(divmod(int(cell), columns))
    )


def by_scipy(cost, labels):
    source = (labels > 0) & np.isfinite(cost)
    price = np.where(source, 0, cost).astype(np.float64)
    rows, columns = cost.shape
    parts = []
    for down, right in DIRECTIONS[:4]:
        left, end = max(-right, 0), columns - max(right, 0)
        row, column = np.nonzero(
            np.isfinite(price[: rows - down, left:end])
            & np.isfinite(price[down:, left + right : end + right])
        )
        one = (row * columns + column + left).astype(np.int32)
        two = (one + down * columns + right).astype(np.int32)
        step = np.hypot(down, right) * 0.5 * (price.flat[one] + price.flat[two])
        parts.append((one, two, step))
    one, two, step = (np.concatenate(part) for part in zip(*parts, strict=True))
    keep = step > 0  # not between cells of a source
    one, two, step = one[keep], two[keep], step[keep]
    graph = coo_array(
        (np.r_[step, step], (np.r_[one, two], np.r_[two, one])), shape=(cost.size, cost.size)
    ).tocsr()
    indices = np.flatnonzero(source)
    dist, before, origin = dijkstra(graph, indices=indices, min_only=True, return_predecessors=True)
    owner = np.where(origin >= 0, labels.flat[np.maximum(origin, 0)], 0)

    def trace(cell):
        way = [int(cell)]
        while before[way[-1]] >= 0:
            way.append(int(before[way[-1]]))
        return way

    return links_of_fields(dist.reshape(cost.shape), owner.reshape(cost.shape), price, trace)


def surface_of(side, patches):
    cost, labels = town(side, patches)
    return CostSurface(
        group="hedgehog", cost=cost, labels=labels,
        plots=pd.Index([f"p{k + 1}" for k in range(patches)]), steps=Steps.none(),
        grid=Grid(0.0, float(side), (side, side), 1.0, CRS("EPSG:27700")), gap_side_m=0.13,
    )  # fmt: skip


def pairs_of(surface):
    """Pairs of patches that reach each other, and of which neither is covered by another."""
    there = np.bincount(surface.labels.ravel(), minlength=len(surface.plots) + 1)[1:] > 0
    seen = [plot for plot, is_there in zip(surface.plots, there, strict=True) if is_there]
    return list(pairwise(seen[: PAIRS + 1]))


def one_by_one(surface, pairs):
    """The equations built once, then one independent sparse solve for each pair."""
    found = circuit(surface, load_knowledge())
    wires, node, count = found._wires, found._node, found._count
    one, two = node[wires.one], node[wires.two]
    part = found.part[0]
    del found
    off = coo_array((-np.r_[wires.conductance] * 2, (np.r_[one], np.r_[two])), shape=(count, count))
    off = (off + off.T) / 2
    matrix = csc_array(off)
    diagonal = -np.asarray(matrix.sum(axis=0)).ravel()
    used = diagonal > 0
    seconds, ohm = [], []
    assert part >= 0
    for a, b in pairs[:SOLVED]:
        start = time.perf_counter()
        i, j = (int(plot[1:]) - 1 for plot in (a, b))
        keep = used.copy()
        keep[j] = False
        equations = csc_array(matrix[keep][:, keep])
        equations.setdiag(diagonal[keep])
        feed = np.zeros(count)
        feed[i] = 1
        volts = spsolve(equations, feed[keep])
        ohm.append(volts[np.cumsum(keep)[i] - 1])
        seconds.append(time.perf_counter() - start)
    return float(np.median(seconds)), ohm


def part(name, side):
    """Run one part; what it prints is read by the parent."""
    said = {}
    if name in {"ours", "skimage", "scipy"}:
        cost, labels = town(side, 500)
        if name == "ours":
            ours(*town(200, 20))  # compile
        before = peak()
        route = {"ours": ours, "skimage": by_skimage, "scipy": by_scipy}[name]
        said["seconds"], found = best_of(lambda: route(cost, labels), 2)
        said["bytes_per_cell"] = (peak() - before + cost.nbytes + labels.nbytes) / cost.size
        said["links"], said["sum"] = len(found[0]), float(found[2].sum())
    else:
        surface = surface_of(side // 2, 60)
        pairs = pairs_of(surface)
        if name == "current":

            def work():
                return circuit(surface, load_knowledge()).resistance(pairs)

            said["seconds"], ohm = best_of(work, 1)
            said["ohm"] = [float(value) for value in ohm[:SOLVED]]
        else:
            each, ohm = one_by_one(surface, pairs)
            said["seconds"], said["ohm"] = each * len(pairs), [float(value) for value in ohm]
        said["peak_gb"] = peak() / 1e9
    print(json.dumps(said))


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--small", action="store_true")
    parser.add_argument("--part")
    parser.add_argument("--side", type=int, default=2000)
    options = parser.parse_args()
    side = 500 if options.small else options.side
    if options.part:
        part(options.part, side)
        return
    said = {}
    for name in ("ours", "skimage", "scipy", "current", "one by one"):
        run = subprocess.run(
            [sys.executable, __file__, "--part", name, "--side", str(side)],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        if run.returncode:
            sys.exit(run.stderr)
        said[name] = json.loads(run.stdout)
        print(f"{name:12s}", {key: value for key, value in said[name].items() if key != "ohm"})
    for other in ("skimage", "scipy"):
        # Owners differ where two patches are equally near: a link or two come and go with that.
        np.testing.assert_allclose(said["ours"]["sum"], said[other]["sum"], rtol=0.01)
        print(f"links: {said[other]['seconds'] / said['ours']['seconds']:.1f} x {other}")
    np.testing.assert_allclose(said["current"]["ohm"], said["one by one"]["ohm"], rtol=1e-6)
    ratio = said["one by one"]["seconds"] / said["current"]["seconds"]
    print(f"current: {ratio:.1f} x {PAIRS} independent solves, {said['current']['peak_gb']:.2f} GB")


if __name__ == "__main__":
    main()
