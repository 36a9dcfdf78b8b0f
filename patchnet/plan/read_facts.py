"""A householder's answers from plain words and numbers, every fault in one list."""

import math
import tomllib
from collections.abc import Callable, Collection, Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

from patchnet.core.errors import DataFaults
from patchnet.core.faults import Fault, nearest_hint
from patchnet.core.files import utf8_text
from patchnet.core.language_forms import in_sentence, number
from patchnet.core.reader_child import read_in_child
from patchnet.core.texts import _
from patchnet.knowledge import match_feature, near_features
from patchnet.knowledge.records import Knowledge
from patchnet.knowledge.words import plain
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plant_names import match_plant, near_plants

__all__ = ["facts_in_file", "read_facts"]

_LIGHTS = {
    "sun": "sun", "full sun": "sun", "sunny": "sun",
    "part": "part", "part shade": "part", "half shade": "part", "half": "part", "mixed": "part",
    "shade": "shade", "shady": "shade", "full shade": "shade",
}  # fmt: skip
_SOILS = {
    "clay": "clay", "heavy": "clay", "loam": "loam", "sand": "sand", "sandy": "sand",
    "light": "sand", "chalk": "chalk", "chalky": "chalk", "lime": "chalk",
}  # fmt: skip
_TENURES = {
    "own": "own", "owned": "own", "owner": "own",
    "rent": "rent", "rented": "rent", "tenant": "rent",
}  # fmt: skip
_PETS = {"cat": "cat", "dog": "dog"}
_YES = {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}
_NOT_SAID = frozenset({"", "?", "not known", "unknown", "dont know", "skip"})


def read_facts(said: Mapping[str, object], knowledge: Knowledge, *, where: str) -> PlotFacts:
    """Read what somebody said of a plot.

    Parameters
    ----------
    said
        Names of `PlotFacts` to words, numbers, yes or no, or lists; text is read as people write
        it ("yes", "3,5", "cat and dog"). ``wishes`` also takes a mapping of feature to amount.
    knowledge
        For features, groups and uses that must stay.
    where
        What to call the source in faults: the file, or "your answers".

    Returns
    -------
    PlotFacts
        What was said; whatever was not is None or empty.

    Raises
    ------
    DataFaults
        If anything cannot be read, is out of range or contradicts itself: all of it at once.

    Examples
    --------
    >>> import patchnet
    >>> facts = patchnet.read_facts({"free_m2": "3,5"}, patchnet.load_knowledge(), where="you")
    >>> facts.free_m2
    3.5
    """
    reader = _Reader(knowledge, where)
    names = {part.name for part in fields(PlotFacts)}
    for name in said:
        if name not in names:
            hint = nearest_hint(name, names)
            reader.fault(
                name,
                _("There is no question of this name.{hint}").format(hint=hint),
                _names_wanted(names),
            )
    facts = reader.facts({key: value for key, value in said.items() if key in names})
    reader.contradictions(facts)
    if reader.faults:
        raise DataFaults(reader.faults)
    return facts


def _names_wanted(names: Collection[str]) -> str:
    return _("Use some of: {names}.").format(names=", ".join(sorted(names)))


def facts_in_file(path: Path | str) -> dict[str, object]:
    """Return what a TOML file says of a plot, not yet checked (see `read_facts`).

    Parameters
    ----------
    path
        File with lines such as ``light = "part"`` and ``free_m2 = 12``.

    Raises
    ------
    CannotRead
        If it cannot be read as UTF-8 text.
    DataFaults
        If it is not TOML.
    """
    return read_in_child(_toml_here, Path(path))


def _toml_here(path: Path) -> dict[str, object]:
    text = utf8_text(path)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        mend = _('Write lines such as light = "part" and free_m2 = 12.')
        what = _("The file is not TOML: {error}.").format(error=error)
        raise DataFaults([Fault("error", str(path), None, None, what, mend)]) from error


