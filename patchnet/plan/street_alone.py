"""What each plot wins by itself while nobody else does anything, in the mean of the draws."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

from patchnet.core.texts import _
from patchnet.plan.plot_sets import Members, PlotSet, PlotSets
from patchnet.plan.street_in_draws import SomeDraws, StreetInDraws
from patchnet.plan.street_rules import StreetRules

__all__ = ["PlotsAlone"]

_FIRST = 7  # of so many best single things of a plot all pairs and threes are judged
_TIE = 1e-9
Batches = Callable[[Sequence[str], str], Iterable[Sequence[str]]]


@dataclass
class PlotsAlone:
    """Every single thing of each plot, and the pairs and threes of the best, on the street as is.

    Attributes
    ----------
    street
        The street in its draws.
    sets
        What each plot can take.
    rules
        For what money, hours and things count.
    few
        In which draws they are judged; None: all.
    every
        Whether all pairs and threes are judged, and filled exactly.
    worth
        Of each plot what its sets win, joint worth.
    """

    street: StreetInDraws
    sets: Mapping[str, PlotSets]
    rules: StreetRules
    few: SomeDraws | None
    every: bool
    worth: dict[str, dict[Members, float]] = field(default_factory=dict)

    def judge(self, plots: Sequence[str], batches: Batches) -> None:
        """Judge some plots.

        Parameters
        ----------
        plots
            Their ids.
        batches
            Cuts them into those that are judged at once, saying what is done.
        """
        for batch in batches(plots, _("each plot by itself")):
            self.worth |= {plot: {} for plot in batch}
            self._judge({plot: self.sets[plot].singles for plot in batch})
            self._judge({plot: self._several(plot) for plot in batch})

    def _judge(self, asked: Mapping[str, Sequence[Members]]) -> None:
        able = {plot: sets for plot, sets in asked.items() if sets}
        won = self.street.won(
            [(plot, [self._set(plot, one).change for one in sets]) for plot, sets in able.items()],
            few=self.few,
            today=True,
            exact=self.every,
        )
        for (plot, sets), rows in zip(able.items(), won, strict=True):
            means = rows[..., 0].mean(axis=0).tolist()
            self.worth[plot] |= dict(zip(sets, means, strict=True))

    def _several(self, plot: str) -> list[Members]:
        sets, worth = self.sets[plot], self.worth[plot]
        first = len(sets.candidates) if self.every else _FIRST
        ranked = sorted(sets.singles, key=lambda one: (-worth[one], one))[:first]
        things = sorted(one[0] for one in ranked)
        found = []
        for size in range(2, sets.size + 1):
            found += [one for one in combinations(things, size) if sets.of(one) is not None]
        return found

    def ranked(self, plot: str) -> list[Members]:
        """Sets of a plot, the best first; of those alike the one with fewer things."""
        worth = self.worth[plot]
        sound = (one for one in worth if self.sets[plot].sound(one))
        top = sorted(sound, key=lambda one: (-worth[one], len(one), one))
        if top and worth[top[0]] <= _TIE:
            return []
        return top

    def price(self, plot: str, members: Members) -> float:
        """What a set takes of money, hours and things (see `StreetRules.price`)."""
        return max(self.rules.price(self.rules.takes(self._set(plot, members))), _TIE)

    def best_rate(self, plot: str) -> float:
        """The most worth for what it takes that any set of a plot has."""
        each = self.worth[plot].items()
        return max((worth / self.price(plot, one) for one, worth in each), default=0.0)

    def own_sets(self, plots: Iterable[str]) -> list[tuple[str, Members]]:
        """Each plot's own best set, those that win most for what they take first."""
        rates = []
        for plot in plots:
            best = max(self.ranked(plot)[:1], default=())
            worth = self.worth[plot].get(best, 0.0)
            if best and worth > _TIE:
                rates.append((-worth / self.price(plot, best), plot, best))
        return [(plot, best) for __, plot, best in sorted(rates)]

    def _set(self, plot: str, members: Members) -> PlotSet:
        found = self.sets[plot].of(members)
        if found is None:
            raise AssertionError((plot, members))
        return found
