"""What a file is, is told by its first bytes; and each way to be broken has words of its own."""

import sqlite3
import struct
from contextlib import closing

import geopandas as gpd
import pytest
import shapely

from patchnet.core.errors import CannotRead
from patchnet.core.geopackage import OutLayer, write_geopackage
from patchnet.core.open_file import FORM, STORE_LAYER, open_layers, trouble


def shapefile_head(words, code=9994):
    """ESRI Shapefile Technical Description (1998), table 1: code, length in 16-bit words."""
    return struct.pack(">i5ii", code, 0, 0, 0, 0, 0, words) + b"\1" * 72


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("a.gpkg", b"", "is empty"),
        ("a.gpkg", b"\0 \t\r\n\0", "is empty"),
        ("a.shp", b"no such thing", "is not a Shapefile, or is cut off"),
        ("A.SHP", shapefile_head(50, code=1), "is not a Shapefile, or is cut off"),
        ("a.bin", shapefile_head(50)[:99], "is not a Shapefile, or is cut off"),
        ("a.bin", shapefile_head(51), "is cut off: it is shorter than it says"),
        ("a.bin", shapefile_head(50), r"lacks \.shx and \.dbf beside it"),
        ("a.bin", b"zzzz" * 30, "a.bin is not a GeoPackage"),
        ("a.bin", b"\0\0\0\1" * 30, "a.bin is not a GeoPackage"),
        ("a.csv", b"id,kind\n1,garden\n", "a table without outlines"),
        ("a.json", b"id,kind", "stops being GeoJSON in line 1"),
        ("a.txt", b'\n\n{"type":\n"Feature"', "stops being GeoJSON in line 4"),
        ("a.geojson", b'{"type": "Point"}', "it is no collection of features"),
        ("a.geojson", b"[1]", "it is no collection of features"),
        ("a.geojson", b'{"type": "FeatureCollection"}', "features are no list of features"),
        (
            "a.geojson",
            b'{"type": "FeatureCollection", "features": [{}, 1]}',
            "features are no list of features",
        ),
        ("a.geojson", b'{"a": "\xff"}', "is not UTF-8 text"),
        ("a.geojson", b"[" * 100_000, "nested without end"),
    ],
)
def test_what_is_wrong_with_a_file(tmp_path, name, content, words):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(CannotRead, match=words):
        open_layers(path)


def test_what_is_there_of_a_shapefile_is_not_missed(tmp_path):
    path = tmp_path / "a.shp"
    path.write_bytes(shapefile_head(50))
    (tmp_path / "A.SHX").write_bytes(b"")
    with pytest.raises(CannotRead, match=r"lacks \.dbf beside it"):
        open_layers(path)


def test_no_file_and_no_folder(tmp_path):
    with pytest.raises(CannotRead, match="There is no file"):
        open_layers(tmp_path / "a.gpkg")
    with pytest.raises(CannotRead, match="is not a file"):
        open_layers(tmp_path)


@pytest.mark.parametrize(
    ("member", "told"),
    [
        ('"credits": "Map: Ann;  Bob; "', ("Map: Ann", "Bob")),
        ('"credits": ["Map:  Ann", "", 7, "Bob"]', ("Map: Ann", "Bob")),
        ('"credits": 7', ()),
        ('"name": "street"', ()),
    ],
)
def test_credits_beside_the_features(tmp_path, member, told):
    path = tmp_path / "a.geojson"
    feature = (
        '{"type": "Feature", "properties": {"id": "1"}, '
        '"geometry": {"type": "Point", "coordinates": [1, 2]}}'
    )
    path.write_text(f'{{"type": "FeatureCollection", {member}, "features": [{feature}]}}')
    (layer,) = open_layers(path)
    assert layer.credits == told
    assert (layer.where, layer.says_crs, len(layer.table)) == ("a.geojson", False, 1)


@pytest.fixture
def street(tmp_path):
    path = tmp_path / "street.gpkg"
    layers = [
        OutLayer(
            name,
            gpd.GeoDataFrame({"id": ["1"]}, geometry=[shapely.Point(0, 0)], crs="EPSG:27700"),
            lines,
        )
        for name, lines in (("plots", ("Ann", "Bob")), ("roads", ()))
    ]
    write_geopackage(path, layers)
    return path


def test_layers_of_one_file_are_told_apart(street):
    plots, roads = open_layers(street)
    assert (plots.name, plots.where) == ("plots", "street.gpkg, layer plots")
    assert (roads.name, roads.where) == ("roads", "street.gpkg, layer roads")
    assert plots.credits == ("Ann", "Bob")
    assert roads.credits == ()
    assert plots.says_crs


@pytest.mark.parametrize("form", [FORM, FORM + 1, "x"])
def test_a_later_form_is_not_read(street, form):
    with closing(sqlite3.connect(street)) as there:
        there.execute(f"CREATE TABLE {STORE_LAYER} (name TEXT, value TEXT)")
        there.execute(f"INSERT INTO {STORE_LAYER} VALUES ('form', ?)", (str(form),))  # noqa: S608
        there.commit()
    if form == FORM:
        assert [one.name for one in open_layers(street)] == ["plots", "roads"]
    else:
        with pytest.raises(CannotRead, match=f"is of form {form}, and this patchnet reads"):
            open_layers(street)


def test_a_database_that_is_no_geopackage(tmp_path):
    path = tmp_path / "a.gpkg"
    with closing(sqlite3.connect(path)) as there:
        there.execute("CREATE TABLE a (b)")
        there.commit()
    with pytest.raises(CannotRead, match="is a database, but not a GeoPackage"):
        open_layers(path)


def test_one_that_is_being_written_or_damaged(street):
    with closing(sqlite3.connect(street, isolation_level=None)) as there:
        there.execute("BEGIN EXCLUSIVE")
        with pytest.raises(CannotRead, match="is being written by another program"):
            open_layers(street)
    whole = street.read_bytes()
    street.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(CannotRead, match="is damaged or cut off"):
        open_layers(street)


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (MemoryError(), "too large for this computer's memory"),
        (UnicodeDecodeError("utf-8", b"", 0, 1, ""), "not in the encoding it names"),
        (OSError(5, "Input/output error"), "cannot be written: Input/output error"),
        (OSError("odd"), "the system refused it"),
        (ValueError("odd"), "it is damaged, cut off, or not"),
        (CannotRead("as it is"), "^as it is$"),
    ],
)
def test_whatever_a_library_raises_becomes_one_sentence(tmp_path, error, words):
    with pytest.raises(CannotRead, match=words), trouble(tmp_path / "a", "written"):
        raise error
