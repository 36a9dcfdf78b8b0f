"""What people write about features: ``pond; lawn 12 m2; tree 2?; no shed``, and ``yes``, ``3?``.

A list names what is there, one thing after another, ``;`` (or a comma) between them:

=====================================  ===================================================
``pond``, ``pond yes``                 there, without a size
``lawn 12``, ``12 m2 lawn``, ``3 x tree``  there, with its amount (decimal comma allowed)
``pond?``, ``pond ?``, ``tree 2?``     there, but not sure
``no pond``, ``pond no``, ``pond 0``   not there
``pond unknown``                       not known, even where everything else was seen
``nothing else``                       at the end: what is not listed is not there
``none`` (alone)                       nothing of the list is there
=====================================  ===================================================

What is not listed is not known. In a table with one column a feature a cell says ``yes``,
``x``, ``no``, an amount or ``2?``; an empty cell and ``?`` are not known.
"""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal, get_args

import numpy as np

from patchnet.core.numbers import NUMBER, parse_number
from patchnet.core.texts import N_, Words, _
from patchnet.knowledge.records import Feature, Knowledge
from patchnet.knowledge.table_words import TableWords
from patchnet.knowledge.words import match_feature, near_feature_words
from patchnet.read.neighbourhood import Answer, Neighbourhood

__all__ = [
    "FeatureList",
    "Problem",
    "Said",
    "parse_cell",
    "parse_list",
    "plot_features",
    "write_list",
]

Unit = Literal["m2", "m", "count"]


@dataclass(frozen=True, slots=True)
class Said:
    """One thing said of one feature; `amount` is None where it is there without a size."""

    feature: str
    answer: Answer
    amount: float | None = None
    sure: bool = True


@dataclass(frozen=True, slots=True)
class Problem:
    """A word or number that cannot be used: what is wrong, how to mend it, of which item."""

    what: str
    mend: str
    item: str = ""


@dataclass(frozen=True, slots=True)
class FeatureList:
    """A list taken apart; `complete`: what is not listed is not there."""

    said: tuple[Said, ...]
    complete: bool = False
    problems: tuple[Problem, ...] = ()


_SEPARATORS = re.compile(r"[;\n\r|]+")
_COMMA = re.compile(r",(?!\d)|(?<!\d),")
_BLANK = frozenset(("", "-", "--", "n/a", "na", "nan", "null", "."))

_LONGEST = 200  # characters of one item: no feature's name is half as long

_UNIT_WORDS: Words[Unit, str] = Words(
    {"m2": N_("square metres"), "m": N_("metres"), "count": N_("a number of items")}
)


class _Forms:
    """How amounts and answers are written, in the words of the tables (`table_words.csv`)."""

    def __init__(self, words: TableWords) -> None:
        self._words = words
        self._units: dict[str, Unit] = {}
        for measure in get_args(Unit):
            self._units |= dict.fromkeys(map(str.casefold, words.of("unit", measure)), measure)
        unit = _any_of(self._units)
        about = rf"(?:(?:{_any_of(words.of('about'))})\s*)?"
        self.trailing = re.compile(
            r"(?P<word>.*?[^\W\d_][^\d]*?)"
            r"(?:(?P<times>[\s:=(]+x|\s*\N{MULTIPLICATION SIGN})\s*|[\s:=(]*)"
            rf"{about}(?P<sign>[-\u2212]\s*)?(?<![\d.,])(?P<number>{NUMBER})\s*(?P<unit>{unit})?\s*\)?"
        )
        self.leading = re.compile(
            rf"{about}(?P<sign>[-\u2212]\s*)?(?P<number>{NUMBER})\s*(?:(?P<unit>{unit})(?![^\W\d_]))?\s*"
            r"(?:of\s+)?(?P<word>[^\W\d_].*)"
        )
        self.cell = re.compile(
            rf"{about}(?P<sign>[-\u2212]\s*)?(?P<number>{NUMBER})\s*(?P<unit>{unit})?"
        )
        before = _any_of(words.of("no_such"))
        self.none_before = re.compile(rf"(?:{before})(?:\s+|(?<='))(?P<word>.+)")
        self.maybe = re.compile(rf"(?:{_any_of(words.of('maybe'))})\s+(?P<word>.+)")
        self.after = re.compile(
            rf"(?P<word>.+?)[\s:=(-]+(?P<answer>{_any_of(words.of('answer'))})\)?"
        )

    def unit(self, word: str | None) -> Unit | None:
        """Return what a unit measures."""
        return self._units[word] if word else None

    def answer(self, text: str) -> Answer | None:
        """Return what a word says, if it is an answer."""
        said = self._words.meaning("answer", text)
        return _ANSWERS[said] if said else None

    def means_all(self, part: str, text: str) -> bool:
        """Whether a text says of a whole list that nothing is there, or nothing else."""
        return self._words.meaning(part, text) is not None


