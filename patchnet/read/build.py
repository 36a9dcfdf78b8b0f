"""From raw layers to one checked neighbourhood: every check in its order, all faults at once."""

from collections.abc import Mapping, Sequence
from functools import lru_cache

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj

from patchnet.core.cells import texts
from patchnet.core.errors import DataFaults, WrongUse
from patchnet.core.fault_list import FaultList
from patchnet.core.texts import _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.read.answers import answers_of
from patchnet.read.assign import Shapes
from patchnet.read.base_map import read_barriers, read_named
from patchnet.read.columns import Columns, check_columns
from patchnet.read.country import country_of
from patchnet.read.crs import Projected, check_crs, parse_crs, to_metres
from patchnet.read.drawn_features import still_there, surveyed_shapes
from patchnet.read.feature_sheet import Sheet, lay_together
from patchnet.read.layers import FeatureTable, Layers, SourceLayer
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.read.plots import read_plots
from patchnet.read.region import region_of
from patchnet.read.sources import read_drawn, read_written
from patchnet.read.street_objects import read_speeds, read_street_objects
from patchnet.read.table_columns import TableColumns, columns_of

__all__ = ["build_neighbourhood", "neighbourhood_of"]

_MAPPED = (
    "plots", "features", "barriers", "buildings", "roads", "footways", "street_objects", "drawn",
)  # fmt: skip


