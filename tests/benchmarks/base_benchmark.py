"""The base map of a town of 5,000 houses, with parcels and without, and of one street of many.

Run: python tests/benchmarks/base_benchmark.py [--houses N] [--towns N]

Prints seconds for the whole command as a process of its own, for the tessellation alone, and as a
general-purpose peer in the same run momepy's enclosed tessellation of the same houses and blocks.

Then one street of an extract of many towns, with a drive to each house, back lanes, door numbers
and terraces drawn as one. The peer is what somebody with the box in hand would do: read the three
layers of the extract with GDAL inside that box, whole ways only, and nothing else.
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
import osmium
import pandas as pd
import pyogrio
import shapely
from osmium.osm.mutable import Node, Way

from patchnet.base.derived import derive_plots, street_corridor
from patchnet.knowledge import load_knowledge

LONG = 30  # houses in a row
METRE = 1e-5  # degrees: about a metre, for a town is no less a town if a little squeezed


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


def extract_of_towns(path, towns, streets=12, houses=40):
    """Write towns of parallel streets, each house with its drive and door, as one extract."""
    rng = np.random.default_rng(20261129)
    last = 0
    nodes, ways = [], []

    def line(points, tags, *, ring=False):
        nonlocal last
        refs = []
        for x, y in points:
            last += 1
            east, north = np.array([x, y]) + rng.uniform(-0.3, 0.3, 2)  # nobody draws true
            nodes.append(Node(id=last, version=1, location=(east * METRE, 50 + north * METRE)))
            refs.append(last)
        ways.append((refs + refs[:1] if ring else refs, tags))

    for town in range(towns):
        left = 4_000 * town
        for street in range(streets):
            y, name = 80 * street, f"Street {street} of Town {town}"
            line([(left, y), (left + 14 * houses, y)], {"highway": "residential", "name": name})
            line([(left, y + 40), (left + 14 * houses, y + 40)], {"highway": "service"})
            for k in range(houses):
                x = left + 14 * k
                own = {"building": "house", "addr:street": name, "addr:housenumber": str(k + 1)}
                corners = [(x, y + 10), (x + 8, y + 10), (x + 8, y + 20), (x, y + 20)]
                line(corners, own, ring=True)
                drive = {"highway": "service", "service": "driveway"}
                line([(x + 11, y), (x + 11, y + 22)], drive)
    with osmium.SimpleWriter(str(path), overwrite=True) as out:
        for node in nodes:
            out.add_node(node)
        for at, (refs, tags) in enumerate(ways, 1):
            out.add_way(Way(id=at, version=1, nodes=refs, tags=tags))


def one_street(folder, towns):
    """Time one street of many towns, the first time and after, and a town of 2,000 plots."""
    path = folder / "towns.osm.pbf"
    extract_of_towns(path, towns)
    print(f"extract of {towns} towns:  {path.stat().st_size / 1e6:6.0f} MB")
    name = f"Street 5 of Town {towns // 2}"
    for words in ("first time", "from then on"):
        command = timed_command(folder, [path, "--street", name], "street.gpkg")
        print(f"one street, {words}: {command}")
    left = 4_000 * (towns // 2)
    box = [edge * METRE for edge in (left - 50, 0, left + 14 * 40 + 50, 0)]
    box[1], box[3] = 50 + 350 * METRE, 50 + 450 * METRE
    before = time.perf_counter()
    for layer in ("points", "lines", "multipolygons"):
        pyogrio.read_dataframe(path, layer=layer, bbox=tuple(box), on_invalid="ignore")
    print(f"GDAL, the box in hand: {time.perf_counter() - before:6.1f} s, each time")
    town = folder / "town.osm.pbf"
    extract_of_towns(town, 1, streets=25)
    command = timed_command(folder, [town], "town.gpkg")
    made = len(pyogrio.read_dataframe(folder / "town.gpkg", layer="plots"))
    print(f"a town of {made:,} plots: {command}")


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--houses", type=int, default=5000)
    parser.add_argument("--towns", type=int, default=200)
    told = parser.parse_args()
    houses = told.houses
    with tempfile.TemporaryDirectory() as place:
        one_street(Path(place), told.towns)
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
