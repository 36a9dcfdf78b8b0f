"""Whether the middle 90 in 100 of the draws hold the truth 90 times in 100, where it is drawn too.

Run: python tests/calibration/range_holds.py [--places 300] [--draws 60]

Invented neighbourhoods, some of whose answers nobody knows. The truth of each is one draw of
another seed: figures out of our tables, answers out of what was seen. So this tests how draws are
made and put together, not the tables: those may be wrong beyond their ranges.
"""

import argparse

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from patchnet.assess import assess
from patchnet.assess.doubt import doubt_of
from patchnet.assess.over_draws import answers_in_draws, draws_of
from patchnet.knowledge import load_knowledge
from patchnet.read.neighbourhood import Answers, Neighbourhood

TABLES = load_knowledge()
FEATURES = tuple(TABLES.features)
GROUPS = ("wren", "moth", "mason_bee", "frog")
SEEN = (
    "pond", "dead_wood_pile", "flower_border", "hedge_native", "long_grass", "tree_small",
    "shrub", "leaf_pile", "lawn_short", "bee_hotel",
)  # fmt: skip


def place(seed, *, count=14):
    """Gardens in two rows with gaps; two in five answers nobody knows."""
    rng = np.random.default_rng(seed)
    shapes, left = [], 0.0
    for at in range(count):
        low = 28.0 * (at % 2)
        shapes.append(shapely.box(left, low, left + 7, low + 20))
        left += 4 + rng.choice([0.0, 0.5, 8.0, 40.0])
    amount = np.zeros((count, len(FEATURES)))
    for feature in SEEN:
        there = rng.random(count) < rng.uniform(0.2, 0.7)
        usual = TABLES.features[feature].typical.value
        amount[there, FEATURES.index(feature)] = usual * rng.uniform(0.5, 2, there.sum())
    amount[rng.random(amount.shape) < 0.4] = np.nan
    index = pd.Index([f"p{at + 1}" for at in range(count)], name="plot")
    plots = gpd.GeoDataFrame(
        {
            "kind": ["garden_back" if at % 2 else "garden_front" for at in range(count)],
            "label": list(index),
            "street": "",
            "area_m2": [shape.area for shape in shapes],
        },
        geometry=shapes,
        index=index,
        crs="EPSG:27700",
    )
    there = np.nan_to_num(amount) > 0
    empty = gpd.GeoDataFrame({"name": []}, geometry=[], crs="EPSG:27700")
    return Neighbourhood(
        name=f"place {seed}",
        plots=plots,
        answers=Answers(index, FEATURES, amount, there, np.ones_like(there)),
        features=empty, barriers=empty, buildings=empty, roads=empty, footways=empty,
    )  # fmt: skip


def held(seed, draws):
    """For each animal: whether its range holds the truth, and on which side it lies."""
    answer = assess(place(seed), knowledge=TABLES, groups=GROUPS, straight=True)
    doubt = doubt_of(answer, draws=draws, seed=2 * seed)
    (truth,) = answers_in_draws(draws_of(answer, 1, 2 * seed + 1), [0])
    found = []
    for key, one in truth.groups.items():
        spread, value = doubt.groups[key].linked_homes, one.measures.eca
        found.append((value < spread.low - 1e-12, value > spread.high + 1e-12))
    return found


def main():
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--places", type=int, default=300)
    ask.add_argument("--draws", type=int, default=60)
    said = ask.parse_args()
    found = np.array([held(seed, said.draws) for seed in range(said.places)])
    print(f"{said.places} places, {len(GROUPS)} animals, {said.draws} draws each")
    for at, key in enumerate(GROUPS):
        below, above = found[:, at].mean(axis=0)
        print(
            f"{key:>12}: held {1 - below - above:.3f}, truth below {below:.3f}, above {above:.3f}"
        )
    below, above = found.mean(axis=(0, 1))
    print(f"{'all':>12}: held {1 - below - above:.3f}, truth below {below:.3f}, above {above:.3f}")


if __name__ == "__main__":
    main()
