"""What a street group has, sorted into layers: one file, a zip, or a folder of files."""

import os
import re
import shutil
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

import geopandas as gpd
import pandas as pd

from patchnet.core.errors import CannotRead
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import nearest
from patchnet.core.files import folder_to_read
from patchnet.core.open_file import SUFFIXES, Layer, open_layers, trouble
from patchnet.core.reader_child import MAP_LIMITS, ReaderChild
from patchnet.core.table import SUFFIXES as TABLE_SUFFIXES
from patchnet.core.table import heading, read_table
from patchnet.core.texts import _
from patchnet.read.columns import ROLES

__all__ = [
    "FEATURE_TABLE", "LAYERS", "FeatureTable", "Layers", "SourceLayer", "layer_called",
    "read_layers", "unpacked",
]  # fmt: skip

LAYERS: dict[str, tuple[str, ...]] = {
    "plots": ("plots", "plot", "parcels", "gardens", "plot polygons"),
    "features": ("features", "feature", "habitat features", "habitats", "survey"),
    "barriers": ("barriers", "barrier", "fences", "walls", "boundaries"),
    "buildings": ("buildings", "building", "houses"),
    "roads": ("roads", "road", "streets", "street"),
    "footways": ("footways", "footway", "paths", "footpaths", "pavements"),
    "street_objects": ("street objects", "street object", "street furniture", "street things"),
}
"""Layers that are read, and other names people have for them."""

FEATURE_TABLE = "habitats"
"""What a table of features is called that patchnet writes beside a map: no name of its own layers.
Further ones are numbered after it."""

_HEADINGS = frozenset(word for role in ("id", "seen", "features", "amount") for word in ROLES[role])
_UNPACKED_MOST = 2**30  # bytes: a zip that swells beyond this is not a neighbourhood


@dataclass(frozen=True, eq=False)
class SourceLayer:
    """One layer with geometry and how faults name it; see `open_file.Layer`."""

    where: str
    table: gpd.GeoDataFrame
    says_crs: bool = True


@dataclass(frozen=True, eq=False)
class FeatureTable:
    """A table of features keyed by plot id.

    `rows` are the numbers of its rows in the user's program (none: counted from 1); `resolved`:
    it is what a survey's statements came to, which overrules other sources.
    """

    where: str
    table: pd.DataFrame
    rows: Sequence[int] = ()
    resolved: bool = False

    @property
    def numbers(self) -> Sequence[int]:
        """The number of each row."""
        return self.rows or range(1, len(self.table) + 1)


@dataclass(frozen=True, eq=False)
class Layers:
    """Everything that was read, not yet checked; `drawn` are shapes of a survey's returns."""

    name: str
    plots: SourceLayer | None = None
    features: SourceLayer | None = None
    barriers: SourceLayer | None = None
    buildings: SourceLayer | None = None
    roads: SourceLayer | None = None
    footways: SourceLayer | None = None
    street_objects: SourceLayer | None = None
    drawn: SourceLayer | None = None
    tables: tuple[FeatureTable, ...] = ()
    credits: tuple[str, ...] = field(default=())


def read_layers(path: Path, features: Path | None, faults: FaultList) -> Layers:
    """Read a file, a zip or a folder, and the table of features if one is given.

    Faults that are met on the way (two files for one layer, an assumed encoding) are added to
    `faults`.

    Raises
    ------
    CannotRead
        If a file is missing, damaged, locked, or of a kind that is not read.
    """
    with unpacked(path) as place:
        if place.is_dir():
            layers, tables = _folder(path, place, faults)
        else:
            layers, tables = open_layers(place), []
        found = _sort(layers, faults, path)
    if features is not None:
        tables = [_table(features, faults)]
    tables += [
        FeatureTable(one.where, one.table, resolved={"change", "before"} <= set(one.table.columns))
        for one in found.pop("tables", [])
    ]
    credit_lines = list(dict.fromkeys(line for one in layers for line in one.credits))
    single = {name: _source(ones[0]) for name, ones in found.items()}
    return Layers(path.stem, tables=tuple(tables), credits=tuple(credit_lines), **single)


def _source(layer: Layer) -> SourceLayer:
    table = layer.table
    if not isinstance(table, gpd.GeoDataFrame):
        table = gpd.GeoDataFrame(table, geometry=[None] * len(table))
    return SourceLayer(layer.where, table, layer.says_crs)


@contextmanager
def unpacked(path: Path) -> Iterator[Path]:
    """Give the path itself, or the folder that a zip was unpacked into."""
    with trouble(path):
        named = path.suffix.casefold() in TABLE_SUFFIXES
        packed = path.is_file() and not named and zipfile.is_zipfile(path)
    if not packed:
        if path.is_file() and path.suffix.casefold() == ".zip":
            raise CannotRead(_("{path} is not a zip file, or is cut off.").format(path=path))
        yield path
        return
    with folder_to_read(path) as aside:
        _unzip(path, aside)
        try:
            yield aside
        except CannotRead as error:
            # Name the zip, not the folder aside that nobody knows.
            words = str(error).replace(f"{aside}{os.sep}", f"{path}, in it ")
            raise CannotRead(words) from error


def _unzip(path: Path, folder: Path) -> None:
    with trouble(path), zipfile.ZipFile(path) as packed:
        members = [m for m in packed.infolist() if not m.is_dir()]
        if sum(member.file_size for member in members) > _UNPACKED_MOST:
            raise CannotRead(
                _("{path} unpacks to more than a gigabyte: that is no street.").format(path=path)
            )
        if any(member.flag_bits & 1 for member in members):
            raise CannotRead(
                _("{path} is locked by a password: unpack it first.").format(path=path)
            )
        for member in members:
            inside = PurePosixPath(member.filename.replace("\\", "/"))
            # Hidden folders and files hold only a system's own notes.
            if any(part.startswith((".", "__MACOSX")) for part in inside.parts):
                continue
            target = folder / inside.name
            if target.exists():
                raise CannotRead(
                    _(
                        "{path} holds two files called {inside_name}: zip only the folder you mean."
                    ).format(path=path, inside_name=inside.name)
                )
            with packed.open(member) as source, target.open("wb") as file:
                shutil.copyfileobj(source, file)


