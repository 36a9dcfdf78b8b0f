"""Which plots belong to one household: a front and a back garden are two plots of one house.

Where it is in doubt, plots are joined: then fewer households are counted, never too many.
"""

import re
from collections.abc import Collection, Hashable, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

__all__ = ["households"]

# What tells the parts of one house apart at the end of an id (IP-4F, 12 back, 7_front).
_PART = re.compile(r"(?i)(?:(?<=\d)[\s_./-]*[FB]|[\s_./-]+(?:front|back|rear)(?:\s+garden)?)$")
_WORDS = re.compile(r"(?i)\b(?:front|back|rear)(?:\s+garden)?\b|[\s,;()]+")


def households(
    plots: gpd.GeoDataFrame, *, fronts: Collection[str], backs: Collection[str], reach_m: float
) -> "pd.Series[str]":
    """Return the household of every plot: the id of its first plot.

    Parameters
    ----------
    plots
        Index plot; columns kind, label and geometry (metres).
    fronts, backs
        Kinds of plot that are the part before a house, and the part behind it.
    reach_m
        A front and a back garden without a common name belong together where they are each
        other's nearest and no further apart than this (a house lies between them).

    Returns
    -------
    Series
        Index as the plots'.
    """
    idents = [str(ident) for ident in plots.index]
    kinds = plots["kind"].astype(str).tolist()
    joined = _Joined(len(idents))
    halves = [at for at, kind in enumerate(kinds) if kind in {*fronts, *backs}]
    _join_alike(joined, halves, [_PART.sub("", ident) for ident in idents])
    labels = [_WORDS.sub(" ", str(label)).strip().casefold() for label in plots["label"]]
    _join_alike(joined, halves, [label if re.search(r"\d", label) else "" for label in labels])
    _join_near(
        joined,
        [kind in fronts for kind in kinds],
        [kind in backs for kind in kinds],
        plots,
        reach_m,
    )
    return pd.Series([idents[joined.first(at)] for at in range(len(idents))], index=plots.index)


class _Joined:
    """Sets that grow together; each is called by its first member."""

    def __init__(self, count: int) -> None:
        self._above = list(range(count))

    def first(self, at: int) -> int:
        while self._above[at] != at:
            at = self._above[at]
        return at

    def join(self, one: int, other: int) -> None:
        first, last = sorted((self.first(one), self.first(other)))
        self._above[last] = first


def _join_alike(joined: _Joined, halves: Sequence[int], words: Sequence[Hashable]) -> None:
    seen: dict[Hashable, int] = {}
    for at in halves:
        if words[at]:
            joined.join(seen.setdefault(words[at], at), at)


def _join_near(
    joined: _Joined,
    front: Sequence[bool],
    back: Sequence[bool],
    plots: gpd.GeoDataFrame,
    reach_m: float,
) -> None:
    sizes: dict[int, int] = {}
    for at in range(len(front)):
        sizes[joined.first(at)] = sizes.get(joined.first(at), 0) + 1
    alone = [at for at in range(len(front)) if sizes[joined.first(at)] == 1]
    fronts = [at for at in alone if front[at]]
    backs = [at for at in alone if back[at]]
    if not fronts or not backs:
        return
    shapes = plots.geometry.to_numpy()
    there = _nearest(shapes[fronts], shapes[backs], reach_m)
    again = _nearest(shapes[backs], shapes[fronts], reach_m)
    for at, other in there.items():
        if again.get(other) == at:
            joined.join(fronts[at], backs[other])


def _nearest(
    shapes: "np.ndarray[tuple[int], np.dtype[np.object_]]",
    others: "np.ndarray[tuple[int], np.dtype[np.object_]]",
    reach_m: float,
) -> dict[int, int]:
    found = shapely.STRtree(others).query_nearest(shapes, max_distance=reach_m, all_matches=False)
    return dict(found.T.tolist())
