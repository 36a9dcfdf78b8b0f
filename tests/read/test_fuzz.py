"""Malformed files: one clear message of our own, soon, and never another library's traceback."""

import json
import math
import random
import re
import sqlite3
import struct
import time
import zipfile

import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

from patchnet.core.errors import CannotRead, DataFaults, PatchnetError
from patchnet.core.open_file import SUFFIXES
from patchnet.read import check_file, read_neighbourhood

SLOWEST = 10.0  # seconds of the processor; a fair reading takes well under one
FOREIGN = re.compile(
    r"SQL|sqlite|OGR|GDAL|pyogrio|pandas|Traceback|codec|0x|\bErrno\b|NoneType|dtype"
)


def outcome(path, knowledge, **options):
    """Read; give the message (or "" if it could be read) after checking that it is fit to show."""
    start = time.process_time()
    try:
        found = read_neighbourhood(path, knowledge=knowledge, **options)
    except PatchnetError as error:
        told = error
    else:
        told = None
        assert len(found.plots)
    assert time.process_time() - start < SLOWEST
    if told is None:
        return ""
    assert type(told) in {CannotRead, DataFaults}
    assert str(told).strip()
    assert not FOREIGN.search(str(told)), str(told)
    return str(told)


@pytest.fixture(scope="module")
def originals(tmp_path_factory, street):
    folder = tmp_path_factory.mktemp("originals")
    plots = street.plots(12, features=["pond 4; lawn 12; tree 2?"] * 12)
    pyogrio.write_dataframe(plots, folder / "s.gpkg", layer="plots")
    pyogrio.write_dataframe(plots.to_crs(4326), folder / "s.geojson")
    pyogrio.write_dataframe(plots, folder / "s.fgb")
    plots.to_parquet(folder / "s.parquet")
    pyogrio.write_dataframe(plots, folder / "plots.shp")
    with zipfile.ZipFile(folder / "s.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        for path in folder.glob("plots.*"):
            packed.write(path, path.name)
    return folder


@pytest.mark.parametrize(
    "name", ["s.gpkg", "s.geojson", "s.fgb", "s.parquet", "s.zip", "plots.shp"]
)
def test_cut_off(originals, tmp_path, knowledge, name):
    """A file that is cut off is never read as if it were whole."""
    raw = (originals / name).read_bytes()
    for other in originals.glob("plots.*"):
        (tmp_path / other.name).write_bytes(other.read_bytes())
    rng = random.Random(name)  # noqa: S311 - which bytes to spoil is no secret
    path = tmp_path / name
    for end in [0, 1, 4, 20, 99, 101, len(raw) // 2, len(raw) - 1] + [
        rng.randrange(len(raw)) for _ in range(10)
    ]:
        path.write_bytes(raw[:end])
        message = outcome(path, knowledge)
        # The last byte of a GeoJSON may be a line feed.
        assert message or not raw[end:].strip(), end
        assert "has no row" not in message  # it is the file that is wrong, not the drawing


@pytest.mark.parametrize("name", ["s.gpkg", "s.geojson", "s.fgb", "s.parquet", "s.zip", "plots.shp",
                                  "plots.dbf", "plots.shx", "plots.prj"])  # fmt: skip
def test_bytes_changed(originals, tmp_path, knowledge, name):
    raw = (originals / name).read_bytes()
    for other in originals.glob("plots.*"):
        (tmp_path / other.name).write_bytes(other.read_bytes())
    rng = random.Random(name)  # noqa: S311 - which bytes to spoil is no secret
    for _ in range(12):
        spoilt = bytearray(raw)
        for _ in range(rng.choice([1, 8, 60])):
            spoilt[rng.randrange(len(spoilt))] = rng.randrange(256)
        (tmp_path / name).write_bytes(spoilt)
        path = tmp_path / ("plots.shp" if name.startswith("plots") else name)
        outcome(path, knowledge)


@pytest.mark.parametrize("ending", [*SUFFIXES, ".zip", ".csv", ".xlsx", ".txt", ""])
@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\0" * 5000,
        b"hello",
        b"\xff\xfe\x00\xd8",
        b"{}",
        b"[1, 2]",
        b'{"type": "FeatureCollection", "features": 3}',
        b'{"type": "FeatureCollection", "features": [1]}',
        b'{"type": "FeatureCollection", "features": []}',
        b'{"type": "Topology", "objects": {}}',
        b'{"type":' + b"[" * 100_000,
        b"SQLite format 3\0",
        b"fgb\x03fgb\x00",
        b"PAR1PAR1",
        b"PK\x03\x04",
        struct.pack(">i", 9994) + b"\0" * 200,
        b"<OGRVRTDataSource><OGRVRTLayer name='x'><SrcDataSource>http://localhost/x</SrcDataSource>",
    ],
    ids=range(17),
)
def test_wrong_content(tmp_path, knowledge, ending, content):
    path = tmp_path / f"file{ending}"
    path.write_bytes(content)
    assert outcome(path, knowledge)


