"""What a plan for a whole street must keep to: who takes part, money, hours and jobs in all."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from patchnet.plan.plot_sets import PlotSet

__all__ = ["StreetRules"]

_SLACK = 1e-9


@dataclass(frozen=True)
class StreetRules:
    """Limits of one plan.

    Attributes
    ----------
    plots
        Plots that take part, in the order of the file.
    budget, hours, jobs
        Most money in the first year, hours of upkeep a month, and things, over the whole street;
        None: no limit.
    parts
        Part of the street that each plot lies in; empty: not asked for. Then money, hours and jobs
        are shared out among the parts by their plots, so that no part is left out.
    """

    plots: tuple[str, ...]
    budget: float | None = None
    hours: float | None = None
    jobs: int | None = None
    parts: Mapping[str, str] = field(default_factory=dict)

    @property
    def limits(self) -> tuple[float | None, ...]:
        """Money, hours, things."""
        return self.budget, self.hours, None if self.jobs is None else float(self.jobs)

    @cached_property
    def _shares(self) -> dict[str, float]:
        count: dict[str, int] = {}
        for plot in self.plots:
            part = self.parts.get(plot, "")
            count[part] = count.get(part, 0) + 1
        return {part: each / len(self.plots) for part, each in count.items()}

    @staticmethod
    def takes(chosen: PlotSet) -> tuple[float, float, float]:
        """What a plot's set takes: money, hours, things."""
        return chosen.cost, chosen.hours, float(len(chosen.things))

    def price(self, more: Sequence[float]) -> float:
        """How much of what there is some money, hours and things are; things where all is free."""
        limited = [
            each / limit
            for each, limit in zip(more, self.limits, strict=True)
            if limit is not None and limit > 0
        ]
        return sum(limited) if limited else more[2]

    def allows(self, chosen: Mapping[str, PlotSet]) -> bool:
        """Whether the plots' sets keep to the limits together."""
        if all(limit is None for limit in self.limits):
            return True
        sums: dict[str, list[float]] = {}
        for plot, one in chosen.items():
            total = sums.setdefault(self.parts.get(plot, ""), [0.0, 0.0, 0.0])
            for at, each in enumerate(self.takes(one)):
                total[at] += each
        for part, total in sums.items():
            share = self._shares.get(part, 1.0) if self.parts else 1.0
            for each, limit in zip(total, self.limits, strict=True):
                if limit is not None and each > share * limit + _SLACK:
                    return False
        return True
