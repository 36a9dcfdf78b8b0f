"""patchnet advise: what a plot should add."""

import datetime as dt
from pathlib import Path

import click

from patchnet.commands.facts import SaidFacts, facts_options
from patchnet.commands.options import (
    Asked,
    AskedGround,
    assess_asked,
    ground_options,
    group_option,
    input_options,
    overwrite_option,
    read_asked,
)
from patchnet.commands.sun_options import AskedSurface, surface_asked, surface_options
from patchnet.pages.sheets.plan_card import write_plan_card
from patchnet.pages.terminal.plan_text import plan_json, plan_text
from patchnet.plan.plan_plot import Adviser
from patchnet.sun.at_plot import plot_sun

__all__ = ["advise"]


@click.command
@input_options
@click.argument("plot_id", metavar="ID")
@facts_options
@group_option
@ground_options()
@surface_options
@click.option(
    "--month", type=click.IntRange(1, 12), help="The month it is; this month if not given."
)
@click.option(
    "--card",
    type=click.Path(path_type=Path),
    metavar="HTML",
    help="Also write a card of one A4 page to print.",
)
@overwrite_option
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text")
def advise(
    *,
    plot_id: str,
    said: SaidFacts,
    groups: tuple[str, ...],
    surface: AskedSurface,
    month: int | None,
    card: Path | None,
    overwrite: bool,
    form: str,
    asked: Asked,
    ground: AskedGround,
) -> None:
    """What plot ID should add: what neighbours lack, what fits, what to plant and when.

    All that you say of the plot is optional; what you do not say is asked back.

    \b
    Examples:
      patchnet advise street.gpkg 14-back
      patchnet advise street.gpkg 14-back --tenure rent --free 6 --keep 'play lawn'
      patchnet advise street.gpkg 14-back --ask
      patchnet advise street.gpkg 14-back --facts answers.toml --card 14.html
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    facts = said(asked.knowledge)
    neighbourhood = read_asked(asked)
    assessment = assess_asked(neighbourhood, asked, groups, ground)
    heights = surface_asked(surface, neighbourhood, asked.knowledge)
    sun = plot_sun(neighbourhood, plot_id, knowledge=asked.knowledge, surface=heights)
    plan = Adviser(assessment).plan(
        plot_id,
        facts,
        month=dt.datetime.now(tz=dt.UTC).month if month is None else month,
        light=sun.cls,
    )
    if card is not None:
        write_plan_card(plan, assessment, card, sun=sun, overwrite=overwrite)
        click.echo(f"Wrote {card}: print it from any browser.", err=True)
    text = plan_json(plan) if form == "json" else plan_text(plan, asked.knowledge)
    click.echo(text, nl=False)
