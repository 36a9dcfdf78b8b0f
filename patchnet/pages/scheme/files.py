"""Everything that a scheme's folder holds, made in memory and written whole."""

import csv
import io
import os
from collections.abc import Mapping, Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from patchnet.core.cells import harmless
from patchnet.core.errors import CannotWrite, WrongUse
from patchnet.core.files import OwnFolder, folder_aside
from patchnet.core.geopackage import OutLayer, fill_geopackage
from patchnet.core.texts import N_, _
from patchnet.knowledge.countries import ELSEWHERE
from patchnet.pages.files.export import Form, write_layers
from patchnet.pages.files.formats import RIGHTS_HOLDER
from patchnet.pages.kit.to_scale import PAPERS
from patchnet.pages.map.map_page import map_page
from patchnet.pages.scheme.layers import layers_of, planter_table
from patchnet.pages.scheme.pack import SchemePack, Told
from patchnet.pages.scheme.report import scheme_report
from patchnet.pages.scheme.tables import bill_table, planting_table, years_table
from patchnet.pages.scheme.tape_sheet import TAPE_FILES, tape_files
from patchnet.pages.sheets.compare_page import compare_page
from patchnet.read.feature_lists import plot_features
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.scheme.folder import SCHEME_STREET
from patchnet.scheme.planter_scheme import Scheme

__all__ = [
    "SCHEME_FILES",
    "ensure_scheme_folder",
    "scheme_files",
    "write_report",
    "write_scheme_folder",
]

SCHEME_FILES = (
    "report.html", "map.html", "change.html", "planters.csv", "planting.csv", "bill.csv",
    "years.csv", "planters.geojson", "scheme.gpkg", *TAPE_FILES, SCHEME_STREET,
)  # fmt: skip


def scheme_files(pack: SchemePack, beside: Path) -> dict[str, str | bytes]:
    """Every file of the folder by its name; the same scheme gives the same content.

    `beside` is a folder in which drafts may stand for a moment.

    For the public there is no map, no change and no neighbourhood: they tell of plots.
    """
    scheme = pack.scheme
    files: dict[str, str | bytes] = {
        "report.html": scheme_report(pack),
        "planters.csv": _csv(planter_table(pack).drop(columns="geometry"), pack.credits),
        "planting.csv": _csv(planting_table(pack), pack.credits),
        "bill.csv": _csv(bill_table(pack), pack.credits),
        "years.csv": _csv(years_table(pack), pack.credits),
        "planters.geojson": _made(
            "planters.geojson", pack, {"planters": planter_table(pack)}, beside
        ),
        "scheme.gpkg": _made("scheme.gpkg", pack, layers_of(pack), beside),
        **tape_files(
            pack.to_measure, scheme.street, scheme.before.neighbourhood, knowledge=pack.knowledge,
        ),
    }  # fmt: skip
    if scheme.neighbourhood.audience == "public":
        return files  # the others have a row or a card for each plot
    files |= {
        "map.html": map_page(scheme.after, title=pack.title),
        "change.html": compare_page(
            scheme.comparison,
            title=_("{title}: before and after").format(title=pack.title),
        ),
        SCHEME_STREET: _made(
            SCHEME_STREET, pack, _neighbourhood_layers(scheme.neighbourhood), beside
        ),
    }
    return {name: files[name] for name in SCHEME_FILES}


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
        raise CannotWrite(_("{target} is a file: name a folder.").format(target=target))
    place = target.absolute().parent
    if place.is_dir() and not os.access(place, os.W_OK):
        raise CannotWrite(
            _("{target} cannot be written: its folder is protected.").format(target=target)
        )
    if not target.exists():
        if not target.absolute().parent.is_dir():
            raise CannotWrite(
                _("There is no folder {parent}: make it first.").format(parent=target.parent)
            )
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
        with folder_aside(target.parent) as aside:
            draft = aside / "scheme"
            draft.mkdir()
            _write_all(files, draft)
            draft.rename(target)
    except OSError as error:
        reason = error.strerror or str(error)
        raise CannotWrite(
            _("{target} cannot be written: {reason}.").format(target=target, reason=reason)
        ) from error


