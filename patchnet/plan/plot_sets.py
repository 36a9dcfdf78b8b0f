"""The sets of things that one plot can take, without a plan around them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from patchnet.assess.assessment import Assessment
from patchnet.plan.candidates import candidates_for, fitted, taking_up_of
from patchnet.plan.facts import Light, PlotFacts
from patchnet.plan.joint_worth import amounts_at
from patchnet.plan.no_place import with_place
from patchnet.plan.plot_plan import Candidate
from patchnet.plan.roles import is_living
from patchnet.plan.space import space_of

__all__ = ["PlotSet", "PlotSets", "plan_sets"]

Members = tuple[int, ...]
Fit = Callable[[Sequence[Candidate]], tuple[tuple[Candidate, ...], Mapping[str, float]] | None]


@dataclass(frozen=True, slots=True)
class PlotSet:
    """Some things that fit together on a plot.

    Attributes
    ----------
    things
        The candidates, at the amounts that fit.
    change
        Feature to change of its amount, in its own unit; negative: gives way.
    cost, hours
        Money in the first year with what taking up hard covers costs; upkeep, hours a month.
    """

    things: tuple[Candidate, ...]
    change: Mapping[str, float]
    cost: float
    hours: float


NOTHING = PlotSet((), {}, 0.0, 0.0)


@dataclass(frozen=True, eq=False)
class PlotSets:
    """What a plot can take: candidates, and every set of them on asking.

    Attributes
    ----------
    plot
        Id of the plot.
    candidates
        What fits by itself, m of them, in the order of the tables.
    size
        Most things in a set.
    living
        Those of the candidates that are planted, watered or opened (see `patchnet.plan.roles`).
    """

    plot: str
    candidates: tuple[Candidate, ...]
    size: int
    living: frozenset[int]
    _fit: Fit
    _cost: Callable[[Mapping[str, float]], float]
    _known: dict[Members, PlotSet | None] = field(default_factory=dict)

    def of(self, members: Members) -> PlotSet | None:
        """Return a set of candidates (ascending positions); None where they cannot stand together.

        It is made for the plot as it was found: what is among the members already is counted once.
        """
        if not members:
            return NOTHING
        if members not in self._known:
            self._known[members] = self._made(members)
        return self._known[members]

    def _made(self, members: Members) -> PlotSet | None:
        if len(members) > self.size:
            return None
        result = self._fit([self.candidates[k] for k in members])
        if result is None:
            return None
        things, change = result
        cost = sum(one.cost for one in things) + self._cost(change)
        return PlotSet(things, change, cost, sum(one.hours_month for one in things))

    @cached_property
    def singles(self) -> tuple[Members, ...]:
        """Every single thing that fits."""
        each = [(k,) for k in range(len(self.candidates))]
        return tuple(one for one in each if self.of(one) is not None)

    def sound(self, members: Members) -> bool:
        """Whether a set has something planted, watered or opened, if any of that fits here."""
        return not members or not self.living or any(k in self.living for k in members)

    def beside(self, members: Members) -> list[Members]:
        """Return the sets with one thing more: what still fits where some things are chosen."""
        more = (
            tuple(sorted((*members, k))) for k in range(len(self.candidates)) if k not in members
        )
        return [one for one in more if self.of(one) is not None]

    def meant(self, features: Sequence[str]) -> Members | None:
        """Return the positions of things named by their features; None where one is not offered."""
        place = {one.feature: k for k, one in enumerate(self.candidates)}
        if any(key not in place for key in features):
            return None
        return tuple(sorted(place[key] for key in features))


def plan_sets(
    assessment: Assessment,
    plot: str,
    facts: PlotFacts | None = None,
    *,
    size: int | None = None,
    light: Light | None = None,
) -> PlotSets:
    """Return the sets of things that a plot can take.

    Food is put out for birds only where nothing else can be had, as in a plot's own plan; which
    sets are `sound` is told as well.

    Parameters
    ----------
    assessment
        The neighbourhood as it is.
    plot
        Id of the plot.
    facts
        What the householder says; nothing where None.
    size
        Most things in a set; None: ``settings/plan_set_size``.
    light
        Light as worked out from the buildings; what the householder says of it goes first.

    Raises
    ------
    WrongUse
        If there is no such plot.
    """
    hood, knowledge = assessment.neighbourhood, assessment.knowledge
    hood.row_of(plot)
    said = PlotFacts() if facts is None else facts
    light_said = said.light is not None
    if not light_said and light is not None:
        said = replace(said, light=light)
    space = space_of(hood, plot, said, knowledge, amounts=amounts_at(assessment, plot))
    kind = str(hood.plots["kind"].loc[plot])
    offered, _ = with_place(
        candidates_for(knowledge, said, space, kind=kind),
        hood,
        plot,
        knowledge,
        light_said=light_said,
    )
    lasting = tuple(one for one in offered if knowledge.features[one.feature].sort != "feeding")
    candidates = lasting or offered
    living = (k for k, one in enumerate(candidates) if is_living(one.feature, knowledge))
    return PlotSets(
        plot=plot,
        candidates=candidates,
        living=frozenset(living),
        size=round(knowledge.setting("plan_set_size")) if size is None else size,
        _fit=lambda chosen: fitted(chosen, space, knowledge, said),
        _cost=lambda change: taking_up_of(change, knowledge)[1],
    )
