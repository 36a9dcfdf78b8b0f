"""All returns of a street into its one file: nothing overwritten, nothing counted twice."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from patchnet.core.errors import CannotRead
from patchnet.core.fault_list import FaultList
from patchnet.core.faults import Fault
from patchnet.core.shown import Shown
from patchnet.core.street_store import Entry, generation_of
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.read.answers import too_much
from patchnet.read.columns import check_columns, find_columns
from patchnet.read.from_file import local_path, read_with_layers
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.survey.agreement import agreement
from patchnet.survey.check_returns import check_returns
from patchnet.survey.one_return import Return, street_id
from patchnet.survey.photos import check_photos, write_photos
from patchnet.survey.read_returns import columns_of_map, read_returns
from patchnet.survey.sheet_headings import columns_said, sheet_words
from patchnet.survey.statements import by_year, disputes, resolve, votes
from patchnet.survey.survey_layers import read_records_if_any, write_records
from patchnet.survey.survey_record import SAID_IN, Records, joined, left_in_peace, listed
from patchnet.survey.to_mend import Unread
from patchnet.survey.which_street import returns_of_street

__all__ = [
    "Merged", "consent_of", "merge_records", "merge_returns", "only_said", "read_with_ids",
    "summed_up", "write_merged",
]  # fmt: skip


_MERGE = Entry("merge")


@dataclass(frozen=True, eq=False, repr=False)
class Merged(Shown):
    r"""A street with everything that was gathered.

    Attributes
    ----------
    source
        The map's file.
    neighbourhood
        As it was read before.
    records
        Every statement, shape, answer about consent and return.
    years, survey
        What they come to (`statements.by_year`, `statements.resolve`).
    disputes
        What people differ on, and who says what (`statements.disputes`).
    agreement
        Of surveyors, per feature (`agreement.agreement`).
    consent
        Plot -> yes or no, as last said.
    new
        How many statements, shapes, answers about consent, and returns were not there before.
    read
        How many files were taken.
    faults
        What was left out or is in doubt.
    id_column
        Name of the plots' column of ids.
    entry
        What its journal is going to say of it.
    generation
        Number of the change of the file that it builds on; None: not known.
    to_mend
        Rows of the returns that could not be used, whole or in part, as they are handed in again.
    photos
        Photographs of the returns, by the name of their file.

    Examples
    --------
    >>> import patchnet
    >>> from pathlib import Path
    >>> _ = patchnet.write_demo("demo")
    >>> row = "plot,feature,answer,surveyor,date\nM15B,pond,there,Ann,2026-05-09\n"
    >>> _ = Path("ann.csv").write_text(row)
    >>> merged = patchnet.merge_survey("demo", "ann.csv", same_street=True)
    >>> merged.survey["plot"].tolist()
    ['M15B']
    """

    source: Path
    neighbourhood: Neighbourhood
    records: Records
    years: pd.DataFrame
    survey: pd.DataFrame
    disputes: pd.DataFrame
    agreement: pd.DataFrame
    consent: Mapping[str, str]
    new: Mapping[str, int]
    read: int
    faults: tuple[Fault, ...]
    id_column: str
    entry: Entry = _MERGE
    generation: int | None = None
    to_mend: pd.DataFrame = field(default_factory=pd.DataFrame)
    photos: Mapping[str, bytes] = field(default_factory=dict)


def merge_returns(
    path: Path | str,
    returns: Sequence[Path | str],
    *,
    knowledge: Knowledge,
    today: date,
    columns: Mapping[str, str] | None = None,
    crs: str | None = None,
    same_street: bool = False,
) -> Merged:
    """Read returns and lay them into what a street's file holds already; nothing is written.

    Parameters
    ----------
    path
        The street: a GeoPackage, or any other map, which becomes one.
    returns
        Files of returns, in any order.
    knowledge
        The tables.
    today
        Dates after it are doubted.
    columns, crs
        As in `read_neighbourhood`.
    same_street
        True: take returns that do not say of which street they are, and those of another that
        may well be this one (see `returns_of_street`), for the user says so.

    Raises
    ------
    DataFaults
        If the map itself has errors.
    CannotRead
        If the map cannot be read.
    """
    source = local_path(path)
    generation = generation_of(source)
    before = read_records_if_any(source)
    faults = FaultList()
    of_map, of_returns = columns_said(columns, knowledge)
    found = read_returns(returns, sheet_words(knowledge, of_returns), knowledge, faults)
    columns = columns_of_map(source, of_map, of_returns, found)
    neighbourhood, id_column = read_with_ids(path, columns=columns, crs=crs, knowledge=knowledge)
    here = street_id(neighbourhood)
    streets = tuple(sorted({here, *before.streets}))
    taken = returns_of_street(
        found,
        streets,
        neighbourhood,
        knowledge=knowledge,
        faults=faults,
        same_street=same_street,
        alone=len(returns) == 1,
    )
    _warn_apart(taken, knowledge, faults)
    unread = Unread()
    added = check_returns(
        taken, neighbourhood, knowledge=knowledge, today=today, faults=faults, unread=unread
    )
    records = merge_records(replace(before, streets=streets), added)
    _tell_two_contents(before, added, records, faults)
    records = _without_forgotten(records, faults)
    new = {
        key: len(getattr(records, key)) - len(getattr(before, key))
        for key in ("statements", "drawn", "consent", "missing", "returns")
    }
    fresh = set(listed(added.returns["content"])) - set(listed(before.returns["content"]))
    merged = summed_up(
        source, neighbourhood, records, knowledge=knowledge, new=new, read=len(taken),
        faults=faults.faults, id_column=id_column,
        entry=Entry("merge", tuple(sorted(fresh))), generation=generation,
    )  # fmt: skip
    told = FaultList()
    peaceful = left_in_peace(records)
    photos = check_photos(
        taken, [plot for plot in map(str, neighbourhood.plots.index) if plot not in peaceful], told
    )
    return replace(
        merged,
        to_mend=unread.table(taken, here),
        photos=photos,
        faults=(*merged.faults, *told.faults),
    )


def summed_up(
    source: Path,
    neighbourhood: Neighbourhood,
    records: Records,
    *,
    knowledge: Knowledge,
    id_column: str,
    new: Mapping[str, int] | None = None,
    read: int = 0,
    faults: Sequence[Fault] = (),
    entry: Entry = _MERGE,
    generation: int | None = None,
) -> Merged:
    """Work out what records come to (see `Merged` for the parameters)."""
    order = [str(ident) for ident in neighbourhood.plots.index]
    known = records.statements["plot"].isin(order)
    drawn = records.drawn["plot"].isin(order)
    placed = replace(records, statements=records.statements[known], drawn=records.drawn[drawn])
    held = votes(placed.statements)
    years = _that_fit(by_year(placed, held=held), neighbourhood, knowledge)
    return Merged(
        source,
        neighbourhood,
        records,
        years,
        resolve(years, order, tuple(knowledge.features)),
        disputes(years, held),
        agreement(votes(placed.statements, first_looks=True)),
        consent_of(records),
        dict(new or {}),
        read,
        tuple(faults),
        id_column,
        entry,
        generation,
    )


def _that_fit(
    years: pd.DataFrame, neighbourhood: Neighbourhood, knowledge: Knowledge
) -> pd.DataFrame:
    """Leave out amounts that their plot cannot hold: no map could be read in which they stand."""
    if not len(years):
        return years
    place = {key: at for at, key in enumerate(knowledge.features)}
    features = years["feature"].map(place).to_numpy(dtype=np.intp)
    areas = neighbourhood.plots.geometry.area.reindex(years["plot"]).to_numpy(dtype=float)
    over = too_much(years["amount"].to_numpy(dtype=float), features, areas, knowledge)
    counted = np.array([one.measure == "count" for one in knowledge.features.values()])
    return years.assign(amount=years["amount"].mask(over & ~counted[features]))


def write_merged(merged: Merged, target: Path | str) -> Path:
    r"""Write the street with its records, whole or not at all, and return the path.

    Where nothing is new and the target is the street's own file, it is left untouched.
    Photographs are written into the folder ``NAME-photos`` beside it.

    Parameters
    ----------
    merged
        From `patchnet.merge_survey`.
    target
        The GeoPackage; may be the street's own file, which is then replaced whole.

    Returns
    -------
    Path
        Where it is.

    Raises
    ------
    CannotWrite
        If the file cannot be written.

    Examples
    --------
    >>> import patchnet
    >>> from pathlib import Path
    >>> _ = patchnet.write_demo("demo")
    >>> row = "plot,feature,answer,surveyor,date\nM15B,pond,there,Ann,2026-05-09\n"
    >>> _ = Path("ann.csv").write_text(row)
    >>> merged = patchnet.merge_survey("demo", "ann.csv", same_street=True)
    >>> patchnet.write_merged(merged, "street.gpkg").name
    'street.gpkg'
    """
    path = Path(target)
    write_photos(merged.photos, path)
    same = path.exists() and path.samefile(merged.source)
    if same and merged.new and not any(merged.new.values()):
        return path
    write_records(
        merged.source, path, merged.records, survey=merged.survey, years=merged.years,
        consent=merged.consent, id_column=merged.id_column, entry=merged.entry,
        generation=merged.generation,
    )  # fmt: skip
    return path


def merge_records(one: Records, other: Records) -> Records:
    """Lay two sets of records together: each row once, in an order that does not depend on theirs.

    Parameters
    ----------
    one
        Whose ids of the street and forgotten plots are kept.
    other
        What is added.
    """
    shapes = [table for table in (one.drawn, other.drawn) if len(table)]
    drawn = one.drawn
    if shapes:
        whole = gpd.GeoDataFrame(pd.concat(shapes, ignore_index=True), crs=shapes[-1].crs)
        whole = whole.sort_values(["plot", "feature", "shape", "return"], kind="stable")
        drawn = whole.drop_duplicates("shape").reset_index(drop=True)
    missing = one.missing
    houses = [table for table in (one.missing, other.missing) if len(table)]
    if houses:
        whole = gpd.GeoDataFrame(pd.concat(houses, ignore_index=True), crs=houses[-1].crs)
        whole = whole.sort_values(["utc", "house", "return"], kind="stable")
        missing = whole.drop_duplicates("house").reset_index(drop=True)
    return replace(
        one,
        missing=missing,
        statements=joined(
            [one.statements, other.statements],
            ["statement"],
            ["plot", "feature", "utc", "statement", "return", "year"],
        ),
        drawn=drawn,
        consent=joined(
            [one.consent, other.consent], ["answer_id"], ["plot", "utc", "answer_id", "return"]
        ),
        returns=joined([one.returns, other.returns], ["return", "content"], ["return", "content"]),
        said_in=joined([one.said_in, other.said_in], list(SAID_IN), list(SAID_IN)),
    )


def consent_of(records: Records) -> dict[str, str]:
    """Return what was last said about consent of each plot; of two at one moment, no.

    Parameters
    ----------
    records
        With the answers about consent.

    Returns
    -------
    dict
        Plot -> yes or no.
    """
    ordered = records.consent.sort_values(
        ["plot", "utc", "consent"], ascending=[True, True, False], kind="stable"
    )
    last = ordered.drop_duplicates("plot", keep="last")
    return dict(zip(last["plot"], last["consent"], strict=True))


def read_with_ids(
    path: Path | str,
    *,
    columns: Mapping[str, str] | None,
    crs: str | None = None,
    knowledge: Knowledge,
) -> tuple[Neighbourhood, str]:
    """Read a street once: it, and the name of the column that its plots' ids stand in.

    Parameters
    ----------
    path
        The street.
    columns, crs, knowledge
        As in `read_neighbourhood`.

    Raises
    ------
    DataFaults, WrongUse
        As `read_neighbourhood`.
    CannotRead
        As `read_neighbourhood`, or if the file has no plots with ids.
    """
    neighbourhood, layers = read_with_layers(path, columns=columns, crs=crs, knowledge=knowledge)
    said = check_columns(columns, knowledge)
    if layers.plots is not None:
        found = find_columns(
            layers.plots.table, ("id",), knowledge, said=said, with_features=False
        ).role
        if "id" in found:
            return neighbourhood, found["id"]
    raise CannotRead(_("{path} has no plots with ids.").format(path=path))


def _warn_apart(returns: Sequence[Return], knowledge: Knowledge, faults: FaultList) -> None:
    """Question a return whose date is far from those of all others handed in with it."""
    days: list[int | None] = []
    for one in returns:
        text = one.about.get("saved") or one.about.get("began") or ""
        try:
            days.append(datetime.fromisoformat(text).date().toordinal())
        except ValueError:
            days.append(None)
    dated = [day for day in days if day is not None]
    if len(dated) < 3:
        return
    middle = float(np.median(dated))
    far = knowledge.setting("clock_apart_days")
    apart = [day is not None and abs(day - middle) > far for day in days]
    if 2 * sum(apart) >= len(dated):
        return
    for one, alone in zip(returns, apart, strict=True):
        if alone:
            faults.warn(
                one.where,
                _(
                    "It is dated about a year or more away from the other returns: is the clock of "
                    "the device wrong? It was counted for the year that it says."
                ),
                _("If the clock was wrong, mend the dates in it and merge it into the map anew."),
            )


def _tell_two_contents(before: Records, added: Records, whole: Records, faults: FaultList) -> None:
    fresh = set(zip(added.returns["return"], added.returns["content"], strict=True))
    fresh -= set(zip(before.returns["return"], before.returns["content"], strict=True))
    twice = whole.returns[whole.returns["return"].duplicated(keep=False)]
    for ident, rows in twice.groupby("return", sort=True):
        if any((ident, content) in fresh for content in rows["content"]):
            who = ", ".join(sorted({name for name in rows["surveyor"] if name})) or "no name"
            faults.warn(
                _("return {ident}").format(ident=str(ident)[:60]),
                _(
                    "It was handed in with {n_rows} different contents ({who}): all statements of "
                    "all of them are kept."
                ).format(n_rows=len(rows), who=who),
                _(
                    "If it was handed over again after more was seen, all is well; if a file was "
                    "copied to another device, give one of them a new id."
                ),
            )


def _without_forgotten(records: Records, faults: FaultList) -> Records:
    """Leave out what is of plots whose household asked to be forgotten, unless it agreed since."""
    found = records
    for plot, utc in zip(records.forgotten["plot"], records.forgotten["utc"], strict=True):
        consent = records.consent
        agreed = consent[(consent["plot"] == plot) & (consent["consent"] == "yes")]
        since = str(utc) if (agreed["utc"] > utc).any() else None
        parts = {}
        for name in ("statements", "drawn", "consent"):
            table = getattr(found, name)
            out = table["plot"] == plot
            if since is not None:
                out &= table["utc"] <= since
            parts[name] = table[~out].reset_index(drop=True)
            if name == "statements" and out.any():
                faults.warn(
                    _("plot {plot}").format(plot=plot),
                    _(
                        "Its household asked to be forgotten: {total} statements were left out."
                    ).format(total=int(out.sum())),
                    _("If it agrees to be surveyed again: patchnet consent FILE ID yes."),
                )
        found = replace(found, **parts)
    return only_said(found)


def only_said(records: Records) -> Records:
    """Leave out of `said_in` what is no longer among the records.

    Parameters
    ----------
    records
        All records of a street.
    """
    there = {
        *listed(records.statements["statement"]), *listed(records.drawn["shape"]),
        *listed(records.consent["answer_id"]), *listed(records.missing["house"]),
    }  # fmt: skip
    kept = records.said_in["ident"].isin(there)
    return replace(records, said_in=records.said_in[kept].reset_index(drop=True))
