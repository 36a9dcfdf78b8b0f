"""A city worked out in tiles is the city worked out whole, however it is cut or interrupted."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from worlds.small_city import write_city

from patchnet.assess import assess
from patchnet.assess.tables import break_table, plot_table
from patchnet.city.assess_city import assess_city, read_city
from patchnet.core.errors import CannotWrite, DataFaults, WrongUse
from patchnet.knowledge import load_knowledge
from patchnet.read import read_neighbourhood

ANIMALS = ("mason_bee", "sparrow", "wren", "slow_worm", "newt")
CELL = 1.0


@pytest.fixture(scope="module")
def knowledge():
    return load_knowledge()


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    path = tmp_path_factory.mktemp("city") / "city.gpkg"
    write_city(path)
    return path


@pytest.fixture(scope="module")
def whole(file, knowledge):
    hood = read_neighbourhood(file, knowledge=knowledge)
    return assess(hood, knowledge=knowledge, groups=ANIMALS, cell_m=CELL)


def in_tiles(file, folder, knowledge, side, **others):
    return assess_city(
        file, folder, tile_m=side, groups=ANIMALS, knowledge=knowledge, cell_m=CELL, workers=1,
        **others,
    )  # fmt: skip


@pytest.fixture(scope="module")
def city(file, knowledge, tmp_path_factory):
    return in_tiles(file, tmp_path_factory.mktemp("tiled") / "answer", knowledge, 40)


def plots_in(city):
    tables = [gpd.read_parquet(city.folder / name) for name in city.tiles["file"]]
    return pd.concat(tables).set_index("id")


def test_tiles_equal_the_whole(city, whole):
    """Sums to a billionth, homes to what sharing promises, parts the same."""
    assert len(city.tiles) > 8
    expected = plot_table(whole)
    found = plots_in(city).loc[expected.index]
    assert city.tiles["plots"].sum() == len(expected) == len(plots_in(city))
    for name in expected.columns.drop("geometry"):
        one, other = expected[name], found[name]
        if name.startswith("component_"):
            assert (
                (pd.crosstab(one, other) > 0).to_numpy().sum() == one.nunique() == other.nunique()
            )
        elif pd.api.types.is_numeric_dtype(one):
            np.testing.assert_allclose(other, one, rtol=1e-8, atol=1e-9, err_msg=name)
        else:
            assert other.astype(str).tolist() == one.astype(str).tolist(), name
    assert found.geometry.geom_equals(expected.geometry).all()
    totals = whole.table()
    for name in ("room", "homes", "homes_low", "homes_high", "linked_homes"):
        np.testing.assert_allclose(city.animals[name], totals[name], rtol=1e-8, err_msg=name)
    assert city.animals["parts"].tolist() == totals["parts"].tolist()
    for key, answer in whole.groups.items():
        numerator = city.animals.loc[key, "pc_numerator"]
        assert numerator == pytest.approx(answer.measures.pc_numerator, rel=1e-8), key


def test_ways_and_breaks_are_the_same_to_the_millimetre(city, whole):
    expected = break_table(whole)
    (path,) = (city.folder / "tiles").glob("breaks.*")
    found = gpd.read_parquet(path)
    assert len(expected) > 5
    assert {"wren", "slow_worm"} <= set(expected["group"])

    def by_ends(table):
        ends = [frozenset(pair) for pair in zip(table["from_plot"], table["to_plot"], strict=True)]
        return table.set_index(
            pd.Index(zip(table["group"], ends, strict=True), tupleize_cols=False)
        )

    one, other = by_ends(expected), by_ends(found)
    assert set(one.index) == set(other.index)
    other = other.loc[list(one.index)]
    for name in ("width_m", "cost_m"):
        assert (other[name] * 1000).round().tolist() == (one[name] * 1000).round().tolist()
    np.testing.assert_allclose(other["homes_won"], one["homes_won"], rtol=1e-7, atol=1e-12)
    assert (other["stepping_stones"] == one["stepping_stones"]).all()
