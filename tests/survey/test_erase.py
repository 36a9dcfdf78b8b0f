"""What is taken out of the map's own layers for one plot: how near, whose name, which rows."""

import sqlite3
from contextlib import closing

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from patchnet.core.geopackage import OutLayer, changing, write_geopackage
from patchnet.survey.erase import _in_units, _Named, empty_layers


def layer(table, name, crs):
    return OutLayer(name, gpd.GeoDataFrame(table, geometry="geometry", crs=crs))


@pytest.mark.parametrize(
    ("crs", "units"),
    [
        ("EPSG:27700", 1.0),
        ("EPSG:2277", 3937 / 1200),  # the US survey foot: 1200/3937 m (NIST SP 811, B.6)
        ("EPSG:4326", 180 / (3.141592653589793 * 6_378_137)),  # a degree on the WGS 84 equator
    ],
)
def test_a_metre_in_the_units_of_the_map(tmp_path, crs, units):
    path = tmp_path / "street.gpkg"
    write_geopackage(path, [layer({"geometry": [shapely.Point(1, 1)]}, "plots", crs)])
    with closing(sqlite3.connect(path)) as there:
        assert _in_units(there, "plots", 10) == pytest.approx(10 * units, rel=1e-9)


def test_a_cell_means_the_plot_in_any_spelling_that_is_no_other_plot():
    named = _Named("A1", ["A1", "b2", "7"])
    assert [named(cell) for cell in ("A1", " a1 ", "'A1", "b2", "B2", "", None)] == [
        True, True, True, False, False, False, False,
    ]  # fmt: skip
    assert _Named("7", ["A1", "7"])(7.0)
    both = _Named("A1", ["A1", "a1"])
    assert both("A1")
    assert not both("a1"), "another plot of its own"
    assert not both("a 1"), "either might be meant"


def street(tmp_path, homes):
    """So many gardens of 10 x 10 m in Elm Road, one beside the other, and one in Oak Road."""
    path = tmp_path / "street.gpkg"
    boxes = [shapely.box(10 * k, 0, 10 * k + 10, 10) for k in range(homes + 1)]
    plots = {
        "id": [f"p{k}" for k in range(homes + 1)],
        "kind": ["garden"] * (homes + 1),
        "label": [f"house {k}" for k in range(homes + 1)],
        "street": ["Elm Road"] * homes + ["Oak Road"],
        "geometry": boxes,
    }
    fences = {
        "gap": ["yes", "no", "yes"],
        "geometry": [shapely.LineString([(x, -5), (x, 15)]) for x in (-2, -2.1, 5)],
    }
    ponds = {
        "plot": ["p0", "p1", ""],
        "feature": ["pond", "bog", "pond"],
        "geometry": [shapely.Point(15, 5), shapely.Point(15, 5), shapely.Point(5, 5)],
    }
    write_geopackage(
        path,
        [
            layer(plots, "plots", "EPSG:27700"),
            layer(fences, "barriers", "EPSG:27700"),
            layer(ponds, "features", "EPSG:27700"),
            OutLayer("notes", pd.DataFrame({"plot": ["p0", "p1"], "note": ["hers", "his"]})),
        ],
    )
    return path


def emptied(path, **options):
    with changing(path) as there:
        removed = empty_layers(there, "p0", "id", 2.0, **{"outline": False, **options})
    return removed, {name: gpd.read_file(path, layer=name) for name in removed}


@pytest.mark.parametrize(("homes", "kept"), [(2, False), (3, True)])
def test_a_street_of_three_homes_is_no_one_households(tmp_path, homes, kept):
    _, left = emptied(street(tmp_path, homes))
    first = left["plots"].iloc[0]
    assert (first["id"], first["kind"]) == ("p0", "garden")
    assert pd.isna(first["label"])
    assert (first["street"] == "Elm Road") if kept else pd.isna(first["street"])
    assert left["plots"]["label"].iloc[1:].tolist() == [f"house {k}" for k in range(1, homes + 1)]


def test_what_lies_on_it_names_it_or_stands_within_two_metres(tmp_path):
    """One pond names it, one lies on it; the fence 2.1 m off is a neighbour's."""
    removed, left = emptied(street(tmp_path, 3))
    assert removed == {"barriers": 2, "features": 2, "notes": 1, "plots": 1}
    assert left["features"]["feature"].tolist() == ["bog"]
    assert left["barriers"]["gap"].isna().tolist() == [True, False, True]
    assert left["notes"]["note"].tolist() == ["his"]


def test_its_outline_goes_as_well_where_that_is_wanted(tmp_path):
    _, left = emptied(street(tmp_path, 3), outline=True)
    assert left["plots"]["id"].tolist() == ["p1", "p2", "p3"]


def test_a_column_by_the_users_own_name(tmp_path):
    path = street(tmp_path, 3)
    with closing(sqlite3.connect(path)) as there:
        there.execute("ALTER TABLE notes RENAME COLUMN plot TO parcel_no")
        there.commit()
    assert emptied(path)[0]["notes"] == 0
    assert emptied(path, said={"plot": "PARCEL_NO"})[0]["notes"] == 1
