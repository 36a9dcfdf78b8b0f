"""The folder of a scheme: open formats, read back, written whole, never over others' files."""

import csv
import dataclasses
import html
import io
import json
import re

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from pyproj import Transformer

from patchnet.core.errors import CannotWrite
from patchnet.pages.kit.inline import outside_addresses
from patchnet.pages.scheme import (
    SchemePack,
    Told,
    ensure_scheme_folder,
    scheme_files,
    write_scheme_folder,
)
from patchnet.pages.scheme.files import SCHEME_FILES
from patchnet.pages.scheme.plans import proposal_sheets
from patchnet.read import read_neighbourhood


@pytest.fixture(scope="module")
def kept(demo_scheme):
    """The scheme with a keeper of an awkward name; one of its boxes has shrubs."""
    keeper = dataclasses.replace(demo_scheme.planters[0], keeper='=cmd|"Zoë, No. 4"')
    return dataclasses.replace(demo_scheme, planters=(keeper, *demo_scheme.planters[1:]))


@pytest.fixture(scope="module")
def files(kept, tmp_path_factory):
    return scheme_files(SchemePack(kept, Told()), tmp_path_factory.mktemp("scheme"))


@pytest.fixture(scope="module")
def folder(files, tmp_path_factory):
    path = tmp_path_factory.mktemp("written") / "scheme"
    write_scheme_folder(files, path)
    return path


def test_everything_is_there_and_nothing_would_be_fetched(files, folder):
    assert tuple(files) == SCHEME_FILES
    for name in SCHEME_FILES:
        assert (folder / name).stat().st_size > 0
        if name.endswith(".html"):
            assert outside_addresses(files[name]) == []


def test_csv_is_rfc_4180_and_runs_no_formula(files, demo_scheme):
    """RFC 4180: CRLF after every record, a header, the same number of fields in each, quotes
    doubled; read by the standard library alone."""
    data = files["planters.csv"]
    assert data.startswith(b"\xef\xbb\xbf")
    plain = data.decode("utf-8-sig")
    assert plain.endswith("\r\n")
    assert plain.count("\n") == plain.count("\r\n")
    rows = list(csv.reader(io.StringIO(plain, newline=""), strict=True))
    assert {len(row) for row in rows} == {len(rows[0])}
    assert len(rows) == 1 + len(demo_scheme.planters)
    told = [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]
    assert told[0]["keeper"] == '\'=cmd|"Zoë, No. 4"'
    assert told[2]["keeper"] == ""
    for one, row in zip(demo_scheme.planters, told, strict=True):
        assert row["planter"] == one.plot
        assert float(row["chainage_m"]) == one.site.chainage_m
        assert float(row["easting"]) == pytest.approx(one.site.centre.x, abs=0.001)
        assert float(row["clear_width_m"]) == one.site.clear_m
        assert row["clear_width_basis"] == one.site.clear_basis
        assert float(row["soil_litres"]) == pytest.approx(one.site.size.litres)


def rows_of(files, name):
    plain = files[name].decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(plain, newline="")))


def test_the_bill_adds_up_again_from_its_table(files, kept):
    """Line by line quantity x rate is the amount, to the penny; shares are of the lines above
    them; the amounts together are the sum on the front."""
    rows = rows_of(files, "bill.csv")
    pack = SchemePack(kept, Told())
    plants, above = 0.0, 0.0
    for row in rows:
        quantity, rate, amount = (float(row[key]) for key in ("quantity", "rate", "amount"))
        assert amount == pytest.approx(quantity * rate, abs=0.006), row["item"]
        if row["part"] == "plants" and row["unit"] == "no.":
            plants += amount
        elif row["part"] == "plants":
            assert quantity == pytest.approx(plants, abs=0.005)
        elif row["part"] == "contingency":
            assert quantity == pytest.approx(above, abs=0.005)
        above += amount
    assert above == pytest.approx(pack.total, abs=0.005)
    assert pack.money(above) in html.unescape(files["report.html"])
    shown = html.unescape(files["report.html"])
    for row in rows:
        assert f"£{float(row['amount']):,.2f}" in shown


