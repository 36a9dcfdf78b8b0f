"""patchnet progress: how far a survey has come, as a page."""

from functools import partial
from pathlib import Path

import click

from patchnet.assess.assess import assess
from patchnet.assess.next_door import NextDoors, doors_for_street
from patchnet.commands.asked import (
    assess_for,
    note_made,
    progress_bar,
    read_asked,
    released_asked,
)
from patchnet.commands.options import (
    Asked,
    AskedGround,
    audience_option,
    input_options,
    overwrite_option,
)
from patchnet.core.files import ensure_may_write
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.sheets.progress_page import write_progress
from patchnet.pages.sheets.residents_notice import write_notice
from patchnet.pages.survey.progress import survey_progress
from patchnet.read.neighbourhood import Audience, Neighbourhood
from patchnet.survey.survey_layers import read_records_if_any
from patchnet.survey.survey_record import Records, left_in_peace

__all__ = ["progress"]


@click.command
@input_options
@audience_option
@overwrite_option
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, metavar="HTML")
@click.option("--title", help="Title of the page; its streets if not given.")
@click.option(
    "--notice",
    type=click.Path(path_type=Path),
    metavar="HTML",
    help="After a round: also write a notice for all residents, from what may be told in public.",
)
def progress(
    *,
    asked: Asked,
    audience: Audience,
    overwrite: bool,
    output: Path,
    title: str | None,
    notice: Path | None,
) -> None:
    """Draw how much of FILE is known, by side and stretch, and where to go next.

    In a street of a few hundred plots at most it also says which doors to knock on next, and why.
    A notice counts those households alone that agreed to be counted; 'patchnet poster --notice'
    makes the same with more choice.

    \b
    Examples:
      patchnet progress street.gpkg -o progress.html
      patchnet progress street.gpkg -o progress.html --notice notice.html
      patchnet progress street.gpkg --for public -o notice_board.html
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    for path in (output, notice):
        if path is not None:
            ensure_may_write(path, overwrite=overwrite, reads=[asked.file, asked.features])
    hood = read_asked(asked)
    records = read_records_if_any(asked.file)
    found = survey_progress(
        hood,
        records,
        knowledge=asked.knowledge,
        audience=audience,
        released=released_asked(hood, asked) if audience == "public" else None,
    )
    doors = _doors(found.neighbourhood, records, asked.knowledge)
    write_progress(found, output, knowledge=asked.knowledge, title=title, doors=doors)
    note_made(asked.file, output, audience=audience)
    click.echo(output)
    if notice is not None:
        answer = assess_for(hood, asked, (), AskedGround(straight=True), "public")
        write_notice(answer, notice, title=title, overwrite=overwrite)
        note_made(asked.file, notice, audience="public")
        click.echo(notice)


def _doors(hood: Neighbourhood, records: Records, knowledge: Knowledge) -> NextDoors | None:
    """Return the doors that settle most; nothing for the public, or where it would take long."""
    few = len(hood.plots) <= knowledge.setting("progress_doors_plots")
    if hood.audience == "public" or not few:
        return None
    answer = assess(hood, knowledge=knowledge, straight=True)
    return doors_for_street(
        answer,
        spared=left_in_peace(records),
        progress=partial(progress_bar, doing=_("plots")),
    )
