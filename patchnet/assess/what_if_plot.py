"""Judges changes on one plot: see `patchnet.assess.what_if`."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.sharing import combine_months
from patchnet.assess.supply import supply_of
from patchnet.assess.what_if_effects import Effects, effects_of
from patchnet.assess.what_if_field import Field
from patchnet.assess.what_if_homes import (
    Changes,
    Method,
    along_rows,
    filled_homes,
    filled_trials,
    ranked_homes,
)

if TYPE_CHECKING:
    from patchnet.assess.what_if import Trials

__all__ = ["PlotTrials", "TrialGroup"]

_HOMES_AT_ONCE = 8_000_000  # plots x changes, of 8 bytes, three times over

Array = NDArray[np.float64]
Change = Mapping[str, float]


@dataclass(frozen=True, eq=False)
class TrialGroup:
    """One group under one change (arrays along the plots; the mappings by key of the need).

    Attributes
    ----------
    linked
        Linked homes.
    room, quality, homes, patch
        Shape (n,): as in `GroupAnswer`.
    met
        Shape (n,): share of one home's need met after sharing.
    enough, room_within
        Shape (n,): homes that the supply within reach is enough for, and that there is room
        for within the same reach.
    enough_by_month
        Shape (n, M), along the need's months.
    """

    linked: float
    room: Array
    quality: Array
    homes: Array
    patch: NDArray[np.bool_]
    met: Mapping[str, Array]
    enough: Mapping[str, Array]
    room_within: Mapping[str, Array]
    enough_by_month: Mapping[str, Array]


class PlotTrials:
    """Judges changes on one plot; see `Trials.at`.

    Attributes
    ----------
    place
        Position of the plot.
    """

    def __init__(self, trials: "Trials", place: int) -> None:
        self.trials = trials
        self.place = place
        self._turned: dict[str, Field] = {}
        self._judged: dict[tuple[str, bytes], float] = {}

    def linked_homes(self, changes: Sequence[Change]) -> Array:
        """Linked homes of each group after each change, shape (changes, groups).

        Equal to assessing the neighbourhood again with the changed amounts, to a millionth of the
        group's homes (see the module's own words for what is held as it is). Where a change is
        nothing to a group, all of it stays; no change at all is worked out like any other.

        Parameters
        ----------
        changes
            Feature to amount added on this plot, in the feature's own unit; negative: taken
            away.

        Raises
        ------
        WrongUse
            If there is no such feature, or more of it is taken away than is there.
        """
        asked = np.array([not change for change in changes], dtype=bool)

        def needed(moved: NDArray[np.bool_]) -> NDArray[np.bool_]:
            return np.asarray(moved[1:] | asked)

        return self._linked_homes(changes, _exactly, needed, known=self._judged)

    def ranked(self, changes: Sequence[Change]) -> Array:
        """Linked homes of each group after each change, nearly: good for ranking many of them.

        Supplies are shared in portions, as a ratio round the exact value today: what changes
        nothing comes out exactly. Totals are within some parts in a hundred of `linked_homes`,
        and order changes nearly alike; what is chosen is to be judged by `linked_homes`.

        Parameters
        ----------
        changes
            As in `linked_homes`.

        Returns
        -------
        ndarray
            Shape (changes, groups).
        """
        if not len(changes):
            return np.empty((0, len(self.trials.groups)))
        # A group to which no change is anything stays as it is.
        rough = self._linked_homes(
            [{}, *changes], ranked_homes, lambda moved: np.repeat(moved.any(), len(moved) - 1)
        )
        now = self.trials.now
        ratio = np.where(rough[0] > 0, now / np.where(rough[0] > 0, rough[0], 1.0), 1.0)
        return np.where((rough[0] > 0) & (now > 0), rough[1:] * ratio, rough[1:])

    def in_portions(self, changes: Sequence[Change]) -> Array:
        """Linked homes of each group after each change, shared in portions and not set right.

        To be compared with one another only, an empty change among them (see `ranked`).

        Parameters
        ----------
        changes
            As in `linked_homes`.
        """
        return self._linked_homes(changes, ranked_homes)

    def moved_in_portions(self, changes: Sequence[Change]) -> Array:
        """The same where any of the changes is something to a group; 0 in all rows elsewhere.

        Parameters
        ----------
        changes
            As in `linked_homes`, with an empty one among them.
        """
        return self._linked_homes(
            changes, ranked_homes, lambda moved: np.repeat(moved.any(), len(changes)), still=0.0
        )

    def _linked_homes(
        self,
        changes: Sequence[Change],
        held_of: Callable[[Sequence[Changes], Method], list[Array]],
        needed: Callable[[NDArray[np.bool_]], NDArray[np.bool_]] | None = None,
        *,
        still: float | None = None,
        known: dict[tuple[str, bytes], float] | None = None,
    ) -> Array:
        """Linked homes after each change, those that are needed; the others are those of now.

        `needed` is told, of one group, whether anything moves: without a change, and then with
        each. None: all are. `still` is what stands for linked homes of now, None: they themselves.
        What is in `known`, by group and effects, is not worked out; what was is put there.
        """
        linked = np.empty((len(changes), len(self.trials.groups)))
        asked = self._asked(changes, linked, needed, still, known) if len(changes) else []
        for part in _in_parts([one.task for one in asked]):
            held = held_of([asked[at].task for at in part], self.trials.method)
            for at, homes in zip(part, held, strict=True):
                column, task, rows, which, marks = asked[at]
                linked[rows, column] = task.linked_homes(homes)[which]
                if known is not None:
                    known.update(zip(marks, linked[rows, column].tolist(), strict=True))
        return linked

    def _asked(
        self,
        changes: Sequence[Change],
        linked: Array,
        needed: Callable[[NDArray[np.bool_]], NDArray[np.bool_]] | None,
        still: float | None,
        known: Mapping[tuple[str, bytes], float] | None,
    ) -> "list[_Asked]":
        """What has to be worked out; the others' linked homes are filled in."""
        amounts, supply = self._after([{}, *changes])
        # Groups in which many changes come to the same thing are judged once for all of them.
        asked = []
        for column, key in enumerate(self.trials.groups):
            effects = self._effects(key, amounts, supply)
            wanted = np.ones(len(changes), dtype=bool)
            if needed is not None:
                wanted = needed(effects.moved_to(effects.row(0)))
            if not wanted.all():  # what is now may itself be asked for here
                linked[~wanted, column] = self.trials.now[column] if still is None else still
            marks = (
                {}
                if known is None
                else {row: (key, effects.mark(row + 1)) for row in np.flatnonzero(wanted).tolist()}
            )
            for row, mark in marks.items():
                if known and mark in known:
                    linked[row, column], wanted[row] = known[mark], False
            for task, rows, which in self._tasks(key, effects, np.append(False, wanted)):
                own = [marks[row] for row in (rows - 1).tolist()] if marks else []
                asked.append(_Asked(column, task, rows - 1, which, own))
        return asked

    def outcome(self, change: Change) -> Mapping[str, TrialGroup]:
        """Return everything that one change comes to, by group.

        Raises
        ------
        WrongUse
            If there is no such feature, or more of it is taken away than is there.
        """
        amounts, supply = self._after([change])
        return {key: self._outcome(key, amounts, supply) for key in self.trials.groups}

    def _after(self, changes: Sequence[Change]) -> tuple[Array, Array]:
        """Amounts on this plot after each change, and what they supply."""
        amounts = self.trials.amounts_after(self.place, changes)
        return amounts, supply_of(amounts, self.trials.assessment.knowledge)

    def _field(self, key: str, *, patch: bool) -> Field:
        """Return the field in which this plot is a patch, or is not."""
        field = self.trials.field(key)
        if bool(field.patch[self.place]) == patch:
            return field
        if key not in self._turned:
            self._turned[key] = field.turned(self.place, compiled=self.trials.method.compiled)
        return self._turned[key]

    def _effects(self, key: str, amounts: Array, supply: Array) -> Effects:
        group = self.trials.assessment.groups[key].group
        return effects_of(group, self.trials.assessment.knowledge, amounts, supply)

    def _tasks(
        self, key: str, effects: Effects, wanted: NDArray[np.bool_]
    ) -> "list[tuple[Changes, NDArray[np.intp], NDArray[np.intp]]]":
        """Different effects on one group; which changes have them, and which one each has."""
        ends = np.cumsum([effects.places.shape[1], *(need.shape[1] for need in effects.needs)])
        tasks = []
        for state in (False, True):
            rows = np.flatnonzero((effects.patch == state) & wanted)
            if not rows.size:
                continue
            distinct, which = _distinct(effects.table[rows])
            task = Changes(
                field=self._field(key, patch=state),
                plot=self.place,
                places=distinct[:, : ends[0]].copy(),
                supply=tuple(distinct[:, first:last] for first, last in pairwise(ends.tolist())),
            )
            tasks.append((task, rows, which))
        return tasks

    def _outcome(self, key: str, amounts: Array, supply: Array) -> TrialGroup:
        effects = self._effects(key, amounts, supply)
        [(task, _, _)] = self._tasks(key, effects, np.ones(1, dtype=bool))
        room, shares = filled_trials(task, self.trials.method, sheets=True)
        homes = (room * shares.quality)[:, 0]
        needs = task.field.group.needs
        by_month, room_within = {}, {}
        for need, demand, own in zip(needs, task.field.demands, task.supply, strict=True):
            all_supply = demand.supply[:, :, 0].copy()
            all_supply[self.place] = own[0]
            by_month[need.key] = demand.reach @ (all_supply / demand.amount)
            room_within[need.key] = demand.reach @ room[:, 0]
        held = along_rows(task, homes[:, None])
        return TrialGroup(
            linked=float(task.linked_homes(held)[0]),
            room=room[:, 0],
            quality=shares.quality[:, 0],
            homes=homes,
            patch=task.field.patch,
            met={need.key: met[:, 0] for need, met in zip(needs, shares.met, strict=True)},
            enough={
                need.key: combine_months(by_month[need.key], worst=need.month_rule == "worst")
                for need in needs
            },
            room_within=room_within,
            enough_by_month=by_month,
        )


