"""patchnet export: the results as files for other programs."""

from pathlib import Path
from typing import Literal

import click

from patchnet.commands.asked import assess_for, note_made, read_asked
from patchnet.commands.options import (
    Asked,
    AskedGround,
    audience_option,
    cache_option,
    ground_options,
    group_option,
    input_options,
    overwrite_option,
)
from patchnet.core.files import ensure_may_write
from patchnet.pages.files.export import LAYERS, cut_words, export_form
from patchnet.pages.files.export import export as write_results
from patchnet.read.neighbourhood import Audience

__all__ = ["export"]


@click.command
@input_options
@cache_option
@group_option
@ground_options()
@overwrite_option
@audience_option
@click.option("-o", "--output", type=click.Path(path_type=Path), required=True, metavar="OUT")
@click.option(
    "--layer",
    type=click.Choice(LAYERS),
    default="plots",
    show_default=True,
    help="Which layer a GeoJSON or CSV file holds (a GeoPackage holds them all).",
)
@click.option(
    "--all-links",
    is_flag=True,
    help="Also links that no best route needs (there can be very many).",
)
@click.option(
    "--importance",
    is_flag=True,
    help="Also what each plot and link is worth to the network: what is lost without it, and "
    "what runs over it.",
)
def export(
    *,
    groups: tuple[str, ...],
    overwrite: bool,
    audience: Audience,
    output: Path,
    layer: Literal["plots", "links", "breaks"],
    all_links: bool,
    importance: bool,
    asked: Asked,
    ground: AskedGround,
) -> None:
    """Write plots with their results, links and breaks for other programs.

    The ending of OUT sets the format: .gpkg (GeoPackage, every layer), .geojson (RFC 7946, one
    layer), .csv (RFC 4180, one layer), .graphml (the patch graph of one group, for networkx).
    Links of animals that walk are the easiest ways over the ground, unless --straight. With
    --for, each row says what was made coarser or left out.

    \b
    Examples:
      patchnet export street.gpkg -o results.gpkg
      patchnet export street.gpkg --for public -o street_public.csv
      patchnet export street.gpkg --layer breaks -o breaks.geojson
      patchnet export street.gpkg --group wren -o wren.graphml
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    export_form(output, groups)
    ensure_may_write(output, overwrite=overwrite, reads=[asked.file, asked.features])
    neighbourhood = read_asked(asked)
    answer = assess_for(neighbourhood, asked, groups, ground, audience)
    write_results(
        answer,
        output,
        layer=layer,
        all_links=all_links,
        importance=importance,
        overwrite=overwrite,
    )
    note_made(asked.file, output, audience=audience)
    click.echo(cut_words(answer), err=True)
    click.echo(output)
