"""Several streets over several years, in one folder of plain files.

``streets.csv`` lists the streets' files, ``walks.csv`` who walks which stretch: both are for people
to fill in with any spreadsheet. ``project.gpkg`` is made anew from them and from the streets' own
files, for a GIS: each stretch with who walks it and what came back, the years, and what to look
for when. A street's own file stays the only place where anything of a survey is kept.
"""

import csv
import io
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from patchnet.core.cells import harmless
from patchnet.core.errors import CannotRead, CannotWrite
from patchnet.core.fault_list import FaultList
from patchnet.core.files import write_text
from patchnet.core.folding import folded
from patchnet.core.geopackage import OutLayer, write_geopackage
from patchnet.core.shown import Shown
from patchnet.core.street_store import replacing
from patchnet.core.table import read_table
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.pages.survey.round import SurveyRound
from patchnet.read.from_file import local_path, read_neighbourhood
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.survey.statements import by_year, resolve, votes
from patchnet.survey.survey_layers import read_records_if_any
from patchnet.survey.survey_record import Records, left_in_peace

__all__ = ["Project", "add_streets", "read_project", "write_project"]

STREETS, WALKS, MAP = "streets.csv", "walks.csv", "project.gpkg"
_STREETS = ("street", "file", "by")
_WALKS = ("street", "stretch", "plots", "who", "when", "note")


@dataclass(frozen=True, eq=False, repr=False)
class Project(Shown):
    """Several streets over several years.

    Attributes
    ----------
    folder
        Where its files stand.
    streets
        One row a street: street, file, by (who looks after it), plots, looked_at (plots), answers,
        people, last (day of the last answer).
    stretches
        One row a stretch, with its outline: street, stretch, plots, who, when (as planned), year,
        back_plots (looked at in that year), back_people (who did), last.
    years
        One row a street and year: street, year, answers, plots, people, new, gone (features that
        came or went since earlier years).
    look_for
        One row a month, thing and street: month, look_for, street, why.

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> base = patchnet.make_base(["demo/buildings.geojson", "demo/roads.geojson"])
    >>> patchnet.write_base(base, "street.gpkg")
    >>> project = patchnet.add_streets("ours", ["street.gpkg"])
    >>> project.streets["street"].tolist()
    ['street']
    """

    folder: Path
    streets: pd.DataFrame
    stretches: gpd.GeoDataFrame
    years: pd.DataFrame
    look_for: pd.DataFrame


def add_streets(
    folder: Path | str,
    files: Iterable[Path | str],
    *,
    by: str = "",
    knowledge: Knowledge | None = None,
) -> Project:
    """Add files of streets to a project, which is begun if it is not there, and return it.

    The files stay where they are: the project names them as seen from its folder. What people
    filled in stays.

    Parameters
    ----------
    folder
        Of the project; made if missing.
    files
        GeoPackages of streets.
    by
        Who looks after them.
    knowledge
        The tables; None: those that ship with patchnet.

    Returns
    -------
    Project
        As `read_project`.

    Raises
    ------
    CannotRead, CannotWrite, DataFaults
        As reading and writing.

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> base = patchnet.make_base(["demo/buildings.geojson", "demo/roads.geojson"])
    >>> patchnet.write_base(base, "street.gpkg")
    >>> len(patchnet.add_streets("ours", ["street.gpkg"], by="Elm Road").stretches) > 0
    True
    """
    knowledge = knowledge or load_knowledge()
    place = Path(folder)
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CannotWrite(
            _("{folder} cannot be made: {strerror}.").format(folder=place, strerror=error.strerror)
        ) from error
    streets, walks = _table(place / STREETS, _STREETS), _table(place / WALKS, _WALKS)
    for file in map(local_path, files):
        survey = SurveyRound(read_neighbourhood(file, knowledge=knowledge), knowledge)
        seen = Path(os.path.relpath(file.resolve(), place.resolve())).as_posix()
        if seen not in set(streets["file"]):
            streets = _with(streets, {"street": file.stem, "file": seen, "by": by})
        name = streets.loc[streets["file"] == seen, "street"].iloc[0]
        known = set(zip(walks["street"], walks["stretch"], strict=True))
        for stretch in survey.stretches:
            row = {"street": name, "stretch": survey.stretch_name(stretch),
                   "plots": str(len(stretch.plots))}  # fmt: skip
            if (row["street"], row["stretch"]) not in known:
                walks = _with(walks, row)
    for path, table in ((place / STREETS, streets), (place / WALKS, walks)):
        _write_table(path, table)
    return read_project(place, knowledge=knowledge)


