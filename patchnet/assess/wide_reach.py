"""A reach of which only the near part is held pair by pair, and the far part in bunches.

In a town a kilometre's reach has thousands of plots in it for each plot: as pairs a town of 16,000
plots would take more memory than most computers have. In bunches (`patchnet.assess.bunches`) it is
a few hundred kilobytes, its products are quicker, and flows go over fewer edges. Sums are added up
in another order, and so differ by rounding.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.bunches import BunchedReach, Bunches, blocks_in_bunches
from patchnet.assess.reach import Reach, RouteGraph, StraightReaches
from patchnet.movement.distance import Pairs, expected_pairs, pairs_within

if TYPE_CHECKING:
    import scipy.sparse as sp

    from patchnet.assess.blocks import Blocks

__all__ = ["NEAR_M", "WideReach", "is_wide"]

NEAR_M = 150.0
"""Longest straight lines that are held pair by pair in a town, metres."""

_WIDE_FROM = 1_500_000  # pairs: some 1,750 plots of which all look a kilometre far


def is_wide(shapes: NDArray[np.object_], longest_m: float) -> bool:
    """Whether there are too many pairs to hold all of them.

    Parameters
    ----------
    shapes
        Shape (n,): outlines, metres.
    longest_m
        Longest distance that is asked for, metres.
    """
    return longest_m > NEAR_M and expected_pairs(shapes, longest_m) > _WIDE_FROM


@dataclass(frozen=True)
class _Rows:
    """All rows of a reach, held."""

    run: Mapping[str, NDArray[np.int64]]

    def __call__(self) -> tuple[Mapping[str, NDArray[np.int64]], ...]:
        return (self.run,)


class WideReach(Reach):
    """A `Reach` whose far part is in bunches.

    Parameters
    ----------
    bunches
        The n plots.
    pairs
        Their distances up to `NEAR_M`.
    stops
        Shape (n,), True where the group can rest.
    hop_m
        Widest distance crossed in one move, metres.
    shared
        Plain straight-line reaches, to be shared between groups.
    moves
        As for `Reach`.
    """

    def __init__(
        self,
        bunches: Bunches,
        pairs: Pairs,
        stops: NDArray[np.bool_],
        *,
        hop_m: float,
        shared: StraightReaches,
        moves: Pairs | None = None,
    ) -> None:
        super().__init__(pairs, stops, hop_m=hop_m, shared=shared, moves=moves)
        self._bunches = bunches
        self._bunched: dict[int, BunchedReach] = {}

    @property
    def moves(self) -> Pairs:
        """What single moves between plots cost."""
        if self._steps is self._pairs and self._hop_mm > NEAR_M * 1000:
            return pairs_within(self._bunches.shapes, self._hop_mm / 1000)
        return self._steps

    def with_stops(self, stops: NDArray[np.bool_], *, moves: Pairs | None = None) -> "WideReach":
        """Return the same with other stops, and other moves where they are not straight lines."""
        return WideReach(
            self._bunches, self._pairs, stops,
            hop_m=self._hop_mm / 1000, shared=self._shared, moves=moves,
        )  # fmt: skip

    def within(self, reach_m: float) -> "sp.csr_array":
        """Shape (n, n): 1 where the column's plot is reached; a far one only multiplies."""
        if reach_m <= NEAR_M:
            return super().within(reach_m)
        found: Any = self._in_bunches(reach_m)
        return found

    def matrix(self, reach_m: float) -> "sp.csr_array":
        """Return `within` with all its pairs, measured anew beyond `NEAR_M`."""
        if reach_m <= NEAR_M:
            return super().within(reach_m)
        return self._paired(reach_m).matrix(reach_m)

    def straight(self, reach_m: float) -> "sp.csr_array":
        """Shape (n, n): 1 where the straight distance is no longer than the reach; itself too."""
        if reach_m <= NEAR_M:
            return super().straight(reach_m)
        return self._paired(reach_m).straight(reach_m)

    def blocks(self, reach_m: float) -> "Blocks":
        """Return what lies within reach as blocks of ones."""
        if reach_m <= NEAR_M:
            return super().blocks(reach_m)
        reach_mm = round(reach_m * 1000)
        known = self._shared.blocks if self.in_one_move(reach_m) else self._own_blocks
        if reach_mm not in known:
            known[reach_mm] = blocks_in_bunches(self._in_bunches(reach_m))
        return known[reach_mm]

    def row(self, reach_m: float, plot: int) -> NDArray[np.intp]:
        """Positions of the plots within reach of one plot, ascending, itself among them."""
        if reach_m <= NEAR_M:
            return super().row(reach_m, plot)
        return self._in_bunches(reach_m).row(plot)

    def _in_bunches(self, reach_m: float) -> BunchedReach:
        reach_mm = round(reach_m * 1000)
        plain = self.in_one_move(reach_m)
        known = self._shared.bunched if plain else self._bunched
        if reach_mm not in known:
            every = np.arange(len(self._stops))
            routes = None if plain else self._routes()
            run = self._bunches.rows_of_ones(every, reach_mm, routes)
            known[reach_mm] = BunchedReach(self._bunches, _Rows(run))
        return known[reach_mm]

    def _routes(self) -> RouteGraph:
        return RouteGraph.of(self.moves, self._stops, self._hop_mm).pruned(self._stops)

    def _paired(self, reach_m: float) -> Reach:
        """Return the same with all pairs."""
        pairs = pairs_within(self._bunches.shapes, max(reach_m, self._hop_mm / 1000))
        steps = None if self._steps is self._pairs else self._steps
        return Reach(
            pairs, self._stops, hop_m=self._hop_mm / 1000,
            shared=StraightReaches(self._shared.order), moves=steps,
        )  # fmt: skip
