"""An earlier base map, read for the numbers of its plots and what people put right in it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray

from patchnet.base.gathered import areas_only
from patchnet.core.cells import texts
from patchnet.core.errors import CannotRead
from patchnet.core.fault_list import FaultList
from patchnet.core.open_file import open_layers
from patchnet.core.texts import _
from patchnet.read.from_file import local_path

__all__ = ["Earlier", "read_earlier"]


@dataclass(frozen=True, eq=False)
class Earlier:
    """Plots of an earlier base.

    Attributes
    ----------
    where
        Name of the file.
    ids, shapes
        Id and outline of each plot, shape (n,).
    codes
        Street -> code.
    table
        The plots: id, kind, label, street, basis (text, empty where not said), geometry.
    barriers
        kind, gap, height_m, osm, geometry.
    features
        plot, feature, osm, basis, geometry.
    is_base
        Whether a base map wrote it, so that plots without ``basis`` are of other making.
    """

    where: str
    ids: tuple[str, ...]
    shapes: NDArray[np.object_]
    codes: Mapping[str, str]
    table: gpd.GeoDataFrame
    barriers: gpd.GeoDataFrame
    features: gpd.GeoDataFrame
    is_base: bool


def read_earlier(path: Path | str, crs: pyproj.CRS, faults: FaultList) -> Earlier | None:
    """Read the plots of an earlier base.

    Parameters
    ----------
    path
        A GeoPackage that `write_base` wrote, or any file with plots and ids.
    crs
        System to project to.
    faults
        List that faults are added to: ids that stand twice.

    Raises
    ------
    CannotRead
        If the file is missing or damaged, or has no layer of plots with ids.
    """
    where = Path(path).name
    layers = {layer.name: layer.table for layer in open_layers(local_path(path))}
    table = layers.get("plots")
    if not isinstance(table, gpd.GeoDataFrame) or "id" not in table.columns:
        raise CannotRead(
            _("{path} is no earlier base: it has no layer plots with a column id.").format(
                path=path
            )
        )
    if table.crs is None:
        raise CannotRead(
            _("{path} does not say in which coordinate system its plots are.").format(path=path)
        )
    ids = texts(table["id"])
    first: dict[str, int] = {}
    good = True
    for row, ident in enumerate(ids, 1):
        if not ident or ident in first:
            good = False
            what = (
                _("It has the number of row {first}.").format(first=first[ident])
                if ident
                else _("It has no number.")
            )
            faults.error(
                where, what, _("Give each plot of the earlier base a number of its own."),
                row=row, ident=ident or None,
            )  # fmt: skip
        first.setdefault(ident, row)
    if not good:
        return None
    outlines = np.array([areas_only(s) for s in table.to_crs(crs).geometry], dtype=object)
    drawn = ~shapely.is_missing(outlines)
    codes: dict[str, str] = {}
    if {"street", "code"} <= set(table.columns):
        for street, code in zip(texts(table["street"]), texts(table["code"]), strict=True):
            if street and code:
                codes.setdefault(street, code)
    kept = tuple(ident for ident, there in zip(ids, drawn, strict=True) if there)
    plots = _said(table, ("kind", "label", "street", "basis"), crs)
    return Earlier(
        where, kept, outlines[drawn], codes,
        plots.assign(id=list(ids))[drawn].set_geometry(outlines[drawn], crs=crs),
        _said(layers.get("barriers"), ("kind", "gap", "osm"), crs, numbers=("height_m",)),
        _said(layers.get("features"), ("plot", "feature", "osm", "basis"), crs),
        {"basis", "part", "code"} <= set(table.columns),
    )  # fmt: skip


def _said(
    table: pd.DataFrame | None,
    words: Sequence[str],
    crs: pyproj.CRS,
    numbers: Sequence[str] = (),
) -> gpd.GeoDataFrame:
    """Return some columns of a layer; no rows where there is no such layer."""
    if not isinstance(table, gpd.GeoDataFrame) or table.crs is None:
        return gpd.GeoDataFrame({name: [] for name in (*words, *numbers)}, geometry=[], crs=crs)
    made = table.to_crs(crs)
    columns: dict[str, object] = {
        name: texts(table[name]) if name in table.columns else "" for name in words
    }
    for name in numbers:
        columns[name] = (
            pd.to_numeric(table[name], errors="coerce") if name in table.columns else np.nan
        )
    shapes = made.geometry.to_numpy()
    return gpd.GeoDataFrame(columns, index=table.index, geometry=shapes, crs=crs)
