"""patchnet progress: how far a survey has come, as a page."""

from pathlib import Path

import click

from patchnet.commands.asked import note_made, read_asked, released_asked
from patchnet.commands.options import Asked, audience_option, input_options, overwrite_option
from patchnet.core.files import ensure_may_write
from patchnet.pages.sheets.progress_page import write_progress
from patchnet.pages.survey.progress import survey_progress
from patchnet.read.neighbourhood import Audience
from patchnet.survey.survey_layers import read_records_if_any

__all__ = ["progress"]


@click.command
@input_options
@audience_option
@overwrite_option
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, metavar="HTML")
@click.option("--title", help="Title of the page; its streets if not given.")
def progress(
    *, asked: Asked, audience: Audience, overwrite: bool, output: Path, title: str | None
) -> None:
    """Draw how much of FILE is known, by side and stretch, and where to go next.

    \b
    Examples:
      patchnet progress street.gpkg -o progress.html
      patchnet progress street.gpkg --for public -o notice_board.html
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    ensure_may_write(output, overwrite=overwrite, reads=[asked.file, asked.features])
    hood = read_asked(asked)
    found = survey_progress(
        hood,
        read_records_if_any(asked.file),
        knowledge=asked.knowledge,
        audience=audience,
        released=released_asked(hood, asked) if audience == "public" else None,
    )
    write_progress(found, output, knowledge=asked.knowledge, title=title)
    note_made(asked.file, output, audience=audience)
    click.echo(output)
