"""Small pieces of ground put together for tests."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from patchnet.knowledge import load_knowledge
from patchnet.read.neighbourhood import Answers, Neighbourhood

CRS = "EPSG:27700"


def _table(shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=CRS)


def _scene(plots, *, barriers=(), buildings=(), roads=(), footways=(), features=(), amounts=None):
    """A neighbourhood: plots {id: (shape, kind)}, barriers [(line, kind, gap, height)] ..."""
    know = load_knowledge()
    ids = pd.Index(list(plots), name="plot")
    table = gpd.GeoDataFrame(
        {"kind": [kind for _, kind in plots.values()], "label": list(plots), "street": ""},
        geometry=[shape for shape, _ in plots.values()], index=ids, crs=CRS,
    )  # fmt: skip
    table["area_m2"] = table.area
    keys = tuple(know.features)
    amount = np.full((len(ids), len(keys)), np.nan)
    for (plot, feature), value in (amounts or {}).items():
        amount[ids.get_loc(plot), keys.index(feature)] = value
    known = np.ones(amount.shape, np.bool_)
    return Neighbourhood(
        name="scene",
        plots=table,
        answers=Answers(ids, keys, amount, known, known),
        features=_table(
            [shape for shape, _ in features],
            plot=["" for _ in features],
            feature=[feature for _, feature in features],
            amount=[1.0 for _ in features],
        ),
        barriers=_table(
            [barrier[0] for barrier in barriers],
            kind=[barrier[1] for barrier in barriers],
            gap=[barrier[2] for barrier in barriers],
            height_m=[barrier[3] if len(barrier) > 3 else np.nan for barrier in barriers],
        ),
        buildings=_table(buildings, name=["" for _ in buildings]),
        roads=_table(
            [shape for shape, _ in roads],
            name=["" for _ in roads],
            width_m=[width for _, width in roads],
        ),
        footways=_table(footways, name=["" for _ in footways]),
    )


@pytest.fixture
def scene():
    return _scene


@pytest.fixture(scope="session")
def know():
    return load_knowledge()
