"""Rows of small gardens with the shipped tables, everything known, for trials and plans."""

import dataclasses
import math

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from patchnet.knowledge import load_knowledge
from patchnet.read.neighbourhood import Answers, Neighbourhood

__all__ = ["FEATURES", "GIVEN", "TABLES", "changed", "garden_row", "linked", "neighbourhood"]

NAN = math.nan
TABLES = load_knowledge()
FEATURES = tuple(TABLES.features)
GIVEN = (
    "pond", "dead_wood_pile", "flower_border", "hedge_native", "bee_hotel", "bird_bath",
    "long_grass", "nest_box_sparrow", "tree_small", "leaf_pile", "old_roof_wall", "compost_heap",
)  # fmt: skip


def garden_row(rng, *, count, share=0.35, gaps=(0.0, 0.4, 12.0, 45.0, 110.0)):
    """Plots in two rows with gaps of all sizes, a few features on each; everything known."""
    shapes, left = [], 0.0
    for at in range(count):
        low = 25.0 * (at % 2)
        shapes.append(shapely.box(left, low, left + 6, low + 18))
        left += 3 + rng.choice(gaps)
    amount = np.zeros((count, len(FEATURES)))
    for feature in GIVEN:
        there = rng.random(count) < share
        typical = TABLES.features[feature].typical.value
        amount[there, FEATURES.index(feature)] = typical * rng.uniform(0.3, 3, there.sum()).round(2)
    return neighbourhood(shapes, amount)


def neighbourhood(shapes, amount, *, barriers=(), buildings=()):
    index = pd.Index([f"p{at}" for at in range(len(shapes))], name="plot")
    plots = gpd.GeoDataFrame(
        {"kind": "garden_back", "label": list(index), "street": ""},
        geometry=list(shapes), index=index, crs="EPSG:27700",
    )  # fmt: skip
    plots["area_m2"] = plots.area

    def layer(shapes, **columns):
        return gpd.GeoDataFrame(columns, geometry=list(shapes), crs="EPSG:27700")

    known = np.ones(amount.shape, dtype=bool)
    return Neighbourhood(
        name="row",
        plots=plots,
        answers=Answers(index, FEATURES, amount, known, known),
        features=layer([], plot=[], feature=[], amount=[]),
        barriers=layer(
            barriers, kind=["fence" for _ in barriers], gap=["no" for _ in barriers],
            height_m=[1.5 for _ in barriers],
        ),
        buildings=layer(
            buildings, name=["" for _ in buildings], height_m=[NAN for _ in buildings]
        ),
        roads=layer([], name=[], width_m=[]),
        footways=layer([], name=[], width_m=[]),
    )  # fmt: skip


def changed(place, plot, change):
    """The neighbourhood after a change, as somebody would enter it."""
    amount = place.answers.amount.copy()
    for feature, more in change.items():
        amount[plot, place.answers.features.index(feature)] += more
    return dataclasses.replace(place, answers=dataclasses.replace(place.answers, amount=amount))


def linked(assessment):
    return np.array([answer.measures.eca for answer in assessment.groups.values()])
