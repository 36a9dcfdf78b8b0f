"""patchnet next: which door to knock on next, and what to look for there."""

from functools import partial

import click

from patchnet.commands.asked import assess_asked, kept_of, meant_plot, progress_bar, read_asked
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
from patchnet.core.texts import _
from patchnet.pages.terminal.next_text import next_csv, next_json, next_text
from patchnet.plan.next_doors import next_doors
from patchnet.survey.survey_layers import read_records_if_any
from patchnet.survey.survey_record import left_in_peace

__all__ = ["next_"]


@click.command("next")
@input_options
@cache_option
@click.option(
    "--plot",
    "plot_id",
    metavar="ID",
    help="To choose what this plot should add: its id, label or door number. Takes draws.",
)
@group_option
@click.option(
    "--limit",
    type=click.IntRange(min=1),
    default=10,
    show_default=True,
    metavar="N",
    help="How many doors at most.",
)
@ground_options()
@draws_option
@click.option("--format", "form", type=click.Choice(["text", "json", "csv"]), default="text")
def next_(
    *,
    plot_id: str | None,
    groups: tuple[str, ...],
    limit: int,
    form: str,
    asked: Asked,
    ground: AskedGround,
    draws: AskedDraws,
) -> None:
    """Which door to knock on next, what to look for there, and how much that would settle.

    For the whole street nothing is drawn. With --plot it is the doors that would help to choose
    what that plot should add. Households that said no are never listed.

    \b
    Examples:
      patchnet next street.gpkg
      patchnet next street.gpkg --group newt --limit 3
      patchnet next street.gpkg --plot 14-back --straight
      patchnet next street.gpkg --format csv
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    neighbourhood = read_asked(asked)
    plot = None if plot_id is None else meant_plot(neighbourhood, plot_id)
    answer = assess_asked(neighbourhood, asked, groups, ground)
    question = partial(
        next_doors,
        answer,
        plot=plot,
        spared=left_in_peace(read_records_if_any(asked.file)),
        draws=draws.count(asked.knowledge),
        seed=draws.seed,
    )
    bar = partial(progress_bar, doing=_("plots") if plot is None else _("draws"))
    found = kept_of(question, asked.cache, processes=None, progress=bar)
    words = {"json": next_json, "csv": next_csv}.get(form, next_text)
    click.echo(words(found, limit), nl=False)