def read_project(
    folder: Path | str, *, today: date | None = None, knowledge: Knowledge | None = None
) -> Project:
    """Read a project: its streets, who walks where and what came back, and the years.

    Parameters
    ----------
    folder
        With ``streets.csv`` in it.
    today
        Says which year it is where nothing was surveyed yet; None: the day it is.
    knowledge
        The tables; None: those that ship with patchnet.

    Returns
    -------
    Project
        Worked out anew from the streets' own files.

    Raises
    ------
    CannotRead, DataFaults
        If it is no project, or a street's file cannot be read.

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> base = patchnet.make_base(["demo/buildings.geojson", "demo/roads.geojson"])
    >>> patchnet.write_base(base, "street.gpkg")
    >>> _ = patchnet.add_streets("ours", ["street.gpkg"])
    >>> patchnet.read_project("ours").years.empty
    True
    """
    knowledge = knowledge or load_knowledge()
    place = Path(folder)
    if not (place / STREETS).is_file():
        raise CannotRead(
            _("{folder} is no project: it has no {name}. Begin one with --add FILE.").format(
                folder=place, name=STREETS
            )
        )
    now = datetime.now(UTC).astimezone().date() if today is None else today
    listed = _table(place / STREETS, _STREETS)
    walks = _table(place / WALKS, _WALKS)
    if not len(listed):
        raise CannotRead(
            _("{name} in {folder} lists no street. Add one with --add FILE.").format(
                folder=place, name=STREETS
            )
        )
    found = [_street(place, row, walks, now, knowledge) for row in listed.to_dict("records")]
    shapes = [one["stretches"] for one in found]
    crs = shapes[0].crs if shapes else None
    stretches = pd.concat([one.to_crs(crs) for one in shapes], ignore_index=True)
    return Project(
        place,
        pd.DataFrame([one["street"] for one in found]),
        gpd.GeoDataFrame(stretches, geometry="geometry", crs=crs),
        pd.concat([one["years"] for one in found], ignore_index=True),
        pd.concat([one["look_for"] for one in found], ignore_index=True),
    )


def write_project(project: Project) -> Path:
    """Write what was worked out into the project's ``project.gpkg``, and return its path.

    Parameters
    ----------
    project
        From `patchnet.read_project`.

    Returns
    -------
    Path
        Where it is: layer ``stretches``, tables ``streets``, ``years``, ``look_for``.

    Raises
    ------
    CannotWrite
        If it cannot be written.

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> base = patchnet.make_base(["demo/buildings.geojson", "demo/roads.geojson"])
    >>> patchnet.write_base(base, "street.gpkg")
    >>> patchnet.write_project(patchnet.add_streets("ours", ["street.gpkg"])).name
    'project.gpkg'
    """
    path = project.folder / MAP
    layers = [OutLayer("stretches", project.stretches, geometry_type="MultiPolygon")]
    layers += [
        OutLayer(name, table)
        for name, table in (
            ("streets", project.streets), ("years", project.years), ("look_for", project.look_for),
        )
        if len(table)
    ]  # fmt: skip
    with replacing(path) as draft:
        write_geopackage(draft, layers)
    return path


def _street(
    folder: Path, row: Mapping[Any, str], walks: pd.DataFrame, today: date, knowledge: Knowledge
) -> dict[str, Any]:
    """Work out all that is told of one street."""
    path = folder / row["file"]
    hood = read_neighbourhood(path, knowledge=knowledge)
    records = read_records_if_any(path)
    peaceful = left_in_peace(records)
    here = [str(plot) for plot in hood.plots.index if str(plot) not in peaceful]
    said = records.statements[records.statements["plot"].isin(here)]
    held = votes(said)
    days = said["when"].astype(str).str[:10]
    year = int(said["year"].max()) if len(said) else today.year
    told = {
        **{key: row.get(key, "") for key in _STREETS},
        "plots": len(here),
        "looked_at": int(said["plot"].nunique()),
        "answers": len(said),
        "people": int(held["person"].nunique()),
        "last": days.max() if len(said) else "",
    }
    records = Records(statements=said, drawn=records.drawn)
    return {
        "street": told,
        "stretches": _stretches(row["street"], hood, held, said, walks, year, knowledge),
        "years": _years(row["street"], hood, records, knowledge),
        "look_for": _look_for(row["street"], hood, knowledge),
    }


