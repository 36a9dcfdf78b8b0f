"""From raw layers to one checked neighbourhood: every check in its order, all faults at once."""

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
from numpy.typing import NDArray

from patchnet.errors import DataFaults, WrongUse
from patchnet.faults import nearest_hint
from patchnet.ground.answers import answers_of
from patchnet.ground.assign import assign_features
from patchnet.ground.base_map import read_barriers, read_named
from patchnet.ground.cells import texts
from patchnet.ground.columns import Columns, check_columns, find_columns
from patchnet.ground.crs import Projected, check_crs, parse_crs, to_metres
from patchnet.ground.fault_list import FaultList
from patchnet.ground.layers import FeatureTable, Layers, SourceLayer
from patchnet.ground.neighbourhood import Neighbourhood
from patchnet.ground.plots import Plots, read_plots
from patchnet.ground.sheets import Sheet, lay_together
from patchnet.ground.survey import match_plots, read_survey
from patchnet.knowledge.records import Knowledge

__all__ = ["build_neighbourhood", "neighbourhood_of"]

_MAPPED = ("plots", "features", "barriers", "buildings", "roads", "footways")
_PLOT_ROLES = ("id", "kind", "label", "street", "seen", "features")
_TABLE_ROLES = ("id", "seen", "features", "amount")


def build_neighbourhood(
    plots: gpd.GeoDataFrame,
    *,
    features: pd.DataFrame | Sequence[pd.DataFrame] | None = None,
    barriers: gpd.GeoDataFrame | None = None,
    buildings: gpd.GeoDataFrame | None = None,
    roads: gpd.GeoDataFrame | None = None,
    footways: gpd.GeoDataFrame | None = None,
    columns: Mapping[str, str] | None = None,
    crs: str | pyproj.CRS | None = None,
    knowledge: Knowledge,
    name: str = "neighbourhood",
    credits: Sequence[str] = (),  # noqa: A002 - the word for lines of attribution
) -> Neighbourhood:
    """Check tables that are in memory and make one neighbourhood of them.

    Parameters
    ----------
    plots
        Outlines with an id (a column, or an index named ``plot`` or ``id``), and where known
        kind, label, street, how much was seen, features.
    features
        A DataFrame keyed by plot id, a GeoDataFrame of mapped features, or both in a list.
    barriers, buildings, roads, footways
        Layers beside the plots, each with its CRS.
    columns
        Names of columns that are not recognised: ``{"id": "PARCEL_NO"}``.
    crs
        CRS of layers that have none.
    knowledge
        The tables.
    name
        What to call the neighbourhood.
    credits
        Lines of attribution.

    Returns
    -------
    Neighbourhood
        In metres, with the warnings in `faults`; the tables given are not changed.

    Raises
    ------
    DataFaults
        If the data have errors: all of them at once, with the warnings.
    WrongUse
        If `columns` names a field, or `crs` a system, that does not exist.
    """
    given = [features] if isinstance(features, pd.DataFrame) else list(features or ())
    mapped = [one for one in given if isinstance(one, gpd.GeoDataFrame)]
    if len(mapped) > 1:
        raise WrongUse("There can be only one GeoDataFrame of features: join them.")
    layers = Layers(
        name=name,
        plots=_layer("plots", plots),
        features=_layer("features", mapped[0] if mapped else None),
        barriers=_layer("barriers", barriers),
        buildings=_layer("buildings", buildings),
        roads=_layer("roads", roads),
        footways=_layer("footways", footways),
        tables=tuple(
            FeatureTable("features", _index_as_column(one))
            for one in given
            if not isinstance(one, gpd.GeoDataFrame)
        ),
        credits=tuple(credits),
    )
    faults = FaultList()
    found = neighbourhood_of(layers, columns=columns, crs=crs, knowledge=knowledge, faults=faults)
    if found is None or faults.errors:
        raise DataFaults(faults.faults)
    return found