@pytest.mark.parametrize(
    "path",
    ["/vsicurl/http://localhost/x.gpkg", "http://localhost/x.geojson", "https://localhost/x.gpkg",
     "/vsizip/x.zip", "file:///x.gpkg", "", "a\0b", "/vsimem/x", "nowhere/at/all.gpkg"],
)  # fmt: skip
def test_addresses_and_missing_files(knowledge, path):
    with pytest.raises(CannotRead, match=r"address|no file|not a name"):
        read_neighbourhood(path, knowledge=knowledge)
    with pytest.raises(CannotRead, match=r"address|no file|not a name"):
        check_file(path, knowledge=knowledge)


def test_locked_geopackage(originals, tmp_path, knowledge):
    path = tmp_path / "s.gpkg"
    path.write_bytes((originals / "s.gpkg").read_bytes())
    holder = sqlite3.connect(path)
    try:
        holder.execute("BEGIN EXCLUSIVE")
        start = time.process_time()
        with pytest.raises(CannotRead, match="written by another program: close it there"):
            read_neighbourhood(path, knowledge=knowledge)
        assert time.process_time() - start < 2
    finally:
        holder.close()
    assert outcome(path, knowledge) == ""


def test_reading_leaves_the_file_as_it_was(originals, tmp_path, knowledge):
    for name in ("s.gpkg", "s.geojson", "s.fgb", "s.zip"):
        path = tmp_path / name
        path.write_bytes((originals / name).read_bytes())
        assert outcome(path, knowledge) == ""
        assert path.read_bytes() == (originals / name).read_bytes()
    assert {path.name for path in tmp_path.iterdir()} == {"s.gpkg", "s.geojson", "s.fgb", "s.zip"}


def test_geopackage_with_a_journal(originals, tmp_path, knowledge):
    """Desktop programs leave the write-ahead journal on; open or closed, it can be read."""
    path = tmp_path / "s.gpkg"
    path.write_bytes((originals / "s.gpkg").read_bytes())
    holder = sqlite3.connect(path)
    holder.execute("PRAGMA journal_mode=WAL")
    holder.execute("CREATE TABLE mine (x)")
    holder.commit()
    assert outcome(path, knowledge) == ""
    holder.close()
    before = path.read_bytes()
    assert outcome(path, knowledge) == ""
    assert path.read_bytes() == before


def test_database_that_is_no_geopackage(tmp_path, knowledge):
    with sqlite3.connect(tmp_path / "x.gpkg") as database:
        database.execute("CREATE TABLE plots (id TEXT)")
    database.close()
    assert "not a GeoPackage" in outcome(tmp_path / "x.gpkg", knowledge)


def test_no_rows(street, tmp_path, knowledge):
    pyogrio.write_dataframe(
        street.plots(0), tmp_path / "e.gpkg", layer="plots", geometry_type="Polygon"
    )
    assert "has no row" in outcome(tmp_path / "e.gpkg", knowledge)


def test_layers_without_plots(street, tmp_path, knowledge):
    line = street.layer([shapely.LineString([(0, 0), (9, 9)])], kind=["wall"])
    pyogrio.write_dataframe(line, tmp_path / "e.gpkg", layer="barriers")
    assert "no layer called plots" in outcome(tmp_path / "e.gpkg", knowledge)


def test_nan_coordinates(street, tmp_path, knowledge):
    plots = street.plots(2)
    with np.errstate(invalid="ignore"):
        plots.loc[0, "geometry"] = shapely.polygons(
            [[450_000, 210_000], [450_010, np.nan], [450_010, 210_010], [450_000, 210_000]]
        )
    pyogrio.write_dataframe(plots, tmp_path / "n.gpkg", layer="plots")
    assert "corner without a place" in outcome(tmp_path / "n.gpkg", knowledge)
    ring = [[0, 0], [1, math.nan], [1, 1], [0, 0]]  # written as NaN, which is no JSON
    plot = {"type": "Polygon", "coordinates": [ring]}
    feature = {"type": "Feature", "properties": {"id": "1"}, "geometry": plot}
    text = json.dumps({"type": "FeatureCollection", "features": [feature]})
    (tmp_path / "n.geojson").write_text(text)
    assert outcome(tmp_path / "n.geojson", knowledge)


