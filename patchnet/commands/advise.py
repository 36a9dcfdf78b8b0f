"""patchnet advise: what a plot should add."""

from dataclasses import replace
from pathlib import Path

import click

from patchnet.commands.facts import SaidFacts, facts_options
from patchnet.commands.options import (
    Asked,
    AskedDraws,
    AskedGround,
    AskedSurface,
    cache_option,
    draws_option,
    ground_options,
    group_option,
    input_options,
    overwrite_option,
    surface_options,
    together_option,
)
from patchnet.commands.plan_asked import AskedPlan, plan_asked
from patchnet.core.errors import WrongUse
from patchnet.core.files import ensure_may_write
from patchnet.core.texts import _
from patchnet.pages.kit.street_words import part_told
from patchnet.pages.terminal.plan_text import plan_json, plan_text
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plot_plan import PlotPlan
from patchnet.plan.street_plan_file import read_street_plan

__all__ = ["advise"]


@click.command
@input_options
@cache_option
@click.argument("plot_id", metavar="[ID]", required=False)
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
@click.option(
    "--cards",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Without ID: write a card for every plot, pages to print them all, and a list. It takes "
    "long; stopped and started again, it goes on where it was.",
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
    plot_id: str | None,
    said: SaidFacts,
    groups: tuple[str, ...],
    surface: AskedSurface,
    together: Path | None,
    cautious: bool,
    month: int | None,
    card: Path | None,
    cards: Path | None,
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
    prints it. With --cards instead of ID every plot gets a card, but those whose household said no.

    \b
    Examples:
      patchnet advise street.gpkg 14-back
      patchnet advise street.gpkg 14-back --tenure rent --free 6 --keep 'play lawn'
      patchnet advise street.gpkg 14-back --ask
      patchnet advise street.gpkg 14-back --facts answers.toml --card 14.html
      patchnet advise street.gpkg 14-back --together plan.json
      patchnet advise street.gpkg --cards cards
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    wanted = AskedPlan(
        plot_id or "", said(asked.knowledge), groups, ground, surface, draws, month, cautious
    )
    if cards is not None:
        # What writes cards is slow to load, and most who ask want none.
        from patchnet.commands.cards_asked import cards_asked, ensure_for_all  # noqa: PLC0415
        from patchnet.pages.terminal.cards_text import cards_text  # noqa: PLC0415

        ensure_for_all(
            {"ID": plot_id, "--card": card, "--overwrite": overwrite, "--all": every,
             "--watch": watch, "--format json": form == "json",
             _("what a householder says"): wanted.facts != PlotFacts()}
        )  # fmt: skip
        click.echo(cards_text(cards_asked(cards, asked, wanted, together)), nl=False)
        return
    if plot_id is None:
        raise WrongUse(_("Which plot? Give its ID after the file, or --cards DIR for all plots."))
    if card is not None:
        ensure_may_write(card, overwrite=overwrite, reads=[asked.file, asked.features, together])
    kept = None if together is None else read_street_plan(together)
    plan = plan_asked(asked, wanted, whole=card is not None)
    told = part_told(kept, [plan.plot], asked.knowledge)
    plan = replace(plan, street=told.get(plan.plot, ()))
    if card is not None:
        _write_card(plan, card, asked.file, overwrite=overwrite)
    text = (
        plan_json(plan)
        if form == "json"
        else plan_text(plan, asked.knowledge, every=every, watch=watch)
    )
    click.echo(text, nl=False)


def _write_card(plan: PlotPlan, card: Path, street: Path, *, overwrite: bool) -> None:
    from patchnet.commands.asked import note_made  # noqa: PLC0415 - slow to load, as below
    from patchnet.pages.sheets.plan_card import write_card  # noqa: PLC0415

    write_card(plan, card, overwrite=overwrite)
    click.echo(_("Wrote {card}: print it from any browser.").format(card=card), err=True)
    note_made(street, card)
