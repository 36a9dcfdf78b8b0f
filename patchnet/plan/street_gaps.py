"""Gaps in fences as part of a street's plan: which there could be, and which are opened.

A gap is a hole: it is open to every animal that walks. So it is judged for all of them together,
beside the things of the plan, in the same draws.
"""

from collections.abc import Collection, Sequence

import numpy as np

from patchnet.assess.assessment import Assessment, FenceGap
from patchnet.assess.fences import fence_gaps
from patchnet.plan.street_in_draws import SomeDraws, StreetInDraws

__all__ = ["best_open", "possible_gaps"]

_MORE = 4  # times as many gaps as are wanted are looked at: some neighbours take no part
_NEXT = 4  # gaps that promised most are judged anew
_TIE = 1e-9


def possible_gaps(
    assessment: Assessment, taking_part: Collection[str], *, most: int
) -> tuple[FenceGap, ...]:
    """Gaps between plots that take part, or such a plot and open ground, in the order of keys.

    Parameters
    ----------
    assessment
        The street, as it is or with a plan's things in it.
    taking_part
        Ids of plots.
    most
        Gaps wanted; several times as many are returned for each animal that walks.
    """
    found: dict[int, FenceGap] = {}
    for key, answer in assessment.groups.items():
        if answer.ground is None:
            continue
        for gap in fence_gaps(assessment, key, most=_MORE * most):
            able = all(side is None or side in taking_part for side in gap.plots)
            if able and any(gap.plots):
                found.setdefault(gap.key, gap)
    return tuple(found[key] for key in sorted(found))


def best_open(
    street: StreetInDraws,
    able: Sequence[int],
    now: frozenset[int],
    *,
    most: int,
    draws: SomeDraws | None,
    exact: bool,
    promise: dict[int, float] | None = None,
) -> frozenset[int]:
    """Open and close gaps one by one while that wins anything; the weakest for another at last.

    Parameters
    ----------
    street
        With the plan so far, in which the gaps `now` are open.
    able
        Keys of the gaps there could be.
    now
        Those that are open.
    most
        Most gaps.
    draws, exact
        As in `StreetInDraws.won`.
    promise
        Joint worth (a number without unit) that each gap won when it was last judged, kept up
        here; all are judged where it is empty.

    Returns
    -------
    frozenset
        Keys of the gaps to open; `now` where nothing is better.
    """
    chosen, value = now, 0.0
    promise = {} if promise is None else promise
    promise |= {key: np.inf for key in able if key not in promise}

    def worth(trials: Sequence[frozenset[int]]) -> list[float]:
        if not trials:
            return []
        won, __ = street.won_by_gaps(trials, few=draws, exact=exact)
        means: list[float] = won.mean(axis=0).tolist()
        return means

    while len(chosen) < most:
        order = sorted(set(able) - chosen, key=lambda key: (-promise[key], key))
        new = [key for key in order if exact or np.isinf(promise[key])]
        asked = new or [key for key in order[:_NEXT] if promise[key] > _TIE]
        if not asked:
            break
        won = worth([chosen | {key} for key in asked])
        promise |= {key: each - value for key, each in zip(asked, won, strict=True)}
        best = max(asked, key=lambda key: (promise[key], -key))
        if promise[best] <= _TIE:
            if new:
                break
            continue
        chosen, value = chosen | {best}, value + promise[best]
    left = sorted(chosen)
    trials = [chosen - {key} for key in left]
    won = worth(trials)
    out = sorted(set(able) - chosen, key=lambda key: (-promise[key], key))
    # What is given up for another is what would be missed least.
    least = sorted(range(len(left)), key=lambda at: (-won[at], left[at]))
    given = left if exact else [left[at] for at in least[:1]]
    swaps = [chosen - {key} | {one} for key in given for one in (out if exact else out[:_NEXT])]
    trials, won = [*trials, *swaps], [*won, *worth(swaps)]
    if trials:
        top = max(range(len(trials)), key=lambda at: (won[at], -at))
        # What wins as much with a gap less is done with a gap less.
        fewer = len(trials[top]) < len(chosen)
        if won[top] > value + _TIE or (fewer and won[top] > value - _TIE):
            chosen, value = trials[top], won[top]
    return chosen if value > _TIE or len(chosen) < len(now) else now
