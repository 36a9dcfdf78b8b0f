"""The layers of a map too large to be read at once: asked for what lies within a box.

A GeoPackage, a FlatGeobuf, a GeoParquet, or a folder with one such file a layer. Of each layer that
has shapes the numbers and boxes of all rows are known (40 bytes a row); rows themselves are read
window by window. Tables without shapes (a survey's answers) are read by the rows that speak of the
plots in a window.
"""

import json
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, replace
from functools import cached_property
from hashlib import sha256
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyproj
import shapely
from numpy.typing import NDArray

from patchnet.core.errors import CannotRead, PatchnetError
from patchnet.core.geopackage import is_database, quoted
from patchnet.core.open_file import ensure_known_form, trouble
from patchnet.core.texts import _
from patchnet.read.layers import layer_called

__all__ = ["Box", "MapLayer", "Source", "count_plots", "open_source"]

Box = tuple[float, float, float, float]
"""West, south, east and north."""
Rows = NDArray[np.int64]

_READ = (".gpkg", ".fgb", ".parquet", ".geoparquet")
_PARQUET = (".parquet", ".geoparquet")
_DRAWN, _DRAWN_COLUMNS = "drawn", {"shape", "return", "utc"}
_TABLE = "table "  # and the name of a table without shapes, of which there may be several
_BATCH = 65_536  # rows of GeoParquet that are looked at together
_PIECE = 2**22  # bytes


@dataclass(frozen=True, eq=False)
class MapLayer:
    """One layer of the map.

    Attributes
    ----------
    role
        Which of patchnet's layers it is.
    path
        The file that it is in.
    name
        What it is called there; empty in a file of one layer that has no names.
    where
        How faults name it.
    """

    role: str
    path: Path
    name: str
    where: str

    @property
    def _in_parquet(self) -> bool:
        return self.path.suffix.casefold() in _PARQUET

    @cached_property
    def _info(self) -> dict[str, Any]:
        with trouble(self.path):
            info: dict[str, Any] = pyogrio.read_info(self.path, layer=self.name)
        return info

    @cached_property
    def shaped(self) -> bool:
        """Whether its rows have shapes."""
        if self._in_parquet:
            return True
        return self._info["geometry_type"] is not None

    @cached_property
    def crs(self) -> pyproj.CRS | None:
        """The CRS that it says it is in."""
        if self._in_parquet:
            return _parquet_crs(self.path)
        said = self._info["crs"]
        return None if said is None else pyproj.CRS.from_user_input(said)

    @cached_property
    def credits(self) -> tuple[str, ...]:
        """Lines of attribution that stand with it."""
        if self._in_parquet:
            return ()
        line = (self._info.get("layer_metadata") or {}).get("credits", "")
        return tuple(one for one in line.split("; ") if one)

    @cached_property
    def count(self) -> int:
        """How many rows it has."""
        if self._in_parquet:
            import pyarrow.parquet as pq  # noqa: PLC0415 - an extra

            with trouble(self.path):
                return int(pq.read_metadata(self.path).num_rows)
        return int(self._info["features"])

    @cached_property
    def _boxes(self) -> tuple[Rows, NDArray[np.float64]]:
        if self._in_parquet:
            boxes = [shapely.bounds(shapes) for shapes in _parquet_shapes(self.path)]
            box = np.concatenate([np.empty((0, 4)), *boxes])
            return np.arange(len(box), dtype=np.int64), box
        with trouble(self.path):
            rows, bounds = pyogrio.read_bounds(self.path, layer=self.name)
        order = np.argsort(rows, kind="stable")
        return np.asarray(rows, np.int64)[order], np.asarray(bounds, np.float64).T[order]

    @property
    def rows(self) -> Rows:
        """Shape (n,): numbers of its rows, in the order of the file."""
        return self._boxes[0]

    @property
    def boxes(self) -> NDArray[np.float64]:
        """Shape (n, 4): west, south, east, north of each row, in its own CRS."""
        return self._boxes[1]

    def window(self, box: Box) -> gpd.GeoDataFrame:
        """Rows that meet a box of its own CRS, in the order of the file; index: their numbers."""
        if self._in_parquet:
            west, south, east, north = self.boxes.T
            met = (west <= box[2]) & (east >= box[0]) & (south <= box[3]) & (north >= box[1])
            return _parquet_rows(self.path, self.rows[met], self.crs)
        with trouble(self.path):
            table = pyogrio.read_dataframe(
                self.path, layer=self.name, bbox=box, fid_as_index=True
            ).sort_index()
        if not isinstance(table, gpd.GeoDataFrame):
            table = gpd.GeoDataFrame(table, geometry=[None] * len(table))
        return table

    def column(self, name: str) -> "pd.Series[Any]":
        """One column of all its rows; index: their numbers."""
        if self._in_parquet:
            import pyarrow.parquet as pq  # noqa: PLC0415 - an extra

            with trouble(self.path):
                column = pq.read_table(self.path, columns=[name]).to_pandas()[name]
            return pd.Series(column.to_numpy(), index=self.rows, name=name)
        with trouble(self.path):
            table = pyogrio.read_dataframe(
                self.path, layer=self.name, columns=[name], read_geometry=False, fid_as_index=True
            )
        found: pd.Series[Any] = table[name].sort_index()
        return found

    def numbered(self, rows: Rows) -> pd.DataFrame:
        """Rows of a table without shapes by their numbers."""
        with trouble(self.path):
            table: pd.DataFrame = (
                pyogrio.read_dataframe(
                    self.path, layer=self.name, fids=rows.tolist(), fid_as_index=True
                ).sort_index()
                if len(rows)
                else pyogrio.read_dataframe(self.path, layer=self.name, max_features=1).iloc[:0]
            )
        return table

    def columns(self) -> list[str]:
        """Names of its columns."""
        if self._in_parquet:
            import pyarrow.parquet as pq  # noqa: PLC0415 - an extra

            with trouble(self.path):
                return list(pq.read_schema(self.path).names)
        return [str(one) for one in self._info["fields"]]


