"""The survey's own layers in a GeoPackage: written beside the map's layers, which stay as they are.

OGC GeoPackage 1.3 (12-128r18): attribute tables are named in ``gpkg_contents``, tables with a
geometry also in ``gpkg_geometry_columns``; a geometry is a short header and well-known binary.
"""

import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from patchnet.core.cells import as_text, whole_number
from patchnet.core.errors import CannotRead
from patchnet.core.files import write_aside
from patchnet.core.geopackage import (
    changing,
    connect,
    crs_of,
    drop_table,
    geometry_of,
    is_database,
    put_table,
    quoted,
    table_columns,
    table_names,
)  # fmt: skip
from patchnet.core.open_file import trouble
from patchnet.core.table import heading
from patchnet.survey.as_geopackage import as_geopackage
from patchnet.survey.survey_record import (
    CONSENT,
    DRAWN,
    FORGOTTEN,
    RETURNS,
    STATEMENTS,
    Records,
)

__all__ = [
    "OWN_LAYERS",
    "plots_layer",
    "read_records",
    "read_records_if_any",
    "write_records",
]

OWN_LAYERS = (
    "statements", "drawn", "consent", "returns", "forgotten", "survey", "survey_years",
    "survey_about",
)  # fmt: skip
"""Layers that merging writes. Of these only `survey` is read as answers; the others are kept."""

_SAYS = {
    "statements": "Every statement of the survey: who, when, seen from where",
    "drawn": "Shapes drawn on the survey page",
    "consent": "Answers about consent to be shown in public",
    "returns": "Returns that were merged",
    "forgotten": "Plots whose household asked to be forgotten",
    "survey": "What the statements come to: there, not there, not known",
    "survey_years": "What the statements of each year come to",
    "survey_about": "Ids of the street under which returns are taken",
}
_TYPES = {
    "amount": "DOUBLE", "turn": "INTEGER", "year": "INTEGER", "before": "INTEGER",
    "sure": "BOOLEAN", "damaged": "BOOLEAN", "drawn": "BOOLEAN", "there": "INTEGER",
    "not_there": "INTEGER", "cannot_see": "INTEGER", "people_there": "INTEGER",
    "people_not_there": "INTEGER", "people_cannot_see": "INTEGER",
}  # fmt: skip
_GEOMETRY = "geometry"
_UNSAID = "1970-01-01T00:00:00.000Z"


def read_records(path: Path) -> Records:
    """Read what was gathered so far; empty where nothing was.

    Raises
    ------
    CannotRead
        If the file is no GeoPackage, or its records are damaged.
    """
    with trouble(path), closing(connect(path)) as there:
        names = table_names(there)
        if "gpkg_contents" not in names:
            raise CannotRead(f"{path} is not a GeoPackage.")
        drawn = _read(there, names, "drawn", (*DRAWN, _GEOMETRY))
        crs = crs_of(there, "drawn")
        shapes = [geometry_of(blob) for blob in drawn[_GEOMETRY]]
        about = _read(there, names, "survey_about", ("name", "value"))
        return Records(
            statements=_read(there, names, "statements", STATEMENTS),
            drawn=gpd.GeoDataFrame(drawn[list(DRAWN)], geometry=shapes, crs=crs),
            consent=_read(there, names, "consent", CONSENT),
            returns=_read(there, names, "returns", RETURNS),
            forgotten=_read(there, names, "forgotten", FORGOTTEN),
            streets=tuple(about.loc[about["name"] == "street", "value"]),
        )


def read_records_if_any(path: Path) -> Records:
    """Read what was gathered so far; empty where the map is of another kind."""
    return read_records(path) if is_database(path) else Records()


