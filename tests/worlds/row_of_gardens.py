"""A row of gardens small enough to check by hand, in the British national grid."""

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from patchnet.core.errors import DataFaults
from patchnet.knowledge import load_knowledge
from patchnet.read import build_neighbourhood

EAST, NORTH = 450_000.0, 210_000.0


def square(left, bottom=0.0, wide=20.0, high=30.0):
    return shapely.box(EAST + left, NORTH + bottom, EAST + left + wide, NORTH + bottom + high)


def plots_table(count=3, **columns):
    """Gardens of 20 x 30 m side by side, ids p1, p2 ..."""
    table = {"id": [f"p{at + 1}" for at in range(count)], "kind": ["garden"] * count}
    return gpd.GeoDataFrame(
        table | columns, geometry=[square(20.0 * at) for at in range(count)], crs="EPSG:27700"
    )


def layer(shapes, **columns):
    return gpd.GeoDataFrame(pd.DataFrame(columns), geometry=list(shapes), crs="EPSG:27700")


@pytest.fixture(scope="session")
def knowledge():
    return load_knowledge()


@pytest.fixture(scope="session")
def build(knowledge):
    def made(plots, **others):
        return build_neighbourhood(plots, knowledge=knowledge, **others)

    return made


@pytest.fixture(scope="session")
def faults_of(knowledge):
    """Every fault of the tables, whether or not there is an error among them."""

    def found(plots, **others):
        try:
            return build_neighbourhood(plots, knowledge=knowledge, **others).faults
        except DataFaults as error:
            return error.faults

    return found


@pytest.fixture(scope="session")
def street():
    """Give the makers of the row: `square`, `plots_table`, `layer`."""

    class Street:
        square = staticmethod(square)
        plots = staticmethod(plots_table)
        layer = staticmethod(layer)
        east, north = EAST, NORTH

    return Street
