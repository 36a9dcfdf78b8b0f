"""patchnet tables: what your own tables may hold, and files to start from."""

from pathlib import Path

import click

from patchnet.core.errors import WrongUse
from patchnet.core.files import OwnFolder
from patchnet.core.texts import _
from patchnet.knowledge.load import load_rows
from patchnet.knowledge.reader import Reader
from patchnet.knowledge.templates import blank_tables, declared, tables_like
from patchnet.pages.terminal.tables_text import table_text, tables_text

__all__ = ["tables"]


@click.command
@click.argument("name", required=False)
@click.option(
    "--knowledge",
    "folder",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Folder with your own tables, used on top of patchnet's.",
)
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Write the table into this folder, to be filled in and given to --knowledge.",
)
@click.option(
    "--like",
    metavar="KEY",
    help="Fill it with the rows of this thing, from every table that has some.",
)
@click.option("--as", "key", metavar="NEW", help="Give these rows a new key, to add another.")
def tables(
    *, name: str | None, folder: Path | None, output: Path | None, like: str | None, key: str | None
) -> None:
    """Show what patchnet's tables hold, and write tables of your own to fill in.

    Without NAME: every table. With NAME: its columns, what each may hold, in which unit and
    between which bounds.

    \b
    Examples:
      patchnet tables
      patchnet tables features
      patchnet tables features -o our_tables --like pond --as duck_pond
      patchnet tables street_rules -o our_tables
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    if name is None:
        if output is not None or like is not None:
            raise WrongUse(_("Say which table: patchnet tables NAME -o DIR."))
        click.echo(tables_text(), nl=False)
        return
    table = declared(name)
    if output is None:
        if like is not None or key is not None:
            raise WrongUse(_("--like and --as write files: add -o DIR, the folder for them."))
        click.echo(table_text(table, Reader(load_rows(folder), [])), nl=False)
        return
    if key is not None and like is None:
        raise WrongUse(_("--as needs --like: say which thing the new one is like."))
    files = (
        blank_tables(table)
        if like is None
        else tables_like(table, like, load_rows(folder), key=key)
    )
    own = OwnFolder(output)
    own.ensure_may_write(files)
    for file, content in files.items():
        own.write(file, content.encode())
        click.echo(output / file)
