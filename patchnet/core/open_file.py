"""One file of any kind opened as tables: the one place where other libraries' errors end.

What a file is, is told by its first bytes, not by its name alone: a library that guesses would
also follow a file that points to another one, or to an address on the network.
"""

import json
import sqlite3
import struct
import warnings
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio

from patchnet.core.errors import CannotRead, PatchnetError
from patchnet.core.reader_child import ReaderChild, read_in_child
from patchnet.core.texts import N_, _

__all__ = [
    "FORM", "JOURNAL_LAYER", "STORE_LAYER", "SUFFIXES", "Layer", "ensure_known_form",
    "open_layers", "trouble",
]  # fmt: skip

SUFFIXES = (".gpkg", ".geojson", ".json", ".shp", ".fgb", ".parquet", ".geoparquet")
"""Endings of the files that are read as layers."""

_FORMATS = N_(
    "a GeoPackage, GeoJSON, Shapefile (zipped), FlatGeobuf, GeoParquet or a folder of them"
)
_SHP_CODE = 9994  # ESRI Shapefile Technical Description (1998), table 1: the file code
_SQLITE = b"SQLite format 3\0"
# What a survey gathered is kept beside the map it was gathered for; `survey` is what it comes to.
_RECORDS = frozenset(
    ("statements", "consent", "returns", "forgotten", "survey_years", "survey_about")
)
# What was handed out of it is kept there as well, and is no part of the map.
_HANDED_OUT = frozenset(
    ("released", "release_units", "release_shapes", "release_states", "release_about", "written")
)
FORM = 3
"""Form of a street's file as it is written today. 1: without a journal."""
JOURNAL_LAYER, STORE_LAYER = "street_journal", "street_store"
_STORE = frozenset((JOURNAL_LAYER, STORE_LAYER, "said_in"))
_TABLES = (".csv", ".tsv", ".xlsx", ".xls", ".ods")


@dataclass(frozen=True, eq=False)
class Layer:
    """One layer as it stands in a file.

    Attributes
    ----------
    name
        Name of the layer.
    where
        How faults name it: the file, and the layer if the file has several.
    table
        Its rows; without geometry a plain DataFrame.
    says_crs
        Whether the file itself names a CRS (a GeoJSON is in WGS 84 without saying so).
    credits
        Lines of attribution found with it.
    encoding
        The encoding that had to be assumed, if the named one did not fit.
    """

    name: str
    where: str
    table: pd.DataFrame
    says_crs: bool
    credits: tuple[str, ...] = ()
    encoding: str | None = None


