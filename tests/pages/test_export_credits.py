"""The lines of attribution go out with every file, and come back with it."""

import csv
import dataclasses
import json

import geopandas as gpd
import pytest
import shapely

from patchnet.assess import assess
from patchnet.core.fault_list import FaultList
from patchnet.core.table import read_table
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


def test_no_cell_of_a_csv_begins_as_a_formula(tmp_path):
    """What people wrote is no formula in a spreadsheet, and is read back as they wrote it."""
    said = ["=1+1", "+cmd|x", "-x", "@sum", "-2.5", "'s-Hertogenbosch"]
    table = gpd.GeoDataFrame(
        {"plot": said, "amount": [-1.5] * len(said)},
        geometry=[shapely.box(at, 0, at + 1, 1) for at in range(len(said))],
        crs="EPSG:27700",
    )
    path = tmp_path / "street.csv"
    write_layers({"plots": table}, path, form="csv", credit_lines=["=credit"])
    rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
    cells = [cell for row in rows[1:] for cell in row]
    assert not [cell for cell in cells if cell[0] in "=+@" or (cell[0] == "-" and cell[-1] == "x")]
    assert {row[1] for row in rows[1:]} == {"-1.5"}
    back = read_table(path, FaultList(), known=("plot",)).frame()
    assert back["plot"].tolist() == said
