"""The same street in every kind of file gives the same neighbourhood."""

import importlib.util
import json
import shutil
import sqlite3
import zipfile
from contextlib import closing

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

from patchnet.core.errors import CannotRead, DataFaults
from patchnet.demo.files import demo_files, demo_layers
from patchnet.read import check_file, read_neighbourhood

LISTS = ["pond 4; no bulbs; tree 2?", "lawn 100; nothing else", ""]


@pytest.fixture
def plots(street):
    return street.plots(
        3, features=LISTS, label=["One", "Zw\N{LATIN SMALL LETTER O WITH DIAERESIS}lf", "3"]
    )


@pytest.fixture
def reference(build, plots):
    return build(plots)


def same(found, reference, tolerance=1e-6):
    assert list(found.plots.index) == list(reference.plots.index)
    assert found.plots.index.name == "plot"
    for column in ("kind", "label", "street"):
        assert list(found.plots[column]) == list(reference.plots[column])
    assert found.plots.crs.equals(reference.plots.crs)
    distance = shapely.hausdorff_distance(
        found.plots.geometry.to_numpy(), reference.plots.geometry.to_numpy()
    )
    assert (distance <= tolerance).all()
    np.testing.assert_array_equal(found.answers.amount, reference.answers.amount)
    np.testing.assert_array_equal(found.answers.sized, reference.answers.sized)
    np.testing.assert_array_equal(found.answers.sure, reference.answers.sure)


def write(plots, path, **options):
    pyogrio.write_dataframe(plots, path, **options)
    return path


def test_geopackage(plots, reference, tmp_path, knowledge):
    path = write(plots, tmp_path / "s.gpkg", layer="plots")
    found = read_neighbourhood(path, knowledge=knowledge)
    same(found, reference)
    assert found.name == "s"
    assert read_neighbourhood(str(path), knowledge=knowledge, name="My street").name == "My street"


def test_geopackage_with_a_single_layer_of_another_name(plots, reference, tmp_path, knowledge):
    path = write(plots, tmp_path / "s.gpkg", layer="parcels2024_final")
    found = read_neighbourhood(path, knowledge=knowledge)
    same(found, reference)
    assert any("was taken as the plots" in fault.what for fault in found.faults)


def test_layer_names_nearly_right(plots, street, tmp_path, knowledge):
    path = write(plots, tmp_path / "s.gpkg", layer="Plotts")
    write(street.layer([street.square(0)], name=["house"]), path, layer="bulidings")
    write(street.layer([street.square(0)], name=["x"]), path, layer="something else")
    found = read_neighbourhood(path, knowledge=knowledge)
    assert list(found.buildings["name"]) == ["house"]
    assert sum("was taken as" in fault.what for fault in found.faults) == 2


@pytest.mark.parametrize("name", ["plots.geojson", "anything.json"])
def test_geojson(plots, reference, tmp_path, knowledge, name, build):
    """In degrees, as RFC 7946 has it; so it comes back in the UTM zone."""
    world = plots.to_crs(4326)
    path = write(
        world, tmp_path / name, driver="GeoJSON", layer_options={"COORDINATE_PRECISION": 12}
    )
    same(read_neighbourhood(path, knowledge=knowledge), build(world), 1e-4)


def test_geojson_in_metres(plots, reference, tmp_path, knowledge):
    path = write(plots, tmp_path / "p.geojson")
    content = json.loads(path.read_text())
    del content["crs"]
    path.write_text(json.dumps(content))
    with pytest.raises(DataFaults, match="likely metres") as raised:
        read_neighbourhood(path, knowledge=knowledge)
    assert "--crs" in next(f for f in raised.value.faults if f.severity == "error").mend
    same(read_neighbourhood(path, crs="EPSG:27700", knowledge=knowledge), reference)
    # An old custom: the file names its CRS itself.
    same(read_neighbourhood(write(plots, tmp_path / "q.geojson"), knowledge=knowledge), reference)


def test_flatgeobuf(plots, reference, tmp_path, knowledge):
    """It may be stored in another order; the same plots, with the same answers."""
    path = write(plots, tmp_path / "s.fgb", layer_options={"SPATIAL_INDEX": "NO"})
    same(read_neighbourhood(path, knowledge=knowledge), reference)


def test_geoparquet(plots, reference, tmp_path, knowledge):
    plots.to_parquet(tmp_path / "s.parquet")
    same(read_neighbourhood(tmp_path / "s.parquet", knowledge=knowledge), reference)