@dataclass(frozen=True, eq=False)
class Source:
    """A map, layer by layer.

    Attributes
    ----------
    path
        As the user named it.
    layers
        By what they are (see `patchnet.read.layers.LAYERS`); plots are among them. Tables without
        shapes, which tell what is on the plots, have their names.
    """

    path: Path
    layers: Mapping[str, MapLayer]

    @property
    def plots(self) -> MapLayer:
        """The plots."""
        return self.layers["plots"]

    def digest(self) -> str:
        """SHA-256 of all that is read of it: a street's file also holds what is none of it."""
        found = sha256()
        for role, layer in sorted(self.layers.items()):
            found.update(f"{role}\0{layer.name}\0".encode())
            pieces = _database_rows(layer) if is_database(layer.path) else _pieces(layer.path)
            for piece in pieces:
                found.update(piece)
        return found.hexdigest()


def open_source(path: Path) -> Source:
    """Find the layers of a map.

    Parameters
    ----------
    path
        The file or folder.

    Raises
    ------
    CannotRead
        If it is missing, damaged, of another kind, or has no plots.
    """
    with trouble(path):
        files = (
            sorted(one for one in path.iterdir() if one.suffix.casefold() in _READ)
            if path.is_dir()
            else [path]
        )
    found: dict[str, MapLayer] = {}
    names: list[str] = []
    for file in files:
        for layer in _layers_of(file, in_folder=path.is_dir()):
            names.append(layer.name or file.stem)
            if not layer.role:
                continue
            if layer.role in found:
                raise CannotRead(
                    _("There are two layers of {role}: {one} and {other}. Keep one.").format(
                        role=layer.role, one=found[layer.role].where, other=layer.where
                    )
                )
            found[layer.role] = layer
    if "plots" not in found or not found["plots"].shaped:
        raise CannotRead(
            _("{path} has no layer called plots; the layers are: {names}.").format(
                path=path, names=", ".join(names) or _("none")
            )
        )
    return Source(path, found)


def count_plots(file: Path) -> int:
    """Return how many plots a file has that can be read piece by piece; 0 where it cannot.

    Parameters
    ----------
    file
        As the user named it.
    """
    if file.suffix.casefold() not in _READ or not file.is_file():
        return 0
    try:
        return open_source(file).plots.count
    except PatchnetError:
        return 0  # the ordinary way of reading tells what is wrong


def _layers_of(file: Path, *, in_folder: bool) -> Iterator[MapLayer]:
    """Layers of one file; those that are none of ours have no role."""
    suffix = file.suffix.casefold()
    if suffix not in _READ:
        raise CannotRead(
            _(
                "{path} cannot be read piece by piece: save it as GeoPackage (.gpkg), FlatGeobuf "
                "(.fgb) or GeoParquet (.parquet)."
            ).format(path=file)
        )
    with trouble(file), file.open("rb"):
        pass
    if suffix in _PARQUET and find_spec("pyarrow") is None:
        raise CannotRead(
            _(
                "{path} is GeoParquet, which needs one more library: pip install "
                "'patchnet[parquet]', or save it as GeoPackage."
            ).format(path=file)
        )
    if suffix != ".gpkg":
        # A file of one layer is what its name says in a folder, and by itself the plots.
        role = (layer_called(file.stem) or "") if in_folder else "plots"
        name = ""
        if suffix == ".fgb":
            with trouble(file):
                name = str(pyogrio.list_layers(file)[0][0])
        yield MapLayer(role, file, name, file.name)
        return
    with trouble(file):
        with closing(sqlite3.connect(f"{file.absolute().as_uri()}?mode=ro", uri=True)) as there:
            ensure_known_form(there, file)
        layers = [str(name) for name, __ in pyogrio.list_layers(file)]
    for name in layers:
        alone = in_folder and len(layers) == 1
        where = _("{path_name}, layer {name}").format(path_name=file.name, name=name)
        yield _with_role(
            MapLayer(layer_called(file.stem if alone else name) or "", file, name, where)
        )


