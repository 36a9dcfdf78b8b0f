"""patchnet plot: one plot among its neighbours."""

import click

from patchnet.assess import plot_answer
from patchnet.commands.options import (
    Asked,
    AskedGround,
    assess_asked,
    ground_options,
    group_option,
    input_options,
    read_asked,
)
from patchnet.pages import plot_json, plot_text

__all__ = ["plot"]


@click.command
@input_options
@click.argument("plot_id", metavar="ID")
@group_option
@ground_options()
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text")
def plot(
    *, plot_id: str, groups: tuple[str, ...], form: str, asked: Asked, ground: AskedGround
) -> None:
    """What neighbours give plot ID, what is scarcest within its reach, month by month.

    \b
    Examples:
      patchnet plot street.gpkg 14-back
      patchnet plot street.gpkg 14-back --group newt --format json
      patchnet plot street.gpkg 14-back --group hedgehog --straight
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    neighbourhood = read_asked(asked)
    answer = plot_answer(assess_asked(neighbourhood, asked, groups, ground), plot_id)
    text = plot_json(answer) if form == "json" else plot_text(answer, asked.knowledge)
    click.echo(text, nl=False)