class _Reader:
    def __init__(self, knowledge: Knowledge, where: str) -> None:
        self.knowledge, self.where = knowledge, where
        self.faults: list[Fault] = []

    def fault(self, name: str, what: str, mend: str) -> None:
        self.faults.append(Fault("error", self.where, None, name, what, mend))

    def facts(self, said: Mapping[str, object]) -> PlotFacts:
        readers: dict[str, Callable[[str, object], Any]] = {
            "light": lambda name, value: self.word(name, value, _LIGHTS),
            "soil": lambda name, value: self.word(name, value, _SOILS),
            "tenure": lambda name, value: self.word(name, value, _TENURES),
            "damp": self.yes_no,
            "pots_only": self.yes_no,
            "small_children": self.yes_no,
            "edible": self.yes_no,
            "keep": self.kept,
            "pets": lambda name, value: self.words(name, value, _PETS),
            "groups": self.groups,
            "plants": self.plants,
            "wishes": self.wishes,
        }
        values = {
            name: readers.get(name, self.number)(name, value)
            for name, value in said.items()
            if not _is_blank(value)
        }
        return PlotFacts(**{name: value for name, value in values.items() if value is not None})

    # one kind of answer -------------------------------------------------------------------

    def word(self, name: str, value: object, words: Mapping[str, str]) -> str | None:
        found = {plain(word): key for word, key in words.items()}.get(plain(str(value)))
        if found is None:
            choices = sorted(set(words.values()))
            hint = nearest_hint(str(value), words)
            self.fault(
                name,
                _("'{value}' is not one of the answers.{hint}").format(value=value, hint=hint),
                _one_of(choices),
            )
        return found

    def words(self, name: str, value: object, words: Mapping[str, str]) -> tuple[str, ...]:
        found = [self.word(name, part, words) for part in _parts(value)]
        return tuple(dict.fromkeys(part for part in found if part is not None))

    def yes_no(self, name: str, value: object) -> bool | None:
        if isinstance(value, bool):
            return value
        said = _YES.get(str(value).strip().casefold())
        if said is None:
            self.fault(
                name,
                _("'{value}' is neither yes nor no.").format(value=value),
                _("Write yes or no."),
            )
        return said

    def number(self, name: str, value: object) -> float | None:
        amount = _number(value)
        if amount is None:
            self.fault(
                name,
                _("'{value}' is not a number.").format(value=value),
                _("Write digits, without the unit."),
            )
        elif amount < 0:
            self.fault(
                name, _("{amount:g} is negative.").format(amount=amount), _("Write 0 or more.")
            )
            return None
        return amount

    def kept(self, name: str, value: object) -> tuple[str, ...]:
        words = {}
        for key, use in self.knowledge.keep_uses.items():
            words.update(dict.fromkeys((key, use.name, *use.words), key))
        return self.words(name, value, words)

    def groups(self, name: str, value: object) -> tuple[str, ...]:
        words = {}
        for key, group in self.knowledge.groups.items():
            words.update(dict.fromkeys((key, group.name), key))
        return self.words(name, value, words)

    def plants(self, name: str, value: object) -> tuple[str, ...]:
        found: dict[str, None] = {}
        for word in _parts(value):
            key = match_plant(word, self.knowledge)
            if key is None:
                near = near_plants(word, self.knowledge)
                hint = _(" Did you mean {near}?").format(near=_(" or ").join(near)) if near else ""
                self.fault(
                    name,
                    _("'{word}' is not a plant of the tables.{hint}").format(word=word, hint=hint),
                    _("Leave it out: only plants of the tables are offered."),
                )
                continue
            found[key] = None
        return tuple(found)

    def wishes(self, name: str, value: object) -> tuple[tuple[str, float | None], ...]:
        pairs = (
            value.items() if isinstance(value, Mapping) else [_wish(part) for part in _parts(value)]
        )
        found: dict[str, float | None] = {}
        for words, amount in pairs:
            key = match_feature(str(words), self.knowledge)
            if key is None:
                near = near_features(str(words), self.knowledge)
                hint = _(" Did you mean {near}?").format(near=_(" or ").join(near)) if near else ""
                self.fault(
                    name,
                    _("'{words}' is not a feature.{hint}").format(words=words, hint=hint),
                    _("'patchnet features' lists them all."),
                )
                continue
            found[key] = None if amount is None else self.number(name, amount)
        return tuple(found.items())

    # answers that cannot both be true -----------------------------------------------------

    def contradictions(self, facts: PlotFacts) -> None:
        for key, amount in facts.wishes:
            feature = self.knowledge.features[key]
            siting = self.knowledge.sitings.get(key)
            if siting is None or not feature.addable:
                self.fault(
                    "wishes",
                    _("{feature_name} cannot be added.").format(feature_name=feature.name),
                    _("Leave it out."),
                )
                continue
            if facts.pots_only and siting.in_ground:
                what = _("Everything must stand in pots, but {wished} cannot.").format(
                    wished=_wished(feature.name, amount)
                )
                self.fault("wishes", what, _("Change one of the two."))
            if facts.small_children and feature.open_water:
                what = _("{feature_name} is on your list, but small children come here.").format(
                    feature_name=feature.name
                )
                self.fault("wishes", what, _("Leave it out while they are small."))
            ground = feature.ground.value * (amount or 0.0)
            if facts.free_m2 is not None and siting.place == "ground" and ground > facts.free_m2:
                what = _("{wished} takes {ground:g} m2, but only {free_m2:g} m2 is free.").format(
                    wished=_wished(feature.name, amount), ground=ground, free_m2=facts.free_m2
                )
                self.fault("wishes", what, _("Make it smaller, or say that more is free."))


def _wished(name: str, amount: float | None) -> str:
    return in_sentence(name) if amount is None else f"{in_sentence(name)} ({number(amount, 'g')})"


def _one_of(choices: Collection[str]) -> str:
    return _("Write one of: {choices}.").format(choices=", ".join(choices))


def _is_blank(value: object) -> bool:
    return value is None or (isinstance(value, str) and plain(value) in map(plain, _NOT_SAID))


def _parts(value: object) -> list[str]:
    """Split an answer that may be a list or text with commas, semicolons or 'and'."""
    if isinstance(value, str):
        text = value.replace(" and ", ",").replace(";", ",")
        return [part.strip() for part in text.split(",") if part.strip()]
    if isinstance(value, Collection):
        return [str(part) for part in value]
    return [str(value)]


def _wish(part: str) -> tuple[str, float | None]:
    """A wish such as ``pond``, ``pond 3`` or ``pond 3 m2``."""
    words = part.removesuffix("m2").removesuffix(" m").split()
    amount = _number(words[-1]) if len(words) > 1 else None
    return (part, None) if amount is None else (" ".join(words[:-1]), amount)


def _number(value: object) -> float | None:
    if isinstance(value, bool):
        return None
    try:
        amount = float(str(value).strip().replace(",", "."))
    except ValueError:
        return None
    return amount if math.isfinite(amount) else None
