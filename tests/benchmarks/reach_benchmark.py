"""A wide reach in bunches against the same as a sparse matrix of pairs: building, products, memory.

Run: python tests/benchmarks/reach_benchmark.py [--plots N] [--reach M]

Terraces with side streets, and who lies within a straight line of whom. The peer is what a
competent user would write: shapely's STRtree asked once for all pairs (dwithin), and scipy's sparse
matrix of them. Both are multiplied by the same ten columns, and the products are compared.
"""

import argparse
import time

import numpy as np
import scipy.sparse as sp
import shapely
from map_benchmark import terraces

from patchnet.assess.bunches import BunchedReach, Bunches
from patchnet.core.compiled import can_compile

MIB = 2**20
ROWS = 2_000  # plots asked for at once, as a tile of a city is


def seconds(work):
    start = time.process_time()
    return work(), time.process_time() - start


def main():
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--plots", type=int, default=8000)
    words.add_argument("--reach", type=float, default=1000.0)
    asked = words.parse_args()
    shapes = terraces(asked.plots, block=24).geometry.to_numpy()
    values = np.random.default_rng(1).random((asked.plots, 10))
    reach_mm = round(asked.reach * 1000)

    def in_bunches():
        bunches = Bunches(shapes, compiled=can_compile())
        parts = np.array_split(np.arange(asked.plots), -(-asked.plots // ROWS))
        runs = [bunches.rows_of_ones(part, reach_mm) for part in parts]
        return BunchedReach(bunches, lambda: runs), runs

    def in_pairs():
        # Half a millimetre more, as distances are rounded to whole ones.
        tree = shapely.STRtree(shapes)
        one, other = tree.query(shapes, predicate="dwithin", distance=asked.reach + 0.0005)
        ones = np.ones(len(one))
        return sp.coo_array((ones, (one, other)), shape=(asked.plots, asked.plots)).tocsr()

    in_bunches()  # compiles
    (bunched, runs), built = seconds(in_bunches)
    pairs, paired = seconds(in_pairs)
    ours, product = seconds(lambda: bunched @ values)
    theirs, plain = seconds(lambda: pairs @ values)
    held = sum(one.nbytes for run in runs for one in run.values())
    peer = pairs.data.nbytes + pairs.indices.nbytes + pairs.indptr.nbytes
    off = float(np.abs(ours - theirs).max() / theirs.max())
    near = pairs.nnz / asked.plots
    print(f"plots {asked.plots:,}, reach {asked.reach:g} m, {near:,.0f} in reach")
    print(f"{'':<24}{'bunches':>12}{'pairs':>12}{'ratio':>9}")
    rows = (
        ("built, CPU s", built, paired, paired / built),
        ("product, CPU s", product, plain, plain / product),
        ("memory, MiB", held / MIB, peer / MIB, peer / held),
    )
    for name, one, other, ratio in rows:
        print(f"{name:<24}{one:>12.3f}{other:>12.3f}{ratio:>9.1f}")
    print(f"largest difference of the products, over the largest: {off:.1e}")


if __name__ == "__main__":
    main()
