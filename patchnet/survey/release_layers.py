"""The ledger of public tables, and the list of what was made, inside the street's file."""

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from datetime import datetime
from pathlib import Path

import pandas as pd
import shapely

from patchnet.core.errors import CannotRead, WrongUse
from patchnet.core.geopackage import connect, drop_table, is_database, table_names
from patchnet.core.open_file import trouble
from patchnet.core.texts import _
from patchnet.survey.release import CELLS, STATES, UNITS, Ledger
from patchnet.survey.survey_layers import add_table, change_street, read_stored, seen_from

__all__ = ["WRITTEN", "note_written", "put_ledger", "read_ledger", "read_written", "write_ledger"]

WRITTEN = ("file", "audience", "when")
"""One row a page, file or copy that was made of the street: where, for whom, and when last."""

_SHAPES = ("unit", "name", "wkb")
_ABOUT = ("name", "value")


def read_ledger(path: Path) -> Ledger:
    """Read what was handed out of a street; empty where nothing was.

    Parameters
    ----------
    path
        The street's file.

    Raises
    ------
    WrongUse
        If the file is no GeoPackage: only there the ledger can be kept.
    CannotRead
        If it is damaged.
    """
    if not is_database(path):
        raise WrongUse(
            _(
                "{path} cannot remember what was handed out of it, and two public files could "
                "give a household back: make a GeoPackage of it (patchnet merge MAP -o "
                "street.gpkg) and what is for the public from that."
            ).format(path=path)
        )
    with trouble(path), closing(connect(path)) as there:
        names = table_names(there)
        if "gpkg_contents" not in names:
            raise CannotRead(_("{path} is not a GeoPackage.").format(path=path))
        shapes = read_stored(there, names, "release_shapes", _SHAPES)
        about = read_stored(there, names, "release_about", _ABOUT)
        return Ledger(
            key="".join(about.loc[about["name"] == "key", "value"]),
            units=read_stored(there, names, "release_units", UNITS),
            cells=read_stored(there, names, "released", CELLS),
            states=read_stored(there, names, "release_states", STATES),
            names=dict(zip(shapes["unit"], shapes["name"], strict=True)),
            shapes={
                str(unit): shapely.from_wkb(bytes.fromhex(str(wkb)))
                for unit, wkb in zip(shapes["unit"], shapes["wkb"], strict=True)
            },
        )


def put_ledger(there: sqlite3.Connection, ledger: Ledger) -> None:
    """Write a ledger into an open street file in place of the one that is there.

    Parameters
    ----------
    there
        Open draft.
    ledger
        Written in place of the one that is there.
    """
    shapes = [
        (unit, name, shapely.to_wkb(ledger.shapes[unit]).hex())
        for unit, name in ledger.names.items()
    ]
    day = str(ledger.cells["date"].iloc[-1]) if len(ledger.cells) else "1970-01-01"
    for name, table in (
        ("released", ledger.cells),
        ("release_units", ledger.units),
        ("release_shapes", _table(shapes, _SHAPES)),
        ("release_states", ledger.states),
        ("release_about", _table([("key", ledger.key)], _ABOUT)),
    ):
        drop_table(there, name)
        add_table(there, name, table, f"{day}T00:00:00.000Z")


def write_ledger(path: Path, ledger: Ledger) -> None:
    """Write a ledger into its street's file, which is replaced whole.

    Parameters
    ----------
    path
        The street's file.
    ledger
        Written in place of the one that is there.

    Raises
    ------
    CannotRead, CannotWrite
        If the file cannot be read or written: then nothing may be handed out.
    """
    change_street(path, lambda there: put_ledger(there, ledger))


def read_written(path: Path) -> pd.DataFrame:
    """Read which pages and files were made from a street; columns `WRITTEN`."""
    if not is_database(path):
        return pd.DataFrame(columns=list(WRITTEN), dtype=object)
    with trouble(path), closing(connect(path)) as there:
        return read_stored(there, table_names(there), "written", WRITTEN)


def note_written(path: Path, files: Sequence[Path], audience: str, now: datetime) -> None:
    """Note down in a street's file that pages, files or copies were made from it.

    Parameters
    ----------
    path
        The street. Where it is no GeoPackage, nothing is noted.
    files
        What was made; a file that is made again is noted once, and the street itself never.
    audience
        Whom they are for.
    now
        When.

    Raises
    ------
    CannotRead, CannotWrite
        If the street's file cannot be read or written.
    """
    names = {seen_from(file, path) for file in files if file.resolve() != path.resolve()}
    if not names or not is_database(path):
        return
    day = now.date().isoformat()
    fresh = [(name, audience, day) for name in names]

    def noted(before: pd.DataFrame) -> pd.DataFrame:
        rows = before[~before["file"].isin(names)].to_numpy(dtype=object).tolist()
        return _table(sorted([*map(tuple, rows), *fresh]), WRITTEN)

    def put(there: sqlite3.Connection) -> None:
        # Read anew: another command may have noted something of its own meanwhile.
        after = noted(read_stored(there, table_names(there), "written", WRITTEN))
        drop_table(there, "written")
        add_table(there, "written", after, f"{day}T00:00:00.000Z")

    before = read_written(path)
    if not noted(before).equals(before):
        change_street(path, put)


def _table(rows: Sequence[tuple[str, ...]], columns: Sequence[str]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(columns), dtype=object)
