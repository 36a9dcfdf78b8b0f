"""Headings of the tables that volunteers send, in every language that the tables know."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from patchnet.core.errors import WrongUse
from patchnet.core.faults import nearest, nearest_hint
from patchnet.core.table import heading
from patchnet.core.texts import _, said_anywhere
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.words import feature_headings, match_feature
from patchnet.read.columns import ROLES, bare_heading

__all__ = ["NEEDED", "SheetWords", "columns_said", "matched", "sheet_words"]

_HEADS: Mapping[str, tuple[str, ...]] = {
    "plot": (
        "plot",
        "plot no",
        "plot number",
        "plot id",
        "id",
        "number",
        "no",
        "garden",
        "house",
        "door",
        "door number",
    ),
    "feature": ("feature", "what", "thing", "habitat feature", "habitat", "item"),
    "features": ("features", "habitat features", "habitats", "what is there", "features seen",
                 "things there"),
    "answer": ("answer", "there", "is it there", "seen", "present", "found", "yes no"),
    "amount": ("amount", "size", "how much", "how many", "quantity", "qty"),
    "unit": ("unit", "units", "in", "measured in"),
    "sure": ("how sure", "sure", "certain", "confidence", "how certain"),
    "seen_from": ("seen from", "from where", "viewed from", "view point", "viewpoint", "from"),
    "surveyor": ("surveyor", "who", "name", "observer", "by", "recorder", "recorded by"),
    "when": ("date", "when", "day", "date seen", "survey date"),
    "note": ("note", "notes", "remarks", "remark", "comment", "comments"),
    "photo": ("photo", "photos", "picture", "photo name", "photograph"),
    "consent": ("consent", "agreed", "household agrees"),
    "street": ("street", "street id"),
    # For people alone: not read.
    "called": ("called", "door", "door number", "address", "label"),
    "credit": ("credit", "credits", "map data"),
    "wrong": ("what is wrong",),
    "file": ("from file",),
    "row": ("row",),
}  # fmt: skip
_SEEN = ("seen", "surveyed", "looked at", "how much seen", "share seen")
NEEDED = ("plot", "feature", "answer")
"""What the heading of a survey sheet must say."""
_LIKENESS_LETTERS = 4  # a shorter header is too short to be told by its likeness


@dataclass(frozen=True)
class SheetWords:
    """What the headings of a return may be called.

    Attributes
    ----------
    heads
        Role -> headings, the plainest first.
    seen
        Headings of how much of a plot was seen, in a table of one row a plot.
    features
        Every heading that names a feature.
    said
        Role or feature -> the heading that the user names.
    totals, dittos
        What stands for a plot in a row of totals, and what repeats the cell above.
    """

    heads: Mapping[str, tuple[str, ...]]
    seen: tuple[str, ...]
    features: frozenset[str]
    said: Mapping[str, str] = field(default_factory=dict)
    totals: frozenset[str] = frozenset()
    dittos: frozenset[str] = frozenset()

    @property
    def known(self) -> frozenset[str]:
        """Every word that a heading may be."""
        words = {word for words in self.heads.values() for word in words}
        return frozenset({*words, *self.seen, *self.features, *map(heading, self.said.values())})

    def feature(self, name: str) -> bool:
        """Whether a heading names a feature.

        Parameters
        ----------
        name
            As it stands there.
        """
        said = {heading(other) for role, other in self.said.items() if role not in self.heads}
        return heading(name) in self.features | said or heading(bare_heading(name)) in self.features


def sheet_words(knowledge: Knowledge, said: Mapping[str, str]) -> SheetWords:
    """Return the headings that returns may have.

    Parameters
    ----------
    knowledge
        For the words of other languages and of features.
    said
        As from `columns_said`.
    """
    words = knowledge.table_words
    heads = {
        role: tuple(
            dict.fromkeys(
                map(heading, (*ours, *words.of("column", role), *said_anywhere(ours[0])[1:]))
            )
        )
        for role, ours in _HEADS.items()
    }
    return SheetWords(
        heads,
        tuple(map(heading, (*_SEEN, *words.of("column", "seen")))),
        feature_headings(knowledge),
        dict(said),
        frozenset(map(heading, words.of("total"))),
        frozenset(word.casefold() for word in words.of("ditto")),
    )


def columns_said(
    columns: Mapping[str, str] | None, knowledge: Knowledge
) -> tuple[dict[str, str], dict[str, str]]:
    """Sort the user's column names: those that a map can have, and those that a return can.

    Parameters
    ----------
    columns
        As the user says them: field -> name of the column.
    knowledge
        For the words of features.

    Returns
    -------
    tuple of dict
        Field -> name for the map; role or key of a feature -> name for returns. Many can be of
        either: they stand in both.

    Raises
    ------
    WrongUse
        If a field is one of neither.
    """
    by_word = {word: role for role, words in reversed([*_HEADS.items()]) for word in words}
    by_word |= {role.replace("_", " "): role for role in _HEADS} | {"seen": "seen"}
    of_map, of_returns = {}, {}
    for name, column in (columns or {}).items():
        word = heading(name)
        role = by_word.get(word)
        feature = match_feature(name, knowledge) if role is None else None
        if word in ROLES or feature:
            of_map[name] = column
        if role or feature:
            of_returns[role or feature or ""] = column
        elif word not in ROLES:
            fields = [*ROLES, *(role.replace("_", " ") for role in _HEADS)]
            raise WrongUse(
                _(
                    "There is no field {name!r} to name a column for.{hint} The fields are "
                    "{fields}, and every feature."
                ).format(
                    name=name,
                    hint=nearest_hint(word, fields),
                    fields=", ".join(dict.fromkeys(fields)),
                )
            )
    return of_map, of_returns


def matched(
    names: Sequence[str], words: SheetWords, *, table: bool
) -> tuple[dict[str, int], dict[str, str]]:
    """Return role -> position, and the roles that were told by likeness alone.

    Parameters
    ----------
    names
        A row that may be the heading.
    words
        What headings are called.
    table
        Whether it is taken for a table of one row a plot, whose features are columns.
    """
    plain = [heading(name) for name in names]
    heads = dict(words.heads)
    columns = {
        role: plain.index(heading(said))
        for role, said in words.said.items()
        if heading(said) in plain and (role in heads or role == "seen")
    }
    if table:
        heads["seen"] = words.seen
        heads["answer"] = tuple(word for word in heads["answer"] if word not in words.seen)
    for key, called in heads.items():
        for word in called:
            if word in plain and plain.index(word) not in columns.values() and key not in columns:
                columns[key] = plain.index(word)
    guessed: dict[str, str] = {}
    by_word = {called[0]: key for key, called in heads.items() if called and key != "features"}
    for at, name in enumerate(plain):
        if at in columns.values() or len(name) < _LIKENESS_LETTERS or words.feature(names[at]):
            continue
        free = [word for word, key in by_word.items() if key not in columns]
        close = nearest(name, free, most=1)
        begun = [by_word[word] for word in free if word in name.split()]
        if close or begun:
            key = by_word[close[0]] if close else begun[0]
            columns[key] = at
            guessed[key] = names[at]
    return columns, guessed
