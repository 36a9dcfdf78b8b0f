"""patchnet check: every fault of a file in one list."""

import click

from patchnet.commands.options import Asked, input_options
from patchnet.core.errors import DataFaults
from patchnet.pages import check_json, check_text
from patchnet.read import check_file

__all__ = ["check"]


@click.command
@input_options
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text")
def check(*, form: str, asked: Asked) -> None:
    """List every fault of FILE: where, what, and how to mend it.

    The exit status is 1 if there is any error; warnings alone leave it at 0.

    \b
    Examples:
      patchnet check street.gpkg
      patchnet check parcels.zip --features survey.csv --column id=PARCEL_NO
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    report = check_file(
        asked.file,
        features=asked.features,
        columns=asked.columns,
        crs=asked.crs,
        knowledge=asked.knowledge,
    )
    click.echo(check_json(report) if form == "json" else check_text(report), nl=False)
    if any(fault.severity == "error" for fault in report.faults):
        click.get_current_context().exit(DataFaults.exit_status)
