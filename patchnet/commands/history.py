"""patchnet history, undo and verify: what was changed in a street's file, and taking it back."""

from pathlib import Path

import click

from patchnet.commands.options import columns_option, knowledge_option
from patchnet.core.errors import DataFaults
from patchnet.core.street_store import read_journal
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.terminal.history_text import history_text, undone_text
from patchnet.survey.survey_layers import read_records
from patchnet.survey.undo import undo_return
from patchnet.survey.verify import verify_street

__all__ = ["history", "undo", "verify"]

_STREET = click.argument("street", type=click.Path(path_type=Path))


@click.command
@_STREET
def history(*, street: Path) -> None:
    """List what was changed in the file of STREET: what, when, and which return.

    \b
    Example:
      patchnet history street.gpkg
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    click.echo(history_text(read_journal(street), read_records(street)), nl=False)


@click.command
@_STREET
@click.argument("ident", metavar="[RETURN]", required=False)
@columns_option
@knowledge_option
def undo(*, street: Path, ident: str | None, columns: dict[str, str], knowledge: Knowledge) -> None:
    """Take a RETURN back out of the file of STREET, or the last change if none is named.

    It is as if it had never been merged, also where others were merged after it. What another
    return says too stays. That a household was forgotten cannot be taken back.

    \b
    Examples:
      patchnet undo street.gpkg
      patchnet undo street.gpkg sheet-3f0c
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    merged = undo_return(street, ident, columns=columns, knowledge=knowledge)
    click.echo(undone_text(merged), nl=False)


@click.command
@_STREET
@columns_option
@knowledge_option
def verify(*, street: Path, columns: dict[str, str], knowledge: Knowledge) -> None:
    """Look whether the file of STREET holds together, and say what is wrong.

    Every statement leads to a return, every digest holds, and the survey is what the statements
    come to. The exit status is 1 where something is wrong.

    \b
    Example:
      patchnet verify street.gpkg
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    faults = verify_street(street, columns=columns, knowledge=knowledge)
    if faults:
        raise DataFaults(faults)
    records = read_records(street)
    click.echo(
        _(
            "{street} holds together: {n_statements:,} statements of {n_returns:,} returns, "
            "{n_read_journal:,} changes written down."
        ).format(
            street=street,
            n_statements=len(records.statements),
            n_returns=len(records.returns),
            n_read_journal=len(read_journal(street)),
        )
    )
