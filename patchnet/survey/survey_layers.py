"""The survey's own layers in a GeoPackage: written beside the map's layers, which stay as they are.

OGC GeoPackage 1.3 (12-128r18): attribute tables are named in ``gpkg_contents``, tables with a
geometry also in ``gpkg_geometry_columns``; a geometry is a short header and well-known binary.
"""

import os
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from patchnet.core.cells import as_text, whole_number
from patchnet.core.errors import CannotRead
from patchnet.core.files import home_of
from patchnet.core.folding import folded
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
from patchnet.core.open_file import ensure_known_form, trouble
from patchnet.core.street_store import (
    Entry,
    add_entry,
    ensure_generation,
    put_journal,
    read_entries,
    replacing,
)
from patchnet.core.texts import _
from patchnet.read.as_geopackage import as_geopackage
from patchnet.survey.survey_record import (
    CONSENT,
    DRAWN,
    FORGOTTEN,
    MISSING,
    RETURNS,
    SAID_IN,
    STATEMENTS,
    Records,
    listed,
    state_digest,
)

__all__ = [
    "OWN_LAYERS",
    "STANDING_LAYERS",
    "add_table",
    "carry_standing",
    "change_street",
    "move_written",
    "plots_layer",
    "read_records",
    "read_records_if_any",
    "read_stored",
    "seen_from",
    "write_records",
]

OWN_LAYERS = (
    "statements", "drawn", "consent", "returns", "forgotten", "survey", "survey_years",
    "survey_about", "said_in", "missing",
)  # fmt: skip
"""Layers that merging writes. Of these only `survey` is read as answers; the others are kept."""

STANDING_LAYERS = (
    "released", "release_units", "release_shapes", "release_states", "release_about", "written",
)  # fmt: skip
"""What was handed out of the street: it stays whatever is merged, and is never read as a map."""

_SAYS = {
    "statements": "Every statement of the survey: who, when, seen from where",
    "drawn": "Shapes drawn on the survey page",
    "consent": "Answers about consent to be shown in public",
    "missing": "Houses that volunteers found missing on the map",
    "returns": "Returns that were merged",
    "forgotten": "Plots whose household asked to be forgotten",
    "survey": "What the statements come to: there, not there, not known",
    "survey_years": "What the statements of each year come to",
    "said_in": "In which content of a return each statement, shape and answer was",
    "survey_about": "Ids of the street under which returns are taken",
    "released": "Ledger of the public tables: classes, and who was counted, as keyed digests",
    "release_units": "Units of public figures, fixed once",
    "release_shapes": "Names and outlines of these units",
    "release_states": "Who was counted in the last public table, as keyed digests",
    "release_about": "Key of the digests: it never leaves this file",
    "written": "Pages and files that were made from this file",
}
_TYPES = {
    "amount": "DOUBLE", "turn": "INTEGER", "year": "INTEGER", "before": "INTEGER",
    "sure": "BOOLEAN", "damaged": "BOOLEAN", "drawn": "BOOLEAN", "there": "INTEGER",
    "not_there": "INTEGER", "cannot_see": "INTEGER", "people_there": "INTEGER",
    "people_not_there": "INTEGER", "people_cannot_see": "INTEGER", "number": "INTEGER",
    "low": "INTEGER", "high": "INTEGER", "first": "INTEGER", "last": "INTEGER",
}  # fmt: skip
_GEOMETRY = "geometry"
# And a plot: what its column said before the first answer. Stored, so English in every language.
_MAPPED = "consent on the map: "
_UNSAID = "1970-01-01T00:00:00.000Z"


def read_records(path: Path | str) -> Records:
    """Read what was gathered so far; empty where nothing was.

    Parameters
    ----------
    path
        The street's GeoPackage.

    Returns
    -------
    Records
        Statements, drawn shapes, answers about consent, returns, and who is to be forgotten.

    Raises
    ------
    CannotRead
        If the file is no GeoPackage, or its records are damaged.

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> base = patchnet.make_base(["demo/buildings.geojson", "demo/roads.geojson"])
    >>> patchnet.write_base(base, "street.gpkg")
    >>> len(patchnet.read_records("street.gpkg").statements)
    0
    """
    path = Path(path)
    with trouble(path), closing(connect(path)) as there:
        ensure_known_form(there, path)
        names = table_names(there)
        if "gpkg_contents" not in names:
            raise CannotRead(_("{path} is not a GeoPackage.").format(path=path))
        about = read_stored(there, names, "survey_about", ("name", "value"))
        return Records(
            statements=read_stored(there, names, "statements", STATEMENTS),
            drawn=_shapes(there, names, "drawn", DRAWN),
            missing=_shapes(there, names, "missing", MISSING),
            consent=read_stored(there, names, "consent", CONSENT),
            returns=read_stored(there, names, "returns", RETURNS),
            forgotten=read_stored(there, names, "forgotten", FORGOTTEN),
            said_in=_said_in(there, names),
            streets=tuple(about.loc[about["name"] == "street", "value"]),
        )


