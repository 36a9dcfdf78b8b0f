"""What is known of the plots of a street that take part: what each can take, and where it goes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from patchnet.assess.assess import assess_amounts
from patchnet.assess.assessment import Assessment, FenceGap
from patchnet.assess.what_if import Trials
from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest_hint
from patchnet.core.processes import in_processes
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.plan.facts import PlotFacts
from patchnet.plan.no_place import seen_on
from patchnet.plan.placed import Places
from patchnet.plan.placing import places_for
from patchnet.plan.plot_plan import Candidate
from patchnet.plan.plot_sets import Members, PlotSet, PlotSets, plan_sets
from patchnet.plan.street_gaps import possible_gaps
from patchnet.plan.street_in_draws import Change, DrawnStreet
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.sun.at_plot import plots_sun

__all__ = ["Making", "with_done"]


@dataclass
class Making:
    """What is known of the plots that take part, and what each can take."""

    assessment: Assessment
    plots: tuple[str, ...]
    facts: Mapping[str, PlotFacts]
    refused: tuple[str, ...]
    fair: bool
    seed: int
    processes: int | None = 1

    def __post_init__(self) -> None:
        """Work out what each plot can take; its light, where nobody said it."""
        self.parts: dict[str, str] = {}
        hood, knowledge = self.assessment.neighbourhood, self.assessment.knowledge
        self.sets: dict[str, PlotSets] = {}
        self.gaps: dict[int, FenceGap] = {}
        said_of = {plot: self.facts.get(plot, PlotFacts()) for plot in self.plots}
        unsaid = [plot for plot, said in said_of.items() if said.light is None]
        sun = plots_sun(hood, knowledge=knowledge, plots=unsaid) if unsaid else {}
        for plot, said in said_of.items():
            light = sun[plot].cls if said.light is None else None
            self.sets[plot] = plan_sets(self.assessment, plot, said, light=light)

    @property
    def walked(self) -> bool:
        """Whether some animal is taken over the ground, where fences count."""
        return any(one.ground is not None for one in self.assessment.groups.values())

    def gaps_beside(self, chosen: Mapping[str, Members]) -> list[int]:
        """Keys of the gaps in fences that there could be: today, and with some things done."""
        changes = {plot: self.set_of(plot, one).change for plot, one in chosen.items()}
        most = round(self.assessment.knowledge.setting("together_gaps"))
        for state in (self.assessment, with_done(self.assessment, changes)):
            for gap in possible_gaps(state, self.plots, most=most):
                self.gaps.setdefault(gap.key, gap)
        return sorted(self.gaps)

    def set_of(self, plot: str, members: Members) -> PlotSet:
        """Return a plot's set that is known to fit."""
        found = self.sets[plot].of(members)
        if found is None:
            raise AssertionError((plot, members))
        return found

    def places(self, chosen: Mapping[str, PlotSet]) -> dict[str, Places]:
        """Where the things of a set go on each plot."""
        plots = [plot for plot, own in chosen.items() if own.things]
        shared = _Streetwide(self.assessment.neighbourhood, self.assessment.knowledge)
        blocks = [
            (plot, chosen[plot].things, chosen[plot].change, self.facts.get(plot, PlotFacts()))
            for plot in plots
        ]
        found = in_processes(_places, shared, blocks, processes=self.processes)
        return dict(zip(plots, found, strict=True))

    def members(self, features: Mapping[str, Sequence[str]], *, strict: bool) -> dict[str, Members]:
        """Find things by their features; what cannot be had any more is a fault, or left out."""
        found: dict[str, Members] = {}
        for plot, keys in features.items():
            sets = self.sets[plot]
            members = sets.meant(keys)
            if members is None or sets.of(members) is None:
                if strict:
                    raise WrongUse(_lacking(plot, keys, sets))
                members = ()
            found[plot] = members
        return found


class _Streetwide(NamedTuple):
    """What all plots have in common."""

    neighbourhood: Neighbourhood
    knowledge: Knowledge


def _places(
    shared: _Streetwide, asked: tuple[str, Sequence[Candidate], Change, PlotFacts]
) -> Places:
    plot, things, change, said = asked
    hood = shared.neighbourhood
    places = places_for(
        hood,
        plot,
        things,
        facts=said,
        knowledge=shared.knowledge,
        has=seen_on(hood, plot),
        gives_way=[key for key, more in change.items() if more < 0],
    )
    return places if said.light is None else places.without_sun()


def _lacking(plot: str, keys: Sequence[str], sets: PlotSets) -> str:
    offered = [one.feature for one in sets.candidates]
    missing = [key for key in keys if key not in offered]
    if missing:
        hint = nearest_hint(missing[0], offered)
        return _("{plot} cannot have {thing!r} any more.{hint}").format(
            plot=plot, thing=missing[0], hint=hint
        )
    return _("{plot} cannot have all of these together: {things}.").format(
        plot=plot, things=", ".join(keys)
    )


def with_done(assessment: Assessment, changes: Mapping[str, Change]) -> Assessment:
    """Return the street with some things done, as they count in some years.

    Parameters
    ----------
    assessment
        The street as it is.
    changes
        Plot id to feature to amount more than today, in its own unit.
    """
    street = DrawnStreet(Trials(assessment), Trials(assessment), np.zeros(0), 1.0)
    amounts = assessment.amounts.copy()
    features = {key: at for at, key in enumerate(assessment.neighbourhood.answers.features)}
    for plot, change in changes.items():
        row = assessment.neighbourhood.row_of(plot)
        for key, more in street.counted(plot, change).items():
            amounts[row, features[key]] = max(0.0, amounts[row, features[key]] + more)
    return assess_amounts(assessment, amounts)
