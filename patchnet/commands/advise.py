"""patchnet advise: what a plot should add."""

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path

import click

from patchnet.commands.asked import (
    assess_asked,
    assess_for,
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
from patchnet.core.errors import WrongUse
from patchnet.core.files import ensure_may_write
from patchnet.core.texts import N_, _
from patchnet.pages.kit.street_words import street_told
from patchnet.pages.sheets.plan_card import write_card
from patchnet.pages.sheets.plan_cards import Cards, write_cards
from patchnet.pages.terminal.cards_text import cards_text
from patchnet.pages.terminal.plan_text import plan_json, plan_text
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plan_plot import plan_plot
from patchnet.plan.street_plan_file import read_street_plan
from patchnet.survey.survey_layers import read_records_if_any

__all__ = ["advise"]

_NO_PART = N_("Your street's plan counts on this plot for nothing.")


@click.command
@input_options
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
    if cards is not None:
        _ensure_for_all(
            {"ID": plot_id, "--card": card, "--overwrite": overwrite, "--all": every,
             "--watch": watch, "--format json": form == "json",
             _("what a householder says"): said(asked.knowledge) != PlotFacts()}
        )  # fmt: skip
        found = _cards(
            cards, asked, groups, ground, surface, together, draws, month=month, cautious=cautious
        )
        click.echo(cards_text(found), nl=False)
        return
    if plot_id is None:
        raise WrongUse(_("Which plot? Give its ID after the file, or --cards DIR for all plots."))
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
        plan = replace(plan, street=told.get(plot_id, (_(_NO_PART),)))
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


def _ensure_for_all(given: Mapping[str, object]) -> None:
    """Refuse what is of one plot where a card for every plot is asked for."""
    wrong = [name for name, value in given.items() if value]
    if wrong:
        raise WrongUse(
            _("--cards is for all plots, so it does not go with {wrong}.").format(
                wrong=", ".join(wrong)
            )
        )


def _cards(
    folder: Path,
    asked: Asked,
    groups: tuple[str, ...],
    ground: AskedGround,
    surface: AskedSurface,
    together: Path | None,
    draws: AskedDraws,
    *,
    month: int | None,
    cautious: bool,
) -> Cards:
    """Write a card for every plot from what the group may see."""
    kept = None if together is None else read_street_plan(together)
    neighbourhood = read_asked(asked)
    records = read_records_if_any(asked.file)
    assessment = assess_for(neighbourhood, asked, groups, ground, "group")
    plots = [str(plot) for plot in neighbourhood.plots.index]
    street: dict[str, tuple[str, ...]] = {}
    if kept is not None:
        street = dict.fromkeys(plots, (_(_NO_PART),))
        street |= street_told(kept, plots, asked.knowledge)
    if draws.asked is None:
        click.echo(
            _(
                "Cards for all plots are worked out once, with the figures in use: --draws N also "
                "tells how sure each is, and takes N times as long."
            ),
            err=True,
        )
    # Noted first: stopped half-way, there are cards that 'patchnet forget' has to list.
    note_made(asked.file, folder, audience="group")
    return write_cards(
        assessment,
        folder,
        refused=[str(plot) for plot in records.forgotten["plot"]],
        street=street,
        month=month,
        heights=surface_asked(surface, neighbourhood, asked.knowledge),
        draws=draws.asked or 0,
        seed=draws.seed,
        cautious=cautious,
        processes=None,
        progress=partial(progress_bar, doing=_("cards")),
    )