_ANSWERS: dict[str, Answer] = {
    "there": "there", "not there": "not there", "cannot see": "not known",
}  # fmt: skip


def _bare(tidy: str) -> tuple[str, bool]:
    """Return a text without its doubt, and whether it is sure."""
    return tidy.replace("(?)", "").replace("?", "").strip(), "?" not in tidy


def _any_of(words: Iterable[str]) -> str:
    """Return a pattern for any of some words, the longest first."""
    return "|".join(re.escape(word) for word in sorted(map(str.casefold, words), key=_by_length))


def _by_length(word: str) -> tuple[int, str]:
    return -len(word), word


@lru_cache(maxsize=8)
def _forms(knowledge: Knowledge) -> _Forms:
    return _Forms(knowledge.table_words)


def parse_list(text: str, knowledge: Knowledge) -> FeatureList:
    """Take a list of features apart (see the module's table).

    Parameters
    ----------
    text
        What stands in the cell.
    knowledge
        For the words that people use and the unit of each feature.

    Returns
    -------
    FeatureList
        In the order written; a word or number that cannot be used is among its `problems`.
    """
    whole, forms = _tidy(text), _forms(knowledge)
    if whole in _BLANK:
        return FeatureList(())
    if forms.means_all("nothing", whole):
        return FeatureList((), complete=True)
    if forms.answer(whole) == "not known":
        return FeatureList(())
    said: list[Said] = []
    problems: list[Problem] = []
    complete = False
    for part in _SEPARATORS.split(text):
        whole_name = any(name in _tidy(part) for name in _names_with_comma(knowledge))
        items = [part] if whole_name else _COMMA.split(part)
        for item in items:
            tidy = _tidy(item)
            if tidy in _BLANK:
                continue
            if forms.means_all("nothing_else", tidy):
                complete = True
                continue
            found = _parse_item(tidy, knowledge)
            if isinstance(found, Said):
                said.append(found)
            else:
                problems.append(replace(found, item=item.strip()))
    return FeatureList(tuple(said), complete, tuple(problems))


def parse_cell(text: str, feature: Feature, knowledge: Knowledge) -> Said | Problem | None:
    """Read one cell of a column that stands for one feature; None where it is empty.

    Parameters
    ----------
    text
        What stands in the cell.
    feature
        What it is about.
    knowledge
        For the words that people use.
    """
    tidy, forms = _tidy(text), _forms(knowledge)
    if tidy in _BLANK:
        return None
    if forms.answer(tidy) == "not known":
        return Said(feature.key, "not known")
    bare, sure = _bare(tidy)
    answer = forms.answer(bare)
    if answer:
        return Said(feature.key, answer, None, sure)
    found = forms.cell.fullmatch(bare)
    if found:
        return _amount(feature, found, forms, sure=sure)
    return Problem(
        _("'{short}' says nothing of {feature_name!r} that can be read.").format(
            short=_short(text), feature_name=feature.name
        ),
        _("Write yes, no, an amount, or leave it empty where it is not known."),
    )


def write_list(said: Iterable[Said], *, complete: bool = False) -> str:
    """Write a list that `parse_list` reads back as it was."""
    words = []
    for one in said:
        doubt = "" if one.sure else "?"
        if one.answer == "not known":
            words.append(_("{feature} unknown").format(feature=one.feature))
        elif one.answer == "not there":
            words.append(_("no {feature}{doubt}").format(feature=one.feature, doubt=doubt))
        elif one.amount is None:
            words.append(f"{one.feature}{doubt}")
        else:
            number = np.format_float_positional(one.amount, trim="-")
            words.append(f"{one.feature} {number}{doubt}")
    if complete:
        words.append("nothing else")
    return "; ".join(words)


# A street's lists repeat the same words over and over: remembering them halves the time.
@lru_cache(maxsize=16_384)
def _key(word: str, knowledge: Knowledge) -> str | None:
    return match_feature(word, knowledge)


@lru_cache(maxsize=8)
def _names_with_comma(knowledge: Knowledge) -> tuple[str, ...]:
    return tuple(
        word.casefold()
        for feature in knowledge.features.values()
        for word in (feature.name, *feature.words)
        if "," in word
    )


def _tidy(text: str) -> str:
    return (
        re.sub(r"\s+", " ", text.replace("\N{RIGHT SINGLE QUOTATION MARK}", "'"))
        .strip(" \t,;")
        .casefold()
    )


