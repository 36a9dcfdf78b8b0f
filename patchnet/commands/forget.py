"""patchnet consent and forget: what a household wants done with its plot's data."""

from pathlib import Path

import click

from patchnet.commands.asked import note_made, say_upgraded
from patchnet.commands.options import columns_option, knowledge_option, overwrite_option
from patchnet.core.files import ensure_may_write
from patchnet.core.street_store import form_of
from patchnet.core.texts import _
from patchnet.knowledge.records import Knowledge
from patchnet.pages.terminal.merge_text import forgotten_text
from patchnet.survey.forget import forget_plots, record_consent

__all__ = ["consent", "forget"]


def _target(street: Path, output: Path | None, *, overwrite: bool) -> Path:
    target = street if output is None else output
    same = target.exists() and street.exists() and target.samefile(street)
    ensure_may_write(target, overwrite=overwrite or same)
    return target


_OUTPUT = click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    metavar="GPKG",
    help="Where to write; the street's own file is replaced whole if not given.",
)


@click.command
@click.argument("street", type=click.Path(path_type=Path))
@click.argument("plot", metavar="ID")
@click.argument("answer", type=click.Choice(["yes", "no"]))
@_OUTPUT
@columns_option
@knowledge_option
@overwrite_option
def consent(
    *,
    street: Path,
    plot: str,
    answer: str,
    output: Path | None,
    columns: dict[str, str],
    knowledge: Knowledge,
    overwrite: bool,
) -> None:
    """Write down whether a household agrees to be counted in what is public.

    ID is the plot's id or label, or the door number of the household: front and back.

    No plot is ever shown by itself in public: only classes of at least ten households. No also
    withdraws an earlier yes.

    \b
    Example:
      patchnet consent street.gpkg 14 yes
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    target = _target(street, output, overwrite=overwrite)
    earlier = form_of(street)
    said = record_consent(
        street,
        plot,
        answer,
        target,
        knowledge=knowledge,
        columns=columns,
    )
    note_made(street, target)
    say_upgraded(target, earlier)
    agreed = sum(word == "yes" for word in said.consent.values())
    so_far = _("1 plot has") if agreed == 1 else _("{agreed} plots have").format(agreed=agreed)
    one = "Plot" if len(said.plots) == 1 else "Plots"
    click.echo(
        _("{one} {plots}: {answer}. So far {so_far} agreed to be counted.").format(
            one=one, plots=_(" and ").join(said.plots), answer=answer, so_far=so_far
        )
    )
    if answer == "no":
        click.echo(
            _(
                "It is counted in no new public table; one is made when enough others have "
                "changed as well. What is out already cannot be called back."
            ),
            err=True,
        )


@click.command
@click.argument("street", type=click.Path(path_type=Path))
@click.argument("plots", metavar="ID...", nargs=-1, required=True)
@_OUTPUT
@click.option("--outline", is_flag=True, help="Delete the outline of the plot as well.")
@columns_option
@knowledge_option
@overwrite_option
def forget(
    *,
    street: Path,
    plots: tuple[str, ...],
    output: Path | None,
    outline: bool,
    columns: dict[str, str],
    knowledge: Knowledge,
    overwrite: bool,
) -> None:
    """Take a household out of every layer and all years of STREET.

    Name all of its plots (front and back can be two), or its door number. The outline and number
    stay on the map as a plot about which nothing is known, unless you add --outline. Later returns
    about it are refused.

    \b
    Example:
      patchnet forget street.gpkg 14F 14B
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    target = _target(street, output, overwrite=overwrite)
    earlier = form_of(street)
    found = forget_plots(
        street,
        plots,
        target,
        knowledge=knowledge,
        outline=outline,
        columns=columns,
    )
    note_made(street, target)
    say_upgraded(target, earlier)
    click.echo(forgotten_text(found, found.plots), nl=False)
