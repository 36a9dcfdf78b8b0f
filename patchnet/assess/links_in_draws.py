"""What closing breaks and opening fences wins in each draw: knife-edges soften by themselves.

A break of 53 m is one only for an animal that shuns gaps of 53 m, and how far an animal goes in
one move is among what we know least. So a break, or a gap in a fence, that was found with the
figures in use is held where it is, and what it wins is worked out anew in each draw, on the
network of that draw: all that it makes nearer counts. Where the two sides are linked anyway, over
that very place or another, only what it shortens is won, or nothing. Where one of the two plots
has no habitat in a draw, there is nothing to be linked and nothing is won.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment, Break, FenceGap, GroupAnswer
from patchnet.assess.over_draws import draws_of, over_draws
from patchnet.assess.spread import Spread, spread_of
from patchnet.core.compiled import can_compile
from patchnet.knowledge.records import Knowledge
from patchnet.movement.corridors import both_ways
from patchnet.movement.fence_gaps import gap_steps
from patchnet.movement.surface import CostSurface
from patchnet.movement.window import cut_out, window_between
from patchnet.network.one_more_link import GrowingNetwork
from patchnet.network.patch_graph import PatchGraph

__all__ = [
    "BreakDoubt",
    "BreakWon",
    "GapsInDraw",
    "best_gaps",
    "breaks_in_draws",
    "breaks_won",
    "doubt_of_breaks",
    "gap_over_draws",
    "gaps_in_draw",
    "gaps_won",
]

Array = NDArray[np.float64]
_HALF_WAY = 0.6  # growth from both sides, each a little over half of the way
_LIKELY = 2.0  # times what a break costs with the figures in use: so far it is looked for first
_ALIKE = 1e-9  # relative: of gaps that win alike to rounding, the first


@dataclass(frozen=True, slots=True, eq=False)
class BreakDoubt:
    """A break over the draws.

    Attributes
    ----------
    gap
        The break, with the figures in use.
    won
        Linked homes won if it were closed: mean of the draws, and the middle 90 in 100 of them.
    often
        Share of the draws in which closing it wins anything, 0-1.
    shunned
        Share of the draws in which it is wider, or costs more, than one move, 0-1.
    """

    gap: Break
    won: Spread
    often: float
    shunned: float


class BreakWon(NamedTuple):
    """A break in one draw: linked homes won if it were closed, and whether animals shun it."""

    homes: float
    shunned: bool


def breaks_in_draws(
    assessment: Assessment, *, draws: int, seed: int = 0, processes: int | None = 1
) -> Mapping[str, tuple[BreakDoubt, ...]]:
    """Return each animal's breaks with what closing them wins over the draws, most first.

    Parameters
    ----------
    assessment
        The answer at the figures in use, with its breaks.
    draws, seed
        How many draws, 1 or more, and of which seed.
    processes
        How many processes; None: one a core.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["moth"])
    >>> [only] = breaks_in_draws(answer, draws=5)["moth"]
    >>> only.won.low <= only.won.mean <= only.won.high
    True
    """
    breaks = {key: one.breaks for key, one in assessment.groups.items()}
    rows = list(over_draws(_row, breaks, draws_of(assessment, draws, seed), processes=processes))
    return {
        key: doubt_of_breaks(found, [row[key] for row in rows]) for key, found in breaks.items()
    }


def _row(
    breaks: Mapping[str, tuple[Break, ...]], answer: Assessment
) -> Mapping[str, list[BreakWon]]:
    return {
        key: breaks_won(found, answer.groups[key], answer.knowledge)
        for key, found in breaks.items()
    }


def doubt_of_breaks(
    breaks: Sequence[Break], rows: Sequence[Sequence[BreakWon]]
) -> tuple[BreakDoubt, ...]:
    """Return breaks over the draws, the one that wins most on average first.

    Parameters
    ----------
    breaks
        With the figures in use.
    rows
        From `breaks_won`, one a draw.
    """
    found = []
    for at, gap in enumerate(breaks):
        homes = np.array([row[at].homes for row in rows])
        shunned = float(np.mean([row[at].shunned for row in rows]))
        found.append(BreakDoubt(gap, spread_of(homes), float((homes > 0).mean()), shunned))
    return tuple(sorted(found, key=lambda one: (-one.won.mean, one.gap.width_m)))


def breaks_won(
    breaks: Sequence[Break], answer: GroupAnswer, knowledge: Knowledge
) -> list[BreakWon]:
    """What closing each break would win in one draw, each by itself.

    An animal that flies crosses it where it was found, over the same width. What it costs one
    that walks is worked out over the ground of the draw, between the same two plots. Where that
    is more than ``settings/break_hops`` moves it is too far to be closed, as ever.

    Parameters
    ----------
    breaks
        With the figures in use.
    answer
        In the draw.
    knowledge
        Of the draw.
    """
    ids, p_cut = answer.network.ids, knowledge.setting("p_cut")
    network = GrowingNetwork(answer.network, answer.measures.eca, p_cut=p_cut)
    hop_m = answer.group.hop.value
    longest_m = knowledge.setting("break_hops") * hop_m
    found = []
    for gap in breaks:
        cost = gap.width_m
        if answer.ground is not None:
            cost = _cost_between(answer.ground.surface, gap, longest_m)
        a, b = ids.get_indexer(pd.Index([gap.from_plot, gap.to_plot])).tolist()
        homes = network.gain(a, b, cost) if min(a, b) >= 0 and cost <= longest_m else 0.0
        found.append(
            BreakWon(homes, not math.isfinite(cost) or round(cost * 1000) > round(hop_m * 1000))
        )
    return found


_known: WeakKeyDictionary[CostSurface, dict[tuple[str, str], tuple[float, float]]] = (
    WeakKeyDictionary()
)


def _cost_between(surface: CostSurface, gap: Break, longest_m: float) -> float:
    """Cost metres between a break's two plots; inf: more than the longest.

    Some draws in a row have the same ground: what was found on it is kept while it is there.
    """
    known, ends = _known.setdefault(surface, {}), (gap.from_plot, gap.to_plot)
    looked, cost = known.get(ends, (0.0, math.inf))
    if looked < longest_m and math.isinf(cost):
        # First over less ground: there it mostly is, and what is found is the cheapest of all.
        for most in (_LIKELY * gap.width_m, longest_m):
            if most <= longest_m:
                cost = _cost_within(surface, ends, most)
            if math.isfinite(cost):
                break
        known[ends] = longest_m, cost
    return cost


def _cost_within(surface: CostSurface, ends: tuple[str, str], most: float) -> float:
    """Cost metres between two plots; inf: more than `most`."""
    labels = surface.plot_label(ends[0]), surface.plot_label(ends[1])
    here = cut_out(surface, window_between(surface, labels, most))
    both = both_ways(here, *ends, limit=_HALF_WAY * most, compiled=can_compile() or None)
    return both.cost if both.cost <= most else math.inf


@dataclass(frozen=True, eq=False)
class GapsInDraw:
    """Gaps in fences in one draw.

    Attributes
    ----------
    network
        The patches and their links.
    linked_homes
        Of it.
    p_cut
        Routes less likely than this (0-1) are left out.
    links
        The link that each gap would make: positions of the two patches and cost metres; None
        where it makes none in this draw.
    """

    network: PatchGraph
    linked_homes: float
    p_cut: float
    links: tuple[tuple[int, int, float] | None, ...]

    def growing(self) -> GrowingNetwork:
        """The network, to which links can be added."""
        return GrowingNetwork(self.network, self.linked_homes, p_cut=self.p_cut)


def gaps_in_draw(gaps: Sequence[FenceGap], answer: GroupAnswer, knowledge: Knowledge) -> GapsInDraw:
    """Return the links that gaps in fences would make in one draw.

    Parameters
    ----------
    gaps
        With the figures in use; each stays at its step between two cells.
    answer
        In the draw.
    knowledge
        Of the draw.
    """
    links: list[tuple[int, int, float] | None] = [None] * len(gaps)
    if answer.ground is not None and gaps:
        surface, growth = answer.ground.surface, answer.ground.links.growth
        steps, owner, cost = surface.steps, growth.owner.ravel(), growth.cost.ravel()
        first, second, price = gap_steps(surface, growth.cost == 0, steps)
        places = np.searchsorted(steps.key, [gap.key for gap in gaps])
        for number, (gap, at) in enumerate(zip(gaps, places.tolist(), strict=True)):
            # Where nothing closes the step in this draw, a gap there opens nothing.
            if at == len(steps.key) or steps.key[at] != gap.key:
                continue
            total = float(cost[first[at]] + price[at] + cost[second[at]])
            labels = owner[[first[at], second[at]]].astype(np.intp)
            apart = labels.min() > 0 and labels[0] != labels[1]
            closed = steps.opened[at] < steps.extra[at]
            if closed and apart and total <= answer.group.hop.value:
                a, b = answer.network.ids.get_indexer(surface.plots[labels - 1]).tolist()
                links[number] = a, b, total
    return GapsInDraw(answer.network, answer.measures.eca, knowledge.setting("p_cut"), tuple(links))


def gaps_won(gaps: Sequence[FenceGap], answer: GroupAnswer, knowledge: Knowledge) -> list[float]:
    """Linked homes that each gap by itself would win in one draw.

    Parameters
    ----------
    gaps
        With the figures in use.
    answer
        In the draw.
    knowledge
        Of the draw.
    """
    here = gaps_in_draw(gaps, answer, knowledge)
    network = here.growing()
    return [0.0 if link is None else network.gain(*link) for link in here.links]


def gap_over_draws(gap: FenceGap, won: Array) -> FenceGap:
    """Return a gap with what it wins over the draws in place of that with the figures in use.

    Parameters
    ----------
    gap
        With the figures in use.
    won
        Shape (D,): linked homes won in each draw.
    """
    spread = spread_of(won)
    return replace(
        gap,
        homes_won=spread.mean,
        won_low=spread.low,
        won_high=spread.high,
        often=float((won > 0).mean()),
    )


def best_gaps(
    draws: Sequence[GapsInDraw], most: int, *, first: Sequence[int] = ()
) -> tuple[list[int], Array]:
    """Take, one after the other, the gap that wins most on average over the draws.

    Or those that are put `first`, in their order, where they win more together.

    Parameters
    ----------
    draws
        From `gaps_in_draw`, D of them, of the same gaps.
    most
        How many gaps at most; it ends before where none wins anything in any draw.
    first
        Places of gaps that win most together with the figures in use.

    Returns
    -------
    order
        Places of the gaps.
    won
        Shape (D, gaps taken): linked homes won, those before it being there.
    """
    singly = _one_after_the_other(draws, most)
    in_order = list(first), _won_in_order(draws, first)
    if in_order[1].sum() > singly[1].sum() * (1 + _ALIKE):
        return in_order
    return singly


def _won_in_order(draws: Sequence[GapsInDraw], order: Sequence[int]) -> Array:
    """Shape (D, gaps): linked homes won, those before each being there."""
    won = np.zeros((len(draws), len(order)))
    for row, one in zip(won, draws, strict=True):
        network = one.growing()
        for at, gap in enumerate(order):
            if (link := one.links[gap]) is not None:
                row[at] = network.add(*link)
    return won


def _one_after_the_other(draws: Sequence[GapsInDraw], most: int) -> tuple[list[int], Array]:
    networks = [one.growing() for one in draws]
    left = list(range(len(draws[0].links)))
    order: list[int] = []
    columns: list[Array] = []
    while left and len(order) < most:
        won = np.array(
            [
                [0.0 if (link := one.links[at]) is None else network.gain(*link) for at in left]
                for one, network in zip(draws, networks, strict=True)
            ]
        )
        mean = won.mean(axis=0)
        if mean.max() <= 0:
            break
        best = int(np.argmax(mean >= mean.max() * (1 - _ALIKE)))
        chosen = left.pop(best)
        order.append(chosen)
        columns.append(won[:, best])
        for one, network in zip(draws, networks, strict=True):
            if (link := one.links[chosen]) is not None:
                network.add(*link)
    return order, np.array(columns).reshape(len(order), len(draws)).T
