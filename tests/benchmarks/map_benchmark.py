"""The whole map command on a neighbourhood of 1,000 plots and all wildlife groups.

Run: python tests/benchmarks/map_benchmark.py [--plots N] [--open] [--once]

Terraces back to back with houses, roads and a fence on every border, half of the fences without a
gap and half not known; `--open` leaves all of those out. Prints seconds for the command as a
whole process, without draws, which small places have and large ones not, and without a cache (a
first run compiles the kernels, the second finds them compiled; `--once`: they are), what the last
takes of the processor, and for a million pairs of plots in reach of each other of the clock, the
peak memory of its largest process, and the size of the page. As a general-purpose peer in the same
run: geopandas alone reading the same file and finding all pairs within the longest reach.
"""

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import shapely
from scipy.spatial import cKDTree

from patchnet.knowledge.load import load_knowledge

WORDS = (
    ("lawn_short", 30, 0.7), ("flower_border", 8, 0.5), ("shrub", 6, 0.5), ("tree_small", 1, 0.3),
    ("hedge_native", 6, 0.2), ("pond", 2, 0.1), ("bird_feeder", 1, 0.3), ("paving", 20, 0.6),
    ("climber", 4, 0.2), ("long_grass", 8, 0.1), ("nest_box_small", 1, 0.15),
    ("old_roof_wall", 1, 0.1), ("dead_wood_pile", 1, 0.12), ("bee_hotel", 1, 0.08),
    ("compost_heap", 1, 0.2), ("leaf_pile", 1, 0.08), ("ivy_mature", 3, 0.1),
)  # fmt: skip

# Lines that are read by run.py.
PROCESSOR = "of the processor, the last run"
A_MILLION = "wall clock, a million of them"
SIDE_STREET_M = 12.0


def terraces(plots, *, seed=20261125, block=None):
    """Back-to-back terraces of 6 x 20 m plots with roads between, a third of them unseen.

    With `block` a side street runs through after every so many houses.
    """
    rng = np.random.default_rng(seed)
    per_row = max(10, round((plots / 3) ** 0.5 * 2))
    at = np.arange(plots)
    row, column = at // per_row, at % per_row
    left = 400000 + column * 6.0 + (0.0 if block is None else column // block * SIDE_STREET_M)
    low = 300000 + row * 20.0 + (row // 2) * 26.0
    lists, seen = [], []
    for unseen in rng.random(plots) < 1 / 3:
        chosen = [
            f"{word} {amount * rng.uniform(0.5, 1.5):.1f}"
            for word, amount, share in WORDS
            if rng.random() < share
        ]
        lists.append("" if unseen else "; ".join(chosen))
        seen.append("none" if unseen else "all")
    return gpd.GeoDataFrame(
        {
            "id": [f"P{k:05d}" for k in at],
            "kind": "garden_back",
            "label": [f"{c + 1} Row {r + 1}" for r, c in zip(row, column, strict=True)],
            "street": [f"Row {r // 2 + 1}" for r in row],
            "seen": seen,
            "features": lists,
        },
        geometry=shapely.box(left, low, left + 6, low + 20),
        crs="EPSG:27700",
    )


def write_terraces(plots, file, *, walled, block=None):
    """Plots, and with `walled` their houses, fences and roads, as layers of one GeoPackage."""
    shapes = terraces(plots, block=block)
    pyogrio.write_dataframe(shapes, file, layer="plots", driver="GPKG")
    if not walled:
        return
    west, south, east, north = shapes.geometry.bounds.to_numpy().T
    # Two rows back to back, then a road: houses stand on the road's side, 8 m deep.
    upper = np.array([int(label.split(" Row ")[1]) % 2 == 0 for label in shapes["label"]])
    houses = shapely.box(
        west, np.where(upper, north - 8, south), east, np.where(upper, north, south + 8)
    )
    sides = shapely.linestrings(
        [[(x, low), (x, high)] for x, low, high in zip(west, south, north, strict=True)]
    )
    ends = shapely.linestrings(
        [[(a, y), (b, y)] for a, b, y in zip(west, east, north, strict=True)]
    )[~upper]
    fences = gpd.GeoDataFrame(
        {"kind": "fence", "height": 1.8, "gap": np.resize(["no", "not known"], plots + len(ends))},
        geometry=[*sides, *ends], crs=shapes.crs,
    )  # fmt: skip
    between = np.unique(south[~upper]) - 13
    roads = gpd.GeoDataFrame(
        {"name": [f"Road {at}" for at in range(len(between))], "width": 5.0},
        geometry=shapely.linestrings(
            [[(west.min(), y), (east.max(), y)] for y in between]
        ), crs=shapes.crs,
    )  # fmt: skip
    buildings = gpd.GeoDataFrame({"name": ""}, index=range(plots), geometry=houses, crs=shapes.crs)
    for layer, table in (("buildings", buildings), ("barriers", fences), ("roads", roads)):
        pyogrio.write_dataframe(table, file, layer=layer, driver="GPKG", append=True)


def pairs_reached(shapes):
    """How often one plot lies within reach of another, over all needs of all animals, in millions.

    By straight lines between their middles: a measure of the work that does not depend on how it
    is done.
    """
    middle = shapely.get_coordinates(shapely.centroid(shapes))
    tree = cKDTree(middle)
    groups = load_knowledge().groups.values()
    reaches = sorted({need.reach.value for group in groups for need in group.needs})
    count = dict(zip(reaches, tree.count_neighbors(tree, reaches).tolist(), strict=True))
    return sum(count[need.reach.value] for group in groups for need in group.needs) / 1e6


def main():
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--plots", type=int, default=1000)
    words.add_argument("--open", action="store_true")
    words.add_argument("--longest-m", type=float, default=1000)
    words.add_argument("--once", action="store_true", help="kernels are compiled already")
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        file, page = Path(folder) / "terraces.gpkg", Path(folder) / "page.html"
        write_terraces(asked.plots, file, walled=not asked.open)
        seconds = []
        command = (
            sys.executable, "-m", "patchnet", "map", file, "-o", page, "--draws", "0", "--no-cache",
            "--overwrite",
        )  # fmt: skip
        for _ in range(1 if asked.once else 2):
            start, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
            subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
            seconds.append(time.perf_counter() - start)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        processor = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        start = time.perf_counter()
        read = gpd.read_file(file, layer="plots")
        gpd.sjoin(read, read, predicate="dwithin", distance=asked.longest_m)
        peer = time.perf_counter() - start
        memory = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        pairs = pairs_reached(read.geometry.to_numpy())
        print(f"plots                                {asked.plots:>10,}")
        print(f"whole command, first run             {seconds[0]:>10.1f} s")
        print(f"whole command, kernels compiled      {seconds[-1]:>10.1f} s")
        print(f"{PROCESSOR:<36} {processor:>10.1f} s")
        print(f"pairs in reach, all needs            {pairs:>10,.1f} million")
        # A town is worked out by processes of processes, whose seconds nobody adds up.
        print(f"{A_MILLION:<36} {seconds[-1] / pairs:>10.4f} s")
        print(f"geopandas: read and one join alone   {peer:>10.1f} s")
        print(f"ratio, command to the join alone     {seconds[-1] / peer:>10.2f}")
        print(f"peak memory of a process             {memory:>10,.0f} MB")
        print(f"page                                 {page.stat().st_size / 1e6:>10.2f} MB")


if __name__ == "__main__":
    main()