def write_records(
    source: Path,
    target: Path,
    records: Records,
    *,
    survey: pd.DataFrame,
    years: pd.DataFrame,
    consent: Mapping[str, str],
    id_column: str,
) -> None:
    """Write the map with the survey's layers to `target`, whole or not at all.

    Parameters
    ----------
    source
        The map; the layers of a GeoPackage are copied as they are.
    target
        May be `source`.
    records
        What was gathered.
    survey, years
        What it comes to (`statements.resolve`, `statements.by_year`).
    consent
        Plot -> yes or no, written into the column consent of the plots.
    id_column
        Name of the plots' column of ids.

    Raises
    ------
    CannotWrite
        If the file cannot be written.
    """
    about = pd.DataFrame({"name": "street", "value": list(records.streets)}, dtype=object)
    changed = records.returns["saved"].astype(str).max() if len(records.returns) else ""
    with write_aside(target) as draft:
        as_geopackage(source, draft)
        with changing(draft) as there:
            for name in OWN_LAYERS:
                drop_table(there, name)
            srs = _plots_srs(there)
            stamp = _stamp(changed)
            for name, table in (
                ("survey", survey),
                ("survey_years", years),
                ("statements", records.statements),
                ("consent", records.consent),
                ("returns", records.returns),
                ("forgotten", records.forgotten),
                ("survey_about", about),
                ("drawn", records.drawn),
            ):
                put_table(
                    there,
                    name,
                    table,
                    says=_SAYS[name],
                    types=_TYPES,
                    stamp=stamp,
                    srs=srs if name == "drawn" else None,
                )
            _put_consent(there, consent, id_column)


def plots_layer(there: sqlite3.Connection) -> str:
    """Return the name of the table that holds the plots."""
    names = [
        str(row[0])
        for row in there.execute("SELECT table_name FROM gpkg_geometry_columns ORDER BY table_name")
        if row[0] not in OWN_LAYERS
    ]
    plain = {heading(name): name for name in names}
    for word in ("plots", "plot", "parcels", "gardens", "plot polygons"):
        if word in plain:
            return plain[word]
    if len(names) == 1:
        return names[0]
    raise CannotRead("The GeoPackage has no layer called plots: name it so.")


def _read(
    there: sqlite3.Connection, names: set[str], name: str, columns: Sequence[str]
) -> pd.DataFrame:
    if name not in names:
        return pd.DataFrame(columns=list(columns), dtype=object)
    has = {column for column, _ in table_columns(there, name)}
    picked = ", ".join(f'"{key}"' if key in has else "NULL" for key in columns)
    rows = there.execute(f"SELECT {picked} FROM {quoted(name)} ORDER BY fid").fetchall()  # noqa: S608 - our own names
    table = pd.DataFrame(rows, columns=list(columns), dtype=object)
    for key in columns:
        if _TYPES.get(key) == "BOOLEAN":
            table[key] = table[key].fillna(0).astype(bool)
        elif _TYPES.get(key) == "DOUBLE":
            table[key] = table[key].astype(float)
        elif _TYPES.get(key) == "INTEGER":
            table[key] = table[key].fillna(0).astype(np.int64)
        elif key != _GEOMETRY:
            table[key] = table[key].fillna("")
    return table


def _plots_srs(there: sqlite3.Connection) -> int:
    row = there.execute(
        "SELECT srs_id FROM gpkg_geometry_columns WHERE table_name = ?", (plots_layer(there),)
    ).fetchone()
    return int(row[0])


def _stamp(saved: str) -> str:
    """Return when the records changed: not now, so that the same returns give the same file."""
    day = saved[:10]
    return f"{day}T00:00:00.000Z" if len(day) == 10 and day[4] == "-" else _UNSAID


def _put_consent(there: sqlite3.Connection, consent: Mapping[str, str], id_column: str) -> None:
    name = plots_layer(there)
    has = {column for column, _ in table_columns(there, name)}
    if not consent and "consent" not in has:
        return
    if "consent" not in has:
        there.execute(f"ALTER TABLE {quoted(name)} ADD COLUMN consent TEXT")
    rows = there.execute(f"SELECT rowid, {quoted(id_column)} FROM {quoted(name)}").fetchall()  # noqa: S608 - a layer's name
    idents = [(whole_number(as_text(ident)), rowid) for rowid, ident in rows]
    said = [(consent[ident], rowid) for ident, rowid in idents if ident in consent]
    there.executemany(f"UPDATE {quoted(name)} SET consent = ? WHERE rowid = ?", said)  # noqa: S608 - a layer's name