def test_plants_of_the_bill_are_those_of_the_schedule(files):
    planted = rows_of(files, "planting.csv")
    bill = [row for row in rows_of(files, "bill.csv")
            if row["part"] == "plants" and row["unit"] == "no."]  # fmt: skip
    assert sum(float(row["quantity"]) for row in bill) == sum(int(row["number"]) for row in planted)
    cost = sum(int(row["number"]) * float(row["price"]) for row in planted)
    assert sum(float(row["amount"]) for row in bill) == pytest.approx(cost, abs=0.01)


def test_areas_drawn_billed_and_assessed_are_the_same(files, folder, kept, knowledge):
    """For every planter: length x width; the soil of its planting; the box on the plan, measured
    there; what the features in neighbourhood.gpkg come to; its part of soil and mulch in the
    bill. And shrubs: the crowns of the shrubs in planting.csv."""
    planters = rows_of(files, "planters.csv")
    planted = rows_of(files, "planting.csv")
    back = read_neighbourhood(folder / "neighbourhood.gpkg", knowledge=knowledge)
    drawn = "".join(sheet.drawn for sheet in proposal_sheets(SchemePack(kept, Told()), first=1))
    scale = proposal_sheets(SchemePack(kept, Told()), first=1)[0].paper.scale
    features = sorted({key for one in knowledge.recipes.values() for key in one.amounts})
    assert any(float(row["shrub_m2"]) > 0 for row in planters)
    soil = 0.0
    for row in planters:
        box = float(row["length_m"]) * float(row["width_m"])
        soil += box
        assert float(row["soil_m2"]) == pytest.approx(box, abs=1e-4)
        path = re.search(
            rf'<path class="proposed [a-z]+" d="([^"]+)"><title>{row["planter"]}<', drawn
        )[1]
        points = [(float(x), float(y)) for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", path)]
        assert shapely.Polygon(points).area * (scale / 1000) ** 2 == pytest.approx(box, rel=0.01)
        at = list(back.plots.index).index(row["planter"])
        assessed = dict(zip(back.answers.features, back.answers.amount[at], strict=True))
        told = {key: float(row[f"{key}_m2"]) for key in features}
        for key in features:
            assert assessed[key] == pytest.approx(told[key], abs=1e-4)
        assert sum(told.values()) == pytest.approx(box, abs=3e-4)
        assert sum(v for v in assessed.values() if v > 0) == pytest.approx(box, abs=3e-4)
        own = [one for one in planted if one["planter"] == row["planter"]]
        shrubs = sum(
            float(one["crowns_m2"]) for one in own
            if next(p for p in knowledge.plants.values() if p.name == one["plant"]).tier == "shrub"
        )  # fmt: skip
        if told["shrub"]:
            assert told["shrub"] == pytest.approx(shrubs, abs=1e-3)
        plants = sum(int(one["number"]) for one in own if one["layer"] != "bulb")
        assert int(row["plants"]) == plants
        assert plants >= 15 * box - 1e-9
    bill = {row["part"]: row for row in rows_of(files, "bill.csv")}
    assert float(bill["mulch"]["quantity"]) == pytest.approx(soil * 0.03, abs=1e-6)
    depth = {one.site.size.plan_m2: one.site.size.soil_depth_m for one in kept.planters}
    litres = sum(one.site.size.plan_m2 * depth[one.site.size.plan_m2] for one in kept.planters)
    assert float(bill["soil"]["quantity"]) == pytest.approx(1.1 * litres, abs=1e-6)


def test_the_years_add_up_again_from_their_table(files, kept):
    rows = rows_of(files, "years.csv")
    money = [row for row in rows if row["unit"] != "hours"]
    total = sum(float(value) for row in money for key, value in row.items() if "year_" in key)
    years = SchemePack(kept, Told()).years
    assert total == pytest.approx(years.amount, abs=0.01)
    assert len([key for key in rows[0] if key.startswith("year_")]) == 11


def test_geopackage_opens_elsewhere(folder, demo_scheme):
    path = folder / "scheme.gpkg"
    assert {name for name, _ in pyogrio.list_layers(path)} == {"planters", "sites", "street"}
    planters = pyogrio.read_dataframe(path, layer="planters")
    assert planters.crs == demo_scheme.neighbourhood.plots.crs
    for shape, one in zip(planters.geometry, demo_scheme.planters, strict=True):
        assert shape.equals_exact(one.site.polygon, 1e-6)
    sites = pyogrio.read_dataframe(path, layer="sites")
    assert list(sites["place"]) == [site.key for site in demo_scheme.sites]
    refused = sites[sites["verdict"] == "no"]
    assert (refused["reasons"].str.len() > 0).all()
    assert (refused["reasons"].str.contains(": no")).all()
    street = pyogrio.read_dataframe(path, layer="street")
    assert street.geometry[0].length == pytest.approx(demo_scheme.street.length_m)


def test_geojson_is_in_degrees_as_its_standard_asks(files, demo_scheme):
    """RFC 7946: WGS 84, longitude first, no crs member, rings to the left."""
    told = json.loads(files["planters.geojson"])
    assert "crs" not in told
    assert len(told["features"]) == len(demo_scheme.planters)
    to_world = Transformer.from_crs(
        demo_scheme.neighbourhood.plots.crs, "OGC:CRS84", always_xy=True
    )
    for feature, one in zip(told["features"], demo_scheme.planters, strict=True):
        ring = np.array(feature["geometry"]["coordinates"][0])
        expected = to_world.transform(one.site.centre.x, one.site.centre.y)
        assert ring[:-1].mean(axis=0) == pytest.approx(expected, abs=1e-6)
        x, y = ring.T
        assert np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]) > 0


