"""patchnet routes: how an animal that walks gets about over the ground."""

from functools import partial
from pathlib import Path

import click

from patchnet.assess.find_routes import find_routes
from patchnet.assess.ways import walking_group
from patchnet.commands.asked import (
    assess_asked,
    meant_between,
    note_made,
    progress_bar,
    read_asked,
)
from patchnet.commands.options import (
    Asked,
    AskedGround,
    between_options,
    cache_option,
    ground_options,
    input_options,
    overwrite_option,
    walking_option,
)
from patchnet.core.errors import WrongUse
from patchnet.core.files import ensure_may_write
from patchnet.core.texts import _
from patchnet.movement.geotiff import write_bands, write_geotiff
from patchnet.pages.files.routes_export import routes_form, write_routes
from patchnet.pages.terminal.routes_text import routes_json, routes_text, way_json, way_text

__all__ = ["routes"]


@click.command
@input_options
@cache_option
@walking_option
@between_options
@ground_options(straight=False)
@overwrite_option
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    metavar="OUT",
    help="Also write lines: .gpkg (links, breaks, corridors and their bands), or .geojson (the "
    "links; with --from and --to the one way).",
)
@click.option(
    "--ground",
    "ground_tif",
    type=click.Path(path_type=Path),
    metavar="TIF",
    help="Also write what a metre costs in each place, as a GeoTIFF.",
)
@click.option(
    "--current",
    "current_tif",
    type=click.Path(path_type=Path),
    metavar="TIF",
    help="Also write where movement has to pass narrow places, as a GeoTIFF: between all patches, "
    "or from --from to --to.",
)
def routes(
    *,
    group: str,
    between: tuple[str, str] | None,
    form: str,
    output: Path | None,
    ground_tif: Path | None,
    current_tif: Path | None,
    overwrite: bool,
    asked: Asked,
    ground: AskedGround,
) -> None:
    """Links, breaks and easiest ways over the ground for an animal that walks.

    With --from and --to: the easiest way between two plots, what it costs, the plots on it,
    and the effective resistance of all ways together. These files show how gardens can be
    entered: they are for the group, not for publishing.

    \b
    Examples:
      patchnet routes street.gpkg --group hedgehog
      patchnet routes street.gpkg --group hedgehog --from 14-back --to park
      patchnet routes street.gpkg --group newt -o routes.gpkg --ground cost.tif --current flow.tif
      patchnet routes street.gpkg --group frog --landcover town.tif --landcover-costs costs.csv
    """  # noqa: D301 - \b is click's mark for lines to leave as they are
    walking_group(asked.knowledge, group)
    cover = None if ground.landcover is None else Path(ground.landcover.path)
    reads = (asked.file, asked.features, cover)
    _ensure_may_write(output, (ground_tif, current_tif), overwrite=overwrite, reads=reads)
    neighbourhood = read_asked(asked)
    between = meant_between(neighbourhood, between)
    answer = assess_asked(neighbourhood, asked, (group,), ground)
    found = find_routes(
        answer, group, between=between, progress=partial(progress_bar, doing="corridors")
    )
    current = None if current_tif is None else found.current()
    if found.way is None:
        words = routes_json if form == "json" else routes_text
        click.echo(words(answer, group, found.corridors), nl=False)
    else:
        say = way_json if form == "json" else way_text
        click.echo(say(answer, group, found.way), nl=False)
    if output is not None:
        write_routes(found, output, overwrite=overwrite)
        _say_written(output)
    if ground_tif is not None:
        write_geotiff(found.surface, ground_tif, credit_lines=neighbourhood.credits)
        _say_written(ground_tif)
    if current_tif is not None and current is not None:
        write_bands(
            current_tif,
            found.surface.grid,
            {"current": current},
            credit_lines=neighbourhood.credits,
        )
        _say_written(current_tif)
    note_made(asked.file, output, ground_tif, current_tif)


def _ensure_may_write(
    output: Path | None,
    rasters: tuple[Path | None, ...],
    *,
    overwrite: bool,
    reads: tuple[Path | None, ...],
) -> None:
    """Check every name before any long work."""
    if output is not None:
        routes_form(output)
    for path in rasters:
        if path is not None and path.suffix.lower() not in {".tif", ".tiff"}:
            raise WrongUse(_("{path}: the name must end in .tif or .tiff.").format(path=path))
    for path in (output, *rasters):
        if path is not None:
            ensure_may_write(path, overwrite=overwrite, reads=reads)


def _say_written(path: Path) -> None:
    click.echo(_("Written: {path}").format(path=path), err=True)
