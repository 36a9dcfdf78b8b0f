# ruff: noqa: S608 - names of tables and columns are the file's own, and quoted
"""What the layers of a map say of one plot, deleted or emptied."""

import sqlite3
from collections.abc import Sequence

import shapely

from patchnet.core.cells import as_text, whole_number
from patchnet.core.geopackage import geometry_of, quoted, table_columns
from patchnet.core.table import heading
from patchnet.read.columns import ROLES
from patchnet.read.layers import LAYERS
from patchnet.survey.survey_layers import OWN_LAYERS, plots_layer

__all__ = ["empty_layers"]

# What a plot keeps: where it lies and what anybody can see on the map.
_KEPT = frozenset(("kind", "plot kind", "plot type", "side", "part", "basis"))
_SHARED = 2  # other plots of the same street name make it no one household's


def empty_layers(
    there: sqlite3.Connection, plot: str, id_column: str, near_m: float, *, outline: bool
) -> dict[str, int]:
    """Delete or empty what the map's own layers say of a plot.

    Parameters
    ----------
    there
        The GeoPackage, open; nothing is committed.
    plot
        Id of the plot.
    id_column
        The plots' column of ids.
    near_m
        A building or fence so close (m) to the plot belongs to it.
    outline
        True: its outline goes as well.

    Returns
    -------
    dict
        Layer -> rows deleted or emptied.
    """
    layer = plots_layer(there)
    place = next(row for row, ident in _column(there, layer, id_column) if _same(ident, plot))
    shape_column = _geometry_column(there, layer) or "geom"
    shape = geometry_of(
        there.execute(
            f"SELECT {quoted(shape_column)} FROM {quoted(layer)} WHERE rowid = ?",
            (place,),
        ).fetchone()[0]
    )
    removed: dict[str, int] = {}
    for (name,) in there.execute("SELECT table_name FROM gpkg_contents").fetchall():
        if name in OWN_LAYERS or name == layer:
            continue
        word = next((key for key, words in LAYERS.items() if heading(name) in words), "")
        if word == "features":
            removed[name] = _delete_features(there, name, plot, shape)
        elif word == "barriers":
            removed[name] = _blank_near(there, name, shape, near_m, ("gap",))
        elif word == "buildings":
            removed[name] = _blank_near(there, name, shape, near_m, ("label",))
        else:
            removed[name] = _delete_rows(there, name, plot)
    if outline:
        there.execute(f"DELETE FROM {quoted(layer)} WHERE rowid = ?", (place,))
    else:
        _blank_plot(there, layer, place, {id_column, shape_column})
    removed[layer] = 1
    return removed


def _blank_plot(there: sqlite3.Connection, layer: str, place: int, kept: set[str]) -> None:
    for name, is_key in table_columns(there, layer):
        if is_key or name in kept or heading(name) in _KEPT:
            continue
        if heading(name) in ROLES["street"]:
            (count,) = there.execute(
                f"SELECT count(*) FROM {quoted(layer)} WHERE {quoted(name)} = "
                f"(SELECT {quoted(name)} FROM {quoted(layer)} WHERE rowid = ?)",
                (place,),
            ).fetchone()
            if count > _SHARED:
                continue
        there.execute(f"UPDATE {quoted(layer)} SET {quoted(name)} = NULL WHERE rowid = ?", (place,))


def _delete_features(
    there: sqlite3.Connection, name: str, plot: str, shape: shapely.Geometry
) -> int:
    gone = _rows_of(there, name, plot)
    column = _geometry_column(there, name)
    if column is not None:
        for place, blob in _column(there, name, column):
            if isinstance(blob, bytes) and shapely.intersects(
                shape, shapely.point_on_surface(geometry_of(blob))
            ):
                gone.add(place)
    return _delete(there, name, gone)


def _delete_rows(there: sqlite3.Connection, name: str, plot: str) -> int:
    return _delete(there, name, _rows_of(there, name, plot))


def _rows_of(there: sqlite3.Connection, name: str, plot: str) -> set[int]:
    """Return the rows that name the plot."""
    return {
        place
        for column, is_key in table_columns(there, name)
        if not is_key and heading(column) in {*ROLES["plot"], "id"}
        for place, ident in _column(there, name, column)
        if _same(ident, plot)
    }


def _delete(there: sqlite3.Connection, name: str, places: set[int]) -> int:
    there.executemany(
        f"DELETE FROM {quoted(name)} WHERE rowid = ?",
        [(place,) for place in sorted(places)],
    )
    return len(places)


def _blank_near(
    there: sqlite3.Connection,
    name: str,
    shape: shapely.Geometry,
    near_m: float,
    roles: Sequence[str],
) -> int:
    words = {word for role in roles for word in ROLES[role]}
    columns = [
        column
        for column, is_key in table_columns(there, name)
        if not is_key and (heading(column) in words or heading(column).startswith("addr "))
    ]
    geometry = _geometry_column(there, name)
    if geometry is None or not columns:
        return 0
    near = [
        place
        for place, blob in _column(there, name, geometry)
        if isinstance(blob, bytes) and shapely.dwithin(shape, geometry_of(blob), near_m)
    ]
    for column in columns:
        there.executemany(
            f"UPDATE {quoted(name)} SET {quoted(column)} = NULL WHERE rowid = ?",
            [(place,) for place in near],
        )
    return len(near)


def _column(there: sqlite3.Connection, name: str, column: str) -> list[tuple[int, object]]:
    return there.execute(f"SELECT rowid, {quoted(column)} FROM {quoted(name)}").fetchall()


def _geometry_column(there: sqlite3.Connection, name: str) -> str | None:
    row = there.execute(
        "SELECT column_name FROM gpkg_geometry_columns WHERE table_name = ?", (name,)
    ).fetchone()
    return None if row is None else str(row[0])


def _same(ident: object, plot: str) -> bool:
    return whole_number(as_text(ident)) == plot
