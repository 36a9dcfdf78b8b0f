"""A map written as a GeoPackage says what the map said, whatever files it was in."""

import geopandas as gpd
import pytest
import shapely

from patchnet.city.sources import open_source
from patchnet.read import read_neighbourhood
from patchnet.read.as_geopackage import as_geopackage, layers_as_geopackage
from patchnet.read.layers import layer_called


@pytest.fixture
def in_files(tmp_path):
    """Three gardens in a folder, and three tables of what is in them."""
    folder = tmp_path / "street"
    folder.mkdir()
    plots = gpd.GeoDataFrame(
        {"id": ["a", "b", "c"], "kind": "garden_back"},
        geometry=[shapely.box(450_000 + x, 210_000, 450_010 + x, 210_020) for x in (0, 10, 20)],
        crs="EPSG:27700",
    )
    plots.to_file(folder / "plots.gpkg")
    for name, row in {
        "features": "a,pond,3",
        "habitats": "b,shrub,9",
        "survey": "c,leaf_pile,1",
    }.items():
        (folder / f"{name}.csv").write_text(f"plot,feature,amount\n{row}\n")
    return folder


def said(path):
    amounts = read_neighbourhood(path).answers.table()
    there = amounts.stack()
    return {key: amount for key, amount in there.items() if amount > 0}


def test_no_table_of_features_is_lost(in_files, tmp_path):
    wanted = {("a", "pond"): 3.0, ("b", "shrub"): 9.0, ("c", "leaf_pile"): 1.0}
    assert said(in_files) == wanted
    copy = tmp_path / "copy.gpkg"
    as_geopackage(in_files, copy)
    assert said(copy) == wanted
    assert sum(role.startswith("table ") for role in open_source(copy).layers) == 3


def test_a_table_given_takes_the_place_of_those_that_are_there(in_files, tmp_path):
    (tmp_path / "other.csv").write_text("plot,feature,amount\na,shrub,7\n")
    copy = tmp_path / "copy.gpkg"
    layers_as_geopackage(in_files, copy, tmp_path / "other.csv")
    assert said(copy) == {("a", "shrub"): 7.0}


def test_a_layer_spelt_nearly_right_is_written_as_what_it_is(tmp_path):
    """What is read of a GeoPackage: the table given too, and plots under their own name."""
    plots = gpd.GeoDataFrame(
        {"id": ["a"], "kind": ["garden_back"], "features": ["pond 3"]},
        geometry=[shapely.box(450_000, 210_000, 450_010, 210_020)],
        crs="EPSG:27700",
    )
    plots.to_file(tmp_path / "map.gpkg", layer="plotts")
    (tmp_path / "other.csv").write_text("plot,feature,amount\na,shrub,7\n")
    copy = tmp_path / "copy.gpkg"
    layers_as_geopackage(tmp_path / "map.gpkg", copy, tmp_path / "other.csv")
    assert open_source(copy).plots.count == 1
    assert said(copy) == {("a", "pond"): 3.0, ("a", "shrub"): 7.0}


def test_what_was_drawn_on_phones_goes_along(in_files, tmp_path):
    drawn = gpd.GeoDataFrame(
        {"plot": ["a"], "feature": ["pond"], "shape": ["s1"], "return": ["r1"], "utc": ["x"]},
        geometry=[shapely.box(450_002, 210_002, 450_004, 210_004)],
        crs="EPSG:27700",
    )
    drawn.to_file(in_files / "plots.gpkg", layer="drawn")
    copy = tmp_path / "copy.gpkg"
    as_geopackage(in_files, copy)
    assert "drawn" in open_source(copy).layers
    kept = gpd.read_file(copy, layer="drawn")
    assert kept.geometry.to_list() == drawn.geometry.to_list()
    assert kept["shape"].to_list() == ["s1"]


@pytest.mark.parametrize("name", ["habitats", "habitats 1", "Habitats_12", "habitats1"])
def test_numbered_tables_are_read(name):
    assert layer_called(name) == "features"


@pytest.mark.parametrize("name", ["habitats old", "plots 1", "1", "habitats 1 old"])
def test_other_numbers_are_none_of_ours(name):
    assert layer_called(name) is None
