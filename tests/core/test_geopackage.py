"""One writer of GeoPackages: what goes in comes out, nothing stale, changed whole or not."""

import sqlite3
from contextlib import closing

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

from patchnet.core.errors import CannotRead, CannotWrite
from patchnet.core.geopackage import (
    OutLayer,
    changing,
    connect,
    crs_of,
    drop_table,
    geometry_of,
    put_table,
    table_columns,
    write_geopackage,
)


def square(at):
    return shapely.box(450_000 + at, 210_000, 450_010 + at, 210_010)


def plots(**columns):
    size = len(next(iter(columns.values())))
    return gpd.GeoDataFrame(columns, geometry=[square(20 * at) for at in range(size)], crs=27700)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "street.gpkg"


def test_layers_come_back_with_their_credits(path):
    credit = OutLayer("credits", pd.DataFrame({"attribution": ["Zoë", "©"]}))
    layer = OutLayer("plots", plots(id=["a", "b"]), ("Zoë", "© all"), {"withheld": "names"})
    write_geopackage(path, [layer, credit])
    found = pyogrio.read_dataframe(path, layer="plots")
    assert found["id"].tolist() == ["a", "b"]
    assert found.geometry.geom_equals(layer.table.geometry).all()
    assert found.crs.to_epsg() == 27700
    info = pyogrio.read_info(path, layer="plots")
    assert (
        info["layer_metadata"] | {"credits": "Zoë; © all", "withheld": "names"}
        == (info["layer_metadata"])
    )
    assert info["geometry_type"] == "Polygon"
    assert pyogrio.read_dataframe(path, layer="credits")["attribution"].tolist() == ["Zoë", "©"]


def test_nothing_stale_stays(path):
    write_geopackage(path, [OutLayer("old", plots(id=["a"])), OutLayer("more", plots(id=["a"]))])
    write_geopackage(path, [OutLayer("new", plots(id=["b"]))])
    assert pyogrio.list_layers(path)[:, 0].tolist() == ["new"]
    assert [file.name for file in path.parent.iterdir()] == [path.name]


def test_an_earlier_file_stays_where_writing_fails(path):
    write_geopackage(path, [OutLayer("plots", plots(id=["a"]))])
    before = path.read_bytes()
    wrong = plots(id=["a"]).assign(fid=["no number"])
    with pytest.raises(CannotWrite, match=r"street\.gpkg cannot be written"):
        write_geopackage(path, [OutLayer("plots", plots(id=["b"])), OutLayer("plots2", wrong)])
    assert path.read_bytes() == before


def test_lists_and_tags_are_written_the_one_way(path):
    """A list as the feature lists people write; a set in order; tags as JSON by their keys."""
    table = plots(
        features=[["pond", "tree 2"], None],
        kinds=[{"b", "a"}, "alone"],
        tags=[{"z": "1", "a": "ß"}, {}],
        numbers=[np.array([1.0, 2.5]), ()],
    )
    write_geopackage(path, [OutLayer("plots", table)])
    found = pyogrio.read_dataframe(path).drop(columns="geometry")
    assert found.loc[0].tolist() == ["pond; tree 2", "a; b", '{"a": "ß", "z": "1"}', "1; 2.5"]
    assert found.loc[1, ["kinds", "tags", "numbers"]].tolist() == ["alone", "{}", ""]
    assert pd.isna(found.loc[1, "features"])
    assert isinstance(table["features"][0], list), "the input stays as it was"


@pytest.mark.parametrize("kind", ["MultiPolygon", None])
def test_single_and_multiple_shapes_in_one_layer(path, kind):
    many = shapely.MultiPolygon([square(50), square(80)])
    table = gpd.GeoDataFrame({"id": ["a", "b"]}, geometry=[square(0), many], crs=27700)
    write_geopackage(path, [OutLayer("plots", table, geometry_type=kind)])
    assert pyogrio.read_info(path)["geometry_type"] == "MultiPolygon"
    assert pyogrio.read_dataframe(path).geometry.geom_equals(table.geometry).all()


def test_a_layer_without_rows_or_shapes(path):
    none = plots(id=["a"]).iloc[:0]
    blank = gpd.GeoDataFrame({"id": ["a"]}, geometry=[None], crs=27700)
    write_geopackage(path, [OutLayer("none", none), OutLayer("blank", blank)])
    assert len(pyogrio.read_dataframe(path, layer="none")) == 0
    assert pyogrio.read_dataframe(path, layer="blank").geometry.isna().all()


# inside a file that stands --------------------------------------------------------------------

TYPES = {"amount": "DOUBLE", "year": "INTEGER", "sure": "BOOLEAN"}
SAID = pd.DataFrame(
    {"plot": ["a", 'b"'], "amount": [1.5, np.nan], "year": [2026, 2027], "sure": [True, False]}
)


def put(there, name, table, **others):
    put_table(
        there, name, table, says="what it is", types=TYPES, stamp="2026-01-01T00:00:00Z", **others
    )


def test_tables_put_inside_are_read_by_any_program(path):
    write_geopackage(path, [OutLayer("plots", plots(id=["a", "b"]))])
    drawn = plots(plot=["a", "b"])
    with changing(path) as there:
        (srs,) = there.execute("SELECT srs_id FROM gpkg_geometry_columns").fetchone()
        put(there, "statements", SAID)
        put(there, "statements", SAID)
        put(there, "drawn", drawn, srs=srs)
    assert sorted(pyogrio.list_layers(path)[:, 0]) == ["drawn", "plots", "statements"]
    found = pyogrio.read_dataframe(path, layer="statements")
    assert found["plot"].tolist() == ["a", 'b"']
    assert found["amount"].fillna(-1).tolist() == [1.5, -1]
    assert found["sure"].tolist() == [True, False]
    shapes = pyogrio.read_dataframe(path, layer="drawn")
    assert shapes.geometry.geom_equals(drawn.geometry).all()
    assert shapes.crs.to_epsg() == 27700
    with closing(connect(path)) as there:
        assert table_columns(there, "statements")[:2] == [("fid", True), ("plot", False)]
        assert "27700" in crs_of(there, "drawn")
        assert crs_of(there, "statements") is None
        (blob,) = there.execute("SELECT geometry FROM drawn").fetchone()
    assert geometry_of(blob).equals(square(0))


def test_what_is_dropped_leaves_no_byte(path):
    write_geopackage(path, [OutLayer("plots", plots(id=["a"]))])
    with changing(path) as there:
        put(there, "statements", SAID.assign(plot="CANARY"))
    assert b"CANARY" in path.read_bytes()
    with changing(path) as there:
        drop_table(there, "statements")
    assert b"CANARY" not in path.read_bytes()
    assert b"statements" not in path.read_bytes().replace(b"sqlite_sequence", b"")
    assert pyogrio.list_layers(path)[:, 0].tolist() == ["plots"]


def test_a_change_that_fails_changes_nothing(path):
    write_geopackage(path, [OutLayer("plots", plots(id=["a"]))])
    before = path.read_bytes()

    def spoil():
        with changing(path) as there:
            put(there, "statements", SAID)
            drop_table(there, "plots")
            raise sqlite3.OperationalError

    with pytest.raises(CannotRead):
        spoil()
    assert path.read_bytes() == before
    assert [file.name for file in path.parent.iterdir()] == [path.name]


@pytest.mark.parametrize(("content", "words"), [(None, "no file"), (b"{}", "not a GeoPackage")])
def test_what_is_no_geopackage(path, content, words):
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(CannotRead, match=words):
        connect(path)
