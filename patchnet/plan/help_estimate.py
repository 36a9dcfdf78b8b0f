"""What each thing on each plot would win, nearly and at once: to know which few to judge exactly.

Nothing is shared anew. Of a need, what is added feeds homes within reach that it holds back; of
what an animal lives in, it makes places, as far as the ground can hold more and as the homes that
are there leave something to live on; and a plot that becomes a stop within one move of both sides
of the best break closes it. All else stays.
"""

from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment, GroupAnswer
from patchnet.assess.lodging import Pool
from patchnet.assess.sharing import combine_months
from patchnet.assess.supply import anchor_places, patches, resource_months, supply_of
from patchnet.plan.joint_worth import common_currency
from patchnet.plan.waiting import in_time

__all__ = ["estimated_worth"]

Array = NDArray[np.float64]
_USUAL = 2  # column of the places at usual use


def estimated_worth(
    assessment: Assessment,
    features: Sequence[str],
    *,
    closed: Collection[str] = (),
    groups: Collection[str] | None = None,
) -> Array:
    """Estimate the joint worth of the usual amount of each feature on each plot.

    Parameters
    ----------
    assessment
        The street as it is, n plots.
    features
        Keys of F features.
    closed
        Keys of animals whose best break counts as closed already.
    groups
        Keys of the animals that count; None: all.

    Returns
    -------
    array
        Shape (n, F), joint worth as in `patchnet.plan.joint_worth.Currency`: good for a short
        list, not for telling.
    """
    know, hood = assessment.knowledge, assessment.neighbourhood
    columns = [hood.answers.features.index(key) for key in features]
    amounts = np.zeros((len(features), len(hood.answers.features)))
    for row, (key, column) in enumerate(zip(features, columns, strict=True)):
        counted = in_time({key: know.features[key].typical.value}, know)
        amounts[row, column] = counted[key]
    supply = supply_of(amounts, know)
    currency = common_currency(assessment)
    worth = np.zeros((len(hood.plots), len(features)))
    answers = assessment.groups.values()
    for answer, vote, now in zip(
        answers, currency.weight.tolist(), currency.now.tolist(), strict=True
    ):
        if groups is not None and answer.group.key not in groups:
            continue
        won = _places_won(assessment, answer, amounts, supply)
        won += _needs_won(assessment, answer, supply)
        held = float(answer.homes.sum())
        won *= now / held if held > 0 else 1.0
        if answer.group.key not in closed:
            won += _break_won(assessment, answer, amounts, supply)
        worth += vote * np.log((now + won + currency.first) / (now + currency.first))
    return worth


def _needs_won(assessment: Assessment, answer: GroupAnswer, supply: Array) -> Array:
    lacking = np.maximum(answer.room.to_numpy() - answer.homes.to_numpy(), 0.0)
    scarcest = answer.scarcest.to_numpy(dtype=object)
    won = np.zeros((len(lacking), len(supply)))
    for need in answer.group.needs:
        here = np.where(scarcest == need.key, lacking, 0.0)
        if not here.any():
            continue
        pull = np.asarray(answer.reach.within(need.reach.value) @ here)
        months = resource_months(supply, assessment.knowledge, need.resource, need.months)
        feeds = combine_months(months / need.amount.value, worst=need.month_rule == "worst")
        won += np.minimum(np.asarray(feeds)[None, :], pull[:, None])
    return won


def _places_won(
    assessment: Assessment, answer: GroupAnswer, amounts: Array, supply: Array
) -> Array:
    places = anchor_places(amounts, supply, assessment.knowledge, answer.group)[:, _USUAL]
    homes = answer.homes.to_numpy()
    won = np.tile(places, (len(homes), 1))
    if answer.pool is not None:
        won *= _left(answer.pool, answer.places[:, _USUAL])[:, None]
    scarcest, helped = np.ones_like(won), np.ones_like(won)
    some = won > 0
    for sheet in answer.needs:
        # What the homes that are there leave of it feeds new ones.
        taken = np.asarray(answer.reach.within(sheet.need.reach.value) @ homes)
        spare = np.maximum(sheet.enough.to_numpy() - taken, 0.0)[:, None]
        met = np.where(some, np.minimum(spare / np.where(some, won, 1.0), 1.0), 1.0)
        floor = sheet.need.floor.value
        if floor > 0:
            helped *= floor + (1.0 - floor) * met
        else:
            scarcest = np.minimum(scarcest, met)
    return np.asarray(won * scarcest * helped)


def _left(pool: Pool, expected: Array) -> Array:
    """Part of one home more on each plot that there is room for, shape (n,)."""
    full = pool.spread(expected[:, None])[:, 0] * pool.area / pool.most
    return np.asarray(pool.quick @ (pool.area * np.exp(-full))) / pool.within


def _break_won(assessment: Assessment, answer: GroupAnswer, amounts: Array, supply: Array) -> Array:
    plots = assessment.neighbourhood.plots
    won = np.zeros((len(plots), len(amounts)))
    if not answer.breaks:
        return won
    best = max(answer.breaks, key=lambda one: one.homes_won)
    ends = [plots.geometry.loc[plot] for plot in (best.from_plot, best.to_plot)]
    away = np.column_stack([plots.geometry.distance(end).to_numpy() for end in ends])
    between = (away <= answer.group.hop.value).all(axis=1) & ~answer.patch.to_numpy(dtype=bool)
    places = anchor_places(amounts, supply, assessment.knowledge, answer.group)
    stop = patches(supply, assessment.knowledge, answer.group, places)
    won[np.ix_(between, stop)] = best.homes_won
    return won
