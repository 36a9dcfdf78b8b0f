"""What it is worth to know something before choosing: expected value of partial information.

Over the draws each option's worth is regressed on what would be known; whoever knows it takes the
option that is then best on the mean. What that wins over the option that is best without knowing
is the worth of knowing (Strong, Oakley & Brennan 2014, Medical Decision Making 34:311-326).
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["KnownAt", "worth_of_all", "worth_of_knowing", "worth_of_places"]

Array = NDArray[np.float64]
_TOLD = 3  # things of one place that are known together
_SHUFFLES = 40
_CHANCE = 0.95
_ROUNDING = 1e-9


def worth_of_knowing(worth: Array, known: Array) -> float:
    """Return what is won on the mean by knowing something before choosing.

    Parameters
    ----------
    worth
        Shape (D, S): worth of each of S options in each of D draws.
    known
        Shape (D, p): what would be known, in each draw.

    Returns
    -------
    float
        In the unit of the worth, at least 0.

    Examples
    --------
    >>> rain = np.array([[1.0], [1.0], [0.0], [0.0]])
    >>> umbrella_or_not = np.column_stack([2 * rain[:, 0] - 1, np.zeros(4)])
    >>> worth_of_knowing(umbrella_or_not, rain)
    0.5
    """
    mean = worth.mean(axis=0)
    centred = known - known.mean(axis=0)
    square, upper = np.linalg.qr(centred)
    used = np.abs(np.diag(upper)) > _ROUNDING * max(1.0, float(np.abs(upper).max(initial=0.0)))
    square = square[:, used]
    fitted = mean + square @ (square.T @ worth)
    return max(float(fitted.max(axis=1).mean() - mean.max()), 0.0)


def worth_of_all(worth: Array) -> float:
    """Return what is won on the mean by knowing everything before choosing.

    Parameters
    ----------
    worth
        Shape (D, S): worth of each of S options in each of D draws.

    Returns
    -------
    float
        In the unit of the worth, at least 0.
    """
    return max(float(worth.max(axis=1).mean() - worth.mean(axis=0).max()), 0.0)


class KnownAt(NamedTuple):
    """What knowing the answers of one place is worth.

    Attributes
    ----------
    place
        Its position.
    worth
        On the mean, less what chance would give.
    together
        Worth of knowing it and all places before it.
    answers
        Positions of the answers that tell most, the best first, and what each is worth alone.
    """

    place: int
    worth: float
    together: float
    answers: tuple[tuple[int, float], ...]


def worth_of_places(
    worth: Array, there: NDArray[np.bool_], place_of: NDArray[np.intp], *, seed: int = 0
) -> tuple[KnownAt, ...]:
    """Return the places whose answers are worth knowing, the best first.

    Of each place the three answers that tell most by themselves are known together. Left out is
    what does no better than the best of all places with shuffled draws, in 95 of 100 shuffles;
    of the rest, what a place wins by chance is taken off.

    Parameters
    ----------
    worth
        Shape (D, S): worth of each option in each draw.
    there
        Shape (D, A): whether each answer is yes in each draw.
    place_of
        Shape (A,): the place of each answer, from 0.
    seed
        Of the shuffles.
    """
    luck = np.random.default_rng(seed)
    if not place_of.size or worth_of_all(worth) <= 0:
        return ()
    answers = there.astype(float)
    places = [np.flatnonzero(place_of == at) for at in range(int(place_of.max()) + 1)]
    alone, best, value = _told(worth, answers, places)
    chance, single = [], []
    shuffled = [luck.permutation(len(worth)) for __ in range(_SHUFFLES)]
    for order in shuffled:
        by_chance, __, of_places = _told(worth[order], answers, places)
        chance.append(of_places)
        single.append(by_chance)
    least = float(np.quantile(np.max(chance, axis=1), _CHANCE))
    own = np.mean(chance, axis=0)
    least_alone = np.quantile(single, _CHANCE, axis=0)
    alone_own = np.mean(single, axis=0)
    telling = [at for at in np.argsort(-value, kind="stable").tolist() if value[at] > least]
    found: list[KnownAt] = []
    columns: list[int] = []
    together = 0.0
    for at in telling:
        columns += best[at]
        rows = answers[:, columns]
        noise = np.mean([worth_of_knowing(worth[order], rows) for order in shuffled])
        net = float(value[at] - own[at])
        together = max(together, net, worth_of_knowing(worth, rows) - float(noise))
        named = [one for one in best[at] if alone[one] > least_alone[one]] or best[at][:1]
        each = tuple((one, float(max(alone[one] - alone_own[one], 0.0))) for one in named)
        found.append(KnownAt(at, net, together, each))
    return tuple(found)


def _told(
    worth: Array, answers: Array, places: Sequence[NDArray[np.intp]]
) -> tuple[Array, list[list[int]], Array]:
    """Worth of each answer alone; of each place its answers that tell most, and their worth."""
    mean = worth.mean(axis=0)
    top = float(mean.max())
    # Of a yes or no the regression is the two means.
    yes = answers.mean(axis=0)
    both = answers.T @ worth / len(worth)
    alone = both.max(axis=1) + (mean - both).max(axis=1) - top
    alone[(yes <= 0) | (yes >= 1)] = 0.0
    best, value = [], np.zeros(len(places))
    for place, columns in enumerate(places):
        order = columns[np.argsort(-alone[columns], kind="stable")][:_TOLD].tolist()
        best.append(order)
        if order:
            value[place] = worth_of_knowing(worth, answers[:, order])
    return np.maximum(alone, 0.0), best, value
