"""GeoPackages written the one way: the same content gives the same bytes, on every run.

OGC GeoPackage 1.3 (12-128r18). Two ways lead into a file:

- `write_geopackage` makes a new one of whole layers, aside, and puts it in place when complete;
  what stood there before leaves no layer behind.
- `changing` opens one that stands, and `put_table` and `drop_table` change tables inside it; all
  of it is kept or none, and what was deleted leaves no byte behind.
"""

import json
import sqlite3
import struct
from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

from patchnet.core.cells import as_text
from patchnet.core.errors import CannotRead
from patchnet.core.files import no_room, shown_path, write_aside
from patchnet.core.open_file import trouble

__all__ = [
    "FIXED_DATE", "OutLayer", "changing", "connect", "copy_geopackage", "crs_of",
    "drop_table",
    "fill_geopackage", "fixed_date", "geometry_of", "is_database", "put_table", "quoted",
    "table_columns", "table_names", "write_geopackage",
]  # fmt: skip

FIXED_DATE = "2000-01-01T00:00:00Z"
"""The date of change in every layer: fixed, so that the bytes do not depend on the time."""

_SQLITE = b"SQLite format 3\0"  # first bytes of every GeoPackage (SQLite file format, 1.3)
_GDAL_DATE = "OGR_CURRENT_DATE"
_GEOMETRY = "geometry"
_NESTED = (list, tuple, AbstractSet, Mapping, np.ndarray)
_REGISTERS = ("gpkg_geometry_columns", "gpkg_extensions", "gpkg_ogr_contents", "gpkg_contents")


@dataclass(frozen=True, eq=False)
class OutLayer:
    """One layer to be written.

    Attributes
    ----------
    name
        Name of the layer.
    table
        With geometry, or without: a table of attributes.
    credits
        Lines of attribution that go with it.
    about
        What else it says of itself, by key.
    geometry_type
        Such as ``"MultiPolygon"``, to which single parts are promoted; None: as the shapes are.
    """

    name: str
    table: pd.DataFrame
    credits: Sequence[str] = ()
    about: Mapping[str, str] = field(default_factory=dict)
    geometry_type: str | None = None


# a new file ----------------------------------------------------------------------------------


def write_geopackage(path: Path | str, layers: Iterable[OutLayer]) -> None:
    """Write layers as a new GeoPackage, whole or not at all.

    Parameters
    ----------
    path
        Where to write; a file that stands there is replaced whole.
    layers
        In their order, at least one.

    Raises
    ------
    CannotWrite
        If the file cannot be written.
    """
    with write_aside(path) as draft:
        fill_geopackage(draft, layers, named=str(shown_path(Path(path))))


def fill_geopackage(path: Path, layers: Iterable[OutLayer], *, named: str | None = None) -> None:
    """Write layers into a file that is not there yet; see `write_geopackage`.

    Parameters
    ----------
    named
        How an error names the file, if otherwise.

    Raises
    ------
    CannotWrite
        If the file cannot be written.
    """
    try:
        with fixed_date():
            for layer in layers:
                _write_layer(layer, path)
    except (
        pyogrio.errors.DataSourceError,
        pyogrio.errors.DataLayerError,
        pyogrio.errors.FeatureError,
        pyogrio.errors.FieldError,
        pyogrio.errors.GeometryError,
    ) as error:
        raise no_room(named or shown_path(path)) from error


@contextmanager
def fixed_date() -> Iterator[None]:
    """Let GDAL write `FIXED_DATE` wherever it would write the time of day."""
    before = pyogrio.get_gdal_config_option(_GDAL_DATE)
    pyogrio.set_gdal_config_options({_GDAL_DATE: FIXED_DATE})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({_GDAL_DATE: before})


def _write_layer(layer: OutLayer, path: Path) -> None:
    metadata = {"credits": "; ".join(layer.credits)} if layer.credits else {}
    metadata |= layer.about
    table = _encoded(layer.table)
    options: dict[str, Any] = {}
    if isinstance(table, gpd.GeoDataFrame):
        kind = layer.geometry_type
        if kind is not None and kind.startswith("Multi"):
            table = table.set_geometry(_many(table.geometry.to_numpy(), kind), crs=table.crs)
        # Without shapes nothing tells the kind.
        options["geometry_type"] = kind or (None if table.geometry.notna().any() else "Unknown")
    pyogrio.write_dataframe(
        table,
        path,
        driver="GPKG",
        layer=layer.name,
        append=path.exists(),
        layer_metadata=metadata or None,
        **options,
    )


