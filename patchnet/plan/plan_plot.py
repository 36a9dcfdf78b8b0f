"""What should this plot add? The whole answer for one plot and one householder."""

import datetime as dt
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from pathlib import Path

from patchnet.assess.assessment import Assessment
from patchnet.assess.plot import plot_answer
from patchnet.core.errors import WrongUse
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.plan.doubts import light_words
from patchnet.plan.facts import Light, PlotFacts
from patchnet.plan.in_draws import Row
from patchnet.plan.no_place import seen_on
from patchnet.plan.placed import Places
from patchnet.plan.placing import places_for
from patchnet.plan.plan_making import PlanMaking
from patchnet.plan.plot_plan import PlotPlan
from patchnet.plan.plot_search import PlotSearch, Shared, Taken
from patchnet.plan.read_facts import facts_in_file, read_facts
from patchnet.sun.at_plot import plot_sun
from patchnet.sun.surface_heights import SurfaceHeights

__all__ = ["Adviser", "month_meant", "plan_plot", "taken_over"]


def plan_plot(
    assessment: Assessment,
    plot: str,
    *,
    facts: PlotFacts | Mapping[str, object] | Path | str | None = None,
    month: int | None = None,
    heights: SurfaceHeights | None = None,
    draws: int = 0,
    seed: int = 0,
    cautious: bool = False,
    processes: int | None = 1,
    progress: Callable[[Iterable[Row]], Iterable[Row]] | None = None,
) -> PlotPlan:
    """Say what a plot should add: what neighbours lack, what fits, what to plant and when.

    Light is worked out from what stands about, unless it is said. For many plots of one
    neighbourhood make one `Adviser`.

    Parameters
    ----------
    assessment
        The neighbourhood as it is today.
    plot
        Id of the plot.
    facts
        What the householder says, all of it optional: `PlotFacts`, a mapping such as
        ``{"tenure": "rent", "free_m2": 6, "keep": "play lawn"}`` (see `read_facts`), or a TOML
        file of the same names.
    month
        The month it is now, 1-12; None: this month.
    heights
        Measured heights of all that stands, from `patchnet.read_surface_heights`.
    draws, seed
        How many draws of all that is not sure to choose over, at most, and their seed (see
        `patchnet.doubt_of`); 0: with the figures in use alone, and nothing is said of doubt.
    cautious
        Choose by what is won even in the worse draws (``settings/draws_cautious``), not by the
        mean.
    processes, progress
        As in `patchnet.doubt_of`.

    Returns
    -------
    PlotPlan
        What to add (`best`), where (`places`), what to plant (`planting`), in which order
        (`stages`), and why not other things (`ruled_out`, `would_change`).

    Raises
    ------
    WrongUse
        If there is no such plot (the nearest spellings are offered), or no such month, or a
        cautious choice is wanted without draws.
    DataFaults
        If anything in `facts` cannot be read or contradicts itself: all of it at once.
    CannotRead
        If a file of facts cannot be read.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["mason_bee"])
    >>> plan = patchnet.plan_plot(answer, "M15B", facts={"tenure": "rent"}, month=5)
    >>> len(plan.best.additions) <= 3
    True
    """
    knowledge = assessment.knowledge
    month = month_meant(month)
    assessment.neighbourhood.row_of(plot)
    if isinstance(facts, Path | str):
        facts = read_facts(facts_in_file(facts), knowledge, where=str(facts))
    elif isinstance(facts, Mapping):
        facts = read_facts(facts, knowledge, where="facts")
    taken = taken_over(
        knowledge, draws, seed, cautious=cautious, processes=processes, progress=progress
    )
    return Adviser(assessment, taken, heights).whole(plot, facts, month=month)


def month_meant(month: int | None) -> int:
    """Return the month, 1-12; this one where None.

    Parameters
    ----------
    month
        1-12, or None.

    Raises
    ------
    WrongUse
        If there is no such month.
    """
    if month is None:
        return dt.datetime.now(tz=dt.UTC).month
    if month not in range(1, 13):
        raise WrongUse(_("Months are 1 to 12, not {month}.").format(month=month))
    return month


