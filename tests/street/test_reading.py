"""The layer of things in the street, out of the files that people have."""

import geopandas as gpd
import pytest
import shapely

from patchnet.read import check_file, read_neighbourhood
from patchnet.street import find_street


@pytest.fixture
def layers(straight):
    straight.objects = [
        ("Lamp Post", shapely.Point(20, 3.4), None),
        ("drive", shapely.Point(60, 3), 2.8),
    ]
    plot = [("p1", shapely.box(0, 10, 20, 40), "garden")]
    return {
        "plots": straight.table(plot, (0, "id"), (2, "kind")),
        "roads": straight.table(straight.roads, (0, "name"), (2, "width_m"), (3, "maxspeed")),
        "things": straight.table(straight.objects, (0, "type"), (2, "width")),
    }


@pytest.mark.parametrize("called", ["street_objects", "Street Objects", "street furniture"])
def test_in_a_geopackage(called, layers, know, tmp_path):
    path = tmp_path / "street.gpkg"
    for name in ("plots", "roads"):
        layers[name].to_file(path, layer=name)
    layers["things"].to_file(path, layer=called)
    hood = read_neighbourhood(path, knowledge=know)
    assert list(hood.street_objects["kind"]) == ["lamp_column", "driveway"]
    assert hood.street_objects["width_m"].iloc[1] == 2.8
    street = find_street(hood, "High Street", knowledge=know)
    assert street.objects_known
    assert {thing.kind.key for thing in street.objects} == {"lamp_column", "driveway"}
    assert street.speed_mph == 20
    assert any("without a unit" in str(f) or "was read as mph" in str(f) for f in hood.faults)


def test_in_a_folder_in_degrees(layers, know, tmp_path):
    for name, file in (("plots", "plots"), ("roads", "roads"), ("things", "street_objects")):
        layers[name].to_crs(4326).to_file(tmp_path / f"{file}.geojson")
    report = check_file(tmp_path, knowledge=know)
    assert report.errors == 0
    assert report.counts["street_objects"] == 2
    assert len(report.neighbourhood.street_objects) == 2


def test_without_the_layer_nobody_looked(layers, know, tmp_path):
    path = tmp_path / "street.gpkg"
    for name in ("plots", "roads"):
        layers[name].to_file(path, layer=name)
    assert read_neighbourhood(path, knowledge=know).street_objects is None


def test_without_kinds_it_is_an_error_with_the_way_out(layers, know, tmp_path):
    path = tmp_path / "street.gpkg"
    for name in ("plots", "roads"):
        layers[name].to_file(path, layer=name)
    gpd.GeoDataFrame(layers["things"][["geometry"]]).to_file(path, layer="street_objects")
    report = check_file(path, knowledge=know)
    assert report.errors == 1
    assert "Add a column kind" in str(report.faults)