def build_neighbourhood(
    plots: gpd.GeoDataFrame,
    *,
    features: pd.DataFrame | Sequence[pd.DataFrame] | None = None,
    barriers: gpd.GeoDataFrame | None = None,
    buildings: gpd.GeoDataFrame | None = None,
    roads: gpd.GeoDataFrame | None = None,
    footways: gpd.GeoDataFrame | None = None,
    street_objects: gpd.GeoDataFrame | None = None,
    columns: Mapping[str, str] | None = None,
    crs: str | pyproj.CRS | None = None,
    knowledge: Knowledge | None = None,
    name: str = "neighbourhood",
    region: str | None = None,
    credits: Sequence[str] = (),  # noqa: A002 - the word for lines of attribution
) -> Neighbourhood:
    """Check tables that are in memory and make one neighbourhood of them.

    Parameters
    ----------
    plots
        Outlines with an id (a column, or an index named ``plot`` or ``id``), and where known
        kind, label, street, how much was seen, features.
    features
        A table keyed by plot id, a GeoDataFrame of mapped features, or both in a list.
    barriers, buildings, roads, footways, street_objects
        Layers beside the plots, each with its CRS.
    columns
        Names of columns that are not recognised: ``{"id": "PARCEL_NO"}``.
    crs
        CRS of layers that have none.
    knowledge
        The tables; None: those that ship with patchnet.
    name
        What to call the neighbourhood.
    credits
        Lines of attribution.
    region
        Region that it lies in, which says what animals live there; None: as the plots say.

    Returns
    -------
    Neighbourhood
        In metres, with the warnings in `faults`; the tables given are not changed.

    Raises
    ------
    DataFaults
        If the data have errors: all of them at once, with the warnings.
    WrongUse
        If `columns` names a field, `crs` a system, or `region` a region, that does not exist.

    Examples
    --------
    >>> import geopandas, patchnet, shapely
    >>> outlines = [shapely.box(0, 0, 10, 30), shapely.box(10, 0, 20, 30)]
    >>> said = {"id": ["1", "2"], "kind": "garden", "features": ["pond 3", "no pond"]}
    >>> plots = geopandas.GeoDataFrame(said, geometry=outlines, crs="EPSG:27700")
    >>> patchnet.build_neighbourhood(plots).answers.answer("2", "pond")
    'not there'
    """
    knowledge = knowledge or load_knowledge()
    given = [features] if isinstance(features, pd.DataFrame) else list(features or ())
    mapped = [one for one in given if isinstance(one, gpd.GeoDataFrame)]
    if len(mapped) > 1:
        raise WrongUse(_("There can be only one GeoDataFrame of features: join them."))
    layers = Layers(
        name=name,
        plots=_layer("plots", plots),
        features=_layer("features", mapped[0] if mapped else None),
        barriers=_layer("barriers", barriers),
        buildings=_layer("buildings", buildings),
        roads=_layer("roads", roads),
        footways=_layer("footways", footways),
        street_objects=_layer("street_objects", street_objects),
        tables=tuple(
            FeatureTable("features", _index_as_column(one))
            for one in given
            if not isinstance(one, gpd.GeoDataFrame)
        ),
        credits=tuple(credits),
    )
    faults = FaultList()
    found = neighbourhood_of(
        layers, columns=columns, crs=crs, knowledge=knowledge, faults=faults, region=region
    )
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
    region: str | None = None,
    metres: pyproj.CRS | None = None,
) -> Neighbourhood | None:
    """Check raw layers; every fault is added to `faults`.

    `metres` is the CRS to work in; None: chosen by the plots.

    Returns
    -------
    Neighbourhood or None
        What could be made of the rows without error; None where no plot could. It is of use
        for counting only while there are errors.

    Raises
    ------
    WrongUse
        If `columns`, `crs` or `region` names what does not exist.
    """
    said_columns = check_columns(columns, knowledge)
    said_crs = parse_crs(crs)
    mapped = {key: layer for key in _MAPPED if (layer := getattr(layers, key)) is not None}
    _warn_empty(mapped, layers.tables, faults)
    if layers.plots is None:
        if not faults.errors:
            faults.error(layers.name, _("There is no layer of plots."), _("Add one called plots."))
        return None
    if not len(layers.plots.table):
        faults.error(
            layers.plots.where, _("The layer of plots has no row."), _("Draw the plots in it.")
        )
        return None
    found = columns_of(layers, said_columns, knowledge, faults)
    known_crs = check_crs(
        {key: one for key, one in mapped.items() if len(one.table)}, said_crs, knowledge, faults
    )
    if "plots" not in known_crs:
        _check_words(layers, found, knowledge, faults)
        return None
    projected = to_metres(mapped, known_crs, knowledge, faults, metres=metres)
    plots = read_plots(
        layers.plots.table,
        projected.geometry["plots"],
        found.layers["plots"],
        where=layers.plots.where,
        crs=projected.crs,
        knowledge=knowledge,
        faults=faults,
    )
    base = _base_map(layers, projected, found, knowledge, faults)
    if plots is None or not len(plots.table):
        return None
    idents = list(plots.table.index)
    sheets = read_written(layers, idents, plots.rows.tolist(), found, knowledge, faults)
    sheet, drawn = read_drawn(layers.features, plots, projected, found, knowledge, faults)
    if sheet is not None:
        sheets.append(sheet)
    features = tuple(knowledge.features)
    whole = lay_together(sheets, idents, features, faults)
    drawn = still_there(drawn, surveyed_shapes(layers.drawn, projected), whole, idents, features)
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
    country = country_of(
        layers.plots.table, found.layers["plots"], plots.table, known_crs["plots"], knowledge
    )
    region = region_of(
        region,
        layers.plots.table,
        found.layers["plots"],
        country,
        where=layers.plots.where,
        knowledge=knowledge,
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
        country=country,
        region=region,
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
        faults.warn(
            where,
            _("The layer of {key} has no row.").format(key=key),
            _("Leave it out, or fill it."),
        )


def _check_words(
    layers: Layers, columns: TableColumns, knowledge: Knowledge, faults: FaultList
) -> None:
    """Check what is written where the coordinates are of no use, so that all is told at once."""
    if layers.plots is not None and "id" in columns.layers["plots"].role:
        idents = texts(layers.plots.table[columns.layers["plots"].role["id"]])
        read_written(layers, idents, range(len(idents)), columns, knowledge, faults)


def _base_map(
    layers: Layers,
    projected: Projected,
    columns: TableColumns,
    knowledge: Knowledge,
    faults: FaultList,
) -> dict[str, gpd.GeoDataFrame]:
    base: dict[str, gpd.GeoDataFrame] = {}
    for key in ("barriers", "buildings", "roads", "footways", "street_objects"):
        layer: SourceLayer | None = getattr(layers, key)
        if layer is None or key not in projected.geometry:
            base[key] = _no_layer(key, projected.crs).copy()
            continue
        base[key] = _base_layer(
            key, layer.table, projected.geometry[key], columns.layers[key],
            where=layer.where, crs=projected.crs, knowledge=knowledge, faults=faults,
        )  # fmt: skip
    if layers.street_objects is None:
        # No layer is different from an empty one: nobody has looked for covers, doors and drives.
        del base["street_objects"]
    return base


def _base_layer(
    key: str,
    table: pd.DataFrame,
    shapes: Shapes,
    found: Columns,
    *,
    where: str,
    crs: pyproj.CRS,
    knowledge: Knowledge,
    faults: FaultList,
) -> gpd.GeoDataFrame:
    if key in {"barriers", "street_objects"}:
        read = read_barriers if key == "barriers" else read_street_objects
        return read(table, shapes, found, where=where, crs=crs, knowledge=knowledge, faults=faults)
    named = read_named(
        table, shapes, found, where=where, crs=crs, areas_only=key == "buildings",
        knowledge=knowledge, faults=faults,
    )  # fmt: skip
    if key == "roads":
        return named.assign(speed_mph=read_speeds(table, shapes, found, where=where, faults=faults))
    return named


@lru_cache(maxsize=32)
def _no_layer(key: str, crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """What is read of a layer that nobody gave: its columns, and no row."""
    return _base_layer(
        key, pd.DataFrame(), np.empty(0, dtype=object), Columns({}),
        where=key, crs=crs, knowledge=load_knowledge(), faults=FaultList(),
    )  # fmt: skip


def _warn_unlisted(
    sheets: Sequence[Sheet], whole: Sheet, layers: Layers, faults: FaultList
) -> None:
    """Say once that what nobody mentioned is not known, where nobody said that all was seen."""
    where = layers.plots.where if layers.plots else layers.name
    if not whole.there.any() and not whole.absent.any() and not whole.everything.any():
        faults.warn(
            where,
            _("Nothing says what is on any plot, so nothing is known."),
            _(
                "Survey it (patchnet survey FILE -o DIR), or add a column features (pond; lawn "
                "12), a table with --features, or a layer features."
            ),
        )
    elif not whole.everything.any() and any(sheet.lists for sheet in sheets):
        faults.warn(
            where,
            _("No plot is marked as wholly seen, so what is not listed counts as not known."),
            _(
                "Where everything was looked at, write all in a column seen, or end the list with "
                "'nothing else'."
            ),
        )
