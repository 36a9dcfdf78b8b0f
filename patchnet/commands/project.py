"""patchnet project: several streets over several years, in one folder."""

from datetime import UTC, datetime
from pathlib import Path

import click

from patchnet.commands.asked import note_made
from patchnet.commands.options import knowledge_option, overwrite_option
from patchnet.core.files import ensure_may_write
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.survey.project import add_streets, read_project, write_project
from patchnet.pages.terminal.project_text import project_json, project_text
from patchnet.survey.join_streets import join_streets

__all__ = ["project"]


@click.command
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--add",
    "streets",
    type=click.Path(path_type=Path),
    multiple=True,
    metavar="GPKG",
    help="Add a street's file; can be given several times. The project is begun if need be.",
)
@click.option("--by", default="", metavar="NAME", help="Who looks after what is added.")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    metavar="GPKG",
    help="Write all streets as one file, for the answer across their borders.",
)
@knowledge_option
@overwrite_option
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text")
def project(
    *,
    folder: Path,
    streets: tuple[Path, ...],
    by: str,
    output: Path | None,
    knowledge: Knowledge,
    overwrite: bool,
    form: str,
) -> None:
    """Show how several streets of a project in FOLDER are getting on, year on year.

    FOLDER holds plain files: streets.csv (the streets' files), walks.csv (who walks which stretch,
    for you to fill in) and project.gpkg, which is made anew each time, for a GIS: stretches with
    what came back, the years, and what to look for when. The streets' own files stay where they
    are; with -o all of them are joined into one, and nobody's word is lost.

    \b
    Examples:
      patchnet project ours --add elm.gpkg --add mill.gpkg
      patchnet project ours --add ../west/oak.gpkg --by "Westside"
      patchnet project ours
      patchnet project ours -o all.gpkg
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    if output is not None:
        ensure_may_write(output, overwrite=overwrite, reads=streets)
    if streets:
        found = add_streets(folder, streets, by=by, knowledge=knowledge)
    else:
        found = read_project(folder, knowledge=knowledge)
    write_project(found)
    month = datetime.now(UTC).astimezone().month
    click.echo(project_json(found) if form == "json" else project_text(found, month), nl=False)
    files = [folder / name for name in found.streets["file"]]
    if output is not None:
        join_streets(files, output, knowledge=knowledge)
        click.echo(output, err=True)
    for file in files:
        note_made(file, folder, output)
    click.echo(_("{folder}: project.gpkg is up to date.").format(folder=folder), err=True)
