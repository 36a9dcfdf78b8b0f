"""The words of returns: answers, amounts, how sure, seen from where."""

import re
from dataclasses import dataclass

from patchnet.core.folding import folded
from patchnet.core.texts import _
from patchnet.knowledge.records import Feature
from patchnet.read.feature_lists import Problem, parse_cell
from patchnet.survey.sheet_words import SEEN_FROM, in_english

__all__ = ["OTHER_PLACE", "Reply", "read_place", "read_reply", "read_sure"]

OTHER_PLACE = "elsewhere"

_THERE = frozenset(("there", "yes", "y", "x", "true", "t", "1", "present", "ja", "it is there"))
_NOT_THERE = frozenset(
    ("not there", "no", "n", "false", "f", "0", "absent", "none", "nein", "gone", "not present")
)
_CANNOT_SEE = frozenset(
    ("cannot see", "cant see", "can not see", "not visible", "not seen", "unseen",
     "hidden", "?", "??", "unknown", "not known", "dont know", "could not see",
     "couldnt see", "not sure")
)  # fmt: skip
_NOT_SURE = frozenset(
    ("not sure", "unsure", "no", "n", "false", "f", "0", "?", "??", "maybe", "perhaps", "doubtful",
     "not certain", "uncertain", "guess", "low")
)  # fmt: skip
_PLACES = {
    **dict.fromkeys(("street", "the street", "from street", "road", "pavement", "footway"), 0),
    **dict.fromkeys(("own plot", "own garden", "my plot", "my garden", "own", "on plot"), 1),
    **dict.fromkeys(
        ("neighbours plot", "neighbour", "neighbors plot", "next door", "neighbours garden"), 2),
    **dict.fromkeys(("window", "from window", "upstairs window", "upper window"), 3),
}  # fmt: skip
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}.*|\d{1,2}-[a-z]{3}|[a-z]{3}-\d{2}")


@dataclass(frozen=True, slots=True)
class Reply:
    """What one row says of a feature.

    `answer` is empty where the row says nothing; `problems` tell what could not be used, and
    `left_out` whether the whole row is of no use.
    """

    answer: str
    amount: float | None = None
    sure: bool = True
    problems: tuple[Problem, ...] = ()
    left_out: bool = False


def read_reply(answer: str, amount: str, unit: str, feature: Feature) -> Reply:
    """Read an answer with its amount.

    Parameters
    ----------
    answer, amount, unit
        As written.
    feature
        What it is about.
    """
    word = folded(in_english(answer))
    text = _tidy(in_english(answer))
    sure = not text.endswith("?") or text.strip("? ") == ""
    told: str | None = None
    size: float | None = None
    if word in _CANNOT_SEE:
        return Reply("cannot see")
    if word in _THERE:
        told = "there"
    elif word in _NOT_THERE:
        told = "not there"
    elif word:
        said = parse_cell(text, feature)
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
    return _sized(told, size, amount, unit, feature, sure=sure)


def read_sure(text: str) -> bool:
    """Whether somebody was sure; an empty cell says so.

    Parameters
    ----------
    text
        As written.
    """
    return folded(in_english(text)) not in _NOT_SURE


def read_place(text: str) -> str:
    """Return where something was seen from (`SEEN_FROM` or `OTHER_PLACE`; empty: not said).

    Parameters
    ----------
    text
        As written.
    """
    word = folded(in_english(text))
    if not word:
        return ""
    return SEEN_FROM[_PLACES[word]] if word in _PLACES else OTHER_PLACE


def _sized(
    told: str | None, size: float | None, amount: str, unit: str, feature: Feature, *, sure: bool
) -> Reply:
    low = _tidy(amount)
    if _DATE.fullmatch(low):
        what = _(
            "The amount of {feature_name!r} is a date ({amount}): a spreadsheet made it so."
        ).format(feature_name=feature.name, amount=amount[:20])
        problem = Problem(what, _("Write the amount anew, in a column of text."))
        return Reply(told or "", size, sure, (problem,), left_out=told is None)
    written = f"{low} {_tidy(in_english(unit))}".strip() if low[-1:].isdigit() else low
    said = parse_cell(written, feature)
    if isinstance(said, Problem) or said is None:
        problem = said if isinstance(said, Problem) else Problem("", "")
        problems = (problem,) if problem.what else ()
        return Reply(told or "", size, sure, problems, left_out=told is None)
    if told is None:
        answer = "cannot see" if said.answer == "not known" else said.answer
        what = _(
            "There is an amount of {feature_name!r}, but no answer: taken as {answer}."
        ).format(feature_name=feature.name, answer=answer)
        return Reply(answer, said.amount, said.sure, (Problem(what, _("Fill in the answer.")),))
    if told != "there":
        if said.amount is None or told == "cannot see":
            return Reply(told, None, sure)
        what = _(
            "{feature_name!r} is not there, but has an amount ({amount}): no amount taken."
        ).format(feature_name=feature.name, amount=amount[:20])
        return Reply(
            told, None, sure, (Problem(what, _("Delete the amount, or mend the answer.")),)
        )
    return Reply(told, size if said.amount is None else said.amount, sure and said.sure)


def _tidy(text: str) -> str:
    """Return an answer that may hold an amount, whose signs and points are part of it."""
    return " ".join(text.split()).strip(" .,;").casefold()
