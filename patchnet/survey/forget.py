"""A household taken out of a street's file: every layer, every statement, every byte."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely

from patchnet.core.cache import Cache
from patchnet.core.errors import CannotWrite, WrongUse
from patchnet.core.files import folder_aside
from patchnet.core.folding import folded
from patchnet.core.geopackage import changing, copy_geopackage
from patchnet.core.shown import Shown
from patchnet.core.street_store import Entry, generation_of, holding, replacing
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.read.columns import check_columns
from patchnet.read.doors import household_plots
from patchnet.read.from_file import local_path, read_neighbourhood
from patchnet.survey.dates import sortable
from patchnet.survey.erase import empty_layers
from patchnet.survey.forget_check import Certificate, cells_of, search
from patchnet.survey.merge import (
    Merged,
    merge_records,
    only_said,
    read_with_ids,
    summed_up,
    write_merged,
)
from patchnet.survey.one_return import street_id
from patchnet.survey.photos import forget_photos
from patchnet.survey.release import forgotten_in
from patchnet.survey.release_layers import read_ledger, read_written, write_ledger
from patchnet.survey.survey_layers import move_written, read_records
from patchnet.survey.survey_record import CONSENT, Records, digest, listed

__all__ = ["Consented", "Forgotten", "forget_plots", "record_consent"]


@dataclass(frozen=True, eq=False, repr=False)
class Forgotten(Shown):
    """What was taken out.

    Attributes
    ----------
    merged
        The street after it.
    removed
        Layer -> rows deleted or emptied.
    surveyors
        How many surveyors of their own plot lost their name on other plots.
    certificate
        What was searched afterwards, and what was found.
    plots
        Ids of the plots that were forgotten.
    """

    merged: Merged
    removed: Mapping[str, int]
    surveyors: int
    certificate: Certificate
    plots: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False, repr=False)
class Consented(Shown):
    """A household's answer, written down.

    Attributes
    ----------
    merged
        The street after it.
    plots
        Ids of the plots that it holds for.
    """

    merged: Merged
    plots: tuple[str, ...]

    @property
    def consent(self) -> Mapping[str, str]:
        """The last word of each plot."""
        return self.merged.consent


def record_consent(
    path: Path | str,
    plot: str,
    consent: str,
    target: Path | str,
    *,
    knowledge: Knowledge | None = None,
    now: datetime | None = None,
    columns: Mapping[str, str] | None = None,
) -> Consented:
    """Write down a household's answer about being shown in public; earlier answers are kept.

    Parameters
    ----------
    path
        The street, a GeoPackage.
    plot
        Its id or label; or its door number, which means front and back.
    consent
        ``"yes"`` or ``"no"``.
    target
        Where to write; may be `path`.
    knowledge
        The tables; None: those that ship with patchnet.
    now
        When it was said, with its offset.
    columns
        As in `read_neighbourhood`.

    Returns
    -------
    Consented
        The street after it; ``consent`` has the last word of each plot.

    Raises
    ------
    WrongUse
        If there is no such plot, or plots of several doors could be meant.
    CannotRead, CannotWrite, DataFaults
        As reading and writing.

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> base = patchnet.make_base(["demo/buildings.geojson", "demo/roads.geojson"])
    >>> patchnet.write_base(base, "street.gpkg")
    >>> plot = base.plots["id"].iloc[0]
    >>> patchnet.record_consent("street.gpkg", plot, "yes", "street.gpkg").consent[plot]
    'yes'
    """
    knowledge = knowledge or load_knowledge()
    now = now or datetime.now(UTC).astimezone()
    with holding(Path(target)):
        source = local_path(path)
        generation = generation_of(source)
        hood, id_column = read_with_ids(source, columns=columns, knowledge=knowledge)
        plots = household_plots(hood.plots, plot, where=hood.name)
        said = dict.fromkeys(CONSENT, "") | {
            "return": "said to the group", "consent": consent,
            "when": now.isoformat(timespec="seconds"), "utc": sortable(now),
        }  # fmt: skip
        rows = [said | {"plot": one} for one in plots]
        table = pd.DataFrame(rows, columns=list(CONSENT), dtype=object).drop(columns="answer_id")
        before = read_records(source)
        streets = tuple(sorted({street_id(hood), *before.streets}))
        named = digest(table, "answer_id")
        records = merge_records(replace(before, streets=streets), Records(consent=named))
        merged = summed_up(
            source, hood, records, knowledge=knowledge, new={"consent": len(plots)},
            id_column=id_column,
            entry=Entry("consent", answers=tuple(named["answer_id"])), generation=generation,
        )  # fmt: skip
        write_merged(merged, target)
        return Consented(merged, plots)


def forget_plots(
    path: Path | str,
    plots: Sequence[str],
    target: Path | str,
    *,
    knowledge: Knowledge | None = None,
    now: datetime | None = None,
    outline: bool = False,
    columns: Mapping[str, str] | None = None,
) -> Forgotten:
    """Take all that is known of a household and its plots out of a street's file.

    Its statements of all years, drawn shapes, answers about consent and mapped features are
    deleted; its rows in the plots keep outline, id and kind alone; gaps of its fences and names
    of its buildings are emptied. Who surveyed it as their own plot is no longer named on other
    plots. Returns merged later are not let in again where they tell of it, until it agrees.

    Parameters
    ----------
    path
        The street, a GeoPackage.
    plots
        Its plots: ids, labels, or its door number, which means front and back.
    target
        Where to write; may be `path`.
    knowledge
        The tables; None: those that ship with patchnet.
    now
        When it was asked, with its offset.
    outline
        True: the outlines are deleted too, so that the map has a hole there.
    columns
        As in `read_neighbourhood`.

    Returns
    -------
    Forgotten
        What was taken out, and the street after it.

    Raises
    ------
    WrongUse
        If there is no such plot, or the file would have none left.
    CannotRead, CannotWrite, DataFaults
        As reading and writing.

    Examples
    --------
    >>> import patchnet
    >>> _ = patchnet.write_demo("demo")
    >>> base = patchnet.make_base(["demo/buildings.geojson", "demo/roads.geojson"])
    >>> patchnet.write_base(base, "street.gpkg")
    >>> plot = base.plots["id"].iloc[0]
    >>> patchnet.forget_plots("street.gpkg", [plot], "street.gpkg").surveyors
    0
    """
    knowledge = knowledge or load_knowledge()
    now = now or datetime.now(UTC).astimezone()
    with holding(Path(target)):
        source = local_path(path)
        hood, id_column = read_with_ids(source, columns=columns, knowledge=knowledge)
        plots = [one for said in plots for one in household_plots(hood.plots, said)]
        if outline and len(hood.plots) == len(set(plots)):
            raise WrongUse(_("No plot would be left: delete the file."))
        before = read_records(source)
        records = replace(before, streets=tuple(sorted({street_id(hood), *before.streets})))
        removed: Counter[str] = Counter()
        named: set[str] = set()
        for plot in dict.fromkeys(plots):
            shape = hood.plots.geometry[plot]
            records, rows, names = _scrubbed(records, plot, shape, sortable(now))
            removed.update(rows)
            named |= names
        # First, so that nothing is left elsewhere of a household that the file no longer knows.
        removed["photos"] = forget_photos(Path(target), plots)
        removed["cache"] = Cache(Path(target)).clear()
        cells = cells_of(source)
        words = [*named, *(str(hood.plots.loc[plot, "label"]) for plot in plots)]
        # The draft stands beside what is written: nothing of a household goes elsewhere.
        with replacing(target) as whole, folder_aside(whole.parent) as aside:
            draft = aside / Path(target).name
            copy_geopackage(source, draft)
            with changing(draft) as there:
                move_written(there, source, Path(target))
                near_m = knowledge.setting("feature_snap_m")
                for plot in dict.fromkeys(plots):
                    removed.update(
                        empty_layers(
                            there, plot, id_column, near_m, outline=outline,
                            said=check_columns(columns, knowledge),
                        )
                    )  # fmt: skip
            ledger = read_ledger(draft)
            if len(ledger.units):
                write_ledger(draft, forgotten_in(ledger, plots, outline=outline))
            after = read_neighbourhood(draft, columns=columns, knowledge=knowledge)
            merged = summed_up(
                draft, after, records, knowledge=knowledge, new={"statements": -1},
                id_column=id_column, entry=Entry("forget"),
            )  # fmt: skip
            write_merged(merged, whole)
            made = read_written(whole)
            certificate = search(
                cells, whole, words, target=Path(target),
                made=list(zip(made["file"], made["audience"], made["when"], strict=True)),
            )  # fmt: skip
            if certificate.found:
                raise CannotWrite(
                    _(
                        "{target} was not written: {n_found} texts of the household would have "
                        "stayed in it. This is a fault of patchnet: please report it."
                    ).format(target=target, n_found=len(certificate.found))
                )
        # What a command kept meanwhile that had begun before; from now on none can.
        removed["cache"] += Cache(Path(target)).clear()
        people = len({folded(name) for name in named})
        return Forgotten(merged, removed, people, certificate, tuple(dict.fromkeys(plots)))


def _scrubbed(
    records: Records, plot: str, shape: shapely.Geometry, utc: str
) -> tuple[Records, dict[str, int], set[str]]:
    statements = records.statements
    own = (statements["plot"] == plot) & (statements["seen_from"] == "own plot")
    # Her name in any spelling: what is one person for the votes is one person here.
    own_names = {folded(name) for name in statements.loc[own, "surveyor"]} - {""}
    written = {*statements["surveyor"], *records.drawn["surveyor"], *records.consent["surveyor"],
               *records.returns["surveyor"], *records.missing["surveyor"]}  # fmt: skip
    named = {str(name) for name in written if folded(name) in own_names}
    parts: dict[str, pd.DataFrame] = {}
    removed = {}
    for name in ("statements", "drawn", "consent"):
        table = getattr(records, name)
        gone = table["plot"] == plot
        removed[name] = int(gone.sum())
        kept = table[~gone].reset_index(drop=True)
        parts[name] = kept.assign(
            surveyor=kept["surveyor"].where(~kept["surveyor"].isin(named), "")
        )
    houses = records.missing
    here = houses.geometry.intersects(shape).to_numpy(dtype=bool)
    removed["missing"] = int(here.sum())
    kept = houses[~here].reset_index(drop=True)
    missing = kept.assign(surveyor=kept["surveyor"].where(~kept["surveyor"].isin(named), ""))
    # A return that told of this plot alone tells now only who lives there. What two sheets say
    # alike stands under one of them: what each of them said is told by `said_in`.
    said = records.said_in
    parts["missing"] = missing
    left = set(said.loc[said["ident"].isin(_idents(parts)), "content"])
    gone_of = {name: getattr(records, name) for name in parts}
    gone_of = {
        name: table[here if name == "missing" else table["plot"] == plot]
        for name, table in gone_of.items()
    }
    touched = set(said.loc[said["ident"].isin(_idents(gone_of)), "content"])
    returns = records.returns[~records.returns["content"].isin(touched - left)]
    returns = returns.assign(
        surveyor=returns["surveyor"].where(~returns["surveyor"].isin(named), "")
    )
    removed["returns"] = len(records.returns) - len(returns)
    others = records.forgotten[records.forgotten["plot"] != plot]
    forgotten = pd.concat(
        [others, pd.DataFrame({"plot": [plot], "utc": [utc]}, dtype=object)], ignore_index=True
    ).sort_values("plot", kind="stable", ignore_index=True)
    scrubbed = replace(
        records,
        statements=parts["statements"],
        drawn=gpd.GeoDataFrame(parts["drawn"], geometry="geometry", crs=records.drawn.crs),
        consent=parts["consent"],
        missing=gpd.GeoDataFrame(missing, geometry="geometry", crs=records.missing.crs),
        returns=returns.reset_index(drop=True),
        forgotten=forgotten,
    )
    return only_said(scrubbed), removed, named


def _idents(tables: Mapping[str, pd.DataFrame]) -> set[str]:
    """Return the digests of statements, shapes and answers."""
    keys = {"statements": "statement", "drawn": "shape", "consent": "answer_id",
            "missing": "house"}  # fmt: skip
    return {str(one) for name, key in keys.items() for one in listed(tables[name][key])}
