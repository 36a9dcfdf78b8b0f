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

from collections.abc import Mapping, Sequence
from copy import copy
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.breaks import pairs_among
from patchnet.assess.homes import share_group
from patchnet.assess.over_ground import ways_over
from patchnet.assess.supply import anchor_places, patches, supply_of
from patchnet.assess.what_if_effects import effects_of
from patchnet.assess.what_if_field import Field, field_of
from patchnet.assess.what_if_homes import Method
from patchnet.assess.what_if_plot import PlotTrials
from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.texts import _
from patchnet.network.build import patch_graph
from patchnet.network.measures import network_measures

__all__ = ["Trials"]

Array = NDArray[np.float64]
Change = Mapping[str, float]

_GONE = 1e-9  # share of an amount that may be left, or missing, by rounding when it is taken away


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
        self.linked_now = {key: assessment.groups[key].measures.eca for key in self.groups}

    @cached_property
    def now(self) -> Array:
        """Linked homes as they are, shape (groups,)."""
        rest = copy(self)
        rest.groups = tuple(key for key in self.groups if key not in self.linked_now)
        if rest.groups:
            plot = str(self.assessment.neighbourhood.plots.index[0])
            linked = rest.at(plot).linked_homes([{}])[0].tolist()
            self.linked_now.update(zip(rest.groups, linked, strict=True))
        return np.array([self.linked_now[key] for key in self.groups])

    def committed(self, changes: Mapping[str, Change]) -> "Trials":
        """Return the trials on the street in which some changes were made.

        Who reaches whom is kept, and so are the routes where no plot became a patch or stopped
        being one, and all of an animal to which the changes are nothing: to try, choose and go on
        is quicker than to assess the street anew.

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
        before, after = self.amounts[rows], other.amounts[rows]
        supplies = [supply_of(amounts, knowledge) for amounts in (before, after)]
        other._fields, other.linked_now = dict(self._fields), dict(self.linked_now)
        for key in self.groups:
            group = self.assessment.groups[key].group
            was, now = (
                effects_of(group, knowledge, amounts, supply)
                for amounts, supply in zip((before, after), supplies, strict=True)
            )
            if was.moved_to(now).any():
                other._fields[key] = self.field(key).with_plots(
                    np.array(rows), now.places, now.needs, now.patch, compiled=self.method.compiled
                )
                other.linked_now.pop(key, None)
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
        other._fields = {
            key: self.field(key).opened(gaps, compiled=self.method.compiled) for key in self.groups
        }
        other.linked_now = {
            key: linked
            for key, linked in self.linked_now.items()
            if other._fields[key] is self._fields[key]
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
        near = reach.matrix(group.anchor_reach.value)
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
