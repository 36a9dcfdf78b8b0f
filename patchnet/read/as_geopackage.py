"""Any map as a GeoPackage: to keep a survey in, or to read it piece by piece."""

from collections.abc import Iterator
from pathlib import Path

from patchnet.core.fault_list import FaultList
from patchnet.core.geopackage import OutLayer, copy_geopackage, fill_geopackage, is_database
from patchnet.read.layers import FEATURE_TABLE, LAYERS, Layers, SourceLayer, read_layers

__all__ = ["as_geopackage", "layers_as_geopackage"]


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
    CannotWrite
        If `target` cannot be written.
    """
    if is_database(source):
        copy_geopackage(source, target)
    else:
        layers_as_geopackage(source, target)


def layers_as_geopackage(source: Path, target: Path, features: Path | None = None) -> None:
    """Write what is read of a map as a GeoPackage, each layer under the name of what it is.

    Parameters
    ----------
    source
        Any map that is read.
    target
        Where to write; nothing stands there yet.
    features
        A table of features that takes the place of those beside the map.

    Raises
    ------
    CannotRead
        If `source` or `features` cannot be read.
    CannotWrite
        If `target` cannot be written.
    """
    fill_geopackage(target, _out_layers(read_layers(source, features, FaultList())))


def _out_layers(layers: Layers) -> Iterator[OutLayer]:
    for name in (*LAYERS, "drawn"):
        layer: SourceLayer | None = getattr(layers, name, None)
        if layer is not None and len(layer.table):
            yield OutLayer(name, layer.table, credits=layers.credits)
    for number, table in enumerate(layers.tables):
        yield OutLayer(f"{FEATURE_TABLE} {number}" if number else FEATURE_TABLE, table.table)