def _short(text: str) -> str:
    bare = " ".join(text.split())
    return bare if len(bare) <= 40 else bare[:39] + "\N{HORIZONTAL ELLIPSIS}"


@lru_cache(maxsize=16_384)
def _parse_item(item: str, knowledge: Knowledge) -> Said | Problem:
    """Read one item; `item` is tidy and not empty."""
    if len(item) > _LONGEST:
        return _unknown_word(item[:_LONGEST], knowledge)
    key = _key(item, knowledge) if "?" not in item else None
    if key:
        return Said(key, "there")
    forms = _forms(knowledge)
    bare, sure = _bare(item)
    maybe = forms.maybe.fullmatch(bare)
    if maybe:
        bare, sure = maybe["word"], False
    key = _key(bare, knowledge)
    if key:
        return Said(key, "there", None, sure)
    answered = _answered(bare, knowledge, sure=sure)
    if answered:
        return answered
    return _with_number(bare, knowledge, sure=sure) or _unknown_word(bare, knowledge)


def _answered(bare: str, knowledge: Knowledge, *, sure: bool) -> Said | None:
    """Read ``no pond``, ``pond: yes``, ``pond unknown``."""
    forms = _forms(knowledge)
    before = forms.none_before.fullmatch(bare)
    if before:
        key = _key(before["word"], knowledge)
        if key:
            return Said(key, "not there", None, sure)
    after = forms.after.fullmatch(bare)
    key = _key(after["word"], knowledge) if after else None
    if not (after and key):
        return None
    answer = forms.answer(after["answer"])
    if answer is None or answer == "not known":
        return Said(key, "not known")
    return Said(key, answer, None, sure)


def _with_number(bare: str, knowledge: Knowledge, *, sure: bool) -> Said | Problem | None:
    forms = _forms(knowledge)
    for pattern in (forms.trailing, forms.leading):
        found = pattern.fullmatch(bare)
        key = _key(found["word"], knowledge) if found else None
        if found and key:
            return _amount(knowledge.features[key], found, forms, sure=sure)
    return None


def _amount(
    feature: Feature, found: "re.Match[str]", forms: _Forms, *, sure: bool
) -> Said | Problem:
    number = parse_number(found["number"])
    name = feature.name
    if number is None or not math.isfinite(number):
        return Problem(
            _("The amount of {name!r} is too large to be a number.").format(name=name),
            _("Write it again."),
        )
    if found["sign"] and number > 0:
        return Problem(
            _("The amount of {name!r} is negative: -{number:g}.").format(name=name, number=number),
            _("Write an amount above 0, or 'no' if it is not there."),
        )
    unit = forms.unit(found["unit"])
    if unit is None and found.groupdict().get("times"):
        unit = "count"  # "x 3" counts, whatever the feature is measured in
    if unit is not None and unit != feature.measure:
        return Problem(
            _("{name!r} is given in {unit_word}, but is measured in {unit_word_2}.").format(
                name=name, unit_word=_UNIT_WORDS[unit], unit_word_2=_UNIT_WORDS[feature.measure]
            ),
            _("Write the amount in that unit, or the word alone if it is not known."),
        )
    if number == 0:
        return Said(feature.key, "not there", None, sure)
    return Said(feature.key, "there", number, sure)


def _unknown_word(bare: str, knowledge: Knowledge) -> Problem:
    forms = _forms(knowledge)
    patterns = (forms.trailing, forms.leading, forms.none_before)
    found = next(filter(None, (pattern.fullmatch(bare) for pattern in patterns)), None)
    word = found["word"].strip() if found else bare
    near = near_feature_words(word, knowledge)
    hint = (
        _(" Did you mean {near}?").format(near=_(" or ").join(repr(name) for name in near))
        if near
        else ""
    )
    return Problem(
        _("'{short}' is not a feature that patchnet knows.{hint}").format(
            short=_short(word), hint=hint
        ),
        _("'patchnet features' lists the words; write ; between two features."),
    )


def plot_features(neighbourhood: Neighbourhood) -> list[str]:
    """What is known of each plot as a list in the form that patchnet reads.

    Parameters
    ----------
    neighbourhood
        n plots.

    Returns
    -------
    list of str
        n lists, in the order of the plots; what is not listed is not known.
    """
    answers = neighbourhood.answers
    return [
        write_list(
            Said(
                feature,
                "there" if amount > 0 else "not there",
                float(amount) if stated and amount > 0 else None,
                bool(certain),
            )
            for feature, amount, stated, certain in zip(
                answers.features, row, sized, sure, strict=True
            )
            if not np.isnan(amount)
        )
        for row, sized, sure in zip(answers.amount, answers.sized, answers.sure, strict=True)
    ]
