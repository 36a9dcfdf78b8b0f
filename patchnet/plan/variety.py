"""Variety between neighbours: which share of a street's kinds of plant each plot has.

The kinds of plant are dealt into a few shares (``settings/planting_shares``), and so are the
plots: one after the other in the order of their ids, each gets the share that its neighbours have
least of, and no share goes to more than its part of all plots. A plot's planting takes the kinds
of its own share first. So no kind is planted on more plots than its part, neighbours have
different ones, and what a plot is told does not hang on which others were asked, or when. Kinds on
the list ``thread`` belong to all shares: they are meant to be in many plots.
"""

import functools
import re
import zlib
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from patchnet.knowledge.records import Knowledge, Plant
from patchnet.plan.planting_fits import Option, Site, side_of
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["deal", "of_share", "plant_shares", "plot_shares"]

_NEAREST = 12  # neighbours looked at, beside the bound on distance


def plot_shares(neighbourhood: Neighbourhood, knowledge: Knowledge) -> Mapping[str, int]:
    """Return the share of each plot, 0, 1 ...: greedy colouring of the graph of near plots.

    Parameters
    ----------
    neighbourhood
        For the plots.
    knowledge
        For how many shares there are and how near neighbours are (m).
    """
    plots = neighbourhood.plots
    middle = shapely.get_coordinates(shapely.centroid(plots.geometry.to_numpy()))
    ids = [str(plot) for plot in plots.index]
    return dict(zip(ids, deal(ids, middle, knowledge), strict=True))


def deal(ids: Sequence[str], middle: NDArray[np.float64], knowledge: Knowledge) -> list[int]:
    """Deal shares, 0, 1 ..., among places: each gets what its neighbours have least of.

    Parameters
    ----------
    ids
        Names of the n places, in whose order one walks.
    middle
        Shape (n, 2), m: where they are.
    knowledge
        For how many shares there are and how near neighbours are (m).
    """
    from scipy.spatial import KDTree

    if not ids:
        return []
    count = int(knowledge.setting("planting_shares"))
    most = -(-len(ids) // count)
    share = np.full(len(ids), -1)
    total = np.zeros(count, dtype=np.int64)
    away, near = KDTree(middle).query(
        middle,
        k=min(_NEAREST + 1, len(ids)),
        distance_upper_bound=knowledge.setting("planting_near_m"),
    )
    away, near = away.reshape(len(ids), -1), near.reshape(len(ids), -1)
    for at in sorted(range(len(ids)), key=lambda k: _walked(ids[k])):
        pull = np.zeros(count)
        for metres, other in zip(away[at], near[at], strict=True):
            if other < len(ids) and other != at and share[other] >= 0:
                pull[share[other]] += 1 / max(metres, 1.0)
        turn = zlib.crc32(ids[at].encode()) % count
        alike = [round(one, 9) for one in pull.tolist()]
        open_to = [one for one in range(count) if total[one] < most]
        _, _, _, share[at] = min(
            (alike[one], int(total[one]), (one - turn) % count, one) for one in open_to
        )
        total[share[at]] += 1
    return [int(one) for one in share]


def _walked(plot: str) -> tuple[tuple[int, int, str], ...]:
    """Order in which one walks by: numbers as numbers, so that 9 comes before 10."""
    return tuple(
        (0, int(part), "") if part.isdigit() else (1, 0, part.casefold())
        for part in re.findall(r"\d+|\D+", plot)
    )


@functools.lru_cache(maxsize=8)
def plant_shares(knowledge: Knowledge) -> Mapping[str, int | None]:
    """Return the share of each kind of plant; None: it belongs to all.

    Dealt within each stratum, light and moisture in the order in which they flower, so that each
    share has something of each, early and late.

    Parameters
    ----------
    knowledge
        For the plants and how many shares there are.
    """
    count = int(knowledge.setting("planting_shares"))
    groups: dict[tuple[str, str, str], list[Plant]] = {}
    for plant in knowledge.plants.values():
        groups.setdefault((plant.tier, plant.light, side_of(plant.soil)), []).append(plant)
    shares: dict[str, int | None] = {}
    for turn, members in enumerate(groups[key] for key in sorted(groups)):
        members.sort(key=lambda one: (one.flower_start, one.key))
        for at, plant in enumerate(members):
            shares[plant.key] = (at + turn) % count
    for key in knowledge.plant_lists.get("thread", {}):
        shares[key] = None
    return shares


def of_share(
    knowledge: Knowledge, options: Sequence[Option], share: int | None, places: Sequence[Site]
) -> tuple[Option, ...]:
    """Return the options of a plot's share of the kinds.

    Others stay only where a place takes few kinds (fruit trees, plugs in a lawn) and too few of
    its layer are of the share, or where nothing at all would be planted without them.

    Parameters
    ----------
    options
        Every plant in every place it fits.
    share
        Share of the plot; None: all options stay.
    places
        What is planted.
    """
    if share is None:
        return tuple(options)
    dealt = plant_shares(knowledge)
    ours = [dealt.get(one.plant.key) in (share, None) for one in options]
    layers = Counter(
        (one.site, one.tier) for one, own in zip(options, ours, strict=True) if own
    )  # fmt: skip
    planted = {site for site, _ in layers}
    least = knowledge.setting("planting_kinds_least")
    return tuple(
        replace(one, ours=own)
        for one, own in zip(options, ours, strict=True)
        if own
        or one.site not in planted
        or (
            places[one.site].place.only is not None and layers[one.site, one.tier] < least
        )
    )  # fmt: skip
