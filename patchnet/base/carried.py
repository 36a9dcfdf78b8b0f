"""What people put right by hand in an earlier base, carried over into the new one."""

from collections.abc import Callable

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pandas.api.types import is_numeric_dtype

from patchnet.base.earlier import Earlier
from patchnet.core.fault_list import FaultList
from patchnet.core.texts import N_, _
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.words import match_plot_kind

__all__ = ["carried_barriers", "carried_features", "carried_plots"]

BY_HAND = "drawn by hand in an earlier base"
_LOOK = N_("Look whether it is still right: new data may know better.")

Near = Callable[[gpd.GeoDataFrame], gpd.GeoDataFrame]


def carried_plots(
    plots: gpd.GeoDataFrame, earlier: Earlier, near: Near, knowledge: Knowledge, faults: FaultList
) -> gpd.GeoDataFrame:
    """Return the plots with kinds and labels that people changed, and the plots they drew.

    A plot that is still there keeps the kind of the earlier base, and a label that is not of the
    base's own making. Plots that the earlier base did not make itself (their ``basis`` is empty)
    are added. Outlines are the new ones; where one was quite another before, it is said.

    Parameters
    ----------
    plots
        Of the new base, with ``id``, ``kind``, ``label`` and ``basis``.
    earlier
        The earlier base.
    near
        Keeps the rows that lie where plots are wanted.
    knowledge
        For the kinds of plots, and ``base_same_outline_share``.
    faults
        List that faults are added to: everything that was carried over.
    """
    old = earlier.table.set_index("id", drop=False)
    least = knowledge.setting("base_same_outline_share")
    table = plots.copy()
    told: list[tuple[tuple[int, str], str]] = []
    moved: list[tuple[tuple[int, str], str]] = []
    place = {ident: row for row, ident in enumerate(old["id"], 1)}
    kinds, labels = table["kind"].tolist(), table["label"].tolist()
    for at, ident in enumerate(table["id"]):
        if ident not in place:
            continue
        row = old.loc[ident]
        where = (place[ident], ident)
        kind = match_plot_kind(row["kind"], knowledge)
        if kind is not None and kind != kinds[at]:
            told.append(
                (
                    where,
                    _("Its kind stays {kind}; new data say {kind_2}.").format(
                        kind=kind, kind_2=kinds[at]
                    ),
                )
            )
            kinds[at] = kind
        if row["label"] and not row["label"].startswith(f"{row['street'] or 'No street'}, "):
            labels[at] = row["label"]
        if _alike(row.geometry, table.geometry.iloc[at]) <= least:
            moved.append((where, _("Its outline is another than before: the new one was taken.")))
    table["kind"], table["label"] = kinds, labels
    by_hand = near(old[(old["basis"] == "") & ~old["id"].isin(table["id"])])
    if earlier.is_base and len(by_hand):
        told += [
            ((place[ident], ident), _("It was drawn by hand, and stays."))
            for ident in by_hand["id"]
        ]
        unnamed = knowledge.plot_kind_for("unnamed")
        named = [match_plot_kind(kind, knowledge) or unnamed for kind in by_hand["kind"]]
        table = _together(table, by_hand.assign(basis=BY_HAND, kind=named))
    faults.warn_rows(
        earlier.where, told, together=_("{n} plots keep what was put right by hand."), mend=_(_LOOK)
    )
    faults.warn_rows(
        earlier.where, moved, together=_("The outlines of {n} plots are others than before."),
        mend=_("The earlier file keeps its own; where that was right, draw it anew."),
    )  # fmt: skip
    return table


def carried_barriers(
    barriers: gpd.GeoDataFrame, earlier: Earlier, near: Near, faults: FaultList
) -> gpd.GeoDataFrame:
    """Return the barriers with those that people drew, and those whose gap they looked at.

    A barrier of OpenStreetMap whose gap somebody wrote down stands as it stood before.

    Parameters
    ----------
    barriers
        Table of the new base, with ``osm`` (empty: not from OpenStreetMap) and ``gap``.
    earlier
        The earlier base.
    near
        Keeps the rows that lie in the new base.
    faults
        Added to.

    Returns
    -------
    GeoDataFrame
        Columns as in `barriers`.
    """
    old = earlier.barriers
    if not len(old):
        return barriers
    said = old["gap"].isin(("yes", "no"))
    kept = near(old[said | (old["osm"] == "")].reset_index(drop=True))
    replaced = set(kept["osm"]) - {""}
    table = barriers[~barriers["osm"].isin(replaced)]
    kept = _not_there_yet(kept, table)
    if not len(kept):
        return barriers
    faults.warn(
        earlier.where,
        _(
            "Of its barriers {n_kept} were drawn or looked at by hand: they are carried over."
        ).format(n_kept=len(kept)),
        _(_LOOK),
    )
    return _together(table, kept)


def carried_features(
    features: gpd.GeoDataFrame,
    plots: gpd.GeoDataFrame,
    earlier: Earlier,
    near: Near,
    faults: FaultList,
) -> gpd.GeoDataFrame:
    """Return the features with those that people drew on plots that are still there.

    Parameters
    ----------
    features
        Table of the new base, with ``osm`` and ``plot``.
    plots
        Plots of the new base, with ``id``.
    earlier
        The earlier base.
    near
        Keeps the rows that lie in the new base.
    faults
        Added to.

    Returns
    -------
    GeoDataFrame
        Columns as in `features`.
    """
    old = earlier.features
    if not len(old):
        return features
    there = old["plot"].isin(("", *plots["id"]))
    kept = near(old[(old["osm"] == "") & there].reset_index(drop=True))
    kept = _not_there_yet(kept, features)
    if not len(kept):
        return features
    faults.warn(
        earlier.where,
        _("Of its features {n_kept} were drawn by hand: they are carried over.").format(
            n_kept=len(kept)
        ),
        _(_LOOK),
    )
    return _together(features, kept)


def _alike(one: shapely.Geometry, other: shapely.Geometry) -> float:
    shared = shapely.area(shapely.intersection(one, other))
    return float(shared / (one.area + other.area - shared))


def _not_there_yet(kept: gpd.GeoDataFrame, there: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    if not len(kept) or not len(there):
        return kept
    known = set(shapely.to_wkb(shapely.normalize(there.geometry.to_numpy())))
    mine = shapely.to_wkb(shapely.normalize(kept.geometry.to_numpy()))
    return kept[[one not in known for one in mine]]


def _together(table: gpd.GeoDataFrame, more: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Add rows; what the table has and they have not is empty, or not known for numbers."""
    lacking = {
        name: np.nan if is_numeric_dtype(table[name]) else ""
        for name in table.columns
        if name not in more.columns
    }
    added = more.assign(**lacking)[list(table.columns)]
    if not len(table):
        return added.reset_index(drop=True)
    return gpd.GeoDataFrame(pd.concat([table, added], ignore_index=True), crs=table.crs)
