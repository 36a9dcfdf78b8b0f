"""One tile with its halo, read and checked as any neighbourhood is."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pyproj
from numpy.typing import NDArray

from patchnet.city.asked import CityAsked
from patchnet.city.sources import MapLayer, Source, open_source
from patchnet.city.tiles import Tile
from patchnet.core.cells import texts
from patchnet.core.crs_change import change_of
from patchnet.core.errors import CannotRead, DataFaults
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import Fault
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.build import neighbourhood_of
from patchnet.read.columns import check_columns, find_columns
from patchnet.read.crs import two_dimensional
from patchnet.read.feature_table import match_plots
from patchnet.read.layers import FeatureTable, Layers, SourceLayer
from patchnet.read.neighbourhood import Neighbourhood

__all__ = [
    "INDEX", "TileRead", "crs_of_plots", "ids_of", "plots_spoken_of", "read_tile", "told_of_city",
]  # fmt: skip

INDEX = "index"
"""Piece of work that says which rows of tables without shapes speak of which plots."""


@dataclass(frozen=True, eq=False)
class TileRead:
    """A tile with its halo.

    Attributes
    ----------
    neighbourhood
        n plots of the tile and round it, in the order of the file.
    numbers
        Shape (n,): the number of each in the city.
    own
        Shape (own,): positions of the tile's own plots, by their numbers.
    """

    neighbourhood: Neighbourhood
    numbers: NDArray[np.int64]
    own: NDArray[np.intp]


def read_tile(asked: CityAsked, tile: Tile) -> TileRead:
    """Read a tile with its halo.

    Parameters
    ----------
    asked
        What the city is asked.
    tile
        The tile.

    Raises
    ------
    DataFaults
        If the data have errors; all of this tile's, and the warnings.
    CannotRead
        If the file cannot be read, or is no longer the one that was cut into tiles.
    """
    source = open_source(asked.file)
    layers, rows = _layers_in_window(asked, source, tile)
    faults = FaultList()
    hood = neighbourhood_of(
        layers,
        columns=asked.columns,
        crs=asked.crs,
        knowledge=asked.knowledge,
        faults=faults,
        region=asked.region,
        metres=asked.tiles.metres,
    )
    numbers = asked.tiles.numbers(rows)
    mine = (numbers >= tile.first) & (numbers < tile.last)
    if faults.errors or hood is None:
        raise DataFaults(_of_tile(faults.faults, source))
    if len(hood.plots) != len(rows) or mine.sum() != tile.count:
        raise CannotRead(
            _("{path} changed while it was read: begin again.").format(path=asked.file)
        )
    own = np.flatnonzero(mine)
    ids = set(hood.plots.index[own])
    kept = [one for one in _of_tile(hood.faults, source) if one.ident is None or one.ident in ids]
    return TileRead(
        replace(hood, faults=tuple(kept)), numbers, own[np.argsort(numbers[own], kind="stable")]
    )


def _layers_in_window(
    asked: CityAsked, source: Source, tile: Tile
) -> tuple[Layers, NDArray[np.int64]]:
    """What of each layer meets a tile's window, and the rows of the plots among them."""
    box = asked.tiles.window(tile, asked.halo_m)
    found: dict[str, SourceLayer] = {}
    tables: list[FeatureTable] = []
    rows = np.empty(0, np.int64)
    for role, layer in source.layers.items():
        if not layer.shaped:
            continue
        window = box
        if layer.crs is not None and not layer.crs.equals(asked.tiles.crs):
            edges = change_of(asked.tiles.crs, layer.crs).transform_bounds(*box)
            window = tuple(map(float, edges))  # type: ignore[assignment]  # four of them
        table = layer.window(window)
        if role == "plots":
            rows = table.index.to_numpy(np.int64)
        if role == "drawn" and not len(table):
            continue
        found[role] = SourceLayer(
            layer.where, table.reset_index(drop=True), says_crs=layer.crs is not None
        )
    numbers = asked.tiles.numbers(rows)
    for role, layer in source.layers.items():
        if not layer.shaped:
            tables.append(_table_about(asked, role, layer, numbers))
    credit_lines = dict.fromkeys(line for one in source.layers.values() for line in one.credits)
    name = asked.file.stem
    return Layers(name, tables=tuple(tables), credits=tuple(credit_lines), **found), rows


