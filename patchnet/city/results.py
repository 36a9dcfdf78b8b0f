"""What is handed over: a file a tile with its plots, one of all breaks, totals of each tile."""

from importlib.util import find_spec
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.assess.tables import BREAK_COLUMNS
from patchnet.city.animal_work import HUNGRY
from patchnet.city.asked import CityAsked
from patchnet.city.importance_work import importance_rows
from patchnet.city.parts import from_bytes
from patchnet.city.tile_work import learnt, plots_of
from patchnet.city.tiles import Tile
from patchnet.core.files import write_aside
from patchnet.core.geopackage import OutLayer, write_geopackage

__all__ = ["BREAKS", "breaks_step", "result_ending", "result_step"]

BREAKS = "breaks"


def result_ending() -> str:
    """Return how result files end: GeoParquet where it can be written, else GeoPackage."""
    return ".gpkg" if find_spec("pyarrow") is None else ".parquet"


def result_step(asked: CityAsked, name: str) -> None:
    """Write a tile's plots with how each animal stands, as `patchnet.plot_table` has them.

    With importance, where it was asked for: all that is lost when the plot goes, but not what runs
    over it (``traffic_``, ``ways_``).

    Parameters
    ----------
    asked
        What the city is asked; every animal is answered.
    name
        Of the tile.
    """
    tile = asked.tiles.tile(name)
    groups = [group.key for group in asked.groups(learnt(asked).region)]
    found = plots_of(asked, tile)
    columns: dict[str, Any] = {
        one: found[one]
        for one in ("id", "kind", "label", "street", "area_m2", "known_share", "features")
    }
    hungry = np.zeros(tile.count, dtype=np.int64)
    homes = {}
    for key in groups:
        rows = np.array(asked.work.array(f"{key}.animal.npy")[tile.first : tile.last])
        for column in rows.dtype.names or ():
            months = column == f"{HUNGRY}{key}"
            columns[column] = _months_told(rows[column]) if months else rows[column]
            hungry |= rows[column].astype(np.int64) if months else 0
        homes[key] = float(rows[f"homes_{key}"].sum())
        if asked.importance:
            columns |= importance_rows(asked, key, tile)
    table = gpd.GeoDataFrame(columns, geometry=from_bytes(found), crs=asked.tiles.metres)
    credit_lines = _credits(asked, [tile])
    file = f"{name}{result_ending()}"
    _write(asked.results.folder / file, "plots", table, credit_lines)
    area = found["area_m2"]
    asked.results.finish(
        f"{name}.result",
        [file],
        {
            "plots": tile.count,
            "corner": list(tile.corner),
            "area_m2": float(area.sum()),
            "known_share": float(found["known_share"].mean()),
            "hungry_months": float(np.bitwise_count(hungry).mean()),
            "homes": homes,
            "credits": list(credit_lines),
        },
    )


def _months_told(bits: NDArray[Any]) -> list[str]:
    """Months as text, such as ``3; 4``; empty where there are none."""
    known = {
        int(one): "; ".join(str(month) for month in range(1, 13) if int(one) >> month - 1 & 1)
        for one in np.unique(bits)
    }
    return [known[int(one)] for one in bits]


def breaks_step(asked: CityAsked) -> None:
    """Write the breaks of every animal, as `patchnet.break_table` has them.

    Parameters
    ----------
    asked
        What the city is asked; every animal is answered.
    """
    tables, names = [], []
    for group in asked.groups(learnt(asked).region):
        found = asked.work.arrays(f"{group.key}.breaks.npz")
        lines = from_bytes(found)
        plain = {
            one: group.key if one == "group" else found[one]
            for one in BREAK_COLUMNS
            if one != "geometry"
        }
        if len(lines):
            tables.append(gpd.GeoDataFrame(plain, geometry=lines, crs=asked.tiles.metres))
            first = asked.work.told(group.key)
            names.append((group.key, first["linked_homes"]))
    nothing = gpd.GeoDataFrame(
        {one: pd.Series(dtype=object) for one in BREAK_COLUMNS if one != "geometry"},
        geometry=gpd.GeoSeries([], crs=asked.tiles.metres),
    )
    table = pd.concat(tables, ignore_index=True) if tables else nothing
    file = f"{BREAKS}{result_ending()}"
    _write(asked.results.folder / file, BREAKS, table, _credits(asked, asked.tiles.tiles))
    asked.results.finish(BREAKS, [file], {"worst": _worst_of_tiles(asked, table, dict(names))})


def _worst_of_tiles(
    asked: CityAsked, table: gpd.GeoDataFrame, linked: dict[str, float]
) -> dict[str, dict[str, object]]:
    """For each tile the break in it that costs its animal the largest part of its linked homes."""
    if not len(table):
        return {}
    side = asked.tiles.side_m
    middle = shapely.line_interpolate_point(table.geometry.to_numpy(), 0.5, normalized=True)
    place = np.floor(shapely.get_coordinates(middle) / side) * side
    corners = {one.corner: one.name for one in asked.tiles.tiles}
    part = np.array(
        [
            won / linked[key] if linked[key] > 0 else 0.0
            for key, won in zip(table["group"], table["homes_won"], strict=True)
        ]
    )
    found: dict[str, dict[str, object]] = {}
    for at in np.argsort(-part, kind="stable").tolist():
        name = corners.get((float(place[at, 0]), float(place[at, 1])))
        if name is None or name in found or part[at] <= 0:
            continue
        row = table.iloc[at]
        found[name] = {
            "group": str(row["group"]),
            "from_plot": str(row["from_plot"]),
            "to_plot": str(row["to_plot"]),
            "width_m": float(row["width_m"]),
            "homes_won": float(row["homes_won"]),
            "share": float(part[at]),
        }
    return found


def _credits(asked: CityAsked, tiles: "tuple[Tile, ...] | list[Tile]") -> tuple[str, ...]:
    lines = (line for one in tiles for line in asked.work.told(f"{one.name}.read")["credits"])
    return tuple(dict.fromkeys(map(str, lines)))


def _write(path: Path, layer: str, table: gpd.GeoDataFrame, credit_lines: tuple[str, ...]) -> None:
    """Write one table, whole or not at all; the lines of attribution go with it."""
    if path.suffix == ".gpkg":
        write_geopackage(path, [OutLayer(layer, table, credit_lines)])
        return
    table.attrs = {"credits": list(credit_lines)}
    with write_aside(path) as draft:
        table.to_parquet(draft, index=False, write_covering_bbox=True)
