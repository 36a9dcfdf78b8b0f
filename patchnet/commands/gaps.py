"""patchnet gaps: which fences to open for an animal that walks, and what each gap brings."""

from functools import partial

import click

from patchnet.assess.find_gaps import find_gaps
from patchnet.assess.ways import walking_group
from patchnet.commands.asked import (
    assess_asked,
    draws_asked,
    kept_of,
    meant_between,
    progress_bar,
    read_asked,
)
from patchnet.commands.options import (
    Asked,
    AskedDraws,
    AskedGround,
    between_options,
    cache_option,
    draws_option,
    ground_options,
    input_options,
    walking_option,
)
from patchnet.core.texts import _
from patchnet.pages.terminal.gaps_text import gaps_json, gaps_text, way_gaps_json, way_gaps_text

__all__ = ["gaps"]


@click.command
@input_options
@cache_option
@walking_option
@between_options
@click.option(
    "--most",
    type=click.IntRange(min=1),
    default=6,
    show_default=True,
    metavar="N",
    help="How many gaps at most.",
)
@ground_options(straight=False)
@draws_option
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text")
def gaps(
    *,
    group: str,
    between: tuple[str, str] | None,
    most: int,
    form: str,
    asked: Asked,
    ground: AskedGround,
    draws: AskedDraws,
) -> None:
    """Which fences to open, in which order, between which plots, and what each gap brings.

    The gap that wins most on average over all draws comes first, with the range of what it wins.
    Breaks that stepping stones could close follow. With --from and --to: the gaps that make the
    way between two plots cheaper, with the figures in use (no draws). A shared fence needs its
    owner's consent. The list is for the group, not for publishing.

    \b
    Examples:
      patchnet gaps street.gpkg --group hedgehog
      patchnet gaps street.gpkg --group hedgehog --from 14-back --to park --most 2
      patchnet gaps street.gpkg --group frog --format json
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    walking_group(asked.knowledge, group)
    neighbourhood = read_asked(asked)
    between = meant_between(neighbourhood, between)
    answer = assess_asked(neighbourhood, asked, (group,), ground)
    count = 0 if between else draws_asked(neighbourhood, asked.knowledge, draws)
    question = partial(
        find_gaps, answer, group, between=between, most=most, draws=count, seed=draws.seed
    )
    bar = partial(progress_bar, doing=_("draws"))
    found = kept_of(question, asked.cache, processes=None, progress=bar)
    if between is None:
        words = gaps_json if form == "json" else gaps_text
        click.echo(words(found), nl=False)
    else:
        say = way_gaps_json if form == "json" else way_gaps_text
        click.echo(say(answer, group, between, found.plans), nl=False)
