"""What a survey pack is made from: the street, its stretches, its id, and whom to ask."""

from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from patchnet.assess.first_questions import first_questions
from patchnet.core.shown import Shown
from patchnet.core.texts import N_, _
from patchnet.knowledge.load import load_knowledge
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.place_name import place_name
from patchnet.pages.survey.stretches import Stretch, stretches_of
from patchnet.read.neighbourhood import Neighbourhood
from patchnet.survey.one_return import street_id
from patchnet.survey.survey_layers import read_records_if_any
from patchnet.survey.survey_record import left_in_peace

__all__ = ["SurveyRound", "plan_survey"]

_SPARED = N_("asked not to be surveyed: leave blank")


def plan_survey(
    neighbourhood: Neighbourhood,
    *,
    file: Path | str | None = None,
    title: str | None = None,
    contact: str = "",
    keep_until: str = "",
    by_answers: bool = False,
    knowledge: Knowledge | None = None,
) -> "SurveyRound":
    """Plan a round of a street survey; `patchnet.write_survey` makes what it takes along.

    Parameters
    ----------
    neighbourhood
        The street to be surveyed.
    file
        The street's GeoPackage, where it holds a survey already: households that asked to be
        left in peace are marked so.
    title
        Name of the survey; None: that of the neighbourhood.
    contact
        Who runs it and how to reach them, for the privacy notice; empty: left to be written in.
    keep_until
        Until when personal data are kept, for the privacy notice; empty: left to be written in.
    by_answers
        True: the phone page asks first what the answers so far leave most open; False: the tables
        alone decide, so that nobody learns from it what others saw.
    knowledge
        For the questions and the rules; None: those that ship with patchnet.

    Returns
    -------
    SurveyRound
        The street, its stretches in walking order, its id.

    Raises
    ------
    CannotRead
        If the file cannot be read.

    Examples
    --------
    >>> import patchnet
    >>> survey = patchnet.plan_survey(patchnet.read_demo(), contact="a street group")
    >>> len(survey.stretches) > 1
    True
    """
    if file is not None:
        spared = left_in_peace(read_records_if_any(Path(file)))
        if spared:
            here = neighbourhood.plots
            label = here["label"].mask(here.index.isin(spared), _(_SPARED))
            neighbourhood = replace(neighbourhood, plots=here.assign(label=label))
    return SurveyRound(
        neighbourhood,
        knowledge or load_knowledge(),
        title=title,
        contact=contact,
        keep_until=keep_until,
        by_answers=by_answers,
    )


@dataclass(frozen=True, eq=False, repr=False)
class SurveyRound(Shown):
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
    by_answers
        True: the phone page asks first what the answers so far leave most open; False: the tables
        alone decide, so that nobody learns from it what others saw.
    """

    neighbourhood: Neighbourhood
    knowledge: Knowledge
    title: str | None = None
    contact: str = ""
    keep_until: str = ""
    by_answers: bool = False

    @property
    def name(self) -> str:
        """What the survey is called."""
        return place_name(self.neighbourhood) if self.title is None else self.title

    @cached_property
    def street(self) -> str:
        """Id of the street, as returns carry it."""
        return street_id(self.neighbourhood)

    @cached_property
    def first_questions(self) -> tuple[str, ...]:
        """Keys of the features to ask for first: what settles most here."""
        return first_questions(self.neighbourhood, self.knowledge, by_answers=self.by_answers)

    @cached_property
    def stretches(self) -> tuple[Stretch, ...]:
        """The stretches, in walking order."""
        return stretches_of(self.neighbourhood, self.knowledge)

    def stretch_name(self, stretch: Stretch, *, short: bool = False) -> str:
        """Name a stretch in words; `short`: for a narrow screen."""
        street = stretch.street or _("No street named")
        if stretch.of == 1:
            return street
        words = _("{street} {number} of {of}") if short else _("{street}, stretch {number} of {of}")
        return words.format(street=street, number=stretch.number, of=stretch.of)

    def label(self, plot: str) -> str:
        """What people call a plot; empty where it is no more than its id."""
        label = self._labels[plot]
        return "" if label.strip() == plot.strip() else label

    @cached_property
    def _labels(self) -> dict[str, str]:
        """The label of each plot: asked for a dozen times each."""
        labels = self.neighbourhood.plots["label"]
        return {str(plot): str(label or "") for plot, label in labels.items()}

    @property
    def whose_law(self) -> str:
        """Whom to ask, where the rules rest on another country's law; else empty."""
        country = self.knowledge.countries[self.neighbourhood.country]
        if country.law:
            return ""
        return _("The laws named are those of Britain; for the law here: {ask}.").format(
            ask=country.ask
        )

    def kind(self, plot: str) -> str:
        """Name the kind of a plot in plain words."""
        key = str(self.neighbourhood.plots.at[plot, "kind"])
        kind = self.knowledge.plot_kinds.get(key)
        return kind.name if kind else key
