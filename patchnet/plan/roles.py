"""What part a thing plays in a set: plants, water and soil first, then boxes, feeding last.

Common practice, and the order of the handbooks (`tests/calibration/tiers.csv`): a box is of use
where food is. This is a guard on top of the ranking, and does no ranking of its own.
"""

from collections.abc import Iterable

from patchnet.knowledge.records import Knowledge
from patchnet.plan.plot_plan import Candidate

__all__ = ["has_living", "is_feeding", "is_living", "role"]

_ROLES = (("flowers", "grass", "woody", "water", "decay", "soil"), ("habit",), ("box", "other"))


def role(feature: str, knowledge: Knowledge) -> int:
    """Place of a feature's sort in the order: 0 planted, watered or opened; 3 feeding.

    Parameters
    ----------
    feature
        Key of the feature.
    knowledge
        For its sort.
    """
    sort = knowledge.features[feature].sort
    return next((at for at, sorts in enumerate(_ROLES) if sort in sorts), len(_ROLES))


def is_living(feature: str, knowledge: Knowledge) -> bool:
    """Whether a feature is something planted, watered or opened.

    Parameters
    ----------
    feature
        Key of the feature.
    knowledge
        For its sort.
    """
    return role(feature, knowledge) == 0


def is_feeding(feature: str, knowledge: Knowledge) -> bool:
    """Whether a feature is food that is put out: the last in the order.

    Parameters
    ----------
    feature
        Key of the feature.
    knowledge
        For its sort.
    """
    return role(feature, knowledge) == len(_ROLES)


def has_living(candidates: Iterable[Candidate], knowledge: Knowledge) -> bool:
    """Whether one of some things is planted, watered or opened.

    Parameters
    ----------
    candidates
        The things.
    knowledge
        For their sorts.
    """
    return any(is_living(one.feature, knowledge) for one in candidates)
