"""A world small enough to work out on paper: one group, 'imp', that nests and eats."""

import importlib.util
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from patchnet.knowledge.records import (
    Anchor,
    Feature,
    Figure,
    Group,
    Knowledge,
    Need,
    Resource,
    Supply,
)
from patchnet.read.neighbourhood import Answers, Neighbourhood

SETTINGS = {
    "prior_strength": 2,
    "p_cut": 1e-4,
    "quality_floor": 0.01,
    "break_hops": 5,
    "view_m": 150,
    "plenty_ratio": 2,
    "same_break_m": 5,
    "moved_share": 0.02,
    "range_share": 0.9,
    "range_farthest": 3,
    "sure_in": 0.95,
}


def figure(value, unit="", key="k"):
    return Figure(key, float(value), unit, value, value, "assumption", ("patchnet",), "", "here")


def feature(key, *, measure="count", typical=1, ground=0):
    return Feature(
        key=key, name=key.title(), measure=measure, typical=figure(typical),
        smallest=figure(1), ground=figure(ground), years_to_work=figure(0), container=True,
        effort="low", cost="low", free=True, months=tuple(range(1, 13)), cautions=(),
        addable=True, green=True, words=(),
    )  # fmt: skip


def make_knowledge(*, hop=60, d50=50, reach=60, anchor_reach=20, months=(4, 5), food_months=None,
                   rule="worst", amount=4, step_min=1, ground=0):  # fmt: skip
    weights = tuple(float(food_months is None or m in food_months) for m in range(1, 13))
    need = Need(
        key="food", group="imp", name="food", resource="bloom", months=months, month_rule=rule,
        amount=figure(amount, "units"), reach=figure(reach, "m"), weight=figure(1), floor=figure(0),
    )  # fmt: skip
    group = Group(
        key="imp", name="Imp", latin="Impus parvus", mode="air", hop=figure(hop, "m"),
        d50=figure(d50, "m"), active_months=(4, 5), anchors=(Anchor("nest", figure(1)),),
        anchor_reach=figure(anchor_reach, "m"), step_resource="bloom",
        step_min=figure(step_min), weight=figure(1), caution="none", home_is="one imp",
        needs=(need,),
    )  # fmt: skip
    full = (1.0,) * 12
    return Knowledge(
        groups={"imp": group},
        features={"nest": feature("nest"), "food": feature("food", ground=ground)},
        resources={
            "nest": Resource("nest", "nests", "n"),
            "bloom": Resource("bloom", "food", "u", by_month=True),
        },
        supplies=(
            Supply("nest", "nest", figure(1), full),
            Supply("food", "bloom", figure(1), weights),
        ),
        cautions={}, plants={}, plot_kinds={}, sources={}, figures={},
        settings={key: figure(value) for key, value in SETTINGS.items()},
    )  # fmt: skip


def make_street(amounts, *, lefts=None, width=10, kinds=None, shapes=None):
    """Square plots in a row; amounts are rows of (nest, food), NaN not known."""
    amounts = np.asarray(amounts, dtype=float)
    if shapes is None:
        lefts = [60 * at for at in range(len(amounts))] if lefts is None else lefts
        shapes = [shapely.box(left, 0, left + width, 10) for left in lefts]
    index = pd.Index([f"p{at + 1}" for at in range(len(amounts))], name="plot")
    plots = gpd.GeoDataFrame(
        {
            "kind": kinds or ["garden"] * len(amounts),
            "label": list(index),
            "street": "",
            "area_m2": [shape.area for shape in shapes],
        },
        geometry=list(shapes),
        index=index,
        crs="EPSG:27700",
    )
    there = np.nan_to_num(amounts) > 0
    empty = gpd.GeoDataFrame({"name": []}, geometry=[], crs="EPSG:27700")
    return Neighbourhood(
        name="row",
        plots=plots,
        answers=Answers(index, ("nest", "food"), amounts, there, np.ones_like(there)),
        features=empty, barriers=empty, buildings=empty, roads=empty, footways=empty,
    )  # fmt: skip


@pytest.fixture
def knowledge():
    return make_knowledge


@pytest.fixture
def street():
    return make_street


@pytest.fixture(scope="session")
def cases():
    """Small scheme cases and their second route (the benchmark reads them too)."""
    spec = importlib.util.spec_from_file_location(
        "scheme_cases", Path(__file__).with_name("scheme_cases.py")
    )
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module