def test_geoparquet_without_its_library(plots, tmp_path, knowledge, monkeypatch):
    plots.to_parquet(tmp_path / "s.parquet")
    there = importlib.util.find_spec
    monkeypatch.setattr(
        "patchnet.core.open_file.find_spec",
        lambda name: None if name == "pyarrow" else there(name),
    )
    with pytest.raises(CannotRead, match=r"patchnet\[parquet\]"):
        read_neighbourhood(tmp_path / "s.parquet", knowledge=knowledge)


@pytest.fixture
def shapefile(plots, tmp_path):
    (tmp_path / "shp").mkdir()
    write(plots, tmp_path / "shp" / "plots.shp", encoding="UTF-8")
    return tmp_path / "shp"


def test_shapefile_zipped_or_not(shapefile, reference, tmp_path, knowledge):
    same(read_neighbourhood(shapefile / "plots.shp", knowledge=knowledge), reference)
    same(read_neighbourhood(shapefile, knowledge=knowledge), reference)
    packed = shutil.make_archive(str(tmp_path / "street"), "zip", tmp_path, "shp")
    same(read_neighbourhood(packed, knowledge=knowledge), reference)


def test_shapefile_without_prj(shapefile, reference, knowledge):
    (shapefile / "plots.prj").unlink()
    with pytest.raises(DataFaults, match="does not say in which coordinate system"):
        read_neighbourhood(shapefile, knowledge=knowledge)
    same(read_neighbourhood(shapefile, crs="EPSG:27700", knowledge=knowledge), reference)


@pytest.mark.parametrize("part", [".dbf", ".shx"])
def test_shapefile_with_a_part_missing(shapefile, tmp_path, knowledge, part):
    (shapefile / f"plots{part}").unlink()
    with pytest.raises(CannotRead, match=rf"lacks \{part} beside it"):
        read_neighbourhood(shapefile / "plots.shp", knowledge=knowledge)
    packed = shutil.make_archive(str(tmp_path / "street"), "zip", shapefile)
    with pytest.raises(CannotRead, match=r"street\.zip, in it plots\.shp lacks"):
        read_neighbourhood(packed, knowledge=knowledge)


def test_folder_with_one_file_a_layer(plots, reference, street, tmp_path, knowledge):
    folder = tmp_path / "my street"
    folder.mkdir()
    write(plots.drop(columns="features"), folder / "Plots.gpkg", layer="whatever")
    fence = shapely.LineString([(street.east, street.north), (street.east, street.north + 30)])
    write(street.layer([fence], kind=["fence"], gap=["yes"]), folder / "barriers.fgb")
    write(
        street.layer([street.square(0)], name=["house"]).to_crs(4326), folder / "buildings.geojson"
    )
    pd.DataFrame({"id": ["p3", "p2", "p1"], "features": LISTS[::-1]}).to_csv(
        folder / "features.csv", index=False
    )
    (folder / "notes.txt").write_text("not a layer")
    (folder / "photo.jpg").write_bytes(b"\xff\xd8")
    found = read_neighbourhood(folder, knowledge=knowledge)
    same(found, reference)
    assert list(found.barriers["gap"]) == ["yes"]
    assert list(found.buildings["name"]) == ["house"]
    assert found.name == "my street"
    write(plots, folder / "plots.geojson")
    with pytest.raises(DataFaults, match="2 layers of plots"):
        read_neighbourhood(folder, knowledge=knowledge)


def test_table_of_features_inside_the_geopackage(plots, reference, tmp_path, knowledge):
    path = write(plots.drop(columns="features"), tmp_path / "s.gpkg", layer="plots")
    table = pd.DataFrame({"plot_id": ["p1", "p2", "p3"], "features": LISTS})
    write(table, path, layer="features")
    same(read_neighbourhood(path, knowledge=knowledge), reference)


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_csv(plots, reference, tmp_path, knowledge, delimiter, encoding):
    path = write(plots.drop(columns="features"), tmp_path / "s.gpkg", layer="plots")
    survey = tmp_path / "survey.csv"
    rows = [["Plot ID", "gro\N{LATIN SMALL LETTER SHARP S}", "Features"]]
    rows += [[ident, "", f'"{words}"'] for ident, words in zip(plots["id"], LISTS, strict=True)]
    text = "\r\n".join(delimiter.join(row) for row in rows) + "\r\n\r\n" + 2 * delimiter + "\r\n"
    survey.write_bytes(text.encode(encoding))
    found = read_neighbourhood(path, features=survey, knowledge=knowledge)
    same(found, reference)
    assumed = [fault for fault in found.faults if "Windows-1252" in fault.what]
    assert len(assumed) == (encoding == "cp1252")


