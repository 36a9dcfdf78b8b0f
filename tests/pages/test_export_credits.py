"""The lines of attribution go out with every file, and come back with it."""

import dataclasses
import json

import geopandas as gpd
import pytest

from patchnet.assess import assess
from patchnet.pages.files.export import write_export, write_layers
from patchnet.read import read_neighbourhood

CREDITS = ('\N{COPYRIGHT SIGN} Someone & "others", ODbL', "Survey: the <b>volunteers</b>")


@pytest.mark.parametrize("form", ["geojson", "gpkg"])
def test_credits_make_the_round(assessment, tmp_path, form):
    hood = dataclasses.replace(assessment.neighbourhood, credits=CREDITS)
    answer = assess(hood, knowledge=assessment.knowledge, groups=["wren"])
    path = tmp_path / f"street.{form}"
    write_export(answer, path, form=form)
    again = read_neighbourhood(path, knowledge=assessment.knowledge)
    assert again.credits == CREDITS
    if form == "geojson":
        content = json.loads(path.read_text(encoding="utf-8"))
        assert content["credits"] == list(CREDITS)
        assert content["type"] == "FeatureCollection"


@pytest.mark.parametrize("lines", [CREDITS, ()])
def test_a_layer_without_rows_has_credits_too(tmp_path, lines):
    empty = gpd.GeoDataFrame({"id": []}, geometry=[], crs="EPSG:27700")
    path = tmp_path / "links.geojson"
    write_layers({"links": empty}, path, form="geojson", credit_lines=lines)
    content = json.loads(path.read_text(encoding="utf-8"))
    assert content["features"] == []
    assert content.get("credits", []) == list(lines)
