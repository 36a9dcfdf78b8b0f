"""An answer worked out anew in each of its draws, in as many processes as one likes.

In each draw every figure that has a range takes a value of it, and every answer that nobody gave
is given (`patchnet.assess.draws`); then everything is worked out as ever, by filling alike, over
the ground too.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from patchnet.assess.assess import Street, assess_one_draw, farthest_m
from patchnet.assess.assessment import Asked, Assessment
from patchnet.assess.draws import RUN, Draws, drawn_amounts
from patchnet.assess.unknown import Prior, learn_prior
from patchnet.core.compiled import can_compile
from patchnet.core.processes import in_processes
from patchnet.read.neighbourhood import Neighbourhood

__all__ = ["Rows", "UncertainAnswer", "answers_in_draws", "draws_of", "over_draws"]

Extra = TypeVar("Extra")
Result = TypeVar("Result")


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
) -> "Rows[Result]":
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

    Returns
    -------
    Rows
        To be gone through once; work that is not waited for any more is given up.
    """
    asked = list(range(uncertain.draws.count) if numbers is None else numbers)
    blocks = [asked[first : first + RUN] for first in range(0, len(asked), RUN)]
    shared = (work, extra, uncertain)
    found = in_processes(_in_block, shared, blocks, processes=processes)
    return Rows((result for results in found for result in results), len(asked))


class Rows(Iterable[Result]):
    """Results that come one by one, and how many there will be: for a bar that tells how far."""

    def __init__(self, rows: Iterator[Result], count: int) -> None:
        self._rows, self._count = rows, count

    def __iter__(self) -> Iterator[Result]:
        """Go through them, once."""
        return self._rows

    def __len__(self) -> int:
        """How many there will be."""
        return self._count


def _in_block(
    shared: tuple[Callable[[Any, Assessment], Any], Any, UncertainAnswer], numbers: Sequence[int]
) -> list[Any]:
    work, extra, uncertain = shared
    return [work(extra, answer) for answer in answers_in_draws(uncertain, numbers)]
