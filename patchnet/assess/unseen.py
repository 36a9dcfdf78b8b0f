"""What cannot be seen from outside: taken to be there by houses, trees and planting.

Mortar, roofs, holes in trees and wood in the soil are never absent because nobody saw them. Until
somebody says what there is, so much of each is assumed as the table ``unseen.csv`` says of each
house, tree or m2 of planting.
"""

from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["Assumed", "houses_at", "unseen_amounts"]

Array = NDArray[np.float64]


class Assumed(NamedTuple):
    """Amounts of what cannot be seen, shape (n, F), 0 for all other features.

    Attributes
    ----------
    usual, most
        As the tables have it, and at the high end of its range.
    """

    usual: Array
    most: Array


def unseen_amounts(
    neighbourhood: Neighbourhood, knowledge: Knowledge, usual: Array, most: Array
) -> Assumed:
    """Return how much of what cannot be seen is taken to be there.

    Parameters
    ----------
    neighbourhood
        n plots, and the buildings.
    knowledge
        How much goes with what.
    usual, most
        Shape (n, F): amounts of what can be seen, as expected and at most.
    """
    at = {key: place for place, key in enumerate(knowledge.features)}
    houses = houses_at(neighbourhood, knowledge) if knowledge.unseen else np.zeros(len(usual))
    assumed = Assumed(np.zeros_like(usual), np.zeros_like(most))
    for one in knowledge.unseen:
        column = at[one.feature]
        beside = at.get(one.beside)
        for out, amounts, rate in (
            (assumed.usual, usual, one.amount.value),
            (assumed.most, most, one.amount.high),
        ):
            out[:, column] += rate * (houses if beside is None else amounts[:, beside])
    return assumed


def houses_at(neighbourhood: Neighbourhood, knowledge: Knowledge) -> Array:
    """Houses at each plot; the plots round a building share it alike.

    Plots in the street have no part in it. A building with more ground than a house usually has
    (``settings/house_ground_m2``) counts as several, a shed as none.

    Parameters
    ----------
    neighbourhood
        n plots, and the buildings.
    knowledge
        For the settings.

    Returns
    -------
    array
        Shape (n,), houses.
    """
    plots, buildings = neighbourhood.plots, neighbourhood.buildings
    houses = np.zeros(len(plots))
    footprint = buildings.geometry.area.to_numpy() if len(buildings) else np.zeros(0)
    large = footprint >= knowledge.setting("house_least_m2") if len(buildings) else footprint > 0
    if not large.any():
        return houses
    shapes = buildings.geometry.to_numpy()[large]
    number = np.maximum(1.0, footprint[large] / knowledge.setting("house_ground_m2"))
    mine = np.flatnonzero(~_in_street(plots, knowledge))
    tree = shapely.STRtree(plots.geometry.to_numpy()[mine])
    house, near = tree.query(
        shapes, predicate="dwithin", distance=knowledge.setting("house_near_m")
    )
    sharers = np.bincount(house, minlength=len(shapes))
    np.add.at(houses, mine[near], number[house] / sharers[house])
    return houses


def _in_street(plots: gpd.GeoDataFrame, knowledge: Knowledge) -> NDArray[np.bool_]:
    return np.array([knowledge.plot_is(str(kind), "in_street") for kind in plots["kind"]], bool)
