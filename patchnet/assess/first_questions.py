"""Which questions a survey asks first: those whose answers would settle most here.

The same measure as for doors (`next_door`): an answer that is "there" with chance t and makes a
difference d takes away t (1 - t) d^2. There is no answer yet of a street that nobody has looked
at, so d is told by the tables: the part of one home of each animal that hangs on the usual amount
of a feature, by vote. If the answers so far may count, t is the share of surveyed plots that have
the feature, and what is answered everywhere is not asked first. Else every t is a half: who has
not looked yet learns nothing of what others saw.
"""

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.unknown import learn_prior
from patchnet.assess.worth import vote_shares
from patchnet.knowledge.records import Group, Knowledge
from patchnet.knowledge.regions import lives_in
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["first_questions"]

Array = NDArray[np.float64]


def first_questions(
    neighbourhood: Neighbourhood, knowledge: Knowledge, *, by_answers: bool = False
) -> tuple[str, ...]:
    """Return the features to ask for first, what settles most first.

    They can be seen from the street, and are as many as the setting ``survey_first_questions``.

    Parameters
    ----------
    neighbourhood
        The street, with what is known of it.
    knowledge
        For what the features give to animals, of those that live here.
    by_answers
        Whether the answers so far count.

    Returns
    -------
    tuple of str
        Keys of features.
    """
    features = neighbourhood.answers.features
    chance, open_share = np.full(len(features), 0.5), np.ones(len(features))
    if by_answers:
        prior = learn_prior(neighbourhood).pooled
        strength = knowledge.setting("prior_strength")
        chance = (prior.having + strength / 2) / (prior.seen + strength)
        open_share = np.isnan(neighbourhood.answers.amount).mean(axis=0)
    given = _given(knowledge, neighbourhood.region, chance)
    settles = open_share * chance * (1 - chance) * given**2
    asked = [
        (-float(settles[at]), at, key)
        for at, key in enumerate(features)
        if knowledge.survey_questions[key].from_street
        and not knowledge.features[key].unseen
        and settles[at] > 0
    ]
    most = int(knowledge.setting("survey_first_questions"))
    return tuple(key for _, __, key in sorted(asked)[:most])


def _given(knowledge: Knowledge, region: str, chance: Array) -> Array:
    """Part of one home of all animals that hangs on each feature, shape (F,).

    `chance` (F,) is that of each feature to be there: what many things give hangs on none.
    """
    usual = np.array([one.typical.value for one in knowledge.features.values()])
    supply = knowledge.supply_array * usual[:, None, None]
    resource = {key: at for at, key in enumerate(knowledge.resources)}
    groups = [
        group
        for key, group in knowledge.groups.items()
        if group.usual and lives_in(key, region, knowledge) != "no"
    ]
    shares = vote_shares(groups).tolist()
    each = [
        share * _of_one_home(group, supply, resource, chance)
        for group, share in zip(groups, shares, strict=True)
    ]
    return np.asarray(np.sum(each, axis=0), dtype=np.float64)


def _of_one_home(group: Group, supply: Array, resource: dict[str, int], chance: Array) -> Array:
    """Sum over what one home needs, and what it lives in, of what hangs on each; shape (F,)."""
    given = np.zeros(len(supply))
    for need in group.needs:
        months = [month - 1 for month in need.months]
        there = supply[:, resource[need.resource]][:, months]
        had = there.mean(axis=1) if need.month_rule == "mean" else there.min(axis=1)
        given += need.weight.value * _hangs_on(had / need.amount.value, chance)
    lived_in = [
        supply[:, resource[one.resource]].mean(axis=1) / one.per_home.value for one in group.anchors
    ]
    return given + _hangs_on(np.max(lived_in, axis=0), chance)


def _hangs_on(homes: Array, chance: Array) -> Array:
    """Share of one home that is lost without each feature, where the others may be there too."""
    met = np.minimum(1.0, homes)
    others = (chance * met).sum() - chance * met
    return np.asarray(met**2 / np.where(met > 0, met + others, 1.0))