def _shapes(
    there: sqlite3.Connection, names: set[str], name: str, columns: Sequence[str]
) -> gpd.GeoDataFrame:
    """Read a layer of the records that has a geometry."""
    table = read_stored(there, names, name, (*columns, _GEOMETRY))
    shapes = [geometry_of(blob) for blob in table[_GEOMETRY]]
    crs = crs_of(there, name) if name in names else crs_of(there, "drawn")
    return gpd.GeoDataFrame(table[list(columns)], geometry=shapes, crs=crs)


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
    entry: Entry,
    generation: int | None = None,
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
        What it comes to: as from `statements.resolve` and `statements.by_year`.
    consent
        Plot -> yes or no, written into the column consent of the plots.
    id_column
        Name of the plots' column of ids.
    entry
        What is written into the journal.
    generation
        Number of the change of `source` that the records build on; None: not known.

    Raises
    ------
    CannotWrite
        If the file cannot be written, or `source` was changed since it was read.
    """
    changed = records.returns["saved"].astype(str).max() if len(records.returns) else ""
    with replacing(target) as draft:
        as_geopackage(source, draft)
        # What is copied may be a later file than the one whose records were read.
        ensure_generation(draft, generation, source)
        with changing(draft) as there:
            ensure_known_form(there, source)
            had_records = "statements" in table_names(there)
            move_written(there, source, target)
            answered, mapped = _consent_before(there)
            for name in OWN_LAYERS:
                drop_table(there, name)
            if entry.what == "forget":
                mapped = {
                    plot: mapped[plot]
                    for plot in mapped.keys() - set(listed(records.forgotten["plot"]))
                }
            mapped = _put_consent(there, consent, id_column, answered=answered, mapped=mapped)
            srs = _plots_srs(there)
            stamp = _stamp(changed)
            for name, table in (
                ("survey", survey),
                ("survey_years", years),
                ("statements", records.statements),
                ("consent", records.consent),
                ("returns", records.returns),
                ("forgotten", records.forgotten),
                ("survey_about", _about(records, mapped)),
                ("said_in", records.said_in),
                ("drawn", records.drawn),
                ("missing", records.missing),
            ):
                shaped = name in {"drawn", "missing"}
                add_table(there, name, table, stamp, srs=srs if shaped else None)
            if entry.what == "forget":
                _forget_entries(there, records)
            add_entry(there, entry, state_digest(records), had_records=had_records)


def change_street(path: Path, change: Callable[[sqlite3.Connection], None]) -> None:
    """Change tables of a street's file; it is replaced whole, or not at all.

    Parameters
    ----------
    path
        A GeoPackage.
    change
        Makes the changes; they are committed after it.

    Raises
    ------
    CannotRead, CannotWrite
        If it is no GeoPackage, or cannot be written.
    """
    with replacing(path) as draft:
        as_geopackage(path, draft)
        with changing(draft) as there:
            change(there)


def _said_in(there: sqlite3.Connection, names: set[str]) -> pd.DataFrame:
    """Return what was said in which content; a file of an earlier form tells the return alone."""
    if "said_in" in names:
        return read_stored(there, names, "said_in", SAID_IN)
    contents = read_stored(there, names, "returns", ("return", "content"))
    parts = [
        read_stored(there, names, name, (key, "return"))
        .merge(contents, on="return")
        .rename(columns={key: "ident"})[list(SAID_IN)]
        for name, key in (
            ("statements", "statement"), ("drawn", "shape"), ("consent", "answer_id"),
        )
    ]  # fmt: skip
    whole = pd.concat(parts, ignore_index=True).drop_duplicates()
    return whole.sort_values(list(SAID_IN), kind="stable", ignore_index=True)


def _forget_entries(there: sqlite3.Connection, records: Records) -> None:
    """Leave in the journal nothing that leads to what is no longer in the records."""
    stays = (set(listed(records.returns["content"])), set(listed(records.consent["answer_id"])))
    journal = read_entries(there).assign(digest="")
    for name, known in zip(("returns", "answers"), stays, strict=True):
        journal[name] = [
            "; ".join(one for one in str(cell).split("; ") if one in known)
            for cell in journal[name]
        ]
    put_journal(there, journal)


def carry_standing(earlier: Path, base: Path) -> None:
    """Carry the journal, and all that was handed out of a street, into a new base of it.

    Parameters
    ----------
    earlier
        The street's file as it stood.
    base
        Draft of the new one.

    Raises
    ------
    CannotRead, CannotWrite
        If a file cannot be read or written.
    """
    if not is_database(earlier):
        return
    with trouble(earlier), closing(connect(earlier)) as there:
        names = table_names(there)
        tables = {
            name: read_stored(
                there, names, name,
                [column for column, is_key in table_columns(there, name) if not is_key],
            )
            for name in STANDING_LAYERS
            if name in names
        }  # fmt: skip
        journal = read_entries(there)
    if not tables and not len(journal):
        return

    def put(there: sqlite3.Connection) -> None:
        for name, table in tables.items():
            add_table(there, name, table, _UNSAID)
        move_written(there, earlier, base)
        if len(journal):
            put_journal(there, journal)

    change_street(base, put)


def seen_from(file: Path, street: Path) -> str:
    """Return the path of a page or file as seen from the folder of its street's file.

    Both may be moved together, and the path tells of nobody's computer.
    """
    try:
        return Path(os.path.relpath(file.resolve(), home_of(street))).as_posix()
    except ValueError:  # on another drive
        return str(file.resolve())


def move_written(there: sqlite3.Connection, source: Path, target: Path) -> None:
    """Name what was made from a street's file as seen from the folder of its copy.

    The copy itself is left out.

    Parameters
    ----------
    there
        The copy, open; nothing is committed.
    source, target
        The street's file, and where the copy is going to stand.
    """
    if ("file", False) not in table_columns(there, "written"):
        return
    if home_of(source) != home_of(target):
        rows = there.execute("SELECT fid, file FROM written").fetchall()
        moved = [(seen_from(home_of(source) / str(file), target), fid) for fid, file in rows]
        there.executemany("UPDATE written SET file = ? WHERE fid = ?", moved)
    there.execute("DELETE FROM written WHERE file = ?", (target.name,))


def plots_layer(there: sqlite3.Connection) -> str:
    """Return the name of the table that holds the plots.

    Parameters
    ----------
    there
        Open file.
    """
    names = [
        str(row[0])
        for row in there.execute("SELECT table_name FROM gpkg_geometry_columns ORDER BY table_name")
        if row[0] not in OWN_LAYERS
    ]
    plain = {folded(name): name for name in names}
    for word in ("plots", "plot", "parcels", "gardens", "plot polygons"):
        if word in plain:
            return plain[word]
    if len(names) == 1:
        return names[0]
    raise CannotRead(_("The GeoPackage has no layer called plots: name it so."))


def read_stored(
    there: sqlite3.Connection, names: set[str], name: str, columns: Sequence[str]
) -> pd.DataFrame:
    """Read some columns of a layer; `names` are those of all tables. Without it: no row."""
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


def add_table(
    there: sqlite3.Connection, name: str, table: pd.DataFrame, stamp: str, *, srs: int | None = None
) -> None:
    """Write a table as a layer; `stamp` is when it last changed, `srs` that of its geometry.

    Parameters
    ----------
    there
        Open draft.
    name
        Name of the layer.
    table
        Its columns are those of the layer.
    stamp
        ISO date and time.
    srs
        Number of the coordinate system; None: no geometry.
    """
    put_table(there, name, table, says=_SAYS[name], types=_TYPES, stamp=stamp, srs=srs)


def _stamp(saved: str) -> str:
    """Return when the records changed: not now, so that the same returns give the same file."""
    day = saved[:10]
    return f"{day}T00:00:00.000Z" if len(day) == 10 and day[4] == "-" else _UNSAID


def _about(records: Records, mapped: Mapping[str, str]) -> pd.DataFrame:
    rows = [("street", street) for street in records.streets]
    rows += [(_MAPPED + plot, mapped[plot]) for plot in sorted(mapped)]
    return pd.DataFrame(rows, columns=["name", "value"], dtype=object)


def _consent_before(there: sqlite3.Connection) -> tuple[set[str], dict[str, str]]:
    """Return the plots with answers so far, and what the map itself had said of some of them."""
    names = table_names(there)
    about = read_stored(there, names, "survey_about", ("name", "value"))
    return set(listed(read_stored(there, names, "consent", CONSENT)["plot"])), {
        str(name).removeprefix(_MAPPED): str(value)
        for name, value in zip(about["name"], about["value"], strict=True)
        if str(name).startswith(_MAPPED)
    }


def _put_consent(
    there: sqlite3.Connection,
    consent: Mapping[str, str],
    id_column: str,
    *,
    answered: AbstractSet[str],
    mapped: Mapping[str, str],
) -> dict[str, str]:
    """Write the last answers into the plots; where none is left, what the map itself said.

    Return what the map had said of the plots that have an answer now.
    """
    name = plots_layer(there)
    has = {column for column, _ in table_columns(there, name)}
    if "consent" not in has:
        if not consent:
            return {}
        there.execute(f"ALTER TABLE {quoted(name)} ADD COLUMN consent TEXT")
    rows = there.execute(f"SELECT rowid, {quoted(id_column)}, consent FROM {quoted(name)}")  # noqa: S608 - a layer's name
    kept: dict[str, str] = {}
    said: list[tuple[str | None, int]] = []
    for rowid, value, there_now in rows.fetchall():
        plot = whole_number(as_text(value))
        own = mapped.get(plot, "") if plot in answered else as_text(there_now)
        if plot in consent:
            said.append((consent[plot], rowid))
            if own:
                kept[plot] = own
        elif plot in answered:
            said.append((own or None, rowid))
    there.executemany(f"UPDATE {quoted(name)} SET consent = ? WHERE rowid = ?", said)  # noqa: S608 - a layer's name
    return kept
