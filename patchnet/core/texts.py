"""The one catalogue of texts: what is said to people, in the language that was chosen.

The text in the code is English and its own key: ``_("Nothing else fits.")``. In another language
the standard library's gettext looks it up in ``patchnet/locale/LANGUAGE.mo``; without one, or
where a text has no translation yet, English comes out unchanged. The numbers that are put into a
translated text are written as its language writes them (`language_forms.number`).

The language is chosen once a process: by `use_language` (``--language``), or by the environment
variable PATCHNET_LANGUAGE. The system's own locale is never asked: the same command says the same
on every computer.
"""

import gettext
import os
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from io import BytesIO
from numbers import Real
from pathlib import Path
from string import Formatter
from typing import Generic, TypeVar, overload

__all__ = [
    "ENGLISH",
    "FOLDER",
    "N_",
    "VARIABLE",
    "Text",
    "WordList",
    "Words",
    "_",
    "counted",
    "forms_of",
    "language",
    "language_code",
    "languages",
    "ngettext",
    "said_anywhere",
    "source_of",
    "use_language",
]

ENGLISH = "en"
VARIABLE = "PATCHNET_LANGUAGE"
FOLDER = Path(__file__).resolve().parent.parent / "locale"
"""Where the catalogues are: ``patchnet.pot`` with every text, ``LANGUAGE.po``, ``LANGUAGE.mo``."""

K = TypeVar("K")
V = TypeVar("V")


class Text(str):
    """A text that is marked for the catalogue and not yet translated; see `N_`."""

    __slots__ = ("message", "values")

    message: str
    values: Mapping[str, object]


class Told(str):
    """A translated text, whose values are written as its language writes them."""

    __slots__ = ()

    def format(self, *args: object, **values: object) -> str:
        """As for any text; a number goes through `language_forms.number`."""
        return _FORMATTER.vformat(self, args, values)


class _Formatter(Formatter):
    def format_field(self, value: object, format_spec: str) -> str:
        """Write one value."""
        from patchnet.core.language_forms import number  # noqa: PLC0415 - it asks for the language

        if isinstance(value, Real) and not isinstance(value, bool):
            return number(value, format_spec)  # type: ignore[arg-type]  # a Real may be formatted
        return format(value, format_spec)


_FORMATTER = _Formatter()


class _Choice:
    """The language of this process, and what English each translation stands for."""

    def __init__(self) -> None:
        self.name: str | None = None
        self.sources: dict[str, str] = {}


_CHOICE = _Choice()


def use_language(name: str | None) -> None:
    """Choose the language of this process and of those that it starts.

    Call it before anything is read or made: what was said already stays as it was said.

    Parameters
    ----------
    name
        A language of the folder of catalogues, such as ``"de"``; or the path of a ``.po`` file,
        to try one out; None or ``"en"``: English.

    Raises
    ------
    WrongUse
        If there is no such catalogue.

    Examples
    --------
    >>> use_language("en")
    """
    wanted = name or ENGLISH
    if wanted != ENGLISH:
        _catalogue(wanted)
    _CHOICE.name = wanted
    _CHOICE.sources.clear()
    os.environ[VARIABLE] = wanted


def language() -> str:
    """Return the language of this process."""
    if _CHOICE.name is None:
        _CHOICE.name = ENGLISH  # so that it can be said that there is no such language
        use_language(os.environ.get(VARIABLE))
    return _CHOICE.name or ENGLISH


def language_code() -> str:
    """Return the language of this process as web pages name it (BCP 47), such as ``"pt-BR"``."""
    name = language()
    if name.endswith(".po"):
        name = _catalogue(name).info().get("language") or ENGLISH
    return name.replace("_", "-")


def languages() -> list[str]:
    """Return every language there is a catalogue for, English first.

    Returns
    -------
    list of str
        Their codes.

    Examples
    --------
    >>> languages()[0]
    'en'
    """
    found = {path.stem for ending in ("*.po", "*.mo") for path in FOLDER.glob(ending)}
    return [ENGLISH, *sorted(found - {ENGLISH})]


def _(message: str) -> str:
    """Return a text in the language of this process.

    Parameters
    ----------
    message
        The English text; where it has values, with ``{name}`` in their place.

    Examples
    --------
    >>> _("{n} plots").format(n=3)
    '3 plots'
    """
    if not message or language() == ENGLISH:
        return message
    if isinstance(message, Text) and message.values:
        filled = {
            name: _(value) if isinstance(value, Text) else value
            for name, value in message.values.items()
        }
        return _(message.message).format(**filled)
    said = _catalogue(language()).gettext(message)
    if said != message:
        _CHOICE.sources[said] = message
    return Told(said)


def ngettext(one: str, several: str, n: float) -> str:
    """Return the form of a text that goes with a number, in the language of this process.

    Parameters
    ----------
    one, several
        The English text for 1, and for any other number.
    n
        The number; a fraction takes the form of several.

    Examples
    --------
    >>> ngettext("{n} plot", "{n} plots", 1).format(n=1)
    '1 plot'
    """
    if language() == ENGLISH:
        return one if n == 1 else several
    whole = int(n) if n == int(n) else 2
    return Told(_catalogue(language()).ngettext(one, several, whole))