class _Asked(NamedTuple):
    """What a group is asked: different effects, the changes that have them, and which one each."""

    column: int
    task: Changes
    rows: NDArray[np.intp]
    which: NDArray[np.intp]
    marks: list[tuple[str, bytes]]


def _distinct(table: Array) -> tuple[Array, NDArray[np.intp]]:
    """Rows that differ, in the order in which they come first, and which of them each row is.

    As `numpy.unique` does with an axis, which takes many times as long for a few rows.
    """
    known: dict[bytes, int] = {}
    which = np.array([known.setdefault(row.tobytes(), len(known)) for row in table + 0.0])
    firsts = np.empty(len(known), dtype=np.intp)
    firsts[which[::-1]] = np.arange(len(which))[::-1]
    return table[firsts], which


def _in_parts(tasks: Sequence[Changes]) -> Iterator[range]:
    """Places of the tasks, in parts whose homes fit into memory together; at least one each."""
    first = taken = 0
    for at, task in enumerate(tasks):
        size = len(task.rows) * task.count
        if taken and taken + size > _HOMES_AT_ONCE:
            yield range(first, at)
            first, taken = at, 0
        taken += size
    if tasks:
        yield range(first, len(tasks))


def _exactly(tasks: Sequence[Changes], method: Method) -> list[Array]:
    # One after the other: Python holds its lock nearly all the time, and threads only wait.
    return [filled_homes(task, method) for task in tasks]
