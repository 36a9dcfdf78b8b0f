"""patchnet why: which figures of the tables an answer turns on."""

from functools import partial

import click

from patchnet.assess.deciding_figures import deciding_figures
from patchnet.commands.asked import assess_asked, kept_of, progress_bar, read_asked
from patchnet.commands.options import (
    Asked,
    AskedDraws,
    AskedGround,
    cache_option,
    figure_draws_option,
    ground_options,
    group_option,
    input_options,
)
from patchnet.core.texts import _
from patchnet.pages.terminal.why_text import why_json, why_text

__all__ = ["why"]


@click.command
@input_options
@cache_option
@group_option
@click.option(
    "--limit",
    type=click.IntRange(min=1),
    default=10,
    show_default=True,
    metavar="N",
    help="How many at most.",
)
@ground_options()
@figure_draws_option
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text")
def why(
    *,
    groups: tuple[str, ...],
    limit: int,
    form: str,
    asked: Asked,
    ground: AskedGround,
    draws: AskedDraws,
) -> None:
    """Which figures the answer turns on, and how much of the doubt each of them makes.

    It takes some minutes: one animal and --straight are quicker. Says for each figure what it is,
    the value in use and its range, and how to see where it comes from.

    \b
    Examples:
      patchnet why street.gpkg --straight
      patchnet why street.gpkg --group hedgehog
      patchnet why street.gpkg --group wren --draws 1000
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    neighbourhood = read_asked(asked)
    answer = assess_asked(neighbourhood, asked, groups, ground)
    question = partial(deciding_figures, answer, draws=draws.asked, seed=draws.seed)
    bar = partial(progress_bar, doing=_("draws"))
    found = kept_of(question, asked.cache, processes=None, progress=bar)
    click.echo(why_json(found) if form == "json" else why_text(found, limit), nl=False)
