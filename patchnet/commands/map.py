"""patchnet map: a neighbourhood file to one map page."""

from pathlib import Path

import click

from patchnet.commands.options import (
    Asked,
    AskedGround,
    assess_asked,
    ground_options,
    group_option,
    input_options,
    overwrite_option,
    read_asked,
)
from patchnet.files import ensure_may_write
from patchnet.pages import write_map

__all__ = ["map_"]


@click.command("map")
@input_options
@group_option
@ground_options()
@overwrite_option
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, metavar="HTML")
@click.option("--title", help="Title of the page; the file's name if not given.")
@click.option(
    "--tiles",
    metavar="NAME|URL",
    help="Draw a background from the network: 'openstreetmap' or a {z}/{x}/{y} address. "
    "Without it the page asks the network for nothing.",
)
@click.option("--tiles-credit", metavar="TEXT", help="Credit line of the background's maker.")
@click.option(
    "--public",
    is_flag=True,
    help="Leave out everything that tells where fences have gaps: for a page to be published.",
)
def map_(
    *,
    groups: tuple[str, ...],
    overwrite: bool,
    output: Path,
    title: str | None,
    tiles: str | None,
    tiles_credit: str | None,
    public: bool,
    asked: Asked,
    ground: AskedGround,
) -> None:
    """Draw the map of a neighbourhood: one HTML file that opens anywhere, without network.

    \b
    Examples:
      patchnet map street.gpkg -o street.html
      patchnet map plots.geojson --features survey.csv -o street.html
      patchnet map street.gpkg --group wren --group sparrow -o birds.html
      patchnet map street.gpkg --public -o notice_board.html
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    ensure_may_write(output, overwrite=overwrite)
    answer = assess_asked(read_asked(asked), asked, groups, ground)
    write_map(answer, output, title=title, tiles=tiles, tiles_credit=tiles_credit, public=public)
    click.echo(output)
