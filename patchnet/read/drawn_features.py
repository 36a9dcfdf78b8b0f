"""Shapes that surveyors drew, among the features that are mapped with a place of their own."""

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd

from patchnet.core.cells import texts
from patchnet.read.crs import Projected
from patchnet.read.feature_sheet import Sheet
from patchnet.read.layers import SourceLayer

__all__ = ["still_there", "surveyed_shapes"]

_COLUMNS = ["geometry", "plot", "feature", "amount"]


def surveyed_shapes(layer: SourceLayer | None, projected: Projected) -> gpd.GeoDataFrame:
    """Return what surveyors drew as mapped features: geometry, plot, feature, amount.

    The amounts are counted already in what the survey came to (layer ``survey``).

    Parameters
    ----------
    layer
        The layer ``drawn`` of a merged file; None where there is none.
    projected
        For its shapes in metres.
    """
    if layer is None or "drawn" not in projected.geometry:
        return gpd.GeoDataFrame(
            {"plot": [], "feature": [], "amount": np.empty(0)}, geometry=[], crs=projected.crs
        )
    table = layer.table
    rows = pd.DataFrame(
        {
            "geometry": projected.geometry["drawn"],
            "plot": texts(table["plot"]),
            "feature": texts(table["feature"]),
            "amount": table["amount"].to_numpy(dtype=float),
        }
    )
    return gpd.GeoDataFrame(rows[_COLUMNS], geometry="geometry", crs=projected.crs)


def still_there(
    mapped: gpd.GeoDataFrame,
    drawn: gpd.GeoDataFrame,
    whole: Sheet,
    idents: Sequence[str],
    features: Sequence[str],
) -> gpd.GeoDataFrame:
    """Join mapped and drawn features, without those that are not there by all that was said.

    Where a surveyor drew a feature of a plot, the map's own shape of it is left out: it is the
    same thing, drawn on the spot.

    Parameters
    ----------
    mapped
        Features of the map, with ``plot`` and ``feature``.
    drawn
        From `surveyed_shapes`.
    whole
        What all sources together say.
    idents, features
        Ids of the plots, and feature keys, in the order of `whole`.
    """

    def standing(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        if not len(table):
            return table
        plots = pd.Index(idents).get_indexer(table["plot"])
        kinds = pd.Index(features).get_indexer(table["feature"])
        known = (plots >= 0) & (kinds >= 0)
        there = known & whole.there[plots, kinds]
        return table if there.all() else table[there].reset_index(drop=True)

    mapped, drawn = standing(mapped), standing(drawn)
    if not len(drawn):
        return mapped
    again = set(zip(drawn["plot"], drawn["feature"], strict=True))
    own = [pair not in again for pair in zip(mapped["plot"], mapped["feature"], strict=True)]
    rest = mapped[np.array(own, dtype=bool)] if len(mapped) else mapped
    if not len(rest):
        return drawn
    joined = pd.concat([rest, drawn], ignore_index=True)
    return gpd.GeoDataFrame(joined, geometry="geometry", crs=drawn.crs)
