"""From distances to a patch graph, and from a networkx graph to one."""

from collections.abc import Hashable, Iterable
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.movement.distance import Pairs
from patchnet.network.patch_graph import PatchGraph

if TYPE_CHECKING:
    import networkx as nx

__all__ = ["from_networkx", "patch_graph"]


def patch_graph(
    ids: "pd.Index | Iterable[Hashable]",
    homes: ArrayLike,
    pairs: Pairs,
    *,
    hop_m: float,
    d50_m: float,
    passable: "NDArray[np.bool_] | None" = None,
) -> PatchGraph:
    """Link all patches that are no further apart than one hop.

    Parameters
    ----------
    ids
        Patch ids, n of them, each once.
    homes
        Shape (n,), homes each patch holds, >= 0 (or any amount to be linked).
    pairs
        Distances among the patches, at least up to `hop_m`.
    hop_m
        Widest distance crossed in one move, metres; a distance as long as that is still crossed.
    d50_m
        Distance at which half arrive, metres, > 0.
    passable
        Shape of ``pairs.i``; False where a pair cannot be crossed at all. None: all can.

    Raises
    ------
    WrongUse
        If ids repeat, shapes differ, homes are negative or not numbers, or a distance is out of
        range.

    Examples
    --------
    >>> pairs = Pairs(np.array([0, 1], "i4"), np.array([1, 2], "i4"), np.array([50_000, 70_000]))
    >>> network = patch_graph(["a", "b", "c"], [2, 1, 3], pairs, hop_m=60, d50_m=50)
    >>> list(network.graph.edges)
    [('a', 'b')]
    """
    if not (np.isfinite(hop_m) and hop_m >= 0):
        raise WrongUse(
            _("The hop must be a number of metres, 0 or more, not {hop_m}.").format(hop_m=hop_m)
        )
    keep = pairs.length_mm <= round(hop_m * 1000)
    if passable is not None:
        if np.shape(passable) != pairs.i.shape:
            raise WrongUse(_("`passable` must say yes or no for each pair."))
        keep &= np.asarray(passable, dtype=bool)
    return _checked(ids, homes, pairs.i[keep], pairs.j[keep], pairs.length_mm[keep], d50_m)


def from_networkx(
    graph: "nx.Graph[Hashable]", *, d50_m: float, homes: str = "homes", length: str = "length"
) -> PatchGraph:
    """Read a patch graph from an undirected networkx graph.

    Parameters
    ----------
    graph
        Nodes in the order wanted. Of several links between two nodes the shortest counts; a
        link of a node to itself says nothing and is left out.
    d50_m
        Distance at which half arrive, metres.
    homes
        Node attribute that holds the homes.
    length
        Link attribute that holds the length in metres (rounded to whole millimetres).

    Returns
    -------
    PatchGraph
        Nodes in the order of the graph; lengths in whole millimetres.

    Raises
    ------
    WrongUse
        If the graph is directed, or an attribute is missing or out of range.

    Examples
    --------
    >>> import networkx as nx
    >>> graph = nx.Graph()
    >>> graph.add_nodes_from([("a", {"homes": 2.0}), ("b", {"homes": 1.0})])
    >>> graph.add_edge("a", "b", length=50.0)
    >>> from_networkx(graph, d50_m=50).length_mm.tolist()
    [50000]
    """
    if graph.is_directed():
        raise WrongUse(_("A patch graph is undirected: an animal can cross a link both ways."))
    at = {name: place for place, name in enumerate(graph)}
    try:
        amounts = [float(graph.nodes[name][homes]) for name in graph]
        links = [
            (*sorted((at[u], at[v])), float(data[length]))
            for u, v, data in graph.edges(data=True)
            if u != v
        ]
    except KeyError as error:
        raise WrongUse(
            _("A node or link has no attribute {arg!r}.").format(arg=error.args[0])
        ) from error
    table = np.array(links, dtype=np.float64).reshape(-1, 3)
    if not np.isfinite(table).all():
        raise WrongUse(_("The length of a link is not a number of metres."))
    i, j = table[:, 0].astype(np.int32), table[:, 1].astype(np.int32)
    length_mm = np.rint(table[:, 2] * 1000).astype(np.int64)
    order = np.lexsort((length_mm, j, i))
    i, j, length_mm = i[order], j[order], length_mm[order]
    first = np.ones(len(i), dtype=bool)
    first[1:] = (np.diff(i) != 0) | (np.diff(j) != 0)
    names = pd.Index(list(graph), tupleize_cols=False)
    return _checked(names, amounts, i[first], j[first], length_mm[first], d50_m)


def _checked(
    ids: "pd.Index | Iterable[Hashable]",
    homes: ArrayLike,
    i: NDArray[np.int32],
    j: NDArray[np.int32],
    length_mm: NDArray[np.int64],
    d50_m: float,
) -> PatchGraph:
    index = ids if isinstance(ids, pd.Index) else pd.Index(list(ids), tupleize_cols=False)
    amounts = np.array(homes, dtype=np.float64)
    if not index.is_unique:
        raise WrongUse(
            _("Patch ids must be unique: {index!r} comes twice.").format(
                index=index[index.duplicated()][0]
            )
        )
    if amounts.shape != (len(index),):
        raise WrongUse(
            _("There are {n_index} patches but homes of shape {shape}.").format(
                n_index=len(index), shape=amounts.shape
            )
        )
    if not (np.isfinite(amounts).all() and (amounts >= 0).all()):
        raise WrongUse(_("Homes must be numbers, 0 or more."))
    if not (np.isfinite(d50_m) and d50_m > 0):
        raise WrongUse(
            _("d50 must be a number of metres above 0, not {d50_m}.").format(d50_m=d50_m)
        )
    if len(i) and not (i.min() >= 0 and (i < j).all() and j.max() < len(index)):
        raise WrongUse(_("Pairs must name two different patches each, the earlier one first."))
    if (length_mm < 0).any():
        raise WrongUse(_("A link cannot be shorter than 0."))
    return PatchGraph(ids=index, homes=amounts, i=i, j=j, length_mm=length_mm, d50_m=float(d50_m))
