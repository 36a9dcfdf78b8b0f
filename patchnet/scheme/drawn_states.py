"""The search's state in each draw, kept in processes of their own and asked again and again."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.draws import RUN
from patchnet.assess.over_draws import UncertainAnswer, answers_in_draws
from patchnet.assess.worth import vote_shares
from patchnet.core.processes import Kept
from patchnet.scheme.field import GroupField
from patchnet.scheme.filled import FilledState
from patchnet.scheme.group_fields import group_fields
from patchnet.scheme.state import GroupState, Pick, State, Worth
from patchnet.scheme.together import SchemeRules
from patchnet.street.site import Site

__all__ = ["DrawnState", "DrawnStates", "SchemesAsked", "state_of"]

Array = NDArray[np.float64]
Answer = TypeVar("Answer")
Question = TypeVar("Question")
_MATRICES = 3  # of places by places that a group holds: routes today and now, and what reaches
_MEGA = 1e6
_Shared = tuple["SchemesAsked", UncertainAnswer, frozenset[int]]


@dataclass(frozen=True, eq=False)
class SchemesAsked:
    """What is sought in each draw.

    Attributes
    ----------
    sites, ids, recipes, groups
        Sites that may be used, ids for their plots, keys of recipes and of animals.
    rules
        Which planters can stand together.
    locked
        Planters that are in every scheme.
    count
        Planters of a scheme, at most.
    alike
        Places whose planters alone win the same to this share are told as one, 0-1.
    amounts
        What is planted, see `patchnet.scheme.group_fields.group_fields`.
    """

    sites: tuple[Site, ...]
    ids: tuple[str, ...]
    recipes: tuple[str, ...]
    groups: tuple[str, ...]
    rules: SchemeRules
    locked: tuple[Pick, ...]
    count: int
    alike: float = 0.0
    amounts: Array | None = None

    def state(self, answer: Assessment) -> State:
        """Return the search's state in one draw, with nothing built.

        Parameters
        ----------
        answer
            The answer in that draw.
        """
        recipes = [answer.knowledge.recipes[key] for key in self.recipes]
        fields = group_fields(
            answer, self.sites, self.ids, recipes, list(self.groups), self.amounts
        )
        return state_of(answer, fields, self.rules.toll)


def state_of(answer: Assessment, fields: Sequence[GroupField], toll: Array | None = None) -> State:
    """Return the search's state with nothing built.

    Parameters
    ----------
    answer
        The neighbourhood as it is; its settings are used.
    fields
        Those of all animals.
    toll
        Of each site (see `patchnet.scheme.together.SchemeRules`), or None.
    """
    setting = answer.knowledge.setting
    groups = [GroupState(field, setting("p_cut")) for field in fields]
    now = np.sqrt([field.today @ field.chances @ field.today for field in fields])
    votes = vote_shares(field.group for field in fields)
    return State(groups, Worth(votes, now, setting("worth_first_homes")), toll)


@dataclass(eq=False)
class DrawnState:
    """The search's state in one draw; what it filled is remembered."""

    asked: SchemesAsked
    state: State

    @cached_property
    def filled(self) -> FilledState:
        """Schemes filled exactly in this draw."""
        return FilledState(self.state)


@dataclass(eq=False)
class _Run:
    """Draws in a row; those to be kept are, once they were asked for."""

    shared: _Shared
    numbers: Sequence[int]
    known: dict[int, DrawnState] = field(default_factory=dict)

    def states(self, wanted: frozenset[int]) -> Iterator[DrawnState]:
        """The states of the draws wanted, in their order."""
        asked, uncertain, kept = self.shared
        mine = [number for number in self.numbers if number in wanted]
        answers = answers_in_draws(uncertain, [at for at in mine if at not in self.known])
        for number in mine:
            state = self.known.get(number)
            if state is None:
                state = DrawnState(asked, asked.state(next(answers)))
            if number in kept:
                self.known[number] = state
            yield state


class DrawnStates:
    """The states of a search in its draws.

    A context: what is kept is let go at its end.

    Parameters
    ----------
    asked
        What is sought.
    uncertain
        The answer and its draws.
    kept
        Draws that will be asked again and again. They are kept if there is room for all of them
        (setting ``scheme_kept_mb``), else they are worked out each time.
    processes
        How many; None: one a core.
    bar
        Shows how far it is.
    """

    def __init__(
        self,
        asked: SchemesAsked,
        uncertain: UncertainAnswer,
        *,
        kept: Sequence[int],
        processes: int | None,
        bar: Callable[[Iterable[Any]], Iterable[Any]] | None = None,
    ) -> None:
        self._runs = [
            list(range(first, min(first + RUN, uncertain.draws.count)))
            for first in range(0, uncertain.draws.count, RUN)
        ]
        places = len(uncertain.neighbourhood.plots) + len(asked.sites)
        each = _MATRICES * places**2 * 8 * len(asked.groups) / _MEGA
        room = uncertain.draws.knowledge.setting("scheme_kept_mb") >= each * len(kept)
        self._bar = bar
        self._kept = Kept(
            _Run,
            (asked, uncertain, frozenset(kept if room else ())),
            self._runs,
            processes=processes,
        )

    def __enter__(self) -> Self:
        """Begin."""
        return self

    def __exit__(self, *what: object) -> None:
        """Let the processes end."""
        self._kept.__exit__(*what)

    def ask(
        self,
        work: Callable[[DrawnState, Question], Answer],
        question: Question,
        numbers: Sequence[int],
    ) -> list[Answer]:
        """Do `work(state, question)` in some draws; the answers in their order.

        Parameters
        ----------
        work
            A function of a module; it may move the state, and need not move it back.
        question
            Pickled, and so are the answers.
        numbers
            Which draws, ascending.
        """
        wanted = frozenset(numbers)
        places = [at for at, run in enumerate(self._runs) if wanted & set(run)]
        found: list[Answer] = []
        step = max(1, self._kept.width)
        parts = [places[at : at + step] for at in range(0, len(places), step)]
        for part in self._bar(parts) if self._bar else parts:
            for answers in self._kept.ask(_in_run, (work, question, wanted), part):
                found += answers
        return found


def _in_run(run: _Run, asked: tuple[Callable[[DrawnState, Any], Any], Any, frozenset[int]]) -> Any:  # noqa: ANN401 - whatever the work gives
    work, question, wanted = asked
    return [work(state, question) for state in run.states(wanted)]
