"""What one link more wins in a network, and the next one after it: local to the links' ends."""

from typing import TYPE_CHECKING

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse import csgraph

from patchnet.network.patch_graph import PatchGraph

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["GrowingNetwork", "best_lengths"]

Array = NDArray[np.float64]
_ROUNDING = 1e-9  # of the numerator: less than that is no gain


def best_lengths(network: PatchGraph) -> Array:
    """Best routes between all n patches, shape (n, n), metres; infinite where there is none.

    Parameters
    ----------
    network
        The patches and their links.
    """
    return GrowingNetwork(network, 0.0).lengths()


class GrowingNetwork:
    """A network to which links are added one by one.

    A link of cost c between a and b makes a better way only from patches that are nearer to a
    and the link together than to b, to such of b (see `patchnet.network.more_links`). So the
    routes of few patches are looked at, however large the network is.

    Parameters
    ----------
    network
        n patches.
    linked_homes
        Of the network as it is.

    Examples
    --------
    Two patches of one home, 50 m apart at d50 = 50 m, not linked: sqrt(2) homes; then sqrt(3).

    >>> import pandas as pd
    >>> none, far = np.zeros(0, np.int32), np.zeros(0, np.int64)
    >>> two = PatchGraph(pd.Index(["a", "b"]), np.ones(2), none, none, far, 50.0)
    >>> network = GrowingNetwork(two, 2**0.5)
    >>> round(network.add(0, 1, 50.0), 6), network.add(0, 1, 50.0)
    (0.317837, 0.0)
    """

    def __init__(self, network: PatchGraph, linked_homes: float) -> None:
        self._homes = network.homes
        self._k = network.k_per_m
        self._numerator = linked_homes**2
        pairs = zip(network.i.tolist(), network.j.tolist(), strict=True)
        metres = (network.length_mm / 1000).tolist()
        self._links: dict[tuple[int, int], float] = dict(zip(pairs, metres, strict=True))
        self._matrix = self._as_matrix()

    def lengths(self, sources: "Sequence[int] | NDArray[np.intp] | None" = None) -> Array:
        """Best routes from some patches (None: from all), shape (sources, n), metres."""
        found = csgraph.dijkstra(self._matrix, directed=False, indices=sources)
        return np.asarray(found, dtype=np.float64)

    def gain(self, a: int, b: int, cost_m: float) -> float:
        """Linked homes that a link would win.

        Parameters
        ----------
        a, b
            Positions of two patches, a != b.
        cost_m
            Its length, metres.
        """
        rise = self._rise(a, b, cost_m)
        grown = np.sqrt(self._numerator + rise)
        return float(rise / (grown + np.sqrt(self._numerator))) if rise > 0 else 0.0

    def add(self, a: int, b: int, cost_m: float) -> float:
        """Put a link there, and return the linked homes that it wins; as `gain`."""
        won = self.gain(a, b, cost_m)
        self._numerator += self._rise(a, b, cost_m)
        pair = (min(a, b), max(a, b))
        self._links[pair] = min(cost_m, self._links.get(pair, np.inf))
        self._matrix = self._as_matrix()
        return won

    def _as_matrix(self) -> sp.csr_array:
        n = len(self._homes)
        ends = np.array(list(self._links), dtype=np.int32).reshape(-1, 2)
        metres = np.array(list(self._links.values()), dtype=np.float64)
        return sp.coo_array((metres, (ends[:, 0], ends[:, 1])), shape=(n, n)).tocsr()

    def _rise(self, a: int, b: int, cost_m: float) -> float:
        """What the numerator rises by."""
        if not np.isfinite(cost_m):
            return 0.0
        homes, k = self._homes, self._k
        to_a, to_b = self.lengths([a, b])
        first = np.flatnonzero((to_a + cost_m < to_b) & (homes > 0))
        second = np.flatnonzero((to_b + cost_m < to_a) & (homes > 0))
        if not first.size or not second.size:
            return 0.0
        by_link = np.exp(-k * (to_a[first, None] + cost_m + to_b[None, second]))
        if np.isfinite(to_a[b]):
            by_link = np.maximum(by_link - np.exp(-k * self.lengths(first)[:, second]), 0.0)
        rise = float(2 * (homes[first] @ by_link @ homes[second]))
        return rise if rise > _ROUNDING * max(self._numerator, _ROUNDING) else 0.0