def neighbourhood_of(
    layers: Layers,
    *,
    columns: Mapping[str, str] | None,
    crs: str | pyproj.CRS | None,
    knowledge: Knowledge,
    faults: FaultList,
) -> Neighbourhood | None:
    """Check raw layers; every fault is added to `faults`.

    Returns
    -------
    Neighbourhood or None
        What could be made of the rows without error; None where no plot could. It is of use
        for counting only while there are errors.

    Raises
    ------
    WrongUse
        If `columns` or `crs` names what does not exist.
    """
    said_columns = check_columns(columns, knowledge)
    said_crs = parse_crs(crs)
    mapped = {key: layer for key in _MAPPED if (layer := getattr(layers, key)) is not None}
    _warn_empty(mapped, layers.tables, faults)
    if layers.plots is None:
        if not faults.errors:
            faults.error(layers.name, "There is no layer of plots.", "Add one called plots.")
        return None
    if not len(layers.plots.table):
        faults.error(layers.plots.where, "The layer of plots has no row.", "Draw the plots in it.")
        return None
    found = _Columns(layers, said_columns, knowledge, faults)
    known_crs = check_crs(
        {key: one for key, one in mapped.items() if len(one.table)}, said_crs, faults
    )
    if "plots" not in known_crs:
        _check_without_place(layers, found, knowledge, faults)
        return None
    projected = to_metres(mapped, known_crs, knowledge, faults)
    plots = read_plots(
        layers.plots.table,
        projected.geometry["plots"],
        found.plots,
        where=layers.plots.where,
        crs=projected.crs,
        knowledge=knowledge,
        faults=faults,
    )
    base = _base_map(layers, projected, knowledge, faults)
    if plots is None or not len(plots.table):
        return None
    sheets, drawn = _sheets(layers, plots, projected, found, knowledge, faults)
    idents = list(plots.table.index)
    features = tuple(knowledge.features)
    whole = lay_together(sheets, idents, features, faults)
    _warn_unlisted(sheets, whole, layers, faults)
    answers = answers_of(
        whole,
        plots.table.index,
        list(plots.table["kind"]),
        plots.table["area_m2"].to_numpy(),
        plots.places,
        knowledge=knowledge,
        where=layers.plots.where,
        faults=faults,
    )
    return Neighbourhood(
        name=layers.name,
        plots=plots.table,
        answers=answers,
        features=drawn,
        **base,
        credits=layers.credits,
        faults=faults.faults,
        source_crs=projected.source_crs,
    )


def _layer(name: str, table: gpd.GeoDataFrame | None) -> SourceLayer | None:
    if table is None:
        return None
    whole = _index_as_column(table)
    return SourceLayer(name, whole, says_crs=table.crs is not None)


def _index_as_column(table: pd.DataFrame) -> pd.DataFrame:
    """Return a copy in which an index with a name is a column (ids are often kept there)."""
    name = table.index.name
    if name is None or name in table.columns:
        return table.reset_index(drop=True)
    return table.reset_index()


def _warn_empty(
    mapped: Mapping[str, SourceLayer], tables: Sequence[FeatureTable], faults: FaultList
) -> None:
    empty = [(k, v.where) for k, v in mapped.items() if not len(v.table) and k != "plots"]
    empty += [("features", one.where) for one in tables if not len(one.table)]
    for key, where in empty:
        faults.warn(where, f"The layer of {key} has no row.", "Leave it out, or fill it.")