def write_report(
    scheme: Scheme,
    folder: Path | str,
    *,
    by: str = "",
    contact: str = "",
    date: str = "",
    status: str = N_("Draft for consultation"),
    paper: str = "a4",
    overwrite: bool = False,
) -> Path:
    """Write everything that a council asks for of a planter scheme, and return the folder.

    Begin with ``report.html`` in it; ``map.html``, ``change.html`` and ``neighbourhood.gpkg``
    hold what is known of every plot.

    Parameters
    ----------
    scheme
        From `patchnet.plan_scheme`.
    folder
        Appears whole or not at all where it was not there.
    by, contact
        Who proposes it; name and number that answers day and night. Empty: a line to fill in.
    date, status
        As they are to be printed.
    paper
        ``"a4"`` or ``"a3"``: what the plans are drawn on; the scale stays.
    overwrite
        Also replace files that patchnet did not make.

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    WrongUse
        If there is no such paper, or the scheme has no planter.
    CannotWrite
        If the folder cannot be written, or holds files that patchnet did not make.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["bumblebee"], straight=True)
    >>> ask = patchnet.SchemeAsk(planters=1, groups=("bumblebee",))
    >>> scheme = patchnet.plan_scheme(answer, "Wickthorn Street", ask=ask)
    >>> patchnet.write_report(scheme, "scheme", by="a street group").name
    'scheme'
    """
    if paper not in PAPERS:
        raise WrongUse(
            _("There is no paper {paper!r}: write {papers}.").format(
                paper=paper, papers=_(" or ").join(PAPERS)
            )
        )
    if not scheme.planters:
        raise WrongUse(_("The scheme has no planter, so there is nothing to report."))
    ensure_scheme_folder(folder, overwrite=overwrite)
    told = Told(by=by, contact=contact, date=date, status=status)
    home = Path(folder).absolute().parent
    files = scheme_files(SchemePack(scheme, told, PAPERS[paper]), home)
    write_scheme_folder(files, folder, overwrite=overwrite)
    return Path(folder)


def _write_all(files: Mapping[str, str | bytes], folder: Path) -> None:
    own = OwnFolder(folder)
    for name, content in files.items():
        own.write(name, content)


def _csv(table: pd.DataFrame, credit_lines: Sequence[str]) -> bytes:
    """RFC 4180, with a byte order mark so that spreadsheet programs read names rightly."""
    plain = pd.DataFrame(table)
    if credit_lines:
        plain[RIGHTS_HOLDER] = "; ".join(credit_lines)
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(plain.columns)
    for row in plain.itertuples(index=False):
        writer.writerow(
            "" if pd.isna(cell) else harmless(cell) if isinstance(cell, str) else cell
            for cell in row
        )
    return out.getvalue().encode("utf-8-sig")


def _made(
    name: str, pack: SchemePack, tables: Mapping[str, gpd.GeoDataFrame], beside: Path
) -> bytes:
    """One file of layers as bytes, written for a moment in a private folder in `beside`."""
    try:
        with folder_aside(beside) as folder:
            path = folder / name
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
    except OSError as error:
        raise CannotWrite(
            _("{name} cannot be written: {strerror}.").format(
                name=name, strerror=error.strerror or error
            )
        ) from error


def _neighbourhood_layers(hood: Neighbourhood) -> dict[str, gpd.GeoDataFrame]:
    """The layers of a neighbourhood file; what is not known is not written."""
    plots = hood.plots
    columns = {
        "id": plots.index.astype(str),
        "kind": plots["kind"].to_numpy(),
        "label": plots["label"].to_numpy(),
        "street": plots["street"].to_numpy(),
        "door": plots["door"].to_numpy() if "door" in plots else "",
        "country": "" if hood.country == ELSEWHERE else hood.country.upper(),
        **({"region": hood.region} if hood.region else {}),
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
