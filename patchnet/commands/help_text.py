"""The help and the complaints of the command line, in the language of the process."""

import re
from collections.abc import Iterable

import click
from click import core, decorators, exceptions, formatting, parser, termui, types

from patchnet.core import texts
from patchnet.core.errors import WrongUse
from patchnet.core.texts import N_, WordList, _

__all__ = [
    "AS_IT_IS",
    "CLICK_SAYS",
    "ToldContext",
    "ToldFormatter",
    "click_in_our_language",
    "paragraphs",
]

CLICK_SAYS: WordList[str] = WordList(
    (
        N_("Usage:"),
        N_("Options"),
        N_("Commands"),
        N_("Show this message and exit."),
        N_("Show the version and exit."),
        N_("default: {default}"),
        N_("required"),
        N_("Try '{command} {option}' for help."),
        N_("Error: {message}"),
        N_("Missing command."),
        N_("Missing argument"),
        N_("Missing option"),
        N_("Missing parameter"),
        N_("Missing {param_type}"),
        N_("Choose from:\n\t{choices}"),
        N_("No such command {name!r}."),
        N_("No such option {name!r}."),
        N_("Invalid value: {message}"),
        N_("Invalid value for {param_hint}: {message}"),
        N_("Option {name!r} does not take a value."),
        N_("{value} is not in the range {range}."),
        N_("{value!r} is not a valid {number_type}."),
        N_("{name} {filename!r} does not exist."),
        N_("{name} {filename!r} is a directory."),
        N_("{name} {filename!r} is a file."),
        N_("{name} {filename!r} is not readable."),
        N_("{name} {filename!r} is not writable."),
        N_("file"),
        N_("directory"),
        N_("path"),
    )
)
"""What click says of its own accord and our users can meet (it has no catalogue of its own)."""

AS_IT_IS = "\b\n"
"""What click begins a paragraph with whose lines it leaves as they are."""

_EXTRA = re.compile(r"(?P<help>.*?)(?P<extra>  \[[^\[\]]*\])?", re.DOTALL)


def click_in_our_language() -> None:
    """Let click look its own words up in our catalogue, not in one of the system."""
    for module in (core, decorators, exceptions, formatting, parser, termui, types):
        for name, ours in (("_", _of_click), ("ngettext", texts.ngettext)):
            if hasattr(module, name):
                setattr(module, name, ours)


def _of_click(message: str) -> str:
    """Click asks for words such as "file" where an option is made, before a language is known."""
    try:
        return _(message)
    except WrongUse:
        return message


def paragraphs(text: str) -> list[str]:
    """Return the paragraphs of a help text, each one message of the catalogue.

    Their lines are joined, but for those that click is told to leave as they are.
    """
    found = text.split("\n\n")
    return [one if one.startswith(AS_IT_IS) else " ".join(one.split()) for one in found]


class ToldFormatter(click.HelpFormatter):
    """Writes help in the language of the process: each paragraph, heading and option."""

    def write_heading(self, heading: str) -> None:
        """Write a heading."""
        super().write_heading(_(heading))

    def write_text(self, text: str) -> None:
        """Write a text, which keeps its paragraphs."""
        told = [
            AS_IT_IS + _(one.removeprefix(AS_IT_IS)) if one.startswith(AS_IT_IS) else _(one)
            for one in paragraphs(text)
        ]
        super().write_text("\n\n".join(told))

    def write_dl(
        self, rows: Iterable[tuple[str, str]], col_max: int = 30, col_spacing: int = 2
    ) -> None:
        """Write options or commands with what they do."""
        told = [(name, _in_language(words)) for name, words in rows]
        super().write_dl(told, col_max, col_spacing)


class ToldContext(click.Context):
    """A context whose help is written by `ToldFormatter`."""

    formatter_class = ToldFormatter


def _in_language(words: str) -> str:
    """Translate the help of an option; what click adds in brackets is translated already."""
    found = _EXTRA.fullmatch(words)
    return _(found["help"]) + (found["extra"] or "") if found else _(words)
