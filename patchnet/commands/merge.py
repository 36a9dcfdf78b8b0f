"""patchnet merge: what volunteers hand in, into the one file of a street."""

from pathlib import Path

import click

from patchnet.commands.asked import note_made, say_upgraded
from patchnet.commands.options import columns_option, knowledge_option, overwrite_option
from patchnet.core.errors import DataFaults, WrongUse
from patchnet.core.files import ensure_may_write
from patchnet.core.geopackage import is_database
from patchnet.core.street_store import form_of, holding
from patchnet.core.texts import _, counted
from patchnet.knowledge.records import Knowledge
from patchnet.pages.terminal.merge_text import merge_json, merge_text
from patchnet.survey.merge import write_merged
from patchnet.survey.merge_survey import merge_survey

__all__ = ["merge"]


@click.command
@click.argument("street", type=click.Path(path_type=Path))
@click.argument("returns", type=click.Path(path_type=Path), nargs=-1)
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    required=True,
    metavar="GPKG",
    help="Where to write; the street's own file is replaced whole.",
)
@columns_option
@knowledge_option
@overwrite_option
@click.option(
    "--same-street",
    is_flag=True,
    help="Accept returns that name no street, if you know that they are for this one; of those "
    "that name another only what has its name and most of its plots, or what you merge alone.",
)
@click.option(
    "--mend",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write what could not be read as a table (.xlsx, .csv) to mend and merge.",
)
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text")
def merge(
    *,
    street: Path,
    returns: tuple[Path, ...],
    output: Path,
    columns: dict[str, str],
    knowledge: Knowledge,
    overwrite: bool,
    same_street: bool,
    mend: Path | None,
    form: str,
) -> None:
    """Merge RETURNS of a survey into the map of STREET: nothing is overwritten.

    A return is a file of the survey page (.return.json), a filled-in sheet (.csv, .xlsx), or a
    table of your own with one row a plot; a folder stands for all of them in it. A column with
    another name is named by --column feature=NAME (plot, answer, amount, surveyor, date). Every
    statement is kept with who, when and seen from where. Where people differ, a feature is not
    known until they agree. Merging a file again changes nothing. A map that is not a GeoPackage
    becomes one, also without any return.

    What cannot be read is listed and the rest is merged; the exit status is then 1.

    \b
    Examples:
      patchnet merge street.gpkg ann.return.json sheet.xlsx -o street.gpkg
      patchnet merge street.gpkg returns/ -o street.gpkg --mend mend.xlsx
      patchnet merge plots.geojson -o street.gpkg
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    if output.suffix.casefold() != ".gpkg":
        raise WrongUse(
            _("{output}: the name must end in .gpkg, because it will be a GeoPackage.").format(
                output=output
            )
        )
    same = output.exists() and street.exists() and output.samefile(street)
    ensure_may_write(output, overwrite=overwrite or same)
    if mend is not None:
        ensure_may_write(mend, overwrite=overwrite, reads=[street, *returns])
    if not returns and is_database(street):
        raise WrongUse(_("Name the returns to be merged: files, or a folder of them."))
    earlier = form_of(street)
    with holding(output):
        merged = merge_survey(
            street, returns, columns=columns, same_street=same_street, knowledge=knowledge
        )
        if returns and not merged.read:
            raise DataFaults(merged.faults)
        for fault in merged.faults:
            click.echo(str(fault), err=True)
        write_merged(merged, output)
        rows = len(merged.to_mend)
        if mend is not None and rows:
            from patchnet.pages.survey.mend_table import write_mend_table  # noqa: PLC0415 - openpyxl

            write_mend_table(merged, mend)
    note_made(street, output, mend if rows else None)
    say_upgraded(output, earlier)
    words = merge_json if form == "json" else merge_text
    click.echo(words(merged), nl=False)
    click.echo(output, err=True)
    _say_mend(rows, mend)
    if any(fault.severity == "error" for fault in merged.faults):
        click.get_current_context().exit(DataFaults.exit_status)


def _say_mend(rows: int, mend: Path | None) -> None:
    """Say where the rows are that could not be used, or how to get them."""
    if not rows:
        return
    if mend is None:
        words = _("To get {rows} as a table to mend, add --mend mend.xlsx.")
    else:
        words = _("{rows} to mend: {mend}. Mend them there and merge that file.")
    told = counted(rows, "row that could not be used", "rows that could not be used")
    click.echo(words.format(rows=told, mend=mend), err=True)