def _many(shapes: Any, kind: str) -> list[shapely.Geometry]:  # noqa: ANN401 - array of shapes
    make = getattr(shapely, kind)
    single = kind.removeprefix("Multi")
    return [
        make([shape]) if shape is not None and shape.geom_type == single else shape
        for shape in shapes
    ]


def _encoded(table: pd.DataFrame) -> pd.DataFrame:
    """Write lists as text with semicolons, which patchnet reads back, and tags as JSON."""
    nested: dict[str, Any] = {}
    for name in table.columns:
        if not pd.api.types.is_object_dtype(table[name]):
            continue
        kinds = set(map(type, table[name]))
        if any(issubclass(kind, _NESTED) for kind in kinds):
            nested[name] = [_cell(cell) for cell in table[name]]
    return table.assign(**nested)


def _cell(cell: object) -> object:
    if isinstance(cell, Mapping):
        return json.dumps(dict(cell), ensure_ascii=False, sort_keys=True, default=str)
    if isinstance(cell, AbstractSet):
        return as_text(sorted(map(as_text, cell)))
    return as_text(cell) if isinstance(cell, list | tuple | np.ndarray) else cell


# a file that stands --------------------------------------------------------------------------


def is_database(path: Path) -> bool:
    """Whether a file is one that can be a GeoPackage."""
    if not path.is_file():
        return False
    with trouble(path), path.open("rb") as file:
        return file.read(len(_SQLITE)) == _SQLITE


def copy_geopackage(source: Path, target: Path) -> None:
    """Copy a file layer for layer as it is, also what another program has committed to its log.

    It goes through SQLite, which alone knows what of a file that is in use belongs to it.

    Parameters
    ----------
    source
        A GeoPackage, whoever has it open.
    target
        Where the copy goes.

    Raises
    ------
    CannotRead
        If it is damaged, or another program is in the middle of a change.
    CannotWrite
        If the disk is full.
    """
    with (
        trouble(source),
        _room(target),
        closing(sqlite3.connect(source)) as there,
        closing(sqlite3.connect(target)) as copy,
    ):
        there.backup(copy)
        # The copy stands alone: no log lies beside it.
        copy.execute("PRAGMA journal_mode = DELETE").fetchone()


@contextmanager
def _room(path: Path) -> Iterator[None]:
    """Tell a disk that is full from a file that is damaged."""
    try:
        yield
    except sqlite3.OperationalError as error:
        if "full" in str(error) or "I/O" in str(error):
            raise no_room(shown_path(path)) from error
        raise


def connect(path: Path) -> sqlite3.Connection:
    """Open a GeoPackage for reading and writing.

    Raises
    ------
    CannotRead
        If there is no such file, or it is none.
    """
    if not path.is_file():
        raise CannotRead(f"There is no file {path}.")
    if not is_database(path):
        raise CannotRead(
            f"{path} is not a GeoPackage, as 'patchnet merge' and 'patchnet base' write it: only "
            "there every statement is kept beside the map."
        )
    there = sqlite3.connect(path)
    # GDAL's triggers of spatial indexes call these; no geometry is changed here.
    for name in ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
        there.create_function(name, 1, lambda _: None, deterministic=True)
    return there


@contextmanager
def changing(path: Path) -> Iterator[sqlite3.Connection]:
    """Open a draft to change it: everything is kept, or nothing; what goes leaves no byte.

    Parameters
    ----------
    path
        A GeoPackage that nobody else has open.

    Raises
    ------
    CannotRead
        If it is none, or is damaged.
    """
    with trouble(path, "written"), _room(path), closing(connect(path)) as there:
        there.execute("PRAGMA secure_delete = ON")
        there.execute("PRAGMA journal_mode = MEMORY")
        # Started by hand: the module would commit by itself wherever a table is dropped or made.
        there.isolation_level = None
        there.execute("BEGIN IMMEDIATE")
        yield there
        there.execute("COMMIT")
        there.execute("VACUUM")