def test_csv_one_column_a_feature(plots, tmp_path, knowledge):
    path = write(plots.drop(columns="features"), tmp_path / "s.gpkg", layer="plots")
    survey = tmp_path / "survey.csv"
    survey.write_text("id;Pond (m2);Tree;bird bath;seen\np1;2,5;2;yes;\np2;no;;?;all\np3;;3?;x;\n")
    table = read_neighbourhood(path, features=survey, knowledge=knowledge).answers.table()
    assert table["pond"].fillna(-1).tolist() == [2.5, 0, -1]
    assert table["tree_small"].fillna(-1).tolist() == [2, 0, 3]
    assert table["bird_bath"].fillna(-1).tolist() == [1, -1, 1]
    assert table["shrub"].fillna(-1).tolist() == [-1, 0, -1]


def test_csv_rows_are_numbered_as_in_a_spreadsheet(plots, tmp_path, knowledge):
    path = write(plots.drop(columns="features"), tmp_path / "s.gpkg", layer="plots")
    survey = tmp_path / "survey.csv"
    survey.write_text('id,features\np1,"pond\n4"\np2,pnod\np3,pond,4\n')
    faults = check_file(path, features=survey, knowledge=knowledge).faults
    errors = {fault.row: fault for fault in faults if fault.severity == "error"}
    assert "'pnod'" in errors[3].what
    assert "beyond the last column: '4'" in errors[4].what


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", "is empty"),
        (b"\r\n\r\n", "is empty"),
        (b"id,features\n\x00\x81\xff", "is not a text file"),
        (b"id,features\np1,\x81", "is not text in UTF-8"),
        ("id".encode("utf-16")[:3], "cannot be read"),
    ],
)
def test_csv_that_is_none(plots, tmp_path, knowledge, raw, words):
    path = write(plots, tmp_path / "s.gpkg", layer="plots")
    survey = tmp_path / "survey.csv"
    survey.write_bytes(raw)
    with pytest.raises(CannotRead, match=words):
        read_neighbourhood(path, features=survey, knowledge=knowledge)


@pytest.mark.parametrize("length", [40_000, 200_000])
def test_a_cell_without_end(plots, tmp_path, knowledge, length):
    path = write(plots, tmp_path / "s.gpkg", layer="plots")
    survey = tmp_path / "survey.csv"
    survey.write_bytes(b'id,features\np1,"' + b"x" * length + b'"')
    with pytest.raises(DataFaults, match="longer than any spreadsheet allows"):
        read_neighbourhood(path, features=survey, knowledge=knowledge)


def test_a_workbook_is_no_map_but_a_table_of_features(plots, reference, tmp_path, knowledge):
    path = write(plots.drop(columns="features"), tmp_path / "s.gpkg", layer="plots")
    survey = tmp_path / "survey.xlsx"
    pd.DataFrame({"id": plots["id"], "features": LISTS}).to_excel(survey, index=False)
    same(read_neighbourhood(path, features=survey, knowledge=knowledge), reference)
    with pytest.raises(CannotRead, match="a table without outlines"):
        read_neighbourhood(survey, knowledge=knowledge)


def test_no_such_csv(plots, tmp_path, knowledge):
    path = write(plots, tmp_path / "s.gpkg", layer="plots")
    with pytest.raises(CannotRead, match=r"There is no file .*none\.csv"):
        read_neighbourhood(path, features=tmp_path / "none.csv", knowledge=knowledge)
    with pytest.raises(CannotRead, match="is a folder"):
        read_neighbourhood(path, features=tmp_path, knowledge=knowledge)


def test_credits_travel_with_the_layer(plots, tmp_path, knowledge):
    line = "\N{COPYRIGHT SIGN} OpenStreetMap contributors, ODbL"
    path = write(plots, tmp_path / "s.gpkg", layer="plots", layer_metadata={"credits": line})
    assert read_neighbourhood(path, knowledge=knowledge).credits == (line,)


def test_credits_are_found_by_whatever_case_the_layer_is_spoken_of(plots, tmp_path, knowledge):
    """Names of tables are alike in any case in SQLite. Where its notes are not as the standard has
    them (OGC GeoPackage, metadata extension; from memory), the file is read all the same."""
    path = write(plots, tmp_path / "s.gpkg", layer="plots", layer_metadata={"credits": "Map: us"})
    write(plots, path, layer="buildings", append=True)
    with closing(sqlite3.connect(path)) as there:
        there.execute("UPDATE gpkg_metadata_reference SET table_name = 'Plots'")
        there.commit()
    assert read_neighbourhood(path, knowledge=knowledge).credits == ("Map: us",)
    with closing(sqlite3.connect(path)) as there:
        there.execute("ALTER TABLE gpkg_metadata_reference RENAME COLUMN table_name TO of")
        there.commit()
    assert len(read_neighbourhood(path, knowledge=knowledge).plots) == len(plots)


