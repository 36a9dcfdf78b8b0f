"""What a street survey asks, in which order, and the rules that its people keep to."""

from collections.abc import Mapping

from patchnet.knowledge.cells import Cells
from patchnet.knowledge.records import Feature, Origin, SurveyQuestion, SurveyRule
from patchnet.knowledge.tables import Row

__all__ = ["OTHER_PART", "RULE_PARTS", "all_survey_questions", "all_survey_rules"]

RULE_PARTS = ("safety", "seeing", "privacy", "organiser")
OTHER_PART = "Other"
"""Part under which features without a row of their own are asked."""


def all_survey_questions(
    rows: list[Row],
    cells: Cells,
    origins: dict[str, Origin],
    features: Mapping[str, Feature],
) -> dict[str, SurveyQuestion]:
    """Build the questions in the order of the table, the features it does not name after them."""
    questions = {}
    for row in rows:
        key = cells.known(row, "feature", features, "feature")
        kind, sources = cells.origin(row, "class", "source")
        address = f"survey_questions/{key}"
        origins[address] = Origin(address, row.cells["hint"], kind, sources, "", row.place)
        questions[key] = SurveyQuestion(
            key, cells.text(row, "part"), cells.flag(row, "from_street"), row.cells["hint"]
        )
    rest = [key for key in features if key not in questions]
    return questions | {key: SurveyQuestion(key, OTHER_PART, from_street=True) for key in rest}


def all_survey_rules(
    rows: list[Row], cells: Cells, origins: dict[str, Origin]
) -> dict[str, SurveyRule]:
    """Build the rules in the order of the table."""
    rules = {}
    for row in rows:
        key, words = row.cells["key"], cells.text(row, "words")
        kind, sources = cells.origin(row, "class", "source")
        address = f"survey_rules/{key}"
        origins[address] = Origin(address, words, kind, sources, row.cells["note"], row.place)
        rules[key] = SurveyRule(key, cells.choice(row, "part", RULE_PARTS), words, sources)
    return rules
