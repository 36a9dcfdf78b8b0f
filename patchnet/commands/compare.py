"""patchnet compare: two states of a neighbourhood, or two schemes."""

from dataclasses import replace
from pathlib import Path

import click

from patchnet.assess.compare import compare_assessments
from patchnet.commands.options import (
    Asked,
    AskedGround,
    assess_asked,
    ground_options,
    group_option,
    knowledge_option,
    overwrite_option,
    read_asked,
)
from patchnet.core.files import ensure_may_write, write_text
from patchnet.knowledge.records import Knowledge
from patchnet.pages.scheme.files import SCHEME_STREET, planters_by_place
from patchnet.pages.sheets.compare_page import compare_page
from patchnet.pages.terminal.compare_text import compare_csv, compare_json, compare_text

__all__ = ["compare"]


@click.command
@click.argument("first", metavar="A", type=click.Path(path_type=Path))
@click.argument("second", metavar="B", type=click.Path(path_type=Path))
@group_option
@ground_options()
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
        ensure_may_write(page, overwrite=overwrite)
    states = []
    schemes = [(path / SCHEME_STREET).is_file() for path in (first, second)]
    for path, scheme in zip((first, second), schemes, strict=True):
        asked = Asked(path / SCHEME_STREET if scheme else path, None, {}, None, knowledge)
        hood = read_asked(asked)
        if scheme:
            hood = replace(hood, name=path.resolve().name)
        if all(schemes):
            hood = planters_by_place(hood, path)
        states.append(assess_asked(hood, asked, groups, ground))
    comparison = compare_assessments(states[0], states[1])
    if page is not None:
        write_text(page, compare_page(comparison))
        click.echo(f"Wrote {page}.", err=True)
    text = {
        "text": lambda: compare_text(comparison, knowledge),
        "json": lambda: compare_json(comparison),
        "csv": lambda: compare_csv(comparison),
    }[form]()
    click.echo(text, nl=False)