def _table_about(
    asked: CityAsked, role: str, layer: MapLayer, numbers: NDArray[np.int64]
) -> FeatureTable:
    spoken = asked.work.arrays(f"{INDEX}.npz")
    rows = spoken[f"{role}_rows"][np.isin(spoken[f"{role}_plots"], numbers)]
    table = layer.numbered(np.sort(rows))
    said = {"change", "before"} <= set(table.columns)
    told = (table.index.to_numpy(np.int64) + 1).tolist()
    return FeatureTable(layer.where, table.reset_index(drop=True), told, resolved=said)


def _of_tile(faults: Iterable[Fault], source: Source) -> list[Fault]:
    """Faults without the numbers of rows, which are those of a window and not of the file."""
    shaped = {layer.where for layer in source.layers.values() if layer.shaped}
    return [replace(one, row=None) if one.where in shaped else one for one in faults]


def ids_of(
    source: Source, asked_columns: Mapping[str, str] | None, knowledge: Knowledge
) -> list[str]:
    """Return the ids of all plots, in the order of the rows.

    Parameters
    ----------
    source
        The map.
    asked_columns
        The user's names of columns.
    knowledge
        The tables.

    Raises
    ------
    CannotRead
        If no column is recognised as the ids.
    """
    name = _id_column(source.plots, asked_columns, knowledge)
    return texts(source.plots.column(name))


def _id_column(
    layer: MapLayer, asked_columns: Mapping[str, str] | None, knowledge: Knowledge
) -> str:
    empty = pd.DataFrame(columns=layer.columns(), dtype=object)
    said = check_columns(asked_columns, knowledge)
    found = find_columns(empty, ("id",), knowledge, said=said, with_features=False)
    if "id" not in found.role:
        raise CannotRead(
            _(
                "{where}: no column was recognised as the plots' ids. Call the column id, or say "
                "which it is: --column id=NAME."
            ).format(where=layer.where)
        )
    return found.role["id"]


def plots_spoken_of(
    source: Source,
    idents: Sequence[str],
    asked_columns: Mapping[str, str] | None,
    knowledge: Knowledge,
) -> tuple[dict[str, NDArray[np.int64]], tuple[Fault, ...]]:
    """Say of each row of each table without shapes which plot it speaks of.

    Parameters
    ----------
    source
        The map.
    idents
        Ids of all plots by their numbers.
    asked_columns
        The user's names of columns.
    knowledge
        The tables.

    Returns
    -------
    tuple
        By ``ROLE_rows`` and ``ROLE_plots``, shape (rows,): numbers of the rows, and of the plots;
        and warnings about rows that speak of none.
    """
    found: dict[str, NDArray[np.int64]] = {}
    faults = FaultList()
    for role, layer in source.layers.items():
        if layer.shaped:
            continue
        cells = layer.column(_id_column(layer, asked_columns, knowledge))
        rows = cells.index.to_numpy(np.int64)
        plots, __ = match_plots(
            texts(cells), idents, where=layer.where, numbers=(rows + 1).tolist(), faults=faults
        )
        spoken = np.array([-1 if one is None else one for one in plots], dtype=np.int64)
        found[f"{role}_rows"], found[f"{role}_plots"] = rows[spoken >= 0], spoken[spoken >= 0]
    return found, faults.faults


def told_of_city(told: Sequence[Sequence[Fault]]) -> list[Fault]:
    """Return the warnings of all tiles as those of the city.

    What is said of one plot is told once. What is said of a whole layer is told only where every
    tile says it, for of the city it is true only then.

    Parameters
    ----------
    told
        Warnings of each tile.
    """
    everywhere = set.intersection(*map(set, told)) if told else set()
    found = dict.fromkeys(one for tile in told for one in tile)
    return [one for one in found if one.ident is not None or one in everywhere]


def crs_of_plots(source: Source, said: pyproj.CRS | None) -> pyproj.CRS:
    """Return the CRS of the plots: the file's own, or what was said of one that names none.

    Parameters
    ----------
    source
        The map.
    said
        What was said.

    Raises
    ------
    CannotRead
        If nobody says what it is.
    """
    own = source.plots.crs
    if own is None or not (own.is_geographic or own.is_projected):
        own = said
    if own is None:
        raise CannotRead(
            _(
                "{where} does not say in which coordinate system it is. Say which: --crs "
                "EPSG:27700, for example."
            ).format(where=source.plots.where)
        )
    return two_dimensional(own)
