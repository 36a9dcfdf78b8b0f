"""patchnet groups, features, source: what the tables hold, and where it comes from."""

import click

from patchnet.commands.options import knowledge_option
from patchnet.knowledge import describe_source
from patchnet.knowledge.records import Knowledge
from patchnet.pages.terminal.lists import features_text, groups_text

__all__ = ["features", "groups", "source"]


@click.command
@knowledge_option
def groups(*, knowledge: Knowledge) -> None:
    """List the animals: what each lives in, needs, and how far it goes.

    \b
    Example:
      patchnet groups
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    click.echo(groups_text(knowledge), nl=False)


@click.command
@knowledge_option
def features(*, knowledge: Knowledge) -> None:
    """List the features a plot can have and the words they go by.

    \b
    Example:
      patchnet features
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    click.echo(features_text(knowledge), nl=False)


@click.command
@click.argument("key")
@knowledge_option
def source(*, key: str, knowledge: Knowledge) -> None:
    """Say where a number comes from: its value, unit, range, how sure it is, and its source.

    \b
    Examples:
      patchnet source groups/mason_bee/hop
      patchnet source groups/newt
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    click.echo(describe_source(knowledge, key))