def taken_over(
    knowledge: Knowledge,
    draws: int,
    seed: int,
    *,
    cautious: bool,
    processes: int | None = 1,
    progress: Callable[[Iterable[Row]], Iterable[Row]] | None = None,
) -> Taken | None:
    """Return how draws are taken, see `plan_plot`; None where none are.

    Parameters
    ----------
    knowledge
        For the settings.
    draws, seed, cautious, processes, progress
        As in `plan_plot`.

    Raises
    ------
    WrongUse
        If a cautious choice is wanted without draws.
    """
    if cautious and not draws:
        raise WrongUse(_("A cautious choice needs draws: it looks at the worse ones."))
    low = knowledge.setting("draws_cautious") if cautious else None
    return Taken(draws, seed, low, processes, progress) if draws else None


class Adviser(Shared):
    """Answers "what should this plot add?" for any plot of one assessed neighbourhood.

    What all plots share, the judge of additions, is worked out once.

    Parameters
    ----------
    assessment
        The neighbourhood as it is today.
    taken
        How draws are taken; None: none are.
    heights
        Measured heights of all that stands, or None.

    Examples
    --------
    >>> import patchnet
    >>> answer = patchnet.assess(patchnet.read_demo(), groups=["mason_bee"])
    >>> adviser = patchnet.Adviser(answer)
    >>> [adviser.plan(plot, month=5).plot for plot in ("M15B", "M17B")]
    ['M15B', 'M17B']
    """

    def plan(
        self, plot: str, facts: PlotFacts | None = None, *, month: int, light: Light | None = None
    ) -> PlotPlan:
        """Answer for one plot.

        Parameters
        ----------
        plot
            Id of the plot.
        facts
            What the householder says; nothing where None.
        month
            The month it is now, 1-12: what can be done this season.
        light
            Light as worked out from the buildings; what the householder says of it goes first.

        Raises
        ------
        WrongUse
            If there is no such plot.
        """
        answer = plot_answer(self.assessment, plot)
        facts = PlotFacts() if facts is None else facts
        doubt = light_words(facts.light, light)
        light_said = facts.light is not None
        if not light_said and light is not None:
            facts = replace(facts, light=light)
        return PlanMaking(self, answer, facts, doubt, light_said=light_said).made(month=month)

    def whole(self, plot: str, facts: PlotFacts | None = None, *, month: int) -> PlotPlan:
        """Answer for one plot with its sun, and with where things go: all that a card tells.

        Parameters
        ----------
        plot, facts, month
            As in `plan`.

        Raises
        ------
        WrongUse
            If there is no such plot.
        """
        hood, knowledge = self.assessment.neighbourhood, self.assessment.knowledge
        sun = plot_sun(hood, plot, knowledge=knowledge, surface=self.heights)
        plan = self.plan(plot, facts, month=month, light=sun.cls)
        places = self.places(plan)
        if facts is not None and facts.light is not None and facts.light != sun.cls:
            places = places.without_sun()
        return replace(plan, sun=sun, places=places)

    def places(self, plan: PlotPlan) -> Places:
        """Where what a plan adds goes on its plot.

        Parameters
        ----------
        plan
            One that was made here.
        """
        return places_for(
            self.assessment.neighbourhood,
            plan.plot,
            [] if plan.best is None else [one.candidate for one in plan.best.additions],
            facts=plan.facts,
            knowledge=self.assessment.knowledge,
            has=seen_on(self.assessment.neighbourhood, plan.plot),
            gives_way=() if plan.best is None else plan.best.gives_way,
            stages=[stage.additions for stage in plan.stages],
            surface=self.heights,
        )

    def options(self, plot: str, facts: PlotFacts | None = None) -> tuple[Mapping[str, float], ...]:
        """Return the changes that a plan for a plot chooses from when it is made over draws.

        Parameters
        ----------
        plot
            Id of the plot.
        facts
            What the householder says; nothing where None.

        Returns
        -------
        tuple
            Of each set of things that is worth judging in every draw the change that it makes:
            feature to amount more, in its own unit.
        """
        answer = plot_answer(self.assessment, plot)
        plan = PlotSearch(self, answer, PlotFacts() if facts is None else facts)
        judged = plan.judged(plan.offered()[0])
        return tuple(judged.fitted[at][1] for at in plan.pool(judged))
