"""What a survey pack is made from: the street, its stretches, its id, and whom to ask."""

from dataclasses import dataclass
from functools import cached_property

from patchnet.knowledge.records import Knowledge
from patchnet.pages.survey.stretches import Stretch, stretches_of
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.survey.one_return import street_id

__all__ = ["SurveyRound"]


@dataclass(frozen=True, eq=False)
class SurveyRound:
    """A survey of one neighbourhood.

    Parameters
    ----------
    neighbourhood
        The street to be surveyed.
    knowledge
        For the questions and the rules.
    title
        Name of the survey; None: that of the neighbourhood.
    contact
        Who runs it and how to reach them, for the privacy notice; empty: left to be written in.
    keep_until
        Until when personal data are kept, for the privacy notice; empty: left to be written in.
    """

    neighbourhood: Neighbourhood
    knowledge: Knowledge
    title: str | None = None
    contact: str = ""
    keep_until: str = ""

    @property
    def name(self) -> str:
        """What the survey is called."""
        return self.neighbourhood.name if self.title is None else self.title

    @cached_property
    def street(self) -> str:
        """Id of the street, as returns carry it."""
        return street_id(self.neighbourhood)

    @cached_property
    def stretches(self) -> tuple[Stretch, ...]:
        """The stretches, in walking order."""
        return stretches_of(self.neighbourhood, self.knowledge)

    def stretch_name(self, stretch: Stretch, *, short: bool = False) -> str:
        """Name a stretch in words; `short`: for a narrow screen."""
        street = stretch.street or "No street named"
        word = " " if short else ", stretch "
        return street if stretch.of == 1 else f"{street}{word}{stretch.number} of {stretch.of}"

    def label(self, plot: str) -> str:
        """What people call a plot; empty where it is no more than its id."""
        label = str(self.neighbourhood.plots.at[plot, "label"] or "")
        return "" if label.strip() == plot.strip() else label

    def kind(self, plot: str) -> str:
        """Name the kind of a plot in plain words."""
        key = str(self.neighbourhood.plots.at[plot, "kind"])
        kind = self.knowledge.plot_kinds.get(key)
        return kind.name if kind else key
