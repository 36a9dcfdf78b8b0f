"""patchnet compare: two states of a neighbourhood, or two schemes."""

from functools import partial
from pathlib import Path

import click

from patchnet.assess.compare import compare as compare_states
from patchnet.commands.asked import (
    assess_asked,
    draws_asked,
    note_made,
    progress_bar,
    say_warnings,
)
from patchnet.commands.options import (
    Asked,
    AskedDraws,
    AskedGround,
    draws_option,
    ground_options,
    group_option,
    knowledge_option,
    overwrite_option,
)
from patchnet.core.files import ensure_may_write
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.sheets.compare_page import write_comparison
from patchnet.pages.terminal.compare_text import compare_csv, compare_json, compare_text
from patchnet.scheme.folder import read_states

__all__ = ["compare"]


@click.command
@click.argument("first", metavar="A", type=click.Path(path_type=Path))
@click.argument("second", metavar="B", type=click.Path(path_type=Path))
@group_option
@ground_options()
@draws_option
@knowledge_option
@click.option("--format", "form", type=click.Choice(["text", "json", "csv"]), default="text")
@click.option(
    "--page",
    type=click.Path(path_type=Path),
    metavar="HTML",
    help="Also write a page with the map of what changed.",
)
@overwrite_option
def compare(
    *,
    first: Path,
    second: Path,
    groups: tuple[str, ...],
    ground: AskedGround,
    draws: AskedDraws,
    knowledge: Knowledge,
    form: str,
    page: Path | None,
    overwrite: bool,
) -> None:
    """What was won and lost from A to B, for whom and where.

    A and B are two files of the same neighbourhood (before and after, last year and this year),
    or folders that 'patchnet scheme' wrote. Plots are the same where their ids are; planters of
    two schemes where their places are.

    \b
    Examples:
      patchnet compare street-2025.gpkg street-2026.gpkg
      patchnet compare street.gpkg scheme/ --page change.html
      patchnet compare scheme-a/ scheme-b/ --format csv
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    if page is not None:
        ensure_may_write(page, overwrite=overwrite, reads=[first, second])
    hoods = read_states(first, second, knowledge=knowledge)
    for hood in hoods:
        say_warnings(hood)
    asked = Asked(first, None, {}, None, knowledge)
    before = assess_asked(hoods[0], asked, groups, ground)
    after = assess_asked(hoods[1], asked, groups, ground, prior=before.prior)
    comparison = compare_states(
        before,
        after,
        draws=draws_asked(hoods[1], knowledge, draws),
        seed=draws.seed,
        processes=None,
        progress=partial(progress_bar, doing=_("draws")),
    )
    if page is not None:
        write_comparison(comparison, page, overwrite=overwrite)
        click.echo(_("Wrote {page}.").format(page=page), err=True)
    for street in (first, second):
        note_made(street, page)
    text = {
        "text": lambda: compare_text(comparison, knowledge),
        "json": lambda: compare_json(comparison),
        "csv": lambda: compare_csv(comparison),
    }[form]()
    click.echo(text, nl=False)