@pytest.mark.parametrize("kind", ["file", "folder", "zip"])
def test_credits_beside_the_features_of_a_geojson(plots, tmp_path, knowledge, kind):
    """Foreign members are allowed (RFC 7946, section 6.1); what is no text is passed over."""
    lines = ["\N{COPYRIGHT SIGN} OpenStreetMap contributors; ODbL", "Map:\n the  volunteers"]
    folder = tmp_path / "street"
    folder.mkdir()
    path = write(plots.to_crs(4326), folder / "plots.geojson", driver="GeoJSON")
    content = json.loads(path.read_text()) | {"credits": [*lines, 7, None, " "]}
    path.write_text(json.dumps(content))
    if kind == "zip":
        shutil.make_archive(str(folder), "zip", folder)
    given = {"file": path, "folder": folder, "zip": tmp_path / "street.zip"}[kind]
    found = read_neighbourhood(given, knowledge=knowledge)
    assert found.credits == (lines[0], "Map: the volunteers")


@pytest.mark.parametrize(
    ("member", "read"),
    [("one; two", ("one", "two")), ("", ()), (7, ()), ({"a": 1}, ()), (None, ())],
)
def test_credits_of_any_other_kind(plots, tmp_path, knowledge, member, read):
    path = write(plots.to_crs(4326), tmp_path / "plots.geojson", driver="GeoJSON")
    path.write_text(json.dumps(json.loads(path.read_text()) | {"credits": member}))
    assert read_neighbourhood(path, knowledge=knowledge).credits == read


def test_check_counts_and_shares(plots, tmp_path, knowledge):
    """48 features that can be seen, on 3 plots: p1 knows 3, p2 all 48, p3 none.

    There: pond, tree, lawn. (Four more nobody can see from outside.)
    """
    assert sum(not one.unseen for one in knowledge.features.values()) == 48
    path = write(plots, tmp_path / "s.gpkg", layer="plots")
    report = check_file(path, knowledge=knowledge)
    assert report.counts == {"plots": 3}
    assert report.there_share == pytest.approx(3 / 144)
    assert report.not_there_share == pytest.approx((1 + 47) / 144)
    assert report.not_known_share == pytest.approx((45 + 48) / 144)
    assert report.errors == 0
    assert "No errors" in report.summary
    assert report.neighbourhood is not None
    plots.loc[1, "id"] = "p1"
    report = check_file(write(plots, tmp_path / "t.gpkg", layer="plots"), knowledge=knowledge)
    assert report.errors == 1
    assert "1 error to mend" in report.summary
    assert report.neighbourhood is None


def test_the_demo_reads_without_a_fault(tmp_path, knowledge):
    files = demo_files()
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    found = read_neighbourhood(tmp_path, knowledge=knowledge)
    assert found.faults == ()
    plots = json.loads(files["plots.geojson"])["features"]
    assert list(found.plots.index) == [plot["properties"]["id"] for plot in plots]
    unseen = [plot["properties"]["id"] for plot in plots if plot["properties"]["seen"] == "none"]
    assert unseen
    assert found.answers.table().loc[unseen].isna().to_numpy().all()
    assert found.plots.crs.to_epsg() == 32631


def test_tables_in_memory_are_as_files(tmp_path, knowledge, build):
    layers = demo_layers()
    survey, mapped = layers.pop("survey"), layers.pop("features")
    found = build(layers.pop("plots"), features=[survey, mapped], **layers)
    for name, text in demo_files().items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    same(found, read_neighbourhood(tmp_path, knowledge=knowledge))


def test_zip_of_everything(tmp_path, knowledge):
    with zipfile.ZipFile(tmp_path / "demo.zip", "w") as packed:
        for name, text in demo_files().items():
            packed.writestr(f"demo/{name}", text)
        packed.writestr("__MACOSX/demo/._plots.geojson", b"\0\5\26\7")
    found = read_neighbourhood(tmp_path / "demo.zip", knowledge=knowledge)
    assert len(found.plots) == 127
    assert isinstance(found.features, gpd.GeoDataFrame)
    assert list(tmp_path.iterdir()) == [tmp_path / "demo.zip"]
