"""One street in several draws at once, with a plan for it that changes step by step.

Each draw keeps its judge of additions with all that was chosen so far in it, in a process of its
own share of the draws (`patchnet.core.processes.Kept`). What is asked is the same for all draws,
and the answers are worked through in their order: so a plan does not depend on the number of cores.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.over_draws import UncertainAnswer, answers_in_draws
from patchnet.assess.what_if import Trials
from patchnet.assess.worth import worth_gained
from patchnet.core.compiled import can_compile
from patchnet.core.processes import Kept
from patchnet.plan.street_bound import most_worth, things_of
from patchnet.plan.waiting import in_time

__all__ = ["Change", "DrawnStreet", "SomeDraws", "StreetInDraws", "drawn_street", "runs_of"]

Array = NDArray[np.float64]
Change = Mapping[str, float]
Answer = TypeVar("Answer")
_MANY = 40  # plots from which on everything is asked so often that compiling pays


class SomeDraws(NamedTuple):
    """Some of the draws: of the first `runs` runs (None: all), each from `first` to before `last`.

    None of the first `skipped` runs. Runs that lie side by side are worked on by different
    processes.
    """

    runs: int | None = None
    first: int = 0
    last: int | None = None
    skipped: int = 0


@dataclass
class DrawnStreet:
    """A street in one draw.

    Attributes
    ----------
    today, placed
        Judges of additions: with nothing done, and with the plan so far.
    weight, first
        Votes of the G animals, and homes, of the joint worth.
    done
        Of each plot that has any the change that is in `placed`, as it counts in some years.
    gaps
        Gaps in fences that are open in `placed`, by their `FenceGap.key`.
    """

    today: Trials
    placed: Trials
    weight: Array
    first: float
    done: dict[str, dict[str, float]] = field(default_factory=dict)
    gaps: frozenset[int] = frozenset()

    def counted(self, plot: str, change: Change) -> dict[str, float]:
        """What a change comes to in some years; what is not there is not taken away."""
        place = self.today.assessment.neighbourhood.row_of(plot)
        features = self.today.assessment.neighbourhood.answers.features
        there = dict(zip(features, self.today.amounts[place].tolist(), strict=True))
        knowledge = self.today.assessment.knowledge
        return {key: max(more, -there[key]) for key, more in in_time(change, knowledge).items()}

    def step(self, plot: str, change: Change) -> dict[str, float]:
        """What is to be added to `placed` so that a plot has this change in place of its own."""
        wanted, done = self.counted(plot, change), self.done.get(plot, {})
        steps = {key: wanted.get(key, 0.0) - done.get(key, 0.0) for key in {**wanted, **done}}
        return {key: more for key, more in steps.items() if more}

    def with_plan(self, plan: Mapping[str, Change]) -> Trials:
        """Return the judge with some plots changed otherwise than in the plan so far."""
        steps = {plot: self.step(plot, change) for plot, change in plan.items()}
        return self.placed.committed({plot: step for plot, step in steps.items() if step})

    def place(self, plan: Mapping[str, Change]) -> None:
        """Take some plots' changes into the plan."""
        self.placed = self.with_plan(plan)
        self.done.update({plot: self.counted(plot, change) for plot, change in plan.items()})

    def opened(self, gaps: frozenset[int]) -> Trials:
        """Return the judge with the plan so far and these gaps in fences, and no others."""
        if gaps >= self.gaps:
            return self.placed.opened(sorted(gaps - self.gaps))
        done = {plot: change for plot, change in self.done.items() if change}
        return self.today.opened(sorted(gaps)).committed(done)

    def open(self, gaps: frozenset[int]) -> None:
        """Take gaps in fences into the plan, in place of those in it."""
        if gaps != self.gaps:
            self.placed, self.gaps = self.opened(gaps), gaps

    def gained(self, linked: Array, before: Array) -> Array:
        """Change of the joint worth, from linked homes (..., G)."""
        return np.asarray(worth_gained(linked, before, self.first) @ self.weight)


