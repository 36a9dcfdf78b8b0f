"""Which door to knock on next: to settle the answer for the street, or one plot's plan."""

from collections.abc import Callable, Collection, Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.draws import drawn_amounts
from patchnet.assess.next_door import (
    Door,
    Look,
    NextDoors,
    doors_for_street,
    open_answers,
    spared_plots,
    where_to_look,
)
from patchnet.assess.over_draws import draws_of
from patchnet.assess.worth_of_knowing import worth_of_all, worth_of_places
from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.plan.facts import PlotFacts
from patchnet.plan.in_draws import judge_in_draws
from patchnet.plan.plan_plot import Adviser

__all__ = ["next_doors"]

_LEAST = 2


def next_doors(
    assessment: Assessment,
    *,
    plot: str | None = None,
    facts: PlotFacts | None = None,
    spared: Collection[str] = (),
    draws: int | None = None,
    seed: int = 0,
    processes: int | None = 1,
    progress: Callable[[Iterable[Any]], Iterable[Any]] | None = None,
) -> NextDoors:
    """Say which door to knock on next and what to look for there.

    For the whole street it is the door that takes most doubt from the joint worth of the animals
    asked for, or of one animal from its linked homes. With a plot it is the door whose answers
    would best help to choose what that plot should add; for that the answer is worked out many
    times with other guesses of what nobody looked at, and with the figures in use.

    Parameters
    ----------
    assessment
        The answer that is to be settled.
    plot
        Id of the plot whose plan is to be settled; None: the whole street.
    facts
        What the householder of that plot says; nothing where None.
    spared
        Ids of plots at which nobody is to knock. Those whose household said no never are.
    draws
        How many draws for a plot; None: as many as the setting ``draws`` says.
    seed
        Of the draws.
    processes
        How many processes; None: one a core. Scripts that ask for more than one must have their
        main part under ``if __name__ == "__main__"``.
    progress
        Wraps what is worked through, such as a progress bar.

    Returns
    -------
    NextDoors
        The doors that settle most first; `NextDoors.looks` has the order of what to ask.

    Raises
    ------
    WrongUse
        If there is no such plot, the answer is for the public, or a plot's plan is asked for
        with fewer than two draws.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["newt"], straight=True)
    >>> patchnet.next_doors(answer, plot="M15B", draws=4).draws
    4
    """
    if plot is None:
        return doors_for_street(assessment, spared=spared, progress=progress)
    assessment.neighbourhood.row_of(plot)
    is_open = open_answers(assessment)
    count = round(assessment.knowledge.setting("draws")) if draws is None else draws
    unknown = int(is_open.sum())
    if not unknown:
        return NextDoors(assessment, plot, (), 0, 0.0)
    if count < _LEAST:
        raise WrongUse(
            _("To find the door that helps one plot's plan takes draws: give --draws 50 or more.")
        )
    adviser = Adviser(assessment)
    uncertain = draws_of(assessment, count, seed, held=True)
    judged = judge_in_draws(
        uncertain,
        plot,
        adviser.options(plot, facts),
        weight=adviser.currency.weight,
        first=adviser.currency.first,
        processes=processes,
        progress=progress,
    )
    # Nothing added is an option too.
    worth = np.column_stack([judged.worth, np.zeros(count)])
    there = np.array(
        [
            drawn_amounts(
                uncertain.neighbourhood, assessment.knowledge, uncertain.prior, seed=seed, draw=draw
            )[is_open]
            > 0
            for draw in range(count)
        ]
    )
    whole = worth_of_all(worth)
    doors = _doors(assessment, worth, there, is_open, spared_plots(assessment, spared), seed)
    return NextDoors(
        assessment, plot, doors, unknown, whole, count, float(worth.mean(axis=0).max())
    )


def _doors(
    assessment: Assessment,
    worth: NDArray[np.float64],
    there: NDArray[np.bool_],
    is_open: NDArray[np.bool_],
    left_out: Collection[str],
    seed: int,
) -> tuple[Door, ...]:
    hood = assessment.neighbourhood
    row, column = np.nonzero(is_open)
    names = [str(plot) for plot in hood.plots.index]
    asked = np.array([names[at] not in left_out for at in row.tolist()], dtype=bool)
    rows, place = np.unique(row[asked], return_inverse=True)
    columns = column[asked]
    whole = worth_of_all(worth)
    doors = []
    for one in worth_of_places(worth, there[:, asked], place.reshape(-1), seed=seed):
        at = int(rows[one.place])
        kind = str(hood.plots["kind"].iloc[at])
        keys = [(hood.answers.features[int(columns[k])], alone) for k, alone in one.answers]
        looks = tuple(
            Look(key, where_to_look(assessment.knowledge, kind, key), min(alone / whole, 1.0))
            for key, alone in keys
        )
        share, together = min(one.worth / whole, 1.0), min(one.together / whole, 1.0)
        doors.append(Door(names[at], share, together, looks))
    return tuple(doors)