def put_table(
    there: sqlite3.Connection,
    name: str,
    table: pd.DataFrame,
    *,
    says: str,
    types: Mapping[str, str],
    stamp: str,
    srs: int | None = None,
) -> None:
    """Add a table, in place of one of that name; nothing is committed.

    Parameters
    ----------
    there
        The GeoPackage, open.
    name
        Name of the table.
    table
        Its rows, in the order in which they are kept; with `srs` a GeoDataFrame.
    says
        What the table is, for whoever opens it.
    types
        Column -> DOUBLE, INTEGER or BOOLEAN; any other is TEXT.
    stamp
        When it says it was changed, ISO 8601 in UTC.
    srs
        The file's own number of the coordinate system; None: a table without geometry.
    """
    drop_table(there, name)
    keys = [str(key) for key in table.columns if key != _GEOMETRY]
    columns = "".join(f", {quoted(key)} {types.get(key, 'TEXT')}" for key in keys)
    shape = f", {quoted(_GEOMETRY)} GEOMETRY" if srs is not None else ""
    there.execute(
        f"CREATE TABLE {quoted(name)} "
        f"(fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL{shape}{columns})"
    )
    box: list[float | None] = [None] * 4
    if srs is not None and len(table):
        box = [float(one) for one in table.total_bounds]
    there.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change, "
        "min_x, min_y, max_x, max_y, srs_id) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (name, "attributes" if srs is None else "features", name, says, stamp, *box, srs),
    )
    cells = [_column(table[key], types.get(key, "TEXT")) for key in keys]
    if srs is not None:
        there.execute(
            "INSERT INTO gpkg_geometry_columns VALUES (?, ?, 'GEOMETRY', ?, 0, 0)",
            (name, _GEOMETRY, srs),
        )
        head = struct.pack("<2sBBi", b"GP", 0, 1, srs)
        cells.insert(0, [head + blob for blob in shapely.to_wkb(table.geometry.to_numpy())])
        keys.insert(0, _GEOMETRY)
    if len(table):
        named = ", ".join(quoted(key) for key in keys)
        marks = ", ".join("?" * len(keys))
        there.executemany(
            f"INSERT INTO {quoted(name)} ({named}) VALUES ({marks})",  # noqa: S608 - quoted
            zip(*cells, strict=True),
        )


def _column(column: "pd.Series[Any]", kind: str) -> list[object]:
    if kind == "TEXT":
        return [str(value) for value in column.to_numpy(dtype=object).tolist()]
    if kind == "BOOLEAN":
        return [int(bool(value)) for value in column]
    numbers = column.to_numpy(dtype=float)
    if kind == "INTEGER":
        return [None if np.isnan(value) else int(value) for value in numbers]
    return [None if np.isnan(value) else float(value) for value in numbers]


def drop_table(there: sqlite3.Connection, name: str) -> None:
    """Take a table out of the file and its registers, if it is there.

    Parameters
    ----------
    there
        Open draft.
    name
        Name of the layer or table; none of that name is no fault.
    """
    there.execute(f"DROP TABLE IF EXISTS {quoted(name)}")
    present = table_names(there)
    for register in _REGISTERS:
        if register in present:
            there.execute(f"DELETE FROM {register} WHERE table_name = ?", (name,))  # noqa: S608 - our own names


def table_names(there: sqlite3.Connection) -> set[str]:
    """Return the names of all tables, registers too."""
    return {str(row[0]) for row in there.execute("SELECT name FROM sqlite_master")}


def table_columns(there: sqlite3.Connection, name: str) -> list[tuple[str, bool]]:
    """Return each column of a table and whether it is the key of its rows.

    Parameters
    ----------
    there
        Open file.
    name
        Name of the table.

    Returns
    -------
    list
        Name of each column, and whether it is the key.
    """
    rows = there.execute(f"PRAGMA table_info({quoted(name)})")
    return [(str(row[1]), bool(row[5])) for row in rows]


def crs_of(there: sqlite3.Connection, name: str) -> str | None:
    """Return the coordinate system of a layer (WKT); None where it has none.

    Parameters
    ----------
    there
        Open file.
    name
        Name of the layer.
    """
    if "gpkg_geometry_columns" not in table_names(there):
        return None
    row = there.execute(
        "SELECT s.definition FROM gpkg_geometry_columns g JOIN gpkg_spatial_ref_sys s "
        "ON s.srs_id = g.srs_id WHERE g.table_name = ?",
        (name,),
    ).fetchone()
    return None if row is None else str(row[0])


def geometry_of(blob: bytes) -> shapely.Geometry:
    """Return the geometry of a GeoPackage blob: a header of 8 bytes, perhaps a box, then WKB."""
    box = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}[(blob[3] >> 1) & 7]
    return shapely.from_wkb(blob[8 + box :])


def quoted(name: str) -> str:
    """Return the name of a table or column as SQL takes any name."""
    return '"' + name.replace('"', '""') + '"'