class _Columns:
    """Columns of the plots and of each table of features; the user's own names looked up."""

    def __init__(
        self,
        layers: Layers,
        said: Mapping[str, str],
        knowledge: Knowledge,
        faults: FaultList,
    ) -> None:
        plots = layers.plots
        tables = ([(plots.where, plots.table, _PLOT_ROLES)] if plots else []) + [
            (one.where, one.table, _TABLE_ROLES) for one in layers.tables
        ]
        found = [
            find_columns(table, roles, knowledge, said=said, with_features=True)
            for _, table, roles in tables
        ]
        self.plots = found[0]
        self.tables = found[1:]
        others = {
            "barriers": ("kind", "gap", "height"),
            "features": ("plot", "features", "kind", "amount"),
        }
        elsewhere: set[str] = set()
        for key, roles in others.items():
            layer = getattr(layers, key)
            if layer is not None:
                one = find_columns(layer.table, roles, knowledge, said=said, with_features=False)
                elsewhere |= set(said) & set(roles) - set(one.missing)
        for key, column in said.items():
            if key in elsewhere or any(
                key in c.role or key in c.feature.values() for c in found if key not in c.missing
            ):
                continue
            names = [str(name) for name in tables[0][1].columns if name != "geometry"]
            faults.error(
                tables[0][0],
                f"There is no column {column!r} (for {key}).{nearest_hint(column, names)}",
                f"The columns are {', '.join(names[:20])}.",
            )
        for (where, _, _), one in zip(tables, found, strict=True):
            for name, key in one.misspelt.items():
                faults.warn(
                    where,
                    f"The column '{name}' was not read; did you mean the feature {key}?",
                    f"Call it {key}.",
                )
            for name, key in one.unreadable.items():
                faults.warn(
                    where,
                    f"The column '{name}' is called like the feature {key}, but holds no yes, no "
                    "or amount: it was not read.",
                    "Give it another name, or write yes, no or amounts in it.",
                )


def _check_without_place(
    layers: Layers, found: _Columns, knowledge: Knowledge, faults: FaultList
) -> None:
    """Check the words where the coordinates are of no use, so that all faults are told at once."""
    plots = layers.plots
    if plots is None or "id" not in found.plots.role:
        return
    idents = texts(plots.table[found.plots.role["id"]])
    places = [(row, ident or None) for row, ident in enumerate(idents, 1)]
    sheet = Sheet(plots.where, len(idents), tuple(knowledge.features))
    read_survey(
        plots.table, found.plots, range(len(idents)), places, sheet,
        knowledge=knowledge, faults=faults,
    )  # fmt: skip


def _base_map(
    layers: Layers, projected: Projected, knowledge: Knowledge, faults: FaultList
) -> dict[str, gpd.GeoDataFrame]:
    crs = projected.crs
    nothing = np.empty(0, dtype=object)
    base = {}
    for key in ("barriers", "buildings", "roads", "footways"):
        layer = getattr(layers, key)
        placed = layer is not None and key in projected.geometry
        table = layer.table if placed else pd.DataFrame({"name": [], "kind": []})
        shapes: NDArray[np.object_] = projected.geometry[key] if placed else nothing
        where = layer.where if placed else key
        roles = ("kind", "gap", "height") if key == "barriers" else ("label",)
        if key == "barriers" and "kind" not in table.columns and "barrier" in table.columns:
            table = table.rename(columns={"barrier": "kind"})
        columns = find_columns(table, roles, knowledge, said={}, with_features=False)
        if key == "barriers":
            base[key] = read_barriers(
                table, shapes, columns, where=where, crs=crs, knowledge=knowledge, faults=faults
            )
        else:
            base[key] = read_named(
                table, shapes, columns, where=where, crs=crs,
                areas_only=key == "buildings", faults=faults,
            )  # fmt: skip
    return base


