"""Judges changes of features by recomputing exactly what they touch.

What a change on one plot alters is worked through as the whole assessment would: the plot's
supply and room, whether it is a patch, and with it the routes and what lies within reach; the
sharing of all supplies; the homes held everywhere; and linked homes. What it leaves alone is worked
out once: who reaches whom, the best routes, the sums over surroundings. To rank many changes there
is a quick form that shares in portions (`PlotTrials.ranked`).

Two things are held as they are. What is not known stays drawn in as it was (one more pond is no
sign that ponds are common), and is read as expected. For groups that walk, the cost of the
ground stays as it is: a new bed is not walked over as a bed. The ways over that ground are
found again where the plot becomes a patch, or stops being one.
"""

from collections.abc import Callable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.breaks import pairs_among
from patchnet.assess.homes import share_group
from patchnet.assess.over_ground import ways_over
from patchnet.assess.sharing import combine_months
from patchnet.assess.supply import anchor_places, patches, resource_months, supply_of
from patchnet.assess.what_if_field import Field, field_of
from patchnet.assess.what_if_homes import (
    Changes,
    Method,
    along_rows,
    filled_homes,
    filled_trials,
    ranked_homes,
)
from patchnet.core.compiled import in_threads
from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.texts import _
from patchnet.network.build import patch_graph
from patchnet.network.measures import network_measures

__all__ = ["PlotTrials", "TrialGroup", "Trials"]

Array = NDArray[np.float64]
Change = Mapping[str, float]

_GONE = 1e-9  # share of an amount that may be left, or missing, by rounding when it is taken away


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