def _stretches(
    street: str,
    hood: Neighbourhood,
    held: pd.DataFrame,
    said: pd.DataFrame,
    walks: pd.DataFrame,
    year: int,
    knowledge: Knowledge,
) -> gpd.GeoDataFrame:
    survey = SurveyRound(hood, knowledge)
    own = walks[walks["street"] == street].drop_duplicates("stretch").set_index("stretch")
    now = held[held["year"] == year]
    rows, shapes = [], []
    for stretch in survey.stretches:
        name, plots = survey.stretch_name(stretch), list(stretch.plots)
        back = now[now["plot"].isin(plots)]
        people = {one or _("no name") for one in back["surveyor"]}
        walk = own.loc[name] if name in own.index else pd.Series(dtype=object)
        days = said.loc[said["plot"].isin(plots) & (said["year"] == year), "when"].astype(str)
        rows.append(
            {
                "street": street, "stretch": name, "plots": len(plots),
                "who": str(walk.get("who", "")), "when": str(walk.get("when", "")), "year": year,
                "back_plots": int(back["plot"].nunique()),
                "back_people": ", ".join(sorted(people)),
                "last": days.str[:10].max() if len(days) else "",
            }
        )  # fmt: skip
        shape = shapely.union_all(hood.plots.geometry[plots].to_numpy())
        shapes.append(shape if shape.geom_type == "MultiPolygon" else shapely.MultiPolygon([shape]))
    return gpd.GeoDataFrame(rows, geometry=shapes, crs=hood.plots.crs)


def _years(
    street: str, hood: Neighbourhood, records: Records, knowledge: Knowledge
) -> pd.DataFrame:
    """Return what each year brought, as it was known at its end."""
    columns = ["street", "year", "answers", "plots", "people", "new", "gone"]
    said = records.statements
    if not len(said):
        return pd.DataFrame(columns=columns)
    held, years = votes(said), by_year(records)
    order = [str(plot) for plot in hood.plots.index]
    rows = []
    for year in sorted(set(said["year"].tolist())):
        change = resolve(years[years["year"] <= year], order, tuple(knowledge.features))["change"]
        now, people = said[said["year"] == year], held[held["year"] == year]
        rows.append(
            (street, int(year), len(now), now["plot"].nunique(), people["person"].nunique(),
             int((change == "new").sum()), int((change == "gone").sum()))
        )  # fmt: skip
    return pd.DataFrame(rows, columns=columns)


def _look_for(street: str, hood: Neighbourhood, knowledge: Knowledge) -> pd.DataFrame:
    """Return what to look for in each month: where it helps to place what is not known yet."""
    amount = hood.answers.amount
    rows = []
    for one in knowledge.watching.values():
        at = [hood.answers.features.index(key) for key in one.features]
        unknown = int(np.isnan(amount[:, at]).any(axis=1).sum()) if at else 0
        if at and not unknown:
            continue
        names = ", ".join(knowledge.features[key].name for key in one.features)
        why = (
            _("not known on {unknown} plots: {names}").format(unknown=unknown, names=names)
            if at
            else _("always of use")
        )
        rows += [(month, one.words, street, why) for month in one.months]
    return pd.DataFrame(sorted(rows), columns=["month", "look_for", "street", "why"])


def _table(path: Path, columns: Sequence[str]) -> pd.DataFrame:
    """Read one of the tables that people fill in; columns of their own stay."""
    if not path.is_file():
        return pd.DataFrame(columns=list(columns), dtype=object)
    faults = FaultList()
    frame = read_table(path, faults, known=columns).frame()
    named = {folded(name): name for name in map(str, frame.columns)}
    frame = frame.rename(columns={named[key]: key for key in columns if key in named})
    for key in columns:
        if key not in frame:
            frame[key] = ""
    return frame


def _with(table: pd.DataFrame, row: dict[str, str]) -> pd.DataFrame:
    more = pd.DataFrame([{key: row.get(str(key), "") for key in table.columns}], dtype=object)
    return pd.concat([table, more], ignore_index=True) if len(table) else more


def _write_table(path: Path, table: pd.DataFrame) -> None:
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(table.columns)
    writer.writerows(
        [[harmless(str(cell)) for cell in row] for row in table.to_numpy(dtype=object)]
    )
    text = "\N{ZERO WIDTH NO-BREAK SPACE}" + out.getvalue()
    if not (path.is_file() and path.read_bytes() == text.encode("utf-8")):
        write_text(path, text)
