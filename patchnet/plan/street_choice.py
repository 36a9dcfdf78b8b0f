"""A plan for a street while it is being searched: what is chosen, and what may be."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from math import comb
from typing import Any

import numpy as np
from numpy.typing import NDArray

from patchnet.plan.plot_sets import Members, PlotSet, PlotSets
from patchnet.plan.street_in_draws import Change, SomeDraws, StreetInDraws
from patchnet.plan.street_rules import StreetRules

__all__ = ["Choice", "StreetChoice"]

Array = NDArray[np.float64]
Choice = dict[str, Members]
_AT_ONCE = 8  # plots that are judged at once on a large street
_A_BATCH = 16  # of so many plots one is judged at a time
_SMALL = 12  # where up to so many plots have
_SMALL_SETS = 1000  # up to so many sets, everything is tried, and filled exactly


@dataclass
class StreetChoice:
    """What is chosen on the plots of a street, in its draws.

    Attributes
    ----------
    street
        The street in its draws.
    sets
        What each plot that takes part can take.
    rules
        What the plan must keep to.
    fixed
        Plots whose things are settled.
    few
        The draws by which is ranked what is then judged in all; None: all at once.
    told
        Is told what is being done: words, and how many plots of how many.
    last
        Of each plot what each thing won when it was last judged, joint worth.
    chosen, gaps
        The things of each plot, and the keys of the gaps in fences that are open.
    """

    street: StreetInDraws
    sets: Mapping[str, PlotSets]
    rules: StreetRules
    fixed: Mapping[str, Members] = field(default_factory=dict)
    few: SomeDraws | None = None
    told: Callable[[Iterable[Any], str], Iterable[Any]] | None = None
    last: dict[str, dict[int, float]] = field(default_factory=dict)
    chosen: Choice = field(default_factory=dict)
    gaps: frozenset[int] = frozenset()

    @property
    def free(self) -> list[str]:
        """Plots that are planned for, in the order of the ids."""
        return sorted(plot for plot in self.rules.plots if plot not in self.fixed)

    @cached_property
    def small(self) -> bool:
        """Whether so little can be chosen from that everything is tried."""
        counts = (
            comb(len(self.sets[plot].candidates), size)
            for plot in self.free
            for size in range(1, self.sets[plot].size + 1)
        )
        return len(self.free) <= _SMALL and sum(counts) <= _SMALL_SETS

    def _open(self, gaps: frozenset[int]) -> None:
        if gaps != self.gaps:
            self.street.open(gaps)
            self.gaps = gaps

    @property
    def _limited(self) -> bool:
        return any(limit is not None for limit in self.rules.limits)

    @property
    def _at_once(self) -> int:
        return max(1, min(_AT_ONCE, len(self.free) // _A_BATCH))

    def _batches(self, plots: Sequence[str], words: str) -> Iterable[Sequence[str]]:
        """Plots that are judged at once; they lie apart in the order of the ids."""
        step = max(1, -(-len(plots) // self._at_once))
        batches: list[Sequence[str]] = [plots[first::step] for first in range(step)]
        return batches if self.told is None else self.told(batches, words)

    def _set(self, plot: str, members: Members) -> PlotSet:
        found = self.sets[plot].of(members)
        if found is None:
            raise AssertionError((plot, members))
        return found

    def _sets_of(self, choice: Mapping[str, Members]) -> dict[str, PlotSet]:
        return {plot: self._set(plot, members) for plot, members in choice.items()}

    def _changes(self, plot: str, sets: Sequence[Members]) -> list[Change]:
        return [self._set(plot, members).change for members in sets]

    def _allowed(self, plot: str, members: Members) -> bool:
        if self.sets[plot].of(members) is None or not self.sets[plot].sound(members):
            return False
        if not self._limited:
            return True
        return self.rules.allows(self._sets_of(self.chosen | {plot: members}))

    def _if_allowed(self, choice: Choice, plot: str, members: Members) -> bool:
        """Put a plot's set into a choice where the limits allow it."""
        trial = choice | {plot: members}
        if not self.rules.allows(self._sets_of(trial)):
            return False
        choice[plot] = members
        return True

    def _place(self, choice: Mapping[str, Members]) -> None:
        self.street.place({plot: self._set(plot, one).change for plot, one in choice.items()})

    def _go_to(self, choice: Mapping[str, Members], gaps: frozenset[int] = frozenset()) -> None:
        self._open(gaps)
        other = {plot: one for plot, one in choice.items() if self.chosen.get(plot) != one}
        self.chosen = dict(choice)
        self._place(other)

    def _worth(
        self, choice: Mapping[str, Members], now: Array, gaps: frozenset[int] = frozenset()
    ) -> Array:
        """Shape (D,): joint worth won by a plan, exactly; the plan is in place afterwards."""
        self._go_to(choice, gaps)
        return self.street.gained(self.street.linked([{}])[:, 0], now)