@dataclass(frozen=True)
class _Shared:
    """What makes the street of each draw."""

    assessment: Assessment
    uncertain: UncertainAnswer | None
    weight: Array
    first: float


def _made(shared: _Shared, numbers: Sequence[int]) -> list[DrawnStreet]:
    if shared.uncertain is None:
        answers = [shared.assessment]
    else:
        answers = list(answers_in_draws(shared.uncertain, numbers))
    return [drawn_street(answer, shared.weight, shared.first) for answer in answers]


def drawn_street(answer: Assessment, weight: Array, first: float) -> DrawnStreet:
    """Return a street of which much is asked, with nothing done.

    Parameters
    ----------
    answer
        The street as it is.
    weight, first
        As in `DrawnStreet`: shape (G,), votes without unit; homes.
    """
    many = len(answer.neighbourhood.plots) >= _MANY
    trials = Trials(answer, compiled=(many and can_compile()) or None)
    return DrawnStreet(trials, trials, weight, first)


def _of(streets: list[DrawnStreet], few: SomeDraws | None) -> list[DrawnStreet]:
    """Return the draws of a run that are asked."""
    return streets if few is None else streets[few.first : few.last]


@dataclass(frozen=True)
class _Question:
    """What is asked, and in which draws (None: in all)."""

    few: SomeDraws | None
    plan: Mapping[str, Change] = field(default_factory=dict)
    plans: Sequence[Mapping[str, Change]] = ()
    moves: Sequence[tuple[str, Sequence[Change]]] = ()
    today: bool = False
    exact: bool = False
    gaps: Sequence[frozenset[int]] = ()


def _placed(streets: list[DrawnStreet], asked: _Question) -> None:
    for street in streets:
        street.place(asked.plan)


def _opened(streets: list[DrawnStreet], asked: _Question) -> None:
    for street in streets:
        street.open(asked.gaps[0])


def _won_by_gaps(streets: list[DrawnStreet], asked: _Question) -> list[Array]:
    """Shape (sets of gaps, G) for each draw: linked homes with each, and first as it is."""
    rows = []
    for street in _of(streets, asked.few):
        plot = str(street.today.assessment.neighbourhood.plots.index[0])
        trials = [street.placed, *(street.opened(gaps) for gaps in asked.gaps)]
        rows.append(
            np.array(
                [one.now if asked.exact else one.at(plot).in_portions([{}])[0] for one in trials]
            )
        )
    return rows


def _linked(streets: list[DrawnStreet], asked: _Question) -> list[Array]:
    """Shape (plans, G) for each draw."""
    rows = []
    for street in _of(streets, asked.few):
        at = _from(street, today=asked.today)
        if asked.gaps:
            judge = street.today.opened(sorted(asked.gaps[0]))
            at = DrawnStreet(street.today, judge, at.weight, at.first)
        rows.append(np.array([at.with_plan(plan).now for plan in asked.plans]))
    return rows


def _now(streets: list[DrawnStreet], asked: _Question) -> list[Array]:
    return [street.today.now for street in _of(streets, asked.few)]


@dataclass(frozen=True)
class _Ceiling:
    """What no choice of things can pass: see `patchnet.plan.street_bound`."""

    few: SomeDraws | None
    choices: Mapping[str, Sequence[Change]]
    takes: Array
    limits: tuple[float | None, ...]
    sizes: Mapping[str, int]
    gaps: Sequence[int]


def _ceilings(streets: list[DrawnStreet], asked: _Ceiling) -> list[float]:
    found = []
    for street in _of(streets, asked.few):
        counted = {
            plot: [street.counted(plot, change) for change in changes]
            for plot, changes in asked.choices.items()
        }
        judge = street.today.opened(asked.gaps)
        things = things_of(judge, counted, asked.takes, asked.limits, asked.sizes)
        most = most_worth(judge, things, street.weight, street.first, now=street.today.now)
        found.append(most)
    return found


