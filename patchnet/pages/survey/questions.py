"""What a survey asks, part by part."""

from patchnet.knowledge.records import Feature, Knowledge

__all__ = ["Part", "parts_of"]

Part = tuple[str, tuple[Feature, ...]]
"""A heading and the features asked under it."""


def parts_of(knowledge: Knowledge, *, from_street: bool) -> tuple[Part, ...]:
    """Return the features to ask for, by part, in the order of the tables.

    Parameters
    ----------
    knowledge
        The tables.
    from_street
        True: only what can be seen from the street.
    """
    parts: dict[str, list[Feature]] = {}
    for key, question in knowledge.survey_questions.items():
        if question.from_street or not from_street:
            parts.setdefault(question.part, []).append(knowledge.features[key])
    return tuple((name, tuple(features)) for name, features in parts.items())