def _sheets(
    layers: Layers,
    plots: Plots,
    projected: Projected,
    found: _Columns,
    knowledge: Knowledge,
    faults: FaultList,
) -> tuple[list[Sheet], gpd.GeoDataFrame]:
    """Read every source of features: the plots' columns, tables, mapped features."""
    features = tuple(knowledge.features)
    idents = list(plots.table.index)
    source = layers.plots
    sheets = []
    if source is not None:
        at = {int(row): position for position, row in enumerate(plots.rows)}
        rows = [at.get(row) for row in range(len(source.table))]
        row_places = [(row + 1, idents[p] if p is not None else None) for row, p in enumerate(rows)]
        sheet = Sheet(source.where, len(idents), features)
        sheets.append(
            read_survey(
                source.table,
                found.plots,
                rows,
                row_places,
                sheet,
                knowledge=knowledge,
                faults=faults,
            )  # fmt: skip
        )
    for table, columns in zip(layers.tables, found.tables, strict=True):
        sheet = Sheet(table.where, len(idents), features)
        _read_table(table, columns, idents, sheet, knowledge, faults)
        sheets.append(sheet)
    drawn = gpd.GeoDataFrame(
        {"plot": [], "feature": [], "amount": []}, geometry=[], crs=projected.crs
    )
    if layers.features is not None and "features" in projected.geometry:
        sheet = Sheet(layers.features.where, len(idents), features)
        drawn = _read_mapped(layers.features, plots, projected, sheet, knowledge, faults)
        sheets.append(sheet)
    return sheets, drawn


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
        if "id" not in columns.missing:
            faults.error(
                table.where,
                "No column was recognised as the plots' ids.",
                "Call the column id, or say which it is: --column id=NAME on the command line, "
                "columns={'id': 'NAME'} in Python.",
            )
        return
    cells = texts(table.table[columns.role["id"]])
    rows, places = match_plots(
        cells, idents, where=table.where, first_row=table.first_row, faults=faults
    )
    if not columns.feature and "features" not in columns.role and "seen" not in columns.role:
        faults.error(
            table.where,
            "No column was recognised as features.",
            "Add a column features (pond; lawn 12), or one column for each feature.",
        )
        return
    for row, cell in enumerate(cells):
        if not cell and any(texts(table.table.iloc[row])):
            faults.error(
                table.where, "The row has no plot id.", "Fill it in, or delete the row.",
                row=row + table.first_row,
            )  # fmt: skip
    read_survey(table.table, columns, rows, places, sheet, knowledge=knowledge, faults=faults)
    told = {row for row in rows if row is not None}
    untold = [((0, idents[at]), "") for at in range(len(idents)) if at not in told]
    if untold and told:
        some = ", ".join(str(place[1]) for place, _ in untold[:10])
        more = f" and {len(untold) - 10} more" if len(untold) > 10 else ""
        faults.warn(
            table.where,
            f"{len(untold)} plots have no row in it, so it tells nothing of them: {some}{more}.",
            "Add a row for each, if anybody looked.",
        )


def _read_mapped(
    layer: SourceLayer,
    plots: Plots,
    projected: Projected,
    sheet: Sheet,
    knowledge: Knowledge,
    faults: FaultList,
) -> gpd.GeoDataFrame:
    columns = find_columns(
        layer.table, ("plot", "features", "kind", "amount"), knowledge, said={}, with_features=False
    )
    role = dict(columns.role)
    if "features" not in role and "kind" in role:
        role["features"] = role["kind"]
    idents = list(plots.table.index)
    if "features" not in role:
        faults.error(
            layer.where,
            "No column says what each mapped feature is.",
            "Add a column feature (pond, hedge, tree ...).",
        )
        return gpd.GeoDataFrame(
            {"plot": [], "feature": [], "amount": []}, geometry=[], crs=projected.crs
        )
    named: list[int | None] = [None] * len(layer.table)
    if "plot" in role:
        cells = texts(layer.table[role["plot"]])
        if any(cells):
            named, _ = match_plots(cells, idents, where=layer.where, first_row=1, faults=faults)
    return assign_features(
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


def _warn_unlisted(
    sheets: Sequence[Sheet], whole: Sheet, layers: Layers, faults: FaultList
) -> None:
    """Say once that what nobody mentioned is not known, where nobody said that all was seen."""
    where = layers.plots.where if layers.plots else layers.name
    if not whole.there.any() and not whole.absent.any() and not whole.everything.any():
        faults.warn(
            where,
            "Nothing is said of what is on any plot: everything is not known.",
            "Add a column features (pond; lawn 12), a table with --features, or a layer features.",
        )
    elif not whole.everything.any() and not any(sheet.absent.any() for sheet in sheets):
        faults.warn(
            where,
            "No plot is marked as wholly seen, so what is not listed counts as not known.",
            "Where everything was looked at, write all in a column seen, or end the list with "
            "'nothing else'.",
        )
