"""How sure an answer is: the same worked out anew in many draws of all that is not sure.

In each draw every figure that has a range takes a value of it, and every answer that nobody gave
is given (`patchnet.assess.draws`); then everything is worked out as ever, by filling alike, over
the ground too. What people are told is the mean over the draws, so that before + change = after,
and the middle 90 of 100 of them. That is what our tables and the unseen gardens leave open; it
says nothing of what the tables themselves may have wrong beyond their ranges.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from patchnet.assess.assess import Street, assess_one_draw, farthest_m
from patchnet.assess.assessment import Asked, Assessment, GroupAnswer
from patchnet.assess.draws import RUN, Draws, drawn_amounts
from patchnet.assess.sharing import combine_months
from patchnet.assess.spread import GroupDoubt, Spread, spread_of
from patchnet.assess.supply import resource_months
from patchnet.assess.unknown import Prior, learn_prior
from patchnet.core.compiled import can_compile
from patchnet.core.named import Named
from patchnet.core.processes import in_processes
from patchnet.read.neighbourhood import Neighbourhood

__all__ = [
    "Doubt",
    "GroupDoubt",
    "Spread",
    "UncertainAnswer",
    "answers_in_draws",
    "doubt_of",
    "draws_of",
    "over_draws",
    "spread_of",
    "with_doubt",
]

Array = NDArray[np.float64]
Extra = TypeVar("Extra")
Result = TypeVar("Result")
_Row = tuple[Array, Array, list[Array]]


@dataclass(frozen=True, eq=False)
class Doubt:
    """How sure an answer is.

    Attributes
    ----------
    groups
        By animal.
    draws
        The draws that were taken.
    plots
        Ids of the n plots.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> patchnet.doubt_of(answer, draws=5).groups["wren"].homes.shape
    (5, 127)
    """

    groups: Mapping[str, GroupDoubt]
    draws: Draws
    plots: pd.Index


@dataclass(frozen=True, eq=False)
class UncertainAnswer:
    """All that the draws of an answer need.

    Attributes
    ----------
    neighbourhood
        n plots with their answers.
    asked
        How the answer was asked for.
    prior
        What plots that nobody looked at are like.
    draws
        The draws.
    """

    neighbourhood: Neighbourhood
    asked: Asked
    prior: Prior
    draws: Draws


def draws_of(
    assessment: Assessment,
    count: int,
    seed: int = 0,
    *,
    prior: Prior | None = None,
    held: bool = False,
) -> UncertainAnswer:
    """Return what is needed to draw an answer.

    Parameters
    ----------
    assessment
        The answer at the figures in use.
    count, seed
        How many draws, and of which seed.
    prior
        What plots that nobody looked at are like; None: as in the answer.
    held
        Whether figures stay at their values in use, see `patchnet.assess.draws.Draws`.
    """
    hood = assessment.neighbourhood
    prior = prior or assessment.prior or learn_prior(hood)
    draws = Draws(assessment.knowledge, tuple(assessment.groups), count, seed, held)
    return UncertainAnswer(hood, assessment.asked, prior, draws)


def answers_in_draws(uncertain: UncertainAnswer, numbers: Sequence[int]) -> Iterator[Assessment]:
    """Work an answer out anew in some of its draws, one after the other.

    Parameters
    ----------
    uncertain
        The answer.
    numbers
        Which draws, from 0.

    Returns
    -------
    Iterator
        Answers without balance sheets and breaks.
    """
    if not numbers:
        return
    hood, draws = uncertain.neighbourhood, uncertain.draws
    tables = {number: draws.tables(number) for number in numbers}
    farthest = max(farthest_m(one.groups[key] for key in draws.groups) for one in tables.values())
    street = Street(hood, uncertain.asked, farthest, compiled=can_compile() or None)
    for number, knowledge in tables.items():
        amounts = drawn_amounts(hood, knowledge, uncertain.prior, seed=draws.seed, draw=number)
        yield assess_one_draw(street, knowledge, draws.groups, amounts, uncertain.prior)


def over_draws(
    work: Callable[[Extra, Assessment], Result],
    extra: Extra,
    uncertain: UncertainAnswer,
    numbers: Sequence[int] | None = None,
    *,
    processes: int | None = 1,
) -> Iterator[Result]:
    """Do `work` on the answer in each draw, and give the results in the order of the draws.

    Parameters
    ----------
    work
        A function of a module, called with `extra` and the answer in one draw.
    extra
        Whatever the work needs; pickled where there are several processes, and so is the result.
    uncertain
        The answer.
    numbers
        Which draws; None: all.
    processes
        How many processes; None: one a core (see `patchnet.core.processes`).
    """
    asked = list(range(uncertain.draws.count) if numbers is None else numbers)
    blocks = [asked[first : first + RUN] for first in range(0, len(asked), RUN)]
    shared = (work, extra, uncertain)
    for results in in_processes(_in_block, shared, blocks, processes=processes):
        yield from results


def _in_block(
    shared: tuple[Callable[[Any, Assessment], Any], Any, UncertainAnswer], numbers: Sequence[int]
) -> list[Any]:
    work, extra, uncertain = shared
    return [work(extra, answer) for answer in answers_in_draws(uncertain, numbers)]


def doubt_of(
    assessment: Assessment,
    *,
    draws: int | None = None,
    seed: int = 0,
    processes: int | None = 1,
    progress: Callable[[Iterable[_Row]], Iterable[_Row]] | None = None,
) -> Doubt:
    """Work out how sure an answer is.

    Parameters
    ----------
    assessment
        The answer at the figures in use.
    draws
        How many draws; None: as many as the setting ``draws`` says.
    seed
        Of the draws.
    processes
        How many processes; None: one a core. Scripts that ask for more than one must have their
        main part under ``if __name__ == "__main__"``.
    progress
        Wraps the draws while they are taken, such as a progress bar.

    Returns
    -------
    Doubt
        Linked homes and homes on each plot in every draw, by animal.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> linked = patchnet.doubt_of(answer, draws=5).groups["wren"].linked_homes
    >>> linked.low <= linked.mean <= linked.high
    True
    """
    count = round(assessment.knowledge.setting("draws")) if draws is None else draws
    uncertain = draws_of(assessment, count, seed)
    rows = list(_wrapped(over_draws(_row, None, uncertain, processes=processes), progress))
    plots = assessment.neighbourhood.plots.index
    found = {}
    for at, (key, answer) in enumerate(assessment.groups.items()):
        needs = len(answer.group.needs)
        found[key] = GroupDoubt(
            linked=np.array([row[0][at] for row in rows]),
            homes=np.array([row[1][at] for row in rows]).reshape(count, len(plots)),
            enough=np.array([row[2][at] for row in rows]).reshape(count, needs, len(plots)),
        )
    return Doubt(found, uncertain.draws, plots)


def with_doubt(assessment: Assessment, doubt: Doubt) -> Assessment:
    """Return the answer with how sure it is, so that whoever shows it tells that.

    Parameters
    ----------
    assessment
        The answer.
    doubt
        From `doubt_of`.

    Returns
    -------
    Assessment
        The same, with `GroupAnswer.drawn`.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["wren"])
    >>> told = patchnet.with_doubt(answer, patchnet.doubt_of(answer, draws=5))
    >>> told.groups["wren"].linked_told == told.groups["wren"].drawn.linked_homes
    True
    """
    groups = {
        key: replace(answer, drawn=doubt.groups[key]) for key, answer in assessment.groups.items()
    }
    return replace(assessment, groups=Named(groups, "animal"))


def _wrapped(
    rows: Iterable[_Row], progress: Callable[..., Iterable[_Row]] | None
) -> Iterable[_Row]:
    return rows if progress is None else progress(rows)


def _row(extra: None, answer: Assessment) -> _Row:  # noqa: ARG001 - it needs nothing more
    groups = answer.groups.values()
    return (
        np.array([one.measures.eca for one in groups]),
        np.array([one.homes.to_numpy() for one in groups]),
        [_enough(one, answer) for one in groups],
    )


def _enough(one: GroupAnswer, answer: Assessment) -> Array:
    """Shape (Q, n): homes that what lies within reach is enough for."""
    rows = []
    for need in one.group.needs:
        supply = resource_months(answer.supply, answer.knowledge, need.resource, need.months)
        within = one.reach.within(need.reach.value) @ (supply / need.amount.value)
        rows.append(combine_months(np.asarray(within), worst=need.month_rule == "worst"))
    return np.array(rows).reshape(len(rows), len(one.homes))
