"""The patch graph: patches, links between them, and the homes each patch holds."""

from collections.abc import Hashable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.core.shown import Shown

if TYPE_CHECKING:
    import networkx as nx

__all__ = ["PatchGraph"]


@dataclass(frozen=True, eq=False, repr=False)
class PatchGraph(Shown):
    """Patches and the links a group can cross in one move.

    Attributes
    ----------
    ids
        Patch ids, n of them; isolated patches are among them.
    homes
        Shape (n,), the attribute that is linked (homes, or any amount >= 0).
    i, j
        Ends of each link as positions in `ids`, i < j, sorted by (i, j), each pair once.
    length_mm
        Length of each link, whole millimetres (so that equal routes tie exactly).
    d50_m
        Distance at which half arrive: p = exp(-ln 2 / d50 x length).
    """

    ids: pd.Index
    homes: NDArray[np.float64]
    i: NDArray[np.int32]
    j: NDArray[np.int32]
    length_mm: NDArray[np.int64]
    d50_m: float

    @property
    def k_per_m(self) -> float:
        """Decay of the kernel, 1/m."""
        return float(np.log(2) / self.d50_m)

    @cached_property
    def graph(self) -> "nx.Graph[Hashable]":
        """A networkx graph: nodes have ``homes``; links ``length`` (m), ``p``, ``cost`` (-ln p)."""
        import networkx as nx

        graph: nx.Graph[Hashable] = nx.Graph()
        ids = list(self.ids)
        graph.add_nodes_from(
            (name, {"homes": float(a)}) for name, a in zip(ids, self.homes, strict=True)
        )
        length = self.length_mm / 1000
        cost = self.k_per_m * length
        graph.add_edges_from(
            (ids[i], ids[j], {"length": d, "p": p, "cost": c})
            for i, j, d, p, c in zip(
                self.i.tolist(),
                self.j.tolist(),
                length.tolist(),
                np.exp(-cost).tolist(),
                cost.tolist(),
                strict=True,
            )
        )
        return graph
