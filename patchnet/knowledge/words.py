"""Words that people write for features, plots and barriers, matched to the tables' keys.

A plain word stands for the plainer thing, so that nothing is claimed that nobody saw: "lawn" is
a short lawn, "hedge" a clipped one, "tree" a small one. A word that may mean something which
gives nothing of the kind (fish pond, closed compost bin) is not matched at all, and asked about.
"""

from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Protocol

from patchnet.core.faults import nearest
from patchnet.core.folding import folded, heading
from patchnet.core.texts import said_anywhere, source_of
from patchnet.knowledge.knowledge import Knowledge

__all__ = [
    "Worded",
    "feature_headings",
    "match_barrier_kind",
    "match_feature",
    "match_plot_kind",
    "match_street_kind",
    "near_feature_words",
    "near_features",
    "near_plot_kinds",
    "plain",
    "word_index",
]

_IRREGULAR = {"leaves": "leaf", "shelves": "shelf", "loaves": "loaf"}


class Worded(Protocol):
    """Anything of the tables that people have words for."""

    @property
    def key(self) -> str:
        """Its key."""
        ...

    @property
    def name(self) -> str:
        """Its name."""
        ...

    @property
    def words(self) -> tuple[str, ...]:
        """Other words for it."""
        ...


@lru_cache(maxsize=4096)
def plain(word: str) -> str:
    """Return what is compared of a word: no case, signs, gaps or plural endings.

    Examples
    --------
    >>> plain("Bird_Baths") == plain("bird-bath") == plain("birdbath")
    True
    """
    parts = folded(word).split()
    return "".join(_singular(part) for part in parts if any(map(str.isalnum, part)))


def _singular(word: str) -> str:
    if word in _IRREGULAR:
        return _IRREGULAR[word]
    if len(word) > 4 and word.endswith("ies"):
        return word[:-3] + "y"
    if word.endswith(("xes", "shes", "ches", "sses")):
        return word[:-2]
    if len(word) > 2 and word.endswith("s") and not word.endswith(("ss", "us", "is")):
        return word[:-1]
    return word


def word_index(records: Iterable[Worded]) -> dict[str, list[str]]:
    """Return for each plain word the keys it stands for (more than one is a clash)."""
    return _index(
        (one.key, (one.key, one.name, source_of(one.name), *one.words)) for one in records
    )


def _index(named: Iterable[tuple[str, Iterable[str]]]) -> dict[str, list[str]]:
    index: dict[str, list[str]] = {}
    for key, names in named:
        for word in names:
            keys = index.setdefault(plain(word), [])
            if key not in keys:
                keys.append(key)
    return index


def _tables(knowledge: Knowledge) -> tuple[Mapping[str, Worded], ...]:
    return (
        knowledge.features,
        knowledge.plot_kinds,
        knowledge.barrier_kinds,
        knowledge.street_kinds,
    )


@lru_cache(maxsize=8)
def _indices(knowledge: Knowledge) -> tuple[Mapping[str, list[str]], ...]:
    return tuple(word_index(table.values()) for table in _tables(knowledge))


@lru_cache(maxsize=8)
def _other_languages(knowledge: Knowledge) -> tuple[Mapping[str, list[str]], ...]:
    """Names in every language there is: a sheet is made in one, and read in another."""
    _features, *others = _tables(knowledge)
    return (
        _index(_other_words(knowledge).items()),
        *(
            _index((one.key, said_anywhere(source_of(one.name))) for one in table.values())
            for table in others
        ),
    )


@lru_cache(maxsize=8)
def _other_words(knowledge: Knowledge) -> Mapping[str, tuple[str, ...]]:
    """Words for each feature in other languages: those of the table, and its name translated."""
    return {
        key: (*knowledge.feature_words.get(key, ()), *said_anywhere(source_of(feature.name))[1:])
        for key, feature in knowledge.features.items()
    }


def _match(word: str, knowledge: Knowledge, at: int) -> str | None:
    """Find the key by our own words; where they know nothing of it, by those of other languages."""
    meant = plain(word)
    keys = _indices(knowledge)[at].get(meant) or _other_languages(knowledge)[at].get(meant, [])
    return keys[0] if len(keys) == 1 else None


def match_feature(word: str, knowledge: Knowledge) -> str | None:
    """Return the key of the feature that `word` means, or None.

    Case, ``_``, ``-``, blanks and plural endings do not matter; other names that people use
    stand in the `words` of the feature. A word that is only spelt like one is not matched.
    """
    return _match(word, knowledge, 0)


@lru_cache(maxsize=8)
def feature_headings(knowledge: Knowledge) -> frozenset[str]:
    """Return every word for a feature, folded as the heading of a column is."""
    ours = {word for one in knowledge.features.values() for word in (one.key, one.name, *one.words)}
    others = {word for words in _other_words(knowledge).values() for word in words}
    return frozenset(heading(word) for word in ours | others)


def match_plot_kind(word: str, knowledge: Knowledge) -> str | None:
    """Return the key of the plot kind that `word` means, or None (see `match_feature`)."""
    return _match(word, knowledge, 1)


def match_barrier_kind(word: str, knowledge: Knowledge) -> str | None:
    """Return the key of the barrier kind that `word` means, or None (see `match_feature`)."""
    return _match(word, knowledge, 2)


def match_street_kind(word: str, knowledge: Knowledge) -> str | None:
    """Return the key of the thing in a street that `word` means, or None (see `match_feature`)."""
    return _match(word, knowledge, 3)


def near_features(word: str, knowledge: Knowledge) -> list[str]:
    """Return keys of the features spelt most like `word`, best first (may be empty)."""
    return list(_features_like(word, knowledge))


def near_feature_words(word: str, knowledge: Knowledge) -> list[str]:
    """Return the words for features spelt most like `word`, one a feature, best first."""
    return list(_features_like(word, knowledge).values())


def near_plot_kinds(word: str, knowledge: Knowledge) -> list[str]:
    """Return keys of the plot kinds spelt most like `word`, best first (may be empty)."""
    return _near(word, knowledge.plot_kinds.values())


def _near(word: str, records: Iterable[Worded]) -> list[str]:
    return list(_nearest(word, _spelt(records)))


def _features_like(word: str, knowledge: Knowledge) -> dict[str, str]:
    others = _other_words(knowledge).items()
    spelt = {name.casefold(): key for key, words in others for name in words}
    return _nearest(word, spelt | _spelt(knowledge.features.values()))


def _spelt(records: Iterable[Worded]) -> dict[str, str]:
    return {
        name.casefold(): record.key
        for record in records
        for name in (record.name, *record.words, record.key.replace("_", " "))
    }


def _nearest(word: str, spelt: Mapping[str, str]) -> dict[str, str]:
    """Keys spelt most like `word`, at most three, each with the word that is."""
    close = nearest(folded(word), spelt, most=6)
    found: dict[str, str] = {}
    for name in close:
        found.setdefault(spelt[name], name)
    return dict(list(found.items())[:3])