def _with_role(layer: MapLayer) -> MapLayer:
    """Give a layer of a GeoPackage the role that it has by what is in it."""
    if layer.name == _DRAWN and layer.shaped and set(layer.columns()) >= _DRAWN_COLUMNS:
        return replace(layer, role=_DRAWN)
    if layer.role == "features" and not layer.shaped:
        return replace(layer, role=f"{_TABLE}{layer.name}")
    return (
        layer if layer.role and (layer.shaped or layer.role == "plots") else replace(layer, role="")
    )


def _database_rows(layer: MapLayer) -> Iterator[bytes]:
    """Rows of a layer of a GeoPackage as bytes, in the order of their numbers."""
    address = f"{layer.path.absolute().as_uri()}?mode=ro"
    with trouble(layer.path), closing(sqlite3.connect(address, uri=True)) as there:
        there.text_factory = bytes
        rows = there.execute(f"SELECT * FROM {quoted(layer.name)} ORDER BY rowid")  # noqa: S608
        for row in rows:
            yield repr(row).encode()


def _pieces(path: Path) -> Iterator[bytes]:
    with trouble(path), path.open("rb") as file:
        while piece := file.read(_PIECE):
            yield piece


def _parquet_about(path: Path) -> tuple[str, dict[str, Any]]:
    """Name of the column of shapes, and what the file says of it (GeoParquet 1.1)."""
    import pyarrow.parquet as pq  # noqa: PLC0415 - an extra

    with trouble(path):
        about = (pq.read_schema(path).metadata or {}).get(b"geo")
        if about is None:
            raise CannotRead(_("{path} is Parquet without shapes.").format(path=path))
        told = json.loads(about)
        name = str(told["primary_column"])
        column = told["columns"][name]
        if column.get("encoding") != "WKB":
            raise CannotRead(
                _("{path} keeps its shapes in another way than WKB: save it anew.").format(
                    path=path
                )
            )
        return name, column


def _parquet_crs(path: Path) -> pyproj.CRS | None:
    __, about = _parquet_about(path)
    if "crs" not in about:
        return pyproj.CRS.from_user_input("OGC:CRS84")  # GeoParquet 1.1: where it says nothing
    return None if about["crs"] is None else pyproj.CRS.from_json_dict(about["crs"])


def _parquet_shapes(path: Path) -> Iterator[NDArray[np.object_]]:
    import pyarrow.parquet as pq  # noqa: PLC0415 - an extra

    name, __ = _parquet_about(path)
    with trouble(path), pq.ParquetFile(path) as file:
        for batch in file.iter_batches(batch_size=_BATCH, columns=[name]):
            yield shapely.from_wkb(np.asarray(batch.column(0).to_pylist(), dtype=object))


def _parquet_rows(path: Path, rows: Rows, crs: pyproj.CRS | None) -> gpd.GeoDataFrame:
    """Read some rows, in no more than one batch at a time; groups without any are passed over."""
    import pyarrow as pa  # noqa: PLC0415 - an extra
    import pyarrow.parquet as pq  # noqa: PLC0415

    name, __ = _parquet_about(path)
    parts = []
    with trouble(path), pq.ParquetFile(path) as file:
        begin = 0
        for group in range(file.num_row_groups):
            end = begin + file.metadata.row_group(group).num_rows
            if len(rows) and np.searchsorted(rows, begin) < np.searchsorted(rows, end):
                for batch in file.iter_batches(batch_size=_BATCH, row_groups=[group]):
                    mine = rows[(rows >= begin) & (rows < begin + batch.num_rows)]
                    parts.append(batch.take(pa.array(mine - begin)))
                    begin += batch.num_rows
            begin = end
        table = pa.Table.from_batches(parts, schema=file.schema_arrow).to_pandas(
            ignore_metadata=True
        )
    shapes = shapely.from_wkb(table.pop(name).to_numpy(dtype=object))
    return gpd.GeoDataFrame(table, geometry=shapes, crs=crs).set_index(pd.Index(rows, name="fid"))