def _folder(path: Path, place: Path, faults: FaultList) -> tuple[list[Layer], list[FeatureTable]]:
    with trouble(path):
        files = sorted(
            (f for f in place.iterdir() if f.is_file() and not f.name.startswith(".")),
            key=lambda f: f.name,
        )
    readable = [file for file in files if file.suffix.casefold() in SUFFIXES]
    named = [file for file in readable if layer_called(file.stem)]
    chosen = named or readable
    if not chosen:
        raise CannotRead(
            _(
                "In {path} there is no layer: it needs a file such as plots.geojson or plots.gpkg."
            ).format(path=path)
        )
    layers = []
    with ReaderChild(MAP_LIMITS) as child:
        for file in chosen:
            opened = open_layers(file, child)
            # A file of one layer is called by the file's name, whatever the layer is called.
            if len(opened) == 1 and file in named:
                one = opened[0]
                opened = [
                    Layer(file.stem, file.name, one.table, one.says_crs, one.credits, one.encoding)
                ]
            layers += opened
    tables = [
        _table(file, faults)
        for file in files
        if file.suffix.casefold() in TABLE_SUFFIXES and layer_called(file.stem) == "features"
    ]
    return layers, tables


def _table(path: Path, faults: FaultList) -> FeatureTable:
    read = read_table(path, faults, known=_HEADINGS)
    return FeatureTable(read.where, read.frame(), [row.number for row in read.rows])


def layer_called(name: str) -> str | None:
    """Return which layer a name stands for; None where it is none of ours."""
    plain = heading(name)
    if re.fullmatch(rf"{FEATURE_TABLE} ?\d+", plain):
        return "features"
    for layer, words in LAYERS.items():
        if plain in words:
            return layer
    return None


def _sort(layers: Sequence[Layer], faults: FaultList, path: Path) -> dict[str, list[Layer]]:
    """Sort layers by what they are; ``tables`` are those of features without geometry."""
    found: dict[str, list[Layer]] = {}
    rest = []
    for layer in layers:
        if layer.encoding:
            faults.warn(
                layer.where,
                _(
                    "The text is not in the encoding the file names; it was read as {encoding}."
                ).format(encoding=layer.encoding),
                _("If letters look wrong, save it again as GeoPackage."),
            )
        key = layer_called(layer.name)
        if layer.name == "drawn" and {"shape", "return", "utc"} <= set(layer.table.columns):
            if len(layer.table):
                found["drawn"] = [layer]
        elif key is None:
            rest.append(layer)
        elif key == "features" and not isinstance(layer.table, gpd.GeoDataFrame):
            found.setdefault("tables", []).append(layer)
        else:
            found.setdefault(key, []).append(layer)
    _near_names(rest, found, faults)
    if "plots" not in found:
        _take_as_plots(rest, found, faults, path)
    for key, ones in found.items():
        if key != "tables" and len(ones) > 1:
            faults.error(
                path.name,
                _("There are {n_ones} layers of {key}: {ones}.").format(
                    n_ones=len(ones), key=key, ones=", ".join(o.where for o in ones)
                ),
                _("Keep one of them, or join them."),
            )
    return found


def _near_names(rest: list[Layer], found: dict[str, list[Layer]], faults: FaultList) -> None:
    """Take a layer that is spelt nearly like one of ours, and say so."""
    for layer in list(rest):
        close = nearest(layer.name, [key for key in LAYERS if key not in found], most=1)
        if close and _alike(layer.name, close[0]):
            found[close[0]] = [layer]
            rest.remove(layer)
            faults.warn(
                layer.where,
                _("The layer '{layer_name}' was taken as '{close}'.").format(
                    layer_name=layer.name, close=close[0]
                ),
                _("Call it {close}.").format(close=close[0]),
            )


def _alike(name: str, layer: str) -> bool:
    """Whether no more than a letter or two differ (footwear is not footways)."""
    return abs(len(name) - len(layer)) <= 2 and name.casefold()[:2] == layer[:2]


def _take_as_plots(
    rest: list[Layer], found: dict[str, list[Layer]], faults: FaultList, path: Path
) -> None:
    with_areas = [layer for layer in rest if _has_areas(layer.table)]
    candidates = with_areas or ([rest[0]] if len(rest) == 1 and not found else [])
    if len(candidates) == 1:
        layer = candidates[0]
        found["plots"] = [layer]
        # A lone Shapefile or GeoJSON is called as its file is; a GeoPackage's layer is not.
        if len(rest) + len(found) > 2 or not with_areas or path.suffix.casefold() == ".gpkg":
            mend = _("Call it plots, so that nobody has to guess.")
            faults.warn(
                layer.where,
                _("The layer '{layer_name}' was taken as the plots.").format(layer_name=layer.name),
                mend,
            )
        return
    names = ", ".join(f"'{layer.name}'" for layer in rest) or "none other"
    faults.error(
        path.name,
        _("There is no layer called plots; the layers are {names}.").format(names=names),
        _("Call the layer of the plots' outlines plots."),
    )


def _has_areas(table: pd.DataFrame) -> bool:
    return isinstance(table, gpd.GeoDataFrame) and bool(
        table.geom_type.isin(("Polygon", "MultiPolygon")).any()
    )
