"""Breaks between components: how wide, and what closing each would win."""

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.movement.distance import Pairs
from patchnet.network.adjacency import components
from patchnet.network.patch_graph import PatchGraph
from patchnet.network.routes import route_sums

__all__ = ["ComponentBreak", "component_breaks"]


@dataclass(frozen=True, slots=True)
class ComponentBreak:
    """The narrowest place between two components.

    Attributes
    ----------
    i, j
        The two patches facing each other, positions in ``patch_graph.ids``, i < j.
    width_m
        Edge to edge, metres.
    stones
        The least number of stepping stones that makes every hop short enough.
    homes_won
        Linked homes won if it were closed by stones that hold no homes.
    homes_i, homes_j
        Homes in the component of i and of j.
    """

    i: int
    j: int
    width_m: float
    stones: int
    homes_won: float
    homes_i: float
    homes_j: float


def component_breaks(
    patch_graph: PatchGraph,
    pairs: Pairs,
    *,
    hop_m: float,
    longest_m: float,
    p_cut: float,
    compiled: bool | None = None,
) -> list[ComponentBreak]:
    r"""Find where components face each other, and what a way across would win.

    Joined at u-v over a width L, two components win :math:`2 p(L) f_u f_v` in the PC numerator
    (see `patchnet.network.measures.flow`), so linked homes grow from sqrt(PC) to
    sqrt(PC + 2 p f_u f_v). A break of L in hops of h needs ceil(L / h) - 1 stops; the kernel
    exp(-k L) has no memory, so stops of no size on the straight line leave p(L) as it is: it
    is the hop that they make possible (Saura and Pascual-Hortal 2007, Landscape and Urban
    Planning 83:91-103; Saura et al. 2011, Ecological Indicators 11:407-416).

    Parameters
    ----------
    patch_graph
        n patches.
    pairs
        Distances among the patches, at least up to `longest_m`.
    hop_m
        Widest distance crossed in one move, metres, > 0.
    longest_m
        Widest break that is looked at, metres.
    p_cut
        Routes less likely than this (0-1) are left out of the flows.
    compiled
        True, False, or None: whichever is quicker for the size.

    Returns
    -------
    list of ComponentBreak
        One for each two components, at the narrowest pair of patches (ties: the one that wins
        more, then by ids); the break that wins most first, then the narrowest.

    Raises
    ------
    WrongUse
        If the hop is not above 0.

    Examples
    --------
    Two patches of 2 and 3 homes, 100 m apart, half arrive after 50 m: p = 1/4. Linked homes
    grow from sqrt 13 to sqrt(13 + 2 x 6 / 4) = 4.

    >>> from patchnet.network.build import patch_graph
    >>> pairs = Pairs(np.array([0], "i4"), np.array([1], "i4"), np.array([100_000]))
    >>> two = patch_graph(["a", "b"], [2, 3], pairs, hop_m=60, d50_m=50)
    >>> [one] = component_breaks(two, pairs, hop_m=60, longest_m=200, p_cut=0)
    >>> one.width_m, one.stones, round(one.homes_won, 6)
    (100.0, 1, 0.394449)
    """
    if not (np.isfinite(hop_m) and round(hop_m * 1000) > 0):
        raise WrongUse(
            _("The hop must be a number of metres above 0, not {hop_m}.").format(hop_m=hop_m)
        )
    homes, label = components(patch_graph)
    apart = (label[pairs.i] != label[pairs.j]) & (pairs.length_mm <= round(longest_m * 1000))
    if not apart.any():
        return []
    flow = route_sums(patch_graph, p_cut=p_cut, compiled=compiled).flow
    pc_numerator = float(patch_graph.homes @ flow)
    i, j, length = pairs.i[apart], pairs.j[apart], pairs.length_mm[apart]
    rank = _ranks(patch_graph.ids)
    low, high = np.minimum(label[i], label[j]), np.maximum(label[i], label[j])
    near, far = np.minimum(rank[i], rank[j]), np.maximum(rank[i], rank[j])
    order = np.lexsort((far, near, -flow[i] * flow[j], length, high, low))
    low, high = low[order], high[order]
    first = np.ones(len(order), dtype=bool)
    first[1:] = (low[1:] != low[:-1]) | (high[1:] != high[:-1])
    breaks = []
    for at in order[first].tolist():
        u, v, width = int(i[at]), int(j[at]), int(length[at])
        gain = 2 * math.exp(-patch_graph.k_per_m * width / 1000) * float(flow[u] * flow[v])
        grown = math.sqrt(pc_numerator + gain)
        breaks.append(
            ComponentBreak(
                i=u,
                j=v,
                width_m=width / 1000,
                stones=max(0, -(-width // round(hop_m * 1000)) - 1),
                # gain / (sum of the roots) is their difference without its loss of digits
                homes_won=gain / (grown + math.sqrt(pc_numerator)) if gain > 0 else 0.0,
                homes_i=float(homes[label[u]]),
                homes_j=float(homes[label[v]]),
            )
        )
    return sorted(
        breaks,
        key=lambda one: (-one.homes_won, one.width_m, *sorted((rank[one.i], rank[one.j]))),
    )


def _ranks(ids: pd.Index) -> NDArray[np.intp]:
    """Place of each id in the order of the ids as text."""
    order = np.argsort(np.array([str(name) for name in ids]), kind="stable")
    rank = np.empty(len(order), dtype=np.intp)
    rank[order] = np.arange(len(order))
    return rank
