"""The rules of a survey and the privacy notice, as HTML."""

from collections.abc import Iterable

from patchnet.knowledge.records import Knowledge, SurveyRule
from patchnet.pages.kit.escape import text
from patchnet.pages.survey.round import SurveyRound

__all__ = ["notice_html", "rules_html", "sources_line"]

_NO_WORK = frozenset({"patchnet", "common_practice", "memory"})
_BLANK = '<span class="blank"></span>'


def rules_html(knowledge: Knowledge, part: str) -> str:
    """Return the rules of one part as a list."""
    items = "".join(f"<li>{text(rule.words)}</li>" for rule in _of(knowledge, part))
    return f"<ul>{items}</ul>"


def notice_html(survey: SurveyRound) -> str:
    """Return the privacy notice: what is kept, why, who sees it, how to withdraw, whom to ask."""
    rules = "".join(f"<p>{text(rule.words)}</p>" for rule in _of(survey.knowledge, "privacy"))
    until = text(survey.keep_until) if survey.keep_until else _BLANK
    contact = text(survey.contact) if survey.contact else _BLANK
    return (
        f"{rules}<p>Kept until: {until}</p>"
        f"<p>Who runs this survey, and how to reach them: {contact}</p>"
    )


def sources_line(knowledge: Knowledge, parts: Iterable[str]) -> str:
    """Return where the rules of some parts come from, in one line."""
    keys = dict.fromkeys(
        key for part in parts for rule in _of(knowledge, part) for key in rule.sources
    )
    named = [
        knowledge.sources[key].citation.rstrip(".")
        for key in keys
        if key in knowledge.sources and key not in _NO_WORK
    ]
    words = "".join(f"{text(citation)}; " for citation in named)
    return f"Sources: {words}the rest is common practice of surveys or our own proposal."


def _of(knowledge: Knowledge, part: str) -> list[SurveyRule]:
    return [rule for rule in knowledge.survey_rules.values() if rule.part == part]