def test_ten_thousand_corners(street, tmp_path, knowledge):
    """A wavy round plot with 10,000 corners, one like it that crosses itself."""
    angle = np.linspace(0, 2 * np.pi, 10_000, endpoint=False)
    wave = 20 + np.sin(50 * angle)
    ring = np.column_stack([wave * np.cos(angle), wave * np.sin(angle)])
    ring += [street.east, street.north]
    plots = street.plots(1).set_geometry([shapely.Polygon(ring)], crs="EPSG:27700")
    pyogrio.write_dataframe(plots, tmp_path / "w.gpkg", layer="plots")
    assert outcome(tmp_path / "w.gpkg", knowledge) == ""
    tangled = np.random.default_rng(1).permutation(ring)[:2000]
    plots = street.plots(1).set_geometry([shapely.Polygon(tangled)], crs="EPSG:27700")
    pyogrio.write_dataframe(plots, tmp_path / "t.gpkg", layer="plots")
    assert "crosses itself" in outcome(tmp_path / "t.gpkg", knowledge)


def test_huge_text(street, tmp_path, knowledge):
    huge = "pond; " * 200_000
    plots = street.plots(
        3, label=["x" * 1_000_000] * 3, features=[huge, "y" * 1_000_000, "; " * 500_000]
    )
    pyogrio.write_dataframe(plots, tmp_path / "h.gpkg", layer="plots")
    message = outcome(tmp_path / "h.gpkg", knowledge)
    assert "not a feature" in message
    assert len(message) < 2000


def test_wrong_encoding_of_a_shapefile(street, tmp_path, knowledge):
    """The .cpg says UTF-8, the .dbf is Windows-1252, as old programs leave it."""
    plots = street.plots(2, label=["M\N{LATIN SMALL LETTER U WITH DIAERESIS}hle", "b"])
    pyogrio.write_dataframe(plots, tmp_path / "plots.shp", encoding="cp1252")
    (tmp_path / "plots.cpg").write_text("UTF-8")
    found = read_neighbourhood(tmp_path / "plots.shp", knowledge=knowledge)
    assert found.plots["label"].iloc[0] == "M\N{LATIN SMALL LETTER U WITH DIAERESIS}hle"
    assert any("encoding" in fault.what for fault in found.faults)


def test_a_zip_that_reaches_out_or_swells(originals, tmp_path, knowledge):
    inside = originals / "s.geojson"
    with zipfile.ZipFile(tmp_path / "out.zip", "w") as packed:
        packed.write(inside, "../../plots.geojson")
    assert "there is no layer" in outcome(tmp_path / "out.zip", knowledge)
    assert not list(tmp_path.parent.glob("plots.*"))
    assert {path.name for path in tmp_path.iterdir()} == {"out.zip"}
    with zipfile.ZipFile(tmp_path / "two.zip", "w") as packed:
        packed.write(inside, "a/plots.geojson")
        packed.write(inside, "b/plots.geojson")
    assert "two files called plots.geojson" in outcome(tmp_path / "two.zip", knowledge)
    with zipfile.ZipFile(tmp_path / "none.zip", "w") as packed:
        packed.writestr("readme.txt", "hello")
    assert "there is no layer" in outcome(tmp_path / "none.zip", knowledge)
    # The size that the zip's own list gives is enough to refuse it: 4,294,967,294 bytes.
    raw = bytearray((tmp_path / "out.zip").read_bytes())
    at = raw.rindex(b"PK\x01\x02") + 24
    raw[at : at + 4] = struct.pack("<I", 2**32 - 2)
    (tmp_path / "bomb.zip").write_bytes(raw)
    assert "more than a gigabyte" in outcome(tmp_path / "bomb.zip", knowledge)


def test_empty_folder(tmp_path, knowledge):
    assert "there is no layer" in outcome(tmp_path, knowledge)


def test_strange_columns(street, tmp_path, knowledge):
    """Lists, dates, numbers and blanks as column names and cells."""
    plots = street.plots(2, when=pd.to_datetime(["2024-05-01", None]), nested=[[1], [2]])
    plots["tree"] = [2, None]
    plots["\N{SNOWMAN}"] = ["<script>", "`${x}`"]
    plots[""] = ["a", "b"]
    plots[7] = [1, 2]
    pyogrio.write_dataframe(
        plots.drop(columns=["nested", "", 7]), tmp_path / "s.gpkg", layer="plots"
    )
    assert outcome(tmp_path / "s.gpkg", knowledge) == ""
