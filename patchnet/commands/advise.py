"""patchnet advise: what a plot should add."""

from dataclasses import replace
from functools import partial
from pathlib import Path

import click

from patchnet.commands.asked import (
    assess_asked,
    draws_asked,
    meant_plot,
    note_made,
    progress_bar,
    read_asked,
    surface_asked,
)
from patchnet.commands.facts import SaidFacts, facts_options
from patchnet.commands.options import (
    Asked,
    AskedDraws,
    AskedGround,
    AskedSurface,
    draws_option,
    ground_options,
    group_option,
    input_options,
    overwrite_option,
    surface_options,
    together_option,
)
from patchnet.core.files import ensure_may_write
from patchnet.core.texts import _
from patchnet.pages.kit.street_words import street_told
from patchnet.pages.sheets.plan_card import write_card
from patchnet.pages.terminal.plan_text import plan_json, plan_text
from patchnet.plan.plan_plot import plan_plot
from patchnet.plan.street_plan_file import read_street_plan

__all__ = ["advise"]


@click.command
@input_options
@click.argument("plot_id", metavar="ID")
@facts_options
@group_option
@ground_options()
@surface_options
@draws_option
@together_option
@click.option(
    "--cautious",
    is_flag=True,
    help="Choose by what is won even in the worse draws, not by the mean.",
)
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
@click.option(
    "--all",
    "every",
    is_flag=True,
    help="All of it: steps, cautions in full, a calendar of flowers, what was ruled out and why.",
)
@click.option(
    "--watch",
    is_flag=True,
    help="Also what to look for, month by month, in a year of watching before anything is made.",
)
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text")
def advise(
    *,
    plot_id: str,
    said: SaidFacts,
    groups: tuple[str, ...],
    surface: AskedSurface,
    together: Path | None,
    cautious: bool,
    month: int | None,
    card: Path | None,
    overwrite: bool,
    every: bool,
    watch: bool,
    form: str,
    asked: Asked,
    ground: AskedGround,
    draws: AskedDraws,
) -> None:
    """What plot ID should add: what neighbours lack, what fits, what to plant and when.

    Everything you say about the plot is optional. The answer is short: --all says all of it, --card
    prints it.

    \b
    Examples:
      patchnet advise street.gpkg 14-back
      patchnet advise street.gpkg 14-back --tenure rent --free 6 --keep 'play lawn'
      patchnet advise street.gpkg 14-back --ask
      patchnet advise street.gpkg 14-back --facts answers.toml --card 14.html
      patchnet advise street.gpkg 14-back --together plan.json
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    if card is not None:
        ensure_may_write(card, overwrite=overwrite, reads=[asked.file, asked.features, together])
    kept = None if together is None else read_street_plan(together)
    facts = said(asked.knowledge)
    neighbourhood = read_asked(asked)
    plot_id = meant_plot(neighbourhood, plot_id)
    assessment = assess_asked(neighbourhood, asked.knowledge, groups, ground)
    heights = surface_asked(surface, neighbourhood, asked.knowledge)
    plan = plan_plot(
        assessment,
        plot_id,
        facts=facts,
        month=month,
        heights=heights,
        draws=draws_asked(neighbourhood, asked.knowledge, draws),
        seed=draws.seed,
        cautious=cautious,
        processes=None,
        progress=partial(progress_bar, doing=_("draws")),
    )
    if kept is not None:
        told = street_told(kept, [plot_id], asked.knowledge)
        nothing = _("Your street's plan counts on this plot for nothing.")
        plan = replace(plan, street=told.get(plot_id, (nothing,)))
    if card is not None:
        write_card(plan, card, overwrite=overwrite)
        click.echo(_("Wrote {card}: print it from any browser.").format(card=card), err=True)
    note_made(asked.file, card)
    text = (
        plan_json(plan)
        if form == "json"
        else plan_text(plan, asked.knowledge, every=every, watch=watch)
    )
    click.echo(text, nl=False)
