"""Hours of sun on terraces against shadow polygons made, joined and cut with shapely alone.

Run: python tests/benchmarks/sun_benchmark.py [--plots N]

The peer takes the same moments of one day: each house's shadow as a polygon (its footprint swept
away from the sun), an STRtree of the plots, the union of the shadows on each plot, and its area.
Prints seconds of both for that day, their ratio, how far the hours differ, and the seconds for
all twelve months and for a single plot.
"""

import argparse
import time

import geopandas as gpd
import numpy as np
import shapely

from patchnet.knowledge import load_knowledge
from patchnet.read import build_neighbourhood
from patchnet.sun.at_plot import plot_sun
from patchnet.sun.course import Course, place_of
from patchnet.sun.shade import sun_hours


def terraces(plots, knowledge):
    """Back gardens of 6 x 12 m behind houses 8 m deep, two rows back to back, 12 m of street."""
    rng = np.random.default_rng(20261125)
    per_row = max(10, round((plots / 3) ** 0.5 * 2))
    at = np.arange(plots)
    row, left = at // per_row, 400_000 + at % per_row * 6.0
    low = 300_000 + row * 20.0 + (row + 1) // 2 * 12.0
    house = np.where(row % 2, low + 12, low)
    garden = np.where(row % 2, low, low + 8)
    outlines = gpd.GeoDataFrame(
        {"id": [f"P{k:05d}" for k in at]},
        geometry=shapely.box(left, garden, left + 6, garden + 12),
        crs="EPSG:27700",
    )
    buildings = gpd.GeoDataFrame(
        {"height": rng.choice([5.5, 6.5, 9.0], plots)},
        geometry=shapely.box(left, house, left + 6, house + 8),
        crs="EPSG:27700",
    )
    return build_neighbourhood(outlines, buildings=buildings, knowledge=knowledge)


def by_polygons(hood, day):
    """Mean hours of each plot from swept footprints (convex here, so a hull sweeps them)."""
    plots = np.asarray(hood.plots.geometry.array, dtype=object)
    houses = np.asarray(hood.buildings.geometry.array, dtype=object)
    heights = hood.buildings["height_m"].to_numpy()
    tree, area = shapely.STRtree(plots), shapely.area(plots)
    hours = np.zeros(len(plots))
    corners, which = shapely.get_coordinates(houses, return_index=True)
    for slope, bearing, span in zip(day.slope, np.radians(day.bearing), day.hours, strict=True):
        moved = corners - (heights / slope)[which, None] * [np.sin(bearing), np.cos(bearing)]
        both = np.r_[which, which]
        order = np.argsort(both, kind="stable")
        points = shapely.multipoints(np.concatenate([corners, moved])[order], indices=both[order])
        shadows = shapely.convex_hull(points)
        shadow, plot = tree.query(shadows, predicate="intersects")
        lit = np.ones(len(plots))
        order = np.argsort(plot, kind="stable")
        hit, first = np.unique(plot[order], return_index=True)
        for one, group in zip(hit, np.split(shadow[order], first[1:]), strict=True):
            dark = shapely.intersection(plots[one], shapely.union_all(shadows[group]))
            lit[one] -= dark.area / area[one]
        hours += span * lit
    return hours


def main():
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--plots", type=int, default=400)
    asked = words.parse_args()
    knowledge = load_knowledge()
    hood = terraces(asked.plots, knowledge)
    start = time.perf_counter()
    mine = sun_hours(hood, knowledge, months=[6])
    own = time.perf_counter() - start
    start = time.perf_counter()
    theirs = by_polygons(hood, Course.of(place_of(hood.plots), [6], knowledge))
    peer = time.perf_counter() - start
    away = np.abs(mine.hours[6].to_numpy() - theirs)
    print(f"{asked.plots} plots, one day in June: {own:.2f} s; shapely alone {peer:.2f} s")
    print(f"ratio {peer / own:.1f}; hours differ by {away.mean():.3f}, at most {away.max():.2f}")
    start = time.perf_counter()
    sun_hours(hood, knowledge)
    print(f"all twelve months: {time.perf_counter() - start:.2f} s")
    start = time.perf_counter()
    plot_sun(hood, str(hood.plots.index[0]), knowledge=knowledge)
    print(f"everything about one plot: {time.perf_counter() - start:.2f} s")


if __name__ == "__main__":
    main()
