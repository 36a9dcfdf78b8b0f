"""Any map as a GeoPackage, so that a survey can be kept beside it."""

import shutil
from pathlib import Path

import pyogrio

from patchnet.core.fault_list import FaultList
from patchnet.core.open_file import trouble
from patchnet.read.layers import LAYERS, FeatureTable, SourceLayer, read_layers

__all__ = ["SQLITE", "as_geopackage", "is_database"]

SQLITE = b"SQLite format 3\0"
"""First bytes of every GeoPackage (SQLite file format, section 1.3)."""
_TABLE = "habitats"  # a name that is read as a table of features, and is no layer's own


def is_database(path: Path) -> bool:
    """Whether a file is one that can be a GeoPackage."""
    if not path.is_file():
        return False
    with trouble(path), path.open("rb") as file:
        return file.read(len(SQLITE)) == SQLITE


def as_geopackage(source: Path, target: Path) -> None:
    """Copy a map, or write its layers as a GeoPackage where it is something else.

    Parameters
    ----------
    source
        A GeoPackage, which is copied byte for byte, or any other map that is read.
    target
        Where to write; nothing stands there yet.

    Raises
    ------
    CannotRead
        If `source` cannot be read.
    """
    if is_database(source):
        shutil.copyfile(source, target)
        return
    layers = read_layers(source, None, FaultList())
    credit_lines = {"credits": "; ".join(layers.credits)} if layers.credits else None
    with trouble(target, "written"):
        for name in LAYERS:
            layer: SourceLayer | None = getattr(layers, name, None)
            if layer is not None and len(layer.table):
                pyogrio.write_dataframe(
                    layer.table,
                    target,
                    layer=name,
                    driver="GPKG",
                    append=target.exists(),
                    layer_metadata=credit_lines,
                )
        for number, table in enumerate(layers.tables):
            _add_table(table, target, f"{_TABLE}{number or ''}")


def _add_table(table: FeatureTable, target: Path, name: str) -> None:
    pyogrio.write_dataframe(table.table, target, layer=name, driver="GPKG", append=target.exists())
