"""What a street survey asks, in which order, and the rules that its people keep to."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated

from patchnet.core.texts import N_
from patchnet.knowledge.columns import Choice, Flag, Key, Ref, Text
from patchnet.knowledge.parts import Basis, SourcesOf
from patchnet.knowledge.reader import Reader
from patchnet.knowledge.schema import table

__all__ = ["OTHER_PART", "RULE_PARTS", "SurveyQuestion", "SurveyRule", "read_survey_questions"]

RULE_PARTS = ("safety", "seeing", "privacy", "organiser")
OTHER_PART = "Other"
"""Part under which features without a row of their own are asked."""


@table(
    "survey_questions.csv",
    N_("How a street survey asks for a feature."),
    called=N_("survey question"),
    key=("feature",),
    bases=(Basis("", "{hint}", noted=False),),
)
@dataclass(frozen=True, slots=True)
class SurveyQuestion:
    """How a street survey asks for a feature.

    Parameters
    ----------
    feature
        Key of the feature.
    part
        Heading it stands under.
    from_street
        Whether it can be seen from the street; if not, only the household can tell.
    hint
        What to look for, in a few words; may be empty.
    """

    feature: Annotated[str, Ref(N_("the feature"), table="features.csv")]
    part: Annotated[str, Text(N_("heading it stands under"))]
    from_street: Annotated[
        bool,
        Flag(N_("whether it can be seen from the street; if not, only the household can tell")),
    ]
    hint: Annotated[str, Text(N_("what to look for, in a few words"), blank="")] = ""


@table(
    "survey_rules.csv",
    N_("A rule that the people of a street survey keep to."),
    called=N_("survey rule"),
    bases=(Basis("", "{words}"),),
)
@dataclass(frozen=True, slots=True)
class SurveyRule:
    """A rule of a street survey; `part` is safety, seeing, privacy or organiser."""

    key: Annotated[str, Key(N_("key of the rule"))]
    part: Annotated[str, Choice(N_("what it is about"), of=RULE_PARTS)]
    words: Annotated[str, Text(N_("the rule, in sentences"))]
    sources: Annotated[tuple[str, ...], SourcesOf()]


def read_survey_questions(reader: Reader, features: Iterable[str]) -> dict[str, SurveyQuestion]:
    """Read the questions in the order of the table, the features it does not name after them."""
    questions = reader.keyed(SurveyQuestion)
    rest = [key for key in features if key not in questions]
    return questions | {key: SurveyQuestion(key, OTHER_PART, from_street=True) for key in rest}
