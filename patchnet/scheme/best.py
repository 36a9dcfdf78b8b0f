"""The best scheme met of each size, and some more that are good."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from patchnet.scheme.state import Pick
from patchnet.scheme.together import EQUAL, SchemeRules

__all__ = ["FIRST", "Best"]

FIRST = 8
"""Schemes of each size that are kept to be filled exactly."""


@dataclass
class Best:
    """The best scheme met for each number of planters, and those nearly as good.

    `first` holds for each number the few schemes that promise most (`keep` of them), with what
    they promise.
    """

    rules: SchemeRules
    value: dict[int, float] = field(default_factory=dict)
    picks: dict[int, tuple[Pick, ...]] = field(default_factory=dict)
    first: dict[int, dict[tuple[Pick, ...], float]] = field(default_factory=dict)
    judged: int = 0
    keep: int = FIRST

    def meet(self, picks: Sequence[Pick], value: float) -> None:
        """Take note of a scheme."""
        self.judged += 1
        count = len(picks)
        first = self.first.setdefault(count, {})
        if len(first) == self.keep and _level(value) < min(map(_level, first.values())):
            return
        key = tuple(sorted(picks))
        if key in first:
            return
        first[key] = value
        best = self.picks.get(count)
        if best is None or self._before(key, value, best, self.value[count]):
            self.value[count], self.picks[count] = value, key
        if len(first) > self.keep:
            least = min(map(_level, first.values()))
            last = [one for one in first if _level(first[one]) == least]
            del first[max(last, key=self.rules.rank) if len(last) > 1 else last[0]]

    @property
    def overall(self) -> tuple[Pick, ...]:
        """The best of any size; of those as good, the first by rank."""
        top = max(map(_level, self.value.values()))
        return min(
            (self.picks[count] for count in self.picks if _level(self.value[count]) == top),
            key=self.rules.rank,
        )

    def _before(
        self, one: tuple[Pick, ...], value: float, other: tuple[Pick, ...], than: float
    ) -> bool:
        if _level(value) != _level(than):
            return value > than
        return self.rules.rank(one) < self.rules.rank(other)


def _level(value: float) -> int:
    """Worth in steps of what makes a difference, so that being as good is the same to all."""
    return round(value / EQUAL)
