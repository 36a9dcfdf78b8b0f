"""patchnet routes: how a group that walks gets about over the ground."""

from functools import partial
from pathlib import Path

import click
import numpy as np
from numpy.typing import NDArray

from patchnet.assess.assessment import Assessment
from patchnet.assess.fences import break_corridors, squeeze
from patchnet.assess.ways import WayBetween, walking_ground, walking_group, way_between
from patchnet.commands.options import (
    Asked,
    AskedGround,
    assess_asked,
    between_options,
    ground_options,
    input_options,
    overwrite_option,
    progress_bar,
    read_asked,
    walking_option,
)
from patchnet.core.errors import WrongUse
from patchnet.core.files import ensure_may_write
from patchnet.movement.geotiff import write_bands, write_geotiff
from patchnet.pages import (
    export_form,
    routes_json,
    routes_text,
    way_json,
    way_text,
    write_routes,
)
from patchnet.pages.files.export import Form

__all__ = ["routes"]


@click.command
@input_options
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
    help="Also write what a metre costs everywhere, as a GeoTIFF.",
)
@click.option(
    "--current",
    "current_tif",
    type=click.Path(path_type=Path),
    metavar="TIF",
    help="Also write where movement squeezes, as a GeoTIFF: between all patches, or from --from "
    "to --to.",
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
    """Links, breaks and cheapest ways over the ground for a group that walks.

    With --from and --to: the cheapest way between two plots, what it costs, the plots on it,
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
    lines = _may_write(output, (ground_tif, current_tif), group, overwrite=overwrite)
    answer = assess_asked(read_asked(asked), asked, (group,), ground)
    way = None if between is None else way_between(answer, group, *between)
    current = None if current_tif is None else _current(answer, group, way)
    if way is None:
        corridors = break_corridors(
            answer, group, progress=partial(progress_bar, doing="corridors")
        )
        words = routes_json if form == "json" else routes_text
        click.echo(words(answer, group, corridors), nl=False)
    else:
        corridors = (way.corridor,)
        say = way_json if form == "json" else way_text
        click.echo(say(answer, group, way), nl=False)
    surface = walking_ground(answer, group).surface
    if output is not None and lines is not None:
        layer = "links" if way is None else "corridors"
        write_routes(answer, group, corridors, output, form=lines, lines=layer)
        _say_written(output)
    if ground_tif is not None:
        write_geotiff(surface, ground_tif)
        _say_written(ground_tif)
    if current_tif is not None and current is not None:
        write_bands(current_tif, surface.grid, {"current": current})
        _say_written(current_tif)


def _may_write(
    output: Path | None, rasters: tuple[Path | None, ...], group: str, *, overwrite: bool
) -> Form | None:
    """Look at every name before any long work; return the format of the lines."""
    lines = None if output is None else export_form(output, (group,))
    if lines == "graphml":
        raise WrongUse("Routes are written as .gpkg or .geojson.")
    for path in rasters:
        if path is not None and path.suffix.lower() not in {".tif", ".tiff"}:
            raise WrongUse(f"{path}: the name must end in .tif or .tiff.")
    for path in (output, *rasters):
        if path is not None:
            ensure_may_write(path, overwrite=overwrite)
    return lines


def _say_written(path: Path) -> None:
    click.echo(f"Written: {path}", err=True)


def _current(answer: Assessment, group: str, way: WayBetween | None) -> NDArray[np.float32]:
    if way is not None:
        if way.current is None:
            raise WrongUse(way.not_worked_out)
        return way.current
    between_all = squeeze(answer, group)
    if between_all is None:
        most = answer.knowledge.setting("squeeze_cells_max")
        raise WrongUse(
            "The current between all patches needs two patches, and ground of at most "
            f"{most:,.0f} cells (settings/squeeze_cells_max): give a larger --cell, or two plots "
            "with --from and --to."
        )
    return between_all
