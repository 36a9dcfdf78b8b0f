"""In which country a neighbourhood lies."""

from collections import Counter

import geopandas as gpd
import pandas as pd
import pyproj

from patchnet.core.cells import texts
from patchnet.core.crs_change import change_of
from patchnet.knowledge.countries import country_at
from patchnet.knowledge.records import Knowledge
from patchnet.read.columns import Columns

__all__ = ["country_of"]


def country_of(
    table: pd.DataFrame,
    columns: Columns,
    plots: gpd.GeoDataFrame,
    crs: pyproj.CRS,
    knowledge: Knowledge,
) -> str:
    """Return its key: as most plots say, by the national grid they came in, or by the place.

    Parameters
    ----------
    table
        The layer of plots as it was read.
    columns
        Which column of it is which.
    plots
        The plots in metres.
    crs
        System that they came in.
    knowledge
        For the countries.
    """
    cells = texts(table[columns.role["country"]]) if "country" in columns.role else []
    said = Counter(cell for cell in cells if cell).most_common(1)
    west, south, east, north = plots.total_bounds
    change = change_of(plots.crs, "OGC:CRS84").transform
    place = change((west + east) / 2, (south + north) / 2)
    return country_at(
        knowledge.countries, said=said[0][0] if said else "", grid=crs.to_epsg(), place=place
    ).key
