"""How long a city takes with more workers: foretold from its pieces, and then measured.

Run: python tests/benchmarks/workers_benchmark.py [--plots N] [--tile M] [--workers W ...]

The terraces of map_benchmark.py with houses, fences and roads. A Dask cluster of one worker, on
one core, does piece after piece; then one on each core does so at once, for two cores that are
busy get less done than twice one (they may be one core's two threads, and share its memory). What
is left of the whole is done by one process whatever the number of workers. From that the wall
clock of each number of workers is worked out: pieces are handed out in their order, and more
workers than cores share these evenly. Then a cluster of so many does the same, and both are told.
Each has answered for one animal before. Not foretold: that every worker loads what the pieces
share.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

from distributed import LocalCluster
from map_benchmark import write_terraces

import patchnet

SMALL = ("wren",)


class Pieces:
    """Seconds of each piece, step by step, as they are done one after the other."""

    def __init__(self):
        self.steps = []

    def __call__(self, done, _doing, _total):
        took = []
        self.steps.append(took)
        begun = time.perf_counter()
        for one in done:
            took.append(time.perf_counter() - begun)
            yield one
            begun = time.perf_counter()


def wall_of(pieces, workers, cores, slower):
    """Seconds until all pieces of a step are done, handed out in order to so many workers.

    `slower`: how many times as long a piece takes while other cores are busy.
    """
    waiting, going, clock = list(pieces), [], 0.0
    while waiting or going:
        while waiting and len(going) < workers:
            going.append(waiting.pop(0))
        each = min(1.0, cores / len(going)) / (slower if len(going) > 1 else 1.0)
        passed = min(going) / each
        clock += passed
        going = [left for one in going if (left := one - passed * each) > 1e-9]
    return clock


def worked_out(file, folder, tile_m, **asked):
    """Seconds that a city takes."""
    begun = time.perf_counter()
    patchnet.assess_city(file, folder, tile_m=tile_m, memory_gb=64, **asked)
    return time.perf_counter() - begun


@contextmanager
def cluster_of(workers, file, first, tile_m):
    """Give the address of a cluster that stands: it has answered for one animal before."""
    with LocalCluster(
        n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        address = cluster.scheduler_address
        worked_out(file, first, tile_m, scheduler=address, groups=SMALL)
        yield address


def piece_by_piece(file, folder, tile_m):
    """What a cluster of one worker says of the pieces of a city."""
    pieces = Pieces()
    with cluster_of(1, file, f"{folder}_first", tile_m) as address:
        whole = worked_out(file, folder, tile_m, scheduler=address, progress=pieces)
    print(json.dumps({"whole": whole, "steps": pieces.steps}))


def side_by_side(file, folder, tile_m, cores):
    """Let a worker on each of these cores work out the city at once; what each says."""
    going = []
    for core in cores:
        words = ("--one", str(core), str(file), str(Path(folder) / f"{len(cores)}_{core}"))
        going.append(
            subprocess.Popen(
                [sys.executable, __file__, "--tile", str(tile_m), *words],
                stdout=subprocess.PIPE, text=True,
            )
        )  # fmt: skip
    return [json.loads(one.communicate()[0]) for one in going]


def seconds_in(told):
    return sum(map(sum, told["steps"]))


def main():
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--plots", type=int, default=4000)
    words.add_argument("--tile", type=int, default=400)
    words.add_argument("--workers", type=int, nargs="+", default=[2, 4])
    words.add_argument("--one", nargs=3, help=argparse.SUPPRESS)  # core, file, folder
    asked = words.parse_args()
    if asked.one:
        os.sched_setaffinity(0, {int(asked.one[0])})
        piece_by_piece(*asked.one[1:], asked.tile)
        return
    cores = sorted(os.sched_getaffinity(0))
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "terraces.gpkg"
        write_terraces(asked.plots, file, walled=True, block=20)
        (alone,) = side_by_side(file, folder, asked.tile, cores[:1])
        busy = side_by_side(file, folder, asked.tile, cores)
        slower = sum(map(seconds_in, busy)) / len(busy) / seconds_in(alone)
        left = alone["whole"] - seconds_in(alone)
        count = sum(map(len, alone["steps"]))
        print(f"plots {asked.plots:,}, pieces of work {count}, cores {len(cores)}")
        print(f"alone, on one core: {alone['whole']:.1f} s, {left:.1f} s of it outside pieces")
        print(f"the same while all cores do so: {slower:.2f} times as long")
        for workers in asked.workers:
            foretold = left + sum(
                wall_of(step, workers, len(cores), slower) for step in alone["steps"]
            )
            home = Path(folder) / f"by_{workers}"
            with cluster_of(workers, file, f"{home}_first", asked.tile) as address:
                took = worked_out(file, home, asked.tile, scheduler=address)
            print(f"{workers} workers: foretold {foretold:.1f} s, measured {took:.1f} s "
                  f"({took / foretold - 1:+.0%})")  # fmt: skip


if __name__ == "__main__":
    main()
