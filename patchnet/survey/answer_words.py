"""The words of returns: answers, amounts, how sure, seen from where."""

import re
from dataclasses import dataclass, replace

from patchnet.core.folding import folded
from patchnet.core.texts import _
from patchnet.knowledge.records import Feature, Knowledge
from patchnet.read.feature_lists import Problem, Said, parse_cell
from patchnet.survey.sheet_words import in_english

__all__ = ["OTHER_PLACE", "Reply", "read_place", "read_reply", "read_sure"]

OTHER_PLACE = "elsewhere"
_TICK = "1"  # in a column of answers; in one of amounts it is one

_DATE = re.compile(r"\d{4}-\d{2}-\d{2}.*|\d{1,2}-[a-z]{3}|[a-z]{3}-\d{2}")


@dataclass(frozen=True, slots=True)
class Reply:
    """What one row says of a feature.

    `answer` is empty where the row says nothing; `problems` tell what could not be used, and
    `left_out` whether the whole row is of no use; `whole`: in spite of them all of it was used.
    """

    answer: str
    amount: float | None = None
    sure: bool = True
    problems: tuple[Problem, ...] = ()
    left_out: bool = False
    whole: bool = False


def read_reply(
    answer: str, amount: str, unit: str, feature: Feature, knowledge: Knowledge
) -> Reply:
    """Read an answer with its amount.

    Parameters
    ----------
    answer, amount, unit
        As written.
    feature
        What it is about.
    knowledge
        For the words that people use.
    """
    word = folded(in_english(answer))
    text = _tidy(answer)
    sure = not text.endswith("?") or text.strip("? ") == ""
    told = "there" if word == _TICK else knowledge.table_words.meaning("answer", in_english(answer))
    size: float | None = None
    if told == "cannot see":
        return Reply("cannot see")
    if told is None and word:
        said = parse_cell(text, feature, knowledge)
        if said is None:
            return Reply("")
        if isinstance(said, Problem):
            mend = _("Write there, not there or cannot see.")
            what = _("'{answer}' is no answer about {feature_name!r}.").format(
                answer=answer[:40], feature_name=feature.name
            )
            return Reply("", problems=(Problem(what, mend),), left_out=True)
        told = "cannot see" if said.answer == "not known" else said.answer
        size, sure = said.amount, said.sure
    if not amount or folded(amount) in {"-", "n a"}:
        return Reply(told or "", size, sure)
    return _sized(told, size, (amount, unit), feature, knowledge, sure=sure)


def read_sure(text: str, knowledge: Knowledge) -> bool:
    """Whether somebody was sure; an empty cell says so.

    Parameters
    ----------
    text
        As written.
    knowledge
        For the words that people use.
    """
    return knowledge.table_words.meaning("sure", in_english(text)) is None


def read_place(text: str, knowledge: Knowledge) -> str:
    """Return where something was seen from (`SEEN_FROM` or `OTHER_PLACE`; empty: not said).

    Parameters
    ----------
    text
        As written.
    knowledge
        For the words that people use.
    """
    if not folded(text):
        return ""
    return knowledge.table_words.meaning("seen_from", in_english(text)) or OTHER_PLACE


def _sized(
    told: str | None,
    size: float | None,
    measured: tuple[str, str],
    feature: Feature,
    knowledge: Knowledge,
    *,
    sure: bool,
) -> Reply:
    amount, unit = measured
    low = _tidy(amount)
    if _DATE.fullmatch(low):
        what = _(
            "The amount of {feature_name!r} is a date ({amount}): a spreadsheet made it so."
        ).format(feature_name=feature.name, amount=amount[:20])
        problem = Problem(what, _("Write the amount anew, in a column of text."))
        return _without_amount(told, size, problem, sure=sure)
    written = f"{low} {_tidy(in_english(unit))}".strip() if low[-1:].isdigit() else low
    said = parse_cell(written, feature, knowledge)
    if not isinstance(said, Said):
        return _without_amount(told, size, said, sure=sure)
    if told is None:
        return _unanswered(said, feature)
    if told == "there":
        return Reply(told, size if said.amount is None else said.amount, sure and said.sure)
    if said.amount is None or told == "cannot see":
        return Reply(told, None, sure)
    what = _(
        "{feature_name!r} is not there, but has an amount ({amount}): no amount taken."
    ).format(feature_name=feature.name, amount=amount[:20])
    problem = Problem(what, _("Delete the amount, or mend the answer."))
    return Reply(told, None, sure, (problem,))


def _unanswered(said: Said, feature: Feature) -> Reply:
    """Take an amount without an answer for one."""
    answer = "cannot see" if said.answer == "not known" else said.answer
    what = _("There is an amount of {feature_name!r}, but no answer: taken as {answer}.").format(
        feature_name=feature.name, answer=answer
    )
    problem = Problem(what, _("Fill in the answer."))
    return Reply(answer, said.amount, said.sure, (problem,), whole=True)


def _without_amount(
    told: str | None, size: float | None, problem: Problem | None, *, sure: bool
) -> Reply:
    """Return what is left of a row whose amount cannot be used, and say which that is."""
    if problem is None:
        return Reply(told or "", size, sure, left_out=told is None)
    if told == "there" and size is None:
        kept = _("{what} Kept as there, without an amount.").format(what=problem.what)
        problem = replace(problem, what=kept)
    return Reply(told or "", size, sure, (problem,), left_out=told is None)


def _tidy(text: str) -> str:
    """Return an answer that may hold an amount, whose signs and points are part of it."""
    return " ".join(text.split()).strip(" .,;").casefold()
