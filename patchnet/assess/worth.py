"""What linked homes of several animals are worth together: a common currency."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from patchnet.knowledge.records import Group

__all__ = ["vote_shares", "worth_gained"]

Array = NDArray[np.float64]


def vote_shares(groups: Iterable[Group]) -> Array:
    """Return the share of each of G animals in the votes of all of them, shape (G,), 0-1.

    Parameters
    ----------
    groups
        The animals; the tables say how many votes each has.
    """
    votes = np.array([group.weight.value for group in groups])
    return np.asarray(votes / votes.sum())


def worth_gained(linked: Array, now: Array, first: float) -> Array:
    """Worth of going from `now` to `linked` homes: log(linked + first) - log(now + first).

    A home more is worth the more the fewer there are, so no animal speaks for all. `first` (the
    setting ``worth_first_homes``) keeps it finite where there is none yet: the first homes of an
    animal are worth much, not everything.

    Parameters
    ----------
    linked, now
        Linked homes, shapes that broadcast.
    first
        Homes, above 0.

    Returns
    -------
    array
        The joint shape: worth, a number without unit.

    Examples
    --------
    >>> worth_gained(np.array([0.5, 10.5]), np.array([0.0, 10.0]), 0.5).round(3).tolist()
    [0.693, 0.047]
    """
    return np.asarray(np.log((linked + first) / (now + first)))