class Trials:
    """Judges changes of features on the plots of one neighbourhood.

    Parameters
    ----------
    assessment
        The neighbourhood as it is.
    groups
        Keys of animals among those assessed; all of them where None.
    compiled
        True: compiled; False: plain; None: by size. Both agree to rounding.

    Raises
    ------
    WrongUse
        If a group was not assessed.

    Notes
    -----
    Holds up to 20 n^2 bytes a group, once the group is first asked about.
    """

    def __init__(
        self,
        assessment: Assessment,
        *,
        groups: Sequence[str] | None = None,
        compiled: bool | None = None,
    ) -> None:
        keys = assessment.groups if groups is None else groups
        wanted = {assessment.groups[key].group.key for key in keys}
        self.assessment = assessment
        self.amounts = assessment.amounts
        self.groups = tuple(key for key in assessment.groups if key in wanted)
        knowledge = assessment.knowledge
        self.method = Method(
            form=assessment.quality,
            lowest=knowledge.setting("quality_floor"),
            compiled=compiled,
        )
        self._features = {
            key: at for at, key in enumerate(assessment.neighbourhood.answers.features)
        }
        self._fields: dict[str, Field] = {}

    @cached_property
    def now(self) -> Array:
        """Linked homes as they are, shape (groups,)."""
        if self.amounts is self.assessment.amounts:
            return np.array([self.assessment.groups[key].measures.eca for key in self.groups])
        plot = str(self.assessment.neighbourhood.plots.index[0])
        now: Array = self.at(plot).linked_homes([{}])[0]
        return now

    def committed(self, changes: Mapping[str, Change]) -> "Trials":
        """Return the trials on the street in which some changes were made.

        Who reaches whom is kept, and so are the routes where no plot became a patch or stopped
        being one: to try, choose and go on is quicker than to assess the street anew.

        Parameters
        ----------
        changes
            What is added (or taken away), plot id to feature to amount in its own unit.

        Raises
        ------
        WrongUse
            If there is no such plot or feature, or more is taken away than is there.
        """
        if not changes:
            return self
        knowledge = self.assessment.knowledge
        other = copy(self)
        other.__dict__.pop("now", None)
        other.amounts = self.amounts.copy()
        rows = [self.at(plot).place for plot in changes]
        for row, change in zip(rows, changes.values(), strict=True):
            other.amounts[row] = self.amounts_after(row, [change])[0]
        amounts = other.amounts[rows]
        supply = supply_of(amounts, knowledge)
        other._fields = {}
        for key in self.groups:
            group = self.assessment.groups[key].group
            places = anchor_places(amounts, supply, knowledge, group)
            other._fields[key] = self.field(key).with_plots(
                np.array(rows),
                places,
                [resource_months(supply, knowledge, n.resource, n.months) for n in group.needs],
                patches(supply, knowledge, group, places),
                compiled=self.method.compiled,
            )
        return other

    def opened(self, gaps: Sequence[int]) -> "Trials":
        """Return the trials on the street in which gaps are made in fences, for all that walk.

        Parameters
        ----------
        gaps
            Their `FenceGap.key`.
        """
        if not gaps:
            return self
        other = copy(self)
        other.__dict__.pop("now", None)
        other.amounts = self.amounts.copy()  # what was assessed had no gap there
        other._fields = {
            key: self.field(key).opened(gaps, compiled=self.method.compiled) for key in self.groups
        }
        return other

    def at(self, plot: str) -> "PlotTrials":
        """Return the trials on one plot.

        Raises
        ------
        WrongUse
            If there is no such plot.
        """
        return PlotTrials(self, self.assessment.neighbourhood.row_of(plot))

    def full_linked_homes(self, allowed: Mapping[str, Change]) -> Array:
        """Linked homes with changes on many plots at once, shape (groups,).

        Everything is computed again in the ordinary way; nothing is built on what was known.

        Parameters
        ----------
        allowed
            What is added (or taken away) on each plot, plot id to feature to amount.

        Raises
        ------
        WrongUse
            If there is no such plot or feature, or more is taken away than is there.
        """
        assessment = self.assessment
        amounts = self.amounts.copy()
        for plot, change in allowed.items():
            amounts[self.at(plot).place] = self.amounts_after(self.at(plot).place, [change])[0]
        supply = supply_of(amounts, assessment.knowledge)
        return np.array([self._linked_homes(key, amounts, supply) for key in self.groups])

    def _linked_homes(self, key: str, amounts: Array, supply: Array) -> float:
        answer, knowledge = self.assessment.groups[key], self.assessment.knowledge
        group, plots = answer.group, self.assessment.neighbourhood.plots.index
        places = anchor_places(amounts, supply, knowledge, group)
        patch = patches(supply, knowledge, group, places)
        reach = answer.reach.with_stops(patch)
        if answer.ground is not None:
            longest = knowledge.setting("break_hops") * group.hop.value
            ways = ways_over(answer.ground.surface, plots, patch, longest_m=longest)
            reach = answer.reach.with_stops(patch, moves=ways.moves)
        near = reach.within(group.anchor_reach.value)
        pool = None if answer.pool is None else answer.pool.on(near)
        room, shares = share_group(
            group, knowledge, [supply], places[:, :, None], reach, pool,
            form=self.method.form, sheets=False,
        )  # fmt: skip
        network = patch_graph(
            plots[patch],
            (room * shares.quality)[patch, 0],
            pairs_among(reach.moves, patch),
            hop_m=group.hop.value,
            d50_m=group.d50.value,
        )
        return network_measures(network, p_cut=knowledge.setting("p_cut"), hops=False).eca

    def amounts_after(self, place: int, changes: Sequence[Change]) -> Array:
        """Amounts on one plot (its position) after each change, shape (changes, features).

        Raises
        ------
        WrongUse
            If there is no such feature, or more of it is taken away than is there.
        """
        here = self.amounts[place]
        amounts = np.repeat(here[None], len(changes), axis=0)
        for row, change in enumerate(changes):
            for key, more in change.items():
                if key not in self._features:
                    hint = nearest_hint(key, self._features)
                    raise WrongUse(
                        _("There is no feature {key!r}.{hint}").format(key=key, hint=hint)
                    )
                at = self._features[key]
                after = here[at] + more
                if not -_GONE * here[at] <= after < np.inf:
                    plot = self.assessment.neighbourhood.plots.index[place]
                    raise WrongUse(
                        _(
                            "{key!r} on plot {plot!r} cannot change by {more:g}: {here:g} is there."
                        ).format(key=key, plot=plot, more=more, here=here[at])
                    )
                amounts[row, at] = after if after > _GONE * here[at] else 0.0
        return amounts

    def field(self, key: str) -> Field:
        """Return all about one group that trials on any plot have in common."""
        if key not in self._fields:
            self._fields[key] = field_of(self.assessment, key, compiled=self.method.compiled)
        return self._fields[key]


