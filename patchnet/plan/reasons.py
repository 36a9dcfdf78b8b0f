"""Why a thing is asked for, in facts that one can check by looking over the fence."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment, GroupAnswer, PlotAnswer
from patchnet.assess.supply import anchor_places, patches, supply_of
from patchnet.knowledge.records import Need
from patchnet.plan.plot_plan import Addition, NeedGain, Reason
from patchnet.plan.waiting import in_time

__all__ = ["reasons_for"]

Array = NDArray[np.float64]
_SERVED = 3  # animals that win most by a thing: what it feeds others is not told
_PLOTS = 2  # plots that have one too are named up to so many


def reasons_for(
    assessment: Assessment,
    answer: PlotAnswer,
    addition: Addition,
    needs: Sequence[NeedGain],
    amounts: Array,
) -> tuple[Reason, ...]:
    """Return why a thing is asked for: what nobody near has, what it joins, what it feeds when.

    Parameters
    ----------
    assessment
        The neighbourhood as it is.
    answer
        The plot.
    addition
        The thing, with the animals it serves.
    needs
        Needs that the whole set meets better.
    amounts
        Shape (F,): what is on the plot today, each feature in its own unit.

    Returns
    -------
    tuple
        The one that can be checked most easily first.
    """
    return (
        _near(answer, addition),
        *_joined(assessment, answer, addition, amounts),
        *_shared(assessment, answer, addition),
        *_fed(assessment, addition, needs),
    )


def _near(answer: PlotAnswer, addition: Addition) -> Reason:
    """How many plots in view have one, and the nearest."""
    feature = addition.candidate.feature
    found = next((one for one in answer.near if one.feature == feature), None)
    if found is None:
        return Reason("nobody", metres=answer.view_m)
    if found.plots <= _PLOTS:
        return Reason("few", metres=answer.view_m, plots=found.nearest[:_PLOTS])
    return Reason("some", metres=answer.view_m, counts=(found.plots,), plots=found.nearest[:1])


def _joined(
    assessment: Assessment, answer: PlotAnswer, addition: Addition, amounts: Array
) -> list[Reason]:
    """Parts of a network that the plot would join, for an animal that flies and gains by it."""
    knowledge = assessment.knowledge
    features = assessment.neighbourhood.answers.features
    more = in_time({addition.candidate.feature: addition.candidate.amount}, knowledge)
    after = (amounts + [more.get(key, 0.0) for key in features])[None, :]
    supply = supply_of(after, knowledge)
    here = int(assessment.neighbourhood.plots.index.get_loc(answer.plot))
    found = []
    for key, _won in addition.groups:
        group = assessment.groups[key]
        if group.ground is not None or bool(group.patch.iloc[here]):
            continue
        places = anchor_places(after, supply, knowledge, group.group)
        if patches(supply, knowledge, group.group, places)[0]:
            parts = _parts_at(group, here)
            if len(parts) > 1:
                found.append(Reason("joins", group=key, counts=tuple(parts)))
    return found[:1]


def _parts_at(group: GroupAnswer, here: int) -> list[int]:
    """Patches of each part of the network that is one move away, the largest part first."""
    moves = group.reach.moves
    near = moves.length_mm <= round(group.group.hop.value * 1000)
    other = np.r_[moves.j[near & (moves.i == here)], moves.i[near & (moves.j == here)]]
    component = group.component.to_numpy()
    parts = sorted({int(one) for one in component[other] if one >= 0})
    return sorted((int((component == one).sum()) for one in parts), reverse=True)


def _shared(assessment: Assessment, answer: PlotAnswer, addition: Addition) -> list[Reason]:
    """What it gives that more plots than not share, who all have too little: why many are told so.

    Homes rise together until such a set can take no more (`patchnet.assess.sharing`): what is
    short there is short for each of them.
    """
    short = {one.group: one.shortage for one in answer.groups}
    given = set(addition.needs)
    for key, _won in addition.groups[:_SERVED]:
        shortage = short.get(key)
        if shortage is None or (key, shortage.need) not in given:
            continue
        if 2 * len(shortage.sharers) > len(assessment.neighbourhood.plots):
            return [
                Reason(
                    "shared", group=key, need=shortage.need, counts=(len(shortage.sharers),),
                    months=shortage.months,
                )
            ]  # fmt: skip
    return []


def _fed(assessment: Assessment, addition: Addition, needs: Sequence[NeedGain]) -> list[Reason]:
    """The need it meets for most plots, and the hungry months it closes here."""
    given = set(addition.needs)
    served = {key for key, _won in addition.groups[:_SERVED]}
    mine = [
        one
        for one in needs
        if (one.group, one.need) in given and one.group in served and one.plots_count > 1
    ]
    found = []
    # Only flowers come and go by the month: what a bird drinks is short all year or not at all.
    flowers = [
        one
        for one in mine
        if one.hungry_months_closed
        and assessment.knowledge.resources[_need_of(assessment, one).resource].by_month
    ]
    closed = sorted({month for one in flowers for month in one.hungry_months_closed})
    if closed:
        view = max(_need_of(assessment, one).reach.value for one in flowers)
        found.append(Reason("months", metres=view, months=tuple(closed)))
    if mine:
        most = max(mine, key=lambda one: one.plots_count)
        found.append(Reason("feeds", group=most.group, need=most.need, counts=(most.plots_count,)))
    return found


def _need_of(assessment: Assessment, gain: NeedGain) -> Need:
    needs = assessment.groups[gain.group].group.needs
    return next(one for one in needs if one.key == gain.need)
