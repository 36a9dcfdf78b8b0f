"""Gaps in fences as part of a street's plan: chosen once the things on the plots are."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np

from patchnet.assess.assessment import Assessment, FenceGap
from patchnet.assess.fences import fence_gaps
from patchnet.assess.links_in_draws import best_gaps, gaps_in_draw

__all__ = ["ChosenGap", "choose_gaps"]

_MORE = 4  # times as many gaps as are wanted are looked at: some neighbours take no part


@dataclass(frozen=True, slots=True)
class ChosenGap:
    """A gap for one animal: linked homes won on top of those before, and joint worth."""

    group: str
    gap: FenceGap
    homes: float
    worth: float


def choose_gaps(
    planned: Assessment,
    taking_part: Collection[str],
    *,
    weight: Mapping[str, float],
    first: float,
    most: int,
) -> tuple[ChosenGap, ...]:
    """Choose gaps in fences between plots that take part (or open ground), the best first.

    Parameters
    ----------
    planned
        The street with the plan's things in it.
    taking_part
        Ids of plots.
    weight, first
        Votes of each animal, and homes (see `patchnet.plan.joint_worth.Currency`).
    most
        Most gaps for each animal that walks.
    """
    least = planned.knowledge.setting("plan_gain_least")
    found: list[ChosenGap] = []
    for key, answer in planned.groups.items():
        if answer.ground is None:
            continue
        able = [
            gap
            for gap in fence_gaps(planned, key, most=_MORE * most)
            if any(gap.plots) and all(side is None or side in taking_part for side in gap.plots)
        ]
        if not able:
            continue
        order, won = best_gaps([gaps_in_draw(able, answer)], most)
        before = answer.measures.eca
        for at, homes in zip(order, won[0].tolist(), strict=True):
            if homes < least:
                continue
            worth = weight[key] * float(np.log((before + homes + first) / (before + first)))
            found.append(ChosenGap(key, able[at], homes, worth))
            before += homes
    return tuple(sorted(found, key=lambda one: (-one.worth, one.group, one.gap.key)))
