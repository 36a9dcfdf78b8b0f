"""A street cut into stretches that fit one sheet and one round, each in walking order."""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.knowledge.records import Knowledge
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.street.stretches import walking_order

__all__ = ["Stretch", "stretches_of"]

_SHIFT = 2  # places that a cut may move to find a wider gap


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of street.

    Parameters
    ----------
    street
        Name of the street; empty where the plots name none.
    number, of
        Which stretch of how many in this street, from 1.
    plots
        Ids in walking order: up one side, back down the other.
    """

    street: str
    number: int
    of: int
    plots: tuple[str, ...]


def stretches_of(neighbourhood: Neighbourhood, knowledge: Knowledge) -> tuple[Stretch, ...]:
    """Cut every street into stretches.

    A stretch has at most ``settings/survey_stretch_plots`` plots and is at most
    ``settings/survey_stretch_m`` metres long (unless one plot alone is longer). Both sides of a
    street belong to one stretch. Streets come in the order in which the file first names them; a
    plot that names none goes with the nearest road.

    Parameters
    ----------
    neighbourhood
        Its plots and, for the way a street runs, its roads of the same name.
    knowledge
        For the two settings.
    """
    most = int(knowledge.setting("survey_stretch_plots"))
    longest = knowledge.setting("survey_stretch_m")
    beside = knowledge.setting("survey_beside_m")
    order = walking_order(neighbourhood)
    streets = order["street"].to_numpy()
    along = order["along"].to_numpy(dtype=np.float64)
    back = (order["side"] != _first_sides(order).reindex(streets).to_numpy()).to_numpy()
    depth = _depth(neighbourhood)
    found: list[Stretch] = []
    for street in dict.fromkeys(streets.tolist()):
        own = np.flatnonzero(streets == street)
        cuts = [own[run] for run in _cut(along[own], most, longest)]
        for number, members in enumerate(cuts, 1):
            up = _walk(members[~back[members]], along, depth, beside)
            down = _walk(members[back[members]], -along, depth, beside)
            ids = tuple(str(order.index[at]) for at in up + down)
            found.append(Stretch(street, number, len(cuts), ids))
    return tuple(found)


def _first_sides(order: pd.DataFrame) -> "pd.Series[str]":
    """Return, by street, the side that is walked first."""
    return order.groupby("street", sort=True)["side"].min()


def _depth(neighbourhood: Neighbourhood) -> NDArray[np.float64]:
    """Return how far the middles of plots lie from the nearest road, m (0 without roads)."""
    middles = shapely.centroid(neighbourhood.plots.geometry.to_numpy())
    roads = neighbourhood.roads.geometry.to_numpy()
    if not len(roads):
        return np.zeros(len(middles))
    nearest = shapely.STRtree(roads).nearest(middles)
    return np.asarray(shapely.distance(middles, roads[nearest]), dtype=np.float64)


def _cut(along: NDArray[np.float64], most: int, longest: float) -> list[NDArray[np.intp]]:
    """Cut places along a street into runs of about equal count, few and short enough.

    Each cut is moved to the widest gap near by, so that front and back of a house stay together.
    """
    order = np.argsort(along, kind="stable")
    pieces = math.ceil(len(order) / max(1, most - 2 * _SHIFT)) if len(order) > most else 1
    ends = [round(len(order) * piece / pieces) for piece in range(1, pieces)]
    waiting = np.split(order, [_widest(along[order], end) for end in ends])
    done: list[NDArray[np.intp]] = []
    while waiting:
        run = waiting.pop(0)
        if len(run) > 1 and along[run[-1]] - along[run[0]] > longest:
            middle = (along[run[0]] + along[run[-1]]) / 2
            at = _widest(along[run], int(np.searchsorted(along[run], middle)))
            waiting[:0] = [run[:at], run[at:]]
        elif len(run):
            done.append(run)
    return done


def _widest(places: NDArray[np.float64], at: int) -> int:
    """Return where, at most `_SHIFT` places from `at`, the gap before it is widest."""
    near = range(max(1, at - _SHIFT), min(len(places) - 1, at + _SHIFT) + 1)
    return max(near, key=lambda one: (places[one] - places[one - 1], -abs(one - at)), default=at)


def _walk(
    members: NDArray[np.intp],
    along: NDArray[np.float64],
    depth: NDArray[np.float64],
    beside: float,
) -> list[int]:
    """Order the plots of one side as they are walked past.

    Plots no further apart along the street than `beside` are one behind the other: nearest first.
    """
    own = sorted(members.tolist(), key=lambda at: (along[at], at))
    house: dict[int, int] = {}
    for before, at in zip([None, *own], own, strict=False):
        new = before is not None and along[at] - along[before] > beside
        house[at] = (house[before] if before is not None else 0) + new
    return sorted(own, key=lambda at: (house[at], depth[at], at))
