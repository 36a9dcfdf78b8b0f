"""Reading a neighbourhood from whatever file a street group has."""

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from patchnet.core.errors import CannotRead, DataFaults
from patchnet.core.fault_list import FaultList
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.read.build import neighbourhood_of
from patchnet.read.layers import Layers, read_layers
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["local_path", "read_neighbourhood", "read_with_layers"]


def read_neighbourhood(
    path: Path | str,
    *,
    features: Path | str | None = None,
    columns: Mapping[str, str] | None = None,
    crs: str | None = None,
    knowledge: Knowledge | None = None,
    name: str | None = None,
    region: str | None = None,
) -> Neighbourhood:
    """Read a file, a zip or a folder and return one checked neighbourhood.

    Parameters
    ----------
    path
        GeoPackage (layers plots, features, barriers, buildings, roads, footways,
        street_objects; only plots is needed), GeoJSON, Shapefile (also zipped), FlatGeobuf,
        GeoParquet, or a folder with one file a layer (plots.geojson, barriers.gpkg,
        features.csv ...).
    features
        CSV of features keyed by plot id; used instead of one in the folder.
    columns
        Names of columns that are not recognised: ``{"id": "PARCEL_NO"}``.
    crs
        CRS where a file names none, such as ``"EPSG:27700"``.
    knowledge
        The tables; None: those that ship with patchnet.
    name
        What to call it; the file's name if None.
    region
        Region that it lies in, which says what animals live there; None: as the file says.

    Returns
    -------
    Neighbourhood
        In metres, with the warnings in `faults`.

    Raises
    ------
    DataFaults
        If the data have errors: all of them at once, with the warnings.
    CannotRead
        If a file is missing, damaged, locked, or of a kind that is not read.
    WrongUse
        If `columns` names a field, `crs` a system, or `region` a region, that does not exist.

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> street = patchnet.read_neighbourhood("demo")
    >>> len(street.plots), street.plots.crs.is_projected
    (127, True)
    """
    knowledge = knowledge or load_knowledge()
    faults = FaultList()
    layers = read_layers(
        local_path(path), None if features is None else local_path(features), faults
    )
    if name is not None:
        layers = replace(layers, name=name)
    return _checked(layers, columns, crs, knowledge, faults, region=region)


def read_with_layers(
    path: Path | str,
    *,
    columns: Mapping[str, str] | None = None,
    crs: str | None = None,
    knowledge: Knowledge,
) -> tuple[Neighbourhood, Layers]:
    """Read as `read_neighbourhood`, and return the layers as they stand in the file as well.

    Parameters
    ----------
    path, columns, crs, knowledge
        As in `read_neighbourhood`.

    Raises
    ------
    DataFaults, CannotRead, WrongUse
        As `read_neighbourhood`.
    """
    faults = FaultList()
    layers = read_layers(local_path(path), None, faults)
    return _checked(layers, columns, crs, knowledge, faults), layers


def _checked(
    layers: Layers,
    columns: Mapping[str, str] | None,
    crs: str | None,
    knowledge: Knowledge,
    faults: FaultList,
    *,
    region: str | None = None,
) -> Neighbourhood:
    found = neighbourhood_of(
        layers, columns=columns, crs=crs, knowledge=knowledge, faults=faults, region=region
    )
    if found is None or faults.errors:
        raise DataFaults(faults.faults)
    return found


def local_path(path: Path | str) -> Path:
    """Return a path of this computer.

    Raises
    ------
    CannotRead
        If it is an address on the network, or one that only a library understands.
    """
    text = os.fspath(path)
    if "://" in text or text.casefold().startswith(("/vsi", "http:", "https:", "file:")):
        raise CannotRead(
            _(
                "{text} is an address: patchnet reads files of this computer only. Download it "
                "first."
            ).format(text=text[:200])
        )
    if "\0" in text or not text:
        raise CannotRead(_("The name of the file is empty or not a name."))
    return Path(path)