def counted(count: int, one: str, several: str = "", *, said: str = "") -> str:
    """Return a number with its noun, in the language of this process.

    Parameters
    ----------
    count
        The number.
    one, several
        The English noun for 1, and for any other number (if left out, `one` with an s).
    said
        How the number is written, if not in plain digits.

    Examples
    --------
    >>> counted(1, "planter"), counted(3, "planter"), counted(2, "box", "boxes")
    ('1 planter', '3 planters', '2 boxes')
    """
    words = ngettext(*forms_of(one, several), count)
    return words.format(n=said or count)


def forms_of(one: str, several: str = "") -> tuple[str, str]:
    """Return the two messages of the catalogue that `counted` looks up for a noun."""
    return f"{{n}} {one}", f"{{n}} {several or one + 's'}"


def N_(message: str, **values: object) -> Text:  # noqa: N802 - what gettext calls it
    """Mark a text that is made at import; `_`, `Words` or `WordList` translate it in use.

    Parameters
    ----------
    message
        The English text.
    values
        What stands in place of its ``{name}``s, if it has any; a marked text is translated too.

    Examples
    --------
    >>> N_("key of the {called}", called=N_("feature"))
    'key of the feature'
    """
    text = Text(message.format(**values) if values else message)
    text.message, text.values = message, values
    return text


def source_of(said: str) -> str:
    """Return the English of a text that this process has translated; any other as it is."""
    return _CHOICE.sources.get(said, said)


def said_anywhere(message: str) -> list[str]:
    """Return a text in every language there is: what a sheet may hold, whoever made it.

    Parameters
    ----------
    message
        The English text, which comes first.

    Examples
    --------
    >>> said_anywhere("no such text")
    ['no such text']
    """
    others = languages()[1:]
    if language() not in {ENGLISH, *others}:
        others.append(language())  # a file that somebody tries out
    return list(dict.fromkeys([message, *(_catalogue(one).gettext(message) for one in others)]))


class Words(Mapping[K, V], Generic[K, V]):
    """A table of words that is made at import and translated whenever it is asked.

    Parameters
    ----------
    tables
        What it holds, a later one over an earlier one; of their values, texts marked by `N_` are
        translated, also inside lists, tuples and tables.

    Examples
    --------
    >>> Words({"sun": N_("in full sun")})["sun"]
    'in full sun'
    """

    def __init__(self, *tables: Mapping[K, V]) -> None:
        self._held: dict[K, V] = {}
        for one in tables:
            self._held |= one._held if isinstance(one, Words) else dict(one)  # noqa: SLF001

    def __getitem__(self, key: K) -> V:
        """Return a value in the language of this process."""
        return _told(self._held[key])

    def __iter__(self) -> Iterator[K]:
        """Go through the keys."""
        return iter(self._held)

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self._held)


class WordList(Sequence[V]):
    """A list of words that is made at import and translated whenever it is asked; see `Words`.

    Examples
    --------
    >>> list(WordList((N_("Plot"), N_("Kind"))))
    ['Plot', 'Kind']
    """

    def __init__(self, held: Sequence[V]) -> None:
        self._held = tuple(held)

    @overload
    def __getitem__(self, at: int) -> V: ...

    @overload
    def __getitem__(self, at: slice) -> tuple[V, ...]: ...

    def __getitem__(self, at: int | slice) -> V | tuple[V, ...]:
        """Return a value, or several, in the language of this process."""
        return _told(self._held[at])

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self._held)


def _told(value: V) -> V:
    told: object = value
    if isinstance(value, Text):
        told = _(value)
        told = told if isinstance(told, Told) else str(told)
    elif isinstance(value, tuple):
        told = tuple(map(_told, value))
    elif isinstance(value, list | WordList):
        told = [_told(one) for one in value]
    elif isinstance(value, Mapping):
        told = {key: _told(one) for key, one in value.items()}
    return told  # type: ignore[return-value]  # the same kind, translated


@cache
def _catalogue(name: str) -> gettext.GNUTranslations:
    """Read a catalogue: the `.mo`, and where there is none the `.po` that it is made of."""
    compiled = FOLDER / f"{name}.mo"
    if compiled.is_file():
        with compiled.open("rb") as lines:
            return gettext.GNUTranslations(lines)
    written = Path(name) if name.endswith(".po") else FOLDER / f"{name}.po"
    if not written.is_file():
        raise _no_language(name)
    from babel.messages import mofile, pofile  # noqa: PLC0415 - only to read a .po

    with written.open("rb") as lines:
        catalogue = pofile.read_po(lines)
    held = BytesIO()
    mofile.write_mo(held, catalogue)
    held.seek(0)
    return gettext.GNUTranslations(held)


def _no_language(name: str) -> Exception:
    from patchnet.core.errors import WrongUse  # noqa: PLC0415 - errors say texts

    there = ", ".join(languages())
    return WrongUse(
        f"There is no catalogue of texts for the language {name!r}. There is: {there}. "
        f"(--language or the variable {VARIABLE} says which to use.)"
    )
