"""A group of commands of which only the one that was asked for is imported."""

from collections.abc import Mapping
from importlib import import_module
from typing import NamedTuple

import click
from click.shell_completion import CompletionItem

from patchnet.commands.help_text import ToldContext, click_in_our_language
from patchnet.commands.language_option import LanguageOption, speak
from patchnet.core.texts import _

__all__ = ["LazyCommand", "LazyGroup"]


class LazyCommand(NamedTuple):
    """Where a command is, ``"module:name"``, and its one line in the list of commands."""

    where: str
    words: str


class LazyGroup(click.Group):
    """A group whose commands are imported when they are run.

    Its help and the completion of names are made from `lazy_commands` alone.
    """

    context_class = ToldContext

    def __init__(self, *, lazy_commands: Mapping[str, LazyCommand], **settings: object) -> None:
        super().__init__(**settings)  # type: ignore[arg-type]  # click's own settings
        self.lazy_commands = lazy_commands
        self.params.append(LanguageOption())
        click_in_our_language()

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Speak the language that is asked for, wherever it stands, before anything is said."""
        return super().parse_args(ctx, speak(args))

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order in which people need them."""
        del ctx
        return list(self.lazy_commands)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one command; None where there is none of that name."""
        del ctx
        lazy = self.lazy_commands.get(cmd_name)
        if lazy is None:
            return None
        module, __, name = lazy.where.partition(":")
        command: click.Command = getattr(import_module(module), name)
        command.context_class = ToldContext
        if not any(isinstance(param, LanguageOption) for param in command.params):
            command.params.append(LanguageOption())
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing any."""
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl([(name, lazy.words) for name, lazy in self.lazy_commands.items()])

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Complete the name of a command without importing any, and the options of the group."""
        names = [
            CompletionItem(name, help=_(lazy.words))
            for name, lazy in self.lazy_commands.items()
            if name.startswith(incomplete)
        ]
        return [*names, *click.Command.shell_complete(self, ctx, incomplete)]
