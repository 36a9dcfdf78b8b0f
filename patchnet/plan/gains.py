"""What a set of additions does for each group and need, here and on the plots around."""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from patchnet.assess.assessment import Assessment, GroupAnswer
from patchnet.assess.what_if_plot import TrialGroup
from patchnet.plan.plot_plan import GroupGain, NeedGain

__all__ = ["Linked", "gains_of"]

_LEAST = 1e-9


class Linked(NamedTuple):
    """Linked homes of one animal before and after, and the middle 90 in 100 of what is won."""

    before: float
    after: float
    won_low: float | None = None
    won_high: float | None = None


def gains_of(
    assessment: Assessment,
    plot: str,
    outcome: Mapping[str, TrialGroup],
    worth: Mapping[str, float],
    *,
    most: int,
    linked: Mapping[str, Linked] | None = None,
) -> tuple[tuple[GroupGain, ...], tuple[NeedGain, ...]]:
    """Compare the outcome of a set with today, group by group and need by need.

    Parameters
    ----------
    outcome
        The outcome per group.
    worth
        What each group adds to the joint worth, as a share of the most it could be.
    most
        How many of the plots that gain are named for each need.
    linked
        Linked homes over the draws; None: nothing was drawn.

    Returns
    -------
    tuple
        Groups that change, the one that adds most first; needs that change, likewise.
    """
    here = assessment.neighbourhood.plots.index.get_loc(plot)
    groups, needs = [], []
    for key, answer in assessment.groups.items():
        after = outcome[key]
        before = answer.homes.to_numpy()
        change = after.homes - before
        told = Linked(answer.measures.eca, after.linked) if linked is None else linked[key]
        if np.abs(change).max() <= _LEAST and abs(told.after - told.before) <= _LEAST:
            continue
        groups.append(
            GroupGain(
                group=key,
                linked_before=told.before,
                linked_after=told.after,
                homes_here_before=float(before[here]),
                homes_here_after=float(after.homes[here]),
                homes_around=float(change.sum() - change[here]),
                share=worth[key],
                won_low=told.won_low,
                won_high=told.won_high,
            )
        )
        needs += _needs(assessment, answer, after, here, most)
    groups.sort(key=lambda gain: -gain.share)
    rank = {gain.group: at for at, gain in enumerate(groups)}
    needs.sort(key=lambda gain: (rank[gain.group], -(gain.met_after - gain.met_before)))
    return tuple(groups), tuple(needs)


def _needs(
    assessment: Assessment, answer: GroupAnswer, after: TrialGroup, here: int, most: int
) -> list[NeedGain]:
    plots = assessment.neighbourhood.plots.index
    gains = []
    for sheet in answer.needs:
        key = sheet.need.key
        met_before = sheet.met.to_numpy()
        rise = after.met[key] - met_before
        months = list(sheet.need.months)
        enough = after.enough_by_month[key][here]
        enough_before = sheet.by_month.iloc[here][months].to_numpy(dtype=float)
        if rise.max() <= _LEAST and np.abs(enough - enough_before).max() <= _LEAST:
            continue
        rising = np.flatnonzero(rise > _LEAST)
        first = rising[np.lexsort((rising, -rise[rising]))][:most]
        room = float(sheet.room.iloc[here])
        room_after = float(after.room_within[key][here])
        more = enough > enough_before + _LEAST
        closed = more & (enough_before < room) & (enough >= room_after)
        gains.append(
            NeedGain(
                group=answer.group.key,
                need=key,
                met_before=float(met_before[here]),
                met_after=float(after.met[key][here]),
                enough_before=float(sheet.enough.iloc[here]),
                enough_after=float(after.enough[key][here]),
                plots=tuple((str(plots[k]), float(rise[k])) for k in first),
                plots_count=int(rising.size),
                hungry_months_closed=tuple(
                    month for month, now in zip(months, closed, strict=True) if now
                ),
            )
        )
    return gains
