"""What each patch is worth to its network: every measure of one patch, under its name.

A measure is a function of this file with `patch_measure` over it; the columns of exports and
whatever else shows measures of patches take them from here.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeAlias

import pandas as pd

from patchnet.core.texts import N_
from patchnet.network.betweenness import betweenness, weighted_betweenness
from patchnet.network.importance import patch_importance
from patchnet.network.patch_graph import PatchGraph

__all__ = ["PATCH_MEASURES", "PatchMeasure", "Whole", "measure_patches", "patch_measure"]


@dataclass(frozen=True)
class Whole:
    """What is known of the whole network.

    Parameters
    ----------
    p_cut
        Routes less likely than this (0-1) are left out (0-1).
    pc_numerator
        Sum over ordered pairs of a_i a_j p*_ij, homes squared.
    """

    p_cut: float
    pc_numerator: float


Of: TypeAlias = "Callable[[PatchGraph, Whole], pd.Series[float]]"


@dataclass(frozen=True)
class PatchMeasure:
    """One measure of patches.

    Parameters
    ----------
    key
        Its name, and the first part of its column (``ways_wren``).
    meaning, unit
        What it says in plain words, and its unit.
    of
        Works it out: a series on the patches' ids.
    """

    key: str
    meaning: str
    unit: str
    of: Of


PATCH_MEASURES: dict[str, PatchMeasure] = {}
"""Every measure by its key, in the order of the columns."""


def patch_measure(key: str, meaning: str, *, unit: str) -> Callable[[Of], Of]:
    """Make a function a measure of patches; see `PatchMeasure`.

    Parameters
    ----------
    key, meaning, unit
        Its name, what it says in plain words, and its unit.
    """

    def register(of: Of) -> Of:
        PATCH_MEASURES[key] = PatchMeasure(key, meaning, unit, of)
        return of

    return register


def measure_patches(patch_graph: PatchGraph, whole: Whole) -> pd.DataFrame:
    """Measure every patch of a network.

    Parameters
    ----------
    patch_graph
        n patches.
    whole
        What is known of the network.

    Returns
    -------
    DataFrame
        Index: patch ids. Columns loss, own, flow and connector (percent of the PC numerator; see
        `patch_importance`), and one for each of `PATCH_MEASURES`.

    Examples
    --------
    Three patches in a row: both ways between the ends pass the middle one.

    >>> import numpy as np
    >>> from patchnet.movement.distance import Pairs
    >>> from patchnet.network.build import patch_graph
    >>> pairs = Pairs(np.array([0, 1], "i4"), np.array([1, 2], "i4"), np.array([50_000, 50_000]))
    >>> row = patch_graph("abc", [2, 1, 3], pairs, hop_m=60, d50_m=50)
    >>> measure_patches(row, Whole(0.0001, 22.0))["ways"].to_dict()
    {'a': 0.0, 'b': 1.0, 'c': 0.0}
    """
    table = patch_importance(patch_graph, p_cut=whole.p_cut)
    found: Mapping[str, pd.Series[float]] = {
        key: one.of(patch_graph, whole) for key, one in PATCH_MEASURES.items()
    }
    return table.assign(**found)


@patch_measure(
    "traffic", N_("what runs over the patch between others"), unit="% of the PC numerator"
)
def traffic(patch_graph: PatchGraph, whole: Whole) -> "pd.Series[float]":
    """Weighted betweenness (Bodin and Saura 2010, Ecological Modelling 221:2393-2405).

    Parameters
    ----------
    patch_graph
        n patches.
    whole
        What is known of the network.
    """
    over = weighted_betweenness(patch_graph, p_cut=whole.p_cut)
    return 100 * over / whole.pc_numerator if whole.pc_numerator > 0 else 0 * over


@patch_measure("ways", N_("how many of the ways with fewest links pass the patch"), unit="ways")
def ways(patch_graph: PatchGraph, whole: Whole) -> "pd.Series[float]":
    """Betweenness (Freeman 1977, Sociometry 40:35-41).

    Parameters
    ----------
    patch_graph
        n patches.
    whole
        Not asked.
    """
    del whole
    return betweenness(patch_graph)