def test_neighbourhood_reads_back_as_it_was(folder, demo_scheme, knowledge):
    whole = demo_scheme.neighbourhood
    back = read_neighbourhood(folder / "neighbourhood.gpkg", knowledge=knowledge)
    assert list(back.plots.index) == list(whole.plots.index)
    assert list(back.plots["kind"]) == list(whole.plots["kind"])
    np.testing.assert_array_equal(back.answers.amount, whole.answers.amount)
    np.testing.assert_array_equal(back.answers.sure, whole.answers.sure)
    assert back.plots.crs == whole.plots.crs
    for name in ("barriers", "buildings", "roads", "footways", "street_objects", "features"):
        one, other = getattr(back, name), getattr(whole, name)
        assert isinstance(one, gpd.GeoDataFrame)
        assert len(one) == len(other), name


def test_same_scheme_same_bytes(files, kept, tmp_path):
    again = scheme_files(SchemePack(kept, Told()), tmp_path)
    assert [name for name in files if again[name] != files[name]] == []
    assert not list(tmp_path.iterdir())


def test_a_new_folder_appears_whole_or_not_at_all(files, tmp_path, monkeypatch):
    target = tmp_path / "scheme"

    def full(self, target):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr("pathlib.Path.replace", full)
        with pytest.raises(CannotWrite, match="No space"):
            write_scheme_folder(files, target)
    assert list(tmp_path.iterdir()) == []
    write_scheme_folder(files, target)
    assert {path.name for path in target.iterdir()} >= set(SCHEME_FILES)


def test_files_of_others_are_left_alone(files, tmp_path):
    target = tmp_path / "scheme"
    write_scheme_folder(files, target)
    write_scheme_folder(files, target)  # its own files, unchanged since, may be replaced
    (target / "notes.txt").write_text("mine")
    (target / "planters.csv").write_text("corrected by hand")
    for check in (ensure_scheme_folder, lambda *a, **o: write_scheme_folder(files, *a, **o)):
        with pytest.raises(CannotWrite, match=r"planters\.csv"):
            check(target, overwrite=False)
    assert (target / "planters.csv").read_text() == "corrected by hand"
    write_scheme_folder(files, target, overwrite=True)
    assert (target / "planters.csv").read_bytes() == files["planters.csv"]
    assert (target / "notes.txt").read_text() == "mine"
    with pytest.raises(CannotWrite, match="is a file"):
        ensure_scheme_folder(target / "notes.txt", overwrite=True)
    with pytest.raises(CannotWrite, match="no folder"):
        ensure_scheme_folder(tmp_path / "nowhere" / "scheme", overwrite=False)