def _from(street: DrawnStreet, *, today: bool) -> DrawnStreet:
    return DrawnStreet(street.today, street.today, street.weight, street.first) if today else street


def _won(streets: list[DrawnStreet], asked: _Question) -> list[list[Array]]:
    """For each draw, of each move the worth and homes won by each change beside what is there."""
    found = []
    for street in _of(streets, asked.few):
        at = _from(street, today=asked.today)
        if asked.plan:
            at = DrawnStreet(street.today, at.with_plan(asked.plan), at.weight, at.first, at.done)
        rows = []
        for plot, changes in asked.moves:
            here = at.placed.at(plot)
            steps = [{}, *(at.step(plot, change) for change in changes)]
            linked = here.linked_homes(steps) if asked.exact else here.moved_in_portions(steps)
            homes = (linked[1:] - linked[0]).sum(axis=1)
            rows.append(np.column_stack([at.gained(linked[1:], linked[0]), homes]))
        found.append(rows)
    return found


class StreetInDraws:
    """A street in D draws, with a plan for it.

    A context: its processes end with it.

    Parameters
    ----------
    assessment
        The street as it is, with the figures in use.
    uncertain
        Its draws; None: the figures in use alone, one "draw".
    weight, first
        Of the joint worth: votes of the G animals, and homes (see `Currency`).
    numbers
        Which draws.
    processes
        How many processes; None: one a core.
    """

    def __init__(
        self,
        assessment: Assessment,
        uncertain: UncertainAnswer | None,
        *,
        weight: Array,
        first: float,
        numbers: Sequence[int] = (0,),
        processes: int | None = 1,
    ) -> None:
        self.weight, self.first = weight, first
        self.runs = [[0]] if uncertain is None else runs_of(numbers)
        self.judged = 0
        shared = _Shared(assessment, uncertain, weight, first)
        self._kept = Kept(_made, shared, self.runs, processes=processes)

    def __enter__(self) -> Self:
        """Begin."""
        return self

    def __exit__(self, *what: object) -> None:
        """Let the processes end."""
        self._kept.__exit__(*what)

    def place(self, plan: Mapping[str, Change]) -> None:
        """Take some plots' changes into the plan, in place of what they had in it.

        Parameters
        ----------
        plan
            Plot id to feature to amount more than today, in its own unit; nothing: as it is.
        """
        if plan:
            self._kept.ask(_placed, _Question(None, plan=plan))

    def open(self, gaps: frozenset[int]) -> None:
        """Take gaps in fences into the plan, in place of those in it.

        Parameters
        ----------
        gaps
            Their `FenceGap.key`.
        """
        self._kept.ask(_opened, _Question(None, gaps=(gaps,)))

    def won_by_gaps(
        self, trials: Sequence[frozenset[int]], *, few: SomeDraws | None = None, exact: bool = False
    ) -> tuple[Array, Array]:
        """What sets of gaps win in place of those in the plan, with its things as they are.

        Parameters
        ----------
        trials
            S sets of gaps.
        few, exact
            As in `won`.

        Returns
        -------
        worth
            Shape (D, S): joint worth.
        homes
            Shape (D, S, G): linked homes.
        """
        self.judged += len(trials)
        asked = _Question(few, gaps=trials, exact=exact)
        linked = self._flat(self._asked(_won_by_gaps, asked))
        after, before = linked[:, 1:], linked[:, :1]
        return self.gained(after, before), after - before

    def now(self, few: SomeDraws | None = None) -> Array:
        """Shape (D, G): linked homes today; in `few` draws or all."""
        return self._flat(self._asked(_now, _Question(few)))

    def linked(
        self,
        plans: Sequence[Mapping[str, Change]],
        *,
        few: SomeDraws | None = None,
        today: bool = False,
        gaps: frozenset[int] = frozenset(),
    ) -> Array:
        """Shape (D, plans, G): linked homes, exactly, if some plots had other changes.

        Parameters
        ----------
        plans
            Plot id to change, beside the plan so far; or beside nothing (`today`).
        few
            Only in some of the draws.
        today
            Whether from the street as it is.
        gaps
            From the street as it is with these gaps in fences.
        """
        if not plans:
            return np.empty((len(self.now(few)), 0, len(self.weight)))
        asked = _Question(few, plans=plans, today=today, gaps=(gaps,) if gaps else ())
        self.judged += len(plans)
        return self._flat(self._asked(_linked, asked))

    def won(
        self,
        moves: Sequence[tuple[str, Sequence[Change]]],
        *,
        beside: Mapping[str, Change] | None = None,
        few: SomeDraws | None = None,
        today: bool = False,
        exact: bool = False,
    ) -> list[Array]:
        """What changes of single plots win, each by itself beside the plan so far.

        Parameters
        ----------
        moves
            Plot id, and S changes of it (more than today).
        beside
            Changes of other plots that come with each of them.
        few, today
            As in `linked`.
        exact
            Filled exactly; else in portions, right to some parts in a hundred of what is won.

        Returns
        -------
        list
            For each of the `moves` shape (D, S, 2): joint worth, and linked homes over all animals.
        """
        if not moves:
            return []
        asked = _Question(few, plan=beside or {}, moves=moves, today=today, exact=exact)
        self.judged += sum(len(changes) for _, changes in moves)
        rows = [row for run in self._asked(_won, asked) for row in run]
        return [
            np.array([row[at] for row in rows]).reshape(len(rows), len(changes), 2)
            for at, (_, changes) in enumerate(moves)
        ]

    def ceiling(
        self,
        choices: Mapping[str, Sequence[Change]],
        takes: Array,
        limits: tuple[float | None, ...],
        sizes: Mapping[str, int],
        *,
        few: SomeDraws | None = None,
        gaps: Sequence[int] = (),
    ) -> Array:
        """Shape (D,): joint worth that no choice of things can pass.

        Parameters
        ----------
        choices
            Plot id to what each single thing changes.
        takes, limits
            Shape (things, 3): money, hours a month and 1 of each; the most of each, or None.
        sizes
            Plot id to the most things there.
        few
            As in `linked`.
        gaps
            All gaps in fences that can be chosen.
        """
        asked = _Ceiling(few, choices, takes, limits, sizes, gaps)
        return np.array([one for run in self._asked(_ceilings, asked) for one in run])

    def gained(self, linked: Array, now: Array) -> Array:
        """Joint worth won, from linked homes after and today, shapes (..., G)."""
        return np.asarray(worth_gained(linked, now, self.first) @ self.weight)

    def _asked(self, work: Callable[..., Answer], asked: "_Question | _Ceiling") -> list[Answer]:
        few = SomeDraws() if asked.few is None else asked.few
        runs = self._kept.count if few.runs is None else min(self._kept.count, few.runs)
        return self._kept.ask(work, asked, range(few.skipped, runs))

    @staticmethod
    def _flat(runs: Sequence[Sequence[Array]]) -> Array:
        return np.array([row for run in runs for row in run])


def runs_of(numbers: Sequence[int], length: int = 5) -> list[list[int]]:
    """Cut numbers of draws into runs that share their ground (see `patchnet.assess.draws.RUN`).

    One run alone is cut in two, so that two processes have work: to paint the ground twice takes
    little beside a search.

    Parameters
    ----------
    numbers
        From 0, ascending.
    length
        Draws in a run.
    """
    found: dict[int, list[int]] = {}
    for number in numbers:
        found.setdefault(number // length, []).append(number)
    runs = list(found.values())
    if len(runs) > 1 or len(numbers) < 2:
        return runs
    middle = -(-len(numbers) // 2)
    return [runs[0][:middle], runs[0][middle:]]
