"""Where the search for a street's plan begins: own best sets, and what leads taken step by step."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from patchnet.plan.plot_sets import Members
from patchnet.plan.street_alone import PlotsAlone
from patchnet.plan.street_choice import Choice, StreetChoice

__all__ = ["StreetGrowth"]

Array = NDArray[np.float64]
_TIE = 1e-9
_SETS = 8  # sets that are tried on a plot that has nothing yet
_NEXT = 6  # things that are tried beside what a plot has


@dataclass
class StreetGrowth(StreetChoice):
    """A plan that grows, and every plot's own best set."""

    @cached_property
    def by_itself(self) -> PlotsAlone:
        """What each plot wins by itself."""
        return PlotsAlone(self.street, self.sets, self.rules, self.few, self.small)

    @property
    def alone(self) -> Mapping[str, Mapping[Members, float]]:
        """Joint worth of the sets of each plot that is planned for, on the street as it is."""
        return self.by_itself.worth

    def _judge_alone(self) -> None:
        self.by_itself.judge(self.free, self._batches)
        for plot, worth in self.alone.items():
            self.last[plot] = {one[0]: each for one, each in worth.items() if len(one) == 1}

    def _own(self) -> Choice:
        """Each plot's own best set, as far as money, hours and jobs go: the best rate first."""
        chosen: Choice = dict.fromkeys(self.free, ()) | dict(self.fixed)
        for plot, best in self.by_itself.own_sets(self.free):
            self._if_allowed(chosen, plot, best)
        return chosen

    def _grown(self) -> Choice:
        """Take what leads, plot by plot, judging anew only what promised most."""
        self._go_to(dict.fromkeys(self.free, ()) | dict(self.fixed))
        promise = {plot: self.by_itself.best_rate(plot) for plot in self.free}
        for batch in self._until_none(promise):
            moves = [(plot, self._more(plot)) for plot in batch]
            fresh: dict[str, tuple[float, Members]] = {}
            won = self.street.won(
                [(plot, self._changes(plot, more)) for plot, more in moves],
                few=self.few,
                exact=self.small,
            )
            for (plot, more), rows in zip(moves, won, strict=True):
                fresh[plot] = self._best_of(plot, more, rows)
            others = max((rate for plot, rate in promise.items() if plot not in fresh), default=0.0)
            for plot, (rate, __) in fresh.items():
                promise[plot] = rate
            lead = max(others, _TIE)
            taken: Choice = {}
            for plot in sorted(fresh, key=lambda one: (-fresh[one][0], one)):
                rate, members = fresh[plot]
                if rate < lead or rate <= _TIE:
                    continue
                if self._if_allowed(self.chosen, plot, members):
                    taken[plot] = members
                else:
                    promise[plot] = 0.0
            self._place(taken)
            for plot in [one for one, rate in promise.items() if rate <= _TIE]:
                del promise[plot]
        return dict(self.chosen)

    def _until_none(self, promise: dict[str, float]) -> Iterable[list[str]]:
        while promise:
            order = sorted(promise, key=lambda plot: (-promise[plot], plot))
            yield order[: self._at_once]

    def _more(self, plot: str) -> list[Members]:
        """Sets with more than a plot has: one thing more; whole sets where it has nothing."""
        has = self.chosen[plot]
        if len(has) >= self.sets[plot].size:
            return []
        one_more = self.sets[plot].beside(has)
        if not self.small:
            one_more = sorted(
                one_more, key=lambda one: -max(self._promise(plot, k) for k in set(one) - set(has))
            )[:_NEXT]
        if not has:
            several = [one for one in self.by_itself.ranked(plot) if len(one) > 1]
            one_more += several if self.small else several[:_SETS]
        return [one for one in one_more if self._allowed(plot, one)]

    def _promise(self, plot: str, thing: int) -> float:
        return self.last[plot].get(thing, 0.0)

    def _best_of(self, plot: str, sets: Sequence[Members], rows: Array) -> tuple[float, Members]:
        """The set that wins most for what it takes more, and how much that is."""
        has = self.chosen[plot]
        best: tuple[float, Members] = (0.0, has)
        before = self.rules.takes(self._set(plot, has))
        for members, worth in zip(sets, rows[..., 0].mean(axis=0).tolist(), strict=True):
            new = set(members) - set(has)
            if len(new) == 1 and len(members) == len(has) + 1:
                self.last[plot][new.pop()] = worth
            after = self.rules.takes(self._set(plot, members))
            more = [b - a for a, b in zip(before, after, strict=True)]
            rate = worth / max(self.rules.price(more), _TIE)
            if rate > best[0] + _TIE:
                best = rate, members
        return best
