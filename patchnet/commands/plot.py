"""patchnet plot: one plot among its neighbours."""

import click

from patchnet.assess.plot import plot_answer
from patchnet.commands.asked import assess_asked, in_draws, meant_plot, read_asked
from patchnet.commands.options import (
    Asked,
    AskedDraws,
    AskedGround,
    cache_option,
    draws_option,
    ground_options,
    group_option,
    input_options,
)
from patchnet.pages.terminal.plot_text import plot_json, plot_text

__all__ = ["plot"]


@click.command
@input_options
@cache_option
@click.argument("plot_id", metavar="ID")
@group_option
@ground_options()
@draws_option
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text")
def plot(
    *,
    plot_id: str,
    groups: tuple[str, ...],
    form: str,
    asked: Asked,
    ground: AskedGround,
    draws: AskedDraws,
) -> None:
    """What neighbours give plot ID, what is scarcest within its reach, month by month.

    ID is the plot's id, its label, or its door number where only one plot has it.

    \b
    Examples:
      patchnet plot street.gpkg 14-back
      patchnet plot street.gpkg 14-back --group newt --format json
      patchnet plot street.gpkg 14-back --group hedgehog --straight
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    neighbourhood = read_asked(asked)
    plot_id = meant_plot(neighbourhood, plot_id)
    assessment = assess_asked(neighbourhood, asked, groups, ground)
    answer = plot_answer(in_draws(assessment, draws, asked.cache), plot_id)
    text = plot_json(answer) if form == "json" else plot_text(answer, asked.knowledge)
    click.echo(text, nl=False)
