"""One plot among its neighbours: what it has, what they give, what is scarcest."""

from collections.abc import Iterable

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from patchnet.assess.assessment import (
    Assessment,
    Giver,
    GroupAnswer,
    HasFeature,
    NearFeature,
    NeedAtPlot,
    NeedSheet,
    PlotAnswer,
    PlotGroup,
)
from patchnet.core.texts import _

__all__ = ["plot_answer"]

Array = NDArray[np.float64]


def plot_answer(
    assessment: Assessment,
    plot: str,
    *,
    groups: Iterable[str] | None = None,
    most: int = 3,
) -> PlotAnswer:
    """Answer for one plot what its neighbours give it and what is scarcest within reach.

    Parameters
    ----------
    assessment
        The answer for the neighbourhood.
    plot
        Id of the plot.
    groups
        Keys of groups among those assessed; all of them where None.
    most
        How many of the nearest plots are named for each feature and need.

    Returns
    -------
    PlotAnswer
        Distances in metres, amounts in each feature's own unit, supplies in homes.

    Raises
    ------
    WrongUse
        If there is no such plot, or a group was not assessed.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> wren = patchnet.plot_answer(answer, "M15B").groups[0]
    >>> [need.name for need in wren.needs][:1]
    ['insects']
    """
    neighbourhood, knowledge = assessment.neighbourhood, assessment.knowledge
    plots = neighbourhood.plots
    here = neighbourhood.row_of(plot)
    wanted = assessment.groups if groups is None else groups
    chosen = [assessment.groups[key] for key in wanted]
    shapes = plots.geometry.to_numpy()
    # As everywhere, distances are whole millimetres.
    distance = np.round(shapely.distance(shapes, shapes[here]) * 1000) / 1000
    view = knowledge.setting("view_m")
    answers = neighbourhood.answers
    row = answers.amount[here]
    record = plots.loc[plot]
    return PlotAnswer(
        plot=plot,
        label=str(record["label"]),
        kind=str(record["kind"]),
        area_m2=float(record["area_m2"]),
        has=tuple(
            HasFeature(
                feature,
                float(row[at]),
                bool(answers.sized[here, at]),
                bool(answers.sure[here, at]),
            )
            for at, feature in enumerate(answers.features)
            if row[at] > 0
        ),
        not_known=tuple(
            feature
            for at, feature in enumerate(answers.features)
            if np.isnan(row[at]) and not knowledge.features[feature].unseen
        ),
        assumed=tuple(
            (feature, float(assessment.amounts[here, at]))
            for at, feature in enumerate(answers.features)
            if np.isnan(row[at]) and knowledge.features[feature].unseen
            if assessment.amounts[here, at] > 0
        ),
        near=_near(assessment, here, distance, view, most),
        neighbours_not_known=_not_known(assessment, here, distance, view),
        view_m=view,
        groups=tuple(_plot_group(assessment, answer, here, distance, most) for answer in chosen),
        draws=assessment.draws,
    )


def _near(
    assessment: Assessment, here: int, distance: Array, view: float, most: int
) -> tuple[NearFeature, ...]:
    """Features that other plots in view are known to have, the nearest first."""
    answers = assessment.neighbourhood.answers
    in_view = distance <= view
    in_view[here] = False
    found = []
    for at, feature in enumerate(answers.features):
        having = np.flatnonzero(in_view & (answers.amount[:, at] > 0))
        if having.size == 0:
            continue
        nearest = having[np.lexsort((having, distance[having]))][:most]
        found.append(
            NearFeature(
                feature,
                int(having.size),
                tuple((str(answers.plots[k]), float(distance[k])) for k in nearest),
            )
        )
    return tuple(found)


def _not_known(
    assessment: Assessment, here: int, distance: Array, view: float
) -> tuple[tuple[str, float, float], ...]:
    """Plots in view of which something is not known, the nearest first."""
    share = 1 - assessment.known_share.to_numpy()
    places = np.flatnonzero((distance <= view) & (share > 0))
    places = places[places != here]
    ordered = places[np.lexsort((places, distance[places]))]
    index = assessment.neighbourhood.plots.index
    return tuple((str(index[k]), float(distance[k]), float(share[k])) for k in ordered)


def _plot_group(
    assessment: Assessment, answer: GroupAnswer, here: int, distance: Array, most: int
) -> PlotGroup:
    homes, low, high = (float(told.iloc[here]) for told in answer.homes_told)
    return PlotGroup(
        group=answer.group.key,
        room=float(answer.room_told.iloc[here]),
        room_within=float(answer.room_within.iloc[here]),
        quality=float(answer.quality.iloc[here]),
        homes=homes,
        homes_low=low,
        homes_high=high,
        patch=bool(answer.patch.iloc[here]),
        scarcest=str(answer.scarcest.iloc[here]),
        shortage=answer.shortage.iloc[here],
        needs=tuple(
            _need_at_plot(
                assessment,
                sheet,
                tuple(float(end.iloc[here]) for end in answer.enough_told(at)),
                here,
                distance,
                answer.reach.row(sheet.need.reach.value, here),
                most,
            )
            for at, sheet in enumerate(answer.needs)
        ),
    )


def _need_at_plot(
    assessment: Assessment,
    sheet: NeedSheet,
    ends: tuple[float, ...],
    here: int,
    distance: Array,
    within: NDArray[np.intp],
    most: int,
) -> NeedAtPlot:
    need, knowledge = sheet.need, assessment.knowledge
    enough, room = float(sheet.enough.iloc[here]), float(sheet.room.iloc[here])
    by_month: pd.Series = sheet.by_month.iloc[here]
    hungry: pd.Series = sheet.hungry.iloc[here]
    givers = _givers(assessment, sheet, distance, within)
    return NeedAtPlot(
        need=need.key,
        name=need.name,
        resource=need.resource,
        reach_m=need.reach.value,
        enough=enough,
        enough_low=ends[0],
        enough_high=ends[1],
        room=room,
        met=float(sheet.met.iloc[here]),
        standing=_standing(enough, room, knowledge.setting("plenty_ratio")),
        months=tuple((month, float(by_month[month])) for month in need.months),
        hungry_months=tuple(month for month in need.months if hungry[month]),
        givers=givers[:most],
        giver_count=len(givers),
    )


def _givers(
    assessment: Assessment, sheet: NeedSheet, distance: Array, within: NDArray[np.intp]
) -> tuple[Giver, ...]:
    """Plots known to give the need's resource, the nearest first; this plot too (0 m)."""
    need, knowledge = sheet.need, assessment.knowledge
    answers = assessment.neighbourhood.answers
    resource = list(knowledge.resources).index(need.resource)
    months = np.asarray(need.months) - 1
    per_unit = knowledge.supply_array[:, resource, :][:, months].mean(axis=1)
    known = np.nan_to_num(answers.amount[within]) * per_unit
    giving = np.flatnonzero(known.sum(axis=1) > 0)
    ordered = giving[np.lexsort((within[giving], distance[within[giving]]))]
    return tuple(
        Giver(
            plot=str(answers.plots[within[k]]),
            distance_m=float(distance[within[k]]),
            amount=float(known[k].sum()),
            features=tuple(answers.features[f] for f in np.flatnonzero(known[k] > 0)),
        )
        for k in ordered
    )


def _standing(enough: float, room: float, plenty: float) -> str:
    if room <= 0:
        return _("no room")
    if enough < room:
        return "short"
    return "plenty" if enough >= plenty * room else "enough"
