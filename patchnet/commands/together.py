"""patchnet together: one plan for all plots of a street whose people take part."""

from collections.abc import Iterable
from functools import partial
from pathlib import Path

import click

from patchnet.commands.asked import (
    assess_asked,
    draws_asked,
    kept_of,
    note_made,
    progress_bar,
    read_asked,
)
from patchnet.commands.options import (
    Asked,
    AskedDraws,
    AskedGround,
    cache_option,
    draws_option,
    ground_options,
    group_option,
    input_options,
    overwrite_option,
)
from patchnet.core.errors import WrongUse
from patchnet.core.files import ensure_may_write, write_text
from patchnet.core.texts import _
from patchnet.pages.sheets.street_sheet import write_street_sheet
from patchnet.pages.terminal.together_text import together_json, together_text
from patchnet.plan.facts import PlotFacts
from patchnet.plan.plan_together import plan_together
from patchnet.plan.street_plan_file import EarlierPlan, read_street_plan

__all__ = ["together"]

_AMOUNT = click.FloatRange(min=0)


@click.command
@input_options
@cache_option
@click.option(
    "--plots",
    multiple=True,
    metavar="ID",
    help="A plot that takes part: its id, label or door number (can be repeated, or several "
    "between commas). All whose household said yes if not given, or all where none was asked.",
)
@click.option(
    "--plan",
    "earlier",
    type=click.Path(path_type=Path),
    metavar="JSON",
    help="An earlier plan with the answers of the houses: what was accepted stays, who said no is "
    "left out, the rest is planned anew.",
)
@click.option(
    "--yes", multiple=True, metavar="ID", help="With --plan: this house accepts (repeatable)."
)
@click.option("--no", multiple=True, metavar="ID", help="This house takes no part (repeatable).")
@click.option("--budget", type=_AMOUNT, metavar="N", help="Most money for the whole street.")
@click.option(
    "--hours",
    type=_AMOUNT,
    metavar="N",
    help="Most hours of upkeep a month, over the whole street.",
)
@click.option("--jobs", type=click.IntRange(min=0), metavar="N", help="Most things in all.")
@click.option("--plot-budget", type=_AMOUNT, metavar="N", help="Most money for each plot.")
@click.option("--plot-hours", type=_AMOUNT, metavar="N", help="Most hours a month for each plot.")
@click.option(
    "--fair",
    is_flag=True,
    help="Share money, hours and things out among the parts of the street, by their plots.",
)
@group_option
@ground_options()
@draws_option
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    metavar="JSON",
    help="Also keep the plan: for --plan later, and for --together of map and advise.",
)
@click.option(
    "--page",
    type=click.Path(path_type=Path),
    metavar="HTML",
    help="Also write a sheet for the people of the street, to print.",
)
@overwrite_option
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text")
def together(
    *,
    plots: tuple[str, ...],
    earlier: Path | None,
    yes: tuple[str, ...],
    no: tuple[str, ...],
    budget: float | None,
    hours: float | None,
    jobs: int | None,
    plot_budget: float | None,
    plot_hours: float | None,
    fair: bool,
    groups: tuple[str, ...],
    output: Path | None,
    page: Path | None,
    overwrite: bool,
    form: str,
    asked: Asked,
    ground: AskedGround,
    draws: AskedDraws,
) -> None:
    """What a street adds together: up to three things a plot, chosen beside each other.

    Asked one by one, neighbours are told the same cure, and then it is shared. Here the jobs are
    chosen jointly, so neighbours get different ones. The plan is for the people of the street, not
    for publishing.

    \b
    Examples:
      patchnet together street.gpkg -o plan.json --page plan.html
      patchnet together street.gpkg --plots 12,14,16 --budget 400 --fair
      patchnet together street.gpkg --plan plan.json --yes 12 --no 14 -o later.json
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    for path in (output, page):
        if path is not None:
            ensure_may_write(path, overwrite=overwrite, reads=[asked.file, asked.features, earlier])
    if yes and earlier is None:
        raise WrongUse(_("--yes needs the plan that was accepted: give --plan too."))
    kept = EarlierPlan({}, (), (), {}) if earlier is None else read_street_plan(earlier)
    hood = read_asked(asked)
    named = _named(plots)
    answer = assess_asked(hood, asked, groups, ground)
    facts = {}
    if plot_budget is not None or plot_hours is not None:
        said = PlotFacts(budget=plot_budget, hours_month=plot_hours)
        facts = {str(plot): said for plot in hood.plots.index}
    question = partial(
        plan_together,
        answer,
        plots=named or (list(kept.things) if earlier is not None else None),
        facts=facts,
        budget=budget,
        hours=hours,
        jobs=jobs,
        fair=fair,
        earlier=kept.things if earlier is not None else None,
        yes=(*(plot for plot in kept.yes), *_named(yes)),
        no=(*(plot for plot in kept.no), *_named(no)),
        draws=draws_asked(hood, asked.knowledge, draws),
        seed=draws.seed,
    )
    plan = kept_of(question, asked.cache, processes=None, progress=_bar)
    if output is not None:
        write_text(output, together_json(plan))
        click.echo(_("Wrote {path}.").format(path=output), err=True)
    if page is not None:
        write_street_sheet(plan, page, overwrite=overwrite)
        click.echo(_("Wrote {card}: print it from any browser.").format(card=page), err=True)
    note_made(asked.file, output, page)
    text = together_json(plan) if form == "json" else together_text(plan, asked.knowledge)
    click.echo(text, nl=False)


def _named(said: tuple[str, ...]) -> list[str]:
    """Ids that were given one by one, or several between commas."""
    return [one.strip() for each in said for one in each.split(",") if one.strip()]


def _bar(things: Iterable[object], words: str) -> Iterable[object]:
    return progress_bar(things, doing=words)
