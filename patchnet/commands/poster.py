"""patchnet poster: a neighbourhood file to one page for the noticeboard."""

from pathlib import Path
from typing import Literal

import click

from patchnet.commands.asked import assess_for, in_draws, note_made, read_asked
from patchnet.commands.options import (
    Asked,
    AskedDraws,
    AskedGround,
    cache_option,
    draws_option,
    ground_options,
    group_option,
    input_options,
    overwrite_option,
)
from patchnet.core.errors import WrongUse
from patchnet.core.files import ensure_may_write
from patchnet.core.texts import _
from patchnet.pages.sheets.poster import write_poster
from patchnet.pages.sheets.residents_notice import PICTURE, write_notice

__all__ = ["poster"]


@click.command
@input_options
@cache_option
@group_option
@ground_options()
@overwrite_option
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, metavar="HTML|PNG")
@click.option("--title", help="Name of the place; its streets if not given.")
@click.option(
    "--meet",
    default="",
    metavar="TEXT",
    help="When and where people meet, such as 'Saturday 10 am, the Green'.",
)
@click.option("--a3", is_flag=True, help="A3, not A4.")
@click.option(
    "--notice",
    is_flag=True,
    help="Not a poster but a notice for residents: one A4 page with three facts and one wish; as "
    "a picture for messengers where the output ends in .png.",
)
@click.option(
    "--for",
    "audience",
    type=click.Choice(["public", "group"]),
    default="public",
    show_default=True,
    help="Who it is for. public: classes for units of ten households or more, no single garden. "
    "group: every plot that did not say no, with doors; not for the lamp post.",
)
@draws_option
def poster(
    *,
    groups: tuple[str, ...],
    overwrite: bool,
    output: Path,
    title: str | None,
    meet: str,
    a3: bool,
    notice: bool,
    audience: Literal["public", "group"],
    asked: Asked,
    ground: AskedGround,
    draws: AskedDraws,
) -> None:
    """Draw a poster for the noticeboard: what is wrong with the street, and what would help.

    It is one page to print from any browser, made from what may be told in public.

    \b
    Examples:
      patchnet poster street.gpkg -o poster.html
      patchnet poster street.gpkg --a3 --meet 'Saturday 10 am, the Green' -o poster.html
      patchnet poster street.gpkg --notice -o notice.html
      patchnet poster street.gpkg --notice -o notice.png
      patchnet poster street.gpkg --for group -o our_own_sheet.html
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    ensure_may_write(output, overwrite=overwrite, reads=[asked.file, asked.features])
    if notice and (audience != "public" or a3):
        raise WrongUse(
            _("A notice for residents is for everybody, on A4: leave out --for group and --a3.")
        )
    if output.suffix.lower() == PICTURE and not notice:
        raise WrongUse(_("Only a notice for residents can be a picture: say --notice."))
    answer = assess_for(read_asked(asked), asked, groups, ground, audience)
    if audience == "group":
        answer = in_draws(answer, draws, asked.cache)
    if notice:
        write_notice(answer, output, title=title, meet=meet, overwrite=overwrite)
    else:
        write_poster(
            answer, output, audience=audience, title=title, meet=meet, a3=a3, overwrite=overwrite
        )
    note_made(asked.file, output, audience=audience)
    click.echo(output)
