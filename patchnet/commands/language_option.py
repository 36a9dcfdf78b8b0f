"""``--language``: of the program and of each of its commands, carried out in one place."""

from collections.abc import Sequence

import click

from patchnet.core.texts import N_, languages, use_language

__all__ = ["LanguageOption", "speak"]

_NAME = "--language"
_HELP = N_("Language of all that is said and written; English if not given.")


class LanguageOption(click.Option):
    """The option as the help tells it; `speak` has carried it out before it is read."""

    def __init__(self) -> None:
        super().__init__([_NAME], help=_HELP, expose_value=False)

    def make_metavar(self, *given: object, **named: object) -> str:
        """Return every language there is."""
        del given, named
        return "|".join(languages())


def speak(arguments: Sequence[str]) -> list[str]:
    """Use the language that the arguments ask for, and return them without it.

    It may stand before or behind the command, so help and complaints are told in it too.

    Parameters
    ----------
    arguments
        What was typed behind the program's name.

    Raises
    ------
    WrongUse
        If there is no such language.
    """
    left: list[str] = []
    waiting = list(arguments)
    while waiting:
        one = waiting.pop(0)
        name, sign, value = one.partition("=")
        if one == "--":  # what follows are no options
            return [*left, one, *waiting]
        if name == _NAME and (sign or waiting):
            use_language(value if sign else waiting.pop(0))
        else:
            left.append(one)
    return left
