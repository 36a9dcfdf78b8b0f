"""Every source of what is on the plots, read one after the other."""

from collections.abc import Sequence

import geopandas as gpd
import numpy as np

from patchnet.core.cells import texts
from patchnet.core.fault_list import FaultList
from patchnet.core.texts import N_, _
from patchnet.knowledge.records import Knowledge
from patchnet.read.assign import assign_features
from patchnet.read.columns import Columns
from patchnet.read.crs import Projected
from patchnet.read.feature_sheet import Sheet
from patchnet.read.feature_table import match_plots, read_survey
from patchnet.read.layers import FeatureTable, Layers, SourceLayer
from patchnet.read.plots import Plots
from patchnet.read.table_columns import TableColumns

__all__ = ["read_drawn", "read_written"]

_WHICH_COLUMN = N_(
    "Call the column id, or say which it is: --column id=NAME on the command line, "
    "columns={'id': 'NAME'} in Python."
)


def read_written(
    layers: Layers,
    idents: Sequence[str],
    rows: Sequence[int],
    columns: TableColumns,
    knowledge: Knowledge,
    faults: FaultList,
) -> list[Sheet]:
    """Read what is written: the plots' own columns, and each table keyed by plot id.

    Parameters
    ----------
    layers
        What was read; ``plots`` must be there.
    idents
        Ids of the n plots.
    rows
        Position of each plot in the plots layer.
    columns
        Which column is which.
    knowledge
        For words and units.
    faults
        List that faults are added to.
    """
    features = tuple(knowledge.features)
    sheets = []
    if layers.plots is not None:
        at = {row: position for position, row in enumerate(rows)}
        of_plot = [at.get(row) for row in range(len(layers.plots.table))]
        places = [(row, None if p is None else idents[p]) for row, p in enumerate(of_plot, 1)]
        sheets.append(
            read_survey(
                layers.plots.table,
                columns.layers["plots"],
                of_plot,
                places,
                Sheet(layers.plots.where, len(idents), features),
                knowledge=knowledge,
                faults=faults,
            )
        )
    for table, found in zip(layers.tables, columns.tables, strict=True):
        sheet = Sheet(table.where, len(idents), features)
        _read_table(table, found, idents, sheet, knowledge, faults)
        if table.resolved:
            sheet.overrules, sheet.lists = True, False
        sheets.append(sheet)
    return sheets


def read_drawn(
    layer: SourceLayer | None,
    plots: Plots,
    projected: Projected,
    columns: TableColumns,
    knowledge: Knowledge,
    faults: FaultList,
) -> tuple[Sheet | None, gpd.GeoDataFrame]:
    """Read what is drawn: features with their own geometry (see `assign`).

    Parameters
    ----------
    layer
        The layer of features; None: there is none.
    plots
        The plots.
    projected
        Geometries in metres.
    columns
        Which column is what.
    knowledge
        For words and settings.
    faults
        Added to.

    Returns
    -------
    sheet
        What lies on each plot; None where nothing is drawn.
    drawn
        Columns ``plot``, ``feature``, ``amount`` (in the feature's unit) and the geometry.
    """
    nothing = gpd.GeoDataFrame(
        {"plot": [], "feature": [], "amount": np.empty(0)}, geometry=[], crs=projected.crs
    )
    if layer is None or "features" not in projected.geometry or not len(layer.table):
        return None, nothing
    role = dict(columns.layers["features"].role)
    if "features" not in role and "kind" in role:
        role["features"] = role["kind"]
    if "features" not in role:
        faults.error(
            layer.where,
            _("No column says what each mapped feature is."),
            _("Add a column feature (pond, hedge, tree ...)."),
        )
        return None, nothing
    idents = list(plots.table.index)
    named: list[int | None] = [None] * len(layer.table)
    if "plot" in role:
        cells = texts(layer.table[role["plot"]])
        named, __ = match_plots(
            cells, idents, where=layer.where, numbers=range(1, len(cells) + 1), faults=faults
        )
    sheet = Sheet(layer.where, len(idents), tuple(knowledge.features))
    sheet.lists = True
    drawn = assign_features(
        layer.table,
        projected.geometry["features"],
        Columns(role),
        named,
        plots.table.geometry.to_numpy(),
        idents,
        sheet,
        crs=projected.crs,
        knowledge=knowledge,
        faults=faults,
    )
    return sheet, drawn


def _read_table(
    table: FeatureTable,
    columns: Columns,
    idents: Sequence[str],
    sheet: Sheet,
    knowledge: Knowledge,
    faults: FaultList,
) -> None:
    if not len(table.table):
        return
    if "id" not in columns.role:
        faults.error(
            table.where, _("No column was recognised as the plots' ids."), _(_WHICH_COLUMN)
        )
        return
    if not columns.feature and not {"features", "seen"} & columns.role.keys():
        faults.error(
            table.where,
            _("No column was recognised as features."),
            _("Add a column features (pond; lawn 12), or one column for each feature."),
        )
        return
    cells = texts(table.table[columns.role["id"]])
    rows, places = match_plots(
        cells, idents, where=table.where, numbers=table.numbers, faults=faults
    )
    for at, (cell, number) in enumerate(zip(cells, table.numbers, strict=True)):
        if not cell and any(texts(table.table.iloc[at])):
            faults.error(
                table.where,
                _("The row has no plot id."),
                _("Fill it in, or delete the row."),
                row=number,
            )
    read_survey(table.table, columns, rows, places, sheet, knowledge=knowledge, faults=faults)
    told = set(rows)
    untold = [ident for at, ident in enumerate(idents) if at not in told]
    if untold and told != {None} and not table.resolved:
        more = (
            _(" and {n_untold} more").format(n_untold=len(untold) - 10) if len(untold) > 10 else ""
        )
        faults.warn(
            table.where,
            _("Plots without a row in it, of which it tells nothing: {untold}{more}.").format(
                untold=", ".join(untold[:10]), more=more
            ),
            _("Add a row for each, if anybody looked."),
        )
