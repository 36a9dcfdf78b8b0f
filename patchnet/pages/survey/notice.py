"""The rules of a survey and the privacy notice."""

from collections.abc import Callable, Iterable

from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.kit.templates import Markup, drawn_by
from patchnet.pages.survey.round import SurveyRound

__all__ = ["notice", "rules", "rules_of", "sources_line"]

_NO_WORK = frozenset({"patchnet", "common_practice", "memory"})
_notice = drawn_by("survey/notice.html", "notice")
rules: Callable[..., Markup] = drawn_by("survey/notice.html", "rules")
"""``rules(lines)``: rules as a list."""


def rules_of(knowledge: Knowledge, part: str) -> list[str]:
    """Return the rules of one part."""
    return [rule.words for rule in knowledge.survey_rules.values() if rule.part == part]


def notice(survey: SurveyRound) -> Markup:
    """Return the privacy notice: what is kept, why, who sees it, how to withdraw, whom to ask."""
    return _notice(rules_of(survey.knowledge, "privacy"), survey.keep_until, survey.contact)


def sources_line(knowledge: Knowledge, parts: Iterable[str]) -> str:
    """Return where the rules of some parts come from, in one line."""
    keys = dict.fromkeys(
        key
        for part in parts
        for rule in knowledge.survey_rules.values()
        if rule.part == part
        for key in rule.sources
    )
    named = [
        knowledge.sources[key].citation.rstrip(".")
        for key in keys
        if key in knowledge.sources and key not in _NO_WORK
    ]
    words = "".join(f"{citation}; " for citation in named)
    return _("Sources: {words}the rest is common practice of surveys or our own proposal.").format(
        words=words
    )
