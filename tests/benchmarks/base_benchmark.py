"""The base map of a town of 5,000 houses, with parcels and without.

Run: python tests/benchmarks/base_benchmark.py [--houses N]

Prints seconds for the whole command as a process of its own, for the tessellation alone, and as a
general-purpose peer in the same run momepy's enclosed tessellation of the same houses and blocks.
"""

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import momepy
import numpy as np
import pandas as pd
import shapely

from patchnet.base.derived import derive_plots, street_corridor
from patchnet.knowledge import load_knowledge

LONG = 30  # houses in a row


def town(houses):
    """Back-to-back rows of terraces and semi-detached houses, with sheds, along named streets."""
    rng = np.random.default_rng(20261125)
    rows = -(-houses // LONG)
    plots, homes, sheds, roads = [], [], [], []
    for row in range(rows):
        block, upper = divmod(row, 2)
        column, line = block % 6, block // 6
        left, low = 400_000 + column * (LONG * 8 + 30), 300_000 + line * 90
        wide = 8 if row % 3 else 5.5
        for place in range(min(LONG, houses - row * LONG)):
            x = left + place * wide
            front = low + (75 if upper else 8)
            step = -1 if upper else 1
            plots.append(shapely.box(x, min(front, front + step * 33), x + wide,
                                     max(front, front + step * 33)))  # fmt: skip
            begin, end = front + step * rng.uniform(2, 5), front + step * 13
            gap = 0 if row % 3 == 0 else 1.5 * (place % 2)
            homes.append(shapely.box(x + gap, min(begin, end), x + wide - 1.5 + gap
                                     if row % 3 else x + wide, max(begin, end)))  # fmt: skip
            if rng.random() < 0.4:
                at = front + step * 29
                sheds.append(shapely.box(x + 0.5, at, x + 3, at + 2))
    lines = -(-rows // 12)
    width = 6 * (LONG * 8 + 30)
    for line in range(lines + 1):
        roads.append(
            (
                f"Row {line}",
                [(399_970, 300_000 + line * 90 - 2), (400_000 + width, 300_000 + line * 90 - 2)],
            )
        )
        roads.append(
            (
                f"Back {line}",
                [(399_970, 300_000 + line * 90 + 83), (400_000 + width, 300_000 + line * 90 + 83)],
            )
        )
    for column in range(7):
        x = 400_000 + column * (LONG * 8 + 30) - 15
        roads.append((f"Cross {column}", [(x, 299_990), (x, 300_000 + lines * 90 + 90)]))
    crs = "EPSG:27700"
    return (
        gpd.GeoDataFrame({"parcel_id": range(len(plots))}, geometry=plots, crs=crs),
        gpd.GeoDataFrame(
            {"building": ["house"] * len(homes) + ["shed"] * len(sheds)},
            geometry=homes + sheds, crs=crs,
        ),
        gpd.GeoDataFrame(
            {"name": [name for name, _ in roads]},
            geometry=[shapely.LineString(points) for _, points in roads], crs=crs,
        ),
    )  # fmt: skip


def timed_command(folder, inputs, name):
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    before = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "patchnet", "base", *map(str, inputs), "--credit", "none",
         "-o", str(folder / name), "--overwrite"],
        check=True, capture_output=True,
    )  # fmt: skip
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    work = after.ru_utime + after.ru_stime - used.ru_utime - used.ru_stime
    return f"{time.perf_counter() - before:6.1f} s, of it {work:.1f} s of one core's work"


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--houses", type=int, default=5000)
    houses = parser.parse_args().houses
    knowledge = load_knowledge()
    plots, buildings, roads = town(houses)
    print(f"{len(plots):,} plots, {len(buildings):,} buildings, {len(roads)} streets")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        for table, name in ((plots, "parcels"), (buildings, "buildings"), (roads, "roads")):
            table.to_file(folder / f"{name}.gpkg", layer=name)
        files = [folder / f"{name}.gpkg" for name in ("parcels", "buildings", "roads")]
        print(f"base with parcels:     {timed_command(folder, files, 'a.gpkg')}")
        print(f"base without parcels:  {timed_command(folder, files[1:], 'b.gpkg')}")
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        print(f"peak memory:           {peak:6.0f} MB")
    homes = buildings[buildings["building"] == "house"].reset_index(drop=True)
    streets = roads.assign(kind="street", width_m=np.nan)
    before = time.process_time()
    found = derive_plots(
        homes.geometry.to_numpy(), buildings.union_all(), street_corridor(streets, knowledge),
        shapely.Polygon(), knowledge,
    )  # fmt: skip
    own = time.process_time() - before
    before = time.process_time()
    theirs = momepy.enclosed_tessellation(
        homes.geometry, gpd.GeoSeries(found.blocks, crs=homes.crs), segment=2.0, n_jobs=1
    )
    peer = time.process_time() - before
    print(f"tessellation:          {own:6.1f} s for {len(found.plots):,} plots")
    print(f"momepy, same blocks:   {peer:6.1f} s for {len(theirs):,}; ratio {peer / own:.1f}")
    shares = pd.Series(shapely.area(found.plots))
    print(f"median derived plot:   {shares.median():6.0f} m2")


if __name__ == "__main__":
    main()