@contextmanager
def trouble(path: Path, doing: str = "read") -> Iterator[None]:
    """Turn whatever another library raises into one `CannotRead` about `path`.

    Parameters
    ----------
    path
        The file that is worked on.
    doing
        What is done to it, for the words.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except PatchnetError:
        raise
    except MemoryError as error:
        raise CannotRead(
            _("{path} is too large for this computer's memory.").format(path=path)
        ) from error
    except UnicodeDecodeError as error:
        raise CannotRead(
            _(
                "{path} cannot be {doing}: its text is not in the encoding it names. Save it "
                "again as UTF-8."
            ).format(path=path, doing=doing)
        ) from error
    except OSError as error:
        reason = error.strerror or _("the system refused it")
        raise CannotRead(
            _("{path} cannot be {doing}: {reason}.").format(path=path, doing=doing, reason=reason)
        ) from error
    except Exception as error:  # any library, any error: this is the border
        raise CannotRead(
            _("{path} cannot be {doing}: it is damaged, cut off, or not {formats}.").format(
                path=path, doing=doing, formats=_(_FORMATS)
            )
        ) from error


def open_layers(path: Path, child: ReaderChild | None = None) -> list[Layer]:
    """Open every layer of one file, in a child process with limits.

    Parameters
    ----------
    path
        The file.
    child
        One that reads several files; None: one for this file alone.

    Raises
    ------
    CannotRead
        If it is missing, empty, damaged, locked, too large, or of a kind that is not read.
    """
    return read_in_child(_open_here, path) if child is None else child.read(_open_here, path)


def _open_here(path: Path) -> list[Layer]:
    head = _head(path)
    suffix = path.suffix.casefold()
    if head.startswith(_SQLITE):
        return _with_gdal(path, described=_probe_geopackage(path))
    if head[:3] == b"fgb":
        return _with_gdal(path)
    if head[:4] == b"PAR1":
        return [_parquet(path)]
    if suffix == ".shp" or head[:4] == struct.pack(">i", _SHP_CODE):
        _probe_shapefile(path, head)
        return _with_gdal(path)
    if head.lstrip(b"\xef\xbb\xbf \t\r\n").startswith((b"{", b"[")) or suffix in {
        ".geojson",
        ".json",
    }:
        says_crs, credit_lines = _probe_geojson(path)
        return _with_gdal(path, says_crs=says_crs, credit_lines=credit_lines)
    if suffix in _TABLES:
        raise CannotRead(
            _(
                "{path} is a table without outlines: give the plots' map, and this with --features."
            ).format(path=path)
        )
    raise CannotRead(_("{path} is not {formats}.").format(path=path, formats=_(_FORMATS)))


def _head(path: Path) -> bytes:
    if not path.exists():
        raise CannotRead(_("There is no file {path}.").format(path=path))
    if not path.is_file():
        raise CannotRead(_("{path} is not a file.").format(path=path))
    with trouble(path), path.open("rb") as file:
        head = file.read(100)
    if not head.strip(b"\0 \t\r\n"):
        raise CannotRead(_("{path} is empty.").format(path=path))
    return head


def _probe_geopackage(path: Path) -> frozenset[str] | None:
    """Look whether the file is whole and free, without waiting for whoever has it open.

    Return the layers that something is told of besides their rows, such as credits; None where
    that cannot be said.
    """
    address = path.absolute().as_uri() + "?mode=ro"
    try:
        try:
            names, described = _sound_tables(path, address)
        except sqlite3.OperationalError as error:
            if "unable to open" not in str(error):
                raise
            # A file with a journal in a folder that cannot be written to.
            names, described = _sound_tables(path, address + "&immutable=1")
    except sqlite3.OperationalError as error:
        if "locked" in str(error) or "busy" in str(error):
            raise CannotRead(
                _(
                    "{path} is being written by another program: close it there and try again."
                ).format(path=path)
            ) from error
        raise CannotRead(
            _("{path} cannot be opened: it or its folder is protected.").format(path=path)
        ) from error
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise CannotRead(_("{path} is damaged or cut off.").format(path=path)) from error
    if names is None:
        raise CannotRead(_("{path} is damaged or cut off.").format(path=path))
    if "gpkg_contents" not in names:
        raise CannotRead(_("{path} is a database, but not a GeoPackage.").format(path=path))
    return described


def _sound_tables(path: Path, address: str) -> tuple[set[str] | None, frozenset[str] | None]:
    """Return the names of a database's tables, and of those that metadata speak of.

    None for the names where it is not sound.
    """
    described: frozenset[str] | None = frozenset()
    with closing(sqlite3.connect(address, uri=True, timeout=0)) as there:
        names = {str(row[0]) for row in there.execute("SELECT name FROM sqlite_master")}
        sound = there.execute("PRAGMA quick_check(1)").fetchone()
        ensure_known_form(there, path)
        if "gpkg_metadata_reference" in names:
            try:
                rows = there.execute("SELECT table_name FROM gpkg_metadata_reference")
                described = frozenset(str(row[0]).casefold() for row in rows)
            except sqlite3.Error:
                described = None  # not as the standard has it: any layer may be meant
    return (names if sound is not None and sound[0] == "ok" else None), described


def ensure_known_form(there: sqlite3.Connection, path: Path) -> None:
    """Refuse a street's file that a later patchnet wrote.

    Parameters
    ----------
    there
        Open file.
    path
        How it is named.

    Raises
    ------
    CannotRead
        If it is of a later form than `FORM`.
    """
    names = {str(row[0]) for row in there.execute("SELECT name FROM sqlite_master")}
    if STORE_LAYER not in names:
        return
    row = there.execute(f"SELECT value FROM {STORE_LAYER} WHERE name = 'form'").fetchone()  # noqa: S608 - our own name
    form = str(row[0]) if row else ""
    if not form.isdigit() or int(form) > FORM:
        raise CannotRead(
            _(
                "{path} is of form {form}, and this patchnet reads forms 1 to {form_2}: use the "
                "newer patchnet that wrote it."
            ).format(path=path, form=form or "unknown", form_2=FORM)
        )


def _probe_shapefile(path: Path, head: bytes) -> None:
    if len(head) < 100 or struct.unpack(">i", head[:4])[0] != _SHP_CODE:
        raise CannotRead(_("{path} is not a Shapefile, or is cut off.").format(path=path))
    # Bytes 24-27: length of the whole file in 16-bit words (same source, table 1).
    if path.stat().st_size < 2 * struct.unpack(">i", head[24:28])[0]:
        raise CannotRead(_("{path} is cut off: it is shorter than it says.").format(path=path))
    beside = {other.name.casefold() for other in path.parent.iterdir()}
    lacking = [end for end in (".shx", ".dbf") if path.stem.casefold() + end not in beside]
    if lacking:
        raise CannotRead(
            _(
                "{path} lacks {lacking} beside it: a Shapefile is several files. Copy them all, "
                "or send them zipped."
            ).format(path=path, lacking=_(" and ").join(lacking))
        )


def _probe_geojson(path: Path) -> tuple[bool, tuple[str, ...]]:
    """Look whether it is GeoJSON at all.

    Return whether it names a CRS (an old custom), and the credits beside its features (a foreign
    member, RFC 7946, section 6.1): a list of lines, or one text with semicolons between them.
    """
    try:
        content: Any = json.loads(path.read_bytes())
    except UnicodeDecodeError as error:
        raise CannotRead(
            _("{path} is not UTF-8 text, as GeoJSON must be: save it again as UTF-8.").format(
                path=path
            )
        ) from error
    except json.JSONDecodeError as error:
        raise CannotRead(
            _("{path} is damaged or cut off: it stops being GeoJSON in line {lineno}.").format(
                path=path, lineno=error.lineno
            )
        ) from error
    except RecursionError as error:
        raise CannotRead(
            _("{path} is not GeoJSON: it is nested without end.").format(path=path)
        ) from error
    if not isinstance(content, dict) or content.get("type") not in {"FeatureCollection", "Feature"}:
        raise CannotRead(
            _("{path} is not GeoJSON: it is no collection of features.").format(path=path)
        )
    rows = content.get("features") if content["type"] == "FeatureCollection" else [content]
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise CannotRead(
            _("{path} is not GeoJSON: its features are no list of features.").format(path=path)
        )
    found = content.get("credits")
    lines = found.split("; ") if isinstance(found, str) else found
    lines = lines if isinstance(lines, list) else []
    credit_lines = (" ".join(line.split()) for line in lines if isinstance(line, str))
    return bool(content.get("crs")), tuple(line for line in credit_lines if line)


def _with_gdal(
    path: Path,
    *,
    says_crs: bool = True,
    credit_lines: tuple[str, ...] = (),
    described: frozenset[str] | None = None,
) -> list[Layer]:
    """Read all layers; `described` are those that the file tells more of, None: perhaps any."""
    with trouble(path):
        names = [str(name) for name, __ in pyogrio.list_layers(path)]
    if "statements" in names and "survey_about" in names:
        names = [name for name in names if name not in _RECORDS]
    if path.suffix.casefold() == ".gpkg":
        names = [name for name in names if name not in _HANDED_OUT and name not in _STORE]
    if not names:
        raise CannotRead(_("{path} has no layer.").format(path=path))
    layers = [
        _gdal_layer(
            path,
            name,
            alone=len(names) == 1,
            says_crs=says_crs,
            described=described is None or name.casefold() in described,
        )
        for name in names
    ]
    # A survey that has gathered nothing yet says nothing.
    layers = [one for one in layers if one.name != "survey" or len(one.table) or len(layers) == 1]
    return [replace(layer, credits=layer.credits or credit_lines) for layer in layers]


def _gdal_layer(path: Path, name: str, *, alone: bool, says_crs: bool, described: bool) -> Layer:
    encoding = None
    # To ask costs as much as to read: the whole file is opened anew. A GeoPackage without metadata
    # of the layer has nothing to say, and that its rows are whole was looked at before.
    info: dict[str, Any] = {}
    with trouble(path):
        if described:
            info = pyogrio.read_info(path, layer=name, force_feature_count=True)
        try:
            table = pyogrio.read_dataframe(path, layer=name)
        except UnicodeDecodeError:
            if path.suffix.casefold() != ".shp":
                raise
            encoding = "cp1252"
            table = pyogrio.read_dataframe(path, layer=name, encoding=encoding)
    if 0 <= info.get("features", -1) != len(table):
        raise CannotRead(
            _("{path} is damaged or cut off: it says {features} rows and holds {n_table}.").format(
                path=path, features=info["features"], n_table=len(table)
            )
        )
    credits_line = (info.get("layer_metadata") or {}).get("credits", "")
    return Layer(
        name,
        path.name
        if alone
        else _("{path_name}, layer {name}").format(path_name=path.name, name=name),
        table,
        says_crs and getattr(table, "crs", None) is not None,
        tuple(line for line in credits_line.split("; ") if line),
        encoding,
    )


def _parquet(path: Path) -> Layer:
    if find_spec("pyarrow") is None:  # optional: it is large, and only this format needs it
        raise CannotRead(
            _(
                "{path} is GeoParquet, which needs one more library: pip install "
                "'patchnet[parquet]', or save it as GeoPackage."
            ).format(path=path)
        )
    with trouble(path):
        table = gpd.read_parquet(path)
    return Layer(path.stem, path.name, table, says_crs=table.crs is not None)
