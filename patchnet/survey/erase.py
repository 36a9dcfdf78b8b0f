# ruff: noqa: S608 - names of tables and columns are the file's own, and quoted
"""What the layers of a map say of one plot, deleted or emptied."""

import sqlite3
from collections.abc import Iterable, Mapping, Sequence

import pyproj
import shapely
from pyproj.exceptions import CRSError

from patchnet.core.cells import as_text, whole_number
from patchnet.core.folding import folded, folded_ident
from patchnet.core.geopackage import crs_of, geometry_of, quoted, table_columns
from patchnet.core.open_file import JOURNAL_LAYER, STORE_LAYER
from patchnet.read.columns import ROLES
from patchnet.read.layers import LAYERS
from patchnet.survey.survey_layers import OWN_LAYERS, STANDING_LAYERS, plots_layer

__all__ = ["empty_layers"]

# What a plot keeps: where it lies and what anybody can see on the map.
_KEPT = frozenset(("kind", "plot kind", "plot type", "side", "part", "basis"))
_SHARED = 2  # other plots of the same street name make it no one household's


class _Named:
    """Whether a cell means the plot: as reading takes it, whatever its spelling."""

    def __init__(self, plot: str, plots: Iterable[str]) -> None:
        self._plot, self._all = plot, frozenset(plots)
        loose = [one for one in self._all if folded_ident(one) == folded_ident(plot)]
        self._loose = folded_ident(plot) if loose == [plot] else None

    def __call__(self, cell: object) -> bool:
        ident = whole_number(as_text(cell))
        if ident in self._all:
            return ident == self._plot
        return self._loose is not None and folded_ident(ident.removeprefix("'")) == self._loose


def empty_layers(
    there: sqlite3.Connection,
    plot: str,
    id_column: str,
    near_m: float,
    *,
    outline: bool,
    said: Mapping[str, str] | None = None,
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
    said
        The user's own names of columns, by role.

    Returns
    -------
    dict
        Layer -> rows deleted or emptied.
    """
    layer = plots_layer(there)
    idents = {row: whole_number(as_text(one)) for row, one in _column(there, layer, id_column)}
    place = next(row for row, ident in idents.items() if ident == plot)
    within = _in_units(there, layer, near_m)
    names = _Named(plot, idents.values())
    own = [column for role, column in (said or {}).items() if role in {"id", "plot"}]
    shape_column = _geometry_column(there, layer) or "geom"
    shape = geometry_of(
        there.execute(
            f"SELECT {quoted(shape_column)} FROM {quoted(layer)} WHERE rowid = ?",
            (place,),
        ).fetchone()[0]
    )
    removed: dict[str, int] = {}
    for (name,) in there.execute("SELECT table_name FROM gpkg_contents").fetchall():
        if name in {*OWN_LAYERS, *STANDING_LAYERS, JOURNAL_LAYER, STORE_LAYER, layer}:
            continue
        word = next((key for key, words in LAYERS.items() if folded(name) in words), "")
        if word == "features":
            removed[name] = _delete_features(there, name, names, shape, own)
        elif word == "barriers":
            removed[name] = _blank_near(there, name, shape, within, ("gap",))
        elif word == "buildings":
            removed[name] = _blank_near(there, name, shape, within, ("label",))
        elif not word:
            # A table that is none of the map's own: rows that name the plot are about it.
            removed[name] = _delete(there, name, _rows_of(there, name, names, ROLES["plot"], own))
    if outline:
        there.execute(f"DELETE FROM {quoted(layer)} WHERE rowid = ?", (place,))
    else:
        _blank_plot(there, layer, place, {id_column, shape_column})
    removed[layer] = 1
    return removed


def _blank_plot(there: sqlite3.Connection, layer: str, place: int, kept: set[str]) -> None:
    for name, is_key in table_columns(there, layer):
        if is_key or name in kept or folded(name) in _KEPT:
            continue
        if folded(name) in ROLES["street"]:
            (count,) = there.execute(
                f"SELECT count(*) FROM {quoted(layer)} WHERE {quoted(name)} = "
                f"(SELECT {quoted(name)} FROM {quoted(layer)} WHERE rowid = ?)",
                (place,),
            ).fetchone()
            if count > _SHARED:
                continue
        there.execute(f"UPDATE {quoted(layer)} SET {quoted(name)} = NULL WHERE rowid = ?", (place,))


def _delete_features(
    there: sqlite3.Connection,
    name: str,
    names: _Named,
    shape: shapely.Geometry,
    own: Sequence[str],
) -> int:
    column = _geometry_column(there, name)
    # A table without shapes is keyed by any word that is read as an id.
    heads = ROLES["plot"] if column is not None else (*ROLES["plot"], *ROLES["id"])
    gone = _rows_of(there, name, names, heads, own)
    if column is not None:
        for place, blob in _column(there, name, column):
            if isinstance(blob, bytes) and shapely.intersects(
                shape, shapely.point_on_surface(geometry_of(blob))
            ):
                gone.add(place)
    return _delete(there, name, gone)


def _rows_of(
    there: sqlite3.Connection,
    name: str,
    names: _Named,
    heads: Sequence[str],
    own: Sequence[str],
) -> set[int]:
    """Return the rows that name the plot under any heading that reading accepts."""
    wanted = {*heads, *map(folded, own)}
    return {
        place
        for column, is_key in table_columns(there, name)
        if not is_key and folded(column) in wanted
        for place, ident in _column(there, name, column)
        if names(ident)
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
    within: float,
    roles: Sequence[str],
) -> int:
    words = {word for role in roles for word in ROLES[role]}
    columns = [
        column
        for column, is_key in table_columns(there, name)
        if not is_key and (folded(column) in words or folded(column).startswith("addr "))
    ]
    geometry = _geometry_column(there, name)
    if geometry is None or not columns:
        return 0
    near = [
        place
        for place, blob in _column(there, name, geometry)
        if isinstance(blob, bytes) and shapely.dwithin(shape, geometry_of(blob), within)
    ]
    for column in columns:
        there.executemany(
            f"UPDATE {quoted(name)} SET {quoted(column)} = NULL WHERE rowid = ?",
            [(place,) for place in near],
        )
    return len(near)


def _in_units(there: sqlite3.Connection, layer: str, metres: float) -> float:
    """Return a distance in the units of a layer, which may be degrees."""
    try:
        crs = pyproj.CRS.from_user_input(str(crs_of(there, layer)))
    except CRSError:
        return metres
    # Metres a unit, or for degrees radians a unit, which the ellipsoid makes metres of.
    factor = float(crs.axis_info[0].unit_conversion_factor) if crs.axis_info else 1.0
    if crs.is_geographic and crs.ellipsoid is not None:
        factor *= crs.ellipsoid.semi_major_metre
    return metres / factor if factor > 0 else metres


def _column(there: sqlite3.Connection, name: str, column: str) -> list[tuple[int, object]]:
    return there.execute(f"SELECT rowid, {quoted(column)} FROM {quoted(name)}").fetchall()


def _geometry_column(there: sqlite3.Connection, name: str) -> str | None:
    row = there.execute(
        "SELECT column_name FROM gpkg_geometry_columns WHERE table_name = ?", (name,)
    ).fetchone()
    return None if row is None else str(row[0])
