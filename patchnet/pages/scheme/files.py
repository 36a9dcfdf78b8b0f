"""Everything that a scheme's folder holds, made in memory and written whole."""

import csv
import io
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from patchnet.core.errors import CannotWrite
from patchnet.core.fault_list import FaultList
from patchnet.core.files import OwnFolder
from patchnet.core.geopackage import OutLayer, fill_geopackage
from patchnet.core.table import read_table
from patchnet.pages.files.export import Form, plot_features, write_layers
from patchnet.pages.map.map_page import map_page
from patchnet.pages.scheme.layers import layers_of, planter_table
from patchnet.pages.scheme.pack import SchemePack
from patchnet.pages.scheme.report import scheme_report
from patchnet.pages.sheets.compare_page import compare_page
from patchnet.pages.survey.workbook import harmless
from patchnet.read.neighbourhood import Neighbourhood

__all__ = [
    "SCHEME_FILES",
    "SCHEME_STREET",
    "ensure_scheme_folder",
    "planters_by_place",
    "scheme_files",
    "write_scheme_folder",
]

SCHEME_STREET = "neighbourhood.gpkg"
"""The street with the planters as plots, as `patchnet.read_neighbourhood` reads it."""
SCHEME_FILES = (
    "report.html", "map.html", "change.html", "planters.csv", "planters.geojson", "scheme.gpkg",
    SCHEME_STREET,
)  # fmt: skip


def scheme_files(pack: SchemePack) -> dict[str, str | bytes]:
    """Every file of the folder by its name; the same scheme gives the same content."""
    scheme = pack.scheme
    return {
        "report.html": scheme_report(pack),
        "map.html": map_page(scheme.after, title=pack.title),
        "change.html": compare_page(
            scheme.comparison,
            title=f"{pack.title}: before and after",
        ),
        "planters.csv": _csv(planter_table(pack)),
        "planters.geojson": _made("planters.geojson", pack, {"planters": planter_table(pack)}),
        "scheme.gpkg": _made("scheme.gpkg", pack, layers_of(pack)),
        SCHEME_STREET: _made(SCHEME_STREET, pack, _neighbourhood_layers(scheme.neighbourhood)),
    }


def planters_by_place(hood: Neighbourhood, folder: Path) -> Neighbourhood:
    """Call the planters of a scheme's street by their places, as two schemes number them anew.

    A folder without its table of planters leaves the street as it is.
    """
    table = folder / "planters.csv"
    if not table.is_file():
        return hood
    rows = read_table(table, FaultList(), known=("planter", "place")).records()
    places = {row["planter"]: row["place"] for _, row in rows}
    plots = hood.plots.rename(index=places)
    features = hood.features.assign(plot=hood.features["plot"].replace(places))
    answers = replace(hood.answers, plots=plots.index)
    return replace(hood, plots=plots, answers=answers, features=features)


def ensure_scheme_folder(folder: Path | str, *, overwrite: bool) -> None:
    """Make sure, before any long work, that the folder can be written.

    Raises
    ------
    CannotWrite
        If `folder` is a file, the folder it would stand in is missing, or it holds files of
        these names that patchnet did not make and `overwrite` is False.
    """
    target = Path(folder)
    if target.exists() and not target.is_dir():
        raise CannotWrite(f"{target} is a file: name a folder.")
    if not target.exists():
        if not target.absolute().parent.is_dir():
            raise CannotWrite(f"There is no folder {target.parent}: make it first.")
    elif not overwrite:
        OwnFolder(target).ensure_may_write(SCHEME_FILES)


def write_scheme_folder(
    files: Mapping[str, str | bytes], folder: Path | str, *, overwrite: bool = False
) -> None:
    """Write the files; a folder that was not there appears whole or not at all.

    In a folder that was there each file is replaced whole, and what else lies in it stays.

    Raises
    ------
    CannotWrite
        As `ensure_scheme_folder`, or if the disk is full.
    """
    ensure_scheme_folder(folder, overwrite=overwrite)
    target = Path(folder).absolute()
    if target.exists():
        _write_all(files, target)
        return
    try:
        with tempfile.TemporaryDirectory(
            prefix=".patchnet-", dir=target.parent, ignore_cleanup_errors=True
        ) as aside:
            draft = Path(aside) / "scheme"
            draft.mkdir()
            _write_all(files, draft)
            draft.rename(target)
    except OSError as error:
        reason = error.strerror or str(error)
        raise CannotWrite(f"{target} cannot be written: {reason}.") from error


def _write_all(files: Mapping[str, str | bytes], folder: Path) -> None:
    own = OwnFolder(folder)
    for name, content in files.items():
        own.write(name, content)


def _csv(table: gpd.GeoDataFrame) -> bytes:
    """RFC 4180, with a byte order mark so that spreadsheet programs read names rightly."""
    plain = pd.DataFrame(table.drop(columns="geometry"))
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(plain.columns)
    for row in plain.itertuples(index=False):
        writer.writerow(
            "" if pd.isna(cell) else harmless(cell) if isinstance(cell, str) else cell
            for cell in row
        )
    return out.getvalue().encode("utf-8-sig")


def _made(name: str, pack: SchemePack, tables: Mapping[str, gpd.GeoDataFrame]) -> bytes:
    """One file of layers as bytes."""
    with tempfile.TemporaryDirectory(prefix="patchnet-") as folder:
        path = Path(folder) / name
        if name == SCHEME_STREET:
            layers = [
                OutLayer(one, table.reset_index(drop=True), pack.credits)
                for one, table in tables.items()
            ]
            fill_geopackage(path, layers)
        else:
            form: Form = "geojson" if name.endswith(".geojson") else "gpkg"
            write_layers(tables, path, form=form, credit_lines=pack.credits)
        return path.read_bytes()


def _neighbourhood_layers(hood: Neighbourhood) -> dict[str, gpd.GeoDataFrame]:
    """The layers of a neighbourhood file; what is not known is not written."""
    plots = hood.plots
    columns = {
        "id": plots.index.astype(str),
        "kind": plots["kind"].to_numpy(),
        "label": plots["label"].to_numpy(),
        "street": plots["street"].to_numpy(),
        "consent": plots["consent"].to_numpy(),
        "features": plot_features(hood),
        # Every feature answered: said, so that a reader does not take the rest for unseen.
        "seen": np.where(np.isnan(hood.answers.amount).any(axis=1), "", "all"),
    }
    layers = {"plots": gpd.GeoDataFrame(columns, geometry=plots.geometry.to_numpy(), crs=plots.crs)}
    others = {
        "features": hood.features,
        "barriers": hood.barriers,
        "buildings": hood.buildings,
        "roads": hood.roads,
        "footways": hood.footways,
        "street_objects": hood.street_objects,
    }
    layers |= {name: table for name, table in others.items() if table is not None and len(table)}
    return layers
