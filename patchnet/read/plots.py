"""The plots layer: ids, kinds, labels, outlines; what is checked before anything else."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.core.cells import texts, whole_number
from patchnet.core.fault_list import FaultList, Place
from patchnet.core.folding import folded
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.words import match_plot_kind, near_plot_kinds
from patchnet.read.columns import Columns, id_candidates
from patchnet.read.repair import check_outlines, check_overlaps

__all__ = ["Plots", "read_plots"]

_PLAIN_KIND = frozenset(("kind", "plot kind", "plot type"))


@dataclass(frozen=True, eq=False)
class Plots:
    """Plots that can be worked with, in the order of the file.

    Attributes
    ----------
    table
        As in `Neighbourhood.plots`.
    rows
        Position of each in the layer's table.
    places
        Row number and id of each.
    """

    table: gpd.GeoDataFrame
    rows: NDArray[np.intp]
    places: tuple[Place, ...]


def read_plots(
    table: pd.DataFrame,
    shapes: NDArray[np.object_],
    columns: Columns,
    *,
    where: str,
    crs: object,
    knowledge: Knowledge,
    faults: FaultList,
) -> Plots | None:
    """Check the plots; rows with an error are left out of what is returned.

    Parameters
    ----------
    table
        Rows of the layer.
    shapes
        Their geometries in metres, shape (rows,).
    columns
        Which column is which.
    where
        Name of the layer.
    crs
        CRS of `shapes`.
    knowledge
        For plot kinds and settings.
    faults
        List that faults are added to.

    Returns
    -------
    Plots or None
        None where there is no row or no column of ids.
    """
    if not len(table):
        faults.error(where, _("The layer of plots has no row."), _("Draw the plots in it."))
        return None
    idents = _idents(table, columns, where, faults)
    if idents is None:
        return None
    places = tuple((row, ident or None) for row, ident in enumerate(idents, 1))
    kinds = _kinds(table, columns, places, where, knowledge, faults)
    container = np.array([knowledge.plot_kinds[kind].implies is not None for kind in kinds])
    outlines = check_outlines(
        shapes, places, container, where=where, knowledge=knowledge, faults=faults
    )
    drawn = np.flatnonzero(outlines.good)
    check_overlaps(
        outlines.shapes[drawn],
        [places[at] for at in drawn],
        # What lies above other plots by nature may overlap them.
        np.array([knowledge.plot_is(kinds[at], "raised") for at in drawn], dtype=bool),
        where=where,
        knowledge=knowledge,
        faults=faults,
    )
    first = ~pd.Series(idents).duplicated().to_numpy() & np.array([bool(one) for one in idents])
    # A plot whose id is missing or taken is carried on under a name of its own, so that the
    # rest of its row is checked as well; the fault keeps it from being computed with.
    names = [
        ident if own else _("{ident} (row {row})").format(ident=ident, row=row)
        for row, (ident, own) in enumerate(zip(idents, first, strict=True), 1)
    ]
    rows = np.flatnonzero(outlines.good)
    labels = texts(table[columns.role["label"]]) if "label" in columns.role else idents
    streets = (
        texts(table[columns.role["street"]]) if "street" in columns.role else [""] * len(table)
    )
    doors = texts(table[columns.role["door"]]) if "door" in columns.role else [""] * len(table)
    also = texts(table[columns.role["also"]]) if "also" in columns.role else []
    agreed = texts(table[columns.role["consent"]]) if "consent" in columns.role else []
    kept = outlines.shapes[rows]
    plots = gpd.GeoDataFrame(
        {
            "kind": [kinds[at] for at in rows],
            "label": [labels[at] or idents[at] for at in rows],
            "street": [streets[at] for at in rows],
            "door": [whole_number(doors[at]) for at in rows],
            "also": [also[at] if also else "" for at in rows],
            "consent": [_consent(agreed[at]) if agreed else "" for at in rows],
            "area_m2": shapely.area(kept),
        },
        geometry=kept,
        index=pd.Index([names[at] for at in rows], name="plot", dtype=object),
        crs=crs,
    )
    return Plots(plots, rows, tuple(places[at] for at in rows))


def _consent(text: str) -> str:
    """Return yes, no, or nothing where nobody was asked: only a clear yes is one."""
    word = folded(text)
    return word if word in {"", "yes"} else "yes" if word in {"y", "true", "agreed"} else "no"


def _idents(
    table: pd.DataFrame, columns: Columns, where: str, faults: FaultList
) -> list[str] | None:
    if "id" not in columns.role:
        if "id" in columns.missing:
            return None  # said already: the user named a column that is not there
        candidates = ", ".join(id_candidates(table)[:6])
        faults.error(
            where,
            _("No column was recognised as the plots' ids.")
            + (
                _(" These have another value in every row: {candidates}.").format(
                    candidates=candidates
                )
                if candidates
                else ""
            ),
            _(
                "Call the column id, or say which it is: --column id=NAME on the command line, "
                "columns={'id': 'NAME'} in Python."
            ),
        )
        return None
    idents = [whole_number(cell) for cell in texts(table[columns.role["id"]])]
    seen: dict[str, int] = {}
    for row, ident in enumerate(idents, 1):
        if not ident:
            faults.error(where, _("The plot has no id."), _("Give it an id of its own."), row=row)
        elif ident in seen:
            what = _("The id {ident!r} is that of row {seen} already.").format(
                ident=ident, seen=seen[ident]
            )
            faults.error(where, what, _("Give each plot an id of its own."), row=row, ident=ident)
        seen.setdefault(ident, row)
    return idents


def _kinds(
    table: pd.DataFrame,
    columns: Columns,
    places: tuple[Place, ...],
    where: str,
    knowledge: Knowledge,
    faults: FaultList,
) -> list[str]:
    unnamed = knowledge.plot_kind_for("unnamed")
    if "kind" not in columns.role:
        faults.warn(
            where,
            _("No column says what kind of plot each is: all were taken as '{unnamed}'.").format(
                unnamed=unnamed
            ),
            _("Add a column kind ({plot_kinds} ...).").format(
                plot_kinds=", ".join(list(knowledge.plot_kinds)[:6])
            ),
        )
        return [unnamed] * len(table)
    words = texts(table[columns.role["kind"]])
    plain_name = folded(columns.role["kind"]) in _PLAIN_KIND
    if not plain_name and "kind" not in columns.said:
        known = any(match_plot_kind(word, knowledge) for word in set(words) if word)
        if not known:
            # Land registers have types and classes of their own, which say nothing of gardens.
            faults.warn(
                where,
                _(
                    "No word in the column '{kind}' is a kind of plot: it was not read, and all "
                    "plots were taken as '{unnamed}'."
                ).format(kind=columns.role["kind"], unnamed=unnamed),
                _("Add a column kind ({plot_kinds} ...).").format(
                    plot_kinds=", ".join(list(knowledge.plot_kinds)[:6])
                ),
            )
            return [unnamed] * len(table)
    kinds = []
    blank: list[tuple[Place, str]] = []
    for word, place in zip(words, places, strict=True):
        kind = match_plot_kind(word, knowledge) if word else unnamed
        if not word:
            blank.append(
                (
                    place,
                    _("The plot has no kind: it was taken as '{unnamed}'.").format(unnamed=unnamed),
                )
            )
        if kind is None:
            near = near_plot_kinds(word, knowledge)
            hint = _(" Did you mean {near}?").format(near=_(" or ").join(near)) if near else ""
            faults.error(
                where,
                _("'{word}' is not a kind of plot.{hint}").format(word=word[:40], hint=hint),
                _("Write one of: {plot_kinds}.").format(plot_kinds=", ".join(knowledge.plot_kinds)),
                row=place[0],
                ident=place[1],
            )
        kinds.append(kind or unnamed)
    faults.warn_rows(
        where, blank,
        together=_("{n} plots have no kind: they were taken as ") + f"'{unnamed}'.",
        mend=_("Fill in the kind."),
    )  # fmt: skip
    return kinds
