"""Words that people write in tables, in the languages that our volunteers speak."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Annotated

from patchnet.core.folding import folded
from patchnet.core.texts import N_, _, said_anywhere
from patchnet.knowledge.columns import Choice, Key, Ref, Text, Words
from patchnet.knowledge.reader import Reader
from patchnet.knowledge.schema import table

__all__ = ["PARTS", "FeatureWord", "TableWord", "TableWords", "read_table_words"]

PARTS: Mapping[str, tuple[str, ...]] = {
    "answer": ("there", "not there", "cannot see"),
    "sure": ("not sure",),
    "seen_from": ("street", "own plot", "neighbour's plot", "window"),
    "consent": ("yes", "no"),
    "seen": ("all", "rest"),
    "nothing_else": ("all",),
    "nothing": ("all",),
    "no_such": ("before",),
    "maybe": ("before",),
    "about": ("before",),
    "unit": ("m2", "m", "count"),
    "total": ("row",),
    "ditto": ("above",),
    "column": (
        "plot", "feature", "features", "answer", "amount", "unit", "sure", "seen_from",
        "surveyor", "when", "note", "photo", "consent", "street", "called", "seen",
    ),
    "month": tuple(map(str, range(1, 13))),
}  # fmt: skip
"""What a word can be part of, and what it can mean there."""


@table(
    "table_words.csv",
    N_("What people write in tables for an answer, a unit, a heading or a month."),
    called=N_("word in a table"),
    key=("part", "means", "language"),
)
@dataclass(frozen=True, slots=True)
class TableWord:
    """Words of one language that mean one thing in one part of a table."""

    part: Annotated[str, Choice(N_("where it stands"), of=tuple(PARTS))]
    means: Annotated[str, Text(N_("what it means there"), shown=False)]
    language: Annotated[str, Key(N_("language, as two letters of ISO 639-1"))]
    words: Annotated[tuple[str, ...], Words(N_("words for it"))]


@table(
    "feature_words.csv",
    N_("What people call a feature in other languages."),
    called=N_("word for a feature"),
    key=("feature", "language"),
)
@dataclass(frozen=True, slots=True)
class FeatureWord:
    """Words of one language for one feature; English ones stand with the feature."""

    feature: Annotated[str, Ref(N_("the feature"), table="features.csv")]
    language: Annotated[str, Key(N_("language, as two letters of ISO 639-1"))]
    words: Annotated[tuple[str, ...], Words(N_("words for it"))]


@dataclass(frozen=True)
class TableWords:
    """Words of tables, looked up by what they are part of.

    Parameters
    ----------
    rows
        Of the table, in its order.
    """

    rows: tuple[TableWord, ...] = ()

    def of(self, part: str, means: str | None = None) -> tuple[str, ...]:
        """Return the words of a part as written, all or those of one meaning.

        Parameters
        ----------
        part
            One of `PARTS`.
        means
            One of its meanings.
        """
        said = self._said.get(part, {})
        if means is not None:
            return said.get(means, ())
        return tuple(word for words in said.values() for word in words)

    def meaning(self, part: str, text: str) -> str | None:
        """Return what a text means in a part, or None.

        Parameters
        ----------
        part
            One of `PARTS`.
        text
            As somebody wrote it.
        """
        return self._meanings.get(part, {}).get(folded(text))

    @cached_property
    def _said(self) -> Mapping[str, Mapping[str, tuple[str, ...]]]:
        """Words by part and meaning."""
        found: dict[str, dict[str, tuple[str, ...]]] = {}
        for row in self.rows:
            of_part = found.setdefault(row.part, {})
            of_part[row.means] = (*of_part.get(row.means, ()), *row.words)
        return found

    @cached_property
    def _meanings(self) -> Mapping[str, Mapping[str, str]]:
        """By part and folded word; the first of two meanings, and ours before translations."""
        found: dict[str, dict[str, str]] = {}
        for part, said in self._said.items():
            of_part = found.setdefault(part, {})
            for means, words in said.items():
                for word in words:
                    of_part.setdefault(folded(word), means)
            for means in said:
                for word in said_anywhere(means)[1:]:
                    of_part.setdefault(folded(word), means)
        return found


def read_table_words(reader: Reader) -> TableWords:
    """Read the words; what each means must be possible in its part.

    Parameters
    ----------
    reader
        Of all tables.
    """
    rows = reader.rows(TableWord)
    for row, one in rows:
        choices = PARTS.get(one.part, ())
        if one.means not in choices:
            what = _("'{means}' can be meant by no word of the part {part}.").format(
                means=one.means, part=one.part
            )
            mend = _("Write one of: {choices}.").format(choices=", ".join(choices))
            reader.say(row, what, mend)
    return TableWords(tuple(one for __, one in rows))
