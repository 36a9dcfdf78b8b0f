"""patchnet survey: what volunteers take along on a street survey."""

from pathlib import Path

import click

from patchnet.commands.asked import note_made, read_asked
from patchnet.commands.options import Asked, input_options
from patchnet.core.texts import _
from patchnet.pages.survey.pack import FILES, write_survey
from patchnet.pages.survey.round import plan_survey

__all__ = ["survey"]


@click.command
@input_options
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, metavar="DIR")
@click.option("--title", help="Name of the survey; its streets if not given.")
@click.option(
    "--contact",
    default="",
    metavar="TEXT",
    help="Who runs the survey and how to reach them, for the privacy notice.",
)
@click.option(
    "--keep-until",
    default="",
    metavar="TEXT",
    help="Until when answers are kept with names, for the privacy notice.",
)
@click.option(
    "--by-answers",
    is_flag=True,
    help="Ask first what the answers so far leave most open. Without it nobody can learn from the "
    "page what others saw.",
)
def survey(
    *,
    output: Path,
    title: str | None,
    contact: str,
    keep_until: str,
    by_answers: bool,
    asked: Asked,
) -> None:
    """Make everything you need for a street survey: paper, spreadsheet, phone page.

    Into DIR go sheets.html (maps and tick boxes that print on A4, rules on the back), phone.html
    (a page that works without network, asks ten questions first, and keeps the answers on the
    phone), survey.xlsx with
    drop-down lists and survey.csv. Files in DIR that somebody filled in or changed are left
    alone. 'patchnet merge' brings the returns together.

    \b
    Examples:
      patchnet survey street.gpkg -o round-1
      patchnet survey street.gpkg -o round-1 --contact "Wickthorn Wildlife, 01632 960123" \\
        --keep-until "31 December 2028"
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    neighbourhood = read_asked(asked)
    pack = plan_survey(
        neighbourhood,
        file=asked.file,
        title=title,
        contact=contact,
        keep_until=keep_until,
        by_answers=by_answers,
        knowledge=asked.knowledge,
    )
    paths = write_survey(pack, output)
    note_made(asked.file, output)
    for path, words in zip(paths, FILES.values(), strict=True):
        click.echo(path)
        click.echo(f"  {words}", err=True)
    for name, given in (("--contact", contact), ("--keep-until", keep_until)):
        if not given:
            click.echo(
                _("Without {name} the privacy notice has a blank line to fill in by hand.").format(
                    name=name
                ),
                err=True,
            )