class PlotTrials:
    """Judges changes on one plot; see `Trials.at`.

    Attributes
    ----------
    place
        Position of the plot.
    """

    def __init__(self, trials: Trials, place: int) -> None:
        self.trials = trials
        self.place = place
        self._turned: dict[str, Field] = {}

    def linked_homes(self, changes: Sequence[Change]) -> Array:
        """Linked homes of each group after each change, shape (changes, groups).

        Equal to assessing the neighbourhood again with the changed amounts, to a millionth of the
        group's homes (see the module's own words for what is held as it is).

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
        return self._linked_homes(changes, _exactly)

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
        rough = self.in_portions([{}, *changes])
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

    def _linked_homes(
        self,
        changes: Sequence[Change],
        held_of: Callable[[Sequence[Changes], Method], list[Array]],
    ) -> Array:
        linked = np.empty((len(changes), len(self.trials.groups)))
        if not len(changes):
            return linked
        amounts, supply = self._after(changes)
        # Groups in which many changes come to the same thing are judged once for all of them.
        tasks, places = [], []
        for column, key in enumerate(self.trials.groups):
            for task, rows, which in self._tasks(key, amounts, supply):
                tasks.append(task)
                places.append((column, rows, which))
        for task, held, (column, rows, which) in zip(
            tasks, held_of(tasks, self.trials.method), places, strict=True
        ):
            linked[rows, column] = _linked(task, held)[which]
        return linked

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

    def _tasks(
        self, key: str, amounts: Array, supply: Array
    ) -> "list[tuple[Changes, NDArray[np.intp], NDArray[np.intp]]]":
        """Different effects on one group; which changes have them, and which one each has."""
        knowledge = self.trials.assessment.knowledge
        group = self.trials.assessment.groups[key].group
        places = anchor_places(amounts, supply, knowledge, group)
        patch = patches(supply, knowledge, group, places)
        needs = [resource_months(supply, knowledge, n.resource, n.months) for n in group.needs]
        ends = np.cumsum([places.shape[1], *(need.shape[1] for need in needs)])
        tasks = []
        for state in (False, True):
            rows = np.flatnonzero(patch == state)
            if not rows.size:
                continue
            effects = np.column_stack([places, *needs])[rows]
            distinct, which = np.unique(effects, axis=0, return_inverse=True)
            task = Changes(
                field=self._field(key, patch=state),
                plot=self.place,
                places=distinct[:, : ends[0]].copy(),
                supply=tuple(distinct[:, first:last] for first, last in pairwise(ends.tolist())),
            )
            tasks.append((task, rows, which.reshape(-1)))
        return tasks

    def _outcome(self, key: str, amounts: Array, supply: Array) -> TrialGroup:
        [(task, _, _)] = self._tasks(key, amounts, supply)
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
            linked=float(_linked(task, held)[0]),
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


def _exactly(tasks: Sequence[Changes], method: Method) -> list[Array]:
    return list(in_threads(lambda task: filled_homes(task, method), tasks))


def _linked(task: Changes, held: Array) -> Array:
    """Linked homes from homes held along the task's rows: sqrt of a P a."""
    field = task.field
    others, own = held[:-1], held[-1]
    among = np.einsum("hk,hk->k", field.chances_of_homes @ others, others)
    apart = field.chances[task.plot, field.homes] @ others
    linked: Array = np.sqrt(among + own * (2 * apart + own))
    return linked
